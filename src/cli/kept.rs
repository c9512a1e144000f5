//! Photos of the data folder against the entries that name them.

use std::collections::BTreeSet;
use std::path::PathBuf;

use super::home::Home;
use crate::config::Config;
use crate::domain::{Hash, What};
use crate::store::{BlobError, Lies, Photos};

/// Files beside the log that imported records name, and what is wrong with them.
pub(super) fn imported(config: &Config) -> anyhow::Result<(Vec<PathBuf>, Vec<String>)> {
    let home = Home::open(config)?;
    let (mut named, mut wrong) = (Vec::new(), Vec::new());
    for job in home.store.imports()? {
        for file in home.store.import_files(job.id)? {
            let Lies::Beside(kept) = file.lies else { continue };
            let path = config.data.join(&kept);
            match std::fs::read(&path) {
                Ok(bytes) if Hash::of(&bytes) == file.sha256 => {}
                Ok(_) => wrong.push(format!(
                    "`{kept}` of the imported job {} was changed: import it again in another \
                     data folder",
                    job.name()
                )),
                Err(error) => wrong.push(format!(
                    "`{kept}` of the imported job {} cannot be read: {error}",
                    job.name()
                )),
            }
            named.push(path);
        }
    }
    Ok((named, wrong))
}

/// How many photos are whole, and what is wrong with the others.
pub(super) fn wrong_photos(config: &Config) -> anyhow::Result<(usize, Vec<String>)> {
    let photos = Photos::of(&config.data);
    let (mut whole, mut wrong) = (0, Vec::new());
    let mut named: BTreeSet<PathBuf> = BTreeSet::new();
    for entry in Home::open(config)?.store.with_photo()? {
        let What::PhotoKept { photo, .. } = &entry.draft.what else { continue };
        let (seq, job) = (entry.seq, &entry.draft.job);
        let mut complain = |path: String, read: Result<Option<Vec<u8>>, BlobError>| {
            let what = match read {
                Ok(Some(_)) => return Ok(true),
                Ok(None) => "is missing",
                Err(BlobError::Other { .. }) => "was changed",
                Err(refused) => return Err(refused),
            };
            wrong.push(format!(
                "`{path}` of the photo in entry {seq} of job {job} {what}: look for it in a backup"
            ));
            Ok(false)
        };
        let original = complain(photo.path(), photos.original(photo))?;
        let preview = complain(photo.preview_path(), photos.preview(photo.preview_sha256))?;
        whole += usize::from(original && preview);
        named.insert(config.data.join(photo.path()));
        named.insert(config.data.join(photo.preview_path()));
    }
    let (kept, more) = imported(config)?;
    named.extend(kept);
    wrong.extend(more);
    for path in photos.files()? {
        if !named.contains(&path) {
            let path = path.display();
            wrong.push(format!(
                "no entry names `{path}`: keep the photo again with `chalkhand photo`, or move \
                 the file out of there"
            ));
        }
    }
    Ok((whole, wrong))
}
