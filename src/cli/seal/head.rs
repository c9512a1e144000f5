//! `chalkhand seal day` and `chalkhand seal since`.

use std::path::PathBuf;

use anyhow::{Context as _, bail};
use jiff::civil::Date;
use jiff::tz::TimeZone;

use super::super::home::Home;
use super::super::out::Out;
use super::apart;
use super::check::read_file;
use super::key;
use crate::config::Config;
use crate::daemon;
use crate::domain::merkle::{self, Tree};
use crate::domain::{Hash, Json, SignedHead, sealing};
use crate::files;
use crate::office;

#[derive(Debug, clap::Args)]
pub(in super::super) struct DayArguments {
    /// The day, 2026-11-25; the newest with entries where none is named
    date: Option<String>,
    /// As JSON
    #[arg(long)]
    json: bool,
}

pub(super) fn day(config: &Config, arguments: &DayArguments, out: &mut Out) -> anyhow::Result<()> {
    let mut home = Home::open(config)?;
    let date = super::super::day::named(&home, arguments.date.as_deref())?;
    let signed = of_day(&mut home, date)?;
    if arguments.json {
        return out.json(&signed.json());
    }
    let head = &signed.head;
    out.line(&format!("head of the log on {}", head.day))?;
    out.line(&format!("device   {}", head.device))?;
    out.line(&format!("entries  {}", head.size))?;
    out.line(&format!("root     {}", head.root))?;
    out.line(&format!("made     {}", head.made))?;
    out.line("Keep all of this away from this machine: on paper, in a mail, in a calendar.")?;
    out.line("The next line is the head itself; `chalkhand seal since FILE` reads it.")?;
    Ok(out.line(&signed.compact())?)
}

/// The head that covers the last entry of that day, made where there is none.
fn of_day(home: &mut Home, date: Date) -> anyhow::Result<SignedHead> {
    let last = home.store.last_on(date)?;
    let last = last.with_context(|| format!("nothing was logged on {date}: it has no head"))?;
    if let Some((size, line)) = home.store.day_head(date)?
        && last <= size
    {
        return office::kept_head(&line).with_context(|| format!("of {date}"));
    }
    let key = key::of(home)?;
    let tree = Tree::of(home.store.leaves()?);
    office::whole(&home.store, &tree)?;
    let now = daemon::now(&TimeZone::system());
    let signed = sealing::head(&tree, date, last, now, &key);
    let signed = signed.context("the log has fewer entries than a moment ago")?;
    home.store.keep_head(date, last, signed.head.root, &signed.compact())?;
    Ok(signed)
}

#[derive(Debug, clap::Args)]
pub(in super::super) struct SinceArguments {
    /// What `seal day` printed, its JSON, or a sealed record
    file: PathBuf,
    /// As JSON, with a head of now and the proof between the two
    #[arg(long)]
    json: bool,
}

pub(super) fn since(
    config: &Config,
    arguments: &SinceArguments,
    out: &mut Out,
) -> anyhow::Result<()> {
    let mut bytes = read_file(&arguments.file)?;
    let shown = arguments.file.display();
    if bytes.starts_with(b"%PDF-") {
        bytes = apart::attached(bytes).with_context(|| format!("`{shown}` cannot be used"))?;
    }
    let (old, record) = kept(&bytes).with_context(|| format!("`{shown}` cannot be used"))?;
    let mut home = Home::open(config)?;
    let known = home.store.device_keys()?;
    if !known.iter().any(|key| key.fingerprint == old.head.device) {
        let device = old.head.device;
        bail!("`{shown}` is of the device {device}, and this log was never sealed by it");
    }
    let tree = Tree::of(home.store.leaves()?);
    let root = tree.root(tree.size()).context("the log has no root")?;
    let proof = tree.consistency(old.head.size, tree.size()).unwrap_or_default();
    let (first, second) = ((old.head.size, &old.head.root), (tree.size(), &root));
    let holds = merkle::extends(first, second, &proof);
    let says = sentence(&old, &tree, holds, record.as_ref());
    if arguments.json {
        // Only this needs the key: whoever holds both heads can check the proof.
        let (key, now) = (key::of(&mut home)?, daemon::now(&TimeZone::system()));
        let new = sealing::head(&tree, now.date(), tree.size(), now, &key);
        out.json(&Json::object([
            ("format", "chalkhand-since/1".into()),
            ("holds", Json::Bool(holds)),
            ("sentence", Json::text(&says)),
            ("first", old.json()),
            ("second", new.map_or(Json::Null, |new| new.json())),
            ("proof", Json::List(proof.iter().map(Json::text).collect())),
        ]))?;
    } else {
        out.line(&says)?;
    }
    if holds { Ok(()) } else { bail!("the log is not what it was on {}", old.head.day) }
}

/// Holds the log against the furthest head that was kept in it: a cut end shows,
/// unless that was cut as well.
pub(in super::super) fn holds(home: &Home) -> anyhow::Result<()> {
    let Some(kept) = office::furthest_head(&home.store)? else { return Ok(()) };
    let tree = Tree::of(home.store.leaves()?);
    if tree.root(kept.head.size) == Some(kept.head.root) {
        return Ok(());
    }
    bail!("{}", sentence(&kept, &tree, false, None))
}

/// A head, and the record it was in.
fn kept(bytes: &[u8]) -> anyhow::Result<(SignedHead, Option<Json>)> {
    match files::read_head(bytes)? {
        (payload, Some(seal)) => Ok((SignedHead::of_payload(&payload, seal)?, None)),
        (json, None) => match json.get("log").and_then(|log| log.get("head")) {
            Some(head) => Ok((SignedHead::read(head)?, Some(json))),
            None => Ok((SignedHead::read(&json)?, None)),
        },
    }
}

fn sentence(old: &SignedHead, tree: &Tree, holds: bool, record: Option<&Json>) -> String {
    let (was, is, made) = (old.head.size, tree.size(), old.head.made);
    if holds {
        return format!(
            "the log holds: the {was} entries it had at {made} are all in it, unchanged and in \
             order; {} were added since",
            is - was
        );
    }
    let mut says = if is < was {
        let gone = is + 1;
        format!(
            "the log was cut: at {made} it had {was} entries and now it has {is}: entries \
                 {gone} to {was} are gone"
        )
    } else {
        format!(
            "the log was rewritten: the {was} entries it had at {made} are not those it has now"
        )
    };
    match record.and_then(|record| first_other(record, tree)) {
        Some(seq) => {
            says.push_str(&format!("; entry {seq} is the first of the record that differs"))
        }
        None if is < was => {}
        None => says.push_str("; compare it with a backup to see which"),
    }
    says
}

/// The first entry of a record that is not in the log as the record has it.
fn first_other(record: &Json, tree: &Tree) -> Option<u64> {
    let Some(Json::List(items)) = record.get("log")?.get("entries") else { return None };
    items.iter().find_map(|item| {
        let entry = item.get("entry")?;
        let seq = u64::try_from(entry.get("seq")?.as_whole()?).ok()?;
        let leaf: Hash = merkle::leaf(entry.canonical().ok()?.as_bytes());
        (tree.leaf(seq.checked_sub(1)?) != Some(leaf)).then_some(seq)
    })
}
