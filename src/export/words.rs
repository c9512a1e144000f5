//! Plain-English renderings shared by every output: one wording for one thing,
//! whether it is read on a screen, on paper or in a terminal.

use std::collections::BTreeSet;

use crate::domain::{
    About, At, Attention, Bound, Comparison, Computed, DeviationKind, Due, Entry, FactName, Given,
    How, Outcome, PointKind, RecordFact, RecordMeasure, Role, Settled, StepRef, Table, Target,
    Units, What, shown,
};
use crate::measure::{Dimension, Quantity, Ratio, Value, parse_quantity};

use super::{callback, order, photos, sound};

/// What a record is not, as every output says it.
pub const IS_NOT: &str = "This record says what was logged during the work, when, by whom and how \
it was conveyed. It does not replace the building code, the maker's printed instructions, the \
inspection by the local official, or licensed practice; where they say otherwise, they win. \
Photos are counted as somebody said they were taken, or as they are kept; what a kept one shows is \
somebody's word. Spoken notes are unverified transcripts. Names are as they were given to the \
program and times are of its device's clock: it proves neither.";

/// What a sheet is not, as every output says it.
pub const SHEET_IS_NOT: &str = "These numbers follow from the facts and figures listed here: one \
that is wrong makes marks that are wrong. They do not replace the building code, the maker's \
printed instructions, the inspection by the local official, or licensed practice; where those say \
otherwise, they win. Measure again on the roof before anything is cut.";

/// What a sheet says that warns of nothing.
pub const NO_WARNING: &str = "None: of what the checklists of this job check, nothing is amiss.";

/// What a sheet says whose checklists check nothing.
pub const NO_CHECKS: &str = "None: the checklists of this job check nothing by themselves.";

/// What a sheet says that rests on assumptions.
pub const SOME_ASSUMED: &str = "Some facts are assumed, since nobody has said otherwise yet; they \
are marked among the facts.";

/// How a sheet rounds.
pub const ROUNDED: &str = "Everything is computed exactly and rounded once, where it is shown: \
least values up, greatest values down, marks to the nearest graduation.";

/// What the scores of spoken answers are, and what was done before one was logged.
pub const HEARD_SAYS: &str = "An answer is taken only where its scores reach the limits of the \
program; one that says more than that a step is done is read back and logged only after a yes; a \
spoken yes stands below it. While a photo that is asked for is missing, “step done” is read back \
too: that yes is to the step, not to the photo. Fit: how well the sound fits the phrases allowed at \
that step, per token. Beside free speech: the same less that of whatever else may have been said. \
To the next meaning: how far the best phrase with another meaning is away; 3500 where nothing else \
came near. All in thousandths of a natural-log unit; higher is better. Words of one's own, such as \
a reason or a note, are held to no limit and compared with nothing (–): their fit is to speech as \
such, and only the yes stands for them.";

/// What it means that a caution was given.
pub const CAUTIONS_SAY: &str = "By voice: it was sent to a loudspeaker or a headset before the \
step was asked; nothing in the log says that anybody heard it. On the screen alone: it was shown \
and not spoken.";

/// What stands over every example.
pub const INVENTED: &str = "INVENTED EXAMPLE. Nothing in it is real: no person, house or product.";

/// A quantity as a person reads it; where that loses something, the exact
/// value stands beside it.
#[must_use]
pub fn quantity(q: Quantity, units: Units) -> String {
    let shown = shown::show_value(&Value::Quantity(q), Bound::Mark, finest_mark(q), units);
    match parse_quantity(&shown, q.dimension) {
        Ok(read) if read == q => shown,
        _ => format!("{shown} (exactly {})", crate::measure::exact_text(q)),
    }
}

/// Readings finer than a sixteenth are shown in the sixty-fourths they were
/// read in, never rounded to the tape of the sheet.
fn finest_mark(q: Quantity) -> Ratio {
    let finer = Ratio::SIXTEENTH.over(Ratio::int(4)).unwrap_or(Ratio::SIXTEENTH);
    let sixteenths = [1, 2, 4, 8, 16].contains(&q.value.denominator());
    if q.dimension == Dimension::LENGTH && !sixteenths { finer } else { Ratio::SIXTEENTH }
}

