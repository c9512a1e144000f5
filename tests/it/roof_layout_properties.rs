//! Vent runs on random roofs: what must hold on every one, and free stretches
//! against the polygon library shapely. Examples worked by hand are in
//! `roof_layout.rs`.

#![expect(
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    clippy::cast_possible_wrap,
    reason = "random bits are cut on purpose"
)]

use chalkhand::measure::{Dimension, Quantity, Ratio, Row, RowsInput, Value, parse_quantity};
use chalkhand::roof::{Edge, Layout, Plane, layout_of};
use proptest::collection::vec;
use proptest::prelude::*;
use serde_json::{Value as Json, json};

use crate::outside;
use crate::roof_layout::{
    add_corners, add_obstruction, add_plane, add_space, laid, number, product, sides, text,
};

const SIDES: [&str; 4] = ["rake", "hip", "valley", "wall"];

/// Lengths in sixteenths of an inch.
#[derive(Clone, Debug)]
struct Spec {
    planes: Vec<PlaneSpec>,
    to_lay: [i64; 2],
    spread: bool,
    piece: i64,
    shortest: i64,
    stay_back: i64,
}

#[derive(Clone, Debug)]
struct PlaneSpec {
    usable: bool,
    space: i64,
    rise: i64,
    eave: i64,
    slope: i64,
    sides: [usize; 2],
    butt: i64,
    /// Left, width, low, height.
    obstructions: Vec<[i64; 4]>,
}

fn plane_spec() -> impl Strategy<Value = PlaneSpec> {
    let stands = (0.0..1.0_f64, 16..600_i64, 0..640_i64, 16..600_i64);
    (
        (prop::bool::weighted(0.9), 1..=2_i64, 2..=14_i64, 3200..9600_i64, 1700..4000_i64),
        ([0..4_usize, 0..4_usize], 0..400_i64, vec(stands, 0..5)),
    )
        .prop_map(|((usable, space, rise, eave, slope), (sides, butt, stands))| {
            let place = |(part, width, low, height): (f64, i64, i64, i64)| {
                // Far enough from both ends to lie on the plane at that height.
                let room = eave - 2 * 960 - width;
                [960 + (part * room as f64) as i64, width, low, height]
            };
            let obstructions = stands.into_iter().map(place).collect();
            PlaneSpec { usable, space, rise, eave, slope, sides, butt, obstructions }
        })
}

fn spec(planes: std::ops::Range<usize>) -> impl Strategy<Value = Spec> {
    (
        vec(plane_spec(), planes),
        [0..1500_i64, 0..1500_i64],
        any::<bool>(),
        (300..1000_i64, 16..300_i64, 0..500_i64),
    )
        .prop_map(|(planes, to_lay, spread, (piece, shortest, stay_back))| Spec {
            planes,
            to_lay,
            spread,
            piece,
            shortest,
            stay_back,
        })
}

fn inches(sixteenths: i64) -> Value {
    Value::Quantity(Quantity::inches(Ratio::new(i128::from(sixteenths), 16).unwrap()))
}

/// The same length written in millimetres: 1/16 in is 1.5875 mm.
fn millimetres(sixteenths: i64) -> Value {
    let parts = sixteenths * 15_875;
    let text = format!("{}.{:04} mm", parts / 10_000, parts % 10_000);
    Value::Quantity(parse_quantity(&text, Dimension::LENGTH).unwrap())
}

fn input(spec: &Spec, mirrored: bool, length: fn(i64) -> Value) -> RowsInput {
    let mut input = product();
    for (name, value) in [
        ("piece_length", spec.piece),
        ("shortest_piece", spec.shortest),
        ("stay_back", spec.stay_back),
    ] {
        input.values.insert(name, length(value));
    }
    input.values.insert("spread", Value::YesNo(spec.spread));
    for area in spec.to_lay {
        add_space(&mut input, &format!("{area} in2"));
    }
    for (index, spec) in (1..).zip(&spec.planes) {
        let plane = add_plane(&mut input);
        let [mut left, mut right] = spec.sides.map(|side| text(SIDES[side]));
        if mirrored {
            std::mem::swap(&mut left, &mut right);
        }
        let pitch = Quantity::pitch_in_twelve(Ratio::int(spec.rise)).unwrap();
        plane.extend([
            ("usable", Value::YesNo(spec.usable)),
            ("space", number(spec.space)),
            ("pitch", Value::Quantity(pitch)),
            ("course_butt", length(spec.butt)),
            ("eave", length(spec.eave)),
            ("slope_length", length(spec.slope)),
            ("left", left),
            ("right", right),
        ]);
        for [left, width, low, height] in &spec.obstructions {
            let left = if mirrored { spec.eave - left - width } else { *left };
            let at = [left, left + width, *low, low + height].map(length);
            add_obstruction(&mut input, index, at);
        }
    }
    input
}

