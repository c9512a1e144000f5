//! What becomes of a checklist or profile file that was seen: versions once
//! adopted never change.

use super::{Hash, Version};

/// What to do with a file.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Verdict {
    /// A version not adopted before and newer than all: somebody may adopt it.
    Offer,
    /// Adopted already, to the letter.
    Known,
    /// This version was adopted with another content.
    Changed {
        /// SHA-256 of what was adopted.
        adopted: Hash,
    },
    /// Older than the newest adopted version.
    Older {
        /// The newest adopted version.
        newest: Version,
    },
}

/// Judges a file of that version and content against the adopted ones.
#[must_use]
pub fn judge(adopted: &[(Version, Hash)], version: Version, hash: Hash) -> Verdict {
    if let Some((_, known)) = adopted.iter().find(|(v, _)| *v == version) {
        return if *known == hash { Verdict::Known } else { Verdict::Changed { adopted: *known } };
    }
    match adopted.iter().map(|(v, _)| *v).max() {
        Some(newest) if version < newest => Verdict::Older { newest },
        _ => Verdict::Offer,
    }
}
