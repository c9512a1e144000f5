//! Dimension lines along a course: each runs from the plane's left edge to its
//! mark, on a level of its own, so that no two figures can collide.

use super::lettering::{MARGIN, TEXT, WIDTH};
use super::svg::{Canvas, Hold, Stroke, Text};

/// One mark along a course. All positions in millimetres on the plate.
#[derive(Clone, Debug)]
pub(super) struct Mark {
    /// The plane's left edge.
    pub(super) zero: f64,
    /// The mark.
    pub(super) at: f64,
    /// Where its thin line begins, on the picture.
    pub(super) from_y: f64,
    /// What is there.
    pub(super) words: String,
    /// The tape figure.
    pub(super) figure: String,
}

/// From one level to the next.
const LEVEL: f64 = TEXT * 1.6;
/// From a text's baseline down to its line.
const UNDER: f64 = 2.4;
const THIN: Stroke = Stroke::ink("witness", 0.3);
const TAPE: Stroke = Stroke::ink("dimension", 0.5);
const ZERO: Stroke = Stroke::ink("zero", 0.8);

/// How far a text may stand from the mark it belongs to.
const ASIDE: f64 = 14.0;

/// Draws all marks below `top` and gives where they end.
pub(super) fn levels(canvas: &mut Canvas, marks: &[Mark], top: f64) -> f64 {
    let mut places = Vec::new();
    let mut y = top;
    for (at, mark) in marks.iter().enumerate() {
        let later: Vec<f64> =
            marks.iter().skip(at.saturating_add(1)).map(|later| later.at).collect();
        y += LEVEL;
        places.push((mark, beside(mark, &later, y), y + UNDER));
    }
    for (mark, _, line_y) in &places {
        canvas.line((mark.at, mark.from_y), (mark.at, line_y + 1.2), &THIN);
    }
    zero_lines(canvas, marks, y + UNDER);
    // Texts break the thin lines under them, never a tape: tapes come last.
    for (_, text, _) in &places {
        canvas.text_over_lines(text);
    }
    for (mark, _, line_y) in places {
        tape(canvas, mark, line_y);
    }
    y + UNDER + 2.0
}

/// A mark's text: over its line next to the mark, else right of the mark, else
/// from the left edge on.
fn beside(mark: &Mark, later: &[f64], y: f64) -> Text {
    let text = Text::new(&mark.words, (0.0, y)).figure(&mark.figure);
    let width = text.width();
    if mark.zero + 2.0 + width <= mark.at - 2.5 {
        return Text { at: (mark.at - 2.5, y), hold: Hold::Right, ..text };
    }
    let mut left = mark.at + 2.5;
    let mut others: Vec<f64> = later.to_vec();
    others.sort_by(f64::total_cmp);
    for other in others {
        if left - 2.0 < other && other < left + width && other - mark.at < ASIDE {
            left = other + 2.0;
        }
    }
    let last = WIDTH - MARGIN - width;
    if left <= last && mark.zero <= mark.at {
        return Text { at: (left, y), ..text };
    }
    Text { at: ((mark.zero + 2.0).min(last).max(MARGIN), y), ..text }
}

/// The heavy line at each left edge that the tape is hooked on.
fn zero_lines(canvas: &mut Canvas, marks: &[Mark], bottom: f64) {
    let mut zeros: Vec<(f64, f64)> = marks.iter().map(|mark| (mark.zero, mark.from_y)).collect();
    zeros.dedup();
    for (x, from_y) in zeros {
        canvas.line((x, from_y), (x, bottom), &ZERO);
    }
}

/// The tape from the left edge to the mark, which it points at as a carpenter's
/// crow's foot does.
fn tape(canvas: &mut Canvas, mark: &Mark, y: f64) {
    canvas.line((mark.zero, y), (mark.at, y), &TAPE);
    let back = if mark.zero <= mark.at { -2.4 } else { 2.4 };
    let foot = [(mark.at + back, y - 1.5), (mark.at, y), (mark.at + back, y + 1.5)];
    canvas.polyline(&foot, &TAPE);
}
