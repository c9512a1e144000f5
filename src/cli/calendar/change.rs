//! `chalkhand calendar move`, `cancel` and `add`: each is an entry, with who and
//! why. What is unusual about it is done all the same, and said.

use super::super::home::{Home, now, plain, stranger};
use super::super::out::Out;
use super::super::typed::needed;
use super::{line, settings};
use crate::config::Config;
use crate::domain::How;
use crate::office::dates::{self, Changed};
use crate::office::{self, Deed};

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
    let now = now(&file.job)?;
    let said;
    let wanted = match change {
        Change::Move { date, to, why, .. } => {
            said = needed("why", "--why", why)?;
            dates::Change::Move { date, to, why: &said }
        }
        Change::Cancel { date, why, .. } => {
            said = needed("why", "--why", why)?;
            dates::Change::Cancel { date, why: &said }
        }
        Change::Add { on, title, who, lasts, .. } => {
            said = needed("what it is", "--title", title)?;
            let (who, lasts_min) = (who.as_deref(), *lasts);
            dates::Change::Add { on, lasts_min, title: &said, who, visit: None }
        }
    };
    let deed = Deed { by, at: now, how: How::Command, key: None };
    let changed = dates::change(&mut home.store, &mut file, &settings, wanted, &deed);
    let Changed { draft, was, mut unusual } = changed.map_err(plain)?;
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
