//! When the ear was open, how well it heard and what was kept of the sound, in
//! words and as JSON. Playing a clip is not its business.

use crate::domain::{
    Because, Checked, Clip, EarOpen, HearingCheck, Json, Keeps, Margins, PhraseRead, Trust, Verdict,
};

use super::json::{list, option};
use super::told::Told;
use super::words::day_and_clock;

/// One line for each person the ear was open for: when, from what, how well it
/// heard and what was kept.
#[must_use]
pub fn by_person(ears: &[EarOpen], checks: &[Checked]) -> Vec<String> {
    let line = |(by, own): (&str, Vec<&EarOpen>)| {
        let spans: Vec<String> = own.iter().map(|ear| span(ear, checks)).collect();
        let mut kept: Vec<&str> = own.iter().map(|ear| keeps(ear.keeps)).collect();
        kept.dedup();
        format!("Sound was listened to for {by}: {}; {}.", spans.join("; "), kept.join(", then "))
    };
    each_person(ears).map(line).collect()
}

/// Each person the ear was open for, in order, with when it was.
pub fn each_person(ears: &[EarOpen]) -> impl Iterator<Item = (&str, Vec<&EarOpen>)> {
    let mut people: Vec<&str> = Vec::new();
    for ear in ears {
        if !people.contains(&ear.by.as_str()) {
            people.push(&ear.by);
        }
    }
    people.into_iter().map(|by| (by, ears.iter().filter(|ear| ear.by == by).collect()))
}

fn span(ear: &EarOpen, checks: &[Checked]) -> String {
    let until = match ear.closed {
        Some(closed) if closed.date() == ear.opened.date() => format!("to {}", closed.clock()),
        Some(closed) => format!("to {}", day_and_clock(closed)),
        None => "until the program stopped, which it could not log".to_owned(),
    };
    let checked = match ear.check.map(|seq| (seq, checks.iter().find(|check| check.seq == seq))) {
        None => "voice was not checked".to_owned(),
        Some((seq, None)) => format!("hearing check in entry {seq}"),
        Some((seq, Some(Checked { at, check, .. }))) => {
            format!("hearing check {} (entry {seq}): {}", day_and_clock(*at), verdicts(check))
        }
    };
    format!("{} {until}, from {}, {checked}", day_and_clock(ear.opened), ear.source)
}

/// What was kept of the sound.
#[must_use]
pub fn keeps(keeps: Keeps) -> &'static str {
    match keeps {
        Keeps::Notes => "kept of it: clips of spoken notes, nothing else",
        Keeps::All => "kept of it: clips of spoken notes and of every answer that was taken",
        Keeps::Nothing => "nothing was kept of it",
    }
}

/// Where a clip is and how long it is.
#[must_use]
pub fn clip(clip: &Clip) -> String {
    let tenths = clip.length_ms.div_ceil(100);
    format!("sound of {}.{} s: {}", tenths / 10, tenths % 10, clip.path())
}

/// What a hearing check found, in one line.
#[must_use]
pub fn checked(check: &HearingCheck) -> String {
    format!(
        "{}; noise {}, voice {}, from {}",
        verdicts(check),
        dbfs(check.noise_tenth_dbfs),
        dbfs(check.speech_tenth_dbfs),
        check.source
    )
}

fn verdicts(check: &HearingCheck) -> String {
    format!("commands {}, numbers {}", verdict(check.commands), verdict(check.numbers))
}

fn verdict(verdict: Verdict) -> String {
    let because = match verdict.because {
        Because::Clear => return trust(verdict.trust).to_owned(),
        Because::Barely => "a phrase was heard only just",
        Because::Again => "a phrase was heard only when read again",
        Because::Missed => "a phrase was not heard",
        Because::Mistaken => "a phrase was taken for another one",
    };
    format!("{} ({because})", trust(verdict.trust))
}

fn trust(trust: Trust) -> &'static str {
    match trust {
        Trust::Trusted => "trusted",
        Trust::Repeats => "trusted with repeats",
        Trust::Not => "not trusted",
    }
}

/// Tenths of a decibel below full scale as a person reads them.
#[must_use]
pub fn dbfs(tenths: i32) -> String {
    let sign = if tenths < 0 { "-" } else { "" };
    let size = tenths.unsigned_abs();
    format!("{sign}{}.{} dBFS", size / 10, size % 10)
}

pub(super) fn clip_json(clip: &Clip) -> Json {
    Json::object([
        ("sha256", Json::text(clip.sound)),
        ("length_ms", Json::from(clip.length_ms)),
        ("path", Json::from(clip.path())),
    ])
}

/// When the ear was open, with the checks it rests on.
pub(super) fn json(ears: &[EarOpen], checks: &[Checked]) -> Json {
    if ears.is_empty() && checks.is_empty() {
        return Json::Null;
    }
    let opened = ears.iter().map(|ear| {
        Json::object([
            ("entry_seq", Json::whole(ear.seq)),
            ("by", Json::text(&ear.by)),
            ("source", Json::text(&ear.source)),
            ("opened_at", Json::text(ear.opened)),
            ("closed_at", option(ear.closed.as_ref())),
            ("kept", ear.keeps.word().into()),
            ("hearing_check_seq", ear.check.map_or(Json::Null, Json::whole)),
        ])
    });
    let lines = by_person(ears, checks).into_iter().map(Json::from).collect();
    let checks = checks.iter().map(|Checked { seq, at, check }| {
        Json::object([
            ("entry_seq", Json::whole(*seq)),
            ("at", Json::text(at)),
            ("source", Json::text(&check.source)),
            ("noise_tenth_dbfs", Json::Number(check.noise_tenth_dbfs.into())),
            ("speech_tenth_dbfs", Json::Number(check.speech_tenth_dbfs.into())),
            ("commands", verdict_json(check.commands)),
            ("numbers", verdict_json(check.numbers)),
            ("phrases", list(check.phrases.iter().map(phrase_json))),
        ])
    });
    Json::object([
        ("ear_open", list(opened)),
        ("hearing_checks", list(checks)),
        (Told::Lines.name(), Json::List(lines)),
    ])
}

fn verdict_json(verdict: Verdict) -> Json {
    Json::object([
        ("trust", verdict.trust.word().into()),
        ("because", verdict.because.word().into()),
    ])
}

fn phrase_json(read: &PhraseRead) -> Json {
    let number = |n: i32| Json::Number(n.into());
    let heard = read.heard.as_ref();
    let margins = read.margins.map_or(Json::Null, |Margins { b_milli, a_milli, m_milli }| {
        Json::object([
            ("b_milli", number(b_milli)),
            ("a_milli", number(a_milli)),
            ("m_milli", number(m_milli)),
        ])
    });
    Json::object([
        ("asked", Json::text(&read.asked)),
        ("kind", read.kind.word().into()),
        ("read_as", read.read_as.word().into()),
        ("heard_as", option(heard.map(|heard| &heard.words))),
        ("margins", margins),
    ])
}
