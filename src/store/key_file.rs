//! The file of the device's key: read by its owner alone, made once, never
//! overwritten. Randomness comes in here and nowhere else.

use std::fs::{self, File, OpenOptions};
use std::io::{self, Read as _, Write as _};
use std::os::unix::fs::{OpenOptionsExt as _, PermissionsExt as _};
use std::path::{Path, PathBuf};

use crate::domain::{DeviceKey, Fingerprint};

/// Nothing a key file holds is longer, in bytes.
const MOST: u64 = 4096;

/// Where the device's key is kept.
#[derive(Clone, Debug)]
pub struct KeyFile {
    path: PathBuf,
}

/// Why there is no key to sign with.
#[derive(Debug, thiserror::Error)]
pub enum KeyError {
    /// Others may read it.
    #[error(
        "the device key `{path}` can be read by others (mode {mode:03o}): whoever read it can \
         seal in this device's name; allow its owner alone (chmod 600), or replace it with: \
         chalkhand seal key --replace WHY --by NAME"
    )]
    Open {
        /// The file.
        path: PathBuf,
        /// Its permissions.
        mode: u32,
    },
    /// It is not what was written.
    #[error(
        "the device key `{path}` is damaged: put it back from the backup or, where there is none, \
         replace it with: chalkhand seal key --replace WHY --by NAME"
    )]
    Damaged {
        /// The file.
        path: PathBuf,
    },
    /// There is one already.
    #[error("there is a device key `{path}` already, and it is never overwritten")]
    Exists {
        /// The file.
        path: PathBuf,
    },
    /// The disk refused, or no randomness was to be had.
    #[error("the device key `{path}` cannot be read or made: check the folder and the disk")]
    Disk {
        /// The file.
        path: PathBuf,
        /// Why.
        source: io::Error,
    },
}

impl KeyFile {
    /// In that data folder.
    #[must_use]
    pub fn of(data: &Path) -> Self {
        Self { path: data.join("device.key") }
    }

    /// The file.
    #[must_use]
    pub fn path(&self) -> &Path {
        &self.path
    }

    /// The key; none where there is no file.
    ///
    /// # Errors
    /// Others can read it, or it is damaged.
    pub fn read(&self) -> Result<Option<DeviceKey>, KeyError> {
        let file = match File::open(&self.path) {
            Ok(file) => file,
            Err(error) if error.kind() == io::ErrorKind::NotFound => return Ok(None),
            Err(source) => return Err(self.disk(source)),
        };
        let mode = file.metadata().map_err(|e| self.disk(e))?.permissions().mode() & 0o777;
        if mode & 0o077 != 0 {
            return Err(KeyError::Open { path: self.path.clone(), mode });
        }
        let mut bytes = Vec::new();
        file.take(MOST).read_to_end(&mut bytes).map_err(|e| self.disk(e))?;
        let key = std::str::from_utf8(&bytes).ok().and_then(DeviceKey::of_secret_text);
        key.map(Some).ok_or_else(|| KeyError::Damaged { path: self.path.clone() })
    }

    /// Makes a key, where there is none, and writes it as a whole or not at all.
    ///
    /// # Errors
    /// There is one already, or the disk refused.
    pub fn make(&self) -> Result<DeviceKey, KeyError> {
        let key = self.random()?;
        self.put(&key)?;
        Ok(key)
    }

    /// Puts a new key in the place of the one there is, which is kept beside it
    /// under `kept`. Where `announce` fails nothing has changed; after it, a program
    /// that is stopped leaves what `finish` needs.
    ///
    /// # Errors
    /// The old key is still in its place.
    pub fn replace<E: From<KeyError>>(
        &self,
        kept: &str,
        announce: impl FnOnce(&DeviceKey) -> Result<(), E>,
    ) -> Result<DeviceKey, E> {
        let key = self.random()?;
        let old = self.path.with_file_name(format!("device-{kept}.key"));
        match fs::hard_link(&self.path, &old) {
            Ok(()) => {}
            // There is none to keep, or it was kept by an attempt that failed later.
            Err(error)
                if matches!(
                    error.kind(),
                    io::ErrorKind::NotFound | io::ErrorKind::AlreadyExists
                ) => {}
            Err(source) => return Err(self.disk(source).into()),
        }
        let part = self.part(&key)?;
        if let Err(error) = announce(&key) {
            let _ = fs::remove_file(&part);
            return Err(error);
        }
        self.finish(key.public().fingerprint())?;
        Ok(key)
    }

    /// Ends a replacement by that key that was announced and then interrupted.
    ///
    /// # Errors
    /// The disk refused; it can be tried again.
    pub fn finish(&self, announced: Fingerprint) -> Result<(), KeyError> {
        match fs::rename(self.part_path(announced), &self.path) {
            Ok(()) => self.sync_folder().map_err(|e| self.disk(e)),
            Err(error) if error.kind() == io::ErrorKind::NotFound => Ok(()),
            Err(source) => Err(self.disk(source)),
        }
    }

    fn random(&self) -> Result<DeviceKey, KeyError> {
        let mut secret = [0; 32];
        getrandom::fill(&mut secret).map_err(|e| self.disk(io::Error::other(e.to_string())))?;
        let key = DeviceKey::of(&secret);
        secret.fill(0);
        Ok(key)
    }

    fn put(&self, key: &DeviceKey) -> Result<(), KeyError> {
        let part = self.part(key)?;
        // A link, unlike a rename, never takes the place of a file that is there.
        let linked = fs::hard_link(&part, &self.path).and_then(|()| self.sync_folder());
        let _ = fs::remove_file(&part);
        linked.map_err(|error| match error.kind() {
            io::ErrorKind::AlreadyExists => KeyError::Exists { path: self.path.clone() },
            _ => self.disk(error),
        })
    }

    /// The key in a file of another name, on the disk.
    fn part(&self, key: &DeviceKey) -> Result<PathBuf, KeyError> {
        let part = self.part_path(key.public().fingerprint());
        let mut new = OpenOptions::new();
        let written = new.write(true).create_new(true).mode(0o600).open(&part).and_then(|mut f| {
            f.write_all(key.secret_text().as_bytes())?;
            f.sync_all()
        });
        written.map_err(|e| {
            let _ = fs::remove_file(&part);
            self.disk(e)
        })?;
        Ok(part)
    }

    fn part_path(&self, key: Fingerprint) -> PathBuf {
        self.path.with_file_name(format!(".device.key.{key}.part"))
    }

    fn sync_folder(&self) -> io::Result<()> {
        File::open(self.path.parent().unwrap_or(&self.path))?.sync_all()
    }

    fn disk(&self, source: io::Error) -> KeyError {
        KeyError::Disk { path: self.path.clone(), source }
    }
}
