//! A small writer of SVG. Names of elements, attributes and colours are written
//! in this program; every other text is escaped. It remembers the room that each
//! text takes. It knows nothing of roofs.

use super::lettering::{self, TEXT, Weight};

/// Paper.
pub(super) const PAPER: &str = "#ffffff";
/// Ink.
pub(super) const INK: &str = "#000000";
/// What to snap.
pub(super) const BLUE: &str = "#1f4e9e";
/// Where to cut.
pub(super) const RED: &str = "#b3261e";
/// Light shading.
pub(super) const SHADE: &str = "#dedede";

/// A point in millimetres, down and right from the upper left corner.
pub(super) type Spot = (f64, f64);

/// A rectangle in millimetres.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Area {
    pub(super) left: f64,
    pub(super) top: f64,
    pub(super) right: f64,
    pub(super) bottom: f64,
}

impl Area {
    pub(super) fn overlaps(&self, other: &Self) -> bool {
        self.left < other.right
            && other.left < self.right
            && self.top < other.bottom
            && other.top < self.bottom
    }

    pub(super) fn inside(&self, other: &Self) -> bool {
        other.left <= self.left
            && self.right <= other.right
            && other.top <= self.top
            && self.bottom <= other.bottom
    }

    pub(super) fn grown(&self, by: f64) -> Self {
        Self {
            left: self.left - by,
            top: self.top - by,
            right: self.right + by,
            bottom: self.bottom + by,
        }
    }

    pub(super) fn corners(&self) -> [Spot; 4] {
        let Self { left, top, right, bottom } = *self;
        [(left, top), (right, top), (right, bottom), (left, bottom)]
    }
}

/// A line: its class names what it is, for programs.
#[derive(Clone, Copy, Debug)]
pub(super) struct Stroke {
    pub(super) class: &'static str,
    pub(super) colour: &'static str,
    pub(super) width: f64,
    /// Lengths of dashes and gaps in millimetres; empty for a solid line.
    pub(super) dash: &'static str,
}

impl Stroke {
    pub(super) const fn ink(class: &'static str, width: f64) -> Self {
        Self { class, colour: INK, width, dash: "" }
    }
}

/// Where a text is held.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub(super) enum Hold {
    Left,
    Middle,
    Right,
}

/// One line of text: words, then a figure in bold.
#[derive(Clone, Debug)]
pub(super) struct Text {
    pub(super) words: String,
    pub(super) figure: String,
    pub(super) size: f64,
    pub(super) hold: Hold,
    /// Where the text is held, on its baseline.
    pub(super) at: Spot,
}

impl Text {
    pub(super) fn new(words: &str, at: Spot) -> Self {
        Self { words: words.to_owned(), figure: String::new(), size: TEXT, hold: Hold::Left, at }
    }

    pub(super) fn figure(mut self, figure: &str) -> Self {
        self.figure = figure.to_owned();
        self
    }

    pub(super) fn size(mut self, size: f64) -> Self {
        self.size = size;
        self
    }

    pub(super) fn hold(mut self, hold: Hold) -> Self {
        self.hold = hold;
        self
    }

    pub(super) fn width(&self) -> f64 {
        let gap = if self.words.is_empty() || self.figure.is_empty() { "" } else { " " };
        lettering::width(&self.words, self.size, Weight::Plain)
            + lettering::width(gap, self.size, Weight::Plain)
            + lettering::width(&self.figure, self.size, Weight::Bold)
    }

    /// The room it takes at most.
    pub(super) fn area(&self) -> Area {
        let width = self.width();
        let left = match self.hold {
            Hold::Left => self.at.0,
            Hold::Middle => self.at.0 - width / 2.0,
            Hold::Right => self.at.0 - width,
        };
        Area {
            left,
            top: self.at.1 - 0.82 * self.size,
            right: left + width,
            bottom: self.at.1 + 0.26 * self.size,
        }
    }
}

/// What has been drawn so far.
#[derive(Clone, Debug, Default)]
pub(super) struct Canvas {
    body: String,
    texts: Vec<Area>,
    lines: Vec<Area>,
}

impl Canvas {
    pub(super) fn into_body(self) -> String {
        self.body
    }

    /// A straight line that texts keep off where they can.
    pub(super) fn line(&mut self, from: Spot, to: Spot, stroke: &Stroke) {
        self.polyline(&[from, to], stroke);
        self.keep_off(from, to);
    }

    /// A line through several points that texts need not keep off.
    pub(super) fn polyline(&mut self, points: &[Spot], stroke: &Stroke) {
        self.points("polyline", points, "none", 1.0, Some(stroke));
    }

    /// A line with the dust of chalk on both sides.
    pub(super) fn chalk(&mut self, from: Spot, to: Spot, stroke: &Stroke) {
        let dust = Stroke { class: "dust", width: stroke.width * 2.6, ..*stroke };
        self.points("polyline", &[from, to], "none", 0.22, Some(&dust));
        self.line(from, to, stroke);
    }

    /// A filled shape.
    pub(super) fn shape(&mut self, points: &[Spot], fill: &'static str, stroke: &Stroke) {
        self.points("polygon", points, fill, 1.0, Some(stroke));
    }

    /// A filled shape without an outline.
    pub(super) fn shade(&mut self, points: &[Spot], fill: &'static str, class: &'static str) {
        let none = Stroke { class, colour: "none", width: 0.0, dash: "" };
        self.points("polygon", points, fill, 1.0, Some(&none));
    }

