//! The log on a real database: what it refuses, what it adds once, what it
//! finds, and that nothing acknowledged is lost when the disk is full or a
//! commit is refused.

use std::cell::RefCell;
use std::io::Write as _;
use std::path::Path;
use std::process::Command;
use std::sync::Arc;
use std::sync::atomic::{AtomicUsize, Ordering};

use chalkhand::domain::{Hash, PinKind, What};
use chalkhand::store::{AdoptedVersion, Appended, SeenFile, Store, StoreError};
use proptest::prelude::*;
use tempfile::TempDir;

use crate::drafts::{any_draft, draft, job, note};

/// Says something that is not a failure, such as what is left out.
pub(crate) fn say(text: &str) {
    writeln!(std::io::stderr(), "{text}").ok();
}

/// A log in a folder of its own.
pub(crate) fn fresh() -> (TempDir, Store) {
    let folder = tempfile::tempdir().unwrap();
    let store = Store::open(&folder.path().join("log.db")).unwrap();
    (folder, store)
}

/// Keys in the log, in order, after its chain was checked.
pub(crate) fn keys(store: &Store) -> Vec<String> {
    let (entries, _) = store.check_chain().unwrap();
    let sql = "select key from entry order by seq";
    let mut statement = store.raw().prepare(sql).unwrap();
    let keys: Vec<String> = statement.query_map([], |row| row.get(0)).unwrap().flatten().collect();
    assert_eq!(keys.len() as u64, entries);
    keys
}

fn adopted(version: &str, body: &str) -> AdoptedVersion {
    AdoptedVersion {
        kind: PinKind::Checklist,
        id: "vent".to_owned(),
        version: version.parse().unwrap(),
        hash: Hash::of(body.as_bytes()),
        adopted_at: "2026-11-25T08:00:00.000-05:00".to_owned(),
        adopted_by: "Foreman One".to_owned(),
    }
}

/// Each statement is refused, in the words of one trigger; with that trigger
/// dropped it goes through, so the trigger is what refuses it.
#[test]
fn the_schema_guards_itself() {
    let (_folder, mut store) = fresh();
    for key in ["a", "b", "c"] {
        store.append(&note("J-1", key), None).unwrap();
    }
    store.adopt(&adopted("1.0.0", "text"), "text").unwrap();
    let entry = "into entry select max(seq)";
    let rest = "job, at_ms, at_day";
    let hash = "0".repeat(64);
    let version =
        format!("into adopted values ('checklist', 'vent', '1.0.0', '{hash}', 'x', 'x', 'x')");
    let table = [
        (
            "update entry set body = 'x' where seq = 2".to_owned(),
            "entry_is_never_updated",
            "changed",
        ),
        ("update entry set seq = 9 where seq = 3".to_owned(), "entry_is_never_updated", "changed"),
        ("delete from entry where seq = 3".to_owned(), "entry_is_never_deleted", "deleted"),
        ("delete from entry".to_owned(), "entry_is_never_deleted", "deleted"),
        (
            format!("insert or replace {entry} + 1, {rest}, 'b', body, sha256 from entry"),
            "entry_is_never_replaced",
            "replaced",
        ),
        (
            format!("insert {entry} + 2, {rest}, 'new', body, sha256 from entry"),
            "entry_follows_the_last",
            "without a gap",
        ),
        ("update adopted set body = 'x'".to_owned(), "adopted_is_never_updated", "changed"),
        ("delete from adopted".to_owned(), "adopted_is_never_deleted", "deleted"),
        (format!("insert or replace {version}"), "adopted_is_never_replaced", "replaced"),
    ];
    for (sql, trigger, word) in table {
        let refused = store.raw().execute(&sql, []).expect_err(&sql).to_string();
        assert!(refused.contains(word), "{sql}: {refused}");
        let without = store.raw().unchecked_transaction().unwrap();
        without.execute_batch(&format!("drop trigger {trigger}")).unwrap();
        assert_ne!(without.execute(&sql, []).unwrap(), 0, "{trigger} is not what refuses {sql}");
        without.rollback().unwrap();
    }
    // Here two guards stand, so that no single trigger lets it through.
    for sql in [
        format!("insert or replace {entry}, {rest}, 'new', body, sha256 from entry"),
        format!("insert {entry} + 1, {rest}, 'b', body, sha256 from entry"),
        format!(
            "insert {entry} + 1, {rest}, 'b', body, sha256 from entry where true
             on conflict (key) do update set body = 'x'"
        ),
        format!("insert {version} on conflict do update set body = 'x'"),
        "insert into entry select 0, job, at_ms, at_day, 'new', body, sha256 from entry".to_owned(),
    ] {
        let refused = store.raw().execute(&sql, []).expect_err(&sql);
        assert_eq!(refused.sqlite_error_code(), Some(rusqlite::ErrorCode::ConstraintViolation));
    }
    assert_eq!(keys(&store), ["a", "b", "c"]);
    let body = store.adopted_body(PinKind::Checklist, "vent", "1.0.0".parse().unwrap()).unwrap();
    assert_eq!(body.as_deref(), Some("text"));
}

