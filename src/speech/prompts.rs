//! What a walk says, in the words of a language: one line to show and the same
//! to speak, with tape notation turned into words.

use crate::domain::walk::{Doubt, Expect, ExpectAnswer, Prompt};
use crate::domain::{
    Because, Bound, Comparison, Given, Meaning, Target, Trust, Units, Verdict, shown,
};
use crate::measure::{Dimension, Quantity, Ratio, Value, parse_quantity};

use super::Wording;
use super::sentences::Key;

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
pub fn line(prompt: &Prompt, units: Units, wording: &Wording) -> Line {
    let teller = Teller { units, wording };
    let shown = teller.show(prompt);
    let spoken = match prompt {
        // Read back digit by digit where two numbers sound alike.
        Prompt::ReadBack { given, target, comparison } => {
            teller.read_back(&teller.say_given(given), given, target.as_ref(), comparison)
        }
        _ => teller.aloud(&shown),
    };
    // The program's own reasons are English: where a language does not say them
    // they are shown all the same.
    let shown = match prompt {
        Prompt::NotUnderstood { why } if !wording.holds(Key::NotUnderstood, "why") => {
            format!("{shown} [{why}]")
        }
        Prompt::NotLogged { why } if !wording.holds(Key::NotLogged, "why") => {
            format!("{shown} [{why}]")
        }
        _ => shown,
    };
    Line { shown, spoken }
}

/// What to type at a question, where the question itself does not say so: it is
/// shown beside it and never spoken. `held` is the role that a hold point waits
/// for.
#[must_use]
pub fn typed(expect: &Expect, held: Option<&str>, wording: &Wording) -> Option<String> {
    let waits = expect.answer == ExpectAnswer::None && expect.commands.contains(&Meaning::TakeNote);
    match (&expect.answer, held.filter(|_| waits)) {
        (ExpectAnswer::Choice(options), _) => {
            let options: Vec<&str> = options.iter().map(|option| wording.choice(option)).collect();
            Some(wording.say(Key::TypeChoice, &[("options", &options.join(" | "))]))
        }
        (ExpectAnswer::Words, _) => Some(wording.say(Key::TypeWords, &[])),
        (_, Some(role)) => {
            let may = [Meaning::TakeNote, Meaning::Back, Meaning::WasWrong, Meaning::Pause];
            let may = may.iter().filter(|meaning| expect.commands.contains(meaning));
            let keys: Vec<&str> = may.filter_map(|m| wording.keys(m).first().copied()).collect();
            let (role, keys) = (wording.role(role), keys.join(", "));
            Some(wording.say(Key::TypeHeld, &[("role", role), ("keys", &keys)]))
        }
        _ => None,
    }
}

/// Tells in one language and in the units of one job.
#[derive(Clone, Copy)]
struct Teller<'w> {
    units: Units,
    wording: &'w Wording,
}

