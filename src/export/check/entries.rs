//! The entries in a record: each as it was logged, in order, linked.

use crate::domain::{Entry, Hash, Json, entry_json, merkle};

use super::places::Places;
use super::{Part, Report};

/// An entry whose text has its hash and whether it has its place in the log; or what
/// is wrong: the entry it is about, where that is known, and a sentence.
pub(super) type Read = Result<(Entry, bool), (Option<u64>, String)>;

/// Reads entries and checks that each is as it was logged.
pub(super) fn read(items: &[Json], places: &Places) -> Vec<Read> {
    let (mut text, mut places) = (String::new(), places.looked_up());
    let one = |item| {
        let entry = as_logged(item, &mut text)?;
        let placed = places.has(item, entry.seq, merkle::leaf(text.as_bytes()));
        Ok((entry, placed))
    };
    items.iter().map(one).collect()
}

/// One entry against its hash. Its text is written where that of the one before was.
fn as_logged(item: &Json, text: &mut String) -> Result<Entry, (Option<u64>, String)> {
    let Some(json) = item.get("entry") else { return Err((None, "an entry is missing".into())) };
    let seq = json.get("seq").and_then(Json::as_whole).and_then(|n| u64::try_from(n).ok());
    let name = || seq.map_or_else(|| "an entry".to_owned(), |seq| format!("entry {seq}"));
    text.clear();
    let written = json.write_canonical(text);
    let hash = Hash::of(text.as_bytes());
    let told = item.get("sha256").and_then(Json::as_text).and_then(|told| told.parse().ok());
    if written.is_err() || told != Some(hash) {
        return Err((seq, format!("{} was changed: its text no longer has its hash", name())));
    }
    let entry = entry_json::read(json, hash).map_err(|why| (seq, why.to_string()))?;
    // Nothing may ride along that is read over.
    if !entry_json::is_sealed(json, &entry) {
        return Err((seq, format!("{} holds something that no entry has", name())));
    }
    Ok(entry)
}

/// Tells what could not be read, and whether the others are in order, linked and all
/// of one job from its opening on.
pub(super) fn in_order(report: &mut Report, all: &[&Read]) {
    let mut wrong = Vec::new();
    let mut last: Option<&Entry> = None;
    for (at, read) in all.iter().enumerate() {
        let entry = match read {
            Ok((entry, _)) => entry,
            Err(told) => {
                wrong.push(told.clone());
                continue;
            }
        };
        let seq = entry.seq;
        if let Some(before) = last {
            if seq <= before.seq {
                let says = format!("entry {seq} stands after entry {}: out of order", before.seq);
                wrong.push((Some(seq), says));
            } else if seq == before.seq + 1 && entry.previous != before.hash {
                let says = format!("entry {seq} does not follow the entry before it");
                wrong.push((Some(seq), says));
            }
            if entry.draft.job != before.draft.job {
                let (other, job) = (&entry.draft.job, &before.draft.job);
                let says = format!("entry {seq} is of job {other}, not of job {job}");
                wrong.push((Some(seq), says));
            }
        }
        if at == 0 && entry.draft.what.word() != "job-opened" {
            let says = format!("the entry that opened the job is left out: entry {seq} is first");
            wrong.push((Some(seq), says));
        }
        last = Some(entry);
    }
    if all.is_empty() {
        wrong.push((None, "it holds no entries".to_owned()));
    }
    let right = format!("{} entries are as they were logged, in order", all.len());
    report.all(Part::Entries, wrong, right);
}
