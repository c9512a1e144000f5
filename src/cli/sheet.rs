//! `chalkhand sheet`.

use std::path::PathBuf;

use anyhow::bail;

use super::home::Home;
use super::out::{Out, write_file};
use crate::config::Config;
use crate::export;

#[derive(Debug, clap::Args)]
pub(super) struct Arguments {
    /// The job's number
    job: String,
    /// Where to, by its ending: .txt or .json
    #[arg(short, value_name = "FILE.txt|.json")]
    output: Option<PathBuf>,
    /// As JSON on standard output
    #[arg(long)]
    json: bool,
}

pub(super) fn run(config: &Config, arguments: &Arguments, out: &mut Out) -> anyhow::Result<()> {
    let home = Home::open(config)?;
    let record = home.job(&arguments.job)?.record(&home.functions);
    let Some(path) = &arguments.output else {
        return if arguments.json {
            out.json(&export::json::sheet(&record))
        } else {
            Ok(out.text(&export::text::sheet(&record))?)
        };
    };
    let text = match path.extension().and_then(|ending| ending.to_str()) {
        Some("txt") => export::text::sheet(&record),
        Some("json") => export::json::pretty(&export::json::sheet(&record)),
        _ => bail!("`{}` has to end in .txt or .json", path.display()),
    };
    write_file(path, text.as_bytes())?;
    Ok(out.line(&format!("wrote {}", path.display()))?)
}
