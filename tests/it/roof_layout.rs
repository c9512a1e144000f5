//! Vent runs on roof planes, worked by hand: what is free, what is laid, and what
//! is said when a fact cannot be right. Random roofs are in
//! `roof_layout_properties.rs`.

use chalkhand::measure::{Dimension, Quantity, Ratio, Row, RowsInput, Type, Value, parse_quantity};
use chalkhand::roof::{self, EdgeKind, Layout, layout_of};

use crate::measure_outside::{decimal, ratio};

pub(crate) fn length(text: &str) -> Value {
    Value::Quantity(parse_quantity(text, Dimension::LENGTH).unwrap())
}

pub(crate) fn number(count: i64) -> Value {
    Value::Quantity(Quantity::count(count))
}

pub(crate) fn text(text: &str) -> Value {
    Value::Text(text.to_owned())
}

fn area(text: &str) -> Value {
    Value::Quantity(parse_quantity(text, Dimension::AREA).unwrap())
}

/// Invented figures; stay-back, inset, nail line and slot are common practice,
/// no source.
pub(crate) fn product() -> RowsInput {
    let mut values = Row::new();
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
        values.insert(name, length(inches));
    }
    let rating = parse_quantity("9 in2/ft", Dimension::FREE_AREA_PER_LENGTH).unwrap();
    values.insert("free_area_per_length", Value::Quantity(rating));
    values.insert("spread", Value::YesNo(false));
    RowsInput { values, ..RowsInput::default() }
}

