//! `chalkhand retention`: until when each record is to be kept. It deletes
//! nothing, and no command does.

use anyhow::Context;
use jiff::civil::Date;
use jiff::tz::TimeZone;

use super::home::Home;
use super::out::Out;
use crate::config::Config;
use crate::daemon;
use crate::domain::entry_json;
use crate::domain::retention::{self, Kept};
use crate::domain::{At, Hash, Job, Json, Standing, What};
use crate::store::{self, Lies};

#[derive(Debug, clap::Args)]
pub(super) struct Arguments {
    /// Only those whose time has passed
    #[arg(long)]
    passed: bool,
    /// As JSON
    #[arg(long)]
    json: bool,
}

struct Line {
    name: String,
    address: String,
    last: Date,
    kept: Kept,
    passed: bool,
}

pub(super) fn run(config: &Config, arguments: &Arguments, out: &mut Out) -> anyhow::Result<()> {
    let home = Home::open(config)?;
    let today = daemon::now(&TimeZone::system()).date();
    let mut lines = Vec::new();
    for found in home.store.find(&[], u32::MAX)? {
        let (name, job, last) = match &found.imported {
            None => {
                let entries = home.store.entries(&found.number, 0)?;
                let last = entries.last().map(|entry| entry.draft.at);
                let job = Standing::of(&entries).job.context("a job is opened")?;
                (found.number.clone(), job, last.context("a job has entries")?)
            }
            Some(name) => {
                let (job, last) = imported(&home, name)?;
                (name.clone(), job, last)
            }
        };
        let rules = config.retention.iter();
        let rules = rules.map(|(name, rule)| (name.as_str(), rule.years, rule.source.as_str()));
        let last = last.date();
        let (edition, address) = (&job.code_edition, &job.address);
        let kept = retention::kept(last, edition, address, config.keep_years, rules);
        let passed = kept.until < today;
        lines.push(Line { name, address: job.address, last, kept, passed });
    }
    lines.retain(|line| line.passed || !arguments.passed);
    lines.sort_by(|a, b| (a.kept.until, &a.name).cmp(&(b.kept.until, &b.name)));
    if arguments.json {
        return out.json(&Json::List(lines.iter().map(json).collect()));
    }
    for Line { name, address, last, kept, passed } in &lines {
        let by = match &kept.rule {
            Some((name, source)) => format!("{name}: {source}"),
            None => "keep_years".to_owned(),
        };
        let years = kept.years;
        let passed = if *passed { ", passed" } else { "" };
        out.line(&format!(
            "{name:<14} keep until {}{passed}  {address}  (last entry {last}, {years} years by {by})",
            kept.until
        ))?;
    }
    if lines.is_empty() {
        out.line(if arguments.passed { "nothing has passed its date" } else { "no jobs yet" })?;
    }
    out.line("(Nothing is deleted by this program. Law and warranty decide how long; it does not.)")
        .map_err(Into::into)
}

fn json(line: &Line) -> Json {
    let (rule, source) = line.kept.rule.clone().unzip();
    Json::object([
        ("job", Json::text(&line.name)),
        ("address", Json::text(&line.address)),
        ("last_entry_on", Json::text(line.last)),
        ("keep_until", Json::text(line.kept.until)),
        ("keep_years", Json::from(line.kept.years)),
        ("rule", rule.map_or(Json::Null, Json::from)),
        ("source", source.map_or(Json::Null, Json::from)),
        ("passed", Json::Bool(line.passed)),
    ])
}

/// An imported job and the time of its last entry.
fn imported(home: &Home, name: &str) -> anyhow::Result<(Job, At)> {
    let job = home.imported(name)?;
    let files = home.store.import_files(job.id)?;
    let entries = files.into_iter().find(|file| file.path == crate::bundle::ENTRIES);
    let lines = match entries.map(|file| file.lies) {
        Some(Lies::Here(bytes)) => String::from_utf8(bytes).unwrap_or_default(),
        _ => String::new(),
    };
    let first = lines.lines().next().and_then(|line| {
        entry_json::read(&store::read_json(line)?, Hash::of(line.as_bytes())).ok()
    });
    let opened = first.and_then(|entry| match entry.draft.what {
        What::JobOpened(job) => Some(job),
        _ => None,
    });
    let last = job.last_at.parse().ok().context("an import has a last entry")?;
    Ok((opened.context("an import opens a job")?, last))
}
