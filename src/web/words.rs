//! The words of the pages, a file an area and language. What checklists say and
//! what the walk says comes from elsewhere.

use std::collections::BTreeMap;
use std::sync::OnceLock;

use super::foreign::foreign;
use crate::domain::{Language, Role};

type Texts = BTreeMap<String, String>;

/// The areas, each with its file in each language.
const FILES: [(&str, [&str; 2]); 11] = [
    ("shell", [include_str!("words/en/shell.toml"), include_str!("words/es/shell.toml")]),
    ("library", [include_str!("words/en/library.toml"), include_str!("words/es/library.toml")]),
    ("people", [include_str!("words/en/people.toml"), include_str!("words/es/people.toml")]),
    ("job", [include_str!("words/en/job.toml"), include_str!("words/es/job.toml")]),
    ("day", [include_str!("words/en/day.toml"), include_str!("words/es/day.toml")]),
    ("log", [include_str!("words/en/log.toml"), include_str!("words/es/log.toml")]),
    ("dates", [include_str!("words/en/dates.toml"), include_str!("words/es/dates.toml")]),
    ("desk", [include_str!("words/en/desk.toml"), include_str!("words/es/desk.toml")]),
    ("roof", [include_str!("words/en/roof.toml"), include_str!("words/es/roof.toml")]),
    ("why", [include_str!("words/en/why.toml"), include_str!("words/es/why.toml")]),
    ("photo", [include_str!("words/en/photo.toml"), include_str!("words/es/photo.toml")]),
];

/// The words of one language.
#[derive(Clone, Copy, Debug)]
pub(super) struct Words {
    pub(super) language: Language,
    texts: &'static Texts,
}

fn texts(language: Language) -> &'static Texts {
    static ALL: OnceLock<Vec<Texts>> = OnceLock::new();
    static NONE: Texts = Texts::new();
    let all = ALL.get_or_init(|| (0..Language::ALL.len()).map(read).collect());
    let at = Language::ALL.iter().position(|one| *one == language);
    at.and_then(|at| all.get(at)).unwrap_or(&NONE)
}

/// The files of the language at that place; a test reads them all.
fn read(at: usize) -> Texts {
    let mut all = Texts::new();
    for (area, languages) in FILES {
        let texts: Option<Texts> = languages.get(at).and_then(|text| toml::from_str(text).ok());
        let texts = texts.unwrap_or_default().into_iter();
        all.extend(texts.map(|(key, text)| (format!("{area}.{key}"), text)));
    }
    all
}

impl Words {
    pub(super) fn of(language: Language) -> Self {
        Self { language, texts: texts(language) }
    }

    /// The text of `area.key`.
    pub(super) fn t(self, key: &'static str) -> &'static str {
        self.texts.get(key).map_or(key, String::as_str)
    }

    /// The same with its places, `{name}`, filled.
    pub(super) fn fill(self, key: &'static str, places: &[(&str, &str)]) -> String {
        let mut parts = self.t(key).split('{');
        let mut text = parts.next().unwrap_or_default().to_owned();
        for part in parts {
            let (place, rest) = part.split_once('}').unwrap_or((part, ""));
            // What is filled in may itself look like a place: it is none.
            match places.iter().find(|(name, _)| *name == place) {
                Some((_, value)) => text.push_str(value),
                None => text.push_str(&format!("{{{place}}}")),
            }
            text.push_str(rest);
        }
        text
    }

    /// The same with places that are anything that prints.
    pub(super) fn filled(self, key: &'static str, places: &[(&str, &dyn ToString)]) -> String {
        let places: Vec<(&str, String)> =
            places.iter().map(|(place, value)| (*place, value.to_string())).collect();
        let places: Vec<(&str, &str)> =
            places.iter().map(|(place, value)| (*place, value.as_str())).collect();
        self.fill(key, &places)
    }

    /// Whether it is the language of checklists, and of the record.
    pub(super) fn is_english(self) -> bool {
        self.language == Language::default()
    }

    /// A text that is in English whoever reads it, marked where that is another language.
    pub(super) fn kept_english(self, text: &str) -> String {
        if self.is_english() { text.to_owned() } else { foreign(text) }
    }

    /// The role as a job names it, in the reader's words where pages know it.
    pub(super) fn role(self, role: &str) -> String {
        let known = Role::ALL.into_iter().find(|known| known.word() == role && !self.is_english());
        known.map_or(role, |known| super::role(self, known)).to_owned()
    }

    /// The language a browser asks for first of those there are (RFC 9110
    /// section 12.5.4); weights are taken as the order.
    pub(super) fn asked_for(accept_language: Option<&str>) -> Language {
        let wanted = accept_language.unwrap_or_default().split(',');
        let mut wanted = wanted.filter_map(|one| {
            let code = one.split([';', '-']).next().unwrap_or_default().trim();
            Language::of(&code.to_ascii_lowercase())
        });
        wanted.next().unwrap_or_default()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn places(text: &str) -> Vec<&str> {
        let mut places: Vec<&str> =
            text.split('{').skip(1).filter_map(|rest| rest.split('}').next()).collect();
        places.sort_unstable();
        places
    }

    #[test]
    fn every_language_has_every_text_with_its_places() {
        for (area, languages) in FILES {
            for text in languages {
                toml::from_str::<Texts>(text).unwrap_or_else(|error| panic!("{area}: {error}"));
            }
        }
        let [english, spanish] = Language::ALL.map(texts);
        assert!(!english.is_empty());
        let keys = |texts: &Texts| texts.keys().cloned().collect::<Vec<_>>();
        assert_eq!(keys(english), keys(spanish));
        for (key, text) in english {
            assert_eq!(places(text), places(&spanish[key]), "{key}");
            assert!(!text.trim().is_empty() && !spanish[key].trim().is_empty(), "{key}");
        }
    }

    #[test]
    fn every_text_is_used_and_every_used_text_is_there() {
        let mut source = String::new();
        let mut folders = vec![std::path::PathBuf::from("src/web")];
        while let Some(folder) = folders.pop() {
            for entry in std::fs::read_dir(folder).unwrap() {
                let path = entry.unwrap().path();
                if path.is_dir() {
                    folders.push(path);
                } else if path.extension().is_some_and(|end| end == "rs") {
                    source.push_str(&std::fs::read_to_string(path).unwrap());
                }
            }
        }
        let texts = texts(Language::English);
        for key in texts.keys() {
            assert!(source.contains(&format!("\"{key}\"")), "{key} is used nowhere");
        }
        for (area, _) in FILES {
            for rest in source.split(&format!("\"{area}.")).skip(1) {
                let key = format!("{area}.{}", rest.split('"').next().unwrap());
                // The name of a file, no text.
                if [".css", ".js", ".ics"].iter().any(|ending| key.ends_with(ending)) {
                    continue;
                }
                assert!(texts.contains_key(&key), "{key} is missing");
            }
        }
    }

    #[test]
    fn the_browser_is_asked_for_its_language() {
        for (asked, is) in [
            (None, Language::English),
            (Some("es-MX,es;q=0.9,en;q=0.8"), Language::Spanish),
            (Some("fr, ES;q=0.5"), Language::Spanish),
            (Some("de"), Language::English),
            (Some(";;,"), Language::English),
        ] {
            assert_eq!(Words::asked_for(asked), is, "{asked:?}");
        }
    }
}
