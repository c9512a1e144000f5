//! Writers that are killed, and writers that write at once. A writer is this
//! test program run again, told what to write through the environment; it
//! prints what was acknowledged.

use std::io::{BufRead as _, BufReader, Write as _};
use std::path::Path;
use std::process::{Command, Stdio};
use std::sync::Barrier;
use std::time::Duration;

use chalkhand::store::{Appended, Store};

use crate::drafts::note;
use crate::store::{keys, say};

const TOLD: &str = "CHALKHAND_TEST_WRITER";

/// A writer of entries `prefix-first`, and so on before `prefix-end`.
fn writer(test: &str, path: &Path, prefix: &str, first: usize, end: usize) -> Command {
    let mut command = Command::new(std::env::current_exe().unwrap());
    command
        .args(["--exact", &format!("store_kill::{test}")])
        .env(TOLD, format!("{prefix}\n{first}\n{end}\n{}", path.to_str().unwrap()))
        .stdout(Stdio::piped())
        .stderr(Stdio::null());
    command
}

/// Whether this process is a writer; then it has written what it was told to.
fn wrote_as_told() -> bool {
    let Ok(told) = std::env::var(TOLD) else { return false };
    let mut told = told.splitn(4, '\n');
    let mut next = || told.next().unwrap();
    let prefix = next();
    let (first, end): (usize, usize) = (next().parse().unwrap(), next().parse().unwrap());
    let mut store = Store::open(Path::new(next())).unwrap();
    let mut out = std::io::stdout();
    writeln!(out).unwrap();
    for n in first..end {
        let entry = store.append(&note(prefix, &format!("{prefix}-{n}")), None).unwrap().entry();
        writeln!(out, "ack {} {n}", entry.seq).unwrap();
    }
    true
}

/// The place in the log and the number of an acknowledged entry.
fn acknowledged(line: &str) -> Option<(usize, usize)> {
    let (seq, n) = line.strip_prefix("ack ")?.strip_suffix('\n')?.split_once(' ')?;
    Some((seq.parse().ok()?, n.parse().ok()?))
}

/// Not random, so that a failure comes again; spread over `0..below`.
fn spread(round: usize, below: usize) -> usize {
    (round.wrapping_mul(0x9e37_79b9_7f4a_7c15) >> 33) % below
}

#[test]
fn nothing_acknowledged_is_lost_to_a_kill() {
    if wrote_as_told() {
        return;
    }
    let kills: usize = std::env::var("CHALKHAND_KILLS").map_or(200, |n| n.parse().unwrap());
    let (mut all, mut unacknowledged, mut before_the_first) = (0, 0, 0);
    let mut folder = tempfile::tempdir().unwrap();
    let mut saved: usize = 0;
    for round in 0..kills {
        // Now and then a new log, so that its making is killed too.
        if round % 8 == 0 {
            (folder, saved) = (tempfile::tempdir().unwrap(), 0);
        }
        let path = folder.path().join("log.db");
        let test = "nothing_acknowledged_is_lost_to_a_kill";
        let mut child = writer(test, &path, "k", saved, usize::MAX).spawn().unwrap();
        let mut out = BufReader::new(child.stdout.take().unwrap());
        let mut lines = Vec::new();
        let wanted = if round % 4 == 0 { 0 } else { 1 + spread(round, 20) };
        while lines.len() < wanted {
            let mut line = String::new();
            assert_ne!(out.read_line(&mut line).unwrap(), 0, "the writer ended by itself");
            lines.extend(acknowledged(&line));
        }
        let micros = spread(round + kills, if wanted == 0 { 40_000 } else { 6_000 });
        std::thread::sleep(Duration::from_micros(micros as u64));
        child.kill().unwrap();
        child.wait().unwrap();
        let mut line = String::new();
        while out.read_line(&mut line).unwrap() != 0 {
            lines.extend(acknowledged(&line));
            line.clear();
        }
        before_the_first += usize::from(lines.is_empty());
        all += lines.len();
        for (seq, n) in &lines {
            assert_eq!((*seq, *n), (saved + 1, saved), "round {round}");
            saved += 1;
        }
        let mut store = Store::open(&path).unwrap();
        let found = keys(&store);
        let wanted: Vec<String> = (0..found.len()).map(|n| format!("k-{n}")).collect();
        assert_eq!(found, wanted, "round {round}");
        assert!(saved <= found.len(), "round {round}: {saved} acknowledged, {}", found.len());
        assert!(found.len() <= saved + 1, "round {round}: more than one was not acknowledged");
        // The writer starts again and retries what it does not know about.
        let retried = store.append(&note("k", &format!("k-{saved}")), None).unwrap();
        let was_there = matches!(retried, Appended::Before(_));
        assert_eq!(was_there, found.len() == saved + 1, "round {round}");
        unacknowledged += usize::from(was_there);
        saved += 1;
        assert_eq!(keys(&store).len(), saved, "round {round}: nothing is there twice");
    }
    say(&format!(
        "{kills} kills: {all} acknowledged, none lost; {unacknowledged} committed and not \
         acknowledged; {before_the_first} before the first"
    ));
    assert!(kills < 100 || (500 < all && 0 < before_the_first), "the kills hit nothing");
}

