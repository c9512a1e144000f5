//! `chalkhand import`: the record of a job of another device, read from its
//! bundle, checked whole before anything of it is kept.

mod folder;

use std::fs::{self, File};
use std::io::BufReader;
use std::path::{Path, PathBuf};

use anyhow::{Context, bail};
use jiff::tz::TimeZone;

use super::home::Home;
use super::out::Out;
use crate::bundle::{self, Checked, Source, ZipSource};
use crate::config::Config;
use crate::daemon;
use crate::domain::jws::{Jws, Kind};
use crate::domain::{Fingerprint, Hash, Json, hearing, sealing};
use crate::export::check;
use crate::files;
use crate::store::{self, Clips, Import, Imported, ImportedFile, Lies, Photos};

use folder::FolderSource;

#[derive(Debug, clap::Args)]
pub(super) struct Arguments {
    /// What `chalkhand export` wrote on the other device: a folder or a .zip file
    #[arg(value_name = "FOLDER|FILE.zip")]
    bundle: PathBuf,
    /// Who imports it
    #[arg(long, default_value = "office")]
    by: String,
}

pub(super) fn run(config: &Config, arguments: &Arguments, out: &mut Out) -> anyhow::Result<()> {
    let mut home = Home::open(config)?;
    let path = &arguments.bundle;
    let refused = |wrong: Vec<String>| {
        anyhow::anyhow!("nothing was imported from `{}`: {}", path.display(), wrong.join("; "))
    };
    let mut source = source(path)?.map_err(refused)?;
    let checked = bundle::check(source.as_mut(), store::read_json).map_err(refused)?;
    let key = sealed(source.as_mut(), &checked).map_err(|why| refused(vec![why]))?;
    let import = import(config, source.as_mut(), &checked).map_err(|why| refused(vec![why]))?;
    let at = daemon::now(&TimeZone::system());
    let done = home.store.import(&import, at, &arguments.by)?;
    let name = home.store.imports()?.into_iter().find(|job| job.first == import.first);
    let name = name.map_or_else(|| import.job.number.clone(), |job| job.name());
    let (entries, photos) = (import.entries, checked.photos.len());
    out.line(&match done {
        Imported::New => format!("imported job {name}: {entries} entries, {photos} photos"),
        Imported::More(0) => format!("imported job {name} anew: no entry is new"),
        Imported::More(more) => format!("imported job {name} anew: {more} entries are new"),
        Imported::Before => format!("job {name} is here already; nothing was added"),
        Imported::Older => format!("job {name} is here in a newer state; nothing was added"),
    })?;
    out.line(&format!("  sealed by {key}: compare with the fingerprint the company gave you"))?;
    for missing in &checked.manifest.missing {
        out.line(&format!("  ! `{missing}` was missing on the device it comes from"))?;
    }
    Ok(())
}

/// Whether the record's seal holds, over these very entries: who sealed it.
fn sealed(source: &mut dyn Source, checked: &Checked) -> Result<Fingerprint, String> {
    let name = bundle::RECORD_JSON;
    let listed = checked.manifest.files.get(name).ok_or_else(|| format!("`{name}` is missing"))?;
    let bytes = source.read(name, listed.size_bytes)?;
    let record = files::read_json(&bytes).map_err(|why| format!("`{name}`: {why}"))?;
    let entries = record.get("log").and_then(|log| log.get("entries")).and_then(Json::as_list);
    let hashes = entries.unwrap_or_default().iter();
    let hashes = hashes.map(|entry| entry.get("sha256").and_then(Json::as_text));
    let here = checked.entries.iter().map(|text| Hash::of(text.as_bytes()).to_string());
    if !here.map(Some).eq(hashes.map(|hash| hash.map(str::to_owned))) {
        return Err(format!("`{name}` was sealed over other entries than `{}`", bundle::ENTRIES));
    }
    let report = check::record(record);
    if report.holds() && signer(source, checked)? != report.key {
        return Err(format!("`{}` is not signed by the key of the record", bundle::MANIFEST));
    }
    let wrong = report.findings.iter().find(|finding| !finding.holds);
    match (wrong, report.key) {
        (None, Some(key)) => Ok(key),
        (Some(wrong), _) => Err(format!("`{name}` does not hold: {}", wrong.says)),
        (None, None) => Err(format!("`{name}` is not sealed")),
    }
}

/// Who signed the list of files; none where nobody did or it was changed since.
fn signer(source: &mut dyn Source, checked: &Checked) -> Result<Option<Fingerprint>, String> {
    let name = bundle::MANIFEST;
    let bytes = source.read(name, bundle::MOST_MANIFEST_BYTES)?;
    if bundle::Listed::of(&bytes).sha256 != checked.manifest_sha256 {
        return Err(format!("`{name}` was changed meanwhile"));
    }
    let list = files::read_json(&bytes).map_err(|why| format!("`{name}`: {why}"))?;
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
    Ok(ZipSource::new(BufReader::new(file)).map(|source| Box::new(source) as Box<dyn Source>))
}

/// Puts photos and clips beside the log, where they are the same for everybody,
/// and gathers the rest.
fn import(config: &Config, source: &mut dyn Source, checked: &Checked) -> Result<Import, String> {
    let manifest = &checked.manifest;
    let mut read = |name: &str| {
        let listed = manifest.files.get(name).ok_or_else(|| format!("`{name}` is missing"))?;
        let bytes = source.read(name, listed.size_bytes)?;
        // It may be another file by now.
        if bundle::Listed::of(&bytes) == *listed {
            Ok(bytes)
        } else {
            Err(format!("`{name}` was changed meanwhile"))
        }
    };
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
    let bytes = source.read(bundle::MANIFEST, bundle::MOST_MANIFEST_BYTES)?;
    let listed = bundle::Listed::of(&bytes);
    if listed.sha256 != checked.manifest_sha256 {
        return Err(format!("`{}` was changed meanwhile", bundle::MANIFEST));
    }
    let (path, lies) = (bundle::MANIFEST.to_owned(), Lies::Here(bytes));
    files.push(ImportedFile { path, sha256: listed.sha256, lies });
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
