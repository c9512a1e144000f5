//! `chalkhand calendar`: gives follow-ups out and logs that it did; moves,
//! cancels and adds them; prints the addresses of feeds.

use std::path::{Path, PathBuf};

use anyhow::{Context, bail};
use jiff::civil::{Date, DateTime};
use jiff::tz::TimeZone;

use super::home::{Home, now, plain, zone};
use super::out::{Out, write_file};
use crate::config::Config;
use crate::domain::{At, Draft, Due, JobFile, schedule};
use crate::export::calendar::{Dates, For};
use crate::export::{self, words};
use crate::office::{self, Feeds, JobDates, Settings};

#[derive(Debug, clap::Args)]
#[command(args_conflicts_with_subcommands = true)]
pub(super) struct Arguments {
    #[command(subcommand)]
    change: Option<Change>,
    /// The job's number; without -o its dates are listed
    job: Option<String>,
    /// Where to, ending in .ics
    #[arg(short, value_name = "FILE.ics")]
    output: Option<PathBuf>,
    /// Only the dates of a role this person has, of all jobs
    #[arg(long = "for", value_name = "NAME", conflicts_with = "job")]
    person: Option<String>,
    /// Only this date of the job, by its number or identifier
    #[arg(long, value_name = "NUMBER|UID", requires = "job")]
    only: Option<String>,
    /// Who gives the dates out
    #[arg(long, default_value = "office")]
    by: String,
}

#[derive(Debug, clap::Subcommand)]
enum Change {
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
        #[arg(long, default_value = "office")]
        by: String,
    },
    /// The secret address a calendar program can fetch dates from
    Feed {
        /// Only the dates of a role this person has
        #[arg(long = "for", value_name = "NAME")]
        person: Option<String>,
        /// Make a new address; the old one is unknown from then on
        #[arg(long)]
        new: bool,
    },
}

pub(super) fn run(config: &Config, arguments: &Arguments, out: &mut Out) -> anyhow::Result<()> {
    match (&arguments.change, &arguments.job, &arguments.person, &arguments.output) {
        (Some(Change::Feed { person, new }), ..) => feed(config, person.as_deref(), *new, out),
        (Some(change), ..) => changed(config, change, out),
        (None, Some(job), _, None) => list(config, job, out),
        (None, Some(job), _, Some(path)) => write(config, arguments, job, path, out),
        (None, None, Some(person), Some(path)) => {
            write_for(config, person, path, &arguments.by, out)
        }
        (None, None, Some(_), None) => bail!("say where to: -o FILE.ics"),
        (None, None, None, _) => bail!("name a job, or a person with --for NAME"),
    }
}

fn settings(config: &Config, out: &mut Out) -> anyhow::Result<Settings> {
    let settings = office::read_settings(config).map_err(plain)?;
    for remark in &settings.remarks {
        out.line(&format!("! not understood: {remark}"))?;
    }
    Ok(settings)
}

fn list(config: &Config, job: &str, out: &mut Out) -> anyhow::Result<()> {
    let home = Home::open(config)?;
    let file = home.job(job)?;
    let settings = settings(config, out)?;
    let due = office::dates(&file, &settings, now(&file.job)?).map_err(plain)?;
    some(&file, &due)?;
    for due in &due {
        out.line(&line(due))?;
    }
    if due.iter().any(|due| due.number.is_none()) {
        out.line("those without a number are not given out yet: write them with -o FILE.ics")?;
    }
    Ok(())
}

fn some(file: &JobFile, due: &[Due]) -> anyhow::Result<()> {
    if due.is_empty() {
        bail!(
            "job {} has no follow-ups yet: they are dated from the day a checklist's last step \
             is settled",
            file.job.number
        );
    }
    Ok(())
}

fn line(due: &Due) -> String {
    let number = due.number.map_or_else(|| "-".to_owned(), |number| number.to_string());
    format!("{number:>4}  {}", words::due(due))
}

fn is_ics(path: &Path) -> anyhow::Result<()> {
    if path.extension().is_none_or(|ending| ending != "ics") {
        bail!("`{}` has to end in .ics", path.display());
    }
    Ok(())
}

fn write(
    config: &Config,
    arguments: &Arguments,
    job: &str,
    path: &Path,
    out: &mut Out,
) -> anyhow::Result<()> {
    is_ics(path)?;
    let mut home = Home::open(config)?;
    let mut file = home.job(job)?;
    let settings = settings(config, out)?;
    let now = now(&file.job)?;
    some(&file, &office::dates(&file, &settings, now).map_err(plain)?)?;
    let due = office::give_out(&mut home.store, &mut file, &settings, now, &arguments.by);
    let mut due = due.map_err(plain)?;
    if let Some(wanted) = &arguments.only {
        due = vec![one(&file, due, wanted)?];
    }
    let zone = zone(&file.job)?;
    let dates = [Dates { job: &file.job, zone: &zone, due: &due }];
    let ics = export::calendar::calendar(&dates, For::File(settings.from.as_deref()))?;
    write_file(path, ics.as_bytes())?;
    out.line(&format!("wrote {} with {} follow-ups", path.display(), due.len()))?;
    for due in &due {
        out.line(&line(due))?;
    }
    Ok(())
}

