//! What a walk says, in English: one line to show and the same to speak, with
//! tape notation turned into words. Short sentences; nobody reads on a ladder.

use crate::domain::walk::{Expect, ExpectAnswer, Prompt};
use crate::domain::{Bound, Comparison, Given, Meaning, Target, Units, shown};
use crate::measure::{Dimension, Quantity, Ratio, Value, parse_quantity};

use super::{call_word, phrases_for, say_count, say_length, words_for};

/// One thing said.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Line {
    /// To show: lengths in tape notation.
    pub shown: String,
    /// To speak: everything in words.
    pub spoken: String,
}

/// The line of a prompt.
#[must_use]
pub fn line(prompt: &Prompt, units: Units) -> Line {
    let shown = show(prompt, units);
    let spoken = match prompt {
        // Read back digit by digit where a teen may be heard as a ten.
        Prompt::ReadBack { given, target: None, .. } => format!("{}; right?", say_given(given)),
        Prompt::ReadBack { given, comparison, .. } => {
            read_back(&say_given(given), given, comparison)
        }
        _ => aloud(&shown),
    };
    Line { shown, spoken }
}

fn show(prompt: &Prompt, units: Units) -> String {
    let number = |q: Quantity| show_quantity(q, units);
    match prompt {
        Prompt::Opening { title, again: false, open } => {
            format!("{title}. {}.", many(*open, "step"))
        }
        Prompt::Opening { title, again: true, open } => {
            format!("{title}, going on. {} to go.", many(*open, "step"))
        }
        Prompt::Step { number, of, title, text } => {
            format!("Step {number} of {of}. {title}. {text}")
        }
        Prompt::Photos { left: 1 } => {
            format!("One photo wanted. Say \"{}\".", phrase(&Meaning::PhotoTaken))
        }
        Prompt::Photos { left } => {
            format!("{left} photos wanted. Say \"{}\" each time.", phrase(&Meaning::PhotoTaken))
        }
        Prompt::Reworded { title, expect } => format!("{title}. {}", expected(expect)),
        Prompt::UseTouch { title } => {
            format!("I do not hear you well. {title}: touch or type the answer.")
        }
        Prompt::AskAgain => "I did not get that.".to_owned(),
        Prompt::NotUnderstood { why } => format!("I cannot take that: {why}."),
        Prompt::OutOfRange { given, from, to } => {
            let given = show_given(given, units);
            match (from, to) {
                (Some(from), Some(to)) => format!(
                    "{given} is hard to believe; {} to {} is expected. Say it again.",
                    number(*from),
                    number(*to)
                ),
                _ => format!("{given} is hard to believe. Say it again."),
            }
        }
        Prompt::Cautions { said } => format!("Caution. {}", said.join(" ")),
        Prompt::NoCautions => "This step has no caution of its own.".to_owned(),
        Prompt::Reason { why } if why.is_empty() => "No reason is written.".to_owned(),
        Prompt::Reason { why } => why.clone(),
        Prompt::ReadBack { given, target: None, .. } => {
            format!("{}; right?", show_given(given, units))
        }
        Prompt::ReadBack { given, comparison, .. } => {
            read_back(&show_given(given, units), given, comparison)
        }
        Prompt::OffTarget { given: Given::Chosen(option), target, comparison } => format!(
            "{option} is {}. Say \"{}\" to answer again, or \"{}\".",
            off_by(comparison, Some(target), number),
            phrase(&Meaning::MeasureAgain),
            phrase(&Meaning::LogAsIs)
        ),
        Prompt::OffTarget { given, target, comparison } => {
            let off = off_by(comparison, Some(target), number);
            let given = show_given(given, units);
            let again = phrase(&Meaning::MeasureAgain);
            let log = phrase(&Meaning::LogAsIs);
            format!("{given} is off target: {off}. Say \"{again}\", or \"{log}\".")
        }
        Prompt::AskReason => "Say why it stays as it is.".to_owned(),
        Prompt::AskSkipReason => "Say why this step is left out.".to_owned(),
        Prompt::SayNote => "Say the note.".to_owned(),
        Prompt::WordsBack { words } => {
            format!("I heard: {}. Right?", words.trim_end_matches(['.', ',', ' ']))
        }
        Prompt::Logged => "Logged.".to_owned(),
        Prompt::NotLogged { why } => format!("Not logged: {why}."),
        Prompt::TryAgain => format!("Say \"{}\" to try again.", phrase(&Meaning::Repeat)),
        Prompt::Held { role, title } => {
            format!("Hold point. Work stops before {title} until the {role} releases it.")
        }
        Prompt::Released { by } => format!("Released by {by}."),
        Prompt::Witness { role, title } => {
            format!("Witness point before {title}: tell the {role}. Work may go on.")
        }
        Prompt::Paused => format!(
            "Paused. To go on say \"{}\", then \"{}\".",
            call_word(),
            phrase(&Meaning::Resume)
        ),
        Prompt::WhereAreWe { number, of, title, open } => {
            format!("Step {number} of {of}: {title}. {} to go.", many(*open, "step"))
        }
        Prompt::Listening => "Listening.".to_owned(),
        Prompt::Correcting { title } => format!(
            "Correcting {title}. Answer it again, or say \"{}\" to leave it.",
            phrase(&Meaning::Resume)
        ),
        Prompt::Ended => format!(
            "Every step is settled. Say \"{}\" to correct the last one.",
            phrase(&Meaning::WasWrong)
        ),
        Prompt::NothingBefore => "There is no step before this one.".to_owned(),
        Prompt::Missing { title, names } => format!(
            "{title} cannot be told yet. Nobody has given: {}. Survey that first.",
            names.iter().map(|name| plain(name)).collect::<Vec<_>>().join(", ")
        ),
        Prompt::OthersLogged => "That step is in the log already.".to_owned(),
        Prompt::OthersChanged => "Somebody changed the numbers. Listen again.".to_owned(),
        Prompt::Finished { title, deviations: 0 } => format!("{title}: that was the last step."),
        Prompt::Finished { title, deviations } => {
            let deviations = many(*deviations, "deviation");
            format!("{title}: that was the last step. {deviations} for the foreman to look at.")
        }
    }
}

