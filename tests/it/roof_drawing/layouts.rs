//! Invented layouts, written down by hand; nothing here computes runs.

use chalkhand::measure::Ratio;
use chalkhand::roof::{Edge, EdgeKind, Layout, LeftOut, Obstruction, Plane, Point, Run, Vent};

pub(super) fn inches(num: i128, den: i128) -> Ratio {
    Ratio::new(num, den).unwrap()
}

pub(super) fn whole(value: i64) -> Ratio {
    Ratio::int(value)
}

/// Figures of trade-facts, "common practice, no source"; the vent's own edges
/// are invented.
pub(super) fn vent() -> Vent {
    Vent {
        piece_length: whole(48),
        shortest_piece: whole(12),
        free_area_per_length: inches(3, 4),
        stay_back: whole(18),
        rake_back: whole(18),
        obstruction_stay_back: whole(12),
        slot_inset: whole(6),
        vent_low: whole(3),
        vent_high: whole(14),
        nail_line: inches(9, 2),
        slot_low: whole(5),
        slot_high: inches(13, 2),
        shingle_width: None,
        member_spacing: whole(24),
        member_width: inches(3, 2),
    }
}

/// A plane with corners `(along, up)` counter-clockwise and what lies behind each.
pub(super) fn plane(number: u32, faces: &str, corners: &[(i64, i64, EdgeKind)]) -> Plane {
    let point = |at: usize| {
        let (along, up, _) = corners[at % corners.len()];
        Point { along: whole(along), up: whole(up) }
    };
    let edge = |at: usize| Edge { from: point(at), to: point(at + 1), kind: corners[at].2 };
    Plane {
        number,
        faces: faces.to_owned(),
        space: 1,
        usable: true,
        edges: (0..corners.len()).map(edge).collect(),
        obstructions: Vec::new(),
        pitch: inches(1, 2),
        exposure: inches(45, 8),
        past_edge: inches(3, 4),
        course: 9,
        course_butt: inches(709, 16),
        joint_at: None,
    }
}

pub(super) fn gable(number: u32, faces: &str, eave: i64, slope: i64) -> Plane {
    use EdgeKind::{Eave, Rake, Ridge};
    plane(number, faces, &[(0, 0, Eave), (eave, 0, Rake), (eave, slope, Ridge), (0, slope, Rake)])
}

pub(super) fn run(plane: &Plane, left: (EdgeKind, Ratio), start: i64, end: i64) -> Run {
    Run {
        plane: plane.number,
        course: plane.course,
        course_butt: plane.course_butt,
        left_kind: left.0,
        left_at: left.1,
        vent_start: whole(start),
        vent_end: whole(end),
        slot_start: whole(start + 6),
        slot_end: whole(end - 6),
        pieces: u32::try_from((end - start + 47) / 48).unwrap(),
        field_cut: Some(inches(i128::from((end - start) % 48) * 2 + 1, 2)),
        free_area: whole(100),
    }
}

fn obstruction(number: u32, kind: &str, along: (i64, i64), up: (i64, i64)) -> Obstruction {
    Obstruction {
        number,
        kind: kind.to_owned(),
        left: whole(along.0),
        right: whole(along.1),
        low: whole(up.0),
        high: whole(up.1),
    }
}

fn layout(planes: Vec<Plane>, runs: Vec<Run>, left_out: Vec<LeftOut>) -> Layout {
    Layout {
        planes,
        vent: vent(),
        runs,
        left_out,
        notes: vec!["Course 9 is the lowest that opens above the insulation.".to_owned()],
    }
}

fn rake() -> (EdgeKind, Ratio) {
    (EdgeKind::Rake, Ratio::ZERO)
}

/// A gable roof: two long planes, one with a chimney, and one that is too small.
pub(super) fn gable_roof() -> Layout {
    let mut south = gable(1, "south", 480, 188);
    south.obstructions.push(obstruction(1, "chimney", (300, 336), (120, 168)));
    south.obstructions.push(obstruction(2, "pipe", (100, 112), (90, 102)));
    let north = gable(2, "north", 480, 188);
    let east = gable(3, "east", 60, 40);
    let runs = vec![run(&south, rake(), 18, 462), run(&north, rake(), 18, 462)];
    let why = "the plane is shorter than two stay-backs and one piece".to_owned();
    let left_out = vec![LeftOut { plane: 3, from_to: (whole(0), whole(60)), why }];
    layout(vec![south, north, east], runs, left_out)
}

/// A plane with four runs between a dormer, a chimney and a skylight.
pub(super) fn four_runs() -> Layout {
    let mut plane = gable(1, "southwest", 720, 200);
    plane.obstructions.push(obstruction(1, "dormer", (150, 210), (30, 130)));
    plane.obstructions.push(obstruction(2, "chimney", (350, 390), (36, 90)));
    plane.obstructions.push(obstruction(3, "skylight", (530, 560), (40, 88)));
    let runs = [(18, 138), (222, 338), (402, 518), (572, 702)];
    let runs = runs.map(|(start, end)| run(&plane, rake(), start, end)).to_vec();
    let blocked = |from, to, what: &str| LeftOut {
        plane: 1,
        from_to: (whole(from), whole(to)),
        why: format!("{what} stands there"),
    };
    let left_out = vec![
        blocked(138, 222, "dormer 1"),
        blocked(338, 402, "chimney 2"),
        blocked(518, 572, "skylight 3"),
    ];
    layout(vec![plane], runs, left_out)
}

/// A hip roof's end: a triangle; and its side, a trapezoid with a valley.
pub(super) fn hips() -> Layout {
    use EdgeKind::{Eave, Hip, Ridge, Valley, Wall};
    let east = plane(1, "east", &[(0, 0, Eave), (336, 0, Hip), (168, 188, Hip)]);
    let south = plane(
        2,
        "",
        &[(0, 0, Eave), (420, 0, Hip), (252, 188, Ridge), (60, 188, Wall), (60, 100, Valley)],
    );
    // Where the edges are at 44 5/16 in up: 168/188 and 60/100 of it.
    let butt = inches(709, 16);
    let east_left = butt.times(inches(168, 188)).unwrap();
    let south_left = butt.times(inches(60, 100)).unwrap();
    let runs =
        vec![run(&east, (Hip, east_left), 18, 238), run(&south, (Valley, south_left), 18, 330)];
    layout(vec![east, south], runs, Vec::new())
}

/// One plane, 60 ft long.
pub(super) fn sixty_feet() -> Layout {
    let plane = gable(1, "west", 720, 140);
    let runs = vec![run(&plane, rake(), 18, 702)];
    layout(vec![plane], runs, Vec::new())
}

/// One plane, barely long enough for a run.
pub(super) fn very_short() -> Layout {
    let plane = gable(1, "North-East", 84, 150);
    let runs = vec![run(&plane, rake(), 18, 66)];
    layout(vec![plane], runs, Vec::new())
}

pub(super) fn all() -> Vec<(&'static str, Layout)> {
    vec![
        ("gable-roof", gable_roof()),
        ("four-runs", four_runs()),
        ("hips", hips()),
        ("sixty-feet", sixty_feet()),
        ("very-short", very_short()),
    ]
}
