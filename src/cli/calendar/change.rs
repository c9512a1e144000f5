//! `chalkhand calendar move`, `cancel` and `add`: each is an entry, with who and
//! why. What is unusual about it is done all the same, and said.

use anyhow::Context as _;
use jiff::ToSpan as _;
use jiff::civil::{Date, DateTime};
use jiff::tz::TimeZone;

use super::super::home::{Home, now, plain, stranger, zone};
use super::super::out::Out;
use super::super::typed::needed;
use super::{line, one, settings};
use crate::config::Config;
use crate::domain::{At, Job, Working, schedule};
use crate::office;

#[derive(Debug, clap::Subcommand)]
pub(super) enum Change {
    /// Move a date; nothing else moves
    Move {
        /// The job's number
        job: String,
        /// The date, by its number in the list or its identifier
        date: String,
        /// The new day, with an hour or at the same hour
        #[arg(long, value_name = "2026-12-03[T10:00]")]
        to: String,
        /// Who moves it
        #[arg(long)]
        by: String,
        /// Why
        #[arg(long)]
        why: String,
    },
    /// Cancel a date; calendars that have it are told so
    Cancel {
        /// The job's number
        job: String,
        /// The date, by its number in the list or its identifier
        date: String,
        /// Who cancels it
        #[arg(long)]
        by: String,
        /// Why
        #[arg(long)]
        why: String,
    },
    /// Add a date that no checklist has
    Add {
        /// The job's number
        job: String,
        /// The day, with an hour or when the office opens
        #[arg(long, value_name = "2026-12-03[T10:00]")]
        on: String,
        /// What it is
        #[arg(long)]
        title: String,
        /// The role that looks after it
        #[arg(long, value_name = "ROLE")]
        who: Option<String>,
        /// How long it takes, in minutes
        #[arg(long, value_name = "MINUTES", default_value_t = 30,
              value_parser = clap::value_parser!(u32).range(1..=24 * 60))]
        lasts: u32,
        /// Who adds it
        #[arg(long, default_value = super::OFFICE)]
        by: String,
    },
}

impl Change {
    fn job_and_by(&self) -> (&str, &str) {
        match self {
            Self::Move { job, by, .. } | Self::Cancel { job, by, .. } => (job, by),
            Self::Add { job, by, .. } => (job, by),
        }
    }
}

pub(super) fn run(config: &Config, change: &Change, out: &mut Out) -> anyhow::Result<()> {
    let (job, by) = change.job_and_by();
    let by = &needed("who it is", "--by", by)?;
    let mut home = Home::open(config)?;
    let mut file = home.job(job)?;
    let settings = settings(config, out)?;
    let (now, zone) = (now(&file.job)?, zone(&file.job)?);
    // A number exists once a date is given out.
    let due = office::give_out(&mut home.store, &mut file, &settings, now, by).map_err(plain)?;
    let mut unusual = Vec::new();
    let (draft, was) = match change {
        Change::Move { date, to, why, .. } => {
            let due = one(&file, due, date)?;
            let same = due.start.instant().to_zoned_datetime(zone.clone()).time();
            let to = local(to, same)?;
            unusual.extend(odd_time(&settings.working, to, due.lasts_min, &zone, now));
            let why = needed("why", "--why", why)?;
            (schedule::move_to(&file.job, &due, at(to, &zone)?, &why, now, by)?, Some(due))
        }
        Change::Cancel { date, why, .. } => {
            let due = one(&file, due, date)?;
            let why = needed("why", "--why", why)?;
            (schedule::cancel(&file.job, &due, &why, now, by)?, Some(due))
        }
        Change::Add { on, title, who, lasts, .. } => {
            let on = local(on, settings.working.opens)?;
            unusual.extend(odd_time(&settings.working, on, *lasts, &zone, now));
            unusual.extend(who.as_deref().and_then(|role| nobody_is(&file.job, role)));
            let title = needed("what it is", "--title", title)?;
            let (when, what) = ((at(on, &zone)?, *lasts), (title.as_str(), who.as_deref()));
            (schedule::add(&file.job, &file.standing, when, what, now, by), None)
        }
    };
    // The program's own word for whoever runs it is no name.
    unusual.extend(stranger(&file.job, by).filter(|_| by != super::OFFICE));
    // Nothing else may have happened to the job since it was looked at.
    home.store.append(&draft, Some(file.standing.last_seq))?;
    if let Some(was) = was {
        out.line(&format!("was {}", line(&was)))?;
    }
    let file = home.job(job)?;
    let stands = office::dates(&file, &settings, now).map_err(plain)?;
    for due in stands.iter().filter(|due| draft.what.date_uid() == Some(due.uid.as_str())) {
        out.line(&format!("now {}", line(due)))?;
    }
    for why in unusual {
        out.line(&format!("! {why}"))?;
    }
    Ok(out.line("calendars learn of it from a feed, or from a new file: -o FILE.ics")?)
}

/// A day, or a day and an hour, at the address.
fn local(text: &str, hour: jiff::civil::Time) -> anyhow::Result<DateTime> {
    let day = text.parse::<Date>().ok().filter(|_| text.len() == 10);
    let hours = || text.parse::<DateTime>().ok().filter(|_| (16..=19).contains(&text.len()));
    day.map(|day| day.to_datetime(hour)).or_else(hours).with_context(|| {
        format!("`{text}` is no day; write 2026-12-03, or 2026-12-03T10:00 at the address")
    })
}

fn at(local: DateTime, zone: &TimeZone) -> anyhow::Result<At> {
    let zoned =
        local.to_zoned_datetime(zone.clone()).context("the day lies outside the calendar")?;
    Ok(At::new(zoned.timestamp(), zone))
}

/// What is unusual about a time; nothing where the office works then.
fn odd_time(
    working: &Working,
    to: DateTime,
    lasts_min: u32,
    zone: &TimeZone,
    now: At,
) -> Vec<String> {
    let (day, clock) = (to.date(), to.strftime("%H:%M"));
    let mut odd = Vec::new();
    if to < zone.to_datetime(now.instant()) {
        odd.push(format!("{day} {clock} is past"));
    }
    match working.hinders(to, lasts_min, zone) {
        Some(why) => odd.push(why),
        None if !is_in_hours(working, to, lasts_min) => odd.push(format!(
            "{day} {clock}, {lasts_min} minutes long, is outside the office's hours, {} to {}",
            working.opens.strftime("%H:%M"),
            working.closes.strftime("%H:%M")
        )),
        None => {}
    }
    odd.into_iter().map(|why| format!("{why}; it was put there all the same")).collect()
}

/// Whether it begins and ends in the office's hours; what is longer than a day
/// begins when the office opens.
fn is_in_hours(working: &Working, to: DateTime, lasts_min: u32) -> bool {
    let closes = to.date().to_datetime(working.closes);
    let ends = to.checked_add(i64::from(lasts_min).minutes());
    let fits = to.time() == working.opens || ends.is_ok_and(|ends| ends <= closes);
    working.opens <= to.time() && to < closes && fits
}

/// What to say of a role that nobody has on the job.
fn nobody_is(job: &Job, role: &str) -> Option<String> {
    if job.people.iter().any(|person| person.role == role) {
        return None;
    }
    let mut roles: Vec<&str> = job.people.iter().map(|person| person.role.as_str()).collect();
    roles.sort_unstable();
    roles.dedup();
    let roles = if roles.is_empty() { "none".to_owned() } else { roles.join(", ") };
    Some(format!(
        "nobody on job {} is its {role}, so the date is in nobody's own calendar; roles there: \
         {roles}",
        job.number
    ))
}
