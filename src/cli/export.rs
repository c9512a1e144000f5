//! `chalkhand export`: a job as files that others read without this program.

use std::collections::{BTreeMap, BTreeSet};
use std::fs::{self, OpenOptions};
use std::io::Write as _;
use std::path::{Path, PathBuf};

use anyhow::{Context, bail};

use super::home::{Home, plain, zone};
use super::out::{Out, many, write_file, write_whole};
use crate::bundle::{self, Listed, Manifest, ZipTarget};
use crate::config::Config;
use crate::domain::{How, JobFile, Record, What, hearing};
use crate::export;
use crate::store::{BlobError, Clips, ImportedJob, Lies, Photos};

#[derive(Debug, clap::Args)]
pub(super) struct Arguments {
    /// The job's number
    job: String,
    /// Where to: a new or empty folder, or a file that ends in .zip
    #[arg(short, value_name = "FOLDER|FILE.zip", required = true)]
    output: PathBuf,
}

/// A file of a bundle before it is written.
#[derive(Debug)]
pub(super) enum Piece {
    Bytes(Vec<u8>),
    /// In a file of the data folder.
    Beside(String),
}

type Pieces = BTreeMap<String, Piece>;

pub(super) fn run(config: &Config, arguments: &Arguments, out: &mut Out) -> anyhow::Result<()> {
    let mut home = Home::open(config)?;
    let (pieces, missing) = match home.store.last_seq(&arguments.job)? {
        0 => (imported(&home, &arguments.job)?, Vec::new()),
        _ => own(config, &mut home, &arguments.job)?,
    };
    let path = &arguments.output;
    if path.extension().is_some_and(|ending| ending == "zip") {
        write_zip(config, path, &pieces)?;
    } else {
        write_folder(config, path, &pieces)?;
    }
    let files = many(pieces.len(), "file", "files");
    out.line(&format!("wrote {} with {files}", path.display()))?;
    for path in missing {
        out.line(&format!("  ! `{path}` is missing or was changed, so it is not in it"))?;
    }
    Ok(())
}

/// The bundle of a job of this log, and what entries name and has no whole file.
fn own(config: &Config, home: &mut Home, number: &str) -> anyhow::Result<(Pieces, Vec<String>)> {
    let file = home.job(number)?;
    let record = file.record(&home.functions);
    let mut pieces = Pieces::new();
    let mut missing = BTreeSet::new();
    photos(config, &record, &mut pieces, &mut missing)?;
    clips(config, &file, &mut pieces, &mut missing)?;
    for (name, bytes) in outputs(config, home, &file, &record)? {
        pieces.insert(name, Piece::Bytes(bytes));
    }
    for pin in &file.job.pins {
        let body = home.store.adopted_body(pin.kind, &pin.id, pin.version)?;
        let body = body.with_context(|| home.not_adopted(pin.kind, &pin.id, Some(pin.version)))?;
        pieces.insert(bundle::pin_name(pin), Piece::Bytes(body.into_bytes()));
    }
    let texts = home.store.texts(number)?;
    let lines: String = texts.iter().map(|text| format!("{text}\n")).collect();
    pieces.insert(bundle::ENTRIES.to_owned(), Piece::Bytes(lines.into_bytes()));
    let readme = export::readme::bundle(&record, pieces.keys());
    pieces.insert("README.txt".to_owned(), Piece::Bytes(readme.into_bytes()));
    let (Some(first), Some(last)) = (file.entries.first(), file.entries.last()) else {
        bail!("job {number} has no entries");
    };
    let mut files = BTreeMap::new();
    for (name, piece) in &pieces {
        files.insert(name.clone(), Listed::of(&bytes(config, piece)?));
    }
    let missing: Vec<String> = missing.into_iter().collect();
    let manifest = Manifest {
        job: number.to_owned(),
        invented: file.job.invented,
        entries: u64::try_from(file.entries.len())?,
        first: first.hash,
        last: (last.seq, last.hash),
        missing: missing.clone(),
        files,
    };
    let manifest = super::seal::listed(home, manifest.json())?;
    let manifest = export::json::pretty(&manifest);
    pieces.insert(bundle::MANIFEST.to_owned(), Piece::Bytes(manifest.into_bytes()));
    Ok((pieces, missing))
}

/// What is made from the log alone: the same log gives the same bytes, so dates
/// are as they stood at the last entry. Another form of the record is one more
/// line here.
fn outputs(
    config: &Config,
    home: &mut Home,
    file: &JobFile,
    record: &Record,
) -> anyhow::Result<Vec<(String, Vec<u8>)>> {
    let Some(last) = file.entries.last() else { return Ok(Vec::new()) };
    let (zone, at) = (zone(&file.job)?, last.draft.at);
    let due = super::record::due(config, file, at)?;
    let previews = super::kept::previews(config, record)?;
    let sealed = super::seal::sealed(home, file, export::json::record(record, &due))?;
    let pages = sealed.pages(&previews, None).map_err(plain)?;
    let html = export::html::record_with_photos(record, &due, &previews);
    let mut outputs = vec![
        (bundle::RECORD_JSON, sealed.text.into_bytes()),
        (bundle::RECORD_HTML, html.into_bytes()),
        ("record.pdf", pages),
        ("entries.csv", export::csv::entries(file)?.into_bytes()),
        ("steps.csv", export::csv::steps(record)?.into_bytes()),
        ("materials.csv", export::csv::materials(record)?.into_bytes()),
    ];
    if !due.is_empty() {
        let dates = export::calendar::ics(&file.job, &due, &zone)?;
        outputs.push(("follow-ups.ics", dates.into_bytes()));
    }
    Ok(outputs.into_iter().map(|(name, bytes)| (name.to_owned(), bytes)).collect())
}

