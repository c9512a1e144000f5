//! What a walk listens for, as a grammar the recogniser can follow.

use crate::domain::walk::{Expect, ExpectAnswer};

use super::{Grammar, Meaning, Numbers, call_word};

/// The grammar of what makes sense now.
#[must_use]
pub fn grammar(expect: &Expect) -> Grammar {
    let mut grammar = Grammar::commands_only(expect.commands.clone());
    match &expect.answer {
        ExpectAnswer::None => {}
        ExpectAnswer::Length { from, to, step } => {
            grammar.numbers = Numbers::Lengths { from: *from, to: *to, step: *step };
        }
        ExpectAnswer::Count { from, to, .. } => {
            grammar.numbers = Numbers::Counts { from: *from, to: *to };
        }
        ExpectAnswer::Choice(options) => grammar.choices.clone_from(options),
        ExpectAnswer::Words => return Grammar::free(),
    }
    grammar
}

/// Words heard without a grammar. The call word alone is the call word there
/// too, or a crew that was away could not open the ear again.
#[must_use]
pub fn dictated(words: String) -> Meaning {
    let plain: String = words.chars().filter(|c| c.is_alphanumeric()).collect();
    if plain.eq_ignore_ascii_case(call_word()) { Meaning::CallWord } else { Meaning::Words(words) }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_call_word_is_heard_in_dictation() {
        assert_eq!(dictated("Logbook.".to_owned()), Meaning::CallWord);
        let words = "The logbook is wet.".to_owned();
        assert_eq!(dictated(words.clone()), Meaning::Words(words));
    }
}
