//! The words a person is spoken to in: a language from its file, the call word,
//! and the words for a checklist's choices. The files are read once.

use std::collections::BTreeMap;
use std::sync::{Arc, LazyLock};

use crate::domain::{Language, Meaning, Piece};
use crate::files::{LanguageFile, Noun, Problems, read_language};

use super::numbering::Numbering;
use super::sentences::{Key, SENTENCES};

/// The file of each language: its name and text.
/// In the order of [`Language::ALL`].
pub const LANGUAGES: [(&str, &str); 2] = [
    ("en.toml", include_str!("languages/en.toml")),
    ("es.toml", include_str!("languages/es.toml")),
];

static FILES: LazyLock<Vec<Result<LanguageFile, Problems>>> = LazyLock::new(|| {
    LANGUAGES.iter().map(|(name, text)| read_language(text, name, SENTENCES)).collect()
});

/// Where a language's file is broken; none that ships is.
static NOTHING: LazyLock<LanguageFile> = LazyLock::new(|| LanguageFile {
    language: Language::English,
    name: String::new(),
    voice: String::new(),
    heard: false,
    help: String::new(),
    phrases: Vec::new(),
    keys: Vec::new(),
    sentences: BTreeMap::new(),
    words: BTreeMap::new(),
    units: Vec::new(),
    asked_in: BTreeMap::new(),
    roles: BTreeMap::new(),
});

/// What one person is spoken to in, and speaks.
#[derive(Clone, Debug, Default, PartialEq, Eq, Hash)]
pub struct Wording {
    language: Language,
    /// Instead of the language's own.
    call_word: Option<String>,
    /// The words for choices, by their words in the checklist.
    choices: Arc<BTreeMap<String, String>>,
}

impl Wording {
    /// A language with its own call word.
    #[must_use]
    pub fn of(language: Language) -> Self {
        Self { language, ..Self::default() }
    }

    /// The same with another call word; an empty one leaves the language's own.
    ///
    /// # Errors
    /// When the word is a phrase of another command.
    pub fn with_call_word(self, word: &str) -> Result<Self, String> {
        let word = word.trim().to_lowercase();
        let taken = Meaning::COMMANDS.iter().find(|command| {
            **command != Meaning::CallWord && self.phrases(command).contains(&word.as_str())
        });
        match taken {
            Some(command) => Err(format!(
                "the call word `{word}` is what is said for {} already; choose another",
                command.word()
            )),
            None => Ok(Self { call_word: (!word.is_empty()).then_some(word), ..self }),
        }
    }

    /// The same with these words for the choices of a checklist.
    #[must_use]
    pub fn with_choices(self, choices: BTreeMap<String, String>) -> Self {
        Self { choices: Arc::new(choices), ..self }
    }

    /// The language.
    #[must_use]
    pub fn language(&self) -> Language {
        self.language
    }

    /// The language's file.
    ///
    /// # Errors
    /// What is wrong with it; nothing with one that ships.
    pub fn check(&self) -> Result<&'static LanguageFile, &'static Problems> {
        let place = Language::ALL.iter().position(|language| *language == self.language);
        match place.and_then(|place| FILES.get(place)) {
            Some(read) => read.as_ref(),
            None => Ok(&NOTHING),
        }
    }

