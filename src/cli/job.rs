//! `chalkhand job`: open, list, show.

use std::path::PathBuf;
use std::sync::Arc;

use anyhow::{Context, bail};

use super::home::{Home, now, read_text};
use super::out::Out;
use crate::config::Config;
use crate::domain::entry::{How, Key};
use crate::domain::{At, Checklist, Draft, Facts, Job, Json, Pin, PinKind, Version, What};
use crate::export;
use crate::files::{self, JobFile, Wanted};
use crate::measure::Value;

#[derive(Debug, clap::Subcommand)]
pub(super) enum Command {
    /// Open a job from its file; it pins the newest adopted versions
    Open {
        /// The job file
        file: PathBuf,
        /// Who opens it
        #[arg(long, default_value = "office")]
        by: String,
    },
    /// A job file to fill in: every key with its question, unit and default
    Blank {
        /// Checklists, in the order they are walked
        #[arg(required = true, value_name = "ID[@VERSION]")]
        checklists: Vec<String>,
        /// The product profile the job will pin
        #[arg(long, value_name = "ID")]
        profile: Option<String>,
    },
    /// All jobs, the newest first
    List {
        /// As JSON
        #[arg(long)]
        json: bool,
    },
    /// One job: what it pins, what is known, how far it is
    Show {
        /// The job's number
        job: String,
        /// As JSON
        #[arg(long)]
        json: bool,
    },
}

pub(super) fn run(config: &Config, command: Command, out: &mut Out) -> anyhow::Result<()> {
    match command {
        Command::Open { file, by } => {
            let mut home = Home::open(config)?;
            let text = read_text(&file)?;
            let job = open(&mut home, &text, &file.display().to_string(), &by)?;
            out.line(&format!("opened job {}", job.number))?;
            for pin in &job.pins {
                let hash = pin.hash.short();
                out.line(&format!("  {} {}@{} ({hash})", pin.kind.word(), pin.id, pin.version))?;
            }
            let record = home.job(&job.number)?.record(&home.functions);
            for why in export::cannot(&record) {
                out.line(&format!("  ! {why}"))?;
            }
            Ok(())
        }
        Command::Blank { checklists, profile } => {
            let home = Home::open(config)?;
            let mut lists = Vec::new();
            for wanted in &checklists {
                let (id, version) = super::checklist::id_and_version(wanted)?;
                let newest = home.newest(PinKind::Checklist, &id)?;
                let missing = || home.not_adopted(PinKind::Checklist, &id, version);
                let version = version.or(newest).with_context(missing)?;
                lists.push(home.checklist(&id, version)?);
            }
            let lists: Vec<&Checklist> = lists.iter().map(AsRef::as_ref).collect();
            Ok(out.text(&export::blank::job_file(&lists, profile.as_deref()))?)
        }
        Command::List { json } => {
            let home = Home::open(config)?;
            super::find::print(&home.store.find(&[], u32::MAX)?, json, out)
        }
        Command::Show { job, json } => {
            let home = Home::open(config)?;
            let file = home.job(&job)?;
            let record = file.record(&home.functions);
            if json {
                out.json(&export::json::record(&record, &[]))
            } else {
                Ok(out.text(&export::listing::job(&record))?)
            }
        }
    }
}

/// Opens a job: pins versions, logs the job and the facts its file gives.
fn open(home: &mut Home, text: &str, name: &str, by: &str) -> anyhow::Result<Job> {
    let file = files::read_job(text, name)?;
    let checklists = pinned(home, &file)?;
    let all: Vec<&Checklist> = checklists.iter().map(AsRef::as_ref).collect();
    kinds_agree(&all)?;
    let facts = file.facts(&all)?;
    let at = now(&file.job)?;
    open_with(home, &file, &facts, by, at)
}

/// The checklists a job file asks for, in adopted versions.
pub(super) fn pinned(home: &Home, file: &JobFile) -> anyhow::Result<Vec<Arc<Checklist>>> {
    let mut checklists = Vec::new();
    for wanted in &file.checklists {
        let version = version(home, PinKind::Checklist, wanted)?;
        checklists.push(home.checklist(&wanted.id, version)?);
    }
    Ok(checklists)
}

fn version(home: &Home, kind: PinKind, wanted: &Wanted) -> anyhow::Result<Version> {
    match wanted.version {
        Some(version) => Ok(version),
        None => {
            home.newest(kind, &wanted.id)?.with_context(|| home.not_adopted(kind, &wanted.id, None))
        }
    }
}

