//! `chalkhand callback open`: what the caller said, in the caller's words.

use anyhow::bail;
use jiff::civil::Date;

use super::super::home::{Home, now};
use super::super::out::Out;
use super::super::typed::{day, needed, said};
use super::draft;
use crate::config::Config;
use crate::domain::{Call, RowRef, What, desk};

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
    let today = now(&file.job)?.date();
    let reported: Date = match &arguments.reported {
        None => today,
        Some(text) => day(text)?,
    };
    if today < reported {
        bail!("{reported} is to come: say the day on which it was reported");
    }
    let record = file.record_of_now(&home.functions);
    let mut rows = Vec::new();
    for (table, row) in [("plane", arguments.plane), ("run", arguments.run)] {
        let Some(row) = row else { continue };
        let table = table.to_owned();
        match desk::rows(&record, &table) {
            None => out.line(&format!(
                "(no {table} of this job is known; {table} {row} is kept as it was said)"
            ))?,
            Some(known) if row == 0 || known < row => {
                bail!("job {number} has no {table} {row}; its {table}s are 1 to {known}")
            }
            Some(_) => {}
        }
        rows.push(RowRef { table, row });
    }
    let id = file.standing.callbacks.keys().max().map_or(1, |last| last.saturating_add(1));
    let call = Call {
        id,
        reported,
        water: needed("where water came in", "--where", &arguments.water)?,
        rows,
        edge: said(arguments.edge.as_ref()),
        caller: needed("who called", "--caller", &arguments.caller)?,
        phone: said(arguments.phone.as_ref()),
    };
    let what = What::CallbackOpened(Box::new(call));
    let draft = draft(&file, &arguments.by, what, format!("callback/{number}/{id}/open"))?;
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
