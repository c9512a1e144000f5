//! What is said for the hearing table, what it means, and the grammar it is heard
//! under. Who says it, and in which noise, is the corpus builder's business.

use std::collections::BTreeMap;

use crate::domain::walk::{Expect, ExpectAnswer};
use crate::domain::{Answer, Checklist, FactKind};
use crate::files;
use crate::measure::Ratio;
use crate::roof;
use crate::speech::{self, Grammar, Meaning, Wording, phrases_for};

/// Words that might open the ear again; the first is the one in use.
pub(super) const CALL_WORDS: [&str; 5] =
    ["logbook", "hey logbook", "roof logbook", "hello logbook", "chalk line"];

/// Text, and inches as a fraction.
const MEASURES: &[(&str, i128, i128)] = &[
    ("four and a half inches", 9, 2),
    ("four and nine sixteenths", 73, 16),
    ("five and a quarter inches", 21, 4),
    ("six and a half", 13, 2),
    ("three sixteenths", 3, 16),
    ("five eighths", 5, 8),
    ("three quarters of an inch", 3, 4),
    ("seven and three eighths", 59, 8),
    ("nine inches", 9, 1),
    ("twelve", 12, 1),
    ("twenty four", 24, 1),
    ("thirty six and a half inches", 73, 2),
    ("forty eight", 48, 1),
    ("three and eleven sixteenths inches", 59, 16),
    ("ten and one eighth", 81, 8),
    // Teens and tens sound alike.
    ("thirteen inches", 13, 1),
    ("thirty inches", 30, 1),
    ("fourteen and a quarter", 57, 4),
    ("forty and a quarter", 161, 4),
    ("fifteen inches", 15, 1),
    ("fifty inches", 50, 1),
    ("sixteen and five eighths", 133, 8),
    ("sixty inches", 60, 1),
    ("seventeen and a half inches", 35, 2),
    ("eighteen inches", 18, 1),
    ("nineteen and three quarters", 79, 4),
    ("forty one and a half", 83, 2),
    // So do the sixteenths and their neighbours.
    ("one sixteenth", 1, 16),
    ("seven sixteenths", 7, 16),
    ("fifteen sixteenths of an inch", 15, 16),
    ("two and five sixteenths", 37, 16),
    ("eleven and thirteen sixteenths", 189, 16),
    ("twenty two and fifteen sixteenths inches", 367, 16),
    // Feet and inches.
    ("one foot six", 18, 1),
    ("a foot and a half", 18, 1),
    ("two feet four inches", 28, 1),
    ("three feet nine and a quarter inches", 181, 4),
    ("four feet ten", 58, 1),
    ("one foot two and three eighths", 115, 8),
];

const COUNTS: &[(&str, u32)] = &[
    ("one", 1),
    ("four", 4),
    ("seven", 7),
    ("nine", 9),
    ("eleven", 11),
    ("thirteen", 13),
    ("fifteen", 15),
    ("sixteen", 16),
    ("twenty eight", 28),
    ("thirty", 30),
    ("forty two", 42),
    ("fifty", 50),
    ("sixty", 60),
];

/// What a walk listens for besides the answer.
const ALWAYS: [Meaning; 5] = [
    Meaning::Repeat,
    Meaning::WhereAreWe,
    Meaning::ReadCaution,
    Meaning::ReadReason,
    Meaning::CallWord,
];
const AT_A_STEP: [Meaning; 6] = [
    Meaning::Back,
    Meaning::Pause,
    Meaning::TakeNote,
    Meaning::PhotoTaken,
    Meaning::WasWrong,
    Meaning::Skip,
];

/// As what a text is heard.
#[derive(Clone, Debug, PartialEq, Eq, serde::Serialize)]
pub(super) struct As {
    pub(super) kind: String,
    /// As [`value`] writes it.
    pub(super) truth: String,
    /// A name in [`Said::grammars`].
    pub(super) grammar: String,
}

