//! Opening: what is refused and left as it is, and what can only be read.

use std::fs;
use std::os::unix::fs::PermissionsExt as _;
use std::os::unix::process::CommandExt as _;
use std::path::{Path, PathBuf};
use std::process::Command;

use chalkhand::store::{Store, StoreError, newest_known};
use rusqlite::Connection;

use crate::drafts::note;
use crate::store::{Disk, fresh, keys};

/// Files in a folder with their bytes, less the lock, which holds nothing.
fn contents(folder: &Path) -> Vec<(PathBuf, Vec<u8>)> {
    let files = fs::read_dir(folder).unwrap().map(|file| file.unwrap().path());
    let files = files.filter(|path| path.extension().is_none_or(|kind| kind != "lock"));
    let mut files: Vec<_> = files.map(|path| (path.clone(), fs::read(path).unwrap())).collect();
    files.sort();
    files
}

/// Opening is refused with these words and leaves every file as it is.
fn refused(folder: &Path, words: &[&str]) {
    let before = contents(folder);
    let error = Store::open(&folder.join("log.db")).unwrap_err();
    let text = format!("{:#}", anyhow::Error::from(error));
    for word in words {
        assert!(text.contains(word), "`{word}` is not in: {text}");
    }
    assert!(contents(folder) == before, "the refused file was touched: {text}");
}

#[test]
fn a_newer_log_is_left_as_it_is() {
    let (folder, mut store) = fresh();
    store.append(&note("J-1", "a"), None).unwrap();
    let newer = "insert into refinery_schema_history select 99, 'later', applied_on, checksum
                 from refinery_schema_history where version = 1";
    assert_eq!(store.raw().execute(newer, []).unwrap(), 1);
    drop(store);
    let known = newest_known().to_string();
    refused(folder.path(), &["version 99", &known, "left as it is", "use the newer program"]);
    assert_eq!(contents(folder.path()).len(), 1, "nothing lies beside the file");
}

/// The newer program still has it open, so part of it is in its `-wal`.
#[test]
fn a_newer_log_in_use_is_left_as_it_is() {
    let (folder, store) = fresh();
    let newer = "insert into refinery_schema_history select 99, 'later', applied_on, checksum
                 from refinery_schema_history where version = 1";
    store.raw().execute(newer, []).unwrap();
    let before = contents(folder.path());
    let error = Store::open(&folder.path().join("log.db")).unwrap_err();
    assert!(matches!(error, StoreError::TooNew { found: 99, .. }), "{error:?}");
    let data = |files: &[(PathBuf, Vec<u8>)]| -> Vec<_> {
        files.iter().filter(|(path, _)| !path.ends_with("log.db-shm")).cloned().collect()
    };
    assert!(data(&contents(folder.path())) == data(&before), "the file or its -wal was touched");
}

#[test]
fn what_is_not_a_log_is_left_as_it_is() {
    let words = ["is not a chalkhand log", "left as it is", "name another folder"];
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("log.db");
    fs::write(&path, "Dear owner, here is the invoice. ".repeat(100)).unwrap();
    refused(folder.path(), &words);
    fs::write(&path, "short").unwrap();
    refused(folder.path(), &words);
    fs::remove_file(&path).unwrap();
    let other = Connection::open(&path).unwrap();
    other.execute_batch("create table recipe (id integer primary key)").unwrap();
    drop(other);
    refused(folder.path(), &words);
    let other = Connection::open(&path).unwrap();
    other
        .execute_batch(
            "pragma journal_mode = wal;
             create table refinery_schema_history
             (version int4 primary key, name text, applied_on text, checksum text);
             insert into refinery_schema_history values (1, 'recipes', 'never', '1')",
        )
        .unwrap();
    drop(other);
    refused(folder.path(), &words);
    let other = Connection::open(&path).unwrap();
    other.execute_batch("delete from refinery_schema_history").unwrap();
    drop(other);
    refused(folder.path(), &words);
    fs::remove_file(&path).unwrap();
    fs::create_dir(&path).unwrap();
    let error = Store::open(&path).unwrap_err().to_string();
    assert!(words.iter().all(|word| error.contains(word)), "{error}");
    assert_eq!(fs::read_dir(folder.path()).unwrap().count(), 2, "the folder and the lock");
}

