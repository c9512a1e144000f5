//! `chalkhand find`.

use super::home::Home;
use super::out::Out;
use crate::config::Config;
use crate::domain::Json;
use crate::office::lists;
use crate::store::FoundJob;

#[derive(Debug, clap::Args)]
pub(super) struct Arguments {
    /// Any words of address, owner, phone, number or date
    #[arg(required = true)]
    words: Vec<String>,
    /// As JSON
    #[arg(long)]
    json: bool,
}

pub(super) fn run(config: &Config, arguments: &Arguments, out: &mut Out) -> anyhow::Result<()> {
    let home = Home::open(config)?;
    let found = home.store.find(&arguments.words, 50)?;
    if found.is_empty() && !arguments.json {
        let words = arguments.words.join(" ");
        anyhow::bail!("no job has all of these words: {words}; try fewer or shorter words");
    }
    print(&found, arguments.json, out)
}

pub(super) fn print(found: &[FoundJob], json: bool, out: &mut Out) -> anyhow::Result<()> {
    if json {
        return out.json(&Json::List(found.iter().map(lists::found).collect()));
    }
    for job in found {
        let calls = match job.open_callbacks {
            0 => String::new(),
            1 => "  1 open callback".to_owned(),
            open => format!("  {open} open callbacks"),
        };
        let name = job.imported.as_ref().unwrap_or(&job.number);
        let imported = if job.imported.is_some() { "  (imported, only read)" } else { "" };
        out.line(&format!(
            "{name:<14} opened {}  {}  {}  {}{calls}{imported}",
            job.opened_on, job.address, job.owner, job.phone
        ))?;
    }
    if found.is_empty() {
        out.line("no jobs yet; open one with: chalkhand job open FILE")?;
    }
    Ok(())
}
