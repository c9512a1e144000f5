//! The record of a job as it is handed out, by the command and by the page: the
//! same log gives the same bytes in both.

use jiff::tz::TimeZone;

use super::{OfficeError, dates, give_out, job, read_settings, sealed, zone};
use crate::config::Config;
use crate::domain::{At, Due, JobFile, Json, PhotoFile, Record, Units, sealing};
use crate::export;
use crate::export::calendar::{Dates, For};
use crate::export::html::SealedAs;
use crate::export::pdf::Paper;
use crate::export::photos::Previews;
use crate::measure::Functions;
use crate::store::{BlobError, KeyFile, Photos, Store};

/// In what form a record is handed out.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum RecordForm {
    /// Sealed, for programs.
    Json,
    /// One page, not sealed.
    Html,
    /// Sealed, for paper; the usual one of the job's units where none is named.
    Pdf(Option<Paper>),
}

/// The record of a job of this log.
///
/// # Errors
/// The log or a file beside it cannot be read, or there is no key to seal with.
pub fn record(
    config: &Config,
    store: &mut Store,
    functions: &Functions,
    file: &JobFile,
    form: RecordForm,
    now: At,
) -> Result<Vec<u8>, OfficeError> {
    let (record, previews) = record_and_photos(config, functions, file)?;
    // As of the last entry: the same log gives the same record.
    let due = due_and_cancelled(config, file, record.last_at.unwrap_or(now))?;
    let mut seal = || {
        let json = export::json::record(&record, &due);
        SealedRecord::of(store, &KeyFile::of(&config.data), file, json, now)
    };
    match form {
        RecordForm::Json => Ok(seal()?.text.into_bytes()),
        RecordForm::Html => {
            // Without a key the log works on, and its page names no sealed record.
            let sealed = match seal() {
                Ok(sealed) => Some(sealed.named()?),
                Err(OfficeError::Key(_)) => None,
                Err(other) => return Err(other),
            };
            let page = export::html::record_with_photos(&record, &due, &previews, sealed.as_ref());
            Ok(page.into_bytes())
        }
        RecordForm::Pdf(paper) => seal()?.pages(&previews, paper),
    }
}

/// A record sealed by this device: as text, and as pages that carry the text.
#[derive(Clone, Debug)]
pub struct SealedRecord {
    /// The JSON as it is written out.
    pub text: String,
    json: Json,
    units: Units,
}

impl SealedRecord {
    /// Of a record as `export::json::record` gives it.
    ///
    /// # Errors
    /// There is no key to sign with, or the log is not as it was.
    pub fn of(
        store: &mut Store,
        key_file: &KeyFile,
        file: &JobFile,
        record: Json,
        now: At,
    ) -> Result<Self, OfficeError> {
        let json = sealed(store, key_file, file, record, now)?.json;
        Ok(Self { text: export::json::pretty(&json), json, units: file.job.units })
    }

    /// What a page that has no seal names of it.
    ///
    /// # Errors
    /// It has no canonical text.
    pub fn named(&self) -> Result<SealedAs, OfficeError> {
        let key = self.json.get("log").and_then(|log| log.get("device")).and_then(Json::as_text);
        let key = key.unwrap_or_default().to_owned();
        Ok(SealedAs { hash: sealing::payload_hash(&self.json)?, key })
    }

    /// The PDF with the text attached, on the paper that goes with the units of
    /// the job where none is named.
    ///
    /// # Errors
    /// The layout fails.
    pub fn pages(&self, previews: &Previews, paper: Option<Paper>) -> Result<Vec<u8>, OfficeError> {
        let usual = if self.units == Units::Us { Paper::Letter } else { Paper::A4 };
        let preview = |hash: &str| hash.parse().ok().and_then(|hash| previews.get(&hash).cloned());
        Ok(export::pdf::record(&self.text, &self.json, preview, paper.unwrap_or(usual))?)
    }
}

/// The dates of a job that stand.
///
/// # Errors
/// The office's settings do not read, or the machine lacks the time zone.
pub fn due(config: &Config, file: &JobFile, now: At) -> Result<Vec<Due>, OfficeError> {
    let mut due = due_and_cancelled(config, file, now)?;
    due.retain(|due| due.cancelled_because.is_none());
    Ok(due)
}

/// The dates of a job with those that were cancelled: what a record shows.
///
/// # Errors
/// As of [`due`].
pub fn due_and_cancelled(
    config: &Config,
    file: &JobFile,
    now: At,
) -> Result<Vec<Due>, OfficeError> {
    dates(file, &read_settings(config)?, now)
}

/// The dates of a job as a calendar file; none where it has none. Whoever fetches
/// them is given them: what is new is said in the log.
///
/// # Errors
/// There is no such job, a setting does not read, or the log cannot be written.
pub fn dates_file(
    config: &Config,
    store: &mut Store,
    functions: &Functions,
    (number, only): (&str, Option<&str>),
    by: &str,
    now: impl Fn(&TimeZone) -> At,
) -> Result<Option<String>, OfficeError> {
    let mut file = job(store, functions, number)?;
    let zone = zone(&file.job)?;
    let settings = read_settings(config)?;
    let now = now(&zone);
    let is_wanted = |due: &Due| only.is_none_or(|only| due.uid == only);
    // Nothing is given out where nothing is found.
    if !dates(&file, &settings, now)?.iter().any(is_wanted) {
        return Ok(None);
    }
    let mut due = give_out(store, &mut file, &settings, now, by)?;
    due.retain(is_wanted);
    let dates = [Dates { job: &file.job, zone: &zone, due: &due }];
    Ok(Some(export::calendar::calendar(&dates, For::File(settings.from.as_deref()))?))
}

/// The record of a job with what of its photos lies on this machine, and their
/// previews. What is missing or changed is left out of these, and the record says so.
///
/// # Errors
/// The disk refuses.
pub fn record_and_photos(
    config: &Config,
    functions: &Functions,
    file: &JobFile,
) -> Result<(Record, Previews), BlobError> {
    let photos = Photos::of(&config.data);
    let (mut record, mut previews) = (file.record(functions), Previews::new());
    for kept in &mut record.photos {
        let (original, _) = lies(photos.original(&kept.photo))?;
        kept.file = Some(original);
        let hash = kept.photo.preview_sha256;
        if let (_, Some(bytes)) = lies(photos.preview(hash))? {
            previews.insert(hash, bytes);
        }
    }
    Ok((record, previews))
}

/// What of a file lies there, and its bytes where it is whole.
///
/// # Errors
/// The disk refuses.
fn lies(
    read: Result<Option<Vec<u8>>, BlobError>,
) -> Result<(PhotoFile, Option<Vec<u8>>), BlobError> {
    match read {
        Ok(Some(bytes)) => Ok((PhotoFile::Whole, Some(bytes))),
        Ok(None) => Ok((PhotoFile::Missing, None)),
        Err(BlobError::Other { .. }) => Ok((PhotoFile::Changed, None)),
        Err(refused) => Err(refused),
    }
}