fn photos(
    config: &Config,
    record: &Record,
    pieces: &mut Pieces,
    missing: &mut BTreeSet<String>,
) -> anyhow::Result<()> {
    let photos = Photos::of(&config.data);
    for (at, kept) in record.photos.iter().enumerate() {
        let photo = &kept.photo;
        let name = bundle::photo_name(at + 1, kept.step.as_ref(), photo);
        let original = is_whole(photos.original(photo))?;
        let preview = is_whole(photos.preview(photo.preview_sha256))?;
        let parts = [
            (original, name, photo.path()),
            (preview, bundle::preview_name(photo.preview_sha256), photo.preview_path()),
        ];
        for (whole, name, path) in parts {
            if whole {
                pieces.insert(name, Piece::Beside(path));
            } else {
                missing.insert(path);
            }
        }
    }
    Ok(())
}

fn is_whole(read: Result<Option<Vec<u8>>, BlobError>) -> Result<bool, BlobError> {
    match read {
        Ok(bytes) => Ok(bytes.is_some()),
        Err(BlobError::Other { .. }) => Ok(false),
        Err(refused) => Err(refused),
    }
}

/// Clips of notes, and of answers where they are kept.
fn clips(
    config: &Config,
    file: &JobFile,
    pieces: &mut Pieces,
    missing: &mut BTreeSet<String>,
) -> anyhow::Result<()> {
    let clips = Clips::of(&config.data);
    let mut seen = BTreeSet::new();
    for entry in &file.entries {
        let noted = match &entry.draft.what {
            What::Noted { clip: Some(clip), .. } => Some(clip.sound),
            _ => None,
        };
        let heard = match &entry.draft.how {
            How::Voice(heard) => Some(heard.sound),
            _ => None,
        };
        for (sound, wanted) in [(noted, true), (heard, false)] {
            let Some(sound) = sound.filter(|sound| !seen.contains(sound)) else { continue };
            let path = hearing::path_of(sound);
            let bytes = clips.read(sound)?;
            let whole = bytes.and_then(|bytes| crate::sound::clip_sha256(&bytes));
            if whole == Some(sound.to_string()) {
                seen.insert(sound);
                let name = bundle::clip_name(seen.len(), entry.draft.what.step(), sound);
                pieces.insert(name, Piece::Beside(path));
            } else if wanted {
                missing.insert(path);
            }
        }
    }
    Ok(())
}

/// An imported job goes out as it came in.
fn imported(home: &Home, name: &str) -> anyhow::Result<Pieces> {
    let job = home.imported(name)?;
    let files = home.store.import_files(job.id)?;
    let pieces = files.into_iter().map(|file| {
        let piece = match file.lies {
            Lies::Here(bytes) => Piece::Bytes(bytes),
            Lies::Beside(kept) => Piece::Beside(kept),
        };
        (file.path, piece)
    });
    Ok(pieces.collect())
}

/// The record of an imported job, as it came: `record.json` as .json, and so on.
pub(super) fn record_of(
    config: &Config,
    home: &Home,
    job: &ImportedJob,
    path: &Path,
) -> anyhow::Result<()> {
    let pieces = imported(home, &job.name())?;
    let ending = path.extension().and_then(|ending| ending.to_str()).unwrap_or_default();
    let piece = pieces.get(&format!("record.{ending}"));
    let piece = piece.with_context(|| {
        let there = pieces.keys().filter_map(|name| name.strip_prefix("record"));
        let there: Vec<&str> = there.collect();
        format!("`{}` has to end in {}", path.display(), there.join(" or "))
    })?;
    write_file(path, &bytes(config, piece)?)
}

fn bytes(config: &Config, piece: &Piece) -> anyhow::Result<Vec<u8>> {
    match piece {
        Piece::Bytes(bytes) => Ok(bytes.clone()),
        Piece::Beside(kept) => {
            let path = config.data.join(kept);
            fs::read(&path).with_context(|| {
                format!("`{}` cannot be read: look for it in a backup", path.display())
            })
        }
    }
}

fn write_zip(config: &Config, path: &Path, pieces: &Pieces) -> anyhow::Result<()> {
    write_whole(path, |part| {
        let mut options = OpenOptions::new();
        options.create(true).truncate(true).read(true).write(true);
        let mut zip = ZipTarget::new(options.open(part)?);
        for (name, piece) in pieces {
            zip.add(name, &bytes(config, piece)?)?;
        }
        Ok(zip.finish()?.sync_all()?)
    })
}

fn write_folder(config: &Config, path: &Path, pieces: &Pieces) -> anyhow::Result<()> {
    fs::create_dir_all(path).with_context(|| format!("`{}` cannot be made", path.display()))?;
    if fs::read_dir(path)?.next().is_some() {
        bail!("`{}` is not empty: name a new folder", path.display());
    }
    for (name, piece) in pieces {
        let bytes = bytes(config, piece)?;
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