/// Short: by how much it is off is said once the reading itself is right.
fn read_back(said: &str, given: &Given, comparison: &Comparison) -> String {
    match (given, comparison) {
        (Given::Chosen(_), _) => format!("{said}; right?"),
        (_, Comparison::On) => format!("{said}, on target; right?"),
        _ => format!("{said}, off target; right?"),
    }
}

fn off_by(
    comparison: &Comparison,
    target: Option<&Target>,
    number: impl Fn(Quantity) -> String,
) -> String {
    match (comparison, target) {
        (Comparison::On, _) => "on target".to_owned(),
        (Comparison::Above(by), Some(Target::Mark(mark, _))) => {
            format!("{} more than {}", number(*by), number(*mark))
        }
        (Comparison::Below(by), Some(Target::Mark(mark, _))) => {
            format!("{} less than {}", number(*by), number(*mark))
        }
        (Comparison::TooFew(few), _) => format!("{few} too few"),
        (_, Some(Target::OneOf(wanted))) => format!("not {}", wanted.join(" or ")),
        _ => "off target".to_owned(),
    }
}

/// What may be answered, as an invitation.
fn expected(expect: &Expect) -> String {
    let commands = || {
        let done = expect.commands.iter().find(|c| {
            matches!(c, Meaning::StepDone | Meaning::Yes | Meaning::MeasureAgain | Meaning::Resume)
        });
        match done {
            Some(Meaning::Yes) => {
                format!("Say \"{}\" or \"{}\".", phrase(&Meaning::Yes), phrase(&Meaning::No))
            }
            Some(Meaning::MeasureAgain) => format!(
                "Say \"{}\" or \"{}\".",
                phrase(&Meaning::MeasureAgain),
                phrase(&Meaning::LogAsIs)
            ),
            Some(command) => format!("Say \"{}\".", phrase(command)),
            None => format!("Say \"{}\".", phrase(&Meaning::Repeat)),
        }
    };
    match &expect.answer {
        ExpectAnswer::None => commands(),
        ExpectAnswer::Length { .. } => {
            "Say a length in inches, such as four and a half inches.".to_owned()
        }
        ExpectAnswer::Count { unit: "", .. } => "Say a number.".to_owned(),
        ExpectAnswer::Count { unit, .. } => format!("Say a number of {unit}."),
        ExpectAnswer::Choice(options) => format!("Say one of: {}.", options.join(", ")),
        ExpectAnswer::Words => "Say it in your own words.".to_owned(),
    }
}

