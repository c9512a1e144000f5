//! `chalkhand import`: the record of a job of another device, read from its
//! bundle, checked whole before anything of it is kept.

mod folder;

use std::fs::{self, File};
use std::io::{BufRead as _, BufReader};
use std::path::{Path, PathBuf};

use anyhow::{Context, bail};
use jiff::tz::TimeZone;

use super::home::Home;
use super::out::{Out, many};
use super::seal;
use super::typed::fingerprint;
use crate::bundle::{self, Checked, Source, ZipSource};
use crate::config::Config;
use crate::daemon;
use crate::domain::jws::{Jws, Kind};
use crate::domain::{Fingerprint, Hash, Json, hearing, sealing};
use crate::export::check::{self, Report, State};
use crate::files;
use crate::store::{self, Clips, Import, Imported, ImportedFile, Lies, Photos};

use folder::FolderSource;

#[derive(Debug, clap::Args)]
pub(super) struct Arguments {
    /// What `chalkhand export` wrote on the other device: a folder or a .zip file
    #[arg(value_name = "FOLDER|FILE.zip")]
    bundle: PathBuf,
    /// The fingerprint the company gave you, or a file with what `seal key` printed;
    /// what another key sealed is refused
    #[arg(long, value_name = "FINGERPRINT|FILE", allow_hyphen_values = true,
          value_parser = fingerprint)]
    key: Option<Fingerprint>,
    /// Who imports it
    #[arg(long, default_value = "office")]
    by: String,
}

pub(super) fn run(config: &Config, arguments: &Arguments, out: &mut Out) -> anyhow::Result<()> {
    let mut home = Home::open(config)?;
    let path = &arguments.bundle;
    let refused = |wrong: Vec<String>| {
        anyhow::anyhow!(
            "nothing was imported from `{}`: {}; ask for it anew, as `chalkhand export` writes it",
            path.display(),
            wrong.join("; ")
        )
    };
    let mut source = source(path)?.map_err(refused)?;
    let checked = bundle::check(source.as_mut(), store::read_json).map_err(refused)?;
    let mut again = Again { source: source.as_mut(), checked: &checked };
    let report = sealed(&mut again).map_err(|why| refused(vec![why]))?;
    let known = home.store.device_keys()?;
    let known: Vec<Fingerprint> = known.into_iter().map(|key| key.fingerprint).collect();
    let (key, whose) = seal::whose(&report, arguments.key, &known);
    if key == State::Broken {
        bail!(
            "nothing was imported from `{}`: its record is {whose}; ask the company which \
             fingerprint is right before you take it",
            path.display()
        );
    }
    let import = import(config, &mut again).map_err(|why| refused(vec![why]))?;
    let at = daemon::now(&TimeZone::system());
    let done = home.store.import(&import, at, &arguments.by)?;
    let name = home.store.imports()?.into_iter().find(|job| job.first == import.first);
    let name = name.map_or_else(|| import.job.number.clone(), |job| job.name());
    let entries = many(import.entries, "entry", "entries");
    let photos = many(checked.photos.len(), "photo", "photos");
    out.line(&match done {
        Imported::New => format!("imported job {name}: {entries}, {photos}"),
        Imported::More(0) => format!("imported job {name} anew: no entry is new"),
        Imported::More(1) => format!("imported job {name} anew: 1 entry is new"),
        Imported::More(more) => format!("imported job {name} anew: {more} entries are new"),
        Imported::Before => format!("job {name} is here already; nothing was added"),
        Imported::Older => format!("job {name} is here in a newer state; nothing was added"),
    })?;
    out.line(&format!("  {whose}"))?;
    for missing in &checked.manifest.missing {
        out.line(&format!("  ! `{missing}` was missing or changed on the device it comes from"))?;
    }
    Ok(())
}

/// A bundle that was checked, to be read again.
struct Again<'a> {
    source: &'a mut dyn Source,
    checked: &'a Checked,
}

impl Again<'_> {
    /// A file that is listed, or the list itself: by now it may be another one.
    fn read(&mut self, name: &str) -> Result<Vec<u8>, String> {
        let (most_bytes, sha256) = if name == bundle::MANIFEST {
            (bundle::MOST_MANIFEST_BYTES, self.checked.manifest_sha256)
        } else {
            let listed = self.checked.manifest.files.get(name);
            let listed = listed.ok_or_else(|| format!("`{name}` is missing"))?;
            (listed.size_bytes, listed.sha256)
        };
        let bytes = self.source.read(name, most_bytes)?;
        if Hash::of(&bytes) == sha256 {
            Ok(bytes)
        } else {
            Err(format!("`{name}` was changed by somebody while it was read: import it once more"))
        }
    }
}

