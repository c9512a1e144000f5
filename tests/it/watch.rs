//! Watching a real folder, in every way a file gets saved.

use std::fs;
use std::path::{Path, PathBuf};
use std::sync::mpsc::{Receiver, RecvTimeoutError, channel};
use std::thread::sleep;
use std::time::{Duration, Instant};

use chalkhand::watch::{Seen, Watch, watch};
use notify::event::{AccessKind, EventKind};
use notify::{RecursiveMode, Watcher};

/// Longest a report may take on a busy machine.
const PATIENCE: Duration = Duration::from_secs(10);
/// After this much quiet nothing more is coming.
const QUIET: Duration = Duration::from_millis(700);

struct Folder {
    root: tempfile::TempDir,
    seen: Receiver<Seen>,
    watch: Option<Watch>,
}

/// A watched folder with these files in it, whose start has been reported.
fn folder(files: &[(&str, &str)]) -> Folder {
    let root = tempfile::tempdir().unwrap();
    let path = root.path().join("lists");
    fs::create_dir(&path).unwrap();
    for (name, text) in files {
        fs::write(path.join(name), text).unwrap();
    }
    let (send, seen) = channel();
    let watch = watch(&[path], move |what| send.send(what).unwrap()).unwrap();
    let folder = Folder { root, seen, watch: Some(watch) };
    let tomls = files.iter().filter(|(name, _)| name.ends_with(".toml") && !name.starts_with('.'));
    for (name, text) in tomls {
        let first = folder.seen.recv_timeout(PATIENCE).unwrap();
        assert_eq!(first, folder.changed(name, text), "by name, at the start");
    }
    folder
}

impl Folder {
    fn path(&self, name: &str) -> PathBuf {
        self.root.path().join("lists").join(name)
    }

    fn changed(&self, name: &str, text: &str) -> Seen {
        Seen::Changed { path: self.path(name), text: text.to_owned() }
    }

    fn gone(&self, name: &str) -> Seen {
        Seen::Gone { path: self.path(name) }
    }

    /// Waits for a report, passing by those of states in between.
    fn expect(&self, wanted: &Seen) {
        let until = Instant::now() + PATIENCE;
        let mut passed = Vec::new();
        while let Ok(seen) = self.seen.recv_timeout(until.saturating_duration_since(Instant::now()))
        {
            if seen == *wanted {
                return;
            }
            passed.push(seen);
        }
        panic!("{wanted:?} did not come, but {passed:?}");
    }

    /// All that comes until it is quiet.
    fn rest(&self) -> Vec<Seen> {
        std::iter::from_fn(|| self.seen.recv_timeout(QUIET).ok()).collect()
    }
}

type Save = fn(&Path, &str);

fn write_in_place(path: &Path, text: &str) {
    fs::write(path, text).unwrap();
}

fn rename_over(path: &Path, text: &str) {
    let temporary = path.with_file_name(".saving.tmp");
    fs::write(&temporary, text).unwrap();
    fs::rename(&temporary, path).unwrap();
}

fn with_backup(path: &Path, text: &str) {
    fs::rename(path, path.with_extension("toml~")).unwrap();
    fs::write(path, text).unwrap();
}

#[test]
fn everything_is_read_once_at_the_start() {
    let folder = folder(&[("a.toml", "a"), ("b.toml", "b"), (".hidden.toml", "h"), ("c.txt", "c")]);
    assert_eq!(folder.rest(), [], "each file once, others never");
}

#[test]
fn every_way_of_saving_is_one_report() {
    let ways: [(&str, Save); 3] =
        [("in place", write_in_place), ("rename over", rename_over), ("backup", with_backup)];
    for (way, save) in ways {
        let folder = folder(&[("a.toml", "0"), ("other.toml", "same")]);
        // Twice: a watch on the file itself would go deaf after a rename.
        for text in ["first", "second"] {
            save(&folder.path("a.toml"), text);
            assert_eq!(folder.rest(), [folder.changed("a.toml", text)], "{way}");
        }
        write_in_place(&folder.path("a.toml"), "second");
        assert_eq!(folder.rest(), [], "{way}: the same words again are no change");
    }
}