#[test]
fn the_same_key_adds_one_entry() {
    let (_folder, mut store) = fresh();
    let Appended::New(first) = store.append(&note("J-1", "a"), None).unwrap() else {
        panic!("the first is new")
    };
    assert_eq!(store.append(&note("J-1", "a"), None).unwrap(), Appended::Before(first.clone()));
    let other = draft("J-2", "a", What::Paused);
    assert_eq!(store.append(&other, None).unwrap().entry(), first, "the key decides");
    let Appended::New(second) = store.append(&note("J-1", "b"), None).unwrap() else {
        panic!("another key is new")
    };
    assert_eq!((first.seq, second.seq, second.previous), (1, 2, first.hash));
    assert_eq!(store.entries("J-1", 0).unwrap(), [first, second.clone()]);
    assert_eq!(store.head().unwrap(), (2, second.hash));
    assert_eq!(store.check_chain().unwrap(), (2, second.hash));
    assert_eq!(store.entries("J-1", 1).unwrap(), [second]);
}

#[test]
fn a_writer_learns_that_others_wrote_on_the_job() {
    let (folder, mut mine) = fresh();
    let mut theirs = Store::open(&folder.path().join("log.db")).unwrap();
    let first = mine.append(&note("J-1", "a"), Some(0)).unwrap().entry().seq;
    theirs.append(&note("J-2", "b"), Some(0)).unwrap();
    mine.append(&note("J-1", "c"), Some(first)).expect("another job does not matter");
    theirs.append(&note("J-1", "d"), None).unwrap();
    let known = mine.last_seq("J-1").unwrap() - 1;
    let stale = mine.append(&note("J-1", "e"), Some(known)).unwrap_err();
    assert!(matches!(stale, StoreError::Stale), "{stale}");
    let before = mine.append(&note("J-1", "c"), Some(first)).unwrap();
    assert!(matches!(before, Appended::Before(_)), "a retry is not a conflict");
    mine.append(&note("J-1", "e"), Some(mine.last_seq("J-1").unwrap())).unwrap();
    assert_eq!(keys(&mine), ["a", "b", "c", "d", "e"]);
}

#[test]
fn a_job_is_opened_once() {
    let (_folder, mut store) = fresh();
    let opening = [draft("J-1", "open", What::JobOpened(job("J-1"))), note("J-1", "fact")];
    store.open_job(&opening).unwrap();
    assert!(matches!(store.open_job(&opening).unwrap_err(), StoreError::Stale));
    assert_eq!(store.job("J-1").unwrap(), Some(job("J-1")));
    assert_eq!(store.job("J-2").unwrap(), None);
    let day = "2026-11-25".parse().unwrap();
    assert_eq!(store.jobs_on(day).unwrap(), ["J-1"]);
    let twice = [note("J-2", "one"), note("J-2", "fact")];
    store.open_job(&twice).expect_err("a key that is taken");
    assert_eq!(keys(&store), ["open", "fact"], "all of them or none");
    assert_eq!(store.last_at_ms().unwrap(), Some(opening[1].at.ms()));
}

