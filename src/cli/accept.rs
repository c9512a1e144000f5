//! `chalkhand accept`: somebody who may accepts the deviations of an entry.

use anyhow::bail;

use super::home::{Home, now, plain};
use super::out::Out;
use crate::config::Config;
use crate::domain::How;
use crate::export::{order, words};
use crate::office::deeds::{self, Deed};

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
    let (seq, reason) = (arguments.entry, arguments.reason.trim());
    if reason.is_empty() {
        bail!("say why it may stay: --reason \"…\"");
    }
    let (by, at) = (arguments.by.as_str(), now(&file.job)?);
    let deed = Deed { by, at, how: How::Command, key: None };
    let draft = deeds::accept(&file, &record, seq, reason, &deed).map_err(plain)?;
    home.store.append(&draft, Some(file.standing.last_seq))?;
    let open = deeds::deviations_of(&record, seq).filter(|of| of.accepted.is_none());
    for deviation in open {
        let title = order::title_in(&record, &deviation.need).unwrap_or_default();
        let what = words::about(&deviation.need.about);
        out.line(&format!("accepted entry {seq} of {title}: {what}"))?;
    }
    Ok(())
}
