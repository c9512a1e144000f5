//! Folders of TOML files watched: what changed, is gone or cannot be read.
//! Knows nothing of what the files mean, and never writes.
//!
//! An event of the system only wakes a look at the whole folder, after a moment
//! of quiet; what is reported is the difference to what was seen before. So no
//! way of saving a file can be missed, and a burst of writes is one change.

mod inbox;

use std::collections::{BTreeMap, BTreeSet};
use std::fs;
use std::io::{ErrorKind, Read};
use std::os::unix::fs::MetadataExt;
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::mpsc::{Receiver, RecvTimeoutError, Sender, channel};
use std::thread;
use std::time::{Duration, Instant, SystemTime};

use notify::event::{AccessKind, AccessMode, EventKind};
use notify::{Event, RecommendedWatcher, RecursiveMode, Watcher};

use crate::domain::Hash;

pub use inbox::{Dropped, watch_inbox};

/// Quiet that ends a burst of writes.
const QUIET: Duration = Duration::from_millis(150);
/// Longest a burst can put off the look at the folder.
const LONGEST_BURST: Duration = Duration::from_secs(2);
/// How often it is checked that each folder is still the one being watched.
const CHECK: Duration = Duration::from_secs(1);
/// The same while a folder is not there or cannot be watched.
const CHECK_UNARMED: Duration = Duration::from_millis(250);
/// Largest file read, in bytes.
const MOST_BYTES: u64 = crate::files::MOST_BYTES as u64;

/// What was seen of one file.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Seen {
    /// It is new or says something else than before.
    Changed {
        /// The file.
        path: PathBuf,
        /// Its whole text.
        text: String,
    },
    /// It was there before and is not any more.
    Gone {
        /// The file.
        path: PathBuf,
    },
    /// It, or its folder, is there but cannot be read.
    Unreadable {
        /// The file or folder.
        path: PathBuf,
        /// Why, for a person.
        reason: String,
    },
}

