//! The device's key, and a record sealed with it. What is signed is the business
//! of `domain::sealing`; printing and replacing the key that of the command.

use jiff::Timestamp;

use super::{OfficeError, zone};
use crate::domain::merkle::Tree;
use crate::domain::{At, DeviceKey, JobFile, Json, Sealed, SignedHead, sealing};
use crate::files;
use crate::store::{KeyError, KeyFile, KnownKey, Store, StoreError};

/// The key this log is sealed with; made where the log has none yet.
///
/// # Errors
/// The key is missing, is another one, or others can read it.
pub fn device_key(
    store: &mut Store,
    key_file: &KeyFile,
    now: At,
) -> Result<DeviceKey, OfficeError> {
    let known = store.device_keys()?;
    let mut key = key_file.read()?;
    let Some(last) = known.last().map(|known| known.fingerprint) else {
        let key = match key {
            Some(key) => key,
            None => match key_file.make() {
                // Another program was first.
                Err(KeyError::Exists { .. }) => key_file.read()?.ok_or_else(|| {
                    OfficeError::Key("the device key was there and is not any more".to_owned())
                })?,
                made => made?,
            },
        };
        return first(store, key, now);
    };
    if key.as_ref().is_none_or(|key| key.public().fingerprint() != last) {
        key_file.finish(last)?;
        key = key_file.read()?;
    }
    let path = key_file.path().display();
    let remedy = "put it back from the backup or, where there is none, replace it with: \
                  chalkhand seal key --replace WHY --by NAME";
    match key {
        Some(key) if key.public().fingerprint() == last => Ok(key),
        Some(_) => Err(OfficeError::Key(format!(
            "`{path}` is not the key this log is sealed with ({last}): {remedy}"
        ))),
        None => {
            Err(OfficeError::Key(format!("the device key `{path}` ({last}) is missing: {remedy}")))
        }
    }
}

/// Notes the first key.
fn first(store: &mut Store, key: DeviceKey, now: At) -> Result<DeviceKey, OfficeError> {
    let fingerprint = key.public().fingerprint();
    match note_key(store, &key, None, 0, now) {
        Err(StoreError::Stale)
            if store.device_keys()?.last().is_some_and(|last| last.fingerprint == fingerprint) =>
        {
            Ok(key)
        }
        noted => Ok(noted.map(|()| key)?),
    }
}

/// Notes a key after so many others, with its announcement where it takes the
/// place of one.
///
/// # Errors
/// The log cannot be written; `Stale` where others noted one meanwhile.
pub fn note_key(
    store: &mut Store,
    key: &DeviceKey,
    announced: Option<String>,
    after: usize,
    now: At,
) -> Result<(), StoreError> {
    let public = key.public();
    let jwk = public.jwk();
    let x = jwk.get("x").and_then(Json::as_text).unwrap_or_default();
    let known = KnownKey { fingerprint: public.fingerprint(), since: now.to_string(), announced };
    store.note_key(&known, x, after)
}

/// The head kept in the log that covers most; none where none was made.
///
/// # Errors
/// The log cannot be read, or the head does not hold.
pub fn furthest_head(store: &Store) -> Result<Option<SignedHead>, OfficeError> {
    store.furthest_head()?.map(|line| kept_head(&line)).transpose()
}

/// A head as the log keeps it, on one line.
///
/// # Errors
/// It does not hold.
pub fn kept_head(line: &str) -> Result<SignedHead, OfficeError> {
    let wrong =
        |why: String| OfficeError::Unfit(format!("a head kept in the log does not hold: {why}"));
    let (payload, seal) =
        files::read_head(line.as_bytes()).map_err(|error| wrong(error.to_string()))?;
    let seal = seal.ok_or_else(|| wrong("it is not signed".to_owned()))?;
    SignedHead::of_payload(&payload, seal).map_err(|error| wrong(error.to_string()))
}

/// A log that was cut or rewritten since a head of it was signed is not sealed anew:
/// the seal would hold and hide it.
///
/// # Errors
/// It is not what it was, or cannot be read.
pub fn whole(store: &Store, tree: &Tree) -> Result<(), OfficeError> {
    let Some(SignedHead { head, .. }) = furthest_head(store)? else { return Ok(()) };
    match tree.root(head.size) == Some(head.root) {
        true => Ok(()),
        false => {
            let (made, was, is) = (head.made, head.size, tree.size());
            Err(OfficeError::NotWhole { made, was, is })
        }
    }
}

/// A record as `export::json::record` gives it, sealed by this device.
///
/// # Errors
/// There is no key to sign with, or the log is not as it was.
pub fn sealed(
    store: &mut Store,
    key_file: &KeyFile,
    file: &JobFile,
    record: Json,
    now: At,
) -> Result<Sealed, OfficeError> {
    let key = device_key(store, key_file, now)?;
    let tree = Tree::of(store.leaves()?);
    whole(store, &tree)?;
    let mut changes = Vec::new();
    for known in store.device_keys()? {
        if let Some(announced) = known.announced {
            let read = files::read_json(announced.as_bytes());
            changes.push(read.map_err(|error| OfficeError::Key(error.to_string()))?);
        }
    }
    // As of the log's last entry: the same log gives the same document.
    let last = store.last_at_ms()?.and_then(|ms| Timestamp::from_millisecond(ms).ok());
    let at = match last {
        Some(last) => At::new(last, &zone(&file.job)?),
        None => now,
    };
    Ok(sealing::sealed(record, &file.entries, &tree, at, &changes, &key)?)
}