/// The dates of a person, of all jobs.
fn write_for(
    config: &Config,
    person: &str,
    path: &Path,
    by: &str,
    out: &mut Out,
) -> anyhow::Result<()> {
    is_ics(path)?;
    let mut home = Home::open(config)?;
    let settings = settings(config, out)?;
    let mut all = Vec::new();
    let mut for_nobody = 0;
    for number in home.store.own_jobs()? {
        let mut file = home.job(&number)?;
        if file.job.people.iter().all(|known| known.name != person) {
            continue;
        }
        let now = now(&file.job)?;
        let due =
            office::give_out(&mut home.store, &mut file, &settings, now, by).map_err(plain)?;
        for_nobody += due.iter().filter(|due| due.who.is_none()).count();
        let due = office::of_person(&file.job, due, person);
        if !due.is_empty() {
            all.push(JobDates { zone: zone(&file.job)?, job: file.job, due });
        }
    }
    if all.is_empty() {
        bail!("no job has a date for a role that {person} has on it; check the name");
    }
    let dates: Vec<Dates<'_>> = all.iter().map(JobDates::as_dates).collect();
    let ics = export::calendar::calendar(&dates, For::File(settings.from.as_deref()))?;
    write_file(path, ics.as_bytes())?;
    let many: usize = all.iter().map(|dates| dates.due.len()).sum();
    out.line(&format!("wrote {} with {many} follow-ups of {} jobs", path.display(), all.len()))?;
    for dates in &all {
        for due in &dates.due {
            out.line(&format!("{}  {}", dates.job.number, line(due)))?;
        }
    }
    if 0 < for_nobody {
        out.line(&format!(
            "{for_nobody} dates of these jobs name no role and are in no such file"
        ))?;
    }
    Ok(())
}

/// The date of that number or identifier.
fn one(file: &JobFile, due: Vec<Due>, wanted: &str) -> anyhow::Result<Due> {
    let number = wanted.parse::<u32>().ok();
    let fits = |due: &Due| due.uid == wanted || (number.is_some() && due.number == number);
    due.into_iter().find(fits).with_context(|| {
        let job = &file.job.number;
        format!("job {job} has no date `{wanted}`; see them with: chalkhand calendar {job}")
    })
}

fn changed(config: &Config, change: &Change, out: &mut Out) -> anyhow::Result<()> {
    let (job, by) = match change {
        Change::Move { job, by, .. } | Change::Cancel { job, by, .. } => (job, by),
        Change::Add { job, by, .. } => (job, by),
        Change::Feed { .. } => return Ok(()),
    };
    let mut home = Home::open(config)?;
    let mut file = home.job(job)?;
    let settings = settings(config, out)?;
    let (now, zone) = (now(&file.job)?, zone(&file.job)?);
    // A number exists once a date is given out.
    let due = office::give_out(&mut home.store, &mut file, &settings, now, by).map_err(plain)?;
    let (draft, was, hindered) = match change {
        Change::Move { date, to, why, .. } => {
            let due = one(&file, due, date)?;
            let same = due.start.instant().to_zoned_datetime(zone.clone()).time();
            let to = local(to, same)?;
            let hindered = settings.working.hinders(to, due.lasts_min, &zone);
            let to = at(to, &zone)?;
            (
                schedule::move_to(&file.job, &due, to, said(why, "--why")?, now, by)?,
                Some(due),
                hindered,
            )
        }
        Change::Cancel { date, why, .. } => {
            let due = one(&file, due, date)?;
            (schedule::cancel(&file.job, &due, said(why, "--why")?, now, by)?, Some(due), None)
        }
        Change::Add { on, title, who, lasts, .. } => {
            let on = local(on, settings.working.opens)?;
            let hindered = settings.working.hinders(on, *lasts, &zone);
            let when = (at(on, &zone)?, *lasts);
            let what = (said(title, "--title")?, who.as_deref());
            (schedule::add(&file.job, &file.standing, when, what, now, by), None, hindered)
        }
        Change::Feed { .. } => return Ok(()),
    };
    append(&mut home, &file, &draft)?;
    if let Some(was) = was {
        out.line(&format!("was {}", line(&was)))?;
    }
    let file = home.job(job)?;
    let stands = office::dates(&file, &settings, now).map_err(plain)?;
    for due in stands.iter().filter(|due| draft.what.date_uid() == Some(due.uid.as_str())) {
        out.line(&format!("now {}", line(due)))?;
    }
    if let Some(why) = hindered {
        out.line(&format!("! {why}; it was put there all the same"))?;
    }
    Ok(out.line("calendars learn of it from a feed, or from a new file: -o FILE.ics")?)
}

/// Nothing else may have happened to the job since it was looked at.
fn append(home: &mut Home, file: &JobFile, draft: &Draft) -> anyhow::Result<()> {
    home.store.append(draft, Some(file.standing.last_seq))?;
    Ok(())
}

fn said<'a>(text: &'a str, what: &str) -> anyhow::Result<&'a str> {
    let text = text.trim();
    if text.is_empty() {
        bail!("{what} is empty; say it in a few words");
    }
    Ok(text)
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

fn feed(config: &Config, person: Option<&str>, new: bool, out: &mut Out) -> anyhow::Result<()> {
    // Makes the folder where there is none.
    let home = Home::open(config)?;
    if let Some(name) = person {
        let mut known = false;
        for number in home.store.own_jobs()? {
            let job = home.store.job(&number)?;
            known |= job.is_some_and(|job| job.people.iter().any(|person| person.name == name));
        }
        if !known || name.chars().any(char::is_control) {
            bail!("nobody on any job is called `{name}`; check the name");
        }
    }
    let feed = Feeds::read(config).and_then(|mut feeds| feeds.of(person, new)).map_err(plain)?;
    out.line(&format!("http://127.0.0.1:{}{}", config.port, feed.path()))?;
    Ok(out.line(
        "whoever knows this address reads the dates; the daemon (chalkhand serve) answers it",
    )?)
}
