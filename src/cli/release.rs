//! `chalkhand release`: a hold point is released by somebody in its role.

use super::home::{Home, now, plain};
use super::out::Out;
use crate::config::Config;
use crate::domain::{At, How, JobFile};
use crate::office::deeds::{self, Deed};

pub(super) use crate::office::deeds::waiting;

#[derive(Debug, clap::Args)]
pub(super) struct Arguments {
    /// The job's number
    job: String,
    /// The step that waits, `cut` or `cut#2` for the second row
    step: String,
    /// Who releases it
    #[arg(long)]
    by: String,
    /// In which role
    #[arg(long)]
    role: String,
}

pub(super) fn run(config: &Config, arguments: &Arguments, out: &mut Out) -> anyhow::Result<()> {
    let mut home = Home::open(config)?;
    let file = home.job(&arguments.job)?;
    let at = now(&file.job)?;
    release(&mut home, &file, &arguments.step, &arguments.by, &arguments.role, at)?;
    Ok(out.line(&format!("released {} on job {}", arguments.step, arguments.job))?)
}

pub(super) fn release(
    home: &mut Home,
    file: &JobFile,
    step: &str,
    by: &str,
    role: &str,
    at: At,
) -> anyhow::Result<()> {
    let deed = Deed { by, at, how: How::Command, key: None };
    let draft = deeds::release(file, None, step, role, &deed).map_err(plain)?;
    home.store.append(&draft, None)?;
    Ok(())
}
