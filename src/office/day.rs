//! A day of all jobs, with everything the jobs pin.

use std::sync::Arc;

use jiff::ToSpan as _;
use jiff::civil::Date;

use super::OfficeError;
use super::known_jobs::{Jobs, KnownJob};
use crate::domain::{Day, OfDay, PinKind, Version};
use crate::measure::Functions;
use crate::store::{Store, StoreError};

/// How many days a hold point of a job that rests is still looked for.
const DAYS_BACK: i64 = 14;

/// The day to show first: today where a job has entries on it, else the nearest
/// one before, else the nearest after. That somebody signed in is no day of work.
///
/// # Errors
/// The log cannot be read.
pub fn newest_day(store: &Store, today: Date) -> Result<Date, StoreError> {
    if !store.jobs_on(today)?.is_empty() || !store.imports_on(today)?.is_empty() {
        return Ok(today);
    }
    let (before, after) = store.days_beside(today)?;
    Ok(before.or(after).unwrap_or(today))
}

/// The day log, and the jobs it was made from. An imported job that cannot be read
/// here keeps nobody from the others: it is named with the reason.
///
/// # Errors
/// The log cannot be read, or something an own job pins is missing or changed.
pub fn day(
    store: &Store,
    functions: &Functions,
    date: Date,
) -> Result<(Day, Vec<Arc<KnownJob>>), OfficeError> {
    let (numbers, known) = (store.jobs_on(date)?, Jobs::of(store, functions)?);
    let jobs: Result<Vec<_>, _> = numbers.iter().map(|number| known.job(number)).collect();
    let (mut jobs, adopted) = (jobs?, store.adopted(PinKind::Checklist)?);
    let mut unread = Vec::new();
    for imported in store.imports_on(date)? {
        match known.imported(&imported) {
            Ok(job) => jobs.push(job),
            Err(why) => unread.push((imported.name(), why.to_string())),
        }
    }
    let newest = |id: &str| -> Option<Version> {
        adopted.iter().filter(|a| a.id == id).map(|a| a.version).max()
    };
    let read = jobs.iter().map(|known| OfDay {
        file: &known.file,
        attention: known.attention.clone(),
        imported_as: known.imported_as.as_deref(),
    });
    let mut day = Day::of(date, read, newest);
    day.unread = unread;
    Ok((day, jobs))
}

/// Jobs with entries in the days before that one and none on it, the newest
/// first: what waits on them is told too.
///
/// # Errors
/// As [`day`].
pub fn before(
    store: &Store,
    functions: &Functions,
    date: Date,
) -> Result<Vec<Arc<KnownJob>>, OfficeError> {
    let (mut numbers, known) = (store.jobs_on(date)?, Jobs::of(store, functions)?);
    let mut jobs = Vec::new();
    for back in 1..=DAYS_BACK {
        let Ok(day) = date.checked_sub(back.days()) else { break };
        for number in store.jobs_on(day)? {
            if !numbers.contains(&number) {
                jobs.push(known.job(&number)?);
                numbers.push(number);
            }
        }
    }
    Ok(jobs)
}