    pub(super) fn file(&self) -> &'static LanguageFile {
        self.check().unwrap_or(&NOTHING)
    }

    pub(super) fn numbering(&self) -> Numbering {
        Numbering(self.language)
    }

    /// What the keyboard's help says.
    #[must_use]
    pub fn help(&self) -> &'static str {
        &self.file().help
    }

    /// The phrases a command may be said in; none for what is not a command.
    #[must_use]
    pub fn phrases(&self, meaning: &Meaning) -> Vec<&str> {
        match (meaning, &self.call_word) {
            (Meaning::CallWord, Some(word)) => vec![word],
            _ => self.listed(&self.file().phrases, meaning),
        }
    }

    /// What may be typed for a command beside its phrases.
    #[must_use]
    pub fn keys(&self, meaning: &Meaning) -> Vec<&str> {
        self.listed(&self.file().keys, meaning)
    }

    fn listed(
        &self,
        table: &'static [(Meaning, Vec<String>)],
        meaning: &Meaning,
    ) -> Vec<&'static str> {
        let row = table.iter().find(|(command, _)| command == meaning);
        row.map_or_else(Vec::new, |(_, phrases)| phrases.iter().map(String::as_str).collect())
    }

    /// The phrase that is taught for a command.
    #[must_use]
    pub fn phrase(&self, meaning: &Meaning) -> &str {
        self.phrases(meaning).first().copied().unwrap_or_default()
    }

    /// The word that opens the ear again outside the window after a question.
    #[must_use]
    pub fn call_word(&self) -> &str {
        self.phrase(&Meaning::CallWord)
    }

    /// A choice of the checklist as it is said.
    #[must_use]
    pub fn choice<'a>(&'a self, option: &'a str) -> &'a str {
        match (option, self.choices.get(option)) {
            (_, Some(words)) => words,
            ("yes" | "no", None) => self.word(option),
            _ => option,
        }
    }

    pub(super) fn word<'a>(&self, key: &'a str) -> &'a str {
        self.file().words.get(key).map_or(key, |word| word)
    }

    /// A role of people as sentences name it.
    pub(super) fn role<'a>(&self, role: &'a str) -> &'a str {
        self.file().roles.get(role).map_or(role, |word| word)
    }

    /// In what a whole number is asked for.
    #[must_use]
    pub fn asked_in<'a>(&self, unit: &'a str) -> &'a str {
        self.file().asked_in.get(unit).map_or(unit, |words| words)
    }

    pub(super) fn units(&self) -> &'static [(&'static str, Noun)] {
        &self.file().units
    }

    /// Whether a sentence holds a place.
    pub(super) fn holds(&self, key: Key, place: &str) -> bool {
        let pieces = self.file().sentences.get(key.name());
        pieces.is_none_or(|pieces| {
            pieces.iter().any(|piece| matches!(piece, Piece::Name(name) if name == place))
        })
    }

    /// A sentence with its places filled.
    pub(super) fn say(&self, key: Key, places: &[(&str, &str)]) -> String {
        let Some(pieces) = self.file().sentences.get(key.name()) else {
            // Nothing that was to be said is swallowed.
            let values: Vec<&str> = places.iter().map(|(_, value)| *value).collect();
            return format!("{}: {}", key.name(), values.join(", "));
        };
        let command = |name: &str| Meaning::COMMANDS.iter().find(|m| m.word() == name);
        let mut said = String::new();
        for piece in pieces {
            match piece {
                Piece::Words(words) => said.push_str(words),
                Piece::Name(name) => {
                    let value = places.iter().find(|(place, _)| place == name);
                    let value = value.map(|(_, value)| *value);
                    let value = value.or_else(|| command(name).map(|m| self.phrase(m)));
                    said.push_str(value.unwrap_or_default());
                }
            }
        }
        said
    }
}

/// The phrases of a command in the language the recogniser hears.
pub fn phrases_for(meaning: &Meaning) -> Vec<&'static str> {
    let english = Wording::default();
    english.listed(&english.file().phrases, meaning)
}

/// That language's own call word.
pub fn call_word() -> &'static str {
    phrases_for(&Meaning::CallWord).first().copied().unwrap_or_default()
}

/// A phrase as the recogniser may write it: with and without a comma after the
/// first word, a closing question mark being the search's own business.
pub(super) fn written(phrase: &str, wording: &Wording) -> Vec<String> {
    let mut forms = vec![phrase.to_owned()];
    for opener in [wording.word("yes"), wording.word("no")] {
        if let Some(rest) = phrase.strip_prefix(opener).and_then(|rest| rest.strip_prefix(' ')) {
            forms.push(format!("{opener}, {rest}"));
        }
    }
    forms
}