/// A fact as a person reads it.
#[must_use]
pub fn value(value: &Value, units: Units) -> String {
    match value {
        Value::Quantity(q) => quantity(*q, units),
        other => shown::show_value(other, Bound::Mark, Ratio::SIXTEENTH, units),
    }
}

/// What was given for a step.
#[must_use]
pub fn given(given: &Given, units: Units) -> String {
    match given {
        Given::Done => "done".to_owned(),
        Given::Measured(q) => quantity(*q, units),
        Given::Counted(n) => n.to_string(),
        Given::Chosen(option) => option.clone(),
        Given::Fact(_, known) => value(known, units),
        Given::Noted(text) => format!("“{text}”"),
    }
}

/// What a step asked for.
#[must_use]
pub fn target(target: &Target, units: Units) -> String {
    match target {
        Target::Mark(mark, tolerance) => {
            let (mark, tolerance) = (quantity(*mark, units), quantity(*tolerance, units));
            format!("{mark}, give or take {tolerance}")
        }
        Target::AtLeast(n) => format!("at least {n}"),
        Target::OneOf(options) => options.join(" or "),
    }
}

/// How what was given compares with what was asked for.
#[must_use]
pub fn comparison(comparison: &Comparison, units: Units) -> String {
    match comparison {
        Comparison::On => "on target".to_owned(),
        Comparison::Above(by) => format!("off target: {} above", quantity(*by, units)),
        Comparison::Below(by) => format!("off target: {} below", quantity(*by, units)),
        Comparison::TooFew(few) => format!("off target: {few} too few"),
        Comparison::NotWanted => "off target: not an answer that was wanted".to_owned(),
    }
}

/// How something was conveyed.
#[must_use]
pub fn how(how: &How) -> String {
    match how {
        How::Voice(heard) => format!("by voice, heard as “{}”", heard.words),
        How::Keys => "typed".to_owned(),
        How::Touch => "by touch".to_owned(),
        How::Command => "by a command".to_owned(),
        How::File => "written in a file".to_owned(),
        How::Program => "by the program".to_owned(),
        How::Http => "by another program, over HTTP".to_owned(),
    }
}

/// How an answer was confirmed; none where nothing was read back. The words of a spoken
/// yes stand with how they were heard.
#[must_use]
pub fn confirmed(confirmed: &[How]) -> Option<String> {
    let one = |one: &How| match one {
        How::Voice(_) => "by voice",
        How::Keys => "by keys",
        How::Touch => "by touch",
        How::Command => "by a command",
        How::File => "in a file",
        How::Program => "by the program",
        How::Http => "over HTTP",
    };
    let mut all: Vec<&str> = confirmed.iter().map(one).collect();
    all.dedup();
    (!all.is_empty()).then(|| format!("confirmed {}", all.join(", ")))
}

/// How an answer was given, and what confirmed it.
#[must_use]
pub fn conveyed(settled: &Settled) -> String {
    let how = how(&settled.how);
    match confirmed(&settled.confirmed) {
        Some(confirmed) => format!("{how}; {confirmed}"),
        None => how,
    }
}

/// Where cautions were given.
#[must_use]
pub fn cautions_given(spoken: Option<bool>) -> &'static str {
    match spoken {
        Some(true) => "Cautions given first, by voice",
        Some(false) => "Cautions given first, on the screen alone",
        None => "Cautions given first",
    }
}

/// With what a step was settled, how that compares, and the reason given.
#[must_use]
pub fn outcome(outcome: &Outcome, units: Units) -> String {
    match outcome {
        Outcome::Answered { given: what, target, reason } => {
            let mut text = given(what, units);
            if let Some(target) = target {
                text.push_str(", ");
                text.push_str(&comparison(&target.compare(what), units));
            }
            if let Some(reason) = reason {
                text.push_str("; reason: ");
                text.push_str(reason);
            }
            text
        }
        Outcome::Skipped { reason } => format!("left out; reason: {reason}"),
    }
}