impl Teller<'_> {
    fn say(&self, key: Key, places: &[(&str, &str)]) -> String {
        self.wording.say(key, places)
    }

    fn show(&self, prompt: &Prompt) -> String {
        let say = |key, places: &[(&str, &str)]| self.say(key, places);
        match prompt {
            Prompt::Opening { title, again, open } => {
                let key = if *again { Key::OpeningAgain } else { Key::Opening };
                say(key, &[("title", title), ("steps", &self.steps(*open))])
            }
            Prompt::Step { number, of, title, text } => {
                let (number, of) = (&number.to_string(), &of.to_string());
                say(Key::Step, &[("number", number), ("of", of), ("title", title), ("text", text)])
            }
            Prompt::Photos { left: 1 } => say(Key::OnePhoto, &[]),
            Prompt::Photos { left } => say(Key::Photos, &[("left", &left.to_string())]),
            Prompt::Reworded { title, expect } => {
                say(Key::Reworded, &[("title", title), ("expected", &self.expected(expect))])
            }
            Prompt::UseTouch { title } => say(Key::UseTouch, &[("title", title)]),
            Prompt::AskAgain => say(Key::AskAgain, &[]),
            Prompt::NotUnderstood { why } => say(Key::NotUnderstood, &[("why", why)]),
            Prompt::OutOfRange { given, from: Some(from), to: Some(to) } => {
                let (given, from) = (&self.show_given(given), &self.number(*from));
                say(Key::OutOfRange, &[("given", given), ("from", from), ("to", &self.number(*to))])
            }
            Prompt::OutOfRange { given, .. } => {
                say(Key::OutOfRangeOpen, &[("given", &self.show_given(given))])
            }
            Prompt::Cautions { said } => say(Key::Cautions, &[("said", &said.join(" "))]),
            Prompt::NoCautions => say(Key::NoCautions, &[]),
            Prompt::Reason { why } if why.is_empty() => say(Key::NoReason, &[]),
            Prompt::Reason { why } => why.clone(),
            // Only where a photo is still wanted.
            Prompt::ReadBack { given: Given::Done, .. } => say(Key::ReadBackDone, &[]),
            Prompt::ReadBack { given, target, comparison } => {
                self.read_back(&self.show_given(given), given, target.as_ref(), comparison)
            }
            Prompt::OffTarget { given, target, comparison } => {
                let chosen = matches!(given, Given::Chosen(_));
                let key = if chosen { Key::OffTargetChoice } else { Key::OffTarget };
                let off = self.off_by(comparison, target);
                say(key, &[("given", &self.show_given(given)), ("off", &off)])
            }
            Prompt::AskReason => say(Key::AskReason, &[]),
            Prompt::AskSkipReason => say(Key::AskSkipReason, &[]),
            Prompt::SayNote => say(Key::SayNote, &[]),
            Prompt::WordsBack { words } => {
                say(Key::WordsBack, &[("words", words.trim_end_matches(['.', ',', ' ']))])
            }
            Prompt::Logged => say(Key::Logged, &[]),
            Prompt::NotLogged { why } => say(Key::NotLogged, &[("why", why)]),
            Prompt::TryAgain => say(Key::TryAgain, &[]),
            Prompt::Held { role, title } => {
                say(Key::Held, &[("title", title), ("role", self.wording.role(role))])
            }
            Prompt::Released { by } => say(Key::Released, &[("by", by)]),
            Prompt::Witness { role, title } => {
                say(Key::Witness, &[("title", title), ("role", self.wording.role(role))])
            }
            Prompt::Paused => say(Key::Paused, &[]),
            Prompt::WhereAreWe { number, of, title, open } => {
                let (number, of) = (&number.to_string(), &of.to_string());
                let steps = &self.steps(*open);
                say(
                    Key::Where,
                    &[("number", number), ("of", of), ("title", title), ("steps", steps)],
                )
            }
            Prompt::Listening => say(Key::Listening, &[]),
            Prompt::Correcting { title } => say(Key::Correcting, &[("title", title)]),
            Prompt::Ended => say(Key::Ended, &[]),
            Prompt::NothingBefore => say(Key::NothingBefore, &[]),
            Prompt::Missing { title, names } => {
                let names = names.iter().map(|name| plain(name)).collect::<Vec<_>>().join(", ");
                say(Key::Missing, &[("title", title), ("names", &names)])
            }
            Prompt::OthersLogged => say(Key::OthersLogged, &[]),
            Prompt::OthersChanged => say(Key::OthersChanged, &[]),
            Prompt::NotTrusted { again: true, .. } => say(Key::TouchOrType, &[]),
            Prompt::NotTrusted { doubt: Doubt::NotHeardWell, .. } => say(Key::NotTrusted, &[]),
            Prompt::NotTrusted { doubt: Doubt::Louder, .. } => say(Key::Louder, &[]),
            Prompt::NotTrusted { doubt: Doubt::NotChecked, .. } => say(Key::Unchecked, &[]),
            Prompt::NotChecked => say(Key::NotChecked, &[]),
            Prompt::CheckQuiet { quiet_s } => {
                say(Key::CheckQuiet, &[("seconds", &quiet_s.to_string())])
            }
            Prompt::CheckRead { phrase, again } => {
                let key = if *again { Key::CheckAgain } else { Key::CheckRead };
                say(key, &[("phrase", phrase)])
            }
            Prompt::CheckVerdict { commands, numbers, noisy } => {
                let (commands, numbers) =
                    (&self.verdict(*commands, *noisy), &self.verdict(*numbers, *noisy));
                say(Key::CheckVerdict, &[("commands", commands), ("numbers", numbers)])
            }
            Prompt::Finished { title, deviations: 0 } => say(Key::Finished, &[("title", title)]),
            Prompt::Finished { title, deviations } => {
                let deviations = self.many(*deviations, Key::OneDeviation, Key::Deviations);
                say(Key::FinishedDeviations, &[("title", title), ("deviations", &deviations)])
            }
        }
    }

    /// Short: by how much it is off is said once the reading itself is right.
    fn read_back(
        &self,
        said: &str,
        given: &Given,
        target: Option<&Target>,
        comparison: &Comparison,
    ) -> String {
        let key = match (given, target, comparison) {
            (_, None, _) | (Given::Chosen(_), ..) => Key::ReadBack,
            (.., Comparison::On) => Key::ReadBackOn,
            _ => Key::ReadBackOff,
        };
        self.say(key, &[("given", said)])
    }

    fn off_by(&self, comparison: &Comparison, target: &Target) -> String {
        let by_mark = |key, by: &Quantity, mark: &Quantity| {
            self.say(key, &[("by", &self.number(*by)), ("mark", &self.number(*mark))])
        };
        match (comparison, target) {
            (Comparison::On, _) => self.wording.word("on-target").to_owned(),
            (Comparison::Above(by), Target::Mark(mark, _)) => by_mark(Key::OffMore, by, mark),
            (Comparison::Below(by), Target::Mark(mark, _)) => by_mark(Key::OffLess, by, mark),
            (Comparison::TooFew(few), _) => self.say(Key::OffTooFew, &[("few", &few.to_string())]),
            (_, Target::OneOf(wanted)) => {
                let or = format!(" {} ", self.wording.word("or"));
                let wanted: Vec<&str> = wanted.iter().map(|o| self.wording.choice(o)).collect();
                self.say(Key::OffNot, &[("wanted", &wanted.join(&or))])
            }
            _ => self.say(Key::OffOther, &[]),
        }
    }

    /// What may be answered, as an invitation.
    fn expected(&self, expect: &Expect) -> String {
        let phrase = |meaning: &Meaning| self.wording.phrase(meaning);
        let either = |one: &Meaning, other: &Meaning| {
            self.say(Key::SayEither, &[("one", phrase(one)), ("other", phrase(other))])
        };
        let commands = || {
            let done = expect.commands.iter().find(|c| {
                matches!(
                    c,
                    Meaning::StepDone | Meaning::Yes | Meaning::MeasureAgain | Meaning::Resume
                )
            });
            match done {
                Some(Meaning::Yes) => either(&Meaning::Yes, &Meaning::No),
                Some(Meaning::MeasureAgain) => either(&Meaning::MeasureAgain, &Meaning::LogAsIs),
                command => {
                    let command = phrase(command.unwrap_or(&Meaning::Repeat));
                    self.say(Key::SayCommand, &[("command", command)])
                }
            }
        };
        match &expect.answer {
            ExpectAnswer::None => commands(),
            ExpectAnswer::Length { .. } => self.say(Key::SayLength, &[]),
            ExpectAnswer::Count { unit: "", .. } => self.say(Key::SayNumber, &[]),
            ExpectAnswer::Count { unit, .. } => {
                self.say(Key::SayNumberIn, &[("unit", self.wording.asked_in(unit))])
            }
            ExpectAnswer::Choice(options) => {
                let options: Vec<&str> = options.iter().map(|o| self.wording.choice(o)).collect();
                self.say(Key::SayChoice, &[("options", &options.join(", "))])
            }
            ExpectAnswer::Words => self.say(Key::SayWords, &[]),
        }
    }

    /// A verdict, why, and what to do.
    fn verdict(&self, verdict: Verdict, noisy: bool) -> String {
        let key = match verdict.trust {
            Trust::Trusted => return self.say(Key::Clear, &[]),
            Trust::Repeats => Key::Repeats,
            Trust::Not => Key::Mistrusted,
        };
        let because = self.say(
            match verdict.because {
                Because::Clear | Because::Barely => Key::Barely,
                Because::Again => Key::OnlyAgain,
                Because::Missed => Key::Missed,
                Because::Mistaken => Key::Mistaken,
            },
            &[],
        );
        let mend = self.say(if noisy { Key::MendNoise } else { Key::MendVoice }, &[]);
        self.say(key, &[("because", &because), ("mend", &mend)])
    }

    fn steps(&self, n: usize) -> String {
        self.many(n, Key::OneStep, Key::Steps)
    }

    fn many(&self, n: usize, one: Key, many: Key) -> String {
        if n == 1 { self.say(one, &[]) } else { self.say(many, &[("n", &n.to_string())]) }
    }

    fn number(&self, q: Quantity) -> String {
        show_quantity(q, self.units)
    }

    fn show_given(&self, given: &Given) -> String {
        self.show_in(given, self.units)
    }

    fn show_in(&self, given: &Given, units: Units) -> String {
        match given {
            Given::Done => self.wording.word("done").to_owned(),
            Given::Measured(q) => show_quantity(*q, units),
            Given::Counted(n) => n.to_string(),
            Given::Chosen(option) => self.wording.choice(option).to_owned(),
            Given::Fact(_, value) => {
                let text = shown::show_value(value, Bound::Mark, Ratio::SIXTEENTH, units);
                match value {
                    Value::Quantity(_) => text,
                    Value::YesNo(_) | Value::Text(_) => self.wording.choice(&text).to_owned(),
                }
            }
            Given::Noted(text) => text.clone(),
        }
    }

    fn say_given(&self, given: &Given) -> String {
        match given {
            Given::Measured(q) | Given::Fact(_, Value::Quantity(q)) => self.say_quantity(*q),
            Given::Counted(n) => self.wording.numbering().say_count(*n),
            given => self.aloud(&self.show_in(given, Units::Us)),
        }
    }

    fn say_quantity(&self, q: Quantity) -> String {
        let numbering = self.wording.numbering();
        match (q.dimension, u32::try_from(q.value.numerator())) {
            (Dimension::LENGTH, _) => numbering.read_length(q.value),
            (Dimension::NUMBER, Ok(n)) if q.value.is_integer() => numbering.say_count(n),
            _ => self.aloud(&show_quantity(q, Units::Us)),
        }
    }

    /// A text as it is spoken: tape notation, pitches and units become words.
    fn aloud(&self, text: &str) -> String {
        let mut out = String::with_capacity(text.len());
        let mut rest = text;
        let mut before: Option<char> = None;
        while let Some(c) = rest.chars().next() {
            let starts = c.is_ascii_digit() && !before.is_some_and(char::is_alphanumeric);
            if let Some((words, len)) = starts.then(|| self.notation(rest)).flatten() {
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

    /// The notation a text begins with, in words, and its length in bytes.
    fn notation(&self, text: &str) -> Option<(String, usize)> {
        let numbering = self.wording.numbering();
        let is_part =
            |c: char| c.is_ascii_digit() || matches!(c, '\'' | '"' | '/' | '-' | ' ' | '.');
        let end = text.find(|c| !is_part(c)).unwrap_or(text.len());
        let run = text.get(..end)?;
        // The longest piece that ends in a mark and is a length.
        let marks = run.rmatch_indices(['"', '\'']).map(|(at, _)| at + 1);
        for len in marks {
            let piece = run.get(..len)?;
            if let Ok(length) = parse_quantity(piece, Dimension::LENGTH) {
                return Some((numbering.length_in_words(length.value), len));
            }
        }
        if let Some((rise, len)) = pitch(text) {
            return Some((numbering.pitch(rise), len));
        }
        let number = text.find(|c: char| !c.is_ascii_digit() && c != '.').unwrap_or(text.len());
        let digits = text.get(..number)?.trim_end_matches('.');
        let after = text.get(digits.len()..)?.strip_prefix(' ')?;
        let ends = |rest: &str| !rest.starts_with(char::is_alphanumeric);
        let (sign, noun) = self
            .wording
            .units()
            .iter()
            .find(|(sign, _)| after.strip_prefix(sign).is_some_and(ends))?;
        let plain = match digits.split_once('.') {
            Some((whole, part)) if part.bytes().all(|digit| digit == b'0') => whole,
            _ => digits,
        };
        Some((numbering.amount(plain, noun), digits.len() + 1 + sign.len()))
    }
}

/// A name from a formula as it is said: `profile.nail_line`, `run.available`. A
/// question stays as it is.
fn plain(name: &str) -> String {
    if name.contains(' ') {
        return name.to_owned();
    }
    name.strip_prefix("profile.").unwrap_or(name).replace(['_', '.'], " ")
}

fn show_quantity(q: Quantity, units: Units) -> String {
    shown::show_value(&Value::Quantity(q), Bound::Mark, Ratio::SIXTEENTH, units)
}

/// The rise of a pitch, and its length in bytes.
fn pitch(text: &str) -> Option<(u32, usize)> {
    let (rise, rest) = text.split_once("/12")?;
    let number: u32 = rise.parse().ok()?;
    let ends = rest.chars().next().is_none_or(|c| !c.is_alphanumeric() && c != '/');
    ends.then_some((number, rise.len() + 3))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn english() -> Teller<'static> {
        static WORDING: std::sync::LazyLock<Wording> = std::sync::LazyLock::new(Wording::default);
        Teller { units: Units::Us, wording: &WORDING }
    }

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
            assert_eq!(english().aloud(shown), spoken);
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
        let line = line(&prompt, Units::Us, &Wording::default());
        assert_eq!(line.shown, "1'-3\", on target; right?");
        assert_eq!(line.spoken, "one-five inches, on target; right?");
    }

    #[test]
    fn long_lengths_are_read_back_in_feet() {
        let said = |inches| english().say_quantity(Quantity::inches(Ratio::int(inches)));
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
            line(&prompt, Units::Us, &Wording::default()).spoken,
            "four and three quarters inches is off target: a quarter of an inch more than four \
             and a half inches. Say measure again, or log it as it is."
        );
    }
}
