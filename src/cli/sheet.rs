//! `chalkhand sheet`.

use std::path::PathBuf;

use anyhow::{Context, bail};

use super::home::Home;
use super::out::{Out, write_file};
use crate::config::Config;
use crate::export;

#[derive(Debug, clap::Args)]
pub(super) struct Arguments {
    /// The job's number
    job: String,
    /// Where to, by its ending: .txt, .json, .html (to print) or .svg (the drawing)
    #[arg(short, value_name = "FILE.txt|.json|.html|.svg")]
    output: Option<PathBuf>,
    /// As JSON on standard output
    #[arg(long)]
    json: bool,
}

pub(super) fn run(config: &Config, arguments: &Arguments, out: &mut Out) -> anyhow::Result<()> {
    let home = Home::open(config)?;
    let (file, imported) = home.job_to_read(&arguments.job)?;
    let record = file.record_of_now(&home.functions);
    let Some(path) = &arguments.output else {
        return if arguments.json {
            out.json(&export::sheet_json::sheet(&record))
        } else {
            if let Some(says) = imported {
                out.line(&says)?;
            }
            Ok(out.text(&export::sheet_text::sheet(&record))?)
        };
    };
    let text = match path.extension().and_then(|ending| ending.to_str()) {
        Some("txt") => export::sheet_text::sheet(&record),
        Some("json") => export::json::pretty(&export::sheet_json::sheet(&record)),
        Some("html") => export::html::sheet(&record, &export::drawing::plates(&record)),
        Some("svg") => export::drawing::sheet(&record).context(
            "there is nothing to draw: no checklist of this job lays anything out, or facts are \
             missing; see the warnings of: chalkhand sheet JOB",
        )?,
        _ => bail!("`{}` has to end in .txt, .json, .html or .svg", path.display()),
    };
    write_file(path, text.as_bytes())?;
    Ok(out.line(&format!("wrote {}", path.display()))?)
}
