//! What a walk listens for, as a grammar the recogniser can follow.

use crate::domain::walk::{Expect, ExpectAnswer};

use super::{Grammar, Numbers};

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
