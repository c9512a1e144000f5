//! What has to hold before a bundle is taken over: every file as listed, every
//! entry as it was hashed, each following the one before, and all that entries
//! name. All that is wrong is told at once.

use std::collections::{BTreeMap, BTreeSet};

use crate::domain::entry_json;
use crate::domain::{At, Entry, Hash, How, Job, Json, Photo, What};
use crate::sound::clip_sha256;

use super::manifest::{Listed, Manifest, hash, number};
use super::{
    ENTRIES, MANIFEST, MOST_FILE_BYTES, MOST_FILES, MOST_MANIFEST_BYTES, RECORD_JSON, Source,
    pin_name, wrong_name,
};

/// Most problems told.
const MOST_TOLD: usize = 50;

/// A bundle in which everything holds.
#[derive(Clone, Debug)]
pub struct Checked {
    /// Its list of files.
    pub manifest: Manifest,
    /// SHA-256 of the list itself.
    pub manifest_sha256: Hash,
    /// The job as opened.
    pub job: Job,
    /// The day it was opened, at the address.
    pub opened_on: jiff::civil::Date,
    /// The last entry's time.
    pub last_at: At,
    /// The texts of its entries, in order.
    pub entries: Vec<String>,
    /// Photos with the names of their files here.
    pub photos: Vec<(Photo, String)>,
    /// Previews by hash, with the names of their files here.
    pub previews: BTreeMap<Hash, String>,
    /// Clips by the hash of their samples, with the names of their files here.
    pub clips: BTreeMap<Hash, String>,
}

/// Looks at everything; `json` reads a text.
///
/// # Errors
/// Everything that is wrong, a sentence each.
pub fn check(
    source: &mut dyn Source,
    json: impl Fn(&str) -> Option<Json>,
) -> Result<Checked, Vec<String>> {
    let mut wrong = wrong_names(&source.names());
    let listed = match list(source, &json) {
        Ok(listed) => listed,
        Err(why) => {
            wrong.push(why);
            return Err(told(wrong));
        }
    };
    let (manifest, manifest_sha256) = listed;
    let names: BTreeSet<String> = source.names().into_iter().collect();
    for name in names.iter().filter(|name| *name != MANIFEST) {
        if !manifest.files.contains_key(name) {
            wrong.push(format!("`{}` is not in {MANIFEST}", name.escape_debug()));
        }
    }
    let sizes = manifest.files.values().map(|listed| listed.size_bytes);
    let whole = sizes.fold(0_u64, u64::saturating_add);
    if source.most_bytes() < whole {
        wrong.push(format!("it says it unpacks to {whole} bytes, which is not believable"));
        return Err(told(wrong));
    }
    let mut texts: BTreeMap<&str, String> = BTreeMap::new();
    let mut clips = BTreeMap::new();
    let mut amiss = BTreeSet::new();
    for (name, listed) in &manifest.files {
        match as_listed(source, name, listed, names.contains(name)) {
            Ok(bytes) if name.starts_with("clips/") => {
                match clip_sha256(&bytes).and_then(|hash| hash.parse().ok()) {
                    Some(sound) => _ = clips.insert(sound, name.clone()),
                    None => wrong.push(format!("`{name}` is no clip")),
                }
            }
            Ok(bytes) if matches!(name.as_str(), ENTRIES | RECORD_JSON) => {
                match String::from_utf8(bytes) {
                    Ok(text) => _ = texts.insert(name, text),
                    Err(_) => wrong.push(format!("`{name}` is not UTF-8 text")),
                }
            }
            Ok(_) => {}
            Err(why) => {
                amiss.insert(name.as_str());
                wrong.push(format!("`{}` {why}", name.escape_debug()));
            }
        }
    }
    // What is amiss with a file that is listed was told above.
    let missing = |name: &str| {
        (!manifest.files.contains_key(name)).then(|| format!("`{name}` is not in {MANIFEST}"))
    };
    let Some(text) = texts.get(ENTRIES) else {
        wrong.extend(missing(ENTRIES));
        return Err(told(wrong));
    };
    let (texts_of, entries) = entries(text, &manifest, &json, &mut wrong);
    match texts.get(RECORD_JSON).map(|text| json(text)) {
        None => wrong.extend(missing(RECORD_JSON)),
        Some(None) => wrong.push(format!("`{RECORD_JSON}` is no JSON")),
        Some(Some(record)) => record_fits(&record, &manifest, &mut wrong),
    }
    let job = entries.iter().find_map(|entry| match &entry.draft.what {
        What::JobOpened(job) => Some((job.clone(), entry.draft.at.date())),
        _ => None,
    });
    let last_at = entries.last().map(|entry| entry.draft.at);
    let (Some((job, opened_on)), Some(last_at)) = (job, last_at) else {
        wrong.push(format!("`{ENTRIES}` opens no job"));
        return Err(told(wrong));
    };
    for pin in &job.pins {
        let name = pin_name(pin);
        match manifest.files.get(&name) {
            None => wrong.push(format!("`{name}`, which the job pins, is missing")),
            Some(listed) if listed.sha256 != pin.hash => {
                wrong.push(format!("`{name}` is not what the job pins"));
            }
            Some(_) => {}
        }
    }
    let (photos, previews) = photos(&entries, &manifest, &mut wrong);
    // Which note a clip is of is known by its samples alone.
    if !amiss.iter().any(|name| name.starts_with("clips/")) {
        named_clips(&entries, &manifest, &clips, &mut wrong);
    }
    if !wrong.is_empty() {
        return Err(told(wrong));
    }
    Ok(Checked {
        manifest,
        manifest_sha256,
        job,
        opened_on,
        last_at,
        entries: texts_of,
        photos,
        previews,
        clips,
    })
}