/// Where an edge is at a height, by floating point and other code.
fn along_at(edge: &Edge, height: f64) -> Option<f64> {
    let point = |at: chalkhand::roof::Point| (at.along.to_f64(), at.up.to_f64());
    let ((x0, y0), (x1, y1)) = (point(edge.from), point(edge.to));
    if y0 == y1 {
        return None;
    }
    let part = (height - y0) / (y1 - y0);
    (0.0..=1.0).contains(&part).then_some(x0 + part * (x1 - x0))
}

/// What must hold for the runs of one plane.
fn plane_is_safe(layout: &Layout, plane: &Plane) -> Result<(), TestCaseError> {
    let vent = &layout.vent;
    let f = |ratio: Ratio| ratio.to_f64();
    let (low, high) =
        (f(plane.course_butt) + f(vent.vent_low), f(plane.course_butt) + f(vent.vent_high));
    let mut reached = f64::NEG_INFINITY;
    for run in layout.runs.iter().filter(|run| run.plane == plane.number) {
        prop_assert!(plane.usable);
        let (start, end) = (f(run.left_at) + f(run.vent_start), f(run.left_at) + f(run.vent_end));
        prop_assert!(reached <= start, "runs overlap");
        reached = end;
        for step in 0..=50 {
            let height = low + (high - low) * f64::from(step) / 50.0;
            let mut to_the_left = 0;
            for at in plane.edges.iter().filter_map(|edge| along_at(edge, height)) {
                let back = f(vent.stay_back) - 1e-6;
                prop_assert!(at + back <= start || end <= at - back, "{run:?} at {height}");
                to_the_left += i32::from(at < (start + end) / 2.0);
            }
            prop_assert!(to_the_left % 2 == 1, "{run:?} lies outside");
        }
        for it in &plane.obstructions {
            let beside = f(it.right) + f(vent.obstruction_stay_back) <= start + 1e-6
                || end <= f(it.left) - f(vent.obstruction_stay_back) + 1e-6;
            // On all four sides: its flashing reaches into the courses beside it.
            let back = f(vent.obstruction_stay_back);
            let far = f(it.high) + back < low || high < f(it.low) - back;
            prop_assert!(beside || far, "{run:?} {it:?}");
        }
        let slot = f(run.slot_end) - f(run.slot_start);
        prop_assert!(0.0 < slot && run.vent_start < run.slot_start && run.slot_end < run.vent_end);
        let members = (slot / 24.0).floor() + 1.0;
        let slot_area = (slot - members * 1.5) * (f(vent.slot_high) - f(vent.slot_low));
        let vent_area = (end - start) * f(vent.free_area_per_length);
        prop_assert!((f(run.free_area) - slot_area.min(vent_area)).abs() < 1e-6, "{run:?}");
        let whole = run.pieces - u32::from(run.field_cut.is_some());
        prop_assert!(0 < whole);
        let cut = run.field_cut.unwrap_or(Ratio::ZERO);
        let pieces = Ratio::int(i64::from(whole)).times(vent.piece_length).unwrap();
        prop_assert_eq!(run.vent_start.plus(pieces).unwrap().plus(cut).unwrap(), run.vent_end);
        prop_assert!(run.field_cut.is_none_or(|cut| vent.shortest_piece <= cut));
        prop_assert!(16 % run.vent_start.denominator() == 0, "a mark of the tape");
    }
    Ok(())
}

