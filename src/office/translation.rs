//! The words of a pinned checklist in another language: one's own file beside
//! the checklist's, else what ships.

use std::collections::BTreeMap;
use std::path::PathBuf;
use std::sync::Arc;

use super::remembered::Remembered;
use super::{OfficeError, read_text};
use crate::config::Config;
use crate::domain::{Checklist, Hash, Language};
use crate::files::{TRANSLATIONS, read_translation, translation_of};

/// Translations remembered; a company has some dozens of checklists in use.
const MOST_KNOWN: usize = 64;

/// By the checklist's hash, the language, and the text of one's own where there is one.
type ReadFrom = (Hash, Language, Option<Hash>);

/// None where there is none that reads.
static KNOWN: Remembered<ReadFrom, Option<Arc<Checklist>>> = Remembered::most(MOST_KNOWN);

/// Where a translation of one's own lies: beside the checklist's file.
#[must_use]
pub fn translation_path(config: &Config, pinned: &Checklist, language: Language) -> PathBuf {
    config.checklists().join(language.code()).join(format!("{}.toml", pinned.id))
}

/// The translation of exactly the pinned version: one's own, else the one that
/// ships. Another version's is none.
///
/// # Errors
/// A translation of one's own is broken or in another language.
pub fn translated(
    config: &Config,
    pinned: &Checklist,
    language: Language,
) -> Result<Option<Checklist>, OfficeError> {
    let own = own_text(config, pinned, language)?;
    translated_of(own, pinned, language)
}

/// The text of one's own, and where it lies.
fn own_text(
    config: &Config,
    pinned: &Checklist,
    language: Language,
) -> Result<Option<(PathBuf, String)>, OfficeError> {
    let path = translation_path(config, pinned, language);
    if path.is_file() {
        let text = read_text(&path)?;
        return Ok(Some((path, text)));
    }
    Ok(None)
}

fn translated_of(
    own: Option<(PathBuf, String)>,
    pinned: &Checklist,
    language: Language,
) -> Result<Option<Checklist>, OfficeError> {
    if let Some((path, text)) = own {
        let name = path.display().to_string();
        let of = translation_of(&text, &name)?;
        if of.language != language {
            let why = format!("it is in {}, not in {}", of.language.name(), language.name());
            return Err(OfficeError::File { path, why });
        }
        if of.version == pinned.version {
            return Ok(Some(read_translation(&text, &name, pinned)?));
        }
    }
    for (of, name, text) in TRANSLATIONS {
        if of == language && name.strip_suffix(".toml") == Some(&pinned.id) {
            let name = format!("{}/{name}", language.code());
            if translation_of(text, &name)?.version == pinned.version {
                return Ok(Some(read_translation(text, &name, pinned)?));
            }
        }
    }
    Ok(None)
}

/// Checklists as somebody reads them: each translated where that can be had. The
/// files of one's own are looked at once for each of these, so that one that was
/// changed is read anew; none is read again that is still the same.
#[derive(Debug)]
pub struct Translations<'a> {
    config: &'a Config,
    language: Language,
    read: BTreeMap<[u8; 32], Arc<Checklist>>,
}

impl<'a> Translations<'a> {
    /// Into that language.
    #[must_use]
    pub fn into(config: &'a Config, language: Language) -> Self {
        Self { config, language, read: BTreeMap::new() }
    }

    /// The checklist in that language, or as it is pinned where there is no
    /// translation that reads: its `language` says which.
    pub fn of(&mut self, pinned: &Arc<Checklist>) -> Arc<Checklist> {
        if pinned.language == self.language {
            return Arc::clone(pinned);
        }
        let (config, language) = (self.config, self.language);
        let read = self.read.entry(*pinned.hash.bytes()).or_insert_with(|| {
            known(config, pinned, language).unwrap_or_else(|| Arc::clone(pinned))
        });
        Arc::clone(read)
    }

    /// One hash over all files of one's own in that language: what is made of
    /// translations is still the same where it is.
    #[must_use]
    pub fn own_sha256(&self) -> Hash {
        let folder = self.config.checklists().join(self.language.code());
        let files = std::fs::read_dir(folder).into_iter().flatten().flatten();
        let mut files: Vec<PathBuf> = files.map(|file| file.path()).collect();
        files.sort_unstable();
        let mut all = Vec::new();
        for path in files {
            let text = read_text(&path).unwrap_or_default();
            let hash = Hash::of(text.as_bytes());
            all.extend(format!("{} {hash}\n", path.display()).into_bytes());
        }
        Hash::of(&all)
    }
}

fn known(config: &Config, pinned: &Arc<Checklist>, language: Language) -> Option<Arc<Checklist>> {
    let unread = |error: OfficeError| {
        let (id, language) = (&pinned.id, language.name());
        tracing::warn!(%error, %id, language, "a translation that does not read");
    };
    let own = own_text(config, pinned, language).map_err(unread).ok()?;
    let own_sha256 = own.as_ref().map(|(_, text)| Hash::of(text.as_bytes()));
    let key = (pinned.hash, language, own_sha256);
    if let Some(found) = KNOWN.find(&key) {
        return found;
    }
    let read = translated_of(own, pinned, language).map_err(unread).ok().flatten().map(Arc::new);
    KNOWN.keep(key, read.clone());
    read
}