/// The bytes of a file that is as listed, or what is amiss with it.
fn as_listed(
    source: &mut dyn Source,
    name: &str,
    listed: &Listed,
    is_there: bool,
) -> Result<Vec<u8>, String> {
    if let Some(why) = wrong_name(name) {
        return Err(why.to_owned());
    }
    if !is_there {
        return Err("is missing".to_owned());
    }
    if MOST_FILE_BYTES < listed.size_bytes {
        return Err(format!("is larger than {MOST_FILE_BYTES} bytes"));
    }
    let bytes =
        source.read(name, listed.size_bytes).map_err(|why| format!("cannot be read: {why}"))?;
    match Hash::of(&bytes) == listed.sha256 {
        true => Ok(bytes),
        false => Err("was changed: it has another SHA-256 than listed".to_owned()),
    }
}

fn told(mut wrong: Vec<String>) -> Vec<String> {
    if let Some(more) = wrong.len().checked_sub(MOST_TOLD).filter(|more| 0 < *more) {
        wrong.truncate(MOST_TOLD);
        wrong.push(format!("and {more} more"));
    }
    wrong
}

fn wrong_names(names: &[String]) -> Vec<String> {
    let mut wrong = Vec::new();
    if MOST_FILES < names.len() {
        wrong.push(format!("it has {} files, more than {MOST_FILES}", names.len()));
    }
    let mut seen = BTreeSet::new();
    for name in names {
        let shown = name.escape_debug();
        if let Some(why) = wrong_name(name) {
            wrong.push(format!("`{shown}` {why}"));
        } else if !seen.insert(name.to_ascii_lowercase()) {
            wrong.push(format!("`{shown}` has the name of another file but for its capitals"));
        }
    }
    wrong
}

fn list(
    source: &mut dyn Source,
    json: &impl Fn(&str) -> Option<Json>,
) -> Result<(Manifest, Hash), String> {
    if !source.names().iter().any(|name| name == MANIFEST) {
        return Err(format!(
            "there is no `{MANIFEST}` at its top: it is no bundle of this program"
        ));
    }
    let bytes = source
        .read(MANIFEST, MOST_MANIFEST_BYTES)
        .map_err(|why| format!("`{MANIFEST}` cannot be read: {why}"))?;
    let text = std::str::from_utf8(&bytes).ok().and_then(json);
    let json = text.ok_or_else(|| format!("`{MANIFEST}` is no JSON"))?;
    Ok((Manifest::read(&json)?, Hash::of(&bytes)))
}

