//! The command phrases: one table for one language. Each phrase is two words or
//! more, because single words ("done", "pause", "back") are ordinary site talk.

use super::Meaning;

/// English, each command's first phrase being the one the prompts teach.
const ENGLISH: &[(Meaning, &[&str])] = &[
    (Meaning::StepDone, &["step done", "step complete"]),
    (Meaning::Yes, &["yes that is right"]),
    (Meaning::No, &["no that is wrong"]),
    (Meaning::Repeat, &["repeat that"]),
    (Meaning::Back, &["go back"]),
    (Meaning::Pause, &["pause here"]),
    (Meaning::Resume, &["resume work"]),
    (Meaning::WhereAreWe, &["where are we"]),
    (Meaning::ReadCaution, &["read the caution"]),
    (Meaning::ReadReason, &["read the reason"]),
    (Meaning::TakeNote, &["take a note"]),
    (Meaning::PhotoTaken, &["photo taken"]),
    (Meaning::WasWrong, &["that was wrong"]),
    (Meaning::Skip, &["skip this step"]),
    (Meaning::LogAsIs, &["log it as it is"]),
    (Meaning::MeasureAgain, &["measure again"]),
    (Meaning::CallWord, &["logbook"]),
];

/// The phrases a command may be said in; none for what is not a command.
pub fn phrases_for(meaning: &Meaning) -> &'static [&'static str] {
    ENGLISH.iter().find(|(command, _)| command == meaning).map_or(&[], |(_, phrases)| phrases)
}

/// The word that opens the ear again outside the window after a question.
pub fn call_word() -> &'static str {
    phrases_for(&Meaning::CallWord).first().copied().unwrap_or_default()
}

/// Every command there is, in the table's order.
pub(super) fn commands() -> impl Iterator<Item = Meaning> {
    ENGLISH.iter().map(|(command, _)| command.clone())
}

/// A phrase as the recogniser may write it: with and without a comma after the
/// first word, a closing question mark being the search's own business.
pub(super) fn written(phrase: &str) -> Vec<String> {
    let mut forms = vec![phrase.to_owned()];
    for opener in ["yes", "no"] {
        if let Some(rest) = phrase.strip_prefix(opener).and_then(|rest| rest.strip_prefix(' ')) {
            forms.push(format!("{opener}, {rest}"));
        }
    }
    forms
}
