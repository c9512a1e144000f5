//! The words of a pinned checklist in another language: one's own file beside
//! the checklist's, else what ships.

use std::path::PathBuf;

use super::{OfficeError, read_text};
use crate::config::Config;
use crate::domain::{Checklist, Language};
use crate::files::{TRANSLATIONS, read_translation, translation_of};

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
    let path = translation_path(config, pinned, language);
    if path.is_file() {
        let (text, name) = (read_text(&path)?, path.display().to_string());
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
