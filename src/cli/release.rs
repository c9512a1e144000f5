//! `chalkhand release`: a hold point is released by somebody in its role.

use anyhow::bail;

use super::home::{Home, now};
use super::out::Out;
use crate::config::Config;
use crate::domain::entry::{How, Key};
use crate::domain::{At, Draft, JobFile, PointKind, PointStanding, StepRef, WalkId, What};

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
    let Ok(step): Result<StepRef, _> = step.parse();
    let waiting = waiting(file);
    // Where several walks wait at it, the newest is the one on the roof.
    let found = waiting.iter().rev().find(|(_, at, _)| **at == step);
    let Some((walk, _, point)) = found else {
        let names: Vec<String> = waiting.iter().map(|(_, at, _)| at.to_string()).collect();
        let names = if names.is_empty() { "none".to_owned() } else { names.join(", ") };
        bail!("no hold point waits at `{step}` on job {}; waiting: {names}", file.job.number);
    };
    if point.role != role {
        bail!("`{step}` is released by the {}, not by the {role}", point.role);
    }
    if !file.job.holds(by, role) {
        let people = file.job.people.iter().filter(|person| person.role == role);
        let names: Vec<&str> = people.map(|person| person.name.as_str()).collect();
        let (number, names) = (&file.job.number, names.join(", "));
        bail!("{by} is not a {role} of job {number}; who is: {names}");
    }
    let draft = Draft {
        job: file.job.number.clone(),
        walk: Some((*walk).clone()),
        at,
        by: by.to_owned(),
        how: How::Command,
        what: What::Released { step: step.clone(), role: role.to_owned() },
        corrects: None,
        key: Key(format!("release/{}/{walk}/{step}/{}", file.job.number, point.reached)),
    };
    home.store.append(&draft, None)?;
    Ok(())
}

/// Hold points that were reached and not released.
pub(super) fn waiting(file: &JobFile) -> Vec<(&WalkId, &StepRef, &PointStanding)> {
    let walks = file.standing.walks.iter();
    let steps = walks.flat_map(|(id, walk)| walk.steps.iter().map(move |(at, s)| (id, at, s)));
    steps
        .filter_map(|(id, at, stood)| Some((id, at, stood.point.as_ref()?)))
        .filter(|(_, _, point)| point.kind == PointKind::Hold && point.released.is_none())
        .collect()
}
