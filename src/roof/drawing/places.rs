//! What of a plane can be pointed at on its plate, large enough for a finger: the
//! plane, its edges, what stands on it, its runs. Not drawn: the picture is
//! `plate`'s.

use super::super::{EdgeKind, Layout, Plane, Run};
use super::geometry::{self, Frame};
use super::svg::{Area, Spot, number};
use super::words;

/// A shape on a plate that stands for a part of the roof.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Place {
    /// The plane, by its row.
    pub plane: u32,
    /// What of it.
    pub what: Pointed,
    /// Its name, as the plate has it.
    pub name: String,
    /// Its corners in millimetres on the plate, as SVG writes points.
    pub points: String,
}

/// A part of a plane.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Pointed {
    /// All of it.
    Plane,
    /// One of its edges.
    Edge(EdgeKind),
    /// Something that stands on it: its row, and what it is.
    Obstruction(u32, String),
    /// A vent run, by its number.
    Run(usize),
}

/// Half of the least that a finger meets, in millimetres.
const FINGER: f64 = 5.0;

/// The places of a plane, the larger before what lies on it.
pub(super) fn of(
    layout: &Layout,
    plane: &Plane,
    runs: &[(usize, &Run)],
    frame: &Frame,
) -> Vec<Place> {
    let place = |what: Pointed, name: String, corners: &[Spot]| {
        let points = corners.iter().map(|(x, y)| format!("{},{}", number(*x), number(*y)));
        let points = points.collect::<Vec<_>>().join(" ");
        Place { plane: plane.number, what, name, points }
    };
    let outline: Vec<Spot> =
        plane.edges.iter().map(|edge| frame.place(geometry::spot(edge.from))).collect();
    let mut all = vec![place(Pointed::Plane, words::name(plane), &outline)];
    for edge in &plane.edges {
        let ends = (frame.place(geometry::spot(edge.from)), frame.place(geometry::spot(edge.to)));
        let name = format!("{} {}", words::edge(edge.kind), words::side(edge));
        if let Some(band) = band(ends) {
            all.push(place(Pointed::Edge(edge.kind), name, &band));
        }
    }
    for one in &plane.obstructions {
        let area = frame.rectangle(
            (one.left.to_f64(), one.right.to_f64()),
            (one.low.to_f64(), one.high.to_f64()),
        );
        let what = Pointed::Obstruction(one.number, one.kind.clone());
        let name = format!("{} {}", one.kind, one.number);
        all.push(place(what, name, &for_a_finger(area).corners()));
    }
    let vent = &layout.vent;
    for (number, run) in runs {
        let (left, butt) = (run.left_at.to_f64(), run.course_butt.to_f64());
        let area = frame.rectangle(
            (left + run.vent_start.to_f64(), left + run.vent_end.to_f64()),
            (butt + vent.vent_low.to_f64(), butt + vent.vent_high.to_f64()),
        );
        let name = format!("run {number}");
        all.push(place(Pointed::Run(*number), name, &for_a_finger(area).corners()));
    }
    all
}

/// A band along a line; none where it has no length.
fn band((from, to): (Spot, Spot)) -> Option<[Spot; 4]> {
    let (across, down) = (to.0 - from.0, to.1 - from.1);
    let length = across.hypot(down);
    if !(length.is_finite() && 0.01 < length) {
        return None;
    }
    let aside = (-down / length * FINGER, across / length * FINGER);
    let beside = |spot: Spot, way: f64| (spot.0 + way * aside.0, spot.1 + way * aside.1);
    Some([beside(from, 1.0), beside(to, 1.0), beside(to, -1.0), beside(from, -1.0)])
}

/// The same area, grown where a finger would miss it.
fn for_a_finger(area: Area) -> Area {
    let (x, y) = (area.left.midpoint(area.right), area.top.midpoint(area.bottom));
    Area {
        left: area.left.min(x - FINGER),
        right: area.right.max(x + FINGER),
        top: area.top.min(y - FINGER),
        bottom: area.bottom.max(y + FINGER),
    }
}