/// One text to be said.
#[derive(Clone, Debug, serde::Serialize)]
pub(super) struct Text {
    pub(super) text: String,
    #[serde(rename = "as")]
    pub(super) hearings: Vec<As>,
}

/// Everything that is said, and every grammar by its name.
pub(super) struct Said {
    pub(super) texts: Vec<Text>,
    pub(super) grammars: BTreeMap<String, Grammar>,
}

/// What was meant, so that two of a kind differ.
pub(super) fn value(meaning: &Meaning) -> String {
    match meaning {
        Meaning::Length(inches) => fraction(*inches),
        Meaning::Count(count) => count.to_string(),
        Meaning::Choice(place) => format!("choice {place}"),
        other => other.word().to_owned(),
    }
}

pub(super) fn fraction(inches: Ratio) -> String {
    format!("{}/{}", inches.numerator(), inches.denominator())
}

impl Said {
    /// Of the phrases and the shipped checklists this program has.
    pub(super) fn all() -> anyhow::Result<Said> {
        let mut said = Said { texts: Vec::new(), grammars: common_grammars()? };
        said.commands();
        said.measures()?;
        for (text, count) in COUNTS {
            said.add(text, "count", &count.to_string(), "count");
        }
        for (at, options) in spoken_choices()?.iter().enumerate() {
            let name = format!("choice {at}");
            let answer = ExpectAnswer::Choice(options.clone());
            said.grammars.insert(name.clone(), at_a_step(answer, &[]));
            for (place, option) in options.iter().enumerate() {
                let one = option.split_whitespace().count() == 1;
                let kind = if one { "choice, one word" } else { "choice, more words" };
                said.add(option, kind, &format!("choice {place}"), &name);
            }
        }
        for word in CALL_WORDS {
            said.add(word, "call word", "choice 0", &call_grammar(word));
        }
        Ok(said)
    }

    /// A text is said once, however often it is heard.
    fn add(&mut self, text: &str, kind: &str, truth: &str, grammar: &str) {
        let hearing =
            As { kind: kind.to_owned(), truth: truth.to_owned(), grammar: grammar.to_owned() };
        let base = |kind: &str| kind.split(',').next().unwrap_or(kind).to_owned();
        // A kind is said by voices of its own.
        let known = self.texts.iter_mut().find(|known| {
            known.text == text
                && known.hearings.first().is_some_and(|first| base(&first.kind) == base(kind))
        });
        match known {
            Some(known) => known.hearings.push(hearing),
            None => self.texts.push(Text { text: text.to_owned(), hearings: vec![hearing] }),
        }
    }

    fn commands(&mut self) {
        let step = self.grammars.get("step").cloned();
        for command in Grammar::all_commands().commands {
            for phrase in phrases_for(&command) {
                let word = command.word();
                self.add(phrase, "command", word, "everything");
                if step.as_ref().is_some_and(|step| step.commands.contains(&command)) {
                    self.add(phrase, "command, at its step", word, "step");
                }
                if matches!(command, Meaning::Yes | Meaning::No) {
                    self.add(phrase, "command, yes or no", word, "yes-no");
                }
            }
        }
    }

    fn measures(&mut self) -> anyhow::Result<()> {
        for (text, top, bottom) in MEASURES {
            let inches = Ratio::new(*top, *bottom)?;
            let truth = fraction(inches);
            let near = format!("near {truth}");
            self.grammars.insert(near.clone(), at_a_step(about(inches), &[]));
            self.add(text, "measure", &truth, "everything");
            self.add(text, "measure, narrow step", &truth, &near);
        }
        Ok(())
    }
}

/// The name of the grammar that a call word is tried under.
pub(super) fn call_grammar(word: &str) -> String {
    format!("call {word}")
}

