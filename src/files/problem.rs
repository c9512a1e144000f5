//! What is wrong with a file, where, with the line and a caret under it.
//! All problems of a file are gathered before any is shown.

use std::cell::RefCell;
use std::fmt;
use std::ops::Range;

/// Problems shown of one file; a file with more is better fixed in two rounds.
const MOST_SHOWN: usize = 200;
/// Columns of a line shown around the caret, in characters.
const WIDEST_LINE: usize = 160;

/// One thing wrong with a file.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Problem {
    /// The file, as it was named to the reader.
    pub file: String,
    /// Line, counted from 1.
    pub line: u32,
    /// Column in characters, counted from 1.
    pub col: u32,
    /// What is wrong.
    pub message: String,
    /// The line, cut to what is around the caret where it is long.
    pub line_text: String,
    /// Columns of `line_text` to underline, in characters counted from 0.
    pub caret: Range<usize>,
    /// What was expected, or what to do.
    pub hint: Option<String>,
}

impl fmt::Display for Problem {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let number = self.line.to_string();
        let width = number.len().max(2);
        writeln!(f, "{}:{}:{}: {}", self.file, self.line, self.col, self.message)?;
        writeln!(f, " {:width$} |", "")?;
        writeln!(f, " {number:>width$} | {}", self.line_text)?;
        let (before, under) = (self.caret.start, self.caret.len().max(1));
        write!(f, " {:width$} | {:before$}{}", "", "", "^".repeat(under))?;
        match &self.hint {
            Some(hint) => write!(f, "\n {:width$} = {hint}", ""),
            None => Ok(()),
        }
    }
}

/// All that is wrong with a file, in the order of its lines; never empty.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Problems(Vec<Problem>);

impl Problems {
    /// The problems, in the order of the lines.
    #[must_use]
    pub fn list(&self) -> &[Problem] {
        &self.0
    }

    pub(super) fn one(problem: Problem) -> Self {
        Self(vec![problem])
    }
}

impl fmt::Display for Problems {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        for problem in self.0.iter().take(MOST_SHOWN) {
            writeln!(f, "{problem}")?;
        }
        match self.0.len() {
            1 => write!(f, "1 problem"),
            n if n <= MOST_SHOWN => write!(f, "{n} problems"),
            n => write!(f, "{n} problems, the first {MOST_SHOWN} shown"),
        }
    }
}

impl std::error::Error for Problems {}

/// A file's text with its line starts, to say where a byte is.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) struct Source {
    pub(super) file: String,
    pub(super) text: String,
    line_starts: Vec<usize>,
}

impl Source {
    pub(super) fn new(file: &str, text: &str) -> Self {
        let breaks = text.bytes().enumerate().filter(|(_, byte)| *byte == b'\n');
        let line_starts = std::iter::once(0).chain(breaks.map(|(at, _)| at + 1)).collect();
        Self { file: file.to_owned(), text: text.to_owned(), line_starts }
    }

    /// A problem at these bytes; those past the end of their first line are
    /// not underlined.
    pub(super) fn problem(&self, at: Range<usize>, message: String) -> Problem {
        let start = floor_boundary(&self.text, at.start);
        let end = floor_boundary(&self.text, at.end).max(start);
        let line = self.line_starts.partition_point(|s| *s <= start).saturating_sub(1);
        let line_start = self.line_starts.get(line).copied().unwrap_or(0);
        let rest = self.text.get(line_start..).unwrap_or("");
        let line_text = rest.split('\n').next().unwrap_or("").trim_end_matches('\r');
        let column = |byte: usize| {
            let byte = byte.saturating_sub(line_start).min(line_text.len());
            line_text.get(..byte).map_or(0, |before| before.chars().count())
        };
        let (from, to) = (column(start), column(end));
        // A long line is cut so that a listing of many problems stays small.
        let cut = if from < WIDEST_LINE { 0 } else { from - WIDEST_LINE / 2 };
        let shown = line_text.chars().skip(cut).take(WIDEST_LINE);
        let shown: String = shown.map(|c| if c.is_control() { ' ' } else { c }).collect();
        let caret = from - cut..to.saturating_sub(cut).clamp(from - cut, WIDEST_LINE);
        Problem {
            file: self.file.clone(),
            line: u32::try_from(line + 1).unwrap_or(u32::MAX),
            col: u32::try_from(from + 1).unwrap_or(u32::MAX),
            message,
            line_text: shown,
            caret,
            hint: None,
        }
    }
}

