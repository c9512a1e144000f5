//! The lines of the day log as a page: what needs attention with its forms, and
//! one entry with what it was held against, how it was heard and what is kept.

use std::collections::BTreeSet;
use std::path::Path;

use jiff::civil::Date;
use maud::{Markup, html};

use super::foreign::{plain, told, without_stop};
use super::guard::Visitor;
use super::log_words::LogWords;
use super::names::Named;
use super::words::Words;
use super::{act, address, day::job_title, handed, tame};
use crate::domain::deviation::{may_accept, role_of};
use crate::domain::{
    About, Attention, DeviationKind, Entry, Hash, Heard, How, JobFile, Photo, StepRef, WalkId,
    What, hearing,
};
use crate::office::{KnownJob, deeds};

/// Which sounds and previews that entries name are there.
#[derive(Debug, Default)]
pub(super) struct Kept(BTreeSet<Hash>);

impl Kept {
    pub(super) fn of<'a>(data: &Path, entries: impl Iterator<Item = &'a Entry>) -> Self {
        let mut kept = BTreeSet::new();
        for entry in entries {
            let there = |sound: &Hash| data.join(hearing::path_of(*sound)).is_file();
            kept.extend(handed::sounds(entry).filter(there));
            if let What::PhotoKept { photo, .. } = &entry.draft.what
                && data.join(photo.preview_path()).is_file()
            {
                kept.insert(photo.preview_sha256);
            }
        }
        Self(kept)
    }

    fn has(&self, hash: Hash) -> bool {
        self.0.contains(&hash)
    }
}

/// Where an entry stands on the page of its day. Devices count for themselves.
fn place(of: Option<&KnownJob>, seq: u64) -> String {
    let device = of.and_then(|known| known.imported_as.as_ref()?.rsplit_once('@'));
    device.map_or_else(|| format!("e{seq}"), |(_, hash)| format!("e{seq}-{hash}"))
}

/// What a job needs, where it needs anything, with its names; `today` where that
/// day's witness points are told too. On an imported job nothing can be done here.
pub(super) fn needs(
    (known, names): (&KnownJob, &[Named]),
    needs: &[Attention],
    date: Date,
    who: &Visitor,
    today: bool,
) -> Option<Markup> {
    let (file, is_own) = (&known.file, known.imported_as.is_none());
    let points = deeds::witness_points(file).into_iter();
    let points = points.filter(|((_, _, point), _)| today && point.reached.date() == date);
    let points: Vec<_> = points.collect();
    if needs.is_empty() && points.is_empty() {
        return None;
    }
    let (words, log) = (who.words, who.log_words().with(names));
    let mut asked = BTreeSet::new();
    Some(html! {
        section.needs {
            h3 { (job_title(known.name(), &file.job.address, words)) }
            @if !is_own { p.told { (words.t("day.done-there")) } }
            ul {
                @for need in needs {
                    li {
                        (line(known, need, date, log))
                        @if is_own && let About::HoldWaiting { role, .. } = &need.about
                            && let Some(step) = &need.step {
                            (release(file, (&need.walk, step, role), date, who, log))
                        }
                        @if is_own && DeviationKind::of(&need.about).is_some()
                            && let Some(seq) = need.seq.filter(|seq| asked.insert(*seq)) {
                            (accept(file, need, seq, date, who))
                        }
                    }
                }
                @for ((walk, step, point), looked) in points {
                    @let name = log.step(walk, step);
                    @let when = point.reached.clock();
                    li {
                        strong { (words.t("day.witness")) ": " }
                        (told(&words.fill("day.witness-told", &[("step", &name), ("role", &log.role(&point.role)), ("when", &when)])))
                        " "
                        @match looked {
                            Some(note) => (words.fill("day.witnessed", &[("by", &tame(&note.by)), ("entry", &note.seq.to_string())])),
                            None if is_own && file.job.holds(who.name(), &point.role) => {
                                form.act method="post" action="/day/witness" {
                                    (act::fields(who, &file.job.number, file.standing.last_seq))
                                    input type="hidden" name="date" value=(date);
                                    input type="hidden" name="walk" value=(walk);
                                    input type="hidden" name="step" value=(step);
                                    button { (told(&words.fill("day.witness-do", &[("step", &name)]))) }
                                }
                            },
                            None => (words.t("day.witness-open")),
                        }
                    }
                }
            }
        }
    })
}