/// What happened, without the advice that follows it: of what was accepted.
#[must_use]
pub fn without_advice(sentence: &str) -> String {
    let (before, _) = sentence.rsplit_once("; ").unwrap_or((sentence.trim_end_matches('.'), ""));
    format!("{before}.")
}

/// What a step asked for, in a word or two.
#[must_use]
pub fn asked_for(outcome: &Outcome, units: Units) -> String {
    match outcome {
        Outcome::Answered { target: Some(asked), .. } => target(asked, units),
        Outcome::Answered { given: Given::Done, .. } => "to be done".to_owned(),
        Outcome::Answered { .. } => "an answer".to_owned(),
        Outcome::Skipped { .. } => "to be settled".to_owned(),
    }
}

/// The day and the clock at the address: `2026-10-15 10:04`.
#[must_use]
pub fn day_and_clock(at: At) -> String {
    format!("{} {}", at.date(), at.clock())
}

/// What kind of thing needs attention, in two or three words.
#[must_use]
pub fn about(about: &About) -> &'static str {
    match about {
        About::HoldWaiting { .. } => "Hold point waiting",
        About::OffTarget { .. } => "Off target",
        About::AskedOtherwise { .. } => "Facts changed since",
        About::Skipped { .. } => "Left out",
        About::NotBegun => "Not begun",
        About::PhotosMissing { .. } => "Photos missing",
        About::TooFast { .. } => "Confirmed too fast",
        About::ClockJump { .. } => "Clock went back",
        About::Unfinished { .. } => "Not finished",
        About::NewerAdopted { .. } => "Newer version adopted",
    }
}

/// What needs attention and what to do about it, in one sentence; `title` is
/// the name of the step, where the caller knows it.
#[must_use]
pub fn attention(need: &Attention, title: Option<&str>) -> String {
    format!("{}: {}", about(&need.about), after_about(need, title))
}

/// The same with the number of the entry, where somebody may accept it by that.
#[must_use]
pub fn numbered(need: &Attention, title: Option<&str>) -> String {
    let line = attention(need, title);
    match (DeviationKind::of(&need.about), need.seq) {
        (Some(_), Some(seq)) => format!("{line} Entry {seq}."),
        _ => line,
    }
}

/// The numbers of some entries, the first ten of them; `none` where there is none.
#[must_use]
pub fn entries(seqs: &BTreeSet<u64>) -> String {
    const MOST: usize = 10;
    let first: Vec<String> = seqs.iter().take(MOST).map(u64::to_string).collect();
    match seqs.len().saturating_sub(MOST) {
        0 if seqs.is_empty() => "none".to_owned(),
        0 => first.join(", "),
        more => format!("{} and {more} more", first.join(", ")),
    }
}

/// Numbers of entries in rising order, those that follow each other together:
/// `101, 105 to 130`.
#[must_use]
pub fn ranges(seqs: impl IntoIterator<Item = u64>) -> String {
    let mut runs: Vec<(u64, u64)> = Vec::new();
    for seq in seqs {
        match runs.last_mut() {
            Some((_, last)) if last.checked_add(1) == Some(seq) => *last = seq,
            _ => runs.push((seq, seq)),
        }
    }
    let runs = runs.into_iter().map(|(first, last)| match first == last {
        true => first.to_string(),
        false => format!("{first} to {last}"),
    });
    runs.collect::<Vec<_>>().join(", ")
}

