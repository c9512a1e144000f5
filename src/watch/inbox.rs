//! The inbox of photos watched: which file came and is whole, which is gone. What
//! is in a file is not looked at here, and nothing is written.
//!
//! A file counts as whole once it has stayed the same for a while: copies over a
//! slow network come in pieces. One that changes afterwards is told once more.

use std::collections::BTreeMap;
use std::fs;
use std::os::unix::fs::MetadataExt as _;
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::mpsc::{Receiver, RecvTimeoutError};
use std::time::{Duration, Instant, SystemTime};

use notify::{RecommendedWatcher, RecursiveMode, Watcher as _};

use super::{Identity, Wake, Watch, WatchError, begin, identity};

/// How long a file has to stay the same.
const SETTLED: Duration = Duration::from_millis(1_000);
/// How often files that may still change are looked at.
const LOOK: Duration = Duration::from_millis(250);
/// How often the folder is looked at where no event comes: not every disk has any.
const IDLE: Duration = Duration::from_secs(5);

/// What happened to a file.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Dropped {
    /// It is whole, as far as can be told from outside.
    Whole(PathBuf),
    /// It was told as whole and is not there any more.
    Gone(PathBuf),
}

/// Watches the files right in a folder and in the folders right in it, but for the
/// one called `not`. What is there is told once at the start. The folder need not
/// exist yet.
///
/// # Errors
///
/// When the system gives no watcher or no thread.
pub fn watch_inbox(
    folder: &Path,
    not: &str,
    send: impl FnMut(Dropped) + Send + 'static,
) -> Result<Watch, WatchError> {
    let (folder, not) = (folder.to_owned(), not.to_owned());
    begin("inbox", move |watcher, stop, woken| {
        let (armed, known) = (None, BTreeMap::new());
        Worker { folder, not, armed, known, watcher, stop, send }.run(woken);
    })
}

/// What tells a file from another or from itself later.
type Stamp = (u64, u64, Option<SystemTime>);

struct File {
    stamp: Stamp,
    since: Instant,
    told: bool,
}

struct Worker<F> {
    folder: PathBuf,
    not: String,
    armed: Option<Identity>,
    known: BTreeMap<PathBuf, File>,
    watcher: RecommendedWatcher,
    stop: Arc<AtomicBool>,
    send: F,
}

impl<F: FnMut(Dropped)> Worker<F> {
    fn run(&mut self, woken: &Receiver<Wake>) {
        let mut pause = LOOK;
        self.arm();
        self.look();
        while !self.stop.load(Ordering::Acquire) {
            match woken.recv_timeout(pause) {
                Ok(Wake::Stop) | Err(RecvTimeoutError::Disconnected) => return,
                // A burst of events is one look.
                Ok(Wake::Event(_)) => pause = LOOK,
                Err(RecvTimeoutError::Timeout) => {
                    self.arm();
                    pause = if self.look() { LOOK } else { IDLE };
                }
            }
        }
    }

    fn arm(&mut self) {
        let now = identity(&self.folder);
        if now == self.armed {
            return;
        }
        // Fails when the old watch ended by itself, which is as good.
        self.watcher.unwatch(&self.folder).ok();
        let watched = self.watcher.watch(&self.folder, RecursiveMode::Recursive);
        self.armed = now.filter(|_| watched.is_ok());
    }

    /// Tells what is whole and what is gone; whether any file may still change.
    fn look(&mut self) -> bool {
        let Some(files) = files(&self.folder, &self.not) else {
            // What cannot be read is unknown rather than gone.
            return false;
        };
        let gone: Vec<PathBuf> =
            self.known.keys().filter(|path| !files.contains_key(*path)).cloned().collect();
        for path in gone {
            if self.known.remove(&path).is_some_and(|file| file.told) {
                self.send(Dropped::Gone(path));
            }
        }
        let mut unsettled = false;
        for (path, stamp) in files {
            let fresh = || File { stamp, since: Instant::now(), told: false };
            let file = self.known.entry(path.clone()).or_insert_with(fresh);
            if file.stamp != stamp {
                *file = fresh();
            }
            if file.told {
                continue;
            }
            if file.since.elapsed() < SETTLED {
                unsettled = true;
                continue;
            }
            file.told = true;
            self.send(Dropped::Whole(path));
        }
        unsettled
    }

    fn send(&mut self, dropped: Dropped) {
        if !self.stop.load(Ordering::Acquire) {
            (self.send)(dropped);
        }
    }
}

/// The files that count, by name; none where the folder cannot be read.
fn files(folder: &Path, not: &str) -> Option<BTreeMap<PathBuf, Stamp>> {
    let mut found = BTreeMap::new();
    let mut folders = vec![(folder.to_owned(), true)];
    while let Some((folder, is_top)) = folders.pop() {
        for entry in fs::read_dir(&folder).ok()? {
            let path = entry.ok()?.path();
            let name = path.file_name().unwrap_or_default().to_string_lossy().into_owned();
            if is_unfinished(&name) {
                continue;
            }
            // A link may lead anywhere, a pipe blocks whoever reads it.
            let Ok(file) = fs::symlink_metadata(&path) else { continue };
            if file.is_dir() && is_top && name != not {
                folders.push((path, false));
            } else if file.is_file() {
                found.insert(path, (file.ino(), file.len(), file.modified().ok()));
            }
        }
    }
    Some(found)
}

/// Names that programs give to what they have not finished, and hidden ones.
fn is_unfinished(name: &str) -> bool {
    let ending = name.rsplit_once('.').map_or("", |(_, ending)| ending);
    name.starts_with(['.', '#', '~'])
        || name.ends_with('~')
        || ["part", "partial", "tmp", "crdownload"].contains(&ending)
}
