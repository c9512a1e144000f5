//! A job as a folder of files that others can read without this program: the
//! names in it, its list of files, and what has to hold before one is taken
//! over. Bytes in, bytes out; the disk is the business of `cli`.

mod check;
mod manifest;
mod names;
mod zip;

pub use check::{Checked, check};
pub use manifest::{Listed, Manifest};
pub use names::{clip_name, photo_name, pin_name, preview_name, wrong_name};
pub use zip::{ZipSource, ZipTarget};

/// The list of files, which stands in every bundle.
pub const MANIFEST: &str = "manifest.json";

/// The job's entries, one a line.
pub const ENTRIES: &str = "entries.jsonl";

/// The record for programs.
pub const RECORD_JSON: &str = "record.json";

/// The record for people.
pub const RECORD_HTML: &str = "record.html";

/// Most bytes of the list of files.
pub const MOST_MANIFEST_BYTES: u64 = 8 << 20;

/// Most bytes of one file.
pub const MOST_FILE_BYTES: u64 = 256 << 20;

/// Most bytes of all files together.
pub const MOST_BYTES: u64 = 8 << 30;

/// Most files.
pub const MOST_FILES: usize = 20_000;

/// Somewhere a bundle is read from.
pub trait Source {
    /// The names of all files there, in no order.
    fn names(&self) -> Vec<String>;

    /// The bytes of a file, where it has at most so many.
    ///
    /// # Errors
    /// A sentence why it cannot be read.
    fn read(&mut self, name: &str, most_bytes: u64) -> Result<Vec<u8>, String>;

    /// Most bytes that all files together may come to here.
    fn most_bytes(&self) -> u64 {
        MOST_BYTES
    }
}