fn common_grammars() -> anyhow::Result<BTreeMap<String, Grammar>> {
    let sixteenth = Ratio::new(1, 16)?;
    let with = |own: &[Meaning]| Grammar::commands_only([own, &ALWAYS[..]].concat());
    let read_back = [Meaning::Yes, Meaning::No, Meaning::Back, Meaning::Skip, Meaning::Pause];
    let mut grammars = BTreeMap::from([
        ("everything".to_owned(), Grammar::everything()),
        ("confirm".to_owned(), with(&[Meaning::StepDone])),
        ("step".to_owned(), at_a_step(ExpectAnswer::None, &[Meaning::StepDone])),
        ("yes-no".to_owned(), with(&read_back)),
        ("lengths".to_owned(), Grammar::only_lengths(sixteenth, Ratio::int(60), sixteenth)),
        ("count".to_owned(), at_a_step(ExpectAnswer::Count { from: 0, to: 60, unit: "" }, &[])),
    ]);
    for word in CALL_WORDS {
        // The candidate stands where the call word in use would.
        let mut grammar = at_a_step(ExpectAnswer::Choice(vec![word.to_owned()]), &[]);
        grammar.commands.retain(|command| *command != Meaning::CallWord);
        grammars.insert(call_grammar(word), grammar);
    }
    Ok(grammars)
}

fn at_a_step(answer: ExpectAnswer, first: &[Meaning]) -> Grammar {
    let commands = [first, &AT_A_STEP[..], &ALWAYS[..]].concat();
    speech::grammar(&Expect { commands, answer }, &Wording::default())
}

/// A foot about a mark, by sixteenths.
fn about(inches: Ratio) -> ExpectAnswer {
    let foot = Ratio::int(12);
    let step = Ratio::SIXTEENTH;
    let from = inches.minus(foot).map_or(step, |from| from.max(step));
    let whole = Ratio::int(i64::try_from(from.floor()).unwrap_or(0)).max(step);
    ExpectAnswer::Length { from: whole, to: inches.plus(foot).unwrap_or(inches), step }
}

/// The answers offered at any step of the shipped checklists, each set once.
fn spoken_choices() -> anyhow::Result<Vec<Vec<String>>> {
    let functions = roof::functions();
    let mut sets: Vec<Vec<String>> = Vec::new();
    for (name, text) in files::SHIPPED {
        let checklist = files::read_checklist(text, name, &functions)?;
        for step in &checklist.steps {
            if let Some(options) = options(&checklist, &step.answer)
                && !sets.contains(&options)
            {
                sets.push(options);
            }
        }
    }
    Ok(sets)
}

fn options(checklist: &Checklist, answer: &Answer) -> Option<Vec<String>> {
    match answer {
        Answer::Choice { options, .. } => Some(options.clone()),
        Answer::Fact { fact } => match &checklist.fact(fact)?.kind {
            FactKind::Choice(options) => Some(options.clone()),
            FactKind::YesNo => Some(vec!["yes".to_owned(), "no".to_owned()]),
            _ => None,
        },
        _ => None,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::speech::{Numbers, parse_count, parse_length};

    #[test]
    fn everything_said_may_be_said_and_means_what_is_claimed() {
        let said = Said::all().unwrap();
        assert!(150 < said.texts.len(), "{}", said.texts.len());
        for text in &said.texts {
            for heard in &text.hearings {
                let number = parse_length(&text.text).map(fraction);
                let count = parse_count(&text.text).map(|count| count.to_string());
                // Numbers are read back; their thousands of forms need not be built.
                let words =
                    Grammar { numbers: Numbers::None, ..said.grammars[&heard.grammar].clone() };
                let offered = words.forms().into_iter().any(|(meaning, form)| {
                    value(&meaning) == heard.truth && form.eq_ignore_ascii_case(&text.text)
                });
                let truth = Some(&heard.truth);
                let fits = offered || number.as_ref() == truth || count.as_ref() == truth;
                assert!(fits, "{} as {heard:?}", text.text);
            }
        }
    }

    #[test]
    fn each_shipped_choice_is_said() {
        let said = Said::all().unwrap();
        let choices = |kind: &str| {
            said.texts.iter().filter(|text| text.hearings.iter().any(|h| h.kind == kind)).count()
        };
        assert!(60 < choices("choice, more words"));
        assert!(0 < choices("choice, one word"));
    }
}
