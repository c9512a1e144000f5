//! `chalkhand callback visit`: the walk of a visit, linked to its call.

use super::super::home::{Home, now, plain};
use super::super::out::Out;
use super::super::typed::needed;
use super::super::walk::{How, walk_as};
use crate::config::Config;
use crate::domain;
use crate::office::Deed;
use crate::office::visits::{self, LEAK_VISIT, Visit, Wanted};

#[derive(Debug, clap::Args)]
pub(in crate::cli) struct Arguments {
    /// The job's number
    job: String,
    /// Which call of the job
    id: u32,
    /// The checklist of the visit
    #[arg(long, default_value = LEAK_VISIT, value_name = "ID")]
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
    let file = home.job(&arguments.job)?;
    let id = arguments.id;
    let by = needed("who it is", "--by", &arguments.how.by)?;
    let deed = Deed { by: &by, at: now(&file.job)?, how: domain::How::Command, key: None };
    let wanted = Wanted { id, checklist: &arguments.checklist, further: arguments.further };
    let visit = visits::take_up(&mut home.store, &home.functions, file, wanted, &deed);
    let Visit { walk, pinned, file } = visit.map_err(plain)?;
    if let Some(pin) = pinned {
        out.line(&format!("pinned {}@{} ({})", pin.id, pin.version, pin.hash.short()))?;
    }
    out.line(&format!("(visit of callback {id}: the walk {walk})"))?;
    walk_as(config, &mut home, &file, &walk, &arguments.how, out)
}
