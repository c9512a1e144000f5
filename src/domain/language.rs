//! The languages a person can be spoken to in. The words of each are a file of
//! `speech`; those of a checklist a translation beside it.

/// A language of sentences and phrases.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Default)]
pub enum Language {
    /// English, in which checklists are written and the log is kept.
    #[default]
    English,
    /// Spanish, as it is spoken on building sites in the Americas.
    Spanish,
}

impl Language {
    /// Every language there is.
    pub const ALL: [Self; 2] = [Self::English, Self::Spanish];

    /// The code files and arguments use (BCP 47).
    #[must_use]
    pub fn code(self) -> &'static str {
        match self {
            Self::English => "en",
            Self::Spanish => "es",
        }
    }

    /// Its name, in English.
    #[must_use]
    pub fn name(self) -> &'static str {
        match self {
            Self::English => "English",
            Self::Spanish => "Spanish",
        }
    }

    /// The language of that code.
    #[must_use]
    pub fn of(code: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|language| language.code() == code)
    }
}