/// Opens a job with these facts.
pub(super) fn open_with(
    home: &mut Home,
    file: &JobFile,
    facts: &Facts,
    by: &str,
    at: At,
) -> anyhow::Result<Job> {
    let mut job = file.job.clone();
    if home.store.job(&job.number)?.is_some() {
        bail!("job {} is open already; give the new job another number", job.number);
    }
    let checklists = pinned(home, file)?;
    job.pins.extend(checklists.iter().map(|checklist| Pin {
        kind: PinKind::Checklist,
        id: checklist.id.clone(),
        version: checklist.version,
        hash: checklist.hash,
    }));
    if let Some(wanted) = &file.profile {
        let version = version(home, PinKind::Profile, wanted)?;
        let profile = home.profile(&wanted.id, version)?;
        let (kind, id, hash) = (PinKind::Profile, wanted.id.clone(), profile.hash);
        job.pins.push(Pin { kind, id, version, hash });
        for checklist in &checklists {
            figures_fit(checklist, &profile)?;
        }
    }
    let needs = checklists.iter().find(|l| l.figures.iter().any(|f| f.default.is_none()));
    if let (None, Some(list)) = (&file.profile, needs) {
        let known = home.store.adopted(PinKind::Profile)?;
        let mut known: Vec<String> = known.into_iter().map(|adopted| adopted.id).collect();
        known.dedup();
        bail!(
            "{} computes with a product's figures: add profile = \"ID\" to the job file \
             (adopted: {})",
            list.id,
            if known.is_empty() { "none yet".to_owned() } else { known.join(", ") }
        );
    }
    let draft = |what, key: String| Draft {
        job: job.number.clone(),
        walk: None,
        at,
        by: by.to_owned(),
        how: How::File,
        what,
        corrects: None,
        key: Key(key),
    };
    let mut drafts = vec![draft(What::JobOpened(job.clone()), format!("open/{}", job.number))];
    for (name, value) in facts.iter() {
        let row = name.row.map_or_else(String::new, |row| format!("#{row}"));
        let key = format!("open/{}/{}{row}", job.number, name.name);
        drafts.push(draft(What::FactGiven(name.clone(), value.clone()), key));
    }
    home.store.open_job(&drafts)?;
    Ok(job)
}

/// A figure the checklist computes with has to be in the profile, of its kind.
fn figures_fit(checklist: &Checklist, profile: &crate::domain::Profile) -> anyhow::Result<()> {
    let mut wrong = Vec::new();
    for figure in &checklist.figures {
        match profile.figures.get(&figure.name) {
            None if figure.default.is_some() => {}
            None => wrong.push(format!("`{}` is missing ({})", figure.name, figure.ask)),
            Some((kind, _)) if kind.word() != figure.kind.word() => wrong.push(format!(
                "`{}` is a {} and has to be a {}",
                figure.name,
                kind.word(),
                figure.kind.word()
            )),
            Some((_, Value::Quantity(q))) if !figure.believes(*q) => {
                wrong.push(format!("`{}` is hard to believe ({})", figure.name, figure.ask));
            }
            Some(_) => {}
        }
    }
    if !wrong.is_empty() {
        bail!(
            "profile {} does not fit checklist {}: {}",
            profile.id,
            checklist.id,
            wrong.join("; ")
        );
    }
    Ok(())
}

/// A fact means the same in every checklist of a job.
pub(super) fn kinds_agree(checklists: &[&Checklist]) -> anyhow::Result<()> {
    for (at, a) in checklists.iter().enumerate() {
        for b in checklists.iter().skip(at + 1) {
            let clash = a
                .facts
                .iter()
                .find(|fact| b.fact(&fact.name).is_some_and(|other| other.kind != fact.kind));
            if let Some(fact) = clash {
                bail!(
                    "fact `{}` is not of the same kind in {} and {}: make them agree",
                    fact.name,
                    a.id,
                    b.id
                );
            }
        }
    }
    Ok(())
}

/// The JSON of a found job.
pub(super) fn found(job: &crate::store::FoundJob) -> Json {
    Json::object([
        ("number", Json::text(&job.number)),
        ("address", Json::text(&job.address)),
        ("owner", Json::text(&job.owner)),
        ("phone", Json::text(&job.phone)),
        ("opened_on", Json::text(&job.opened_on)),
        ("open_callbacks", Json::from(job.open_callbacks)),
        ("imported_as", job.imported.as_ref().map_or(Json::Null, Json::text)),
    ])
}
