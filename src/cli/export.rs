//! `chalkhand export`: a job as files that others read without this program.

use std::fs::{self, OpenOptions};
use std::io::Write as _;
use std::path::{Path, PathBuf};
use std::sync::Arc;

use anyhow::{Context, bail};

use super::home::{Home, now, plain};
use super::out::{Out, ending, many, write_file, write_whole};
use crate::config::Config;
use crate::office::bundled::{self, Pieces};
use crate::store::ImportedJob;

/// Endings of files that somebody may expect here; a folder is not called so.
const FILES: [&str; 13] =
    ["7z", "bz2", "csv", "gz", "html", "ics", "json", "pdf", "rar", "tar", "tgz", "xz", "zst"];

#[derive(Debug, clap::Args)]
pub(super) struct Arguments {
    /// The job's number
    job: String,
    /// Where to: a new or empty folder, or a file that ends in .zip
    #[arg(short, value_name = "FOLDER|FILE.zip", required = true)]
    output: PathBuf,
}

pub(super) fn run(config: &Config, arguments: &Arguments, out: &mut Out) -> anyhow::Result<()> {
    let mut home = Home::open(config)?;
    let (pieces, missing) = match home.store.last_seq(&arguments.job)? {
        0 => {
            let job = home.imported(&arguments.job)?;
            (bundled::imported_bundle(&home.store, &job)?, Vec::new())
        }
        _ => own(config, &mut home, &arguments.job)?,
    };
    let path = &arguments.output;
    match ending(path).as_str() {
        "zip" => write_zip(config, path, &pieces)?,
        other if FILES.contains(&other) => bail!(
            "`{}` is named as a file of another kind: name a folder, or a file that ends in .zip",
            path.display()
        ),
        _ => write_folder(config, path, &pieces)?,
    }
    let files = many(pieces.len(), "file", "files");
    out.line(&format!("wrote {} with {files}", path.display()))?;
    for path in missing {
        out.line(&format!("  ! `{path}` is missing or was changed, so it is not in it"))?;
    }
    Ok(())
}

fn own(config: &Config, home: &mut Home, number: &str) -> anyhow::Result<(Pieces, Vec<String>)> {
    let file = home.job(number)?;
    let (now, functions) = (now(&file.job)?, Arc::clone(&home.functions));
    bundled::bundle(config, &mut home.store, &functions, &file, now).map_err(plain)
}

/// The record of an imported job, as it came: `record.json` as .json, and so on.
pub(super) fn record_of(
    config: &Config,
    home: &Home,
    job: &ImportedJob,
    path: &Path,
) -> anyhow::Result<()> {
    let pieces = bundled::imported_bundle(&home.store, job)?;
    let piece = pieces.get(&format!("record.{}", ending(path)));
    let piece = piece.with_context(|| {
        let there = pieces.keys().filter_map(|name| name.strip_prefix("record"));
        let there: Vec<&str> = there.collect();
        format!("`{}` has to end in {}", path.display(), there.join(" or "))
    })?;
    write_file(path, &bundled::bytes(config, piece).map_err(plain)?)
}

fn write_zip(config: &Config, path: &Path, pieces: &Pieces) -> anyhow::Result<()> {
    write_whole(path, |part| {
        let mut options = OpenOptions::new();
        options.create(true).truncate(true).read(true).write(true);
        let zip = bundled::write_zip(config, pieces, options.open(part)?).map_err(plain)?;
        Ok(zip.sync_all()?)
    })
}

fn write_folder(config: &Config, path: &Path, pieces: &Pieces) -> anyhow::Result<()> {
    fs::create_dir_all(path).with_context(|| format!("`{}` cannot be made", path.display()))?;
    if fs::read_dir(path)?.next().is_some() {
        bail!("`{}` is not empty: name a new folder", path.display());
    }
    for (name, piece) in pieces {
        let bytes = bundled::bytes(config, piece).map_err(plain)?;
        let to = path.join(name);
        let written = (|| {
            fs::create_dir_all(to.parent().unwrap_or(path))?;
            let mut file = OpenOptions::new().create_new(true).write(true).open(&to)?;
            file.write_all(&bytes)?;
            file.sync_all()
        })();
        written.with_context(|| {
            format!("`{}` could not be written; the folder is not whole", to.display())
        })?;
    }
    Ok(())
}
