//! The chain over a device's entries: linking one more, and checking a log.

use super::entry_json::{self, NotAnEntry};
use super::{Draft, Entry, Hash, Json, NotFinite};

/// An entry linked to the one before, and the canonical text that is stored.
///
/// # Errors
/// Never for entries this program makes: they hold no fractions.
pub fn link(draft: Draft, seq: u64, previous: Hash) -> Result<(Entry, String), NotFinite> {
    let text = entry_json::sealed(seq, &draft, previous).canonical()?;
    let hash = Hash::of(text.as_bytes());
    Ok((Entry { seq, draft, previous, hash }, text))
}

/// What breaks a chain, and where.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum Broken {
    /// The stored text is not what the stored hash was made from.
    #[error("entry {seq} was changed: its text no longer has the hash it was logged with")]
    Changed {
        /// The entry.
        seq: u64,
    },
    /// Not the next number.
    #[error("entry {expected} is missing: entry {found} follows in its place")]
    Gap {
        /// The number that should come.
        expected: u64,
        /// The number that came.
        found: u64,
    },
    /// It points at another entry than the one before.
    #[error("entry {seq} does not follow the entry before it")]
    Unlinked {
        /// The entry.
        seq: u64,
    },
    /// It cannot be read.
    #[error(transparent)]
    Unreadable(#[from] NotAnEntry),
}

/// Checks one stored entry against what came before and reads it.
///
/// # Errors
/// Says what does not hold and at which entry.
pub fn follow(
    before: Option<&Entry>,
    json: &Json,
    text: &str,
    stored_hash: Hash,
) -> Result<Entry, Broken> {
    let entry = entry_json::read(json, stored_hash)?;
    if Hash::of(text.as_bytes()) != stored_hash {
        return Err(Broken::Changed { seq: entry.seq });
    }
    let (expected, previous) = match before {
        Some(before) => (before.seq + 1, before.hash),
        None => (1, Hash::START),
    };
    if entry.seq != expected {
        return Err(Broken::Gap { expected, found: entry.seq });
    }
    if entry.previous != previous {
        return Err(Broken::Unlinked { seq: entry.seq });
    }
    Ok(entry)
}
