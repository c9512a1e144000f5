//! A stranger's PDF is read in a process of its own, with bounds on time and
//! memory: one that overflows the reader's stack ends that process and no other.

use std::io::{Read as _, Write as _};
use std::process::{Command, Stdio};
use std::time::{Duration, Instant};

use anyhow::{Context as _, bail};

use super::super::out::Out;
use crate::files::{self, Unread};

/// How long a PDF may be read, and how much memory that may take, in bytes.
const LONGEST: Duration = Duration::from_secs(10);
const MOST_MEMORY: u64 = 2 << 30;

/// The record attached to a PDF.
pub(super) fn attached(pdf: Vec<u8>) -> anyhow::Result<Vec<u8>> {
    let program = std::env::current_exe().context("the program does not find itself")?;
    let mut child = Command::new(program)
        .args(["seal", "attached"])
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .context("no second process could be started to read the PDF")?;
    let (stdin, stdout, stderr) = (child.stdin.take(), child.stdout.take(), child.stderr.take());
    let begun = Instant::now();
    std::thread::scope(|scope| {
        // It may end before it has read everything.
        scope.spawn(move || stdin.map(|mut stdin| stdin.write_all(&pdf)));
        let record = scope.spawn(move || all(stdout, files::LARGEST_SEALED as u64));
        let said = scope.spawn(move || all(stderr, 4096));
        let ended = loop {
            match child.try_wait()? {
                Some(ended) => break Some(ended),
                None if LONGEST < begun.elapsed() => {
                    child.kill()?;
                    child.wait()?;
                    break None;
                }
                None => std::thread::sleep(Duration::from_millis(5)),
            }
        };
        let record = record.join().unwrap_or_default();
        if ended.is_some_and(|ended| ended.success()) {
            return Ok(record);
        }
        let said = String::from_utf8_lossy(&said.join().unwrap_or_default()).into_owned();
        match said.strip_prefix("chalkhand: ") {
            Some(why) => bail!("{}", why.trim_end()),
            None => Err(Unread::NotPdf.into()),
        }
    })
}

fn all(from: Option<impl std::io::Read>, most: u64) -> Vec<u8> {
    let mut bytes = Vec::new();
    // What came before an error is judged by how the process ended.
    let _ = from.map(|from| from.take(most).read_to_end(&mut bytes));
    bytes
}

/// The other side: from standard input to standard output.
pub(in super::super) fn read(out: &mut Out) -> anyhow::Result<()> {
    let limit = rustix::process::Rlimit { current: Some(MOST_MEMORY), maximum: Some(MOST_MEMORY) };
    rustix::process::setrlimit(rustix::process::Resource::As, limit)?;
    let most = files::LARGEST_SEALED as u64 + 1;
    let mut pdf = Vec::new();
    std::io::stdin().take(most).read_to_end(&mut pdf)?;
    Ok(out.bytes(&files::attached_record(pdf)?)?)
}
