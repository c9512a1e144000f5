//! The drawings of a sheet: whatever the trade draws from computed rows, and what
//! of it somebody can point at.

use super::html::Drawing;
use crate::domain::Record;
use crate::roof::{self, Pointed};

/// A drawing with the parts of the roof in it.
#[derive(Clone, Debug)]
pub struct Plate {
    /// The drawing.
    pub drawing: Drawing,
    /// Width and height in millimetres, as in its `viewBox`.
    pub size: (String, String),
    /// Its parts, the larger before what lies on it; none of a close-up.
    pub parts: Vec<Part>,
}

/// A part of the roof, and how a leak call names it.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Part {
    /// What it is called on the drawing.
    pub name: String,
    /// The row of the plan it is: `plane 1`, `run 2`, `obstruction 1`; none of an
    /// edge.
    pub row: Option<(&'static str, u32)>,
    /// The plane it is of.
    pub plane: u32,
    /// The run, where it is one.
    pub run: Option<u32>,
    /// The edge or thing in words, where it is one.
    pub edge: Option<String>,
    /// Its corners in millimetres, as SVG writes points.
    pub points: String,
}

/// The drawings, one plate each.
#[must_use]
pub fn plates(record: &Record) -> Vec<Drawing> {
    plates_with_parts(record).into_iter().map(|plate| plate.drawing).collect()
}

/// The same with the parts that can be pointed at.
#[must_use]
pub fn plates_with_parts(record: &Record) -> Vec<Plate> {
    let mut all = Vec::new();
    for layout in layouts(record) {
        let things: Vec<&str> = layout
            .planes
            .iter()
            .flat_map(|plane| plane.obstructions.iter().map(|one| one.kind.as_str()))
            .collect();
        // Where there are several of a kind, its row tells which.
        let named =
            |number: u32, kind: &str| match things.iter().filter(|one| **one == kind).count() {
                ..2 => kind.to_owned(),
                _ => format!("obstruction {number}"),
            };
        for plate in roof::plates(&layout, record.job.units.system()) {
            let parts = plate.places.into_iter().map(|place| part(place, named)).collect();
            let roof::Plate { title, description, svg, size, .. } = plate;
            all.push(Plate { drawing: Drawing { title, description, svg }, size, parts });
        }
    }
    all
}

fn part(place: roof::Place, named: impl Fn(u32, &str) -> String) -> Part {
    let roof::Place { plane, what, name, points } = place;
    let (row, run, edge) = match &what {
        Pointed::Plane => (Some(("plane", plane)), None, None),
        Pointed::Edge(kind) => (None, None, Some(kind.name().to_owned())),
        Pointed::Obstruction(number, kind) => {
            (Some(("obstruction", *number)), None, Some(named(*number, kind)))
        }
        Pointed::Run(number) => {
            let run = u32::try_from(*number).ok();
            (run.map(|run| ("run", run)), run, None)
        }
    };
    Part { name, row, plane, run, edge, points }
}

/// All plates below each other as one SVG; none where nothing can be drawn.
#[must_use]
pub fn sheet(record: &Record) -> Option<String> {
    let job = &record.job;
    let invented = if job.invented { " (invented example)" } else { "" };
    let head = format!("Job {}{invented}: {}", job.number, job.address);
    layouts(record).next().map(|layout| roof::sheet(&layout, record.job.units.system(), &head))
}

fn layouts(record: &Record) -> impl Iterator<Item = roof::Layout> {
    let inputs = record.walks.iter().flat_map(|walk| &walk.inputs);
    let roofs = inputs.filter(|(function, _)| function == roof::RUNS);
    // What could not be laid out is told among the warnings.
    roofs.filter_map(|(_, input)| roof::layout_of(input).ok())
}
