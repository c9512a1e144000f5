//! Where printing goes: standard output for results, standard error for
//! complaints and progress. A closed pipe ends the program without a fuss.

use std::io::{self, IsTerminal, Write};
use std::path::Path;
use std::time::{Duration, Instant};

use anyhow::Context;

use crate::domain::Json;
use crate::export::{self, words};

/// Standard output, or a file in its place.
pub(super) struct Out {
    stdout: io::BufWriter<Box<dyn Write>>,
}

impl std::fmt::Debug for Out {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("Out").finish_non_exhaustive()
    }
}

impl Out {
    pub(super) fn stdout() -> Self {
        Self { stdout: io::BufWriter::new(Box::new(io::stdout())) }
    }

    /// A file instead.
    pub(super) fn file(path: &Path) -> io::Result<Self> {
        Ok(Self { stdout: io::BufWriter::new(Box::new(std::fs::File::create(path)?)) })
    }

    /// One line, seen at once.
    pub(super) fn line(&mut self, text: &str) -> io::Result<()> {
        writeln!(self.stdout, "{}", tame(text))?;
        self.stdout.flush()
    }

    /// A text that ends its own lines.
    pub(super) fn text(&mut self, text: &str) -> io::Result<()> {
        self.stdout.write_all(tame(text).as_bytes())?;
        self.stdout.flush()
    }

    /// Bytes for a program, to the letter.
    pub(super) fn bytes(&mut self, bytes: &[u8]) -> io::Result<()> {
        self.stdout.write_all(bytes)
    }

    /// JSON for people and programs.
    pub(super) fn json(&mut self, json: &Json) -> anyhow::Result<()> {
        Ok(self.text(&export::json::pretty(json))?)
    }

    /// JSON on one line.
    pub(super) fn json_line(&mut self, json: &Json) -> anyhow::Result<()> {
        Ok(self.line(&json.canonical()?)?)
    }

    /// Words waiting for an answer on the same line.
    pub(super) fn ask(&mut self, text: &str) -> io::Result<()> {
        write!(self.stdout, "{text}")?;
        self.stdout.flush()
    }

    pub(super) fn finish(&mut self) -> io::Result<()> {
        self.stdout.flush()
    }
}

/// So many of something: `1 photo`, `2 photos`.
pub(super) fn many<N: std::fmt::Display + PartialEq + From<u8>>(
    n: N,
    one: &str,
    more: &str,
) -> String {
    if n == N::from(1) { format!("{n} {one}") } else { format!("{n} {more}") }
}

/// A sentence on standard error.
pub(super) fn complain(text: &str) {
    // Nobody is left to tell when standard error is closed.
    let _ = writeln!(io::stderr(), "{}", tame(text));
}

/// Nothing a person typed or a file holds may steer the terminal.
fn tame(text: &str) -> String {
    let plain = |c: char| if matches!(c, '\n' | '\t') { c } else { words::visible(c) };
    text.chars().map(plain).collect()
}

pub(super) fn is_closed_pipe(error: &anyhow::Error) -> bool {
    error.chain().any(|cause| {
        cause.downcast_ref::<io::Error>().is_some_and(|e| e.kind() == io::ErrorKind::BrokenPipe)
    })
}

/// The ending of a file's name, in lower case; empty where it has none.
pub(super) fn ending(path: &Path) -> String {
    let ending = path.extension().and_then(|ending| ending.to_str());
    ending.unwrap_or_default().to_ascii_lowercase()
}

/// Writes a file as a whole or not at all; one of that name is replaced.
pub(super) fn write_file(path: &Path, bytes: &[u8]) -> anyhow::Result<()> {
    write_whole(path, |part| Ok(std::fs::write(part, bytes)?))
}

/// The same with whatever writes the file beside it that then takes its place.
pub(super) fn write_whole(
    path: &Path,
    write: impl FnOnce(&Path) -> anyhow::Result<()>,
) -> anyhow::Result<()> {
    let name = path.file_name().context("name a file, not a folder")?;
    let part = path.with_file_name(format!(".{}.part", name.to_string_lossy()));
    let written = write(&part).and_then(|()| Ok(std::fs::rename(&part, path)?));
    if written.is_err() {
        // Nothing half-written stays behind.
        let _ = std::fs::remove_file(&part);
    }
    written.with_context(|| {
        format!("`{}` could not be written: check the folder and the disk", path.display())
    })
}

/// Progress on standard error of anything that takes longer than a second.
#[derive(Debug)]
pub(super) struct Progress {
    doing: &'static str,
    of: usize,
    begun: Instant,
    shown: Option<Instant>,
}

impl Progress {
    pub(super) fn new(doing: &'static str, of: usize) -> Self {
        Self { doing, of, begun: Instant::now(), shown: None }
    }

    /// So many are done.
    pub(super) fn done(&mut self, done: usize) {
        self.note(done, "");
    }

    /// So many are done, and how far the next one is.
    pub(super) fn note(&mut self, done: usize, more: &str) {
        // A file of complaints wants fewer lines than a person who waits.
        let pause = Duration::from_secs(if io::stderr().is_terminal() { 1 } else { 10 });
        let late = pause < self.begun.elapsed();
        let due = self.shown.is_none_or(|shown| pause < shown.elapsed());
        if late && due {
            self.shown = Some(Instant::now());
            let (doing, of) = (self.doing, self.of);
            if io::stderr().is_terminal() {
                let _ = write!(io::stderr(), "\r{doing}: {done} of {of}{more} ");
            } else {
                complain(&format!("{doing}: {done} of {of}{more}"));
            }
        }
    }
}

impl Drop for Progress {
    fn drop(&mut self) {
        if self.shown.is_some() && io::stderr().is_terminal() {
            let _ = writeln!(io::stderr());
        }
    }
}
