//! Clips of sound beside the log, named by the hash of their samples.

use std::path::{Path, PathBuf};

use super::blobs::Blobs;
use crate::domain::{Hash, hearing};

pub use super::blobs::BlobError as ClipError;

/// The clips of one data folder.
#[derive(Clone, Debug)]
pub struct Clips {
    blobs: Blobs,
}

impl Clips {
    /// Of this data folder, which need not have any yet.
    #[must_use]
    pub fn of(data: &Path) -> Self {
        Self { blobs: Blobs::of(data) }
    }

    /// Where the clip of that sound lies.
    #[must_use]
    pub fn path(&self, sound: Hash) -> PathBuf {
        self.blobs.path(&hearing::path_of(sound))
    }

    /// Writes a clip and returns once it is on the disk. One that is there with
    /// the same bytes is left as it is.
    ///
    /// # Errors
    /// The disk refuses, or a file of that name holds other bytes; what is there
    /// is never overwritten.
    pub fn keep(&self, sound: Hash, bytes: &[u8]) -> Result<(), ClipError> {
        self.blobs.keep(&hearing::path_of(sound), bytes)
    }

    /// The bytes of a clip; none where there is no file.
    ///
    /// # Errors
    /// The disk refuses.
    pub fn read(&self, sound: Hash) -> Result<Option<Vec<u8>>, ClipError> {
        self.blobs.read(&hearing::path_of(sound))
    }

    /// Every file under `clips`, in order: its sound where its name is that of a
    /// clip.
    ///
    /// # Errors
    /// The disk refuses.
    pub fn files(&self) -> Result<Vec<(PathBuf, Option<Hash>)>, ClipError> {
        let named = |path: PathBuf| {
            let stem = path.file_stem().and_then(|name| name.to_str());
            let sound = stem.and_then(|name| name.parse().ok());
            let sound = sound.filter(|sound| self.path(*sound) == path);
            (path, sound)
        };
        Ok(self.blobs.files("clips")?.into_iter().map(named).collect())
    }
}