/// What the check of the record's seal came to, where it holds over these very
/// entries.
fn sealed(again: &mut Again<'_>) -> Result<Report, String> {
    let name = bundle::RECORD_JSON;
    let read = check::text(&again.read(name)?, files::read_json, &seal::Beside);
    let (document, report) = read.map_err(|why| format!("`{name}`: {why}"))?;
    let entries = document.get("log").and_then(|log| log.get("entries")).and_then(Json::as_list);
    let hashes = entries.unwrap_or_default().iter();
    let hashes = hashes.map(|entry| entry.get("sha256").and_then(Json::as_text));
    let here = again.checked.entries.iter().map(|text| Hash::of(text.as_bytes()).to_string());
    if !here.map(Some).eq(hashes.map(|hash| hash.map(str::to_owned))) {
        return Err(format!("`{name}` was sealed over other entries than `{}`", bundle::ENTRIES));
    }
    if report.holds() && signer(again)? != report.key {
        return Err(format!("`{}` is not signed by the key of the record", bundle::MANIFEST));
    }
    match report.findings.iter().find(|finding| !finding.holds()) {
        Some(wrong) => Err(format!("`{name}` does not hold: {}", wrong.says)),
        None if report.key.is_none() => Err(format!("`{name}` is not sealed")),
        None => Ok(report),
    }
}

/// Who signed the list of files; none where nobody did or it was changed since.
fn signer(again: &mut Again<'_>) -> Result<Option<Fingerprint>, String> {
    let name = bundle::MANIFEST;
    let list = files::read_json(&again.read(name)?).map_err(|why| format!("`{name}`: {why}"))?;
    let Json::Object(mut members) = list else { return Ok(None) };
    let Some(seal) = members.remove("seal").as_ref().and_then(Jws::read) else { return Ok(None) };
    let Ok(payload) = sealing::payload(&Json::Object(members)) else { return Ok(None) };
    Ok(seal.check(Kind::Bundle, &payload).ok().map(|key| key.fingerprint()))
}

type Opened = Result<Box<dyn Source>, Vec<String>>;

fn source(path: &Path) -> anyhow::Result<Opened> {
    let kind = fs::metadata(path)
        .with_context(|| format!("`{}` cannot be read: check the name", path.display()))?;
    if kind.is_dir() {
        return Ok(FolderSource::open(path).map(|source| Box::new(source) as Box<dyn Source>));
    }
    if !kind.is_file() {
        bail!("`{}` is no file and no folder", path.display());
    }
    let file = File::open(path).with_context(|| format!("`{}` cannot be read", path.display()))?;
    let mut file = BufReader::new(file);
    if !file.fill_buf()?.starts_with(b"PK") {
        bail!(
            "`{}` is no whole ZIP file: name the folder or ZIP file that `chalkhand export` wrote; a \
             record by itself is looked at with: chalkhand seal check FILE",
            path.display()
        );
    }
    Ok(ZipSource::new(file).map(|source| Box::new(source) as Box<dyn Source>))
}

/// Puts photos and clips beside the log, where they are the same for everybody,
/// and gathers the rest.
fn import(config: &Config, again: &mut Again<'_>) -> Result<Import, String> {
    let checked = again.checked;
    let manifest = &checked.manifest;
    let mut read = |name: &str| again.read(name);
    let mut beside = std::collections::BTreeMap::new();
    let said = |error: store::BlobError| error.to_string();
    let photos = Photos::of(&config.data);
    for (photo, name) in &checked.photos {
        photos.keep_original(photo, &read(name)?).map_err(said)?;
        beside.insert(name.clone(), photo.path());
    }
    for (hash, name) in &checked.previews {
        photos.keep_preview(*hash, &read(name)?).map_err(said)?;
        beside.insert(name.clone(), crate::domain::photo::preview_path(*hash));
    }
    let clips = Clips::of(&config.data);
    for (sound, name) in &checked.clips {
        clips.keep(*sound, &read(name)?).map_err(said)?;
        beside.insert(name.clone(), hearing::path_of(*sound));
    }
    let mut files = Vec::new();
    for (path, listed) in &manifest.files {
        let lies = match beside.get(path) {
            Some(kept) => Lies::Beside(kept.clone()),
            None => Lies::Here(read(path)?),
        };
        files.push(ImportedFile { path: path.clone(), sha256: listed.sha256, lies });
    }
    let (path, lies) = (bundle::MANIFEST.to_owned(), Lies::Here(read(bundle::MANIFEST)?));
    files.push(ImportedFile { path, sha256: checked.manifest_sha256, lies });
    Ok(Import {
        first: manifest.first,
        job: checked.job.clone(),
        opened_on: checked.opened_on.to_string(),
        entries: manifest.entries,
        last: manifest.last,
        last_at: checked.last_at,
        manifest_sha256: checked.manifest_sha256,
        text: checked.entries.iter().map(|text| format!("{text}\n")).collect(),
        files,
    })
}