fn phrase(meaning: &Meaning) -> &'static str {
    match meaning {
        Meaning::CallWord => call_word(),
        meaning => phrases_for(meaning).first().copied().unwrap_or_default(),
    }
}

/// A name from a formula as it is said: `profile.nail_line`, `run.available`.
fn plain(name: &str) -> String {
    name.strip_prefix("profile.").unwrap_or(name).replace(['_', '.'], " ")
}

fn many(n: usize, what: &str) -> String {
    if n == 1 { format!("1 {what}") } else { format!("{n} {what}s") }
}

fn show_quantity(q: Quantity, units: Units) -> String {
    shown::show_value(&Value::Quantity(q), Bound::Mark, Ratio::SIXTEENTH, units)
}

fn show_given(given: &Given, units: Units) -> String {
    match given {
        Given::Done => "Done".to_owned(),
        Given::Measured(q) => show_quantity(*q, units),
        Given::Counted(n) => n.to_string(),
        Given::Chosen(option) => option.clone(),
        Given::Fact(_, value) => shown::show_value(value, Bound::Mark, Ratio::SIXTEENTH, units),
        Given::Noted(text) => text.clone(),
    }
}

fn say_given(given: &Given) -> String {
    match given {
        Given::Measured(q) | Given::Fact(_, Value::Quantity(q)) => say_quantity(*q),
        Given::Counted(n) => say_count(*n),
        given => aloud(&show_given(given, Units::Us)),
    }
}

fn say_quantity(q: Quantity) -> String {
    match (q.dimension, u32::try_from(q.value.numerator())) {
        (Dimension::LENGTH, _) => read_length(q.value),
        (Dimension::NUMBER, Ok(n)) if q.value.is_integer() => say_count(n),
        _ => aloud(&show_quantity(q, Units::Us)),
    }
}

/// A text as it is spoken: tape notation, pitches and units become words.
fn aloud(text: &str) -> String {
    let mut out = String::with_capacity(text.len());
    let mut rest = text;
    let mut before: Option<char> = None;
    while let Some(c) = rest.chars().next() {
        let starts = c.is_ascii_digit() && !before.is_some_and(char::is_alphanumeric);
        if let Some((words, len)) = starts.then(|| notation(rest)).flatten() {
            out.push_str(&words);
            rest = rest.get(len..).unwrap_or_default();
            before = Some('0');
            continue;
        }
        if !matches!(c, '"' | '`') {
            out.push(c);
        }
        before = Some(c);
        rest = rest.get(c.len_utf8()..).unwrap_or_default();
    }
    out
}

/// Units that follow a number, and how they are spoken.
const UNITS: [(&str, &str); 10] = [
    (" in2/ft", " square inches a foot"),
    (" cm2/m", " square centimetres a metre"),
    (" in2", " square inches"),
    (" ft2", " square feet"),
    (" cm2", " square centimetres"),
    (" m2", " square metres"),
    (" degF", " degrees"),
    (" degC", " degrees Celsius"),
    (" mph", " miles an hour"),
    (" km/h", " kilometres an hour"),
];

/// The notation a text begins with, in words, and its length in bytes.
fn notation(text: &str) -> Option<(String, usize)> {
    let is_part = |c: char| c.is_ascii_digit() || matches!(c, '\'' | '"' | '/' | '-' | ' ' | '.');
    let end = text.find(|c| !is_part(c)).unwrap_or(text.len());
    let run = text.get(..end)?;
    // The longest piece that ends in a mark and is a length.
    let marks = run.rmatch_indices(['"', '\'']).map(|(at, _)| at + 1);
    for len in marks {
        let piece = run.get(..len)?;
        if let Ok(length) = parse_quantity(piece, Dimension::LENGTH) {
            return Some((length_in_words(length.value), len));
        }
    }
    if let Some((words, len)) = pitch(text) {
        return Some((words, len));
    }
    let number = text.find(|c: char| !c.is_ascii_digit() && c != '.').unwrap_or(text.len());
    let digits = text.get(..number)?.trim_end_matches('.');
    let after = text.get(digits.len()..)?;
    let (unit, said) = UNITS.iter().find(|(unit, _)| after.starts_with(unit))?;
    let plain = match digits.split_once('.') {
        Some((whole, part)) if part.bytes().all(|digit| digit == b'0') => whole,
        _ => digits,
    };
    Some((format!("{plain}{said}"), digits.len() + unit.len()))
}

