//! A page of plain text: one column, no colour, nothing that needs a font.
//! Every line fits, whatever somebody typed.

use super::words;

/// Columns a printed page and a small terminal have.
const WIDTH: usize = 78;

/// Columns between two columns of a table.
const GAP: usize = 2;

/// A page of plain text.
#[derive(Debug, Default)]
pub(super) struct Page {
    text: String,
}

impl Page {
    pub(super) fn into_string(self) -> String {
        self.text
    }

    pub(super) fn blank(&mut self) {
        self.text.push('\n');
    }

    pub(super) fn heading(&mut self, title: &str) {
        self.blank();
        self.paragraph(0, title);
        let length = words::one_line(title).chars().count().min(WIDTH);
        self.text.push_str(&"-".repeat(length));
        self.blank();
    }

    pub(super) fn pair(&mut self, name: &str, value: &str) {
        if !value.trim().is_empty() {
            self.hanging(0, 14, &format!("{:14}{}", format!("{name}:"), words::one_line(value)));
        }
    }

    pub(super) fn item(&mut self, indent: usize, text: &str) {
        self.hanging(indent, indent + 2, &format!("- {text}"));
    }

    pub(super) fn paragraph(&mut self, indent: usize, text: &str) {
        self.hanging(indent, indent, text);
    }

    /// Wraps at the page's width; lines after the first start at `rest`.
    pub(super) fn hanging(&mut self, first: usize, rest: usize, text: &str) {
        let mut line = " ".repeat(first);
        let mut empty = true;
        // Runs of spaces that align columns inside the first line are kept.
        for (at, word) in text.split(' ').enumerate() {
            let mut word = words::one_line(word);
            let space = usize::from(0 < at && (!empty || word.is_empty()));
            if !empty && WIDTH < letters(&line) + space + letters(&word) {
                self.line(&line);
                line = " ".repeat(rest);
            } else {
                line.push_str(&" ".repeat(space));
            }
            // A word longer than a line is broken where the line ends.
            while WIDTH < letters(&line) + letters(&word) {
                let fits = WIDTH.saturating_sub(letters(&line)).max(1);
                line.extend(word.chars().take(fits));
                word = word.chars().skip(fits).collect();
                self.line(&line);
                line = " ".repeat(rest);
            }
            line.push_str(&word);
            empty = empty && word.is_empty();
        }
        self.line(&line);
    }

    /// Names to the left, values in one column to the right of them.
    pub(super) fn columns(&mut self, lines: &[(String, String)]) {
        let name_width = lines.iter().map(|(name, _)| letters(&words::one_line(name)));
        let at = name_width.max().unwrap_or(0).clamp(12, 50) + 4;
        for (name, value) in lines {
            let (name, value) = (words::one_line(name), words::one_line(value));
            if at < letters(&name) + 4 {
                self.hanging(2, 4, &name);
                self.hanging(at, at, &value);
            } else {
                self.hanging(2, at, &format!("{name:width$}{value}", width = at - 2));
            }
        }
    }

    /// A table with its headings wrapped over its columns; nothing, and `false`,
    /// where it is too wide for the page.
    pub(super) fn table(&mut self, headings: &[String], rows: &[Vec<String>]) -> bool {
        let line = |row: &[String]| row.iter().map(|cell| words::one_line(cell)).collect();
        let headings: Vec<String> = line(headings);
        let rows: Vec<Vec<String>> = rows.iter().map(|row| line(row)).collect();
        let widths: Vec<usize> = headings
            .iter()
            .enumerate()
            .map(|(at, heading)| {
                let cells = rows.iter().filter_map(|row| row.get(at)).map(|cell| letters(cell));
                let word = heading.split(' ').map(letters).max().unwrap_or(0);
                cells.max().unwrap_or(0).max(word).max(letters(heading).div_ceil(4))
            })
            .collect();
        let wide: usize = widths.iter().map(|width| width + GAP).sum();
        if WIDTH < wide {
            return false;
        }
        let wrapped: Vec<Vec<String>> =
            headings.iter().zip(&widths).map(|(heading, width)| wrap(heading, *width)).collect();
        let tall = wrapped.iter().map(Vec::len).max().unwrap_or(0);
        for at in 0..tall {
            // Short headings stand on the line above the rows.
            let part = wrapped.iter().map(|lines| {
                let from = tall - lines.len();
                at.checked_sub(from).and_then(|at| lines.get(at)).cloned().unwrap_or_default()
            });
            self.cells(&part.collect::<Vec<_>>(), &widths);
        }
        self.cells(&widths.iter().map(|width| "-".repeat(*width)).collect::<Vec<_>>(), &widths);
        for row in &rows {
            self.cells(row, &widths);
        }
        true
    }

    fn cells(&mut self, cells: &[String], widths: &[usize]) {
        let gap = " ".repeat(GAP);
        let padded = cells.iter().zip(widths).map(|(cell, width)| format!("{gap}{cell:width$}"));
        self.line(&padded.collect::<String>());
    }

    fn line(&mut self, line: &str) {
        self.text.push_str(line.trim_end());
        self.text.push('\n');
    }
}

fn letters(text: &str) -> usize {
    text.chars().count()
}

/// Lines of at most so many letters, as long as no word is longer.
fn wrap(text: &str, width: usize) -> Vec<String> {
    let mut lines: Vec<String> = Vec::new();
    for word in text.split(' ') {
        match lines.last_mut() {
            Some(line) if letters(line) + 1 + letters(word) <= width => {
                line.push(' ');
                line.push_str(word);
            }
            _ => lines.push(word.to_owned()),
        }
    }
    lines
}