pub(crate) fn add<const N: usize>(
    input: &mut RowsInput,
    table: &'static str,
    row: [(&'static str, Value); N],
) {
    input.tables.entry(table).or_default().push(Row::from(row));
}

pub(crate) fn add_space(input: &mut RowsInput, to_lay: &str) {
    add(input, "space", [("to_lay", area(to_lay))]);
}

pub(crate) fn add_plane(input: &mut RowsInput) -> &mut Row {
    add(
        input,
        "plane",
        [
            ("usable", Value::YesNo(true)),
            ("space", number(1)),
            ("pitch", Value::Quantity(Quantity::pitch_in_twelve(Ratio::int(6)).unwrap())),
            ("exposure", length("5 in")),
            ("past_edge", length("1 in")),
            ("course_butt", length("9 in")),
            ("course", number(3)),
        ],
    );
    input.tables.get_mut("plane").unwrap().last_mut().unwrap()
}

pub(crate) fn sides(plane: &mut Row, eave: &str, slope: &str, left: &str, right: &str) {
    plane.insert("eave", length(eave));
    plane.insert("slope_length", length(slope));
    plane.insert("left", text(left));
    plane.insert("right", text(right));
}

pub(crate) fn add_corners(input: &mut RowsInput, plane: i64, corners: &[(i64, i64, &str)]) {
    for (along, up, kind) in corners {
        let inches = |n: i64| Value::Quantity(Quantity::inches(Ratio::int(n)));
        let row = [
            ("plane", number(plane)),
            ("kind", text(kind)),
            ("along", inches(*along)),
            ("up", inches(*up)),
        ];
        add(input, "edge", row);
    }
}

pub(crate) fn add_obstruction(input: &mut RowsInput, plane: i64, at: [Value; 4]) {
    let [left, right, low, high] = at;
    let row = [
        ("plane", number(plane)),
        ("kind", text("chimney")),
        ("left", left),
        ("right", right),
        ("low", low),
        ("high", high),
    ];
    add(input, "obstruction", row);
}

/// One gable plane: 41 ft between the rakes.
fn gable(to_lay: &str) -> RowsInput {
    let mut input = product();
    add_space(&mut input, to_lay);
    sides(add_plane(&mut input), "41 ft", "16 ft", "rake", "rake");
    input
}

pub(crate) fn laid(input: &RowsInput) -> Layout {
    layout_of(input).unwrap_or_else(|error| panic!("{error}"))
}

fn starts_and_ends(layout: &Layout) -> Vec<(Ratio, Ratio)> {
    layout.runs.iter().map(|run| (run.vent_start, run.vent_end)).collect()
}

fn free(layout: &Layout) -> Vec<(Ratio, Ratio)> {
    layout.left_out.iter().map(|left_out| left_out.from_to).collect()
}

fn whole(numbers: &[(i64, i64)]) -> Vec<(Ratio, Ratio)> {
    numbers.iter().map(|(a, b)| (Ratio::int(*a), Ratio::int(*b))).collect()
}

/// 18 in from the rake, slot 6 in further in (common practice, no source); 38 ft
/// in 4 ft pieces are 10 pieces (trade-facts, end of 3, computed): 9 whole and
/// one of 24 in. 456 in of vent at 3/4 in2 an inch: 342 in2.
#[test]
fn common_practice_on_a_gable() {
    let layout = laid(&gable("342 in2"));
    let [run] = layout.runs.as_slice() else { panic!("{:?}", layout.runs) };
    assert_eq!((run.vent_start, run.slot_start), (Ratio::int(18), Ratio::int(24)));
    assert_eq!((run.vent_end, run.slot_end), (Ratio::int(474), Ratio::int(468)));
    assert_eq!((run.pieces, run.field_cut), (10, Some(Ratio::int(24))));
    assert_eq!(run.free_area, Ratio::int(342));
    assert_eq!(run.left_kind, EdgeKind::Rake);
    assert!(layout.notes.is_empty(), "{:?}", layout.notes);
}

/// 44 in of slot inside one piece over members at 24 in: 36 - 2 * 1 1/2 = 33 in
/// of open slot. At 1 in2 an inch of vent and a slot of 1 in the slot decides.
#[test]
fn the_slot_decides_where_it_is_the_narrower() {
    let mut input = gable("30 in2");
    let rating = parse_quantity("12 in2/ft", Dimension::FREE_AREA_PER_LENGTH).unwrap();
    input.values.insert("free_area_per_length", Value::Quantity(rating));
    input.values.insert("slot_high", length("6 in"));
    let layout = laid(&input);
    assert_eq!(layout.runs.len(), 1);
    assert_eq!((layout.runs[0].pieces, layout.runs[0].free_area), (1, Ratio::int(33)));
}

/// Members 2 in apart and 1 1/2 in thick leave 1/2 in to cut between them.
#[test]
fn only_the_deck_is_cut() {
    let mut input = gable("1000 in2");
    input.values.insert("member_spacing", length("2 in"));
    // 444 in of slot, floor(444 / 2) + 1 members: (444 - 223 * 1 1/2) / 2 in2.
    assert_eq!(laid(&input).runs[0].free_area, decimal("54.75"));
}

/// The vent takes up 13 to 23 in; a 6:12 hip leans 1 in for 1.118033989 in up.
/// From the hip at 9 in to the hip at 23 in and 18 in more: 30.522 in, so 30 9/16.
#[test]
fn a_hip_leans_into_the_course() {
    let mut input = product();
    add_space(&mut input, "1 in2");
    sides(add_plane(&mut input), "20 ft", "9 ft", "hip", "valley");
    let layout = laid(&input);
    assert_eq!(layout.runs[0].vent_start, ratio(489, 16));
    assert_eq!(layout.runs[0].left_kind, EdgeKind::Hip);
    assert!((layout.runs[0].left_at.to_f64() - 9.0 / 1.25_f64.sqrt()).abs() < 1e-8);
    let note = layout.notes.last().unwrap();
    assert!(note.contains("plane 1 are taken for equal pitches and square corners"), "{note}");
    let kinds: Vec<_> = layout.planes[0].edges.iter().map(|edge| edge.kind).collect();
    assert_eq!(kinds, [EdgeKind::Eave, EdgeKind::Valley, EdgeKind::Ridge, EdgeKind::Hip]);
}

/// Two hips over 20 ft of eave meet 10 ft of run up: 120 * 1.118033989 in.
#[test]
fn two_hips_make_an_apex() {
    let mut input = product();
    add_space(&mut input, "1 in2");
    sides(add_plane(&mut input), "20 ft", "16 ft", "hip", "hip");
    let edges = &laid(&input).planes[0].edges;
    assert_eq!(edges.len(), 3);
    assert_eq!(edges[1].to.along, Ratio::int(120));
    assert!((edges[1].to.up.to_f64() - 120.0 * 1.25_f64.sqrt()).abs() < 1e-6);
}

const NOTCHED: [(i64, i64, &str); 8] = [
    (0, 0, "eave"),
    (200, 0, "wall"),
    (200, 60, "wall"),
    (280, 60, "wall"),
    (280, 0, "eave"),
    (480, 0, "rake"),
    (480, 200, "ridge"),
    (0, 200, "rake"),
];

fn notched(butt: &str) -> RowsInput {
    let mut input = product();
    add_space(&mut input, "0 in2");
    add_plane(&mut input).insert("course_butt", length(butt));
    add_corners(&mut input, 1, &NOTCHED);
    input
}

/// A wall that stands into the plane from its eave, 80 in wide and 60 in up.
#[test]
fn a_plane_that_is_not_convex() {
    assert_eq!(free(&laid(&notched("10 in"))), whole(&[(18, 182), (298, 462)]));
    assert_eq!(free(&laid(&notched("50 in"))), whole(&[(18, 182), (298, 462)]), "the wall's end");
    assert_eq!(free(&laid(&notched("56 in"))), whole(&[(18, 182), (298, 462)]), "touches it");
    assert_eq!(free(&laid(&notched("57 in"))), whole(&[(18, 462)]), "past it");
    assert_eq!(free(&laid(&notched("186 in"))), whole(&[(0, 480)]), "the ridge is in the way");
    assert_eq!(free(&laid(&notched("185 in"))), whole(&[(18, 462)]), "just below the ridge");
}

#[test]
fn a_clockwise_outline_is_turned_round() {
    let mut turned = notched("10 in");
    turned.tables.remove("edge");
    // Each row's edge goes to the next corner, so a kind moves one row on.
    let mut corners = NOTCHED;
    corners.reverse();
    let kinds: Vec<&str> = corners.iter().map(|corner| corner.2).collect();
    for (i, corner) in corners.iter_mut().enumerate() {
        corner.2 = kinds[(i + 1) % kinds.len()];
    }
    add_corners(&mut turned, 1, &corners);
    let (given, turned) = (laid(&notched("10 in")), laid(&turned));
    for edge in &given.planes[0].edges {
        assert!(turned.planes[0].edges.contains(edge), "{edge:?}");
    }
    assert_eq!(given.left_out, turned.left_out);
}

/// A chimney from 100 to 140 in with 12 in on both sides.
#[test]
fn obstructions_block_where_they_reach_the_vent() {
    let at = |low, high| [length("100 in"), length("140 in"), length(low), length(high)];
    let free_beside = |low, high| {
        let mut input = gable("0 in2");
        add_obstruction(&mut input, 1, at(low, high));
        free(&laid(&input))
    };
    assert_eq!(free_beside("20 in", "60 in"), whole(&[(18, 88), (152, 474)]));
    assert_eq!(free_beside("23 in", "60 in"), whole(&[(18, 88), (152, 474)]), "touches it above");
    assert_eq!(free_beside("2 in", "13 in"), whole(&[(18, 88), (152, 474)]), "touches it below");
    // Its flashing reaches into the courses above and below it: 12 in there too.
    assert_eq!(free_beside("35 in", "60 in"), whole(&[(18, 88), (152, 474)]), "touches below it");
    assert_eq!(free_beside("36 in", "60 in"), whole(&[(18, 474)]));
    assert_eq!(free_beside("0 in", "1 in"), whole(&[(18, 88), (152, 474)]), "touches above it");
    assert_eq!(free_beside("0 in", "1/2 in"), whole(&[(18, 474)]));
}

/// The hip is 80 in from the end at 90 in up and 94 in at 105 in up, where the
/// middle of the chimney is.
#[test]
fn an_obstruction_may_reach_over_a_hip() {
    let mut input = gable("0 in2");
    sides(&mut input.tables.get_mut("plane").unwrap()[0], "41 ft", "16 ft", "hip", "hip");
    add_obstruction(&mut input, 1, ["60 in", "100 in", "90 in", "120 in"].map(length));
    assert_eq!(laid(&input).planes[0].obstructions.len(), 1);
}

/// Joints at 10, 46 in and so on: the first middle at or after 18 in is 28 in.
#[test]
fn a_run_starts_in_the_middle_of_a_shingle() {
    let mut input = gable("1000 in2");
    input.values.insert("shingle_width", length("36 in"));
    assert_eq!(starts_and_ends(&laid(&input)), whole(&[(18, 474)]), "no joint was measured");
    input.tables.get_mut("plane").unwrap()[0].insert("joint_at", length("10 in"));
    assert_eq!(starts_and_ends(&laid(&input)), whole(&[(28, 474)]));
    input.tables.get_mut("plane").unwrap()[0].insert("joint_at", length("36 in"));
    assert_eq!(starts_and_ends(&laid(&input)), whole(&[(18, 474)]), "at it");
    input.values.insert("shingle_width", length("0 in"));
    input.tables.get_mut("plane").unwrap()[0].insert("joint_at", length("10 in"));
    assert_eq!(starts_and_ends(&laid(&input)), whole(&[(18, 474)]), "joints do not matter");
}

/// 59 in free: one piece and 11 in, shorter than the shortest piece of 12 in.
#[test]
fn a_rest_too_short_is_left_bare() {
    let mut input = gable("1000 in2");
    sides(&mut input.tables.get_mut("plane").unwrap()[0], "95 in", "16 ft", "rake", "rake");
    let layout = laid(&input);
    assert_eq!(starts_and_ends(&layout), whole(&[(18, 66)]));
    let note = "Plane 1: the run from 1'-6\" leaves 11\" at its end bare, shorter than the shortest \
                piece.";
    assert!(layout.notes.contains(&note.to_owned()), "{:?}", layout.notes);
}

#[test]
fn a_stretch_shorter_than_a_piece_says_so() {
    let mut input = gable("1000 in2");
    sides(&mut input.tables.get_mut("plane").unwrap()[0], "83 in", "16 ft", "rake", "rake");
    let layout = laid(&input);
    assert!(layout.runs.is_empty());
    let note = "Plane 1, course 3: no vent from 1'-6\" to 5'-5\": 3'-11\" is free, less than one \
                whole piece of 4'-0\".";
    assert!(layout.notes.contains(&note.to_owned()), "{:?}", layout.notes);
    assert_eq!(free(&layout), whole(&[(18, 65)]));
}

/// 342 in2 of 1000: 658 more, at 3/4 in2 an inch 877 1/3 in, so 73 ft 2 in.
#[test]
fn a_shortfall_is_told_with_its_length() {
    let notes = laid(&gable("1000 in2")).notes;
    let told = "Space 1: the runs bring 342.0 in2, 658.0 in2 less than the 1000.0 in2 needed: \
                73'-2\" more vent";
    assert!(notes.iter().any(|note| note.starts_with(told)), "{notes:?}");
}

/// Planes of 10, 6 and 6 pieces: 342, 216 and 216 in2.
fn three_planes(to_lay: &str, spread: bool) -> Vec<(u32, u32)> {
    let mut input = gable(to_lay);
    for _ in 0..2 {
        sides(add_plane(&mut input), "27 ft", "16 ft", "rake", "rake");
    }
    input.values.insert("spread", Value::YesNo(spread));
    laid(&input).runs.iter().map(|run| (run.plane, run.pieces)).collect()
}

/// A whole piece brings 36 in2.
#[test]
fn as_few_runs_as_are_enough_and_balanced() {
    assert_eq!(three_planes("0 in2", false), []);
    assert_eq!(three_planes("0 in2", true), []);
    assert_eq!(three_planes("342 in2", false), [(1, 10)]);
    assert_eq!(three_planes("343 in2", false), [(1, 5), (2, 5)]);
    assert_eq!(three_planes("500 in2", false), [(1, 8), (2, 6)]);
    assert_eq!(three_planes("100 in2", true), [(1, 1), (2, 1), (3, 1)]);
    assert_eq!(three_planes("1 in2", true), [(1, 1), (2, 1), (3, 1)]);
    assert_eq!(three_planes("774 in2", false), [(1, 10), (2, 6), (3, 6)]);
}

#[test]
fn a_second_plane_is_taken_before_a_second_run_on_the_first() {
    let mut input = gable("300 in2");
    // 18 to 218 and 242 to 474 in free on plane 1: 4 whole pieces each and a rest.
    let chimney = [length("230 in"), length("230 1/16 in"), length("10 in"), length("30 in")];
    add_obstruction(&mut input, 1, chimney);
    sides(add_plane(&mut input), "220 in", "16 ft", "rake", "rake");
    let layout = laid(&input);
    let planes: Vec<u32> = layout.runs.iter().map(|run| run.plane).collect();
    assert_eq!(planes, [1, 2]);
    assert!(layout.left_out.iter().any(|left_out| left_out.why.starts_with("Not needed")));
}

/// At the deck edge eave and rake meet; the rake is what a tape is held against.
#[test]
fn the_side_names_the_corner() {
    let mut input = gable("100 in2");
    input.tables.get_mut("plane").unwrap()[0].insert("course_butt", length("0 in"));
    assert_eq!(laid(&input).runs[0].left_kind, EdgeKind::Rake);
}

#[test]
fn runs_on_one_plane_only_are_told() {
    let mut input = gable("100 in2");
    sides(add_plane(&mut input), "27 ft", "16 ft", "rake", "rake");
    let notes = laid(&input).notes;
    assert!(notes.iter().any(|note| note.contains("R806.1")), "{notes:?}");
    input.values.insert("spread", Value::YesNo(true));
    let notes = laid(&input).notes;
    assert!(!notes.iter().any(|note| note.contains("R806.1")), "{notes:?}");
}

#[test]
fn each_space_is_laid_for_itself() {
    let mut input = gable("36 in2");
    add_space(&mut input, "72 in2");
    let plane = add_plane(&mut input);
    sides(plane, "27 ft", "16 ft", "rake", "rake");
    plane.insert("space", number(2));
    let unusable = add_plane(&mut input);
    sides(unusable, "27 ft", "16 ft", "rake", "rake");
    unusable.insert("usable", Value::YesNo(false));
    let runs: Vec<_> = laid(&input).runs.iter().map(|run| (run.plane, run.pieces)).collect();
    assert_eq!(runs, [(1, 1), (2, 2)]);
}

#[test]
fn the_rows_have_the_columns_promised() {
    let functions = roof::functions();
    let function = functions.rows("vent_runs").unwrap();
    let output = (function.run)(&gable("342 in2")).unwrap();
    assert_eq!(output.rows.len(), 1);
    let row = &output.rows[0];
    assert_eq!(row.len(), function.gives.len());
    for column in function.gives {
        assert_eq!(row[column.name].type_of(), column.kind, "{}", column.name);
    }
    assert_eq!(row["reference"], text("rake"));
    assert_eq!(row["field_cut"], length("24 in"));
    assert_eq!(row["length"], length("38 ft"));
    for column in function.takes {
        let mut input = gable("342 in2");
        input.values.remove(column.name);
        assert_eq!((function.run)(&input).is_err(), column.needed, "{}", column.name);
        input.values.insert(column.name, Value::Text(String::new()));
        assert!(column.kind != Type::Text && (function.run)(&input).is_err(), "{}", column.name);
    }
}

fn corners_say(corners: &[(i64, i64, &str)], expected: &str) {
    let mut input = product();
    add_space(&mut input, "0 in2");
    add_plane(&mut input);
    add_corners(&mut input, 1, corners);
    let found = layout_of(&input).unwrap_err();
    assert!(found.contains(expected), "{found}");
}

#[test]
fn outlines_that_cannot_be_right() {
    corners_say(&[(0, 0, "eave"), (9, 0, "rake")], "plane 1: the table `edge` has 2");
    let bow_tie = [(0, 0, "eave"), (90, 0, "rake"), (0, 90, "ridge"), (90, 90, "rake")];
    corners_say(&bow_tie, "edge 2 and edge 4 cross");
    let folded = [(0, 0, "eave"), (90, 0, "eave"), (50, 0, "rake"), (50, 90, "rake")];
    corners_say(&folded, "edge 1 and edge 2 cross or touch");
    let folded_last = [(0, 0, "eave"), (90, 0, "rake"), (90, 90, "ridge"), (50, 0, "eave")];
    corners_say(&folded_last, "cross or touch");
    let pinched =
        [(0, 0, "eave"), (90, 0, "rake"), (90, 90, "hip"), (45, 0, "hip"), (0, 90, "rake")];
    corners_say(&pinched, "cross or touch");
    let twice = [(0, 0, "eave"), (90, 0, "rake"), (90, 0, "rake"), (0, 90, "rake")];
    corners_say(&twice, "edge 2: the next corner of plane 1 is at the same place");
    corners_say(&[(0, 0, "eave"), (90, 0, "eave"), (50, 0, "eave")], "area is zero");
    corners_say(&[(0, 0, "eave"), (90, -1, "rake"), (0, 90, "rake")], "edge 2, up: below the eave");
    corners_say(&[(0, 0, "rake"), (90, 0, "rake"), (0, 90, "rake")], "is an eave");
    corners_say(&[(0, 0, "eaves"), (9, 0, "rake"), (0, 9, "hip")], "did you mean `eave`?");
    corners_say(&[(0, 0, "gable"), (9, 0, "rake"), (0, 9, "hip")], "edge 1, kind: `gable` is none");
}

fn says(change: impl FnOnce(&mut RowsInput), expected: &str) {
    let mut input = gable("100 in2");
    change(&mut input);
    let found = layout_of(&input).expect_err(expected);
    assert!(found.contains(expected), "{found}\n{expected}");
}

#[test]
fn figures_of_the_product_that_cannot_be_right() {
    for (name, value, expected) in [
        ("slot_low", "6 1/2 in", "slot_low: not below slot_high"),
        ("vent_low", "5 1/16 in", "vent_low: above slot_low"),
        ("vent_high", "6 in", "vent_high: below slot_high"),
        ("nail_line", "5 in", "nail_line: not below slot_low"),
        ("piece_length", "0 in", "piece_length: must be more than zero"),
        ("piece_length", "1/16 in", "shortest_piece: more than piece_length"),
        ("shortest_piece", "49 in", "shortest_piece: more than piece_length"),
        ("shortest_piece", "-1 in", "shortest_piece: must not be below zero"),
        ("slot_inset", "24 in", "slot_inset: half of piece_length or more"),
        ("member_width", "24 in", "member_width: not less than member_spacing"),
        ("stay_back", "-1 in", "stay_back: must not be below zero"),
        ("shingle_width", "-1 in", "shingle_width: must not be below zero"),
    ] {
        says(|input| drop(input.values.insert(name, length(value))), expected);
    }
    says(|input| drop(input.values.remove("nail_line")), "nail_line: not known yet");
    let tiny = |input: &mut RowsInput| {
        for name in ["piece_length", "shortest_piece"] {
            input.values.insert(name, length("1/16 in"));
        }
        input.values.insert("slot_inset", length("0 in"));
    };
    says(tiny, "plane 1: more than 1000 pieces");
}

#[test]
fn facts_of_the_planes_that_cannot_be_right() {
    let plane = |name: &'static str, value: Value| {
        move |input: &mut RowsInput| {
            drop(input.tables.get_mut("plane").unwrap()[0].insert(name, value));
        }
    };
    says(plane("space", number(2)), "plane 1, space: 2, but the table `space` has only row 1");
    says(plane("space", number(0)), "plane 1, space: 0 is no whole number");
    says(plane("course", number(0)), "plane 1, course: 0 is no whole number");
    says(plane("course", number(40)), "plane 1, course: with this exposure it would start above");
    says(plane("course_butt", length("-1 in")), "plane 1, course_butt: below the deck edge");
    says(plane("course_butt", length("16 ft")), "plane 1, course_butt: not below the top");
    says(
        plane("left", text("hipp")),
        "plane 1, left: `hipp` is none of rake, hip, valley, wall; did",
    );
    says(plane("left", text("eave")), "plane 1, left: `eave` is none of");
    says(plane("eave", length("0 in")), "plane 1, eave: must be more than zero");
    let no_eave =
        |input: &mut RowsInput| drop(input.tables.get_mut("plane").unwrap()[0].remove("eave"));
    says(no_eave, "plane 1, eave: not known, so the plane has no outline; give its eave");
    says(
        |input| add_corners(input, 2, &[(0, 0, "eave")]),
        "edge 1, plane: 2, but the table `plane` has only row 1",
    );
    let stands = |plane: i64, at: [&'static str; 4]| {
        move |input: &mut RowsInput| add_obstruction(input, plane, at.map(length))
    };
    let fine = ["50 in", "60 in", "20 in", "30 in"];
    says(stands(3, fine), "obstruction 1, plane: 3, but");
    says(stands(1, ["60 in", "60 in", "20 in", "30 in"]), "obstruction 1, left: not less than");
    says(stands(1, ["50 in", "60 in", "30 in", "30 in"]), "obstruction 1, low: not less than");
    says(
        stands(1, ["50 in", "60 ft", "20 in", "30 in"]),
        "obstruction 1, left and right: it reaches",
    );
    says(
        stands(1, ["50 in", "60 in", "20 in", "20 ft"]),
        "obstruction 1, low and high: it reaches",
    );
    let outside = |input: &mut RowsInput| {
        sides(&mut input.tables.get_mut("plane").unwrap()[0], "41 ft", "16 ft", "hip", "hip");
        add_obstruction(input, 1, ["1 in", "9 in", "100 in", "120 in"].map(length));
    };
    says(outside, "obstruction 1: it lies outside the outline of plane 1");
    let unknown = |input: &mut RowsInput| {
        add_obstruction(input, 1, fine.map(length));
        input.tables.get_mut("obstruction").unwrap()[0].insert("kind", text("chimny"));
    };
    says(unknown, "did you mean `chimney`?");
}
