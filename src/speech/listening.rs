//! What a walk listens for, as a grammar the recogniser can follow.

use std::collections::BTreeMap;

use crate::domain::walk::{Expect, ExpectAnswer};
use crate::measure::Ratio;

use super::{Grammar, Meaning, Numbers, Wording};

/// Up to here whole inches are heard at a step that expects others: a tape that
/// lies at the wrong line shows any of them.
const MOST_BEYOND_INCHES: i64 = 60;

/// The grammar of what makes sense now.
#[must_use]
pub fn grammar(expect: &Expect, wording: &Wording) -> Grammar {
    let mut grammar = Grammar::commands_only(expect.commands.clone());
    match &expect.answer {
        ExpectAnswer::None => {}
        ExpectAnswer::Length { from, to, step } => {
            let beyond = Ratio::int(MOST_BEYOND_INCHES);
            grammar.numbers = Numbers::Lengths { from: *from, to: *to, step: *step, beyond };
        }
        ExpectAnswer::Count { from, to, .. } => {
            grammar.numbers = Numbers::Counts { from: *from, to: *to };
        }
        ExpectAnswer::Choice(options) => {
            let said = options.iter().map(|option| wording.choice(option).to_owned());
            grammar.choices = said.collect();
        }
        ExpectAnswer::Words => grammar = Grammar::free(),
    }
    grammar.wording = wording.clone().with_choices(BTreeMap::new());
    grammar
}

/// Words heard without a grammar. The call word alone is the call word there
/// too, or a crew that was away could not open the ear again.
#[must_use]
pub fn dictated(words: String, wording: &Wording) -> Meaning {
    let plain = |text: &str| -> String {
        text.chars().filter(|c| c.is_alphanumeric()).flat_map(char::to_lowercase).collect()
    };
    let called = plain(&words) == plain(wording.call_word());
    if called { Meaning::CallWord } else { Meaning::Words(words) }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_reading_far_off_is_listened_for() {
        let answer = ExpectAnswer::Length {
            from: Ratio::SIXTEENTH,
            to: Ratio::int(10),
            step: Ratio::SIXTEENTH,
        };
        let forms = grammar(&Expect { commands: Vec::new(), answer }, &Wording::default()).forms();
        let means = |words: &str| {
            forms.iter().find(|(_, form)| form == words).map(|(meaning, _)| meaning.clone())
        };
        assert_eq!(means("forty eight inches"), Some(Meaning::Length(Ratio::int(48))));
        assert_eq!(means("forty eight and a half"), None);
        assert_eq!(means("four"), Some(Meaning::Length(Ratio::int(4))));
        let four = forms.iter().filter(|(_, form)| form == "four").count();
        assert_eq!(four, 1, "what makes sense is not listened for twice");
    }

    #[test]
    fn the_call_word_is_heard_in_dictation() {
        let wording = Wording::default();
        assert_eq!(dictated("Logbook.".to_owned(), &wording), Meaning::CallWord);
        let words = "The logbook is wet.".to_owned();
        assert_eq!(dictated(words.clone(), &wording), Meaning::Words(words));
        let wording = wording.with_call_word("Roof book").unwrap();
        assert_eq!(dictated("roof-book!".to_owned(), &wording), Meaning::CallWord);
        let words = "Logbook.".to_owned();
        assert_eq!(dictated(words.clone(), &wording), Meaning::Words(words));
    }
}