/// The same sentence without the kind in front.
#[must_use]
pub fn after_about(need: &Attention, title: Option<&str>) -> String {
    let step = match (title, &need.step) {
        (Some(title), _) => format!("“{title}”"),
        (None, Some(step)) => format!("step {}", step_ref(step)),
        (None, None) => format!("the checklist {}", need.walk),
    };
    match &need.about {
        About::HoldWaiting { role, since } => format!(
            "{step} waits for the {role} since {}; the {role} has to look and release it before \
             work goes on.",
            day_and_clock(*since)
        ),
        About::OffTarget { reason: Some(reason) } => format!(
            "{step}, logged so for this reason: “{}”; accept it or have it done again.",
            bare(reason)
        ),
        About::OffTarget { reason: None } => {
            format!("{step}, and no reason is logged; measure again or log the reason.")
        }
        About::AskedOtherwise { asked, now } => format!(
            "{step} was answered when it was asked so: “{}” By what is known now it would be: \
             “{}” Look whether the answer still holds.",
            one_line(asked),
            one_line(now)
        ),
        About::NotBegun => format!(
            "the checklist {}, though a later one was; walk it, or say in the record why not.",
            need.walk
        ),
        About::Skipped { reason } => format!(
            "{step}, for this reason: “{}”; have it done or accept that it was not.",
            bare(reason)
        ),
        About::PhotosMissing { asked, taken } => format!(
            "{step} asks for {asked} {}, and {taken} {} said to be taken; take what is missing \
             while the place can still be seen.",
            if *asked == 1 { "photo" } else { "photos" },
            if *taken == 1 { "is" } else { "are" },
        ),
        About::TooFast { took_s, least_s } => format!(
            "{step} was confirmed {took_s} s after it could be begun and takes at least \
             {least_s} s; look whether it was done."
        ),
        About::ClockJump { back_s } => format!(
            "by {back_s} s before {step}; check the clock of the device. The order of the \
             entries holds."
        ),
        About::Unfinished { open, overtaken } => format!(
            "{} of the checklist {} {} open; {}.",
            if *open == 1 { "1 step".to_owned() } else { format!("{open} steps") },
            need.walk,
            if *open == 1 { "is" } else { "are" },
            match overtaken {
                false => "finish the walk or say why not",
                true => "a later walk of it was begun, so say in a note why",
            }
        ),
        About::NewerAdopted { pinned, newest } => format!(
            "the job pins version {pinned} of {}, and {newest} has been adopted since; see \
             whether the change matters to this job.",
            need.walk
        ),
    }
}

/// A step without its name: `cut, row 2`.
#[must_use]
pub fn step_ref(step: &StepRef) -> String {
    match step.row {
        Some(row) => format!("{}, row {row}", step.id),
        None => step.id.clone(),
    }
}

