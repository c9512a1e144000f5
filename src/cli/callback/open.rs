//! `chalkhand callback open`: what the caller said, in the caller's words.

use jiff::civil::Date;

use super::super::home::{Home, now, plain};
use super::super::out::Out;
use super::super::typed::{day, needed};
use crate::config::Config;
use crate::domain::How;
use crate::office::Deed;
use crate::office::calls::{self, NewCall};

#[derive(Debug, clap::Args)]
pub(in crate::cli) struct Arguments {
    /// The job's number; find it with: chalkhand find WORDS
    job: String,
    /// Where water came in, in the caller's words
    #[arg(long = "where", value_name = "WORDS")]
    water: String,
    /// The plane of the drawing, where somebody knows it
    #[arg(long, value_name = "NUMBER")]
    plane: Option<u32>,
    /// The run of the drawing, where somebody knows it
    #[arg(long, value_name = "NUMBER")]
    run: Option<u32>,
    /// The edge or thing it is near, such as a valley or a chimney
    #[arg(long, value_name = "WORDS")]
    edge: Option<String>,
    /// Who called
    #[arg(long, value_name = "NAME")]
    caller: String,
    /// How to reach the caller, where that is not the owner
    #[arg(long)]
    phone: Option<String>,
    /// The day it was reported, 2026-11-25; today where none is named
    #[arg(long, value_name = "DATE")]
    reported: Option<String>,
    /// Who takes it down
    #[arg(long, value_name = "NAME")]
    by: String,
}

pub(super) fn run(config: &Config, arguments: &Arguments, out: &mut Out) -> anyhow::Result<()> {
    let mut home = Home::open(config)?;
    let file = home.job(&arguments.job)?;
    let number = &file.job.number;
    let at = now(&file.job)?;
    let reported: Date = match &arguments.reported {
        None => at.date(),
        Some(text) => day(text)?,
    };
    let record = file.record_of_now(&home.functions);
    let new = NewCall {
        water: &needed("where water came in", "--where", &arguments.water)?,
        plane: arguments.plane,
        run: arguments.run,
        edge: arguments.edge.as_deref(),
        caller: &needed("who called", "--caller", &arguments.caller)?,
        phone: arguments.phone.as_deref(),
        reported,
    };
    let by = needed("who it is", "--by", &arguments.by)?;
    let deed = Deed { by: &by, at, how: How::Command, key: None };
    let (id, draft, remarks) = calls::open_call(&file, &record, &new, &deed).map_err(plain)?;
    for remark in remarks {
        out.line(&format!("({remark})"))?;
    }
    // Two calls taken down at once are two calls.
    home.store.append(&draft, Some(file.standing.last_seq))?;
    out.line(&format!("opened callback {id} of job {number}"))?;
    if file.standing.walks.values().all(|walk| walk.ended.is_none()) {
        out.line(&format!(
            "(no walk of job {number} has ended: nothing in the log says that anything was \
             installed there; check the job's number)"
        ))?;
    }
    Ok(out.line(&format!("what to look at first: chalkhand callback show {number} {id}"))?)
}
