//! A job as files for others, put together from the log and what lies beside it;
//! for the command and for the pages. Where they go is the business of those.

use std::collections::{BTreeMap, BTreeSet};
use std::io::{Seek, Write};

use super::{OfficeError, SealedRecord, device_key, due_and_cancelled, record_and_photos, zone};
use crate::bundle::{self, Listed, Manifest, ZipTarget};
use crate::config::Config;
use crate::domain::jws::Kind;
use crate::domain::{At, How, JobFile, Json, PhotoFile, Record, What, hearing, sealing};
use crate::export::{self, photos::Previews};
use crate::measure::Functions;
use crate::store::{BlobError, Clips, ImportedJob, KeyFile, Lies, Store, StoreError};

/// A file of a bundle before it is written.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Piece {
    /// Its bytes.
    Bytes(Vec<u8>),
    /// Where it lies in the data folder.
    Beside(String),
}

/// The files of a bundle, by name.
pub type Pieces = BTreeMap<String, Piece>;

/// The bundle of a job of this log, and what entries name and has no whole file.
///
/// # Errors
/// The log or a file beside it cannot be read, or there is no key to seal with.
pub fn bundle(
    config: &Config,
    store: &mut Store,
    functions: &Functions,
    file: &JobFile,
    now: At,
) -> Result<(Pieces, Vec<String>), OfficeError> {
    let job = &file.job;
    let (record, previews) = record_and_photos(config, functions, file)?;
    let mut pieces = Pieces::new();
    let mut missing = BTreeSet::new();
    photos(&record, &previews, &mut pieces, &mut missing);
    clips(config, file, &mut pieces, &mut missing)?;
    for (name, bytes) in outputs(config, store, file, (&record, &previews), now)? {
        pieces.insert(name, Piece::Bytes(bytes));
    }
    for pin in &job.pins {
        let body = store.adopted_body(pin.kind, &pin.id, pin.version)?;
        let missing = || OfficeError::NotAdopted {
            kind: pin.kind.word(),
            id: pin.id.clone(),
            version: pin.version,
        };
        let body = body.ok_or_else(missing)?;
        pieces.insert(bundle::pin_name(pin), Piece::Bytes(body.into_bytes()));
    }
    let texts = store.texts(&job.number)?;
    let lines: String = texts.iter().map(|text| format!("{text}\n")).collect();
    pieces.insert(bundle::ENTRIES.to_owned(), Piece::Bytes(lines.into_bytes()));
    let readme = export::readme::bundle(&record, pieces.keys(), missing.iter());
    pieces.insert("README.txt".to_owned(), Piece::Bytes(readme.into_bytes()));
    let (Some(first), Some(last)) = (file.entries.first(), file.entries.last()) else {
        return Err(OfficeError::NoJob(job.number.clone()));
    };
    let mut files = BTreeMap::new();
    for (name, piece) in &pieces {
        files.insert(name.clone(), Listed::of(&bytes(config, piece)?));
    }
    let missing: Vec<String> = missing.into_iter().collect();
    let manifest = Manifest {
        job: job.number.clone(),
        invented: job.invented,
        entries: u64::try_from(file.entries.len()).unwrap_or(u64::MAX),
        first: first.hash,
        last: (last.seq, last.hash),
        missing: missing.clone(),
        files,
    };
    let manifest = listed(store, &KeyFile::of(&config.data), manifest.json(), now)?;
    let manifest = export::json::pretty(&manifest);
    pieces.insert(bundle::MANIFEST.to_owned(), Piece::Bytes(manifest.into_bytes()));
    Ok((pieces, missing))
}

/// The list of the files, signed by this device: what is in no other seal (tables,
/// pages, what is missing) is under this one.
fn listed(store: &mut Store, key_file: &KeyFile, list: Json, now: At) -> Result<Json, OfficeError> {
    let key = device_key(store, key_file, now)?;
    let seal = key.sign(Kind::Bundle, &sealing::payload(&list)?).json();
    let Json::Object(mut members) = list else { return Ok(list) };
    members.insert("seal", seal);
    Ok(Json::Object(members))
}

