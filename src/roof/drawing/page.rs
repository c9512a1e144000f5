//! A plate that is filled from top to bottom: headings, wrapped lines, a key.

use super::lettering::{self, BIG, LINE, MARGIN, TEXT, WIDTH, Weight};
use super::svg::{Area, Canvas, Spot, Text};

/// What is drawn, and how far down.
#[derive(Clone, Debug, Default)]
pub(super) struct Page {
    pub(super) canvas: Canvas,
    /// The lowest line taken so far, in millimetres.
    pub(super) y: f64,
}

/// Room for a sample in the key.
const SAMPLE: f64 = 16.0;

impl Page {
    pub(super) fn new() -> Self {
        Self { canvas: Canvas::default(), y: MARGIN }
    }

    /// A heading, wrapped.
    pub(super) fn heading(&mut self, words: &str) {
        for line in lettering::wrap(words, BIG, Weight::Bold, WIDTH - 2.0 * MARGIN) {
            self.y += BIG * LINE;
            let text = Text::new("", (MARGIN, self.y - BIG * 0.3)).figure(&line).size(BIG);
            self.canvas.text(&text);
        }
    }

    /// A sentence, wrapped.
    pub(super) fn sentence(&mut self, words: &str) {
        self.lines(words, MARGIN);
    }

    /// A row of the key: a sample of what it means, then the words.
    pub(super) fn key(&mut self, words: &str, sample: impl FnOnce(&mut Canvas, &Area)) {
        let area = Area {
            left: MARGIN,
            top: self.y + 2.0,
            right: MARGIN + SAMPLE - 3.0,
            bottom: self.y + 7.0,
        };
        sample(&mut self.canvas, &area);
        self.lines(words, MARGIN + SAMPLE);
    }

    pub(super) fn gap(&mut self, millimetres: f64) {
        self.y += millimetres;
    }

    fn lines(&mut self, words: &str, left: f64) {
        for line in lettering::wrap(words, TEXT, Weight::Plain, WIDTH - MARGIN - left) {
            self.y += TEXT * LINE;
            self.canvas.text(&Text::new(&line, (left, self.y - TEXT * 0.3)));
        }
    }
}

/// The middle of a sample, from left to right.
pub(super) fn across(area: &Area) -> (Spot, Spot) {
    let y = area.top.midpoint(area.bottom);
    ((area.left, y), (area.right, y))
}
