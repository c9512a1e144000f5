//! `chalkhand callback visit`: the walk of a visit, linked to its call.

use anyhow::{Context, bail};

use super::super::home::{Home, plain};
use super::super::out::Out;
use super::super::walk::{How, walk_as};
use super::{draft, open_one};
use crate::config::Config;
use crate::domain::{Checklist, JobFile, Pin, PinKind, WalkId, What};
use crate::office;
use crate::office::opening::kinds_agree;

#[derive(Debug, clap::Args)]
pub(in crate::cli) struct Arguments {
    /// The job's number
    job: String,
    /// Which call of the job
    id: u32,
    /// The checklist of the visit
    #[arg(long, default_value = "leak-visit", value_name = "ID")]
    checklist: String,
    /// Begin a further visit where the last one has ended
    #[arg(long)]
    further: bool,
    #[command(flatten)]
    how: How,
}

pub(super) fn run(config: &Config, arguments: &Arguments, out: &mut Out) -> anyhow::Result<()> {
    arguments.how.check()?;
    let mut home = Home::open(config)?;
    let mut file = home.job(&arguments.job)?;
    open_one(&file, arguments.id)?;
    if file.checklist(&arguments.checklist).is_none() {
        pin(&mut home, &file, arguments, out)?;
        file = home.job(&arguments.job)?;
    }
    let (visit, is_new) = visit(&file, arguments)?;
    if is_new {
        let checklist = file.checklist(&visit.checklist).context("the visit is not pinned")?;
        office::facts_are_known(&home.functions, &file, checklist).map_err(plain)?;
        let (number, id) = (&file.job.number, arguments.id);
        let what = What::CallbackVisited { id, visit: visit.clone() };
        let key = format!("callback/{number}/{id}/visit/{visit}");
        let draft = draft(&file, &arguments.how.by, what, key)?;
        home.store.append(&draft, Some(file.standing.last_seq))?;
        file = home.job(&arguments.job)?;
    }
    out.line(&format!("(visit of callback {}: the walk {visit})", arguments.id))?;
    walk_as(config, &mut home, &file, &visit, &arguments.how, out)
}

/// The call's visit that has not ended, or the next walk of the checklist.
fn visit(file: &JobFile, arguments: &Arguments) -> anyhow::Result<(WalkId, bool)> {
    let callback = open_one(file, arguments.id)?;
    let has_ended =
        |walk: &WalkId| file.standing.walks.get(walk).is_some_and(|stood| stood.ended.is_some());
    if let Some((walk, _)) = callback.visits.last().filter(|(walk, _)| !has_ended(walk)) {
        return Ok((walk.clone(), false));
    }
    if let Some((walk, _)) = callback.visits.last().filter(|_| !arguments.further) {
        bail!(
            "callback {} was visited, and the walk {walk} has ended; close it with: chalkhand \
             callback close, or begin a further visit with --further",
            arguments.id
        );
    }
    let Some((newest, _)) = file.standing.walks_of(&arguments.checklist).next_back() else {
        return Ok((WalkId::first(&arguments.checklist), true));
    };
    if !has_ended(newest) {
        let mut calls = file.standing.callbacks.values();
        let of = calls.find(|call| call.visits.iter().any(|(walk, _)| walk == newest));
        // A call that was closed all the same stands in nobody's way.
        if of.is_none_or(|call| call.closed.is_none()) {
            let of = of.map(|call| format!(" of callback {}", call.call.id));
            bail!("{newest}{} is open: finish it first", of.unwrap_or_default());
        }
    }
    Ok((newest.next(), true))
}

/// Pins the newest adopted version to a job that was opened without it.
fn pin(
    home: &mut Home,
    file: &JobFile,
    arguments: &Arguments,
    out: &mut Out,
) -> anyhow::Result<()> {
    let (id, number) = (arguments.checklist.as_str(), &file.job.number);
    let newest = home.newest(PinKind::Checklist, id)?;
    let version = newest.with_context(|| home.not_adopted(PinKind::Checklist, id, None))?;
    let checklist = home.checklist(id, version)?;
    let mut all: Vec<&Checklist> = file.checklists.iter().map(AsRef::as_ref).collect();
    all.push(&checklist);
    kinds_agree(&all).map_err(plain)?;
    if let Some(figure) = checklist.figures.iter().find(|figure| figure.default.is_none()) {
        let name = &figure.name;
        let profile = file.profile.as_ref();
        if profile.is_none_or(|profile| !profile.figures.contains_key(name)) {
            bail!("{id} computes with the figure `{name}`, which job {number} has no profile for");
        }
    }
    // Nothing is pinned for a walk that could not begin.
    office::facts_are_known(&home.functions, file, &checklist).map_err(plain)?;
    let pin = Pin { kind: PinKind::Checklist, id: id.to_owned(), version, hash: checklist.hash };
    let line = format!("pinned {id}@{version} ({})", pin.hash.short());
    let draft = draft(file, &arguments.how.by, What::Pinned(pin), format!("pin/{number}/{id}"))?;
    home.store.append(&draft, Some(file.standing.last_seq))?;
    Ok(out.line(&line)?)
}
