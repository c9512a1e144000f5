//! Jobs that were read before, each with what needs attention on it. The page of a
//! day reads the same jobs again and again; one of which everything that reading
//! looks at is still the same is not read, and not gone through, anew.

use std::sync::Arc;

use super::remembered::Remembered;
use super::{OfficeError, job};
use crate::domain::{Attention, Hash, JobFile};
use crate::measure::Functions;
use crate::store::Store;

/// Jobs remembered, some weeks of work.
const MOST_KNOWN: usize = 256;

/// A job as it was read.
#[derive(Debug)]
pub struct KnownJob {
    /// The job with everything it pins.
    pub file: JobFile,
    /// What needs attention on it, but for newer versions.
    pub attention: Vec<Attention>,
}

/// What it was read from: its entries, all adopted texts, what formulas may call.
type ReadFrom = (Hash, Hash, Vec<&'static str>);

static KNOWN: Remembered<String, (ReadFrom, Arc<KnownJob>)> = Remembered::most(MOST_KNOWN);

/// Reads jobs of one store.
pub(super) struct Jobs<'a> {
    store: &'a Store,
    functions: &'a Functions,
    adopted: Hash,
}

impl<'a> Jobs<'a> {
    pub(super) fn of(store: &'a Store, functions: &'a Functions) -> Result<Self, OfficeError> {
        Ok(Self { store, functions, adopted: store.adopted_sha256()? })
    }

    /// The job of that number.
    ///
    /// # Errors
    /// As [`job`].
    pub(super) fn job(&self, number: &str) -> Result<Arc<KnownJob>, OfficeError> {
        let Self { store, functions, adopted } = self;
        let entries = store.entries_sha256(number)?;
        let calls = functions.names().chain(functions.row_names()).collect();
        let from = (entries, *adopted, calls);
        let found = KNOWN.find(&number.to_owned());
        if let Some((_, known)) = found.filter(|(of, _)| *of == from) {
            return Ok(known);
        }
        let file = job(store, functions, number)?;
        let attention = file.attention(functions);
        let known = Arc::new(KnownJob { file, attention });
        // Others may have written between the two looks: then it is not kept.
        if store.entries_sha256(number)? == entries && store.adopted_sha256()? == *adopted {
            KNOWN.keep(number.to_owned(), (from, Arc::clone(&known)));
        }
        Ok(known)
    }
}
