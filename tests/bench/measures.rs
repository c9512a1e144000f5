//! Time to compute all the measures of a job: 100 formulas read once, and the
//! invented job with the shipped checklists. And to lay vents on a large roof.
#![allow(clippy::unwrap_used, clippy::print_stdout, missing_docs)]

use std::collections::BTreeMap;
use std::hint::black_box;

use chalkhand::domain::Sheet;
use chalkhand::files;
use chalkhand::measure::{
    Dimension, Formula, Quantity, Row, RowsInput, Scope, Type, Value, Values, parse_quantity,
};
use chalkhand::roof;
use criterion::{Criterion, criterion_group, criterion_main};

struct Facts(BTreeMap<String, Value>);

impl Values for Facts {
    fn value(&self, name: &str) -> Option<Value> {
        self.0.get(name).cloned()
    }
    fn column(&self, _: &str, _: &str) -> Option<Vec<Value>> {
        None
    }
}

impl Scope for Facts {
    fn type_of(&self, name: &str) -> Option<Type> {
        self.0.get(name).map(Value::type_of)
    }
    fn column(&self, _: &str, _: &str) -> Option<Type> {
        None
    }
    fn names(&self) -> Vec<String> {
        self.0.keys().cloned().collect()
    }
}

const FACTS: [(&str, &str, Dimension); 7] = [
    ("overhang", "16 1/4 in", Dimension::LENGTH),
    ("heel", "4 1/8 in", Dimension::LENGTH),
    ("depth", "14 in", Dimension::LENGTH),
    ("run", "14 ft 3 3/16 in", Dimension::LENGTH),
    ("pitch", "6:12", Dimension::PITCH),
    ("attic", "1640 ft2", Dimension::AREA),
    ("rating", "9 in2/ft", Dimension::FREE_AREA_PER_LENGTH),
];

const FORMULAS: [&str; 10] = [
    "(overhang + insulation_clear_run(heel, depth, 1 in, pitch)) * slope_factor(pitch)",
    "bottom_third_to(heel, run, overhang, pitch)",
    "round_up_to(required_free_area(attic, 300) / 2 / rating, 1 ft)",
    "max(ice_barrier_top(overhang, 0 in, 24 in, pitch), if pitch >= 8:12 then 36 in else 0 in)",
    "4 1/2 in",
    "run * slope_factor(pitch)",
    "overhang + 5 in",
    "round_to(run / 7, 1/16 in)",
    "ceil(run / 4 ft) * 2",
    "heel < depth and overhang > 3 in",
];

fn measures(criterion: &mut Criterion) {
    let value = |text, dimension| Value::Quantity(parse_quantity(text, dimension).unwrap());
    let facts = Facts(
        FACTS.iter().map(|(name, text, kind)| ((*name).to_owned(), value(text, *kind))).collect(),
    );
    let functions = roof::functions();
    let formulas: Vec<Formula> =
        FORMULAS.iter().cycle().take(100).map(|text| Formula::parse(text).unwrap()).collect();
    criterion.bench_function("eval 100 formulas", |bench| {
        bench.iter(|| {
            for formula in &formulas {
                black_box(formula.eval(&facts, &functions).unwrap());
            }
        });
    });
    criterion.bench_function("parse, check and eval 100 formulas", |bench| {
        bench.iter(|| {
            for formula in &formulas {
                let formula = Formula::parse(formula.text()).unwrap();
                formula.check(&facts, &functions).unwrap();
                black_box(formula.eval(&facts, &functions).unwrap());
            }
        });
    });
}

