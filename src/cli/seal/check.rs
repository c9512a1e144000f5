//! `chalkhand seal check`: works on a machine that has nothing but the file.

use std::fs::File;
use std::io::Read as _;
use std::mem::ManuallyDrop;
use std::path::{Path, PathBuf};

use anyhow::{Context as _, bail};

use super::super::out::Out;
use super::super::typed::fingerprint;
use super::apart;
use super::beside::Beside;
use crate::config::Config;
use crate::domain::{Fingerprint, Json, sealing};
use crate::export;
use crate::export::check::{self, Finding, Part, Report, State};
use crate::export::pdf::Paper;
use crate::files;
use crate::store::Store;

#[derive(Debug, clap::Args)]
pub(in super::super) struct Arguments {
    /// A sealed record, .json or .pdf
    file: PathBuf,
    /// The fingerprint the company gave you, or a file with what `seal key` printed
    #[arg(long, value_name = "FINGERPRINT|FILE", allow_hyphen_values = true,
          value_parser = fingerprint)]
    key: Option<Fingerprint>,
    /// As JSON
    #[arg(long)]
    json: bool,
}

pub(in super::super) fn run(
    config: Option<&Config>,
    arguments: &Arguments,
    out: &mut Out,
) -> anyhow::Result<()> {
    let shown = arguments.file.display();
    let bytes = read_file(&arguments.file)?;
    let unread = || format!("`{shown}` was not checked");
    if bytes.trim_ascii_start().starts_with(b"<") {
        bail!("`{shown}` is a page and has no seal: check the .pdf or the .json of the record");
    }
    let report = match bytes.starts_with(b"%PDF-") {
        true => pdf(bytes).with_context(unread)?,
        false => record(&bytes).with_context(unread)?.1,
    };
    let known = config.and_then(known_here).unwrap_or_default();
    let (key, key_says) = whose(&report, arguments.key, &known);
    let holds = report.holds() && key != State::Broken;
    if arguments.json {
        out.json(&json(&report, holds, (key, &key_says)))?;
    } else {
        if !report.job.is_empty() {
            out.line(&format!("record of job {}", report.job))?;
        }
        for finding in &report.findings {
            line(out, finding.state, finding.part.word(), &finding.says)?;
        }
        line(out, key, "key", &key_says)?;
        for says in &report.says_of_itself {
            out.line(&format!("says of itself  {says}"))?;
        }
        if let Some(hash) = report.hash {
            out.line(&format!("record hash     {hash}"))?;
        }
        if holds && key == State::NotCompared {
            out.line("Anybody can seal: this holds only if that fingerprint is the company's.")?;
        }
    }
    let advice = "do not rely on it, and ask the company for the record anew";
    let broken = report.findings.iter().filter(|finding| finding.state == State::Broken);
    let only_pages = broken.map(|finding| finding.part).eq([Part::Pages]) && key != State::Broken;
    match report.since() {
        _ if holds => Ok(()),
        _ if only_pages => bail!(
            "the pages of `{shown}` do not hold: do not rely on them. The record attached to it \
             does, alone; ask the company for the PDF anew"
        ),
        Some(seq) => bail!("`{shown}` does not hold: see from entry {seq} on; {advice}"),
        None if report.is_broken() || key == State::Broken => {
            bail!("`{shown}` does not hold; {advice}")
        }
        None => bail!(
            "the record attached to `{shown}` holds, and its pages were not compared with it: rely \
             on the attached record, not on the pages"
        ),
    }
}

/// A record and what the check of it came to. The program ends after this, so the record
/// is not taken apart again value by value.
fn record(text: &[u8]) -> Result<(ManuallyDrop<Json>, Report), files::Unread> {
    let (record, report) = check::text(text, files::read_json, &Beside)?;
    Ok((ManuallyDrop::new(record), report))
}

/// What is attached, and whether the pages are those made of it.
fn pdf(bytes: Vec<u8>) -> anyhow::Result<Report> {
    let attached = apart::attached(bytes.clone())?;
    let (record, mut report) = record(&attached)?;
    // Only a record that holds is worth the work, and only then it is its maker's.
    if report.holds() {
        let (state, says) = pages(&bytes, &attached, &record)?;
        report.findings.push(Finding { part: Part::Pages, state, seq: None, says });
    }
    Ok(report)
}

