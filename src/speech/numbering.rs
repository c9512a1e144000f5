//! Numbers into words, one grammar a language. A language without its own file
//! of numbers does not compile.

use crate::domain::Language;
use crate::files::Noun;
use crate::measure::Ratio;

use super::{english, forms, spanish};

/// The numbers of a language.
#[derive(Clone, Copy, Debug)]
pub(super) struct Numbering(pub(super) Language);

impl Numbering {
    /// A count as it is read back: apart from what sounds alike.
    pub(super) fn say_count(self, count: u32) -> String {
        match self.0 {
            Language::English => forms::say_count(count),
            Language::Spanish => spanish::say_count(count, false),
        }
    }

    /// A length in inches as it is read back.
    pub(super) fn read_length(self, inches: Ratio) -> String {
        match self.0 {
            Language::English => english::read_length(inches),
            Language::Spanish => spanish::read_length(inches),
        }
    }

    /// A length in inches as an instruction says it.
    pub(super) fn length_in_words(self, inches: Ratio) -> String {
        match self.0 {
            Language::English => english::length_in_words(inches),
            Language::Spanish => spanish::length_in_words(inches),
        }
    }

    /// A pitch of so much in twelve.
    pub(super) fn pitch(self, rise: u32) -> String {
        match self.0 {
            Language::English => format!("{} in twelve", forms::words_for(rise)),
            Language::Spanish => format!("{} en doce", spanish::words_for(rise, false)),
        }
    }

    /// A number in digits, perhaps with decimals, and its unit.
    pub(super) fn amount(self, digits: &str, noun: &Noun) -> String {
        match self.0 {
            Language::English => {
                let unit = if digits == "1" { &noun.one } else { &noun.many };
                format!("{digits} {unit}")
            }
            Language::Spanish => spanish::amount(digits, noun),
        }
    }

    /// Every plain form of a length in inches.
    pub(super) fn length_forms(self, inches: Ratio) -> Vec<String> {
        match self.0 {
            Language::English => forms::length_forms(inches),
            Language::Spanish => spanish::length_forms(inches),
        }
    }

    /// Every plain form of a count.
    pub(super) fn count_forms(self, count: u32) -> Vec<String> {
        match self.0 {
            Language::English => forms::count_forms(count),
            Language::Spanish => spanish::count_forms(count),
        }
    }
}
