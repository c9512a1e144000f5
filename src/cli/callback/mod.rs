//! `chalkhand callback`: leak calls, from the call to the finding.

mod open;
mod visit;

use anyhow::Context;

use super::home::{Home, now, plain};
use super::out::{Out, Progress, complain};
use super::typed::needed;
use crate::config::Config;
use crate::domain::How;
use crate::domain::desk;
use crate::domain::tally::{JobTally, Tally};
use crate::domain::{Json, Warranty, What};
use crate::export;
use crate::office;
use crate::office::Deed;
use crate::office::calls::{self, NewFinding};

#[derive(Debug, clap::Subcommand)]
pub(super) enum Command {
    /// Take down a leak call
    Open(open::Arguments),
    /// Begin the visit of a call, or go on with it
    Visit(visit::Arguments),
    /// Close a call with its finding
    Close(Close),
    /// All calls, job by job
    List {
        /// Only those that are open
        #[arg(long)]
        open: bool,
        /// As JSON
        #[arg(long)]
        json: bool,
    },
    /// One call: the place against the plan, and what to look at first
    Show {
        /// The job's number
        job: String,
        /// Which call of the job
        id: u32,
        /// As JSON
        #[arg(long)]
        json: bool,
    },
    /// Calls counted over all jobs: by step, by version, by deviation
    Summary {
        /// Count invented examples too
        #[arg(long)]
        invented: bool,
        /// As JSON
        #[arg(long)]
        json: bool,
    },
}

#[derive(Debug, clap::Args)]
pub(super) struct Close {
    /// The job's number
    job: String,
    /// Which call of the job
    id: u32,
    /// What was found, or that nothing was
    #[arg(long, value_name = "WORDS")]
    finding: String,
    /// What caused it, where that is known
    #[arg(long, value_name = "WORDS")]
    cause: Option<String>,
    /// What was done about it
    #[arg(long, value_name = "WORDS")]
    done: Option<String>,
    /// A step of the install that it goes back to: cover-ends#1, or deck-intake:cover-ends#1
    #[arg(long, value_name = "STEP")]
    step: Vec<String>,
    /// Whether it is under warranty, where somebody has decided
    #[arg(long, default_value = "undecided", value_parser = ["under", "outside", "undecided"])]
    warranty: String,
    /// Close it although a visit was not walked to its end, for this reason
    #[arg(long, value_name = "WHY")]
    unfinished: Option<String>,
    /// Who closes it
    #[arg(long, value_name = "NAME")]
    by: String,
}

pub(super) fn run(config: &Config, command: Command, out: &mut Out) -> anyhow::Result<()> {
    match command {
        Command::Open(arguments) => open::run(config, &arguments, out),
        Command::Visit(arguments) => visit::run(config, &arguments, out),
        Command::Close(arguments) => close(config, &arguments, out),
        Command::List { open, json } => list(config, open, json, out),
        Command::Show { job, id, json } => show(config, &job, id, json, out),
        Command::Summary { invented, json } => summary(config, invented, json, out),
    }
}

fn close(config: &Config, arguments: &Close, out: &mut Out) -> anyhow::Result<()> {
    let mut home = Home::open(config)?;
    let file = home.job(&arguments.job)?;
    let (id, number) = (arguments.id, &file.job.number);
    calls::open_one(&file, id).map_err(plain)?;
    let record = file.record(&home.functions);
    let steps = arguments.step.iter().map(|text| calls::named_step(&record, text));
    let found = needed("what was found", "--finding", &arguments.finding)?;
    let warranty = Warranty::ALL.into_iter().find(|known| known.word() == arguments.warranty);
    let new = NewFinding {
        id,
        found: &found,
        cause: arguments.cause.as_deref(),
        done: arguments.done.as_deref(),
        steps: steps.collect::<Result<_, _>>().map_err(plain)?,
        warranty: warranty.unwrap_or(Warranty::Undecided),
        unfinished: arguments.unfinished.as_deref(),
    };
    let by = needed("who it is", "--by", &arguments.by)?;
    let deed = Deed { by: &by, at: now(&file.job)?, how: How::Command, key: None };
    let draft = calls::close_call(&file, &new, &deed).map_err(plain)?;
    home.store.append(&draft, Some(file.standing.last_seq))?;
    if let What::CallbackClosed(finding) = &draft.what {
        let finding = export::callback::finding(finding);
        out.line(&format!("closed callback {id} of job {number}; {finding}"))?;
    }
    Ok(())
}

fn list(config: &Config, open: bool, json: bool, out: &mut Out) -> anyhow::Result<()> {
    let home = Home::open(config)?;
    let mut all = Vec::new();
    let with = office::jobs_with_calls(&home.store, &home.functions, open, usize::MAX);
    let with = with.map_err(plain)?;
    for (name, why) in &with.unread {
        complain(&format!("job {name} (imported) cannot be shown: {why}"));
    }
    for known in with.jobs {
        let record = known.file.record(&home.functions);
        if json {
            if let Json::List(calls) =
                export::callback::json(&record, known.imported_as.as_deref(), open)
            {
                all.extend(calls);
            }
            continue;
        }
        let imported = if known.imported_as.is_some() { ", imported, only read here" } else { "" };
        out.line(&format!("{}  {}{imported}", known.name(), record.job.address))?;
        for line in export::callback::lines(&record, open) {
            out.line(&format!("  {line}"))?;
        }
        all.push(Json::Null);
    }
    if json {
        return out.json(&Json::from(all));
    }
    if all.is_empty() {
        out.line(if open { "no callback is open" } else { "no callback was ever opened" })?;
    }
    Ok(())
}

fn show(config: &Config, job: &str, id: u32, json: bool, out: &mut Out) -> anyhow::Result<()> {
    let home = Home::open(config)?;
    let (file, imported) = home.job_to_read(job)?;
    calls::call(&file, id).map_err(plain)?;
    // An imported job's photos lie beside the log as its own do.
    let (record, _) = office::record_and_photos(config, &home.functions, &file)?;
    let view = desk::desk(&record, id).context("the record does not have the callback")?;
    let now = now(&file.job)?;
    let due = super::record::due(config, &file, now)?;
    if json {
        out.json(&export::desk::json(&record, &view, &due))
    } else {
        if let Some(says) = imported {
            out.line(&says)?;
        }
        Ok(out.text(&export::desk::text(&record, &view, &due, now))?)
    }
}

fn summary(config: &Config, invented: bool, json: bool, out: &mut Out) -> anyhow::Result<()> {
    let home = Home::open(config)?;
    let jobs = home.store.find(&[], u32::MAX)?;
    let mut progress = Progress::new("counting jobs", jobs.len());
    let mut counted = Vec::with_capacity(jobs.len());
    for (at, job) in jobs.iter().enumerate() {
        let (file, _) = home.job_to_read(job.imported.as_ref().unwrap_or(&job.number))?;
        counted.push(JobTally::of(&file.record(&home.functions)));
        progress.done(at + 1);
    }
    drop(progress);
    let tally = Tally::of(counted, invented);
    if json {
        out.json(&export::tally::json(&tally))
    } else {
        Ok(out.text(&export::tally::text(&tally))?)
    }
}
