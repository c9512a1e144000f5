//! Time to compute all the measures of a job: 100 formulas read once, and the
//! invented job with the shipped checklists.
#![allow(clippy::unwrap_used, clippy::print_stdout, missing_docs)]

use std::collections::BTreeMap;
use std::hint::black_box;

use chalkhand::domain::Sheet;
use chalkhand::files;
use chalkhand::measure::{Dimension, Formula, Scope, Type, Value, Values, parse_quantity};
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
    let lists: Vec<_> = files::SHIPPED.iter().map(|(_, text)| read(text)).collect();
    let job = include_str!("../../packaging/demo-data/job.toml");
    let profile = include_str!("../../packaging/demo-data/profile.toml");
    let profile = files::read_profile(profile, "profile.toml").unwrap();
    let facts = files::read_job(job, "job.toml").unwrap();
    let facts = facts.facts(&lists.iter().collect::<Vec<_>>()).unwrap();
    let compute = || {
        let sheets = lists
            .iter()
            .map(|list| Sheet::compute(list, &facts, Some(&profile), &functions).iter().count());
        sheets.sum::<usize>()
    };
    println!("the invented job has {} measures", compute());
    c.bench_function("all measures of the invented job", |b| b.iter(compute));
}

criterion_group!(benches, measures, invented_job);
criterion_main!(benches);
