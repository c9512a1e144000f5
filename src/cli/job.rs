//! `chalkhand job`: open, list, show.

use std::path::PathBuf;

use anyhow::Context;

use super::home::{Home, plain, read_text};
use super::out::Out;
use crate::config::Config;
use crate::daemon;
use crate::domain::{Checklist, How, PinKind};
use crate::export;
use crate::office::opening::{self, Opener};

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
            let (Home { store, functions, .. }, name) = (&mut home, file.display().to_string());
            let opener = Opener { by: &by, how: How::File, key: None };
            let job = opening::open(store, functions, (&text, &name), &opener, daemon::now);
            let job = job.map_err(plain)?;
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
            let (file, imported) = home.job_to_read(&job)?;
            let record = file.record(&home.functions);
            if json {
                out.json(&export::json::record(&record, &[]))
            } else {
                if let Some(says) = imported {
                    out.line(&says)?;
                }
                Ok(out.text(&export::listing::job(&record))?)
            }
        }
    }
}
