//! Files beside the log: clips, photos, previews. Each lies under a name that
//! the hash of what is in it gives, is written once, and is on the disk before
//! the entry that names it. What the bytes mean is no business of this file.

use std::fs::{self, File, OpenOptions};
use std::io::{ErrorKind, Write as _};
use std::path::{Path, PathBuf};

/// The files of one data folder.
#[derive(Clone, Debug)]
pub(super) struct Blobs {
    data: PathBuf,
}

/// Why a file could not be kept or read.
#[derive(Debug, thiserror::Error)]
pub enum BlobError {
    /// The disk refused.
    #[error("`{path}` could not be {doing}: {source}")]
    Refused {
        /// The file.
        path: PathBuf,
        /// What was attempted.
        doing: &'static str,
        /// The system's own words.
        source: std::io::Error,
    },
    /// A file of that name holds something else.
    #[error("`{path}` holds something else than its name says and was left as it is")]
    Other {
        /// The file.
        path: PathBuf,
    },
}

impl Blobs {
    pub(super) fn of(data: &Path) -> Self {
        Self { data: data.to_owned() }
    }

    pub(super) fn path(&self, name: &str) -> PathBuf {
        self.data.join(name)
    }

    /// Writes a file and returns once it is on the disk. One that is there with
    /// the same bytes is left as it is; `name` is `FOLDER/AB/HASH.ENDING`.
    ///
    /// # Errors
    /// The disk refuses, or a file of that name holds other bytes; what is there
    /// is never overwritten.
    pub(super) fn keep(&self, name: &str, bytes: &[u8]) -> Result<(), BlobError> {
        let path = self.path(name);
        let refused = |source| BlobError::Refused { path: path.clone(), doing: "written", source };
        let is_there = || match self.read(name)? {
            Some(there) if there == bytes => Ok(true),
            Some(_) => Err(BlobError::Other { path: path.clone() }),
            None => Ok(false),
        };
        let part = path.with_extension("part");
        if is_there()? && !part.exists() {
            return Ok(());
        }
        let folder = path.parent().unwrap_or(&self.data);
        fs::create_dir_all(folder).map_err(refused)?;
        // Whoever writes the same file at once waits here, and then finds it.
        let mut file = OpenOptions::new()
            .create(true)
            .truncate(false)
            .write(true)
            .open(&part)
            .map_err(refused)?;
        file.lock().map_err(refused)?;
        let written = match is_there() {
            Ok(true) => Ok(()),
            Ok(false) => {
                write(&mut file, bytes).and_then(|()| fs::hard_link(&part, &path)).map_err(refused)
            }
            Err(other) => Err(other),
        };
        // What is half written, or has its name by now, is in the way.
        let _ = fs::remove_file(&part);
        written?;
        // The name has to be on the disk too, and those of new folders above it.
        let above = folder.ancestors().take_while(|above| above.starts_with(&self.data));
        above.into_iter().try_for_each(synced).map_err(refused)
    }

    /// The bytes of a file; none where there is none.
    ///
    /// # Errors
    /// The disk refuses.
    pub(super) fn read(&self, name: &str) -> Result<Option<Vec<u8>>, BlobError> {
        let path = self.path(name);
        match fs::read(&path) {
            Ok(bytes) => Ok(Some(bytes)),
            Err(error) if error.kind() == ErrorKind::NotFound => Ok(None),
            Err(source) => Err(BlobError::Refused { path, doing: "read", source }),
        }
    }

    /// Every file under that folder, in order.
    ///
    /// # Errors
    /// The disk refuses.
    pub(super) fn files(&self, folder: &str) -> Result<Vec<PathBuf>, BlobError> {
        let mut files = Vec::new();
        collect(&self.path(folder), &mut files)?;
        files.sort();
        Ok(files)
    }
}

fn collect(folder: &Path, into: &mut Vec<PathBuf>) -> Result<(), BlobError> {
    let refused = |source| {
        let path = folder.to_owned();
        BlobError::Refused { path, doing: "looked for", source }
    };
    let entries = match fs::read_dir(folder) {
        Ok(entries) => entries,
        Err(error) if error.kind() == ErrorKind::NotFound => return Ok(()),
        Err(error) => return Err(refused(error)),
    };
    for entry in entries {
        let path = entry.map_err(refused)?.path();
        if path.is_dir() {
            collect(&path, into)?;
        } else {
            into.push(path);
        }
    }
    Ok(())
}

fn write(file: &mut File, bytes: &[u8]) -> std::io::Result<()> {
    file.set_len(0)?;
    file.write_all(bytes)?;
    file.sync_all()
}

fn synced(folder: &Path) -> std::io::Result<()> {
    File::open(folder)?.sync_all()
}
