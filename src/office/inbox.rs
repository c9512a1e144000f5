//! Photos put into the inbox of the data folder: each is kept at the step that was
//! open when it was taken and moved to `taken`, or waits until somebody says where
//! it belongs. None is deleted, none is placed by a guess.

use std::collections::{BTreeMap, BTreeSet};
use std::fs::{self, File};
use std::io::Read as _;
use std::os::unix::fs::MetadataExt as _;
use std::path::{Path, PathBuf};
use std::sync::{Mutex, PoisonError};
use std::time::SystemTime;

use jiff::tz::TimeZone;
use jiff::{Timestamp, ToSpan as _};
use rustix::fs::{CWD, RenameFlags, renameat_with};

use super::photos::{self, Bringing, KeptAs, PhotoPlace};
use super::{OfficeError, Why, job, zone};
use crate::config::Config;
use crate::domain::{At, Hash, How, JobFile, StepRef, WalkId, open_steps};
use crate::measure::Functions;
use crate::photo::{self, Moment, NotAPhoto, Ready};
use crate::store::Store;

/// The folder of those that are kept.
pub const TAKEN: &str = "taken";

/// Who brings what nobody brings in person.
pub const BROUGHT_BY: &str = "photo inbox";

/// Names tried for a file whose name is taken.
const MOST_NAMES: u32 = 10_000;

/// A photo that waits.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Waiting {
    /// Names it in addresses.
    pub id: String,
    /// Where it lies in the inbox: `a.jpg`, `EX-0001/a.jpg`.
    pub name: String,
    /// The job, where its folder names one.
    pub job: Option<String>,
    /// When it was taken, where that is known.
    pub taken: Option<Moment>,
    /// Why it waits.
    pub why: WhyWaiting,
    /// SHA-256 of the file.
    pub sha256: Hash,
}

/// Why a photo waits.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum WhyWaiting {
    /// It is no photo that is kept.
    NotAPhoto(NotAPhoto),
    /// It does not say when it was taken, or the clock showed that time twice.
    NoTime,
    /// Its folder names a job that there is not.
    NoJob,
    /// No step was open then.
    NoneOpen,
    /// Several were.
    Several(Vec<(String, WalkId, StepRef)>),
    /// The disk or the log refused: why.
    NotKept(String),
    /// It is kept; only its file lies where it lay.
    NotMoved {
        /// The job that keeps it.
        job: String,
        /// The entry.
        seq: u64,
        /// Why it could not be moved.
        why: String,
    },
}

impl WhyWaiting {
    /// Whether somebody can say where it belongs.
    #[must_use]
    pub fn is_photo(&self) -> bool {
        !matches!(self, Self::NotAPhoto(_) | Self::NotMoved { .. })
    }
}

/// What became of a file.
#[derive(Clone, Debug, PartialEq)]
pub enum Became {
    /// It is kept and was moved.
    Kept {
        /// Where it belongs.
        place: PhotoPlace,
        /// The entry.
        seq: u64,
        /// Whether it was kept before.
        before: bool,
    },
    /// It waits.
    Waits(Waiting),
    /// It went away or is being written again.
    Gone,
}

/// What looking at files needs.
#[derive(Debug)]
pub struct Desk<'a> {
    /// The settings.
    pub config: &'a Config,
    /// The log.
    pub store: &'a mut Store,
    /// What formulas may call.
    pub functions: &'a Functions,
    /// Now, at a place.
    pub now: fn(&TimeZone) -> At,
}

/// The inbox: its folder, and what waits in it.
#[derive(Debug)]
pub struct Inbox {
    folder: PathBuf,
    waiting: Mutex<(u64, BTreeMap<String, Waiting>)>,
    /// Held while one is kept and moved: a photo has one place, whoever says it first.
    keeping: Mutex<()>,
}

/// A file as it is right now.
type Stamp = (u64, u64, u64, Option<SystemTime>);

impl Inbox {
    /// That folder, which need not be there yet.
    #[must_use]
    pub fn of(folder: PathBuf) -> Self {
        Self { folder, waiting: Mutex::default(), keeping: Mutex::default() }
    }

    /// What waits, by name, and a number that another list has not.
    #[must_use]
    pub fn waiting(&self) -> (u64, Vec<Waiting>) {
        let waiting = self.waiting.lock().unwrap_or_else(PoisonError::into_inner);
        (waiting.0, waiting.1.values().cloned().collect())
    }

    /// The one of that name in addresses.
    #[must_use]
    pub fn find(&self, id: &str) -> Option<Waiting> {
        self.waiting().1.into_iter().find(|one| one.id == id)
    }

    /// The one whose file that is.
    #[must_use]
    pub fn waits(&self, path: &Path) -> Option<Waiting> {
        let name = self.name(path)?;
        self.waiting().1.into_iter().find(|one| one.name == name)
    }

    fn remember(&self, name: &str, one: Option<Waiting>) {
        let mut waiting = self.waiting.lock().unwrap_or_else(PoisonError::into_inner);
        let before = match one.clone() {
            Some(one) => waiting.1.insert(name.to_owned(), one),
            None => waiting.1.remove(name),
        };
        if before != one {
            waiting.0 += 1;
        }
    }

