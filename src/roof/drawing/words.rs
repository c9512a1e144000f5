//! The drawing's words: names of edges, tape figures, and the sentences that say
//! what a plane's picture shows to people who cannot see it. No positions here.

use crate::measure::{Quantity, Ratio, Style, System, show};

use super::super::{Edge, EdgeKind, Layout, Plane, Run};

/// A length as the tape shows it; its spaces do not break a line.
pub(super) fn tape(inches: Ratio, system: System) -> String {
    let style = Style { system, ..Style::default() };
    show(Quantity::inches(inches), &style).replace(' ', "\u{a0}")
}

/// What an edge is called.
pub(super) fn edge(kind: EdgeKind) -> &'static str {
    match kind {
        EdgeKind::Eave => "eave",
        EdgeKind::Rake => "rake",
        EdgeKind::Hip => "hip",
        EdgeKind::Valley => "valley",
        EdgeKind::Ridge => "ridge",
        EdgeKind::Wall => "wall",
    }
}

/// Which side of the plane an edge is on: the outline has the plane on its left.
pub(super) fn side(edge: &Edge) -> &'static str {
    if edge.from.up == edge.to.up {
        return if edge.from.along <= edge.to.along { "at the bottom" } else { "on top" };
    }
    if edge.from.up < edge.to.up { "on the right" } else { "on the left" }
}

/// `Plane 2, facing south`.
pub(super) fn name(plane: &Plane) -> String {
    match plane.faces.trim() {
        "" => format!("Plane {}", plane.number),
        faces => format!("Plane {}, facing {faces}", plane.number),
    }
}

/// Where north is, for somebody who stands on the ground and faces the plane:
/// the words, and the turn from straight up the slope, clockwise in degrees.
pub(super) fn north(faces: &str) -> Option<(&'static str, f64)> {
    let letters: String = faces.chars().filter(|c| c.is_alphabetic()).collect();
    Some(match letters.to_lowercase().as_str() {
        "south" => ("North is up the slope.", 0.0),
        "southeast" => ("North is up the slope and to the right.", 45.0),
        "east" => ("North is to the right.", 90.0),
        "northeast" => ("North is down the slope and to the right.", 135.0),
        "north" => ("North is down the slope, behind you.", 180.0),
        "northwest" => ("North is down the slope and to the left.", 225.0),
        "west" => ("North is to the left.", 270.0),
        "southwest" => ("North is up the slope and to the left.", 315.0),
        _ => return None,
    })
}

/// `2 pieces`.
pub(super) fn count(number: u32, one: &str) -> String {
    if number == 1 { format!("1 {one}") } else { format!("{number} {one}s") }
}

/// `plane 1`, `planes 1, 2 and 3`.
pub(super) fn planes(numbers: &[u32]) -> String {
    match numbers {
        [] => "no plane".to_owned(),
        numbers => numbered("plane", numbers),
    }
}

/// `run 1`, `runs 1, 2 and 3`.
pub(super) fn numbered<T: ToString>(noun: &str, numbers: &[T]) -> String {
    let texts: Vec<_> = numbers.iter().map(T::to_string).collect();
    match texts.split_last() {
        Some((last, [])) => format!("{noun} {last}"),
        Some((last, rest)) => format!("{noun}s {} and {last}", rest.join(", ")),
        None => format!("no {noun}"),
    }
}

/// The runs of a plane, from left to right, with their numbers on the sheet.
pub(super) fn runs<'a>(layout: &'a Layout, plane: &Plane) -> Vec<(usize, &'a Run)> {
    let all = layout.runs.iter().enumerate().map(|(at, run)| (at.saturating_add(1), run));
    all.filter(|(_, run)| run.plane == plane.number).collect()
}

/// `Edges: eave at the bottom, rake on the right, …`.
pub(super) fn edges(plane: &Plane) -> Option<String> {
    let mut names: Vec<String> = Vec::new();
    for one in &plane.edges {
        let name = format!("{} {}", edge(one.kind), side(one));
        if names.last() != Some(&name) {
            names.push(name);
        }
    }
    (!names.is_empty()).then(|| format!("Edges: {}.", names.join(", ")))
}

/// What stands on a plane, one sentence each.
pub(super) fn obstructions(plane: &Plane, system: System) -> Vec<String> {
    let tape = |inches| tape(inches, system);
    let sentence = |one: &super::super::Obstruction| {
        format!(
            "{} {}: from {} to {} along the eave, {} to {} up.",
            capital(&one.kind),
            one.number,
            tape(one.left),
            tape(one.right),
            tape(one.low),
            tape(one.high)
        )
    };
    plane.obstructions.iter().map(sentence).collect()
}

/// The first letter large.
pub(super) fn capital(text: &str) -> String {
    let mut rest = text.chars();
    rest.next().map_or(String::new(), |c| c.to_uppercase().chain(rest).collect())
}

/// How many pieces a run has, and which is cut.
pub(super) fn pieces(number: usize, run: &Run, system: System) -> String {
    let pieces = count(run.pieces, "piece");
    match run.field_cut {
        Some(cut) => format!(
            "Run {number}: {pieces}. 1 piece cut to {}, in the middle of the run.",
            tape(cut, system)
        ),
        None => format!("Run {number}: {pieces}, none cut."),
    }
}

/// Where no vent is laid on a plane, and why.
pub(super) fn left_out(layout: &Layout, plane: &Plane, system: System) -> Vec<String> {
    let mine = layout.left_out.iter().filter(|one| one.plane == plane.number);
    let sentence = |one: &super::super::LeftOut| {
        let (from, to) = one.from_to;
        let why = one.why.trim().trim_end_matches('.');
        if to <= from {
            return format!("No vent: {why}.");
        }
        format!("No vent from {} to {}: {why}.", tape(from, system), tape(to, system))
    };
    mine.map(sentence).collect()
}

/// The height of the course.
pub(super) fn butt(course: u32, up: Ratio, system: System) -> String {
    format!(
        "The butt edge of course {course} is {} up the deck from the deck edge.",
        tape(up, system)
    )
}

/// Where a run's marks are.
pub(super) fn marks(number: usize, run: &Run, system: System) -> String {
    let tape = |inches| tape(inches, system);
    format!(
        "Run {number}, from the plane's left edge ({}) at the height of the butt edge of course {}: \
         vent starts {}, slot starts {}, slot ends {}, vent ends {}.",
        edge(run.left_kind),
        run.course,
        tape(run.vent_start),
        tape(run.slot_start),
        tape(run.slot_end),
        tape(run.vent_end)
    )
}

/// How far the vent stays back, for the key.
pub(super) fn stay_back(layout: &Layout, system: System) -> String {
    let vent = &layout.vent;
    let edges = match vent.rake_back == vent.stay_back {
        true => format!("{} from hip, valley, rake and wall", tape(vent.stay_back, system)),
        false => format!(
            "{} from a rake, {} from hip, valley and wall",
            tape(vent.rake_back, system),
            tape(vent.stay_back, system)
        ),
    };
    format!(
        "shaded: stay back {edges}, along the course; {} from what stands on the plane",
        tape(vent.obstruction_stay_back, system)
    )
}
