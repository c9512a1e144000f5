//! The drawings of a sheet: whatever the trade draws from computed rows.

use super::html::Drawing;
use crate::domain::Record;
use crate::roof;

/// The drawings, one plate each.
#[must_use]
pub fn plates(record: &Record) -> Vec<Drawing> {
    let plates =
        layouts(record).flat_map(|layout| roof::plates(&layout, record.job.units.system()));
    let drawing = |plate: roof::Plate| Drawing {
        title: plate.title,
        description: plate.description,
        svg: plate.svg,
    };
    plates.map(drawing).collect()
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