    /// Slanted lines that fill a rectangle.
    pub(super) fn hatch(&mut self, area: &Area, step: f64, stroke: &Stroke) {
        let height = area.bottom - area.top;
        let mut foot = area.left - height + step / 2.0;
        while foot < area.right {
            let low = if foot < area.left { area.left - foot } else { 0.0 };
            let high = if area.right < foot + height { area.right - foot } else { height };
            let points = [(foot + low, area.bottom - low), (foot + high, area.bottom - high)];
            self.polyline(&points, stroke);
            foot += step;
        }
    }

    /// Texts keep off a straight line, taken in short pieces.
    pub(super) fn keep_off(&mut self, from: Spot, to: Spot) {
        const PIECES: u32 = 24;
        let along = |part: u32| {
            let part = f64::from(part) / f64::from(PIECES);
            (from.0 + (to.0 - from.0) * part, from.1 + (to.1 - from.1) * part)
        };
        for piece in 0..PIECES {
            let (a, b) = (along(piece), along(piece.saturating_add(1)));
            let piece = Area {
                left: a.0.min(b.0),
                top: a.1.min(b.1),
                right: a.0.max(b.0),
                bottom: a.1.max(b.1),
            };
            self.lines.push(piece.grown(0.4));
        }
    }

    /// A text; lines under it are broken.
    pub(super) fn text_over_lines(&mut self, text: &Text) {
        let area = text.area();
        if self.lines.iter().any(|line| line.overlaps(&area)) {
            self.shade(&area.corners(), PAPER, "paper");
        }
        self.text(text);
    }

    /// A text.
    pub(super) fn text(&mut self, text: &Text) {
        self.texts.push(text.area());
        let anchor = match text.hold {
            Hold::Left => "",
            Hold::Middle => " text-anchor=\"middle\"",
            Hold::Right => " text-anchor=\"end\"",
        };
        let (x, y, size) = (number(text.at.0), number(text.at.1), number(text.size));
        self.body.push_str(&format!(
            "<text x=\"{x}\" y=\"{y}\" font-size=\"{size}\"{anchor} fill=\"{INK}\">"
        ));
        self.body.push_str(&escaped(&text.words));
        if !text.figure.is_empty() {
            self.body.push_str(if text.words.is_empty() { "" } else { " " });
            self.body.push_str("<tspan font-weight=\"bold\">");
            self.body.push_str(&escaped(&text.figure));
            self.body.push_str("</tspan>");
        }
        self.body.push_str("</text>\n");
    }

    /// Draws the first of `choices` that lies inside `within` and over neither
    /// text nor line; says whether there was one.
    pub(super) fn place(&mut self, choices: &[Text], within: &Area) -> bool {
        let free = |text: &&Text| {
            let area = text.area();
            self.has_room(&area, within) && !self.lines.iter().any(|line| line.overlaps(&area))
        };
        let Some(text) = choices.iter().find(free) else { return false };
        self.text(text);
        true
    }

    /// As [`Self::place`], else the first that only lines pass under: they are
    /// broken there.
    pub(super) fn place_or_break_lines(&mut self, choices: &[Text], within: &Area) {
        if self.place(choices, within) {
            return;
        }
        if let Some(text) = choices.iter().find(|text| self.has_room(&text.area(), within)) {
            self.text_over_lines(text);
        }
    }

    fn has_room(&self, area: &Area, within: &Area) -> bool {
        area.inside(within) && !self.texts.iter().any(|other| other.overlaps(area))
    }

    fn points(
        &mut self,
        element: &'static str,
        points: &[Spot],
        fill: &'static str,
        opacity: f64,
        stroke: Option<&Stroke>,
    ) {
        let list: Vec<_> =
            points.iter().map(|(x, y)| format!("{},{}", number(*x), number(*y))).collect();
        let list = list.join(" ");
        let class = stroke.map_or("", |stroke| stroke.class);
        self.body.push_str(&format!("<{element} class=\"{class}\" points=\"{list}\""));
        self.body.push_str(&format!(" fill=\"{fill}\""));
        if let Some(stroke) = stroke.filter(|stroke| 0.0 < stroke.width) {
            let (colour, width) = (stroke.colour, number(stroke.width));
            self.body.push_str(&format!(" stroke=\"{colour}\" stroke-width=\"{width}\""));
            if !stroke.dash.is_empty() {
                self.body.push_str(&format!(" stroke-dasharray=\"{}\"", stroke.dash));
            }
            if opacity < 1.0 {
                self.body.push_str(&format!(" stroke-opacity=\"{}\"", number(opacity)));
            }
        }
        self.body.push_str("/>\n");
    }
}

/// At most two decimals, the same on every machine.
pub(super) fn number(value: f64) -> String {
    if !value.is_finite() {
        return "0".to_owned();
    }
    let text = format!("{value:.2}");
    let text = text.trim_end_matches('0').trim_end_matches('.');
    if text == "-0" { "0".to_owned() } else { text.to_owned() }
}

/// A text that can neither end its element nor turn the writing direction.
pub(super) fn escaped(text: &str) -> String {
    let mut out = String::new();
    for c in text.chars() {
        match c {
            '&' => out.push_str("&amp;"),
            '<' => out.push_str("&lt;"),
            '>' => out.push_str("&gt;"),
            '"' => out.push_str("&quot;"),
            '\u{a0}' | '\t' | '\n' | '\r' => out.push(' '),
            c if hidden(c) => out.push('\u{fffd}'),
            c => out.push(c),
        }
    }
    out
}

/// Characters that XML forbids or that show nothing and change what is read.
fn hidden(c: char) -> bool {
    c.is_control()
        || matches!(c, '\u{ad}' | '\u{61c}' | '\u{200b}'..='\u{200f}' | '\u{2028}'..='\u{202e}')
        || matches!(c, '\u{2060}'..='\u{206f}' | '\u{feff}' | '\u{fff9}'..='\u{fffb}')
        || matches!(c, '\u{fffe}' | '\u{ffff}')
}
