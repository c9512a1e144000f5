//! Photos and their previews beside the log, named by the hash of their bytes.

use std::path::{Path, PathBuf};

use super::blobs::{BlobError, Blobs};
use crate::domain::{Hash, Photo, photo};

/// The photos of one data folder.
#[derive(Clone, Debug)]
pub struct Photos {
    blobs: Blobs,
}

impl Photos {
    /// Of this data folder, which need not have any yet.
    #[must_use]
    pub fn of(data: &Path) -> Self {
        Self { blobs: Blobs::of(data) }
    }

    /// Writes a photo and its preview and returns once both are on the disk.
    /// What is there with the same bytes is left as it is.
    ///
    /// # Errors
    /// The disk refuses, or a file of that name holds other bytes; what is there
    /// is never overwritten.
    pub fn keep(&self, photo: &Photo, original: &[u8], preview: &[u8]) -> Result<(), BlobError> {
        self.keep_original(photo, original)?;
        self.keep_preview(photo.preview_sha256, preview)
    }

    /// The same for the photo alone.
    ///
    /// # Errors
    /// As above.
    pub fn keep_original(&self, photo: &Photo, bytes: &[u8]) -> Result<(), BlobError> {
        self.blobs.keep(&photo.path(), bytes)
    }

    /// The same for the preview alone.
    ///
    /// # Errors
    /// As above.
    pub fn keep_preview(&self, preview_sha256: Hash, bytes: &[u8]) -> Result<(), BlobError> {
        self.blobs.keep(&photo::preview_path(preview_sha256), bytes)
    }

    /// The bytes of a photo as it is kept; none where there is no file.
    ///
    /// # Errors
    /// The disk refuses, or the file holds something else by now.
    pub fn original(&self, photo: &Photo) -> Result<Option<Vec<u8>>, BlobError> {
        self.whole(&photo.path(), photo.sha256)
    }

    /// The bytes of the preview of that hash, a JPEG; none where there is no
    /// file.
    ///
    /// # Errors
    /// The disk refuses, or the file holds something else by now.
    pub fn preview(&self, preview_sha256: Hash) -> Result<Option<Vec<u8>>, BlobError> {
        self.whole(&photo::preview_path(preview_sha256), preview_sha256)
    }

    /// Every file under `photos` and `previews`, in order.
    ///
    /// # Errors
    /// The disk refuses.
    pub fn files(&self) -> Result<Vec<PathBuf>, BlobError> {
        let mut files = self.blobs.files("photos")?;
        files.extend(self.blobs.files("previews")?);
        Ok(files)
    }

    fn whole(&self, name: &str, hash: Hash) -> Result<Option<Vec<u8>>, BlobError> {
        match self.blobs.read(name)? {
            Some(bytes) if Hash::of(&bytes) != hash => {
                Err(BlobError::Other { path: self.blobs.path(name) })
            }
            bytes => Ok(bytes),
        }
    }
}