#[test]
fn a_version_is_adopted_once_and_never_changes() {
    let (folder, mut store) = fresh();
    let version = adopted("1.0.0", "text");
    store.adopt(&version, "text").unwrap();
    store.adopt(&version, "text").expect("the same again changes nothing");
    let changed = store.adopt(&adopted("1.0.0", "other"), "other").unwrap_err().to_string();
    assert!(changed.contains("vent 1.0.0") && changed.contains("new version"), "{changed}");
    store.adopt(&adopted("1.10.0", "ten"), "ten").unwrap();
    store.adopt(&adopted("1.9.0", "nine"), "nine").unwrap();
    let listed = store.adopted(PinKind::Checklist).unwrap();
    let listed: Vec<String> = listed.iter().map(|adopted| adopted.version.to_string()).collect();
    assert_eq!(listed, ["1.0.0", "1.9.0", "1.10.0"], "by number, not by letter");
    assert!(store.adopted(PinKind::Profile).unwrap().is_empty());
    let path = folder.path().join("log.db");
    let together: Vec<_> = (0..8)
        .map(|_| {
            let path = path.clone();
            std::thread::spawn(move || {
                Store::open(&path).unwrap().adopt(&adopted("2.0.0", "two"), "two")
            })
        })
        .collect();
    for one in together {
        one.join().unwrap().expect("adopting the same at the same time changes nothing");
    }
}

#[test]
fn files_seen_are_remembered_and_forgotten() {
    let (_folder, mut store) = fresh();
    let at = note("J-1", "a").at;
    let mut file = SeenFile {
        path: "checklists/vent.toml".to_owned(),
        kind: "checklist".to_owned(),
        id: None,
        version: None,
        verdict: "broken".to_owned(),
        why: "line 3".to_owned(),
    };
    store.saw(&file, at).unwrap();
    file.verdict = "offered".to_owned();
    file.id = Some("vent".to_owned());
    store.saw(&file, at).unwrap();
    assert_eq!(store.seen().unwrap(), [file.clone()]);
    store.forget(&file.path).unwrap();
    assert!(store.seen().unwrap().is_empty());
}

fn long_note(n: usize) -> chalkhand::domain::Draft {
    draft(
        "J-1",
        &format!("{n}"),
        What::Noted { step: None, text: "shingle ".repeat(180), clip: None },
    )
}

fn allow_pages(store: &Store, more: i64) {
    let pages = |row: &rusqlite::Row<'_>| row.get::<_, i64>(0);
    let used = store.raw().pragma_query_value(None, "page_count", pages).unwrap();
    store.raw().pragma_update(None, "max_page_count", used + more).unwrap();
}

/// The disk has room for one page more each time, until all 40 entries fit.
#[test]
fn a_full_disk_loses_nothing_acknowledged() {
    for spare in 0.. {
        let (folder, mut store) = fresh();
        allow_pages(&store, spare);
        let mut saved = Vec::new();
        let refused = (0..40).find_map(|n| match store.append(&long_note(n), None) {
            Ok(_) => {
                saved.push(n.to_string());
                None
            }
            Err(error) => Some((n, error)),
        });
        if let Some((n, error)) = &refused {
            assert!(matches!(error, StoreError::Full { .. }), "{error:?}");
            assert!(error.to_string().contains("make room and try again"), "{error}");
            assert_eq!(keys(&store), saved, "before it is closed, at {spare} pages");
            store.append(&long_note(*n), None).expect_err("still full");
        }
        drop(store);
        let mut store = Store::open(&folder.path().join("log.db")).unwrap();
        assert_eq!(keys(&store), saved, "after it is opened again, at {spare} pages");
        let Some((n, _)) = refused else {
            assert!(0 < spare, "the disk was never full");
            return;
        };
        let retried = store.append(&long_note(n), None).expect("there is room again");
        assert!(matches!(retried, Appended::New(_)));
    }
}