/// What it is, in one sentence, and where the entry stands that shows it.
fn line(known: &KnownJob, need: &Attention, date: Date, log: LogWords<'_>) -> Markup {
    let (file, words) = (&known.file, log.words);
    let name = need.step.as_ref().map(|step| log.step(&need.walk, step));
    let shows = need.seq.or_else(|| reached(file, need));
    let shows = shows.and_then(|seq| file.entries.iter().find(|entry| entry.seq == seq));
    html! {
        strong { (log.about(&need.about)) ": " }
        (told(&log.after_about(need, name.as_deref())))
        " "
        @match shows {
            Some(entry) => {
                @let on = entry.draft.at.date();
                @let page = if on == date { String::new() } else { format!("/day/{on}") };
                a href={ (page) "#" (place(Some(known), entry.seq)) } { (words.fill("day.entry", &[("entry", &entry.seq.to_string())])) }
            },
            None => a href=(address::of_job(known.name(), "")) { (words.t("day.to-job")) },
        }
    }
}

/// The entry by which a hold point was reached.
fn reached(file: &JobFile, need: &Attention) -> Option<u64> {
    let is = |entry: &&Entry| {
        matches!(entry.draft.what, What::PointReached { .. })
            && entry.draft.walk.as_ref() == Some(&need.walk)
            && entry.draft.what.step() == need.step.as_ref()
    };
    let hold = matches!(need.about, About::HoldWaiting { .. });
    file.entries.iter().rev().find(is).filter(|_| hold).map(|entry| entry.seq)
}

fn release(
    file: &JobFile,
    (walk, step, role): (&WalkId, &StepRef, &str),
    date: Date,
    who: &Visitor,
    log: LogWords<'_>,
) -> Markup {
    let (words, number) = (who.words, &file.job.number);
    let (name, as_role) = (log.step(walk, step), log.role(role));
    if !file.job.holds(who.name(), role) {
        return not_yours(file, &[role], words);
    }
    html! {
        details.act id={ "release-" (number) "-" (walk) "-" (step) } {
            summary { (told(&words.fill("day.release", &[("step", &name)]))) }
            form method="post" action="/day/release" {
                (act::fields(who, number, file.standing.last_seq))
                input type="hidden" name="date" value=(date);
                input type="hidden" name="walk" value=(walk);
                input type="hidden" name="step" value=(step);
                input type="hidden" name="role" value=(role);
                p { (words.fill("day.release-told", &[("role", &as_role), ("name", who.name())])) }
                button { (words.fill("day.release-do", &[("role", &as_role)])) }
            }
        }
    }
}

fn accept(file: &JobFile, need: &Attention, seq: u64, date: Date, who: &Visitor) -> Markup {
    let (words, number) = (who.words, &file.job.number);
    let checklist = file.checklist(&need.walk.checklist).map(AsRef::as_ref);
    let roles = may_accept(checklist, need.step.as_ref());
    let Some(role) = role_of(&file.job, who.name(), &roles) else {
        return not_yours(file, &roles, words);
    };
    let (entry, role) = (seq.to_string(), words.role(role));
    html! {
        details.act id={ "accept-" (seq) } {
            summary { (words.fill("day.accept", &[("entry", &entry)])) }
            form method="post" action="/day/accept" {
                (act::fields(who, number, file.standing.last_seq))
                input type="hidden" name="date" value=(date);
                input type="hidden" name="entry" value=(seq);
                p { (words.fill("day.accept-told", &[("role", &role), ("name", who.name())])) }
                label for={ "reason-" (seq) } { (words.t("day.reason")) }
                textarea id={ "reason-" (seq) } name="reason" required maxlength="2000" rows="2" {}
                button { (words.fill("day.accept-do", &[("entry", &entry)])) }
            }
        }
    }
}

/// Whose it is.
fn not_yours(file: &JobFile, roles: &[&str], words: Words) -> Markup {
    let names = words.people(&deeds::holders(file, roles));
    let roles: Vec<String> = roles.iter().map(|role| words.role(role)).collect();
    let roles = roles.join(", ");
    html! { p.told { (words.fill("day.for", &[("roles", &roles), ("names", &tame(&names))])) } }
}

/// So many facts in a row are told in one line.
pub(super) const MANY_FACTS: usize = 4;

/// Whether both are facts of one job file.
pub(super) fn are_facts(one: &Entry, next: &Entry) -> bool {
    let of_file = |entry: &Entry| {
        matches!((&entry.draft.what, &entry.draft.how), (What::FactGiven(..), How::File))
    };
    of_file(one) && of_file(next) && one.draft.by == next.draft.by
}

/// Facts of a job file: that there are so many, and below it each.
pub(super) fn facts(
    all: &[(Entry, Option<String>)],
    of: Option<&KnownJob>,
    kept: &Kept,
    log: LogWords<'_>,
) -> Markup {
    let ([(first, _), ..], [.., (last, _)]) = (all, all) else { return Markup::default() };
    let words = log.words;
    let (n, from, to) = (all.len().to_string(), first.seq.to_string(), last.seq.to_string());
    let by = tame(&first.draft.by);
    let told = [("n", n.as_str()), ("by", &by), ("from", &from), ("to", &to)];
    html! {
        li {
            time datetime=(first.draft.at) { (first.draft.at.clock()) }
            div {
                (words.fill("day.facts", &told))
                details id={ "facts-" (place(of, first.seq)) } {
                    summary { (words.t("day.facts-show")) }
                    ol.entries { @for (one, _) in all { (entry(one, of, kept, log)) } }
                }
            }
        }
    }
}

