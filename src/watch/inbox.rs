//! The inbox of photos watched: which file came and is whole, which is gone. What
//! is in a file is not looked at here, and nothing is written.
//!
//! A file counts as whole once it has stayed the same for a while: copies over a
//! slow network come in pieces. One that changes afterwards is told once more, and
//! so is now and then one that is left where it lies: the log may know more by then.

use std::collections::{BTreeMap, BTreeSet};
use std::fs;
use std::os::unix::fs::MetadataExt as _;
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::mpsc::{Receiver, RecvTimeoutError};
use std::time::{Duration, Instant, SystemTime};

use notify::{RecommendedWatcher, RecursiveMode, Watcher as _};

use super::{Identity, LONGEST_BURST, Wake, Watch, WatchError, begin, identity};

/// How long a file has to stay the same.
const SETTLED: Duration = Duration::from_millis(1_000);
/// The longest time after which one that is left where it lies is told again.
const MOST_AGAIN: Duration = Duration::from_secs(24 * 60 * 60);
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
    /// A folder cannot be read: what lies in it is not looked at.
    Closed(PathBuf),
}

/// Watches the files right in a folder and in the folders right in it, but for the
/// one called `not`. What is there is told once at the start, and again after
/// `again`, then after twice as long, at most daily. The folder need not exist yet.
///
/// # Errors
///
/// When the system gives no watcher or no thread.
pub fn watch_inbox(
    folder: &Path,
    not: &str,
    again: Duration,
    send: impl FnMut(Dropped) + Send + 'static,
) -> Result<Watch, WatchError> {
    let (folder, not) = (folder.to_owned(), not.to_owned());
    begin("inbox", move |watcher, stop, woken| {
        let (armed, known, closed) = (None, BTreeMap::new(), BTreeSet::new());
        Worker { folder, not, again, armed, known, closed, watcher, stop, send }.run(woken);
    })
}

/// What tells a file from another or from itself later.
type Stamp = (u64, u64, Option<SystemTime>);

struct File {
    stamp: Stamp,
    since: Instant,
    /// When it was told, and how long after that it is told again.
    told: Option<(Instant, Duration)>,
}

struct Worker<F> {
    folder: PathBuf,
    not: String,
    again: Duration,
    armed: Option<Identity>,
    known: BTreeMap<PathBuf, File>,
    /// Folders that could not be read.
    closed: BTreeSet<PathBuf>,
    watcher: RecommendedWatcher,
    stop: Arc<AtomicBool>,
    send: F,
}

impl<F: FnMut(Dropped)> Worker<F> {
    fn run(&mut self, woken: &Receiver<Wake>) {
        let mut pause = LOOK;
        self.arm();
        self.look();
        let mut looked = Instant::now();
        while !self.stop.load(Ordering::Acquire) {
            match woken.recv_timeout(pause) {
                Ok(Wake::Stop) | Err(RecvTimeoutError::Disconnected) => return,
                // A burst of events is one look, however long it goes on.
                Ok(Wake::Event(_)) if looked.elapsed() < LONGEST_BURST => pause = LOOK,
                Ok(Wake::Event(_)) | Err(RecvTimeoutError::Timeout) => {
                    self.arm();
                    pause = if self.look() { LOOK } else { IDLE };
                    looked = Instant::now();
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
        let Seen { files, closed } = files(&self.folder, &self.not);
        for folder in closed.difference(&self.closed).cloned().collect::<Vec<_>>() {
            self.send(Dropped::Closed(folder));
        }
        // What cannot be read is unknown rather than gone.
        let unknown = |path: &Path| path.ancestors().any(|folder| closed.contains(folder));
        let is_gone = |path: &&PathBuf| !files.contains_key(*path) && !unknown(path);
        for path in self.known.keys().filter(is_gone).cloned().collect::<Vec<_>>() {
            if self.known.remove(&path).is_some_and(|file| file.told.is_some()) {
                self.send(Dropped::Gone(path));
            }
        }
        self.closed = closed;
        let mut unsettled = false;
        for (path, stamp) in files {
            let fresh = || File { stamp, since: Instant::now(), told: None };
            let file = self.known.entry(path.clone()).or_insert_with(fresh);
            if file.stamp != stamp {
                *file = fresh();
            }
            let again = match file.told {
                Some((told, again)) if told.elapsed() < again => continue,
                Some((_, again)) => MOST_AGAIN.min(again.saturating_mul(2)),
                None if file.since.elapsed() < SETTLED => {
                    unsettled = true;
                    continue;
                }
                None => self.again,
            };
            self.send(Dropped::Whole(path.clone()));
            // It may be gone or another by now: the next look sees that.
            if let Some(file) = self.known.get_mut(&path) {
                file.told = Some((Instant::now(), again));
            }
        }
        unsettled
    }

    fn send(&mut self, dropped: Dropped) {
        if !self.stop.load(Ordering::Acquire) {
            (self.send)(dropped);
        }
    }
}

/// What is there.
#[derive(Default)]
struct Seen {
    /// The files that count, by name.
    files: BTreeMap<PathBuf, Stamp>,
    /// Folders that cannot be read, or not whole.
    closed: BTreeSet<PathBuf>,
}

fn files(folder: &Path, not: &str) -> Seen {
    let mut seen = Seen::default();
    let mut folders = vec![(folder.to_owned(), true)];
    while let Some((folder, is_top)) = folders.pop() {
        let Ok(entries) = fs::read_dir(&folder) else {
            seen.closed.insert(folder);
            continue;
        };
        for entry in entries {
            let Ok(entry) = entry else {
                seen.closed.insert(folder.clone());
                continue;
            };
            let path = entry.path();
            let name = path.file_name().unwrap_or_default().to_string_lossy().into_owned();
            if is_unfinished(&name) {
                continue;
            }
            // A link may lead anywhere, a pipe blocks whoever reads it.
            let Ok(file) = fs::symlink_metadata(&path) else { continue };
            if file.is_dir() && is_top && name != not {
                folders.push((path, false));
            } else if file.is_file() {
                seen.files.insert(path, (file.ino(), file.len(), file.modified().ok()));
            }
        }
    }
    seen
}

/// Names that programs give to what they have not finished, and hidden ones.
fn is_unfinished(name: &str) -> bool {
    let ending = name.rsplit_once('.').map_or("", |(_, ending)| ending);
    name.starts_with(['.', '#', '~'])
        || name.ends_with('~')
        || ["part", "partial", "tmp", "crdownload"].contains(&ending)
}