/// The pages follow from the record and the photos alone, so they are made again.
fn pages(pdf: &[u8], attached: &[u8], record: &Json) -> anyhow::Result<(State, String)> {
    let maker = record.get("made_by").and_then(Json::as_text).unwrap_or("another program");
    if maker != sealing::PROGRAM {
        let says = format!(
            "{maker} made them and this is {}, which lays pages out otherwise: check them with \
             {maker}; the seal is over the attached record alone",
            sealing::PROGRAM
        );
        return Ok((State::NotCompared, says));
    }
    let text = std::str::from_utf8(attached)?;
    let photos = files::pictures(pdf);
    let photo = |hash: &str| hash.parse().ok().and_then(|hash| photos.get(&hash).cloned());
    for paper in [Paper::Letter, Paper::A4] {
        if export::pdf::record(text, record, photo, paper)? == pdf {
            let all = record.get("photos").and_then(Json::as_list).unwrap_or_default();
            let hash = |one: &Json| one.get("preview_sha256")?.as_text()?.parse().ok();
            let there =
                all.iter().filter_map(hash).filter(|hash| photos.contains_key(hash)).count();
            let says = match all.len() {
                all if all == there => {
                    "they are those made of the record and its photos".to_owned()
                }
                all => format!(
                    "they are those made of the record, with {there} of its {all} photos: the \
                     others were not on the machine that made them"
                ),
            };
            return Ok((State::Holds, says));
        }
    }
    let says = "they are not those that this program makes of the attached record: what they \
                show may have been changed; rely on the attached record alone, or ask for the PDF \
                anew";
    Ok((State::Broken, says.to_owned()))
}

fn line(out: &mut Out, state: State, part: &str, says: &str) -> std::io::Result<()> {
    // What does not hold is to be seen at a glance.
    let word = match state {
        State::Holds => state.word().to_owned(),
        State::Broken | State::NotCompared => state.word().to_uppercase(),
    };
    out.line(&format!("{word:<14}  {part}: {says}"))
}

/// A file of any kind, bounded.
pub(super) fn read_file(path: &Path) -> anyhow::Result<Vec<u8>> {
    let shown = path.display();
    let file = File::open(path).with_context(|| format!("`{shown}` cannot be read"))?;
    let most = u64::try_from(files::LARGEST_SEALED).unwrap_or(u64::MAX);
    // A pipe has no size.
    let size = file.metadata().map_or(0, |known| known.len()).min(most);
    let mut bytes = Vec::with_capacity(usize::try_from(size).unwrap_or(0));
    let read = file.take(most.saturating_add(1)).read_to_end(&mut bytes);
    read.with_context(|| format!("`{shown}` cannot be read"))?;
    Ok(bytes)
}

/// Keys of the log on this machine; none where it has no log, which is not made.
fn known_here(config: &Config) -> Option<Vec<Fingerprint>> {
    let log = config.log();
    let store = log.is_file().then(|| Store::open(&log).ok())??;
    Some(store.device_keys().ok()?.into_iter().map(|key| key.fingerprint).collect())
}

/// Whether the key is the one that was expected, and what to say of it. Where nobody said
/// which it should be, and this machine knows it not, nothing was compared.
pub(in super::super) fn whose(
    report: &Report,
    expected: Option<Fingerprint>,
    known: &[Fingerprint],
) -> (State, String) {
    let Some(key) = report.key else {
        return (State::Broken, "no key stands for this record".to_owned());
    };
    let here = match known {
        [.., last] if *last == key => "; this machine's log is sealed with it",
        known if known.contains(&key) => "; this machine's log was sealed with it before",
        _ => "",
    };
    match expected {
        Some(expected) if expected == key => {
            (State::Holds, format!("signed by {key}, the key that was expected{here}"))
        }
        Some(expected) => match leads(report, expected, key) {
            Some(()) => {
                let says = format!(
                    "signed by {key}, which took the place of the expected key {expected}; that \
                     key itself signed the change{here}"
                );
                (State::Holds, says)
            }
            None => (
                State::Broken,
                format!("signed by {key}, not by the expected key {expected}{here}"),
            ),
        },
        None if here.is_empty() => {
            let says = format!(
                "signed by {key}: compare with the fingerprint the company gave you, or give it \
                 with --key"
            );
            (State::NotCompared, says)
        }
        None => (State::Holds, format!("signed by {key}{here}")),
    }
}

/// Whether changes of key that the replaced keys signed themselves lead there.
fn leads(report: &Report, from: Fingerprint, to: Fingerprint) -> Option<()> {
    let mut at = from;
    for (change, by_old) in &report.changes {
        if change.replaces == at && *by_old {
            at = change.key.fingerprint();
        }
    }
    (at == to).then_some(())
}

fn json(report: &Report, holds: bool, key: (State, &str)) -> Json {
    let finding = |state: State, part: &str, seq: Option<u64>, says: &str| {
        Json::object([
            ("holds", Json::Bool(state == State::Holds)),
            ("state", state.word().into()),
            ("part", part.into()),
            ("entry_seq", seq.map_or(Json::Null, Json::whole)),
            ("sentence", says.into()),
        ])
    };
    let findings = report.findings.iter();
    let mut findings: Vec<Json> =
        findings.map(|f| finding(f.state, f.part.word(), f.seq, &f.says)).collect();
    findings.push(finding(key.0, "key", None, key.1));
    Json::object([
        ("format", "chalkhand-check/1".into()),
        ("holds", Json::Bool(holds)),
        ("job", Json::text(&report.job)),
        ("key", report.key.map_or(Json::Null, Json::text)),
        ("record_sha256", report.hash.map_or(Json::Null, Json::text)),
        ("since_entry_seq", report.since().map_or(Json::Null, Json::whole)),
        ("says_of_itself", Json::List(report.says_of_itself.iter().map(Json::text).collect())),
        ("findings", Json::from(findings)),
    ])
}