/// All measures of the invented job, as the sheet computes them.
fn invented_job(c: &mut Criterion) {
    let functions = roof::functions();
    let read = |text: &str| files::read_checklist(text, "shipped", &functions).unwrap();
    let shipped = files::SHIPPED.iter().map(|(_, text)| read(text));
    let job = include_str!("../../packaging/demo-data/job.toml");
    let profile = include_str!("../../packaging/demo-data/profile.toml");
    let profile = files::read_profile(profile, "profile.toml").unwrap();
    let job = files::read_job(job, "job.toml").unwrap();
    let pins = |id: &str| job.checklists.iter().any(|wanted| wanted.id == id);
    let lists: Vec<_> = shipped.filter(|list| pins(&list.id)).collect();
    let facts = job.facts(&lists.iter().collect::<Vec<_>>()).unwrap();
    let compute = || {
        let sheets = lists
            .iter()
            .map(|list| Sheet::compute(list, &facts, Some(&profile), &functions).iter().count());
        sheets.sum::<usize>()
    };
    println!("the invented job has {} measures", compute());
    c.bench_function("all measures of the invented job", |b| b.iter(compute));

    // The same house with ten planes and forty obstructions.
    let deck = lists.iter().find(|list| list.id == "deck-intake").unwrap();
    let mut large = include_str!("../../packaging/demo-data/job.toml").to_owned();
    large.truncate(large.find("[[facts.plane]]").unwrap());
    large = large.replace("1,200 ft2", "9,000 ft2");
    for plane in 1..=10 {
        large.push_str("[[facts.plane]]\neave = \"60 ft\"\nslope_length = \"20 ft\"\n");
        for it in 0..4 {
            let left = 8 + 14 * it;
            large.push_str(&format!(
                "[[facts.obstruction]]\nplane = {plane}\nkind = \"pipe\"\nleft = \"{left} ft\"\n\
                 right = \"{left} ft 4 in\"\nlow = \"4 ft\"\nhigh = \"4 ft 4 in\"\n"
            ));
        }
    }
    let large = files::read_job(&large, "large.toml").unwrap();
    let facts = large.facts(&lists.iter().collect::<Vec<_>>()).unwrap();
    let compute = || Sheet::compute(deck, &facts, Some(&profile), &functions);
    println!("the large job has {} measures", compute().iter().count());
    c.bench_function("sheet of 10 planes and 40 obstructions", |b| b.iter(compute));
}

/// 10 planes, 40 obstructions and room for 6 runs on each.
fn layout(c: &mut Criterion) {
    let input = large_roof();
    let runs = roof::layout_of(&input).unwrap().runs.len();
    println!("the large roof gets {runs} runs");
    c.bench_function("layout of 10 planes, 40 obstructions each", |b| {
        b.iter(|| roof::layout_of(black_box(&input)).unwrap());
    });
}

fn large_roof() -> RowsInput {
    let quantity =
        |text: &str, dimension| Value::Quantity(parse_quantity(text, dimension).unwrap());
    let length = |text: &str| quantity(text, Dimension::LENGTH);
    let number = |count| Value::Quantity(Quantity::count(count));
    let text = |word: &str| Value::Text(word.to_owned());
    let mut input = RowsInput::default();
    for (name, inches) in [
        ("piece_length", "48 in"),
        ("shortest_piece", "12 in"),
        ("stay_back", "18 in"),
        ("obstruction_stay_back", "12 in"),
        ("slot_inset", "6 in"),
        ("vent_low", "4 in"),
        ("vent_high", "14 in"),
        ("nail_line", "4 1/2 in"),
        ("slot_low", "5 in"),
        ("slot_high", "6 1/2 in"),
        ("member_spacing", "24 in"),
        ("member_width", "1 1/2 in"),
    ] {
        input.values.insert(name, length(inches));
    }
    let rating = quantity("9 in2/ft", Dimension::FREE_AREA_PER_LENGTH);
    input.values.extend([("free_area_per_length", rating), ("spread", Value::YesNo(true))]);
    let spaces = vec![Row::from([("to_lay", quantity("7000 in2", Dimension::AREA))])];
    let (mut planes, mut obstructions) = (Vec::new(), Vec::new());
    for plane in 1..=10 {
        planes.push(Row::from([
            ("usable", Value::YesNo(true)),
            ("space", number(1)),
            ("course", number(3)),
            ("pitch", quantity("6:12", Dimension::PITCH)),
            ("exposure", length("5 in")),
            ("past_edge", length("1 in")),
            ("course_butt", length("9 in")),
            ("eave", length("140 ft")),
            ("slope_length", length("20 ft")),
            ("left", text("hip")),
            ("right", text("valley")),
        ]));
        for it in 0..40 {
            // Five of them stand in the course, the others above it.
            let (left, low) = if it < 5 { (24 + 22 * it, 12) } else { (30 + 2 * it, 100) };
            obstructions.push(Row::from([
                ("plane", number(plane)),
                ("kind", text("pipe")),
                ("left", length(&format!("{left} ft"))),
                ("right", length(&format!("{left} ft 4 in"))),
                ("low", length(&format!("{low} in"))),
                ("high", length(&format!("{} in", low + 9))),
            ]));
        }
    }
    input.tables.extend([("space", spaces), ("plane", planes), ("obstruction", obstructions)]);
    input
}

criterion_group!(benches, measures, invented_job, layout);
criterion_main!(benches);
