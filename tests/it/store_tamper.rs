//! Somebody changes the file with other tools after dropping its triggers: what
//! the chain shows, what it cannot show, and what a program of other hands says.

use std::path::{Path, PathBuf};
use std::process::Command;

use chalkhand::domain::{Entry, Hash, Json, PinKind, What, chain, entry_json};
use chalkhand::store::{AdoptedVersion, Appended, Store, StoreError};
use proptest::prelude::*;
use proptest::strategy::ValueTree as _;
use proptest::test_runner::TestRunner;
use tempfile::TempDir;

use crate::drafts::{any_draft, draft, note};
use crate::store::{fresh, say};

/// Six entries, the second and fifth of another job, and no triggers.
fn six() -> (TempDir, Store) {
    let (folder, mut store) = fresh();
    for (n, job) in ["J-1", "J-2", "J-1", "J-1", "J-2", "J-1"].iter().enumerate() {
        let mut draft = note(job, &format!("key {}", n + 1));
        // A day with a time of its own for each, in order.
        draft.at = format!("2026-11-2{}T08:15:09.042-05:00", n + 1).parse().unwrap();
        store.append(&draft, None).unwrap();
    }
    let all = "select group_concat('drop trigger ' || name, ';') from sqlite_schema
               where type = 'trigger'";
    let drop_all: String = store.raw().query_row(all, [], |row| row.get(0)).unwrap();
    store.raw().execute_batch(&drop_all).unwrap();
    (folder, store)
}

fn said(error: StoreError) -> String {
    format!("{:#}", anyhow::Error::from(error))
}

fn set(store: &Store, seq: u64, body: &str, hash: Hash) {
    let sql = "update entry set body = ?2, sha256 = ?3 where seq = ?1";
    let row = rusqlite::params![seq, body, hash.to_string()];
    assert_eq!(store.raw().execute(sql, row).unwrap(), 1);
}

fn body(store: &Store, seq: u64) -> String {
    let sql = "select body from entry where seq = ?1";
    store.raw().query_row(sql, [seq], |row| row.get(0)).unwrap()
}

#[test]
fn the_chain_names_the_entry() {
    let swap = "create table kept as select * from entry;
                update entry set body = (select body from kept where seq = 7 - entry.seq),
                sha256 = (select sha256 from kept where seq = 7 - entry.seq) where seq in (3, 4);
                drop table kept";
    let table = [
        (
            "update entry set body = replace(body, 'note k', 'nota k') where seq = 3",
            "entry 3 was changed",
        ),
        ("update entry set body = body || ' ' where seq = 6", "entry 6 was changed"),
        (
            "update entry set sha256 = replace(sha256, 'a', 'b') where seq = 3",
            "entry 3 was changed",
        ),
        ("update entry set sha256 = replace(sha256, 'a', 'g') where seq = 3", "entry 3: `sha256`"),
        ("update entry set body = 'gone' where seq = 3", "entry 3: `body`"),
        ("update entry set body = '{}' where seq = 3", "entry 3: `seq`"),
        ("delete from entry where seq = 3", "entry 3 is missing: entry 4 follows"),
        ("delete from entry where seq = 1", "entry 1 is missing: entry 2 follows"),
        (
            "delete from entry where seq = 3; update entry set seq = seq - 1 where 3 < seq",
            "entry 3 is missing: entry 4 follows",
        ),
        (swap, "entry 3 is missing: entry 4 follows"),
        ("update entry set seq = 9 where seq = 6", "entry 9 "),
        ("update entry set job = 'J-2' where seq = 3", "entry 3 "),
        ("update entry set at_ms = at_ms + 1 where seq = 4", "entry 4 "),
        ("update entry set at_day = '2026-11-20' where seq = 4", "entry 4 "),
        ("update entry set key = 'other' where seq = 5", "entry 5 "),
    ];
    for (sql, words) in table {
        let (folder, store) = six();
        let before = store.check_chain().unwrap();
        store.raw().execute_batch(sql).unwrap();
        drop(store);
        let store = Store::open(&folder.path().join("log.db")).unwrap();
        let error = match store.check_chain() {
            Ok(after) => panic!("{sql} was not seen: {before:?} {after:?}"),
            Err(error) => said(error),
        };
        assert!(error.contains(words), "{sql}: {error}");
        assert!(error.contains("was tampered with or damaged"), "{sql}: {error}");
    }
}

