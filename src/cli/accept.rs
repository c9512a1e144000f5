//! `chalkhand accept`: somebody who may accepts the deviations of an entry.

use anyhow::bail;

use super::home::{Home, now};
use super::out::Out;
use crate::config::Config;
use crate::domain::deviation::{may_accept, role_of};
use crate::domain::entry::{How, Key};
use crate::domain::{At, Deviation, DeviationKind, Draft, JobFile, Record, What};
use crate::export::{order, words};

#[derive(Debug, clap::Args)]
pub(super) struct Arguments {
    /// The job's number
    job: String,
    /// The entry whose deviation is accepted, as the record and the day log number it
    entry: u64,
    /// Who accepts it: the foreman, or whoever may release the step's own hold point
    #[arg(long, value_name = "NAME")]
    by: String,
    /// Why it may stay
    #[arg(long)]
    reason: String,
}

pub(super) fn run(config: &Config, arguments: &Arguments, out: &mut Out) -> anyhow::Result<()> {
    let mut home = Home::open(config)?;
    let file = home.job(&arguments.job)?;
    let record = file.record(&home.functions);
    let at = now(&file.job)?;
    let draft = draft(&file, &record, arguments, at)?;
    home.store.append(&draft, Some(file.standing.last_seq))?;
    let of: Vec<&Deviation> = of_entry(&record, arguments.entry).collect();
    for deviation in of.iter().filter(|deviation| deviation.accepted.is_none()) {
        let title = order::title_in(&record, &deviation.need).unwrap_or_default();
        let what = words::about(&deviation.need.about);
        out.line(&format!("accepted entry {} of {title}: {what}", arguments.entry))?;
    }
    Ok(())
}

fn of_entry(record: &Record, seq: u64) -> impl Iterator<Item = &Deviation> {
    record.deviations.iter().filter(move |deviation| deviation.need.seq == Some(seq))
}

fn draft(file: &JobFile, record: &Record, arguments: &Arguments, at: At) -> anyhow::Result<Draft> {
    let (number, seq, by) = (&file.job.number, arguments.entry, arguments.by.as_str());
    let reason = arguments.reason.trim();
    if reason.is_empty() {
        bail!("say why it may stay: --reason \"…\"");
    }
    let of: Vec<&Deviation> = of_entry(record, seq).collect();
    let Some(first) = of.first() else {
        let open = words::entries(&record.open_deviations());
        bail!("entry {seq} of job {number} shows no deviation that stands; those that do: {open}");
    };
    let open: Vec<DeviationKind> = of
        .iter()
        .filter(|deviation| deviation.accepted.is_none())
        .filter_map(|deviation| DeviationKind::of(&deviation.need.about))
        .collect();
    if let (true, Some(before)) = (open.is_empty(), &first.accepted) {
        bail!(
            "entry {seq} was accepted before, by {} in entry {}: {}",
            before.by,
            before.seq,
            before.reason
        );
    }
    let walk = first.need.walk.clone();
    let checklist = file.checklist(&walk.checklist).map(AsRef::as_ref);
    let roles = may_accept(checklist, first.need.step.as_ref());
    let Some(role) = role_of(&file.job, by, &roles) else {
        let people = file.job.people.iter().filter(|p| roles.contains(&p.role.as_str()));
        let names: Vec<&str> = people.map(|person| person.name.as_str()).collect();
        let names =
            if names.is_empty() { "nobody on this job".to_owned() } else { names.join(", ") };
        bail!(
            "{by} may not accept it: that is for the {} of job {number}, who is: {names}",
            roles.join(" or the ")
        );
    };
    let Some(step) = first.need.step.clone() else {
        bail!("entry {seq} is of no step");
    };
    let kinds: Vec<&str> = open.iter().map(|kind| kind.word()).collect();
    Ok(Draft {
        job: number.clone(),
        walk: Some(walk),
        at,
        by: by.to_owned(),
        how: How::Command,
        key: Key(format!("accept/{number}/{seq}/{}", kinds.join("+"))),
        what: What::Accepted {
            entry: seq,
            step,
            kinds: open,
            role: role.to_owned(),
            reason: reason.to_owned(),
        },
        corrects: None,
    })
}
