//! A bundle in a folder: plain files only, never through a link.

use std::fs::{self, File};
use std::io::Read as _;
use std::path::{Path, PathBuf};

use crate::bundle::{MOST_FILES, Source};

/// Folders inside one another that are looked into.
const MOST_DEEP: usize = 4;

#[derive(Debug)]
pub(super) struct FolderSource {
    folder: PathBuf,
    names: Vec<String>,
}

impl FolderSource {
    pub(super) fn open(folder: &Path) -> Result<Self, Vec<String>> {
        let (mut names, mut wrong) = (Vec::new(), Vec::new());
        collect(folder, "", 0, &mut names, &mut wrong);
        if wrong.is_empty() { Ok(Self { folder: folder.to_owned(), names }) } else { Err(wrong) }
    }
}

fn collect(
    folder: &Path,
    above: &str,
    deep: usize,
    names: &mut Vec<String>,
    wrong: &mut Vec<String>,
) {
    let entries = match fs::read_dir(folder) {
        Ok(entries) => entries,
        Err(error) => return wrong.push(format!("`{}` cannot be read: {error}", folder.display())),
    };
    for entry in entries {
        let entry = match entry {
            Ok(entry) => entry,
            Err(error) => {
                return wrong.push(format!("`{}` cannot be read: {error}", folder.display()));
            }
        };
        if MOST_FILES < names.len() + wrong.len() {
            return wrong.push(format!("it has more than {MOST_FILES} files"));
        }
        let Ok(name) = entry.file_name().into_string() else {
            wrong.push(format!("{:?} is no name", entry.file_name()));
            continue;
        };
        let name = format!("{above}{name}");
        match entry.file_type() {
            Ok(kind) if kind.is_file() => names.push(name),
            Ok(kind) if kind.is_dir() && deep < MOST_DEEP => {
                collect(&entry.path(), &format!("{name}/"), deep + 1, names, wrong);
            }
            _ => wrong.push(format!("`{}` is a link or no file", name.escape_debug())),
        }
    }
}

impl Source for FolderSource {
    fn names(&self) -> Vec<String> {
        self.names.clone()
    }

    fn read(&mut self, name: &str, most_bytes: u64) -> Result<Vec<u8>, String> {
        // Only what was found to be a plain file.
        if !self.names.iter().any(|known| known == name) {
            return Err("it is not there".to_owned());
        }
        let path = self.folder.join(name);
        let plain = fs::symlink_metadata(&path).is_ok_and(|kind| kind.is_file());
        if !plain {
            return Err("it is a link or no file".to_owned());
        }
        let mut bytes = Vec::new();
        let file = File::open(&path).map_err(|error| error.to_string())?;
        let read = file.take(most_bytes.saturating_add(1)).read_to_end(&mut bytes);
        read.map_err(|error| error.to_string())?;
        if most_bytes < u64::try_from(bytes.len()).unwrap_or(u64::MAX) {
            return Err(format!("it has more than {most_bytes} bytes"));
        }
        Ok(bytes)
    }
}