    /// The file is not there any more.
    pub fn gone(&self, path: &Path) {
        if let Some(name) = self.name(path) {
            self.remember(&name, None);
        }
    }

    fn name(&self, path: &Path) -> Option<String> {
        Some(path.strip_prefix(&self.folder).ok()?.to_string_lossy().into_owned())
    }

    /// Looks at a file that is whole: keeps it where one step was open when it was
    /// taken, and remembers it as waiting where not. `device` is the zone of a
    /// camera that does not say its own.
    pub fn look(&self, desk: &mut Desk<'_>, path: &Path, device: &TimeZone) -> Became {
        let Some(name) = self.name(path) else { return Became::Gone };
        let _keeping = self.keeping.lock().unwrap_or_else(PoisonError::into_inner);
        let Some((stamp, bytes)) = read(path) else {
            self.remember(&name, None);
            return Became::Gone;
        };
        let folder = Path::new(&name).parent().filter(|folder| !folder.as_os_str().is_empty());
        let sha256 = Hash::of(&bytes);
        // Another file under that name is another photo.
        let id = Hash::of(format!("{sha256} {name}").as_bytes());
        let mut waiting = Waiting {
            id: id.to_string().chars().take(16).collect(),
            job: folder.map(|folder| folder.to_string_lossy().into_owned()),
            taken: None,
            why: WhyWaiting::NoTime,
            sha256,
            name,
        };
        let placed = match photo::ready(bytes, None, photos::location(desk.config)) {
            Err(why) => Err(WhyWaiting::NotAPhoto(why)),
            Ok(ready) => {
                waiting.taken = ready.moment;
                self.place(desk, path, stamp, &ready, &waiting, device)
            }
        };
        match placed {
            Ok(became) => {
                self.remember(&waiting.name, None);
                became
            }
            Err(why) => {
                waiting.why = why;
                self.remember(&waiting.name, Some(waiting.clone()));
                Became::Waits(waiting)
            }
        }
    }

    fn place(
        &self,
        desk: &mut Desk<'_>,
        path: &Path,
        stamp: Stamp,
        ready: &Ready,
        waiting: &Waiting,
        device: &TimeZone,
    ) -> Result<Became, WhyWaiting> {
        let not_kept = |error: OfficeError| WhyWaiting::NotKept(told(&error));
        let instant = ready.moment.and_then(|moment| moment.instant(device));
        let files = jobs(desk, waiting.job.as_deref(), instant, device)?;
        // What came by another way already needs no place.
        let before = files
            .iter()
            .find_map(|file| photos::kept_before(&file.job.number, &file.standing, &ready.photo));
        if let Some(KeptAs::Before { seq, place }) = before {
            self.shelve(path, stamp).map_err(|why| not_moved(&place, seq, why))?;
            return Ok(Became::Kept { place, seq, before: true });
        }
        let instant = instant.ok_or(WhyWaiting::NoTime)?;
        let mut open = Vec::new();
        for file in &files {
            let at = At::new(instant, &zone(&file.job).map_err(not_kept)?);
            let steps = open_steps(file, at, desk.functions).into_iter();
            open.extend(steps.map(|(walk, step)| (file.job.number.clone(), walk, step)));
        }
        let (number, walk, step) = match open.as_slice() {
            [] => return Err(WhyWaiting::NoneOpen),
            [one] => one.clone(),
            _ => return Err(WhyWaiting::Several(open)),
        };
        let file = files.iter().find(|file| file.job.number == number);
        let file = file.ok_or(WhyWaiting::NoneOpen)?;
        let place = PhotoPlace { job: number, walk: Some(walk), step: Some(step) };
        let at = (desk.now)(&zone(&file.job).map_err(not_kept)?);
        let bringing = Bringing { by: BROUGHT_BY.to_owned(), how: How::File, at };
        let kept = photos::keep(desk.config, desk.store, &place, ready, &bringing);
        let kept = kept.map_err(not_kept)?;
        self.shelve(path, stamp).map_err(|why| not_moved(&place, kept.seq(), why))?;
        Ok(became(kept, place))
    }

    /// Keeps one that waits where somebody says it belongs.
    ///
    /// # Errors
    /// It does not wait any more or is another by now, or the disk or the log
    /// refuses.
    pub fn bring(
        &self,
        desk: &mut Desk<'_>,
        id: &str,
        place: &PhotoPlace,
        bringing: &Bringing,
    ) -> Result<Became, OfficeError> {
        let _keeping = self.keeping.lock().unwrap_or_else(PoisonError::into_inner);
        let Some(mut waiting) = self.find(id).filter(|one| one.why.is_photo()) else {
            return Err(Why::WaitsNoMore.into());
        };
        let path = self.folder.join(&waiting.name);
        let (stamp, bytes) = read(&path).ok_or(Why::FileGone)?;
        if Hash::of(&bytes) != waiting.sha256 {
            return Err(Why::FileChanged.into());
        }
        let ready = photo::ready(bytes, None, photos::location(desk.config));
        let ready = ready.map_err(|why| Why::Other(format!("the file {why}")))?;
        let kept = photos::keep(desk.config, desk.store, place, &ready, bringing)?;
        let became = became(kept, place.clone());
        let name = waiting.name.clone();
        let left = match (self.shelve(&path, stamp), &became) {
            (Err(why), Became::Kept { place, seq, .. }) => {
                waiting.why = not_moved(place, *seq, why);
                Some(waiting)
            }
            _ => None,
        };
        self.remember(&name, left);
        Ok(became)
    }