/// Why watching cannot start.
#[derive(Debug, thiserror::Error)]
pub enum WatchError {
    /// The system has no more watches or threads to give.
    #[error("cannot watch folders for changes")]
    System(#[source] notify::Error),
    /// The thread that reads the folders could not start.
    #[error("cannot start the thread that watches folders")]
    Thread(#[source] std::io::Error),
}

/// Watching goes on until this is dropped.
#[derive(Debug)]
pub struct Watch {
    stop: Arc<AtomicBool>,
    wake: Sender<Wake>,
}

impl Drop for Watch {
    /// Nothing is sent once this returns, but for what is being sent right
    /// then: waiting for that could lock up with the one who receives it.
    fn drop(&mut self) {
        self.stop.store(true, Ordering::Release);
        // A thread that is gone already needs no waking.
        self.wake.send(Wake::Stop).ok();
    }
}

#[derive(Debug)]
enum Wake {
    /// Something happened; the folder of this path itself may be another now.
    Event(Vec<PathBuf>),
    Stop,
}

/// Watches the `*.toml` files right in these folders. Everything there is sent
/// once at the start. A folder need not exist yet.
///
/// # Errors
///
/// When the system gives no watcher or no thread.
pub fn watch(
    folders: &[PathBuf],
    send: impl Fn(Seen) + Send + 'static,
) -> Result<Watch, WatchError> {
    let folders = folders.iter().map(|path| Folder { path: path.clone(), armed: None }).collect();
    let known = BTreeMap::new();
    begin("watch", move |watcher, stop, woken| {
        Worker { folders, known, watcher, stop, send }.run(woken);
    })
}

/// Begins to watch: `run` has a thread of its own, is woken by events and ends once
/// it is told to stop.
fn begin(
    thread: &str,
    run: impl FnOnce(RecommendedWatcher, Arc<AtomicBool>, &Receiver<Wake>) + Send + 'static,
) -> Result<Watch, WatchError> {
    let (wake, woken) = channel();
    let (tell, stop) = (wake.clone(), Arc::new(AtomicBool::new(false)));
    let watcher = notify::recommended_watcher(move |event: notify::Result<Event>| {
        let paths = match event {
            Ok(event) if !matters(&event) => return,
            Ok(event) => event.paths,
            Err(error) => error.paths,
        };
        tell.send(Wake::Event(paths)).ok();
    })
    .map_err(WatchError::System)?;
    let stopped = Arc::clone(&stop);
    thread::Builder::new()
        .name(thread.to_owned())
        .spawn(move || run(watcher, stopped, &woken))
        .map_err(WatchError::Thread)?;
    Ok(Watch { stop, wake })
}

/// Whether an event can mean another content. Opening and reading cannot, and
/// waking for them would have every look at a folder cause the next.
fn matters(event: &Event) -> bool {
    match event.kind {
        EventKind::Access(AccessKind::Close(AccessMode::Write)) => true,
        EventKind::Access(_) => false,
        _ => true,
    }
}

struct Folder {
    path: PathBuf,
    /// Which folder of that name is watched.
    armed: Option<Identity>,
}

/// Tells a folder from a later one of the same name, which may be given the
/// same inode.
type Identity = (u64, u64, Option<SystemTime>);

/// What a file said when it was last looked at.
#[derive(PartialEq, Eq)]
enum State {
    Text(Hash),
    Unreadable(String),
}

struct Worker<F> {
    folders: Vec<Folder>,
    known: BTreeMap<PathBuf, State>,
    watcher: RecommendedWatcher,
    stop: Arc<AtomicBool>,
    send: F,
}

impl<F: Fn(Seen)> Worker<F> {
    fn run(&mut self, woken: &Receiver<Wake>) {
        self.arm();
        self.look();
        while !self.stop.load(Ordering::Acquire) {
            let unarmed = self.folders.iter().any(|folder| folder.armed.is_none());
            let pause = if unarmed { CHECK_UNARMED } else { CHECK };
            match woken.recv_timeout(pause) {
                Ok(Wake::Event(paths)) => {
                    self.disarm(&paths);
                    if !self.wait_for_quiet(woken) {
                        return;
                    }
                    self.arm();
                    self.look();
                }
                Ok(Wake::Stop) | Err(RecvTimeoutError::Disconnected) => return,
                Err(RecvTimeoutError::Timeout) => {
                    // A folder that cannot be watched is polled.
                    let armed_anew = self.arm();
                    if armed_anew || unarmed {
                        self.look();
                    }
                }
            }
        }
    }

    /// Waits until a burst is over; false when watching stops meanwhile.
    fn wait_for_quiet(&mut self, woken: &Receiver<Wake>) -> bool {
        let started = Instant::now();
        while started.elapsed() < LONGEST_BURST {
            match woken.recv_timeout(QUIET) {
                Ok(Wake::Event(paths)) => self.disarm(&paths),
                Ok(Wake::Stop) | Err(RecvTimeoutError::Disconnected) => return false,
                Err(RecvTimeoutError::Timeout) => return true,
            }
        }
        true
    }

    /// An event about a folder itself may be its end, so it is watched anew.
    fn disarm(&mut self, paths: &[PathBuf]) {
        for folder in self.folders.iter_mut().filter(|folder| paths.contains(&folder.path)) {
            folder.armed = None;
        }
    }

    /// Watches each folder that is not watched or is another one by now; true
    /// if there was one.
    fn arm(&mut self) -> bool {
        let mut anew = false;
        for folder in &mut self.folders {
            let now = identity(&folder.path);
            if now == folder.armed && now.is_some() {
                continue;
            }
            anew |= now.is_some() || folder.armed.is_some();
            // Fails when the old watch ended by itself, which is as good.
            self.watcher.unwatch(&folder.path).ok();
            let watched = self.watcher.watch(&folder.path, RecursiveMode::NonRecursive);
            folder.armed = now.filter(|_| watched.is_ok());
        }
        anew
    }

    /// Reads all folders and reports what is different from before.
    fn look(&mut self) {
        let mut here = BTreeSet::new();
        for folder in self.folders.iter().map(|folder| folder.path.clone()).collect::<Vec<_>>() {
            match toml_files(&folder) {
                Ok(files) => {
                    for path in files {
                        if let Some(read) = read(&path) {
                            here.insert(path.clone());
                            self.report(path, read);
                        }
                    }
                }
                Err(error) if error.kind() == ErrorKind::NotFound => {}
                Err(error) => {
                    // What was in it is unknown rather than gone.
                    let inside = self.known.keys().filter(|path| path.parent() == Some(&folder));
                    here.extend(inside.cloned());
                    here.insert(folder.clone());
                    self.report(folder, Err(error.to_string()));
                }
            }
        }
        let gone: Vec<PathBuf> =
            self.known.keys().filter(|path| !here.contains(*path)).cloned().collect();
        for path in gone {
            let state = self.known.remove(&path);
            // A folder is only known while it cannot be read.
            if state.is_some() && !self.folders.iter().any(|folder| folder.path == path) {
                self.send(Seen::Gone { path });
            }
        }
    }

    fn report(&mut self, path: PathBuf, read: Result<String, String>) {
        let state = match &read {
            Ok(text) => State::Text(Hash::of(text.as_bytes())),
            Err(reason) => State::Unreadable(reason.clone()),
        };
        if self.known.get(&path) == Some(&state) {
            return;
        }
        self.known.insert(path.clone(), state);
        self.send(match read {
            Ok(text) => Seen::Changed { path, text },
            Err(reason) => Seen::Unreadable { path, reason },
        });
    }

    fn send(&self, seen: Seen) {
        if !self.stop.load(Ordering::Acquire) {
            (self.send)(seen);
        }
    }
}

fn identity(folder: &Path) -> Option<Identity> {
    let metadata = fs::metadata(folder).ok().filter(fs::Metadata::is_dir)?;
    Some((metadata.dev(), metadata.ino(), metadata.created().ok()))
}

/// The TOML files right in a folder, by name, without hidden and backup files.
fn toml_files(folder: &Path) -> std::io::Result<Vec<PathBuf>> {
    let mut files = Vec::new();
    for entry in fs::read_dir(folder)? {
        let path = entry?.path();
        let name = path.file_name().map(|name| name.to_string_lossy().into_owned());
        let plain = name.is_some_and(|name| !name.starts_with(['.', '#', '~']));
        let toml = path.extension().is_some_and(|extension| extension == "toml");
        // A pipe would block whoever reads it.
        if plain && toml && !fs::metadata(&path).is_ok_and(|metadata| !metadata.is_file()) {
            files.push(path);
        }
    }
    files.sort();
    Ok(files)
}

/// The text of a file, or why it cannot be read; nothing if it went away.
fn read(path: &Path) -> Option<Result<String, String>> {
    let bytes = fs::File::open(path).and_then(|file| {
        let mut bytes = Vec::new();
        file.take(MOST_BYTES + 1).read_to_end(&mut bytes).map(|_| bytes)
    });
    Some(match bytes {
        Ok(bytes) if MOST_BYTES < u64::try_from(bytes.len()).unwrap_or(u64::MAX) => {
            Err(format!("larger than {MOST_BYTES} bytes"))
        }
        Ok(bytes) => String::from_utf8(bytes).map_err(|_| "not UTF-8 text".to_owned()),
        Err(error) if error.kind() == ErrorKind::NotFound => return None,
        Err(error) => Err(error.to_string()),
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn reading_wakes_nobody() {
        let event = |kind| Event::new(kind);
        assert!(!matters(&event(EventKind::Access(AccessKind::Open(AccessMode::Any)))));
        assert!(!matters(&event(EventKind::Access(AccessKind::Close(AccessMode::Read)))));
        assert!(matters(&event(EventKind::Access(AccessKind::Close(AccessMode::Write)))));
        assert!(matters(&event(EventKind::Remove(notify::event::RemoveKind::Folder))));
    }
}