#[test]
fn new_and_removed_files() {
    let folder = folder(&[]);
    write_in_place(&folder.path("a.toml"), "new");
    write_in_place(&folder.path("a.toml.bak"), "not a list");
    // On a busy machine the file may be seen before it is written.
    let seen = folder.rest();
    assert_eq!(seen.last(), Some(&folder.changed("a.toml", "new")), "{seen:?}");
    assert!(!format!("{seen:?}").contains(".bak"), "{seen:?}");
    fs::rename(folder.path("a.toml"), folder.path("b.toml")).unwrap();
    assert_eq!(folder.rest(), [folder.changed("b.toml", "new"), folder.gone("a.toml")]);
    fs::remove_file(folder.path("b.toml")).unwrap();
    assert_eq!(folder.rest(), [folder.gone("b.toml")]);
}

#[test]
fn a_burst_ends_with_its_last_word() {
    let folder = folder(&[("a.toml", "0")]);
    for n in 1..=50 {
        write_in_place(&folder.path("a.toml"), &format!("write {n}"));
        sleep(Duration::from_millis(10));
    }
    let seen = folder.rest();
    assert_eq!(seen.last(), Some(&folder.changed("a.toml", "write 50")));
    assert!(seen.len() <= 2, "{} reports of one burst", seen.len());
}

#[test]
fn a_folder_made_again_is_watched_again() {
    let folder = folder(&[("a.toml", "old")]);
    for round in 0..3 {
        fs::remove_dir_all(folder.path("")).unwrap();
        if round != 1 {
            folder.expect(&folder.gone("a.toml"));
        }
        fs::create_dir(folder.path("")).unwrap();
        let text = format!("round {round}");
        write_in_place(&folder.path("a.toml"), &text);
        folder.expect(&folder.changed("a.toml", &text));
        // And later changes are seen too, not only the first look.
        let text = format!("round {round}, later");
        folder.rest();
        write_in_place(&folder.path("a.toml"), &text);
        folder.expect(&folder.changed("a.toml", &text));
    }
    // Moved away and replaced by another of the same name.
    fs::rename(folder.path(""), folder.root.path().join("away")).unwrap();
    fs::create_dir(folder.path("")).unwrap();
    write_in_place(&folder.path("a.toml"), "another folder");
    folder.expect(&folder.changed("a.toml", "another folder"));
    folder.rest();
    write_in_place(&folder.path("a.toml"), "and later");
    folder.expect(&folder.changed("a.toml", "and later"));
}

/// No event of a watched folder says that a folder above it was replaced.
#[test]
fn a_folder_replaced_from_above_is_watched_again() {
    let root = tempfile::tempdir().unwrap();
    let (outer, path) = (root.path().join("outer"), root.path().join("outer/lists"));
    fs::create_dir_all(&path).unwrap();
    let (send, seen) = channel();
    let _watch = watch(std::slice::from_ref(&path), move |what| send.send(what).unwrap()).unwrap();
    assert_eq!(seen.recv_timeout(QUIET).ok(), None);
    fs::rename(&outer, root.path().join("away")).unwrap();
    fs::create_dir_all(&path).unwrap();
    let file = path.join("a.toml");
    for text in ["another folder", "and later"] {
        write_in_place(&file, text);
        let wanted = Seen::Changed { path: file.clone(), text: text.to_owned() };
        assert_eq!(seen.recv_timeout(PATIENCE), Ok(wanted));
    }
}