/// What is made from the log alone: the same log gives the same bytes, so dates
/// are as they stood at the last entry. Another form of the record is one more
/// line here.
fn outputs(
    config: &Config,
    store: &mut Store,
    file: &JobFile,
    (record, previews): (&Record, &Previews),
    now: At,
) -> Result<Vec<(String, Vec<u8>)>, OfficeError> {
    let Some(last) = file.entries.last() else { return Ok(Vec::new()) };
    let (zone, at) = (zone(&file.job)?, last.draft.at);
    let mut due = due_and_cancelled(config, file, at)?;
    let key_file = KeyFile::of(&config.data);
    let sealed = SealedRecord::of(store, &key_file, file, export::json::record(record, &due), now)?;
    let pages = sealed.pages(previews, None)?;
    let html = export::html::record_with_photos(record, &due, previews, Some(&sealed.named()?));
    let table = |made: Result<String, csv::Error>| {
        let made = made.map(String::into_bytes);
        made.map_err(|error| OfficeError::Unfit(format!("the tables cannot be made: {error}")))
    };
    let mut outputs = vec![
        (bundle::RECORD_JSON, sealed.text.into_bytes()),
        (bundle::RECORD_HTML, html.into_bytes()),
        ("record.pdf", pages),
        ("entries.csv", table(export::csv::entries(file))?),
        ("steps.csv", table(export::csv::steps(record))?),
        ("materials.csv", table(export::csv::materials(record))?),
    ];
    due.retain(|due| due.cancelled_because.is_none());
    if !due.is_empty() {
        let dates = export::calendar::ics(&file.job, &due, &zone)?;
        outputs.push(("follow-ups.ics", dates.into_bytes()));
    }
    Ok(outputs.into_iter().map(|(name, bytes)| (name.to_owned(), bytes)).collect())
}

fn photos(
    record: &Record,
    previews: &Previews,
    pieces: &mut Pieces,
    missing: &mut BTreeSet<String>,
) {
    for (at, kept) in record.photos.iter().enumerate() {
        let photo = &kept.photo;
        let name = bundle::photo_name(at + 1, kept.step.as_ref(), photo);
        let original = kept.file == Some(PhotoFile::Whole);
        let preview = previews.contains_key(&photo.preview_sha256);
        let parts = [
            (original, name, photo.path()),
            (preview, bundle::preview_name(photo.preview_sha256), photo.preview_path()),
        ];
        for (whole, name, path) in parts {
            if whole {
                pieces.insert(name, Piece::Beside(path));
            } else {
                missing.insert(path);
            }
        }
    }
}

/// Clips of notes, and of answers where they are kept.
fn clips(
    config: &Config,
    file: &JobFile,
    pieces: &mut Pieces,
    missing: &mut BTreeSet<String>,
) -> Result<(), BlobError> {
    let clips = Clips::of(&config.data);
    let mut seen = BTreeSet::new();
    for entry in &file.entries {
        let noted = match &entry.draft.what {
            What::Noted { clip: Some(clip), .. } => Some(clip.sound),
            _ => None,
        };
        let heard = match &entry.draft.how {
            How::Voice(heard) => Some(heard.sound),
            _ => None,
        };
        for (sound, wanted) in [(noted, true), (heard, false)] {
            let Some(sound) = sound.filter(|sound| !seen.contains(sound)) else { continue };
            let path = hearing::path_of(sound);
            let bytes = clips.read(sound)?;
            let whole = bytes.and_then(|bytes| crate::sound::clip_sha256(&bytes));
            if whole == Some(sound.to_string()) {
                seen.insert(sound);
                let name = bundle::clip_name(seen.len(), entry.draft.what.step(), sound);
                pieces.insert(name, Piece::Beside(path));
            } else if wanted {
                missing.insert(path);
            }
        }
    }
    Ok(())
}

/// An imported job goes out as it came in.
///
/// # Errors
/// The log cannot be read.
pub fn imported_bundle(store: &Store, job: &ImportedJob) -> Result<Pieces, StoreError> {
    let pieces = store.import_files(job.id)?.into_iter().map(|file| {
        let piece = match file.lies {
            Lies::Here(bytes) => Piece::Bytes(bytes),
            Lies::Beside(kept) => Piece::Beside(kept),
        };
        (file.path, piece)
    });
    Ok(pieces.collect())
}

/// The bytes of a file of a bundle.
///
/// # Errors
/// The disk refuses.
pub fn bytes(config: &Config, piece: &Piece) -> Result<Vec<u8>, OfficeError> {
    match piece {
        Piece::Bytes(bytes) => Ok(bytes.clone()),
        Piece::Beside(kept) => {
            let path = config.data.join(kept);
            std::fs::read(&path).map_err(|error| OfficeError::File {
                path,
                why: format!("it cannot be read ({error}): look for it in a backup"),
            })
        }
    }
}

/// Writes a bundle as one ZIP file and gives back what it was written into.
///
/// # Errors
/// The disk refuses.
pub fn write_zip<W: Write + Seek>(
    config: &Config,
    pieces: &Pieces,
    into: W,
) -> Result<W, OfficeError> {
    let refused = |error: zip::result::ZipError| {
        OfficeError::Unfit(format!("the ZIP file could not be written: {error}"))
    };
    let mut zip = ZipTarget::new(into);
    for (name, piece) in pieces {
        zip.add(name, &bytes(config, piece)?).map_err(refused)?;
    }
    zip.finish().map_err(refused)
}