/// Reading a job sees a changed entry too, before anybody checks the chain.
#[test]
fn a_changed_entry_is_not_read() {
    let (_folder, store) = six();
    store
        .raw()
        .execute("update entry set body = replace(body, 'note k', 'x') where seq = 3", [])
        .unwrap();
    let error = said(store.entries("J-1", 0).unwrap_err());
    assert!(error.contains("entry 3 was changed"), "{error}");
    assert_eq!(store.entries("J-1", 3).unwrap().len(), 2, "those after it are whole");
    assert_eq!(store.entries("J-2", 0).unwrap().len(), 2, "another job is whole");
    store.raw().execute("update entry set job = 'J-2' where seq = 4", []).unwrap();
    let error = said(store.entries("J-2", 0).unwrap_err());
    assert!(error.contains("entry 4 "), "{error}");
    store.raw().execute("update entry set sha256 = lower(sha256) || '' where seq = 6", []).unwrap();
    store.raw().execute("update entry set body = '{}' where seq = 6", []).unwrap();
    store.head().expect_err("the last entry was changed");
}

/// One entry made again with a good hash of its own: the next one shows it.
#[test]
fn an_entry_made_again_breaks_the_next() {
    let (_folder, store) = six();
    let forged = body(&store, 3).replace("note key 3", "all is well");
    set(&store, 3, &forged, Hash::of(forged.as_bytes()));
    let error = said(store.check_chain().unwrap_err());
    assert!(error.contains("entry 4 does not follow the entry before it"), "{error}");
    assert_eq!(store.entries("J-1", 0).unwrap().len(), 4, "one job alone does not show it");
}

/// What the file alone cannot show: a tail cut off, and a tail made again as a
/// whole. A number and hash noted elsewhere, as records note them, do.
#[test]
fn a_cut_or_remade_tail_shows_against_a_noted_head() {
    let (_folder, store) = six();
    let noted = store.check_chain().unwrap();
    assert_eq!(noted.0, 6);
    store.raw().execute("delete from entry where 4 < seq", []).unwrap();
    let cut = store.check_chain().expect("the file alone does not show it");
    assert_eq!(cut.0, 4);
    assert_ne!(cut, noted);

    let (_folder, store) = six();
    let mut entries: Vec<Entry> = store.entries("J-1", 0).unwrap();
    entries.extend(store.entries("J-2", 0).unwrap());
    entries.sort_by_key(|entry| entry.seq);
    let mut previous = entries[1].hash;
    for entry in &entries[2..] {
        let mut forged = entry.draft.clone();
        if let What::Noted { text, .. } = &mut forged.what {
            "all is well".clone_into(text);
        }
        let (linked, text) = chain::link(forged, entry.seq, previous).unwrap();
        set(&store, entry.seq, &text, linked.hash);
        previous = linked.hash;
    }
    let remade = store.check_chain().expect("the file alone does not show it");
    assert_eq!(remade.0, 6);
    assert_ne!(remade, noted, "the noted head does");
}

#[test]
fn a_changed_checklist_is_not_read() {
    let (_folder, mut store) = fresh();
    let adopted = AdoptedVersion {
        kind: PinKind::Checklist,
        id: "vent".to_owned(),
        version: "1.0.0".parse().unwrap(),
        hash: Hash::of(b"text"),
        adopted_at: "2026-11-25T08:00:00.000-05:00".to_owned(),
        adopted_by: "Foreman One".to_owned(),
    };
    store.adopt(&adopted, "text").unwrap();
    let change = "drop trigger adopted_is_never_updated; update adopted set body = 'tent'";
    store.raw().execute_batch(change).unwrap();
    let error = store.adopted_body(PinKind::Checklist, "vent", adopted.version).unwrap_err();
    assert!(error.to_string().contains("checklist vent 1.0.0"), "{error}");
    assert!(error.to_string().contains("no longer has the hash"), "{error}");
}

