//! `chalkhand record`.

use std::path::PathBuf;

use anyhow::bail;

use super::home::{Home, now, zone};
use super::out::{Out, write_file};
use crate::config::Config;
use crate::domain::{At, Due, JobFile, schedule};
use crate::export;

#[derive(Debug, clap::Args)]
pub(super) struct Arguments {
    /// The job's number
    job: String,
    /// Where to, by its ending: .json or .html
    #[arg(short, value_name = "FILE.json|.html", required = true)]
    output: PathBuf,
}

pub(super) fn run(config: &Config, arguments: &Arguments, out: &mut Out) -> anyhow::Result<()> {
    let home = Home::open(config)?;
    let file = home.job(&arguments.job)?;
    let record = file.record(&home.functions);
    let due = due(&file, now(&file.job)?)?;
    let path = &arguments.output;
    let text = match path.extension().and_then(|ending| ending.to_str()) {
        Some("json") => export::json::pretty(&export::json::record(&record, &due)),
        Some("html") => export::html::record(&record, &due),
        _ => bail!("`{}` has to end in .json or .html", path.display()),
    };
    write_file(path, text.as_bytes())?;
    Ok(out.line(&format!("wrote {}", path.display()))?)
}

/// The job's follow-ups as they stand.
pub(super) fn due(file: &JobFile, now: At) -> anyhow::Result<Vec<Due>> {
    let checklists: Vec<_> = file.checklists.iter().map(AsRef::as_ref).collect();
    Ok(schedule::due(&file.job, &checklists, &file.standing, &zone(&file.job)?, now))
}
