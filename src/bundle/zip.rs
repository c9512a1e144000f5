//! A bundle as one ZIP file: written with fixed times and sorted names, so that
//! the same files give the same bytes; read without trusting anything it says.

use std::io::{Read, Seek, Write};

use ::zip::result::ZipError;
use ::zip::write::SimpleFileOptions;
use ::zip::{CompressionMethod, DateTime, ZipArchive, ZipWriter};

use super::{MOST_BYTES, Source};

/// How often its own size a ZIP file may unpack to.
const MOST_UNPACKED: u64 = 100;

/// What a small ZIP file may unpack to all the same, in bytes.
const LEAST_BYTES: u64 = 16 << 20;

/// A ZIP file being written.
pub struct ZipTarget<W: Write + Seek> {
    zip: ZipWriter<W>,
}

impl<W: Write + Seek> std::fmt::Debug for ZipTarget<W> {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("ZipTarget").finish_non_exhaustive()
    }
}

impl<W: Write + Seek> ZipTarget<W> {
    /// Into this.
    pub fn new(into: W) -> Self {
        Self { zip: ZipWriter::new(into) }
    }

    /// Adds a file; the caller gives them by name.
    ///
    /// # Errors
    /// The disk refuses.
    pub fn add(&mut self, name: &str, bytes: &[u8]) -> Result<(), ZipError> {
        // Pictures and sound do not get smaller.
        let packed = [".jpg", ".png", ".wav", ".pdf"].iter().any(|end| name.ends_with(end));
        let method = if packed { CompressionMethod::Stored } else { CompressionMethod::Deflated };
        let options = SimpleFileOptions::default()
            .compression_method(method)
            .last_modified_time(DateTime::default())
            .unix_permissions(0o644);
        self.zip.start_file(name, options)?;
        Ok(self.zip.write_all(bytes)?)
    }

    /// Ends the file and gives back what it was written into.
    ///
    /// # Errors
    /// The disk refuses.
    pub fn finish(self) -> Result<W, ZipError> {
        self.zip.finish()
    }
}

/// A ZIP file that is read.
#[derive(Debug)]
pub struct ZipSource<R> {
    zip: ZipArchive<R>,
    names: Vec<String>,
    size_bytes: u64,
}

impl<R: Read + Seek> ZipSource<R> {
    /// Opens it and looks at its names.
    ///
    /// # Errors
    /// It is no ZIP file, or holds what no bundle holds.
    pub fn new(mut from: R) -> Result<Self, Vec<String>> {
        let none = |why: String| vec![format!("it is no whole ZIP file: {why}")];
        let size_bytes = from.seek(std::io::SeekFrom::End(0)).map_err(|e| none(e.to_string()))?;
        let mut zip = ZipArchive::new(from).map_err(|error| none(error.to_string()))?;
        let mut wrong = Vec::new();
        if zip.has_duplicate_names() {
            wrong.push("it has two files of one name".to_owned());
        }
        if !matches!(zip.has_overlapping_entries(), Ok(false)) {
            wrong.push("parts of it lie over one another".to_owned());
        }
        let mut names = Vec::new();
        for at in 0..zip.len() {
            let entry = match zip.by_index_raw(at) {
                Ok(entry) => entry,
                Err(error) => {
                    wrong.push(format!("its file {} cannot be looked at: {error}", at + 1));
                    continue;
                }
            };
            let raw = entry.name_raw();
            let Ok(name) = std::str::from_utf8(raw).map(str::to_owned) else {
                wrong.push(format!("`{}` is no name", raw.escape_ascii()));
                continue;
            };
            let shown = name.escape_debug();
            // Other programs list folders too; they hold nothing by themselves.
            if entry.is_dir() && entry.size() == 0 {
                let folder = name.trim_end_matches('/');
                if let Some(why) = super::wrong_name(folder) {
                    wrong.push(format!("`{shown}` {why}"));
                }
            } else if entry.is_symlink() || !entry.is_file() {
                wrong.push(format!("`{shown}` is a link or no file"));
            } else if entry.encrypted() {
                wrong.push(format!("`{shown}` is encrypted"));
            } else {
                names.push(name);
            }
        }
        if wrong.is_empty() { Ok(Self { zip, names, size_bytes }) } else { Err(wrong) }
    }
}

impl<R: Read + Seek> Source for ZipSource<R> {
    fn names(&self) -> Vec<String> {
        self.names.clone()
    }

    fn read(&mut self, name: &str, most_bytes: u64) -> Result<Vec<u8>, String> {
        let file = self.zip.by_name(name).map_err(|error| error.to_string())?;
        let mut bytes = Vec::new();
        let read = file.take(most_bytes.saturating_add(1)).read_to_end(&mut bytes);
        read.map_err(|error| error.to_string())?;
        if most_bytes < u64::try_from(bytes.len()).unwrap_or(u64::MAX) {
            return Err(format!("it has more than {most_bytes} bytes"));
        }
        Ok(bytes)
    }

    fn most_bytes(&self) -> u64 {
        self.size_bytes.saturating_mul(MOST_UNPACKED).clamp(LEAST_BYTES, MOST_BYTES)
    }
}
