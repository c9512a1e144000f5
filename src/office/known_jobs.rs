//! Jobs that were read before, each with what needs attention on it. The page of a
//! day reads the same jobs again and again; one of which everything that reading
//! looks at is still the same is not read, and not gone through, anew.

use std::sync::Arc;

use super::known::calls;
use super::remembered::Remembered;
use super::{OfficeError, imported_job, job};
use crate::domain::{Attention, Hash, JobFile};
use crate::measure::Functions;
use crate::store::{ImportedJob, Store};

/// Jobs remembered, some weeks of work.
const MOST_KNOWN: usize = 256;

/// A job as it was read.
#[derive(Debug)]
pub struct KnownJob {
    /// The job with everything it pins.
    pub file: JobFile,
    /// What needs attention on it, but for newer versions.
    pub attention: Vec<Attention>,
    /// The name under which it was imported; none for a job of this device.
    pub imported_as: Option<String>,
}

impl KnownJob {
    fn of(file: JobFile, functions: &Functions, imported_as: Option<String>) -> Arc<Self> {
        let attention = file.attention(functions);
        Arc::new(Self { file, attention, imported_as })
    }

    /// The name under which it is asked for.
    #[must_use]
    pub fn name(&self) -> &str {
        self.imported_as.as_ref().unwrap_or(&self.file.job.number)
    }
}

/// What it was read from: its entries, all adopted texts, what formulas may call. Of
/// an imported one the list of its files, and nothing adopted here.
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
        let from = (entries, *adopted, calls(functions));
        let found = KNOWN.find(&number.to_owned());
        if let Some((_, known)) = found.filter(|(of, _)| *of == from) {
            return Ok(known);
        }
        let known = KnownJob::of(job(store, functions, number)?, functions, None);
        // Others may have written between the two looks: then it is not kept.
        if store.entries_sha256(number)? == entries && store.adopted_sha256()? == *adopted {
            KNOWN.keep(number.to_owned(), (from, Arc::clone(&known)));
        }
        Ok(known)
    }

    /// An imported job. All that it rests on came with it and stays as it is.
    ///
    /// # Errors
    /// As [`imported_job`].
    pub(super) fn imported(&self, imported: &ImportedJob) -> Result<Arc<KnownJob>, OfficeError> {
        let Self { store, functions, .. } = self;
        let name = imported.name();
        let from = (imported.manifest_sha256, Hash::START, calls(functions));
        if let Some((_, known)) = KNOWN.find(&name).filter(|(of, _)| *of == from) {
            return Ok(known);
        }
        let file = imported_job(store, functions, imported)?;
        let known = KnownJob::of(file, functions, Some(name.clone()));
        KNOWN.keep(name, (from, Arc::clone(&known)));
        Ok(known)
    }
}