    /// The preview of one that waits, a JPEG; none where there is none.
    #[must_use]
    pub fn preview(&self, waiting: &Waiting) -> Option<Vec<u8>> {
        let (_, bytes) = read(&self.folder.join(&waiting.name))?;
        Some(photo::ready(bytes, None, photo::Location::Drop).ok()?.preview)
    }

    /// Moves a file to those that are kept. What has its name there stays.
    fn shelve(&self, path: &Path, stamp: Stamp) -> Result<(), String> {
        let name = self.name(path).ok_or("it lies elsewhere")?;
        if stamp_of(path) != Some(stamp) {
            return Err("it was written again meanwhile".to_owned());
        }
        let to = self.folder.join(TAKEN).join(&name);
        let folder = to.parent().unwrap_or(&to);
        fs::create_dir_all(folder).map_err(|error| error.to_string())?;
        for nth in 1..=MOST_NAMES {
            match renameat_with(CWD, path, CWD, named(&to, nth), RenameFlags::NOREPLACE) {
                Ok(()) => return Ok(()),
                Err(rustix::io::Errno::EXIST) => {}
                Err(error) => return Err(error.to_string()),
            }
        }
        Err("every name like it is taken".to_owned())
    }
}

fn not_moved(place: &PhotoPlace, seq: u64, why: String) -> WhyWaiting {
    WhyWaiting::NotMoved { job: place.job.clone(), seq, why }
}

/// `a.jpg`, then `a-2.jpg`.
fn named(path: &Path, nth: u32) -> PathBuf {
    if nth == 1 {
        return path.to_owned();
    }
    let mut name = path.file_stem().unwrap_or_default().to_owned();
    name.push(format!("-{nth}"));
    if let Some(ending) = path.extension() {
        name.push(".");
        name.push(ending);
    }
    path.with_file_name(name)
}

fn became(kept: KeptAs, place: PhotoPlace) -> Became {
    match kept {
        KeptAs::New(seq) => Became::Kept { place, seq, before: false },
        KeptAs::Before { seq, place } => Became::Kept { place, seq, before: true },
    }
}

/// The jobs that a photo may belong to: the one its folder names, or all that were
/// worked on around that time.
fn jobs(
    desk: &Desk<'_>,
    named: Option<&str>,
    instant: Option<Timestamp>,
    device: &TimeZone,
) -> Result<Vec<JobFile>, WhyWaiting> {
    let not_kept = |error: OfficeError| WhyWaiting::NotKept(told(&error));
    let numbers = match (named, instant) {
        (Some(number), _) => BTreeSet::from([number.to_owned()]),
        (None, None) => return Err(WhyWaiting::NoTime),
        (None, Some(instant)) => {
            let date = device.to_datetime(instant).date();
            let mut numbers = BTreeSet::new();
            // An address may have another day than this machine.
            for by in -1..=1_i64 {
                let Ok(day) = date.checked_add(by.days()) else { continue };
                let on = desk.store.jobs_on(day).map_err(|error| not_kept(error.into()))?;
                numbers.extend(on);
            }
            numbers
        }
    };
    let mut files = Vec::new();
    for number in numbers {
        match job(desk.store, desk.functions, &number) {
            Ok(file) => files.push(file),
            Err(OfficeError::NoJob(_)) if named.is_some() => return Err(WhyWaiting::NoJob),
            Err(error) => return Err(not_kept(error)),
        }
    }
    Ok(files)
}

fn told(error: &OfficeError) -> String {
    tracing::warn!(?error, "photo inbox");
    error.to_string()
}

fn stamp_of(path: &Path) -> Option<Stamp> {
    // What a link points to may be anywhere.
    let file = fs::symlink_metadata(path).ok().filter(fs::Metadata::is_file)?;
    Some((file.dev(), file.ino(), file.len(), file.modified().ok()))
}

/// A file with how it was before it was read; no more of it than a photo may have.
fn read(path: &Path) -> Option<(Stamp, Vec<u8>)> {
    let stamp = stamp_of(path)?;
    let mut bytes = Vec::new();
    File::open(path).ok()?.take(photo::MOST_BYTES + 1).read_to_end(&mut bytes).ok()?;
    Some((stamp, bytes))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_name_that_is_taken_gets_a_number() {
        let path = Path::new("/inbox/taken/EX-1/a.b.jpg");
        assert_eq!(named(path, 1), path);
        assert_eq!(named(path, 2), Path::new("/inbox/taken/EX-1/a.b-2.jpg"));
        assert_eq!(named(Path::new("/x/photo"), 3), Path::new("/x/photo-3"));
    }
}