/// What happened, in one line; `title` is the name of the step.
#[must_use]
pub fn what(what: &What, title: Option<&str>, units: Units) -> String {
    let own = what.step().map(step_ref);
    let step = title.map(str::to_owned).or(own).unwrap_or_default();
    match what {
        What::JobOpened(job) => format!(
            "job opened with {} pinned {}",
            job.pins.len(),
            if job.pins.len() == 1 { "version" } else { "versions" }
        ),
        What::FactGiven(name, known) => format!("{}: {}", fact_name(name), value(known, units)),
        What::Pinned(pin) => {
            format!("pinned {} {} version {}", pin.kind.word(), pin.id, pin.version)
        }
        What::WalkBegun { version, .. } => format!("walk begun, version {version}"),
        What::Paused => "work interrupted".to_owned(),
        What::Resumed => "work taken up again".to_owned(),
        What::WalkEnded => "walk ended: the last step was settled".to_owned(),
        What::Answered { given, target, reason, .. } => {
            let (given, target, reason) = (given.clone(), target.clone(), reason.clone());
            format!("{step}: {}", outcome(&Outcome::Answered { given, target, reason }, units))
        }
        What::Skipped { reason, .. } => format!("{step}: left out; reason: {reason}"),
        What::Cautioned { said, spoken, .. } => {
            format!("{step}: {}: {}", cautions_given(*spoken).to_lowercase(), said.join(" "))
        }
        What::HearingChecked(check) => format!("hearing check: {}", sound::checked(check)),
        What::EarOpened { source, keeps, check } => {
            let check = if check.is_some() { "" } else { "; voice was not checked" };
            format!("sound listened to, from {source}{check}; {}", sound::keeps(*keeps))
        }
        What::EarClosed => "sound no longer listened to".to_owned(),
        What::Noted { text, .. } if step.is_empty() => format!("note: “{text}”"),
        What::Noted { text, .. } => format!("note at {step}: “{text}”"),
        What::PhotoTaken { .. } => format!("{step}: photo said to be taken"),
        What::PhotoKept { photo, .. } if step.is_empty() => {
            format!("photo kept: {}", photos::line(photo))
        }
        What::PhotoKept { photo, .. } => format!("photo kept at {step}: {}", photos::line(photo)),
        What::PointReached { kind: PointKind::Hold, role, .. } => {
            format!("{step}: hold point reached, the {role} has to release it")
        }
        What::PointReached { kind: PointKind::Witness, role, .. } => {
            format!("{step}: witness point reached, the {role} is told and may look")
        }
        What::Released { role, .. } => format!("{step}: hold point released as {role}"),
        What::Accepted { entry, kinds, role, reason, .. } => {
            let kinds: Vec<String> = kinds.iter().map(|k| k.word().replace('-', " ")).collect();
            let kinds = kinds.join(" and ");
            format!("{step}: entry {entry} accepted as {role} ({kinds}); reason: {reason}")
        }
        What::CallbackOpened(call) => format!(
            "callback {}: water was said to come in at {}; reported {} by {}",
            call.id,
            callback::water(call),
            call.reported,
            callback::caller(call)
        ),
        What::CallbackVisited { id, visit } => format!("callback {id}: visit, the walk {visit}"),
        What::CallbackClosed(finding) => {
            format!("callback {} closed; {}", finding.id, callback::finding(finding))
        }
        What::FollowUpIssued { start, title, sequence, .. } => {
            let change = if *sequence == 0 { "" } else { " (changed)" };
            format!("date given out{change}: {}, {title}", day_and_clock(*start))
        }
        What::FollowUpMoved { uid, start, reason, .. } => {
            format!("date {uid} moved to {}; reason: {reason}", day_and_clock(*start))
        }
        What::FollowUpCancelled { uid, reason, .. } => {
            format!("date {uid} cancelled; reason: {reason}")
        }
        What::FollowUpAdded { start, title, .. } => {
            format!("date added: {}, {title}", day_and_clock(*start))
        }
        What::PersonSet { name, roles } => {
            let roles: Vec<&str> = roles.iter().map(Role::word).collect();
            format!("{name} may sign in as {}", roles.join(", "))
        }
        What::PersonLeft { name } => format!("{name} may no longer sign in"),
        What::SignedIn { device } => format!("signed in on {device}"),
        What::SignInEnded { name, device } => format!("sign-in of {name} on {device} ended"),
        What::KeyMade { name, called } => {
            format!("key “{called}” made, with which a program acts as {name}")
        }
        What::KeyEnded { name, called } => format!("key “{called}” of {name} ended"),
    }
}

/// An entry in one line for a day log: what, by whom, how, and what it corrects.
#[must_use]
pub fn entry(entry: &Entry, title: Option<&str>, units: Units) -> String {
    let draft = &entry.draft;
    let mut line = what(&draft.what, title, units);
    if let (Some(walk), None) = (&draft.walk, draft.what.step())
        && !matches!(draft.what, What::Noted { .. } | What::PhotoKept { .. })
    {
        line = format!("{walk}: {line}");
    }
    if let Some(corrects) = draft.corrects {
        line.push_str(&format!("; corrects entry {corrects}"));
    }
    let spoken = matches!((&draft.what, &draft.how), (What::Noted { .. }, How::Voice(_)));
    match (&draft.how, spoken) {
        // The words of a spoken note are the note.
        (_, true) => {
            line.push_str(&format!(" ({}, spoken, unverified transcript)", draft.by));
            if let What::Noted { clip: Some(clip), .. } = &draft.what {
                line.push_str(&format!("; {}", sound::clip(clip)));
            }
        }
        (how_given, false) => line.push_str(&format!(" ({}, {})", draft.by, how(how_given))),
    }
    line
}

