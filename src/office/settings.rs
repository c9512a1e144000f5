//! `calendar.toml` of the data folder: when the office works, the calendar
//! file of what is taken, and the address its dates come from.

use std::collections::BTreeSet;
use std::fs::File;
use std::io::{self, Read as _};
use std::path::{Path, PathBuf};

use jiff::civil::{Date, Time, time};
use jiff::tz::TimeZone;

use crate::config::Config;
use crate::domain::Working;
use crate::export::calendar::is_address;
use crate::files::{Busy, read_busy};

use super::OfficeError;

/// Largest calendar file that is looked at, in bytes; a little more than what
/// is read, so that the reader says that it is too large.
const MOST_BYTES: u64 = (16 << 20) + 1;

/// What the office's settings come to.
#[derive(Clone, Debug, Default)]
pub struct Settings {
    /// Days, hours and what is taken.
    pub working: Working,
    /// The address dates come from, `mailto:…`.
    pub from: Option<String>,
    /// What of the office's calendar was not understood, in sentences.
    pub remarks: Vec<String>,
}

/// The file as written.
#[derive(Debug, serde::Deserialize)]
#[serde(deny_unknown_fields, default)]
struct Written {
    working_days: Vec<String>,
    opens: String,
    closes: String,
    holidays: Vec<String>,
    busy: Option<PathBuf>,
    calendar_from: Option<String>,
}

impl Default for Written {
    fn default() -> Self {
        let days = DAYS.iter().take(5);
        Self {
            working_days: days.map(|day| (*day).to_owned()).collect(),
            opens: "09:00".to_owned(),
            closes: "17:00".to_owned(),
            holidays: Vec::new(),
            busy: None,
            calendar_from: None,
        }
    }
}

const DAYS: [&str; 7] =
    ["monday", "tuesday", "wednesday", "thursday", "friday", "saturday", "sunday"];

/// Reads `calendar.toml` and the calendar file it names; defaults without it.
///
/// # Errors
/// Names the setting at fault.
pub fn read_settings(config: &Config) -> Result<Settings, OfficeError> {
    let path = config.data.join("calendar.toml");
    let wrong = |why: String| OfficeError::File { path: path.clone(), why };
    let written = match std::fs::read_to_string(&path) {
        Ok(text) => toml::from_str::<Written>(&text)
            .map_err(|error| wrong(error.to_string().trim_end().to_owned()))?,
        Err(error) if error.kind() == io::ErrorKind::NotFound => Written::default(),
        Err(error) => return Err(wrong(error.to_string())),
    };
    let mut days = [false; 7];
    for day in &written.working_days {
        let place = DAYS.iter().position(|known| *known == day.to_lowercase());
        let place = place.and_then(|place| days.get_mut(place)).ok_or_else(|| {
            wrong(format!("working_days has `{day}`; it may have {}", DAYS.join(", ")))
        })?;
        *place = true;
    }
    if !days.contains(&true) {
        return Err(wrong("working_days is empty; name at least one day".to_owned()));
    }
    let (opens, closes) = (clock(&written.opens), clock(&written.closes));
    let (opens, closes) =
        opens.zip(closes).filter(|(opens, closes)| opens < closes).ok_or_else(|| {
            wrong(format!(
                "opens is `{}` and closes `{}`; write them as 09:00 and 17:00, one after the other",
                written.opens, written.closes
            ))
        })?;
    let mut days_off = BTreeSet::new();
    for day in &written.holidays {
        let read = day.parse::<Date>().ok().filter(|_| day.len() == 10);
        let message = || wrong(format!("holidays has `{day}`; write each as 2026-12-25"));
        days_off.insert(read.ok_or_else(message)?);
    }
    if let Some(from) = written.calendar_from.as_deref().filter(|from| !is_address(from)) {
        return Err(wrong(format!(
            "calendar_from is `{from}`; write it as mailto:office@example.com"
        )));
    }
    let mut remarks = Vec::new();
    let mut working = Working { days, opens, closes, days_off, ..Working::default() };
    if let Some(busy) = &written.busy {
        let busy_path = config.data.join(busy);
        let read = read_calendar(&busy_path)?;
        remarks =
            read.left_out.iter().map(|why| format!("{}: {why}", busy_path.display())).collect();
        if 0 < read.more_left_out {
            remarks.push(format!("{}: and {} more", busy_path.display(), read.more_left_out));
        }
        working.busy = read.calendar;
    }
    Ok(Settings { working, from: written.calendar_from, remarks })
}

fn read_calendar(path: &Path) -> Result<Busy, OfficeError> {
    let wrong = |why: String| OfficeError::File { path: path.to_owned(), why };
    let mut bytes = Vec::new();
    File::open(path)
        .and_then(|file| file.take(MOST_BYTES).read_to_end(&mut bytes))
        .map_err(|error| wrong(format!("the office's calendar cannot be read: {error}")))?;
    read_busy(&bytes, &|name| TimeZone::get(name).ok()).map_err(|error| wrong(error.to_string()))
}

/// Hours and minutes, `09:00`.
fn clock(text: &str) -> Option<Time> {
    let (hour, minute) = text.split_once(':')?;
    let two = |part: &str| match part.len() == 2 && part.bytes().all(|b| b.is_ascii_digit()) {
        true => part.parse::<i8>().ok(),
        false => None,
    };
    let (hour, minute) = (two(hour)?, two(minute)?);
    ((0..24).contains(&hour) && (0..60).contains(&minute)).then(|| time(hour, minute, 0, 0))
}