/// Every entry that can be read, and its text.
fn entries(
    text: &str,
    manifest: &Manifest,
    json: &impl Fn(&str) -> Option<Json>,
    wrong: &mut Vec<String>,
) -> (Vec<String>, Vec<Entry>) {
    let mut texts = Vec::new();
    let mut entries: Vec<Entry> = Vec::new();
    if !text.ends_with('\n') {
        wrong.push(format!("`{ENTRIES}` does not end with a line"));
    }
    for (at, line) in text.split_terminator('\n').enumerate() {
        let place = format!("line {} of `{ENTRIES}`", at + 1);
        let hash = Hash::of(line.as_bytes());
        let read = json(line).and_then(|json| entry_json::read(&json, hash).ok());
        let Some(entry) = read else {
            wrong.push(format!("{place} is no entry"));
            continue;
        };
        let again = entry_json::sealed(entry.seq, &entry.draft, entry.previous).canonical();
        if again.is_ok_and(|again| again != line) {
            wrong.push(format!("{place} is not written as entries are"));
        }
        if entry.draft.job != manifest.job {
            wrong.push(format!("{place} is of another job"));
        }
        if let What::JobOpened(job) = &entry.draft.what
            && (at != 0 || job.number != manifest.job)
        {
            wrong.push(format!("{place} opens a job where none is to be opened"));
        }
        if let Some(before) = entries.last() {
            if entry.seq <= before.seq {
                wrong.push(format!("{place} does not come after the one before it"));
            } else if entry.seq == before.seq + 1 && entry.previous != before.hash {
                wrong.push(format!("{place} does not follow the entry before it"));
            }
        }
        texts.push(line.to_owned());
        entries.push(entry);
    }
    let first = entries.first().map(|entry| entry.hash);
    let last = entries.last().map(|entry| (entry.seq, entry.hash));
    let count = u64::try_from(entries.len()).unwrap_or(u64::MAX);
    if (first, last, count) != (Some(manifest.first), Some(manifest.last), manifest.entries) {
        wrong.push(format!("`{ENTRIES}` does not hold the entries that {MANIFEST} names"));
    }
    (texts, entries)
}

/// The record is of this job and was made from all of its entries.
fn record_fits(record: &Json, manifest: &Manifest, wrong: &mut Vec<String>) {
    let head = record.get("chain_head");
    let head =
        head.and_then(|head| Some((number(head, "entry_seq")?, hash(head, "entry_sha256")?)));
    let job = record.get("job").and_then(|job| job.get("number")).and_then(Json::as_text);
    if head != Some(manifest.last) || job != Some(&manifest.job) {
        wrong.push(format!("`{RECORD_JSON}` is not the record of these entries"));
    }
}

type Found = (Vec<(Photo, String)>, BTreeMap<Hash, String>);

fn photos(entries: &[Entry], manifest: &Manifest, wrong: &mut Vec<String>) -> Found {
    let by_hash: BTreeMap<Hash, &String> =
        manifest.files.iter().map(|(name, listed)| (listed.sha256, name)).collect();
    let (mut photos, mut previews) = (Vec::new(), BTreeMap::new());
    for entry in entries {
        let What::PhotoKept { photo, .. } = &entry.draft.what else { continue };
        let parts = [
            (photo.sha256, photo.path(), true),
            (photo.preview_sha256, photo.preview_path(), false),
        ];
        for (hash, path, original) in parts {
            match by_hash.get(&hash) {
                Some(name) if original => {
                    photos.push((photo.as_ref().clone(), (*name).clone()));
                }
                Some(name) => _ = previews.insert(hash, (*name).clone()),
                None if manifest.missing.contains(&path) => {}
                None => wrong.push(format!("the file of SHA-256 {hash}, a photo, is missing")),
            }
        }
    }
    (photos, previews)
}

/// Notes have their clips, and nothing is among the clips that no entry names.
fn named_clips(
    entries: &[Entry],
    manifest: &Manifest,
    clips: &BTreeMap<Hash, String>,
    wrong: &mut Vec<String>,
) {
    let mut named = BTreeSet::new();
    for entry in entries {
        if let How::Voice(heard) = &entry.draft.how {
            named.insert(heard.sound);
        }
        let What::Noted { clip: Some(clip), .. } = &entry.draft.what else { continue };
        named.insert(clip.sound);
        if !clips.contains_key(&clip.sound) && !manifest.missing.contains(&clip.path()) {
            wrong.push(format!("the clip of the note in entry {} is missing", entry.seq));
        }
    }
    for (sound, name) in clips {
        if !named.contains(sound) {
            wrong.push(format!("no entry names the sound of `{name}`"));
        }
    }
}
