//! Keys with which programs act as a person over HTTP. A key is shown once and
//! kept as its SHA-256 alone; making and ending one is an entry of no job.

use super::people::{PeopleError, random, told};
use crate::domain::{At, Hash, What};
use crate::store::{ProgramKey, Store};

/// How every key begins, so that one left in a file is known for what it is.
const BEGINS: &str = "chalkhand_";
/// The most characters of what a key is called.
pub(crate) const MOST_CALLED: usize = 60;

/// Makes a key for somebody who may sign in; the key itself, for this once.
///
/// # Errors
/// Nobody of that name signs in, or the key is called nothing; nothing was written.
pub fn make_key(
    store: &mut Store,
    name: &str,
    called: &str,
    by: &str,
    now: At,
) -> Result<String, PeopleError> {
    let called = called.split_whitespace().collect::<Vec<_>>().join(" ");
    let long = MOST_CALLED < called.chars().count();
    if called.is_empty() || long || called.chars().any(char::is_control) {
        return Err(PeopleError::NoKeyName);
    }
    let nobody = || PeopleError::Nobody(name.to_owned());
    let person = store.person(name)?.ok_or_else(nobody)?;
    // 256 bits: nobody finds one by trying, so it needs no slow hash.
    let mut bytes = [0; 32];
    random(&mut bytes)?;
    let digits: String = bytes.iter().map(|byte| format!("{byte:02x}")).collect();
    let key = format!("{BEGINS}{digits}");
    let told = told(by, now, What::KeyMade { name: person.name.clone(), called: called.clone() })?;
    if store.make_key(Hash::of(key.as_bytes()), (person.id, &called), now, &told)? {
        Ok(key)
    } else {
        Err(nobody())
    }
}

/// As whom a program acts with this key; none where it does not hold.
///
/// # Errors
/// The log cannot be read.
pub fn key_holder(
    store: &mut Store,
    key: &str,
    now: At,
) -> Result<Option<ProgramKey>, PeopleError> {
    Ok(store.key(Hash::of(key.as_bytes()), now)?)
}

/// Ends the key of that row; whether it held.
///
/// # Errors
/// Nothing was written.
pub fn end_key(store: &mut Store, id: i64, by: &str, now: At) -> Result<bool, PeopleError> {
    let Some(key) = store.keys()?.into_iter().find(|key| key.id == id) else { return Ok(false) };
    let told = told(by, now, What::KeyEnded { name: key.person.name, called: key.called })?;
    Ok(store.end_key(id, now, &told)?)
}
