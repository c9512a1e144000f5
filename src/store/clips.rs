//! Clips of sound beside the log: files named by the hash of what is in them,
//! written once, on the disk before the entry that names them. What the bytes
//! mean is no business of this file.

use std::fs::{self, File, OpenOptions};
use std::io::{ErrorKind, Write as _};
use std::path::{Path, PathBuf};

use crate::domain::{Hash, hearing};

/// The clips of one data folder.
#[derive(Clone, Debug)]
pub struct Clips {
    data: PathBuf,
}

/// Why a clip could not be kept or read.
#[derive(Debug, thiserror::Error)]
pub enum ClipError {
    /// The disk refused.
    #[error("the clip `{path}` could not be {doing}: {source}")]
    Refused {
        /// The file.
        path: PathBuf,
        /// What was attempted.
        doing: &'static str,
        /// The system's own words.
        source: std::io::Error,
    },
    /// A file of that name holds something else.
    #[error("`{path}` holds another sound than its name says and was left as it is")]
    Other {
        /// The file.
        path: PathBuf,
    },
}

impl Clips {
    /// Of this data folder, which need not have any yet.
    #[must_use]
    pub fn of(data: &Path) -> Self {
        Self { data: data.to_owned() }
    }

    /// Where the clip of that sound lies.
    #[must_use]
    pub fn path(&self, sound: Hash) -> PathBuf {
        self.data.join(hearing::path_of(sound))
    }

    /// Writes a clip and returns once it is on the disk. One that is there with
    /// the same bytes is left as it is.
    ///
    /// # Errors
    /// The disk refuses, or a file of that name holds other bytes; what is there
    /// is never overwritten.
    pub fn keep(&self, sound: Hash, bytes: &[u8]) -> Result<(), ClipError> {
        let path = self.path(sound);
        let refused = |source| ClipError::Refused { path: path.clone(), doing: "written", source };
        match fs::read(&path) {
            Ok(there) if there == bytes => return Ok(()),
            Ok(_) => return Err(ClipError::Other { path }),
            Err(error) if error.kind() == ErrorKind::NotFound => {}
            Err(error) => return Err(refused(error)),
        }
        let folder = path.parent().unwrap_or(&self.data);
        fs::create_dir_all(folder).map_err(refused)?;
        let part = path.with_extension("part");
        let written = write(&part, bytes).and_then(|()| fs::hard_link(&part, &path));
        // What is half written, or has its name by now, is in the way.
        let _ = fs::remove_file(&part);
        written.map_err(refused)?;
        // The name has to be on the disk too, and those of new folders above it.
        let clips = self.data.join("clips");
        [folder, &clips, &self.data].into_iter().try_for_each(synced).map_err(refused)
    }

    /// The bytes of a clip; none where there is no file.
    ///
    /// # Errors
    /// The disk refuses.
    pub fn read(&self, sound: Hash) -> Result<Option<Vec<u8>>, ClipError> {
        let path = self.path(sound);
        match fs::read(&path) {
            Ok(bytes) => Ok(Some(bytes)),
            Err(error) if error.kind() == ErrorKind::NotFound => Ok(None),
            Err(source) => Err(ClipError::Refused { path, doing: "read", source }),
        }
    }

    /// Every file under `clips`, in order: its sound where its name is that of a
    /// clip.
    ///
    /// # Errors
    /// The disk refuses.
    pub fn files(&self) -> Result<Vec<(PathBuf, Option<Hash>)>, ClipError> {
        let mut files = Vec::new();
        self.collect(&self.data.join("clips"), &mut files)?;
        files.sort();
        Ok(files)
    }

    fn collect(
        &self,
        folder: &Path,
        into: &mut Vec<(PathBuf, Option<Hash>)>,
    ) -> Result<(), ClipError> {
        let refused = |source| {
            let path = folder.to_owned();
            ClipError::Refused { path, doing: "looked for", source }
        };
        let entries = match fs::read_dir(folder) {
            Ok(entries) => entries,
            Err(error) if error.kind() == ErrorKind::NotFound => return Ok(()),
            Err(error) => return Err(refused(error)),
        };
        for entry in entries {
            let path = entry.map_err(refused)?.path();
            if path.is_dir() {
                self.collect(&path, into)?;
                continue;
            }
            let stem = path.file_stem().and_then(|name| name.to_str());
            let sound = stem.and_then(|name| name.parse().ok());
            let sound = sound.filter(|sound| self.path(*sound) == path);
            into.push((path, sound));
        }
        Ok(())
    }
}

fn write(part: &Path, bytes: &[u8]) -> std::io::Result<()> {
    let mut file = OpenOptions::new().create(true).write(true).truncate(true).open(part)?;
    file.write_all(bytes)?;
    file.sync_all()
}

fn synced(folder: &Path) -> std::io::Result<()> {
    File::open(folder)?.sync_all()
}
