//! `chalkhand calendar`: gives follow-ups out and logs that it did.

use std::path::PathBuf;

use anyhow::bail;

use super::home::{Home, now, zone};
use super::out::{Out, write_file};
use crate::config::Config;
use crate::domain::schedule;
use crate::export;

#[derive(Debug, clap::Args)]
pub(super) struct Arguments {
    /// The job's number
    job: String,
    /// Where to, ending in .ics
    #[arg(short, value_name = "FILE.ics", required = true)]
    output: PathBuf,
    /// Who gives the dates out
    #[arg(long, default_value = "office")]
    by: String,
}

pub(super) fn run(config: &Config, arguments: &Arguments, out: &mut Out) -> anyhow::Result<()> {
    let path = &arguments.output;
    if path.extension().is_none_or(|ending| ending != "ics") {
        bail!("`{}` has to end in .ics", path.display());
    }
    let mut home = Home::open(config)?;
    let file = home.job(&arguments.job)?;
    let now = now(&file.job)?;
    let due = super::record::due(&file, now)?;
    if due.is_empty() {
        bail!(
            "job {} has no follow-ups yet: they are dated from the day a checklist's last step \
             is settled",
            file.job.number
        );
    }
    let ics = export::calendar::ics(&file.job, &due, &zone(&file.job)?)?;
    write_file(path, ics.as_bytes())?;
    let by = &arguments.by;
    for draft in schedule::issue(&file.job, &due, &file.standing, now, by) {
        home.store.append(&draft, None)?;
    }
    out.line(&format!("wrote {} with {} follow-ups", path.display(), due.len()))?;
    for due in &due {
        out.line(&format!("  {}  {}", due.start.date(), due.title))?;
    }
    Ok(())
}