fn pitch(text: &str) -> Option<(String, usize)> {
    let (rise, rest) = text.split_once("/12")?;
    let rise_n: u32 = rise.parse().ok()?;
    let ends = rest.chars().next().is_none_or(|c| !c.is_alphanumeric() && c != '/');
    ends.then(|| (format!("{} in twelve", words_for(rise_n)), rise.len() + 3))
}

/// A length in an instruction: feet and inches where it is long, and plain
/// words for teens ("one-eight inches" is too close to an eighth). Thirteen and
/// thirty alone stay apart by their digits.
fn length_in_words(inches: Ratio) -> String {
    match in_feet(inches, words_for) {
        Some(long) => long,
        None => match u32::try_from(inches.floor()) {
            Ok(whole @ 14..=19) => {
                plain_half(&say_length(inches)).replacen(&say_count(whole), &words_for(whole), 1)
            }
            _ => plain_half(&say_length(inches)),
        },
    }
}

/// A length as it is read back.
fn read_length(inches: Ratio) -> String {
    in_feet(inches, say_count).unwrap_or_else(|| plain_half(&say_length(inches)))
}

/// Feet and inches, as roofers say what is three feet and more.
fn in_feet(inches: Ratio, count: fn(u32) -> String) -> Option<String> {
    let feet = u32::try_from(inches.floor() / 12).ok().filter(|feet| 3 <= *feet)?;
    let rest = inches.minus(Ratio::int(i64::from(feet) * 12)).ok()?;
    let feet = format!("{} feet", count(feet));
    if rest == Ratio::ZERO {
        return Some(feet);
    }
    Some(format!("{feet} {}", plain_half(&say_length(rest))))
}

fn plain_half(said: &str) -> String {
    said.replace("a half of an inch", "half an inch")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn tape_notation_is_spoken_in_words() {
        for (shown, spoken) in [
            ("Snap the line 4 1/2\" up.", "Snap the line four and a half inches up."),
            ("to 1'-3\".", "to fifteen inches."),
            ("from 1'-6 1/2\" to 2'-6\"", "from eighteen and a half inches to three-oh inches"),
            ("12.00 in2/ft, 12.50 in2/ft", "12 square inches a foot, 12.50 square inches a foot"),
            ("cut 21'-7 3/4\" long", "cut twenty one feet seven and three quarters inches long"),
            ("pitch 6/12, run 14'-0\"", "pitch six in twelve, run fourteen feet"),
            ("288.0 in2 of 1200 ft2", "288 square inches of 1200 square feet"),
            ("Step 4 of 30. Say \"go back\".", "Step 4 of 30. Say go back."),
            ("Run 2: 1/2 done", "Run 2: 1/2 done"),
        ] {
            assert_eq!(aloud(shown), spoken);
        }
    }

    #[test]
    fn teens_and_tens_are_read_back_digit_by_digit() {
        let mark = Quantity::inches(Ratio::int(15));
        let tolerance = Quantity::inches(Ratio::SIXTEENTH);
        let target = Target::Mark(mark, tolerance);
        let given = Given::Measured(mark);
        let comparison = target.compare(&given);
        let prompt = Prompt::ReadBack { given, target: Some(target), comparison };
        let line = line(&prompt, Units::Us);
        assert_eq!(line.shown, "1'-3\", on target; right?");
        assert_eq!(line.spoken, "one-five inches, on target; right?");
    }

    #[test]
    fn long_lengths_are_read_back_in_feet() {
        let said = |inches| say_quantity(Quantity::inches(Ratio::int(inches)));
        assert_eq!(said(168), "one-four feet");
        assert_eq!(said(234), "one-nine feet six inches");
        assert_eq!(said(35), "thirty five inches");
    }

    #[test]
    fn off_target_says_how_much_and_which_way() {
        let inches = |num, den| Quantity::inches(Ratio::new(num, den).unwrap());
        let target = Target::Mark(inches(9, 2), inches(1, 16));
        let given = Given::Measured(inches(19, 4));
        let comparison = target.compare(&given);
        let prompt = Prompt::OffTarget { given, target, comparison };
        assert_eq!(
            line(&prompt, Units::Us).spoken,
            "four and three quarters inches is off target: a quarter of an inch more than four \
             and a half inches. Say measure again, or log it as it is."
        );
    }
}