/// Lengths, pieces, cut and area of each run by plane, in no order.
fn shapes(layout: &Layout) -> Vec<(u32, Ratio, u32, Option<Ratio>, Ratio)> {
    let shape = |run: &chalkhand::roof::Run| {
        let length = run.vent_end.minus(run.vent_start).unwrap();
        (run.plane, length, run.pieces, run.field_cut, run.free_area)
    };
    let mut shapes: Vec<_> = layout.runs.iter().map(shape).collect();
    shapes.sort_unstable();
    shapes
}

fn brought(layout: &Layout, space: u32) -> Vec<(u32, Ratio)> {
    let planes = &layout.planes;
    let in_space = |plane: u32| planes.iter().any(|it| it.number == plane && it.space == space);
    let runs = layout.runs.iter().filter(|run| in_space(run.plane));
    runs.map(|run| (run.plane, run.free_area)).collect()
}

fn sum(runs: &[(u32, Ratio)]) -> Ratio {
    runs.iter().fold(Ratio::ZERO, |sum, (_, area)| sum.plus(*area).unwrap())
}

fn planes_of(runs: &[(u32, Ratio)]) -> usize {
    runs.iter().map(|(plane, _)| plane).collect::<std::collections::BTreeSet<_>>().len()
}

/// The least runs, then the most planes, over all subsets that bring enough.
fn by_trying_all(possible: &[(u32, Ratio)], needed: Ratio, spread: bool) -> Option<(usize, usize)> {
    let all_planes = planes_of(possible);
    let subsets = (0..1_u32 << possible.len()).map(|bits| {
        let chosen = possible.iter().enumerate().filter(|(i, _)| bits >> i & 1 == 1);
        chosen.map(|(_, run)| *run).collect::<Vec<_>>()
    });
    subsets
        .filter(|chosen| needed <= sum(chosen))
        .map(|chosen| (chosen.len(), planes_of(&chosen)))
        .filter(|(_, planes)| !spread || *planes == all_planes)
        .min_by_key(|(runs, planes)| (*runs, usize::MAX - planes))
}

proptest! {
    #![proptest_config(ProptestConfig { failure_persistence: None, ..ProptestConfig::with_cases(600) })]

    #[test]
    fn runs_are_safe_and_exact(spec in spec(1..4)) {
        let layout = laid(&input(&spec, false, inches));
        for plane in &layout.planes {
            plane_is_safe(&layout, plane)?;
        }
    }

    #[test]
    fn a_mirrored_roof_gets_the_same_runs(spec in spec(1..4)) {
        let (one, other) = (input(&spec, false, inches), input(&spec, true, inches));
        prop_assert_eq!(shapes(&laid(&one)), shapes(&laid(&other)));
    }

    #[test]
    fn the_same_facts_in_millimetres_give_the_same(spec in spec(1..3)) {
        let (one, other) = (input(&spec, false, inches), input(&spec, false, millimetres));
        prop_assert_eq!(laid(&one), laid(&other));
    }

    #[test]
    fn no_choice_has_fewer_runs_or_more_planes(spec in spec(1..5)) {
        let mut most = spec.clone();
        most.to_lay = [1_000_000; 2];
        let (most, layout) = (laid(&input(&most, false, inches)), laid(&input(&spec, false, inches)));
        for (space, needed) in (1..).zip(spec.to_lay) {
            let needed = Ratio::int(needed);
            let (possible, runs) = (brought(&most, space), brought(&layout, space));
            if needed == Ratio::ZERO || 12 < possible.len() {
                continue;
            }
            match by_trying_all(&possible, needed, spec.spread) {
                None => prop_assert_eq!(runs, possible, "all are laid"),
                Some(best) => {
                    prop_assert_eq!((runs.len(), planes_of(&runs)), best, "{:?}", possible);
                    prop_assert!(needed <= sum(&runs));
                }
            }
        }
    }
}

fn any_value() -> impl Strategy<Value = Value> {
    let number = prop_oneof![
        -3..400_i128,
        any::<i64>().prop_map(i128::from),
        Just(i128::MAX),
        Just(i128::MIN + 1)
    ];
    let divisor = prop_oneof![Just(1_i128), 1..100_i128, Just(i128::MAX)];
    let dimension = prop_oneof![
        8 => Just(Dimension::LENGTH),
        1 => Just(Dimension::NUMBER),
        1 => Just(Dimension::AREA),
    ];
    prop_oneof![
        6 => (number, divisor, dimension).prop_map(|(number, divisor, dimension)| {
            Value::Quantity(Quantity::new(Ratio::new(number, divisor).unwrap(), dimension))
        }),
        1 => prop::sample::select(vec!["", "eave", "hip", "rake", "héi"]).prop_map(text),
        1 => any::<bool>().prop_map(Value::YesNo),
    ]
}