#[test]
fn processes_write_at_once() {
    if wrote_as_told() {
        return;
    }
    let rounds = [(2, 40), (8, 20), (2, 1), (2, 1), (2, 1), (8, 1), (8, 1)];
    for (writers, each) in rounds {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("log.db");
        let start = |n: usize| {
            writer("processes_write_at_once", &path, &format!("w{n}"), 0, each).spawn().unwrap()
        };
        let children: Vec<_> = (0..writers).map(start).collect();
        let mut acks = Vec::new();
        for (w, child) in children.into_iter().enumerate() {
            let output = child.wait_with_output().unwrap();
            assert!(output.status.success(), "writer {w} of {writers} failed");
            let text = String::from_utf8(output.stdout).unwrap();
            let own = text.split_inclusive('\n').filter_map(acknowledged);
            acks.extend(own.map(|(seq, n)| (seq, format!("w{w}-{n}"))));
        }
        acks.sort();
        let store = Store::open(&path).unwrap();
        let found: Vec<_> = keys(&store).into_iter().enumerate().map(|(n, k)| (n + 1, k)).collect();
        assert_eq!(found, acks, "{writers} writers, {each} entries each");
        assert_eq!(found.len(), writers * each);
    }
}

#[test]
fn threads_open_a_new_log_and_write_at_once() {
    for _ in 0..10 {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("log.db");
        let together = Barrier::new(8);
        std::thread::scope(|scope| {
            for w in 0..8 {
                let (path, together) = (&path, &together);
                scope.spawn(move || {
                    together.wait();
                    let mut store = Store::open(path).unwrap();
                    for n in 0..4 {
                        store.append(&note("J-1", &format!("w{w}-{n}")), None).unwrap();
                        // All of them retry one key: it is there once.
                        store.append(&note("J-1", &format!("all-{n}")), None).unwrap();
                    }
                });
            }
        });
        let mut found = keys(&Store::open(&path).unwrap());
        found.sort();
        let each = (0..8).flat_map(|w| (0..4).map(move |n| format!("w{w}-{n}")));
        let mut wanted: Vec<_> = (0..4).map(|n| format!("all-{n}")).chain(each).collect();
        wanted.sort();
        assert_eq!(found, wanted);
    }
}

/// Another program keeps the log locked: the wait ends with a clear sentence.
#[test]
fn a_lock_that_is_kept_is_said() {
    let (folder, mut store) = crate::store::fresh();
    let other = Store::open(&folder.path().join("log.db")).unwrap();
    other.raw().execute_batch("begin immediate").unwrap();
    let busy = store.append(&note("J-1", "a"), None).unwrap_err();
    assert!(busy.to_string().contains("close it and try again"), "{busy}");
    other.raw().execute_batch("rollback").unwrap();
    store.append(&note("J-1", "a"), None).unwrap();
    assert_eq!(keys(&store), ["a"]);
}
