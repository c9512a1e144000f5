//! The sheet's pictures: every plane to scale with its runs, and every course
//! from close by, as text of standalone SVG images.
//!
//! Pure. Positions are floating point millimetres; every figure that a person
//! reads comes from the exact length. Meaning is never in colour alone.

mod close_up;
mod dimension;
mod geometry;
mod lettering;
mod page;
mod places;
mod plate;
mod svg;
mod words;

use crate::measure::System;

use super::Layout;
use lettering::WIDTH;
use page::Page;
pub use places::{Place, Pointed};
use svg::{escaped, number};

/// One picture.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Plate {
    /// Its name.
    pub title: String,
    /// The same facts in sentences, for those who cannot see it.
    pub description: String,
    /// A standalone SVG image with its size in millimetres.
    pub svg: String,
    /// What of the roof can be pointed at in it, the larger before what lies on it.
    pub places: Vec<Place>,
    /// Its width and height in millimetres, as in the image's `viewBox`.
    pub size: (String, String),
}

/// A picture before it is wrapped.
struct Drawn {
    title: String,
    description: String,
    /// In millimetres; the width is always [`WIDTH`].
    height: f64,
    body: String,
    places: Vec<Place>,
}

/// Width of a whole sheet: fits A4 and Letter with 10 mm around it.
const SHEET: f64 = 190.0;
/// Between two plates of a sheet, in millimetres.
const BETWEEN: f64 = 6.0;

/// Draws every plane, then every course from close by. Planes whose course,
/// height and figures are the same share one close-up.
#[must_use]
pub fn plates(layout: &Layout, system: System) -> Vec<Plate> {
    drawn(layout, system).into_iter().map(plate).collect()
}

/// Draws all plates below each other on one sheet. `head` comes first, one line
/// of text a line; the notes of the layout come last.
#[must_use]
pub fn sheet(layout: &Layout, system: System, head: &str) -> String {
    let mut all = vec![head_of(head)];
    all.extend(drawn(layout, system));
    all.extend(notes(layout));
    let left = (SHEET - WIDTH) / 2.0;
    let mut y = 0.0;
    let mut body = String::new();
    for one in &all {
        let (x, top, width, height) = (number(left), number(y), number(WIDTH), number(one.height));
        body.push_str(&format!(
            "<svg x=\"{x}\" y=\"{top}\" width=\"{width}\" height=\"{height}\" \
             viewBox=\"0 0 {width} {height}\">\n{}</svg>\n",
            one.body
        ));
        y += one.height + BETWEEN;
    }
    let title = head.lines().next().unwrap_or_default();
    let description: Vec<_> = all.iter().map(|one| one.description.as_str()).collect();
    image(SHEET, y, title, &description.join(" "), &body)
}

fn drawn(layout: &Layout, system: System) -> Vec<Drawn> {
    let planes = layout.planes.iter().map(|plane| plate::draw(layout, plane, system));
    planes.chain(close_up::draw(layout, system)).collect()
}

fn plate(drawn: Drawn) -> Plate {
    let svg = image(WIDTH, drawn.height, &drawn.title, &drawn.description, &drawn.body);
    let plain = |text: String| text.replace('\u{a0}', " ");
    Plate {
        title: plain(drawn.title),
        description: plain(drawn.description),
        svg,
        places: drawn.places,
        size: (number(WIDTH), number(drawn.height)),
    }
}

fn image(width: f64, height: f64, title: &str, description: &str, body: &str) -> String {
    let (width, height) = (number(width), number(height));
    let (title, description) = (escaped(title), escaped(description));
    format!(
        "<svg xmlns=\"http://www.w3.org/2000/svg\" role=\"img\" width=\"{width}mm\" \
         height=\"{height}mm\" viewBox=\"0 0 {width} {height}\" font-family=\"sans-serif\" \
         stroke-linejoin=\"round\">\n\
         <title>{title}</title>\n<desc>{description}</desc>\n\
         <rect width=\"{width}\" height=\"{height}\" fill=\"{}\"/>\n{body}</svg>\n",
        svg::PAPER
    )
}

fn head_of(head: &str) -> Drawn {
    let mut page = Page::new();
    let mut lines = head.lines();
    let title = lines.next().unwrap_or_default();
    page.heading(title);
    lines.for_each(|line| page.sentence(line));
    let description = head.lines().collect::<Vec<_>>().join(". ");
    text_only(title, description, page)
}

fn notes(layout: &Layout) -> Option<Drawn> {
    if layout.notes.is_empty() {
        return None;
    }
    let mut page = Page::new();
    page.heading("Notes");
    layout.notes.iter().for_each(|note| page.sentence(note));
    Some(text_only("Notes", layout.notes.join(" "), page))
}

fn text_only(title: &str, description: String, page: Page) -> Drawn {
    Drawn {
        title: title.to_owned(),
        description,
        height: page.y + 2.0,
        body: page.canvas.into_body(),
        places: Vec::new(),
    }
}
