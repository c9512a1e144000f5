//! `chalkhand calendar`: lists follow-ups, gives them out and logs that it did;
//! prints the addresses of feeds. Changing one is in `change`.

mod change;

use std::path::{Path, PathBuf};

use anyhow::bail;

use super::home::{Home, now, plain, zone};
use super::out::{Out, many, write_file};
use crate::config::Config;
use crate::daemon;
use crate::domain::{Due, JobFile};
use crate::export::calendar::{Dates, For};
use crate::export::{self, words};
use crate::office::{self, Feeds, JobDates, OfPerson, Settings, dates};

use change::Change;

/// Who gives dates out and adds them where nobody is named.
const OFFICE: &str = "office";

#[derive(Debug, clap::Args)]
#[command(args_conflicts_with_subcommands = true)]
pub(super) struct Arguments {
    #[command(subcommand)]
    command: Option<Command>,
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
    #[arg(long, default_value = OFFICE)]
    by: String,
}

#[derive(Debug, clap::Subcommand)]
enum Command {
    #[command(flatten)]
    Change(Change),
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
    match (&arguments.command, &arguments.job, &arguments.person, &arguments.output) {
        (Some(Command::Feed { person, new }), ..) => feed(config, person.as_deref(), *new, out),
        (Some(Command::Change(change)), ..) => change::run(config, change, out),
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
    let (file, imported) = home.job_to_read(job)?;
    if let Some(says) = &imported {
        out.line(says)?;
    }
    let settings = settings(config, out)?;
    let due = office::dates(&file, &settings, now(&file.job)?).map_err(plain)?;
    for due in &due {
        out.line(&line(due))?;
    }
    let not_given_out = due.iter().any(|due| due.number.is_none());
    match imported.is_some() {
        true if not_given_out => out.line(
            "those without a number were not given out by the device this job comes from; they \
             are put on the working days of this machine",
        )?,
        false if not_given_out => {
            out.line("those without a number are not given out yet: write them with -o FILE.ics")?;
        }
        _ => {}
    }
    let undated = dates::undated(&file);
    if !undated.is_empty() {
        out.line("not dated yet:")?;
    }
    for line in &undated {
        out.line(&format!("  {line}"))?;
    }
    if undated.is_empty() { some(&file, &due) } else { Ok(()) }
}

fn some(file: &JobFile, due: &[Due]) -> anyhow::Result<()> {
    if due.is_empty() {
        let number = &file.job.number;
        match dates::undated(file).as_slice() {
            [] => bail!("no checklist of job {number} has follow-ups"),
            [first, ..] => bail!(
                "job {number} has no follow-ups yet: they are dated from the day a checklist's \
                 last step is settled ({first}); see them all with: chalkhand calendar {number}"
            ),
        }
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
        due = vec![dates::named(&file.job, &due, wanted).map_err(plain)?.clone()];
    }
    let zone = zone(&file.job)?;
    let dates = [Dates { job: &file.job, zone: &zone, due: &due }];
    let ics = export::calendar::calendar(&dates, For::File(settings.from.as_deref()))?;
    write_file(path, ics.as_bytes())?;
    let follow_ups = many(due.len(), "follow-up", "follow-ups");
    out.line(&format!("wrote {} with {follow_ups}", path.display()))?;
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
    let OfPerson { all, without, for_nobody } = office::of_person_on_all_jobs(
        (&mut home.store, &home.functions),
        &settings,
        person,
        daemon::now,
        by,
    )
    .map_err(plain)?;
    if all.is_empty() && without.is_empty() {
        bail!("nobody on any job is called `{person}`; check the name");
    }
    if all.is_empty() {
        let jobs = without.join(", ");
        bail!(
            "nothing was written: no date is for {person}, who is on job {jobs}; see which dates \
             stand, and for whom, with: chalkhand calendar JOB"
        );
    }
    let dates: Vec<Dates<'_>> = all.iter().map(JobDates::as_dates).collect();
    let ics = export::calendar::calendar(&dates, For::File(settings.from.as_deref()))?;
    write_file(path, ics.as_bytes())?;
    let follow_ups: usize = all.iter().map(|dates| dates.due.len()).sum();
    let (follow_ups, jobs) =
        (many(follow_ups, "follow-up", "follow-ups"), many(all.len(), "job", "jobs"));
    out.line(&format!("wrote {} with {follow_ups} of {jobs}", path.display()))?;
    for dates in &all {
        for due in &dates.due {
            out.line(&format!("{}  {}", dates.job.number, line(due)))?;
        }
    }
    if 0 < for_nobody {
        out.line(&format!(
            "{} of these jobs without a role, which no such file has",
            many(for_nobody, "date", "dates")
        ))?;
    }
    Ok(())
}

fn feed(config: &Config, person: Option<&str>, new: bool, out: &mut Out) -> anyhow::Result<()> {
    // Makes the folder where there is none.
    let home = Home::open(config)?;
    if let Some(name) = person
        && !office::is_on_a_job(&home.store, name).map_err(plain)?
    {
        bail!("nobody on any job is called `{name}`; check the name");
    }
    let feed = Feeds::read(config).and_then(|mut feeds| feeds.of(person, new)).map_err(plain)?;
    out.line(&format!("http://127.0.0.1:{}{}", config.port, feed.path()))?;
    Ok(out.line(
        "whoever knows this address reads the dates; the daemon (chalkhand serve) answers it",
    )?)
}