/// The name of a fact or measure with its row, without a checklist at hand.
#[must_use]
pub fn fact_name(name: &FactName) -> String {
    let words = name.name.rsplit('.').next().unwrap_or_default().replace('_', " ");
    match (name.name.split_once('.'), name.row) {
        (Some((table, _)), Some(row)) => format!("{} {row}: {words}", table.replace('_', " ")),
        _ => words,
    }
}

/// The question a fact answers, with its row; its name where nothing asks it.
#[must_use]
pub fn question(fact: &RecordFact, tables: &[&Table]) -> String {
    match (fact.ask.is_empty(), order::row_name(tables, &fact.name)) {
        (true, _) => fact_name(&fact.name),
        (false, Some(row)) => format!("{row}: {}", fact.ask),
        (false, None) => fact.ask.clone(),
    }
}

/// What a measure came to, or why it did not.
#[must_use]
pub fn measure(measure: &RecordMeasure, units: Units) -> String {
    match (&measure.computed, &measure.shown) {
        (_, Some(shown)) => shown.clone(),
        (Computed::Value(known), None) => value(known, units),
        (Computed::Missing(names), None) => {
            let names: Vec<String> =
                names.iter().map(|name| name.replace(['_', '.'], " ")).collect();
            format!("not known yet; missing: {}", names.join(", "))
        }
        (Computed::Cannot(why), None) => format!("cannot be computed: {why}"),
    }
}

/// A date after the job in one line.
#[must_use]
pub fn due(due: &Due) -> String {
    let checklist = due.checklist.as_ref();
    let mut more = checklist.map_or(String::new(), |id| format!("; checklist to walk: {id}"));
    let stands = due_stands(due);
    if !stands.is_empty() {
        more.push_str(&format!("; {stands}"));
    }
    format!("{}: {}{more}", day_and_clock(due.start), due.title)
}

/// Whom a date is for and what became of it since the checklist put it somewhere.
#[must_use]
pub fn due_stands(due: &Due) -> String {
    let who = due.who.as_ref().map(|who| format!("for the {who}"));
    let placed = due.placed.as_ref().map(|placed| placed.why.clone());
    let moved = due.moved_because.as_ref().map(|why| format!("moved by hand: {}", bare(why)));
    let cancelled = due.cancelled_because.as_ref().map(|why| format!("CANCELLED: {}", bare(why)));
    [who, placed, moved, cancelled].into_iter().flatten().collect::<Vec<_>>().join("; ")
}

/// Asked and found, in one sentence.
#[must_use]
pub fn asked_and_found(settled: &Settled, units: Units) -> String {
    match &settled.outcome {
        Outcome::Answered { given: what, target: Some(asked), .. } => format!(
            "Asked for {}; found {}, {}.",
            target(asked, units),
            given(what, units),
            comparison(&asked.compare(what), units)
        ),
        other => format!("Found {}.", outcome(other, units)),
    }
}

/// Text for one line of a terminal or of paper: white space becomes one space,
/// and characters that steer a terminal or turn the reading direction become
/// visible.
#[must_use]
pub fn one_line(text: &str) -> String {
    let words: Vec<String> =
        text.split_whitespace().map(|word| word.chars().map(visible).collect()).collect();
    words.join(" ")
}

/// Controls and direction marks as U+FFFD, so that nobody reads something else
/// than what is there; line ends and tabs stay.
#[must_use]
pub fn visible(c: char) -> char {
    let steers = c.is_control() && !matches!(c, '\n' | '\t');
    let turns =
        matches!(c, '\u{200e}' | '\u{200f}' | '\u{202a}'..='\u{202e}' | '\u{2066}'..='\u{2069}');
    if steers || turns { '\u{fffd}' } else { c }
}

/// A reason inside a sentence: without its own full stop.
#[must_use]
pub fn bare(reason: &str) -> &str {
    reason.trim().trim_end_matches('.')
}