#[test]
fn a_full_disk_opens_a_whole_job_or_none() {
    let mut drafts = vec![draft("J-1", "open", What::JobOpened(job("J-1")))];
    drafts.extend((0..20).map(long_note));
    for spare in 0.. {
        let (folder, mut store) = fresh();
        allow_pages(&store, spare);
        let opened = store.open_job(&drafts);
        drop(store);
        let store = Store::open(&folder.path().join("log.db")).unwrap();
        let found = store.find(&["Sampletown".to_owned()], 9).unwrap().len();
        match opened {
            Ok(()) => {
                assert_eq!((keys(&store).len(), found), (21, 1));
                assert!(0 < spare, "the disk was never full");
                return;
            }
            Err(error) => assert!(matches!(error, StoreError::Full { .. }), "{error:?}"),
        }
        assert_eq!((keys(&store).len(), found), (0, 0), "at {spare} pages");
    }
}

/// A disk of its own: memory of a fixed size, gone when dropped.
pub(crate) struct Disk(TempDir);

impl Disk {
    /// None, with the reason printed, where this user may not mount.
    pub(crate) fn new(options: &str) -> Option<Self> {
        let folder = tempfile::tempdir().unwrap();
        let mount = Command::new("mount")
            .args(["-t", "tmpfs", "-o", options, "tmpfs"])
            .arg(folder.path())
            .output();
        if mount.is_ok_and(|done| done.status.success()) {
            Some(Self(folder))
        } else {
            say("left out: this user may not mount a disk for the test");
            None
        }
    }

    pub(crate) fn path(&self) -> &Path {
        self.0.path()
    }

    pub(crate) fn remount(&self, options: &str) {
        let done = Command::new("mount")
            .args(["-o", &format!("remount,{options}")])
            .arg(self.path())
            .status();
        assert!(done.unwrap().success());
    }
}

impl Drop for Disk {
    fn drop(&mut self) {
        Command::new("umount").arg("-l").arg(self.path()).status().ok();
    }
}

/// Where the write-ahead log itself finds no room, and not only the database.
#[test]
fn a_real_full_disk_loses_nothing_acknowledged() {
    let Some(disk) = Disk::new("size=900k") else { return };
    let path = disk.path().join("log.db");
    let mut store = Store::open(&path).unwrap();
    let mut saved = Vec::new();
    let full = loop {
        let n = saved.len();
        match store.append(&long_note(n), None) {
            Ok(_) => saved.push(n.to_string()),
            Err(error) => break error,
        }
        assert!(n < 2_000, "the disk was never full");
    };
    assert!(matches!(full, StoreError::Full { .. }), "{full:?}");
    assert_eq!(keys(&store), saved);
    drop(store);
    disk.remount("size=2m");
    let mut store = Store::open(&path).unwrap();
    assert_eq!(keys(&store), saved);
    store.append(&long_note(saved.len()), None).expect("there is room again");
}

/// A disk with hardly any room: the log is made whole, or the refusal is clear
/// and the next start, with room, goes on from there.
#[test]
fn a_new_log_on_a_full_disk_is_refused_clearly() {
    let Some(disk) = Disk::new("size=4k") else { return };
    let mut refused = 0;
    for kib in (4..400).step_by(4) {
        disk.remount(&format!("size={kib}k"));
        match Store::open(&disk.path().join("log.db")) {
            Ok(_) => {
                assert!(0 < refused, "the disk was never full");
                return;
            }
            Err(error) => {
                assert!(matches!(error, StoreError::Full { .. }), "{kib} KiB: {error:?}");
                refused += 1;
            }
        }
    }
    panic!("it never fitted");
}

/// Refuses that commit, counted from 1, and lets the others through.
fn refuse_commit(store: &Store, which: usize) -> Arc<AtomicUsize> {
    let commits = Arc::new(AtomicUsize::new(0));
    let counted = Arc::clone(&commits);
    let refuse = move || counted.fetch_add(1, Ordering::SeqCst) + 1 == which;
    store.raw().commit_hook(Some(refuse)).unwrap();
    commits
}

