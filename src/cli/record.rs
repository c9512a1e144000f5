//! `chalkhand record`.

use std::path::PathBuf;
use std::sync::Arc;

use anyhow::bail;

use super::home::{Home, now, plain};
use super::out::{Out, ending, write_file};
use crate::config::Config;
use crate::domain::{At, Due, JobFile};
use crate::export::pdf::Paper;
use crate::office::{self, RecordForm};

#[derive(Debug, clap::Args)]
pub(super) struct Arguments {
    /// The job's number
    job: String,
    /// Where to, by its ending: .pdf, .html or .json
    #[arg(short, value_name = "FILE.pdf|.html|.json", required = true)]
    output: PathBuf,
    /// The paper of a .pdf; without it what the units of the job go with
    #[arg(long, value_name = "a4|letter", value_parser = paper)]
    paper: Option<Paper>,
}

fn paper(word: &str) -> Result<Paper, String> {
    match word {
        "a4" => Ok(Paper::A4),
        "letter" => Ok(Paper::Letter),
        _ => Err("expected a4 or letter".to_owned()),
    }
}

pub(super) fn run(config: &Config, arguments: &Arguments, out: &mut Out) -> anyhow::Result<()> {
    let mut home = Home::open(config)?;
    let path = &arguments.output;
    if home.store.last_seq(&arguments.job)? == 0 {
        let imported = home.imported(&arguments.job)?;
        super::export::record_of(config, &home, &imported, path)?;
        return Ok(out.line(&format!("wrote {}", path.display()))?);
    }
    let file = home.job(&arguments.job)?;
    let form = match ending(path).as_str() {
        "json" => RecordForm::Json,
        "html" => RecordForm::Html,
        "pdf" => RecordForm::Pdf(arguments.paper),
        _ => bail!("`{}` has to end in .pdf, .html or .json", path.display()),
    };
    let (now, functions) = (now(&file.job)?, Arc::clone(&home.functions));
    let bytes = office::record(config, &mut home.store, &functions, &file, form, now);
    let bytes = bytes.map_err(plain)?;
    write_file(path, &bytes)?;
    Ok(out.line(&format!("wrote {}", path.display()))?)
}

/// The dates of a job that stand.
pub(super) fn due(config: &Config, file: &JobFile, now: At) -> anyhow::Result<Vec<Due>> {
    office::due(config, file, now).map_err(plain)
}