#[test]
fn an_empty_file_and_a_killed_start_become_a_log() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("log.db");
    fs::write(&path, "").unwrap();
    Store::open(&path).unwrap().append(&note("J-1", "a"), None).unwrap();
    assert_eq!(keys(&Store::open(&path).unwrap()), ["a"]);
    // A start that was killed between making its history and the first migration.
    let path = folder.path().join("killed.db");
    let killed = Connection::open(&path).unwrap();
    killed
        .execute_batch(
            "create table refinery_schema_history (version int4 primary key,
             name varchar(255), applied_on varchar(255), checksum varchar(255))",
        )
        .unwrap();
    drop(killed);
    Store::open(&path).unwrap().append(&note("J-1", "a"), None).unwrap();
    let odd = folder.path().join("a folder #1 ?x=y 100%");
    fs::create_dir(&odd).unwrap();
    let path = odd.join("log é.db");
    Store::open(&path).unwrap().append(&note("J-1", "a"), None).unwrap();
    assert_eq!(keys(&Store::open(&path).unwrap()), ["a"]);
    assert_eq!(fs::read_dir(&odd).unwrap().count(), 2, "the log and the lock");
}

#[test]
fn a_folder_that_is_not_there_is_said() {
    let folder = tempfile::tempdir().unwrap();
    let error = Store::open(&folder.path().join("gone/log.db")).unwrap_err();
    assert!(matches!(error, StoreError::Folder { .. }), "{error:?}");
    assert!(error.to_string().contains("--data"), "{error}");
}

/// Each page in turn is overwritten; the log is refused as damaged, or what it
/// still reads is checked as before. It never says less than was logged.
#[test]
fn a_damaged_page_is_never_read_as_good() {
    let (folder, mut store) = fresh();
    for n in 0..60 {
        store.append(&note("J-1", &format!("{n}")), None).unwrap();
    }
    let sound = store.check_chain().unwrap();
    drop(store);
    let path = folder.path().join("log.db");
    let bytes = fs::read(&path).unwrap();
    let page = usize::from(u16::from_be_bytes([bytes[16], bytes[17]]));
    let mut damaged = 0;
    for start in (0..bytes.len()).step_by(page) {
        let mut broken = bytes.clone();
        broken[start + 8..start + page].fill(0x5a);
        fs::write(&path, &broken).unwrap();
        match Store::open(&path).and_then(|store| store.check_chain()) {
            Ok(head) => assert_eq!(head, sound, "page at {start}"),
            Err(StoreError::Damaged { .. }) => damaged += 1,
            Err(StoreError::NotALog { .. }) => assert_eq!(start, 0, "only the first page says so"),
            Err(error) => panic!("page at {start}: {error:?}"),
        }
    }
    assert!(3 < damaged, "only {damaged} pages were found damaged");
}

const BODY: &str = "CHALKHAND_TEST_FOLDER";