/// The character boundary at or before a byte.
fn floor_boundary(text: &str, at: usize) -> usize {
    (0..=at.min(text.len())).rev().find(|at| text.is_char_boundary(*at)).unwrap_or(0)
}

/// Gathers the problems of one file.
#[derive(Debug)]
pub(super) struct Report<'s> {
    source: &'s Source,
    found: RefCell<Vec<(usize, Problem)>>,
}

impl<'s> Report<'s> {
    pub(super) fn new(source: &'s Source) -> Self {
        Self { source, found: RefCell::new(Vec::new()) }
    }

    pub(super) fn text(&self) -> &'s str {
        &self.source.text
    }

    pub(super) fn say(&self, at: Range<usize>, message: impl Into<String>) {
        self.say_hint(at, message, None);
    }

    pub(super) fn say_hint(
        &self,
        at: Range<usize>,
        message: impl Into<String>,
        hint: Option<String>,
    ) {
        let start = at.start;
        let problem = Problem { hint, ..self.source.problem(at, message.into()) };
        self.found.borrow_mut().push((start, problem));
    }

    pub(super) fn is_clean(&self) -> bool {
        self.found.borrow().is_empty()
    }

    /// What was read, or all that was wrong with it.
    pub(super) fn outcome<T>(self, read: Option<T>) -> Result<T, Problems> {
        let mut found = self.found.into_inner();
        found.sort_by_key(|(at, _)| *at);
        let mut problems: Vec<Problem> = found.into_iter().map(|(_, problem)| problem).collect();
        problems.dedup();
        match read {
            Some(read) if problems.is_empty() => Ok(read),
            _ if problems.is_empty() => {
                Err(Problems::one(self.source.problem(0..0, "the file says too little".to_owned())))
            }
            _ => Err(Problems(problems)),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn shows_place_line_caret_and_hint() {
        let source = Source::new("a.toml", "x = 1\r\nwidth = \"4 zoll\"\n");
        let mut problem = source.problem(16..22, "no unit named `zoll`".to_owned());
        problem.hint = Some("expected a length".to_owned());
        let expected = "a.toml:2:10: no unit named `zoll`\n    |\n  2 | width = \"4 zoll\"\n    \
                        |          ^^^^^^\n    = expected a length";
        assert_eq!(problem.to_string(), expected);
    }

    #[test]
    fn columns_are_characters_and_long_lines_are_cut() {
        let source = Source::new("a", "é½″ x");
        let problem = source.problem(source.text.find('x').unwrap()..source.text.len(), "m".into());
        assert_eq!((problem.col, problem.caret), (5, 4..5));
        let long = format!("{}here", "é".repeat(1000));
        let problem = Source::new("a", &long).problem(2000..2004, "m".into());
        assert_eq!(problem.col, 1001);
        let under: String =
            problem.line_text.chars().skip(problem.caret.start).take(problem.caret.len()).collect();
        assert_eq!(under, "here");
    }

    #[test]
    fn any_range_has_a_place() {
        let source = Source::new("a", "é\n\nab");
        for start in 0..12 {
            for end in 0..12 {
                let problem = source.problem(start..end, String::new());
                assert!(problem.caret.start <= problem.caret.end && problem.line <= 3);
            }
        }
        assert_eq!(source.problem(9..9, String::new()).line, 3, "the end of the file");
        let inside = Source::new("a", "aé").problem(2..3, String::new());
        assert_eq!(inside.col, 2, "a byte inside a letter is that letter");
    }
}