proptest! {
    #![proptest_config(ProptestConfig { failure_persistence: None, ..ProptestConfig::with_cases(4000) })]

    /// Figures of a good roof with some replaced by anything: no panic, and an
    /// error says something.
    #[test]
    fn no_input_panics(
        spec in spec(1..3),
        corners in vec((any_value(), any_value(), 0..6_usize), 0..6),
        changes in vec((0..5_usize, any::<prop::sample::Index>(), any::<prop::sample::Index>(), any_value()), 0..4),
    ) {
        let mut input = input(&spec, false, inches);
        for (along, up, kind) in corners {
            let kind = ["eave", "rake", "hip", "valley", "ridge", "wall"][kind];
            let row = Row::from([
                ("plane", number(1)), ("kind", text(kind)), ("along", along), ("up", up),
            ]);
            input.tables.entry("edge").or_default().push(row);
        }
        for (table, row, column, value) in changes {
            let names = ["plane", "edge", "obstruction", "space"];
            let mut none = Vec::new();
            let row = match names.get(table) {
                None => &mut input.values,
                Some(table) => {
                    let rows = input.tables.get_mut(table).unwrap_or(&mut none);
                    if rows.is_empty() { continue }
                    let at = row.index(rows.len());
                    &mut rows[at]
                }
            };
            let columns: Vec<&'static str> = row.keys().copied().collect();
            row.insert(columns[column.index(columns.len())], value);
        }
        if let Err(error) = layout_of(&input) {
            prop_assert!(8 < error.len(), "{}", error);
        }
    }
}

struct Xorshift(u64);

impl Xorshift {
    fn below(&mut self, limit: i64) -> i64 {
        self.0 ^= self.0 << 13;
        self.0 ^= self.0 >> 7;
        self.0 ^= self.0 << 17;
        (self.0 % limit as u64) as i64
    }
}

