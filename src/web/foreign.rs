//! Parts of a page that stay in English where the page is not: marked in sentences
//! by two characters that no text has, and on the page by `lang`, so that a screen
//! reader reads them right.

use maud::{Escaper, Markup, PreEscaped};

use super::tame;
use crate::domain::Language;
use std::fmt::Write as _;

/// Characters kept for a program's own use inside (Unicode 16, section 23.7): no
/// text that is exchanged has them.
const BEGIN: char = '\u{fdd0}';
const END: char = '\u{fdd1}';

/// A text in the language of checklists, as it stands inside a sentence of another.
pub(super) fn foreign(text: &str) -> String {
    format!("{BEGIN}{}{END}", bare(text))
}

fn bare(text: &str) -> String {
    text.chars().filter(|c| !matches!(*c, BEGIN | END)).collect()
}

/// A sentence for where no part can be marked: an attribute, a title.
pub(super) fn plain(sentence: &str) -> String {
    tame(&bare(sentence))
}

/// A sentence without its full stop, for where one is put after it.
pub(super) fn without_stop(sentence: &str) -> String {
    let stopless = |text: &str| text.strip_suffix('.').unwrap_or(text).to_owned();
    match sentence.strip_suffix(END) {
        Some(marked) => format!("{}{END}", stopless(marked)),
        None => stopless(sentence),
    }
}

/// A sentence on a page, its foreign parts marked. Nobody reads something else than
/// what is there.
pub(super) fn told(sentence: &str) -> Markup {
    let lang = Language::default().code();
    let mut to = String::with_capacity(sentence.len());
    let mut rest = sentence;
    while let Some((before, after)) = rest.split_once(BEGIN) {
        let (within, after) = after.split_once(END).unwrap_or((after, ""));
        escaped(&mut to, before);
        // Writing into a string cannot fail.
        let _ = write!(to, "<span lang=\"{lang}\">");
        escaped(&mut to, within);
        to.push_str("</span>");
        rest = after;
    }
    escaped(&mut to, rest);
    PreEscaped(to)
}

fn escaped(to: &mut String, text: &str) {
    let _ = Escaper::new(to).write_str(&plain(text));
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    #[test]
    fn a_part_is_marked_and_nothing_is_let_through() {
        let sentence = format!("El paso «{}» <b>", foreign("Nail & <line>"));
        assert_eq!(
            told(&sentence).into_string(),
            "El paso «<span lang=\"en\">Nail &amp; &lt;line&gt;</span>» &lt;b&gt;"
        );
        assert_eq!(plain(&sentence), "El paso «Nail & <line>» <b>");
        assert_eq!(told("a\u{202e}b").into_string(), "a\u{fffd}b");
    }

    #[test]
    fn one_full_stop_is_enough() {
        assert_eq!(without_stop("Glasses on."), "Glasses on");
        assert_eq!(without_stop("6 1/2 in"), "6 1/2 in");
        assert_eq!(without_stop(&foreign("Glasses on.")), foreign("Glasses on"));
    }

    proptest! {
        /// Whatever a text brings, each mark is closed and none is shown.
        #[test]
        fn marks_are_closed(parts in prop::collection::vec("[ab<&\u{fdd0}\u{fdd1}]{0,6}", 0..5)) {
            let mut sentence = String::new();
            for (at, part) in parts.iter().enumerate() {
                sentence.push_str(&if at % 2 == 0 { part.clone() } else { foreign(part) });
            }
            let made = told(&sentence).into_string();
            prop_assert_eq!(made.matches("<span").count(), made.matches("</span>").count());
            prop_assert!(!made.contains([BEGIN, END]));
            prop_assert!(!plain(&sentence).contains([BEGIN, END]));
        }
    }
}