/// One entry: when, what, against what, by whom and how, and what is kept of it.
pub(super) fn entry(
    entry: &Entry,
    of: Option<&KnownJob>,
    kept: &Kept,
    log: LogWords<'_>,
) -> Markup {
    let (draft, words) = (&entry.draft, log.words);
    let job = of.map_or(draft.job.as_str(), KnownJob::name);
    let log = log.on(draft.walk.as_ref());
    let title = draft.walk.as_ref().zip(draft.what.step());
    let title = title.and_then(|(walk, step)| log.step_of(&walk.checklist, step));
    let title = title.as_deref();
    html! {
        li id=(place(of, entry.seq)) {
            time datetime=(draft.at) { (draft.at.clock()) }
            div {
                (told(&without_stop(&happened(entry, title, log))))
                @if let What::Answered { target: Some(target), .. } = &draft.what {
                    ". " (told(&words.fill("log.asked-for", &[("target", &log.target(target))])))
                }
                @if let Some(corrects) = draft.corrects {
                    ". " (words.t("log.corrects")) " "
                    a href={ "#" (place(of, corrects)) } { (words.fill("log.an-entry", &[("entry", &corrects.to_string())])) }
                }
                ". " span.by { (tame(&draft.by)) ", " (how(entry, log)) ". " }
                span.number { (words.fill("day.entry", &[("entry", &entry.seq.to_string())])) }
                @if let Some(known) = of { (accepted(&known.file, entry.seq, log)) }
                @if let How::Voice(heard) = &draft.how { (scores(heard, &place(of, entry.seq), words)) }
                @for sound in handed::sounds(entry).filter(|sound| kept.has(*sound)) {
                    audio controls preload="none" src=(address::clip(job, sound))
                        aria-label=(words.fill("day.sound", &[("entry", &entry.seq.to_string())])) {}
                }
                @if let What::PhotoKept { photo, .. } = &draft.what {
                    (picture(job, photo, title, kept, log))
                }
            }
        }
    }
}

fn happened(entry: &Entry, title: Option<&str>, log: LogWords<'_>) -> String {
    let draft = &entry.draft;
    let line = log.what(&draft.what, title);
    let of_walk = draft.what.step().is_none()
        && !matches!(draft.what, What::Noted { .. } | What::PhotoKept { .. });
    match draft.walk.as_ref().filter(|_| of_walk) {
        Some(walk) => format!("{walk}: {line}"),
        None => line,
    }
}

fn how(entry: &Entry, log: LogWords<'_>) -> String {
    match (&entry.draft.what, &entry.draft.how) {
        // The words of a spoken note are the note.
        (What::Noted { .. }, How::Voice(_)) => log.words.t("log.transcript").to_owned(),
        (_, how) => tame(&log.how(how)),
    }
}

fn accepted(file: &JobFile, seq: u64, log: LogWords<'_>) -> Markup {
    let all = file.standing.accepted.get(&seq);
    html! {
        @for one in all.into_iter().flatten() {
            p.told { (log.words.fill("log.it-was", &[("accepted", &tame(&log.accepted(one)))])) }
        }
    }
}

/// How well it was heard, in words; the numbers are thousandths of a natural-log
/// unit.
fn scores(heard: &Heard, place: &str, words: Words) -> Markup {
    let milli = |milli: i32| {
        let sign = if milli < 0 { "\u{2212}" } else { "" };
        let size = milli.unsigned_abs();
        format!("{sign}{}.{:03}", size / 1_000, size % 1_000)
    };
    let (fits, free, next) = (milli(heard.b_milli), milli(heard.a_milli), milli(heard.m_milli));
    html! {
        details.heard id={ "heard-" (place) } {
            summary { (words.t("day.heard")) }
            p { (words.fill("day.scores", &[("fits", &fits), ("free", &free), ("next", &next)])) }
        }
    }
}

fn picture(
    job: &str,
    photo: &Photo,
    title: Option<&str>,
    kept: &Kept,
    log: LogWords<'_>,
) -> Markup {
    let words = log.words;
    let shows = photo.caption.as_deref().or(title).unwrap_or_else(|| words.t("day.photo"));
    html! {
        figure {
            @if kept.has(photo.preview_sha256) {
                a href=(address::photo(job, photo.sha256)) {
                    img src=(address::photo(job, photo.preview_sha256)) alt=(plain(shows)) loading="lazy";
                }
            } @else { p { (words.t("day.no-picture")) } }
            figcaption {
                @if let Some(caption) = &photo.caption { (tame(caption)) ", " }
                (tame(&log.size(photo)))
            }
        }
    }
}
