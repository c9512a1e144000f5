//! A photo kept with the entry that names it: once, whoever brings it and by
//! whatever way. What is in a photo's file is the business of `photo`.

use super::deeds::refused;
use super::{OfficeError, Why};
use crate::config::{Config, PhotoLocation};
use crate::domain::{
    At, Draft, How, JobFile, Key, Language, Photo, Standing, StepRef, WalkId, What,
};
use crate::measure::Functions;
use crate::photo::{Location, Ready};
use crate::store::{Appended, Photos, Store};

/// Where a photo belongs.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct PhotoPlace {
    /// The job's number.
    pub job: String,
    /// The walk.
    pub walk: Option<WalkId>,
    /// Its step.
    pub step: Option<StepRef>,
}

/// Who brings photos, when and how.
#[derive(Clone, Debug)]
pub struct Bringing {
    /// Who.
    pub by: String,
    /// How.
    pub how: How,
    /// When, at the address.
    pub at: At,
}

/// What became of a photo.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum KeptAs {
    /// It is kept, in this entry.
    New(u64),
    /// The job keeps it already; nothing was added.
    Before {
        /// The entry.
        seq: u64,
        /// Where it belongs by that entry.
        place: PhotoPlace,
    },
}

impl KeptAs {
    /// The entry that keeps it.
    #[must_use]
    pub fn seq(&self) -> u64 {
        match self {
            Self::New(seq) | Self::Before { seq, .. } => *seq,
        }
    }
}

/// What becomes of the place a photo was taken at, as the settings say.
#[must_use]
pub fn location(config: &Config) -> Location {
    match config.photo_location {
        PhotoLocation::Keep => Location::Keep,
        PhotoLocation::Drop => Location::Drop,
    }
}

/// Keeps a photo: its file and preview are on the disk before the entry.
///
/// # Errors
/// The disk or the log refuses; then no entry names it.
pub fn keep(
    config: &Config,
    store: &mut Store,
    place: &PhotoPlace,
    ready: &Ready,
    bringing: &Bringing,
) -> Result<KeptAs, OfficeError> {
    let photo = &ready.photo;
    let standing = Standing::of(&store.entries(&place.job, 0)?);
    if let Some(before) = kept_before(&place.job, &standing, photo) {
        return Ok(before);
    }
    Photos::of(&config.data).keep(photo, &ready.original, &ready.preview)?;
    let draft = Draft {
        job: place.job.clone(),
        walk: place.walk.clone(),
        at: bringing.at,
        by: bringing.by.clone(),
        how: bringing.how.clone(),
        confirmed: Vec::new(),
        what: What::PhotoKept { step: place.step.clone(), photo: Box::new(photo.clone()) },
        corrects: None,
        key: Key(format!("photo/{}/{}", place.job, photo.sha256)),
    };
    Ok(match store.append(&draft, None)? {
        Appended::New(entry) => KeptAs::New(entry.seq),
        Appended::Before(entry) => {
            let (walk, step) = (entry.draft.walk, entry.draft.what.step().cloned());
            let place = PhotoPlace { job: entry.draft.job, walk, step };
            KeptAs::Before { seq: entry.seq, place }
        }
    })
}

/// Where the job keeps this photo already: the same file, or the one it was before
/// its location was left out.
#[must_use]
pub fn kept_before(job: &str, standing: &Standing, photo: &Photo) -> Option<KeptAs> {
    let same = |known: &Photo| {
        let given = |of: &Photo| of.given_sha256.unwrap_or(of.sha256);
        known.sha256 == photo.sha256 || given(known) == given(photo)
    };
    let kept = standing.photos.iter().find(|kept| same(&kept.photo))?;
    let (walk, step) = (kept.walk.clone(), kept.step.clone());
    Some(KeptAs::Before { seq: kept.seq, place: PhotoPlace { job: job.to_owned(), walk, step } })
}

/// A walk that was begun, with the steps a photo may belong to.
#[derive(Clone, Debug)]
pub struct PhotoWalk {
    /// Which.
    pub id: WalkId,
    /// The checklist's title.
    pub title: String,
    /// The language of title and names.
    pub language: Language,
    /// Its steps with their names, in order.
    pub steps: Vec<(StepRef, String)>,
}

/// Where photos may be brought to on a job, the newest walk of each checklist last.
#[must_use]
pub fn places(file: &JobFile, functions: &Functions) -> Vec<PhotoWalk> {
    let walks = file.record(functions).walks.into_iter();
    let begun = walks.filter(|walk| walk.begun.is_some());
    begun
        .map(|walk| PhotoWalk {
            title: walk.checklist.title.clone(),
            language: walk.checklist.language,
            steps: walk.steps.into_iter().map(|step| (step.at, step.title)).collect(),
            id: walk.id,
        })
        .collect()
}

/// A place somebody names on a page, where there is one of that name.
///
/// # Errors
/// The walk was not begun, or never had that step.
pub fn place(
    file: &JobFile,
    functions: &Functions,
    walk: Option<WalkId>,
    step: Option<StepRef>,
) -> Result<PhotoPlace, OfficeError> {
    let number = &file.job.number;
    if let Some(walk) = &walk {
        let places = places(file, functions);
        let Some(found) = places.iter().find(|place| place.id == *walk) else {
            return refused(Why::NotBegun { walk: walk.clone(), job: number.clone() });
        };
        // Facts may have changed since the step was asked: it is known all the same.
        let stood = |step: &StepRef| file.standing.step(walk, step).is_some();
        if let Some(step) = &step
            && !stood(step)
            && found.steps.iter().all(|(at, _)| at != step)
        {
            let (job, step) = (number.clone(), step.to_string());
            return refused(Why::NotOfWalk { walk: walk.clone(), job, step });
        }
    } else if step.is_some() {
        return refused(Why::NoWalk);
    }
    Ok(PhotoPlace { job: number.clone(), walk, step })
}
