//! `chalkhand day`.

use jiff::civil::Date;
use jiff::tz::TimeZone;

use super::home::{Home, plain};
use super::out::Out;
use crate::config::Config;
use crate::daemon;
use crate::domain::Day;
use crate::export;
use crate::office;

#[derive(Debug, clap::Args)]
pub(super) struct Arguments {
    /// The day, 2026-11-25; the newest with entries where none is named
    date: Option<String>,
    /// As JSON
    #[arg(long)]
    json: bool,
}

pub(super) fn run(config: &Config, arguments: &Arguments, out: &mut Out) -> anyhow::Result<()> {
    let home = Home::open(config)?;
    let date = match &arguments.date {
        Some(date) => named(&home, Some(date))?,
        None => office::newest_day(&home.store, daemon::now(&TimeZone::system()).date())?,
    };
    let day = of(&home, date)?;
    if arguments.json {
        out.json(&export::json::day(&day))
    } else {
        Ok(out.text(&export::text::day(&day))?)
    }
}

/// The day that is named; else today, or the newest with entries: at the address
/// it may still be the day before, or already the next.
pub(super) fn named(home: &Home, date: Option<&str>) -> anyhow::Result<Date> {
    if let Some(text) = date {
        return super::typed::day(text);
    }
    let today = daemon::now(&TimeZone::system()).date();
    if !home.store.jobs_on(today)?.is_empty() {
        return Ok(today);
    }
    Ok(home.store.last_day()?.unwrap_or(today))
}

pub(super) fn of(home: &Home, date: Date) -> anyhow::Result<Day> {
    let (day, _) = office::day(&home.store, &home.functions, date).map_err(plain)?;
    Ok(day)
}
