//! How big the type is and how much room it takes. The drawing cannot know which
//! sans-serif a reader has, so widths are those of the widest common ones.

/// Width of a plate, in millimetres. With [`TEXT`] it keeps the smallest type at
/// 12 CSS pixels where a phone shows the plate 336 pixels wide.
pub(super) const WIDTH: f64 = 168.0;
/// White border left and right.
pub(super) const MARGIN: f64 = 4.0;
/// The smallest type, in millimetres.
pub(super) const TEXT: f64 = 6.0;
/// Headings.
pub(super) const BIG: f64 = 8.0;
/// From one line of text to the next, in type sizes.
pub(super) const LINE: f64 = 1.3;

/// Words, and figures set bold.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub(super) enum Weight {
    Plain,
    Bold,
}

/// An upper estimate of the width of a text, in millimetres.
pub(super) fn width(text: &str, size: f64, weight: Weight) -> f64 {
    let bolder = if weight == Weight::Bold { 1.12 } else { 1.0 };
    text.chars().map(advance).sum::<f64>() * size * bolder
}

/// The advance of a character in type sizes, rounded up.
fn advance(c: char) -> f64 {
    match c {
        ' ' | '\u{a0}' | 'i' | 'j' | 'l' | '\'' => 0.36,
        '.' | ',' | 'f' | 'I' => 0.42,
        ':' | ';' | '!' | '|' | '(' | ')' | '[' | ']' | '-' | '/' | '"' | 't' | 'r' => 0.47,
        'm' | 'M' | 'W' | '@' | '%' => 1.05,
        'w' | 'Q' | 'O' | 'G' | 'D' | 'H' | 'N' | 'U' => 0.84,
        '+' | '=' | '<' | '>' | '&' | '#' | '~' | '^' => 0.84,
        'A'..='Z' => 0.72,
        ' '..='\u{7f}' => 0.64,
        '\u{a1}'..='\u{58f}' => 1.1,
        _ => 1.4,
    }
}

/// Breaks a text into lines not wider than `room`. Spaces that do not break
/// (U+00A0) stay; a word longer than a line is cut.
pub(super) fn wrap(text: &str, size: f64, weight: Weight, room: f64) -> Vec<String> {
    let mut lines = Vec::new();
    let mut line = String::new();
    for word in text.split(' ').filter(|word| !word.is_empty()) {
        let longer = if line.is_empty() { word.to_owned() } else { format!("{line} {word}") };
        if width(&longer, size, weight) <= room {
            line = longer;
            continue;
        }
        if !line.is_empty() {
            lines.push(std::mem::take(&mut line));
        }
        for c in word.chars() {
            line.push(c);
            if room < width(&line, size, weight) && line.pop().is_some() {
                lines.push(std::mem::replace(&mut line, c.to_string()));
            }
        }
    }
    if !line.is_empty() {
        lines.push(line);
    }
    lines
}