#[test]
fn a_refused_commit_is_never_acknowledged() {
    for which in 1..=11 {
        let (folder, mut store) = fresh();
        let commits = refuse_commit(&store, which);
        let mut saved = Vec::new();
        for n in 0..10 {
            match store.append(&long_note(n), None) {
                Ok(_) => saved.push(n.to_string()),
                Err(error) => {
                    assert_eq!(n + 1, which);
                    assert!(error.to_string().contains("refused to append an entry"), "{error}");
                }
            }
        }
        assert_eq!(commits.load(Ordering::SeqCst), 10);
        assert_eq!(saved.len(), if which == 11 { 10 } else { 9 });
        assert_eq!(keys(&store), saved);
        drop(store);
        let mut store = Store::open(&folder.path().join("log.db")).unwrap();
        assert_eq!(keys(&store), saved);
        if which <= 10 {
            store.append(&long_note(which - 1), None).unwrap();
            assert_eq!(keys(&store).len(), 10);
        }
    }
}

#[test]
fn a_refused_commit_opens_no_job_and_adopts_nothing() {
    let (folder, mut store) = fresh();
    refuse_commit(&store, 1);
    store.open_job(&[draft("J-1", "open", What::JobOpened(job("J-1")))]).unwrap_err();
    refuse_commit(&store, 1);
    store.adopt(&adopted("1.0.0", "text"), "text").unwrap_err();
    drop(store);
    let store = Store::open(&folder.path().join("log.db")).unwrap();
    assert_eq!(keys(&store), [""; 0]);
    assert!(store.find(&[], 9).unwrap().is_empty());
    assert!(store.adopted(PinKind::Checklist).unwrap().is_empty());
}

/// What could not be read again is refused, not logged: it would close the job.
#[test]
fn an_entry_that_would_not_read_back_is_refused() {
    use chalkhand::domain::{Given, StepRef};
    use chalkhand::measure::{Dimension, Quantity, Ratio};
    let (_folder, mut store) = fresh();
    let weight = Quantity::new(Ratio::ONE, Dimension::MASS);
    let step = StepRef { id: "weigh".to_owned(), row: None };
    let given = Given::Measured(weight);
    let asked = String::new();
    let answered = What::Answered { step, asked, given, target: None, reason: None };
    let refused = store.append(&draft("J-1", "a", answered), None).unwrap_err();
    let refused = format!("{:#}", anyhow::Error::from(refused));
    assert!(refused.contains("entry 1: `measured`"), "{refused}");
    assert_eq!(keys(&store), [""; 0]);
}

fn found(store: &Store, words: &[&str]) -> Vec<String> {
    let words: Vec<String> = words.iter().map(|word| (*word).to_owned()).collect();
    store.find(&words, 50).unwrap().into_iter().map(|found| found.number).collect()
}

fn three_jobs() -> (TempDir, Store) {
    let (folder, mut store) = fresh();
    for (number, address, owner, phone) in [
        ("2026-001", "12 Éxample Street, Sampletown", "Pat O'Sample", "(555) 010-0199"),
        ("2026-002", "7-B Illustration Road, Żyzna", "Sam Example", "5550100123"),
        ("2026-003", "99 见本 Lane", "NEAR \"quoted\" AND", "+1 555 010 0777"),
    ] {
        let mut job = job(number);
        (job.address, job.owner, job.phone) = (address.into(), owner.into(), phone.into());
        store.open_job(&[draft(number, number, What::JobOpened(job))]).unwrap();
    }
    (folder, store)
}