/// Runs the body in this process, or, where permissions do not bind this user,
/// in the same test run again by a user they do bind.
fn as_a_plain_user(test: &str, prepare: impl Fn(&Path), body: impl Fn(&Path)) {
    if let Some(folder) = std::env::var_os(BODY) {
        return body(Path::new(&folder));
    }
    let outer = tempfile::tempdir().unwrap();
    fs::set_permissions(outer.path(), fs::Permissions::from_mode(0o755)).unwrap();
    let folder = outer.path().join("data");
    fs::create_dir(&folder).unwrap();
    prepare(&folder);
    let probe = outer.path().join("probe");
    fs::write(&probe, "").unwrap();
    fs::set_permissions(&probe, fs::Permissions::from_mode(0o444)).unwrap();
    if fs::OpenOptions::new().write(true).open(&probe).is_err() {
        body(&folder);
    } else {
        let program = outer.path().join("it");
        // Copied by another process: a child of another test that inherits a
        // file open for writing would keep this one from being started.
        let this = std::env::current_exe().unwrap();
        assert!(Command::new("cp").arg(this).arg(&program).status().unwrap().success());
        let nobody = 65_534;
        let run = Command::new(program)
            .args(["--exact", test])
            .env(BODY, &folder)
            .uid(nobody)
            .gid(nobody)
            .current_dir("/")
            .output()
            .unwrap();
        assert!(run.status.success(), "{}", String::from_utf8_lossy(&run.stdout));
        assert!(String::from_utf8_lossy(&run.stdout).contains("1 passed"), "{run:?}");
    }
    fs::set_permissions(&folder, fs::Permissions::from_mode(0o755)).unwrap();
}

fn a_log_in(folder: &Path) -> PathBuf {
    let path = folder.join("log.db");
    Store::open(&path).unwrap().append(&note("J-1", "a"), None).unwrap();
    path
}

fn mode(path: &Path, mode: u32) {
    fs::set_permissions(path, fs::Permissions::from_mode(mode)).unwrap();
}

/// It can be read; writing says that it cannot, and what to do.
fn only_readable(path: &Path) {
    let mut store = Store::open(path).unwrap();
    assert_eq!(keys(&store), ["a"]);
    let error = store.append(&note("J-1", "b"), None).unwrap_err();
    assert!(matches!(error, StoreError::ReadOnly { .. }), "{error:?}");
    assert!(error.to_string().contains("nothing was logged; make it writable"), "{error}");
    assert_eq!(keys(&store), ["a"]);
}

#[test]
fn a_read_only_file_can_be_read_and_says_so() {
    let prepare = |folder: &Path| {
        mode(&a_log_in(folder), 0o444);
        mode(folder, 0o777);
    };
    let test = "store_open::a_read_only_file_can_be_read_and_says_so";
    as_a_plain_user(test, prepare, |folder| only_readable(&folder.join("log.db")));
}

#[test]
fn a_read_only_folder_can_be_read_and_says_so() {
    let prepare = |folder: &Path| {
        mode(&a_log_in(folder), 0o666);
        mode(folder, 0o555);
    };
    let test = "store_open::a_read_only_folder_can_be_read_and_says_so";
    as_a_plain_user(test, prepare, |folder| {
        only_readable(&folder.join("log.db"));
        let error = Store::open(&folder.join("new.db")).unwrap_err();
        assert!(matches!(error, StoreError::Folder { .. }), "{error:?}");
        assert!(error.to_string().contains("make it writable or name another"), "{error}");
    });
}

#[test]
fn a_file_that_may_not_be_read_is_said() {
    let prepare = |folder: &Path| {
        mode(&a_log_in(folder), 0o000);
        mode(folder, 0o777);
    };
    let test = "store_open::a_file_that_may_not_be_read_is_said";
    as_a_plain_user(test, prepare, |folder| {
        let error = Store::open(&folder.join("log.db")).unwrap_err();
        let text = format!("{:#}", anyhow::Error::from(error));
        assert!(text.contains("log.db` refused to be"), "{text}");
    });
}

#[test]
fn a_read_only_disk_can_be_read_and_says_so() {
    let Some(disk) = Disk::new("size=4m") else { return };
    let path = a_log_in(disk.path());
    disk.remount("ro");
    only_readable(&path);
    let error = Store::open(&disk.path().join("new.db")).unwrap_err();
    assert!(matches!(error, StoreError::Folder { .. }), "{error:?}");
    let older = disk.path().join("older.db");
    disk.remount("rw");
    fs::write(&older, "").unwrap();
    disk.remount("ro");
    let error = Store::open(&older).unwrap_err();
    assert!(matches!(error, StoreError::ReadOnly { .. }), "{error:?}");
}