/// Looking at a folder must not cause the next look.
#[test]
fn a_folder_at_rest_is_left_alone() {
    let folder = folder(&[("a.toml", "0")]);
    write_in_place(&folder.path("a.toml"), "1");
    folder.expect(&folder.changed("a.toml", "1"));
    sleep(QUIET);
    let (opened, opens) = channel();
    let mut spy = notify::recommended_watcher(move |event: notify::Result<notify::Event>| {
        if matches!(event.unwrap().kind, EventKind::Access(AccessKind::Open(_))) {
            opened.send(()).unwrap();
        }
    })
    .unwrap();
    spy.watch(&folder.path("a.toml"), RecursiveMode::NonRecursive).unwrap();
    sleep(Duration::from_secs(2));
    assert_eq!(opens.try_iter().count(), 0, "somebody keeps reading");
    fs::read(folder.path("a.toml")).unwrap();
    assert_eq!(opens.recv_timeout(PATIENCE), Ok(()), "the spy sees who reads");
}

#[test]
fn a_folder_need_not_be_there_yet() {
    let root = tempfile::tempdir().unwrap();
    let path = root.path().join("late");
    let (send, seen) = channel();
    let _watch = watch(std::slice::from_ref(&path), move |what| send.send(what).unwrap()).unwrap();
    assert_eq!(seen.recv_timeout(QUIET).ok(), None);
    fs::create_dir(&path).unwrap();
    let file = path.join("a.toml");
    write_in_place(&file, "late");
    let wanted = Seen::Changed { path: file, text: "late".to_owned() };
    assert_eq!(seen.recv_timeout(PATIENCE).unwrap(), wanted);
}

#[test]
fn what_cannot_be_read_is_said_once() {
    let folder = folder(&[("a.toml", "fine")]);
    let unreadable =
        |reason: &str| Seen::Unreadable { path: folder.path("a.toml"), reason: reason.to_owned() };
    fs::write(folder.path("a.toml"), [0xff, 0xfe, b'x']).unwrap();
    assert_eq!(folder.rest(), [unreadable("not UTF-8 text")]);
    write_in_place(&folder.path("b.toml"), "another");
    assert_eq!(folder.rest(), [folder.changed("b.toml", "another")], "not said twice");
    write_in_place(&folder.path("a.toml"), "fine again");
    assert_eq!(folder.rest(), [folder.changed("a.toml", "fine again")]);
    let most = 1 << 20;
    write_in_place(&folder.path("a.toml"), &"x".repeat(most + 1));
    assert_eq!(folder.rest(), [unreadable("larger than 1048576 bytes")]);
    let whole = "x".repeat(most);
    write_in_place(&folder.path("a.toml"), &whole);
    assert_eq!(folder.rest(), [folder.changed("a.toml", &whole)]);
    fs::remove_file(folder.path("a.toml")).unwrap();
    fs::create_dir(folder.path("a.toml")).unwrap();
    assert_eq!(folder.rest(), [folder.gone("a.toml")], "a folder is no list");
}

#[test]
fn dropping_stops_it() {
    let mut folder = folder(&[("a.toml", "0")]);
    folder.watch = None;
    write_in_place(&folder.path("a.toml"), "unseen");
    let after = folder.seen.recv_timeout(QUIET);
    assert_eq!(after, Err(RecvTimeoutError::Disconnected), "whoever was told is let go of");
}

/// Even in the middle of telling about many files.
#[test]
fn dropping_stops_it_halfway() {
    let root = tempfile::tempdir().unwrap();
    for name in ["a.toml", "b.toml", "c.toml"] {
        fs::write(root.path().join(name), name).unwrap();
    }
    let (send, seen) = channel();
    let (open, gate) = channel::<()>();
    let watch = watch(&[root.path().to_owned()], move |what| {
        send.send(what).unwrap();
        gate.recv().unwrap();
    })
    .unwrap();
    seen.recv_timeout(PATIENCE).unwrap();
    drop(watch);
    for _ in 0..3 {
        // The other side may be gone already, which is what is wanted.
        open.send(()).ok();
    }
    assert_eq!(seen.recv_timeout(PATIENCE), Err(RecvTimeoutError::Disconnected));
}