#[test]
fn jobs_are_found_by_any_words() {
    let (_folder, store) = three_jobs();
    let table: [(&[&str], &[&str]); 26] = [
        (&[], &["2026-003", "2026-002", "2026-001"]),
        (&["2026-002"], &["2026-002"]),
        (&["street"], &["2026-001"]),
        (&["STREET", "pat"], &["2026-001"]),
        (&["pat", "street"], &["2026-001"]),
        (&["stree"], &["2026-001"]),
        (&["street", "road"], &[]),
        (&["nowhere"], &[]),
        (&["treet"], &[]),
        (&["O'Sample"], &["2026-001"]),
        (&["o'sam"], &["2026-001"]),
        (&["7-b"], &["2026-002"]),
        (&["example"], &["2026-003", "2026-002", "2026-001"]),
        (&["éxample", "street"], &["2026-001"]),
        (&["e\u{301}xample", "street"], &["2026-001"]),
        (&["zyzna"], &["2026-002"]),
        (&["ŻYZNA"], &["2026-002"]),
        (&["见本"], &["2026-003"]),
        (&["0199"], &["2026-001"]),
        (&["5550100199"], &["2026-001"]),
        (&["555-010-0123"], &["2026-002"]),
        (&["(555)", "010-0123"], &["2026-002"]),
        (&["555 010"], &["2026-003", "2026-002", "2026-001"]),
        (&["2026-11-25", "sam"], &["2026-002", "2026-001"]),
        (&["near", "and"], &["2026-003"]),
        (&["\"quoted\""], &["2026-003"]),
    ];
    for (words, numbers) in table {
        assert_eq!(found(&store, words), numbers, "{words:?}");
    }
    assert_eq!(store.find(&[], 2).unwrap().len(), 2);
    let all = store.find(&["pat".to_owned()], 9).unwrap();
    assert_eq!(
        (all[0].phone.as_str(), all[0].opened_on.as_str()),
        ("(555) 010-0199", "2026-11-25")
    );
}

/// What the engine's query language would take as syntax is only words here.
#[test]
fn nothing_typed_is_syntax() {
    let (_folder, store) = three_jobs();
    for hostile in [
        "\"",
        "\"\"",
        "'",
        "*",
        "**",
        "(",
        ")",
        "()",
        "-",
        "--",
        "^",
        ":",
        "owner:",
        "owner:pat",
        "{owner}",
        "NEAR(",
        "NEAR(a b, 2)",
        "AND",
        "OR",
        "NOT",
        "a AND",
        "OR OR",
        "a*b",
        "+",
        "+1",
        "\\",
        "%",
        "_",
        ";",
        "'; drop table entry; --",
        "\0",
        "pat\0",
        "\u{301}",
        "\u{200d}",
        "🏠",
        "-1)",
        "555\"",
        "\" OR \"\"",
        " ",
        "\n",
        "Ⓐ",
        "ⅷ",
        "²",
    ] {
        let words = [hostile.to_owned()];
        let alone = store.find(&words, 9).unwrap_or_else(|e| panic!("{hostile:?}: {e:?}"));
        assert!(alone.len() <= 3);
        let beside = [hostile.to_owned(), "street".to_owned()];
        store.find(&beside, 9).unwrap_or_else(|e| panic!("{hostile:?} street: {e:?}"));
    }
    assert_eq!(found(&store, &["pat\0"]), ["2026-001"]);
    assert_eq!(found(&store, &["-", "street"]), ["2026-001"]);
    assert_eq!(found(&store, &["-"]), [""; 0], "no word was given, so nothing is found");
    assert_eq!(found(&store, &["owner:pat"]), [""; 0], "a column cannot be named");
}

#[test]
fn finding_never_fails_and_entries_read_back() {
    let (_folder, store) = three_jobs();
    let any_words = proptest::collection::vec(any::<String>(), 0..4);
    proptest!(ProptestConfig::with_cases(2_000), |(words in any_words)| {
        store.find(&words, 9).unwrap();
    });
    let (_folder, store) = fresh();
    store.raw().pragma_update(None, "synchronous", "off").unwrap();
    let store = RefCell::new(store);
    let some = proptest::collection::vec(any_draft(), 1..4);
    proptest!(ProptestConfig::with_cases(1_000), |(drafts in some)| {
        let mut store = store.borrow_mut();
        for draft in drafts {
            let Appended::New(entry) = store.append(&draft, None).unwrap() else { continue };
            prop_assert_eq!(&entry.draft, &draft);
            let read = store.entries(&draft.job, entry.seq - 1).unwrap();
            prop_assert_eq!(read, [entry]);
        }
    });
    assert!(500 < store.borrow().check_chain().unwrap().0);
}