/// JSON as the border reads it, here by a way of its own.
fn tree(value: &serde_json::Value) -> Json {
    use serde_json::Value;
    match value {
        Value::Null => Json::Null,
        Value::Bool(yes) => Json::Bool(*yes),
        Value::Number(n) => Json::Number(n.as_f64().unwrap()),
        Value::String(text) => Json::from(text.clone()),
        Value::Array(items) => Json::List(items.iter().map(tree).collect()),
        Value::Object(members) => {
            Json::Object(members.iter().map(|(key, value)| (key.clone(), tree(value))).collect())
        }
    }
}

#[test]
fn every_entry_reads_back_from_its_text() {
    proptest!(ProptestConfig::with_cases(4_000), |(draft in any_draft(), seq in 1_u64..1 << 53)| {
        let previous = Hash::of(&seq.to_le_bytes());
        let (entry, text) = chain::link(draft, seq, previous).unwrap();
        let value: serde_json::Value = serde_json::from_str(&text).unwrap();
        let json = tree(&value);
        prop_assert_eq!(&json, &entry_json::sealed(seq, &entry.draft, previous));
        prop_assert_eq!(json.canonical().unwrap(), text);
        prop_assert_eq!(&entry_json::read(&json, entry.hash).unwrap(), &entry);
        prop_assert!(entry_json::is_sealed(&json, &entry));
        let Json::Object(members) = &json else { unreachable!() };
        for name in members.keys() {
            let (mut less, mut other) = (members.clone(), members.clone());
            less.remove(name);
            other.insert(name, Json::Null);
            // One left out and another one there.
            let mut renamed = less.clone();
            renamed.insert("aside", Json::Null);
            for wrong in [less, other, renamed] {
                prop_assert!(!entry_json::is_sealed(&Json::Object(wrong), &entry), "{}", name);
            }
        }
        for added in ["aside", "walked", "zone"] {
            let mut more = members.clone();
            more.insert(added, Json::Null);
            prop_assert!(!entry_json::is_sealed(&Json::Object(more), &entry), "{}", added);
        }
        prop_assert!(!entry_json::is_sealed(&Json::Null, &entry));
    });
}

fn python() -> Option<PathBuf> {
    let Some(folder) = std::env::var_os("CHALKHAND_OUTSIDE") else {
        say("left out: CHALKHAND_OUTSIDE names no folder with a Python `py/` that has rfc8785");
        return None;
    };
    Some(Path::new(&folder).join("py/bin/python"))
}

/// RFC 8785 by the Python package `rfc8785`, SHA-256 by `hashlib`.
#[test]
fn a_program_of_other_hands_checks_the_chain() {
    let Some(python) = python() else { return };
    let (folder, mut store) = fresh();
    store.raw().pragma_update(None, "synchronous", "off").unwrap();
    let mut runner = TestRunner::deterministic();
    let any = any_draft();
    let mut added = 0;
    while added < 500 {
        let drawn = any.new_tree(&mut runner).unwrap().current();
        added += u64::from(matches!(store.append(&drawn, None).unwrap(), Appended::New(_)));
    }
    // RFC 8785 section 3.2.2: what is escaped, what is not, and beyond the
    // basic plane.
    let text = "\u{20ac}$\u{f}\nA'B\"\\\\\"/\u{7f}\u{2028}\u{fb33}\u{1f600}".to_owned();
    store
        .append(&draft("J-1", "hard", What::Noted { step: None, text, clip: None }), None)
        .unwrap();
    let (entries, hash) = store.check_chain().unwrap();
    let checker = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/it/outside/chain.py");
    let check = || Command::new(&python).arg(&checker).arg(folder.path().join("log.db")).output();
    let checked = check().unwrap();
    let errors = String::from_utf8_lossy(&checked.stderr).into_owned();
    assert!(checked.status.success(), "{errors}");
    assert_eq!(String::from_utf8_lossy(&checked.stdout).trim(), format!("{entries} {hash}"));
    let change = "drop trigger entry_is_never_updated;
                  update entry set body = replace(body, 'note', 'nota') where seq = 501";
    let changed = body(&store, 501).contains("note");
    assert!(changed, "the last entry is a note");
    store.raw().execute_batch(change).unwrap();
    let checked = check().unwrap();
    assert!(!checked.status.success());
    let errors = String::from_utf8_lossy(&checked.stderr).into_owned();
    assert!(errors.contains("entry 501: hash"), "{errors}");
}