type Corners = Vec<(i64, i64, &'static str)>;

/// A plane that no vertical line meets more than twice: teeth at eave and ridge.
fn toothed(random: &mut Xorshift) -> Corners {
    let mut alongs = vec![0];
    for _ in 0..3 + random.below(5) {
        alongs.push(alongs[alongs.len() - 1] + 30 + random.below(120));
    }
    let mut corners: Corners = vec![(0, 0, "eave")];
    let low: Vec<_> =
        alongs.iter().skip(1).map(|along| (*along, random.below(60), "rake")).collect();
    corners.extend(low);
    let high: Vec<_> =
        alongs.iter().rev().map(|along| (*along, 70 + random.below(60), "hip")).collect();
    corners.extend(high);
    corners
}

/// Like a row of houses: level and upright edges only.
fn stepped(random: &mut Xorshift) -> Corners {
    let mut corners: Corners = vec![];
    let (mut along, mut last) = (0, -1);
    for _ in 0..2 + random.below(4) {
        let mut up = random.below(50);
        up += i64::from(up == last);
        last = up;
        corners.push((along, up, "eave"));
        along += 60 + random.below(200);
        corners.push((along, up, "wall"));
    }
    corners.push((along, 120, "ridge"));
    corners.push((0, 120, "rake"));
    corners
}

/// A plane that no level line meets more than twice.
fn leaning(random: &mut Xorshift) -> Corners {
    let mut ups = vec![0];
    for _ in 0..1 + random.below(4) {
        ups.push(ups[ups.len() - 1] + 8 + random.below(40));
    }
    let right: Vec<_> = ups.iter().map(|up| (300 + random.below(200), *up, "valley")).collect();
    let left: Vec<_> = ups.iter().rev().map(|up| (random.below(200), *up, "hip")).collect();
    let mut corners = right;
    corners.extend(left);
    if let Some(last) = corners.last_mut() {
        last.2 = "eave";
    }
    corners
}

fn random_plane(random: &mut Xorshift, kind: i64) -> (RowsInput, Json) {
    let mut input = product();
    // No piece is that long: every free stretch is left out and so told.
    input.values.insert("piece_length", inches(1 << 30));
    let stay_back = 16 * random.below(30) + 8;
    input.values.insert("stay_back", inches(stay_back));
    add_space(&mut input, "1 in2");
    let butt = 8 * (1 + 2 * random.below(50)) + 1;
    add_plane(&mut input).insert("course_butt", inches(butt));
    let f = |sixteenths: i64| sixteenths as f64 / 16.0;
    let mut told = json!({
        "stay_back": f(stay_back), "obstruction_stay_back": 12.0,
        "butt": f(butt), "low": f(butt) + 4.0, "high": f(butt) + 14.0,
    });
    let mut obstructions = Vec::new();
    for _ in 0..random.below(4) {
        let (left, low) = (16 * (60 + random.below(100)), 16 * random.below(60));
        let (width, height) = (16 * (1 + random.below(30)), 16 * (1 + random.below(30)));
        add_obstruction(&mut input, 1, [left, left + width, low, low + height].map(inches));
        obstructions.push([f(left), f(left + width), f(low), f(low + height)]);
    }
    told["obstructions"] = json!(obstructions);
    let corners = match kind {
        0 => toothed(random),
        1 => stepped(random),
        2 => leaning(random),
        _ => {
            let (eave, rise) = (150 + random.below(400), 2 + random.below(12));
            let [left, right] = [(); 2].map(|()| SIDES[random.below(4) as usize]);
            let plane = &mut input.tables.get_mut("plane").unwrap()[0];
            sides(plane, &format!("{eave} in"), "110 in", left, right);
            let pitch = Quantity::pitch_in_twelve(Ratio::int(rise)).unwrap();
            plane.insert("pitch", Value::Quantity(pitch));
            for (name, value) in [
                ("eave", json!(eave)),
                ("slope", json!(110)),
                ("pitch", json!(rise as f64 / 12.0)),
                ("left", json!(left)),
                ("right", json!(right)),
            ] {
                told[name] = value;
            }
            return (input, told);
        }
    };
    add_corners(&mut input, 1, &corners);
    let points: Vec<_> = corners.iter().map(|(along, up, _)| [along, up]).collect();
    told["corners"] = json!(points);
    (input, told)
}

#[test]
fn free_stretches_agree_with_shapely() {
    let Some(folder) = outside::folder("free stretches by shapely") else { return };
    let mut random = Xorshift(0x5eed_cafe);
    let (mut ours, mut told, mut kinds) = (Vec::new(), Vec::new(), [0; 4]);
    for round in 0..3000 {
        let (input, plane) = random_plane(&mut random, round % 4);
        // Obstructions and courses past a random plane are refused; enough are left.
        if let Ok(layout) = layout_of(&input) {
            ours.push(layout);
            told.push(plane);
            kinds[(round % 4) as usize] += 1;
        }
    }
    assert!(kinds.iter().all(|count| 200 < *count), "{kinds:?}");
    let theirs: Vec<Vec<[f64; 2]>> =
        serde_json::from_str(&outside::run(&folder, "free_stretches.py", &json!(told).to_string()))
            .unwrap();
    assert_eq!(ours.len(), theirs.len());
    let mut counts = [0; 4];
    for ((layout, theirs), plane) in ours.iter().zip(theirs).zip(&told) {
        let found = layout.left_out.iter().filter(|it| !it.why.contains("nothing free"));
        let found: Vec<_> =
            found.map(|it| [it.from_to.0.to_f64(), it.from_to.1.to_f64()]).collect();
        // The library drops slivers.
        let found: Vec<_> = found.into_iter().filter(|[from, to]| 1e-6 < to - from).collect();
        assert_eq!(found.len(), theirs.len(), "{plane} {found:?} {theirs:?}");
        for (ours, theirs) in found.iter().flatten().zip(theirs.iter().flatten()) {
            assert!((ours - theirs).abs() < 1e-5, "{plane} {found:?}");
        }
        counts[found.len().min(3)] += 1;
    }
    println!("{} planes, stretches none, one, two, more: {counts:?}", ours.len());
    assert!(counts.iter().all(|count| 30 < *count), "{counts:?}");
}
