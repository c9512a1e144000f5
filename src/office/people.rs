//! Who signs in and how: invitations, passphrases, tokens. Passphrases are kept
//! as argon2id alone, codes and tokens as their SHA-256; every sign-in and every
//! change is an entry of no job.

use argon2::Argon2;
use argon2::password_hash::{PasswordHasher as _, PasswordVerifier as _, phc::PasswordHash};

use super::program_keys::MOST_CALLED;
use crate::domain::entry::{How, Key};
use crate::domain::{At, Draft, Hash, Language, Roles, Units, What};
use crate::store::{Invitation, Person, Session, SignIn, Store, StoreError};

/// The fewest characters of a passphrase; six digits are one as well.
pub(crate) const LEAST_PASSPHRASE: usize = 6;
/// More are cut nowhere, but nobody types them.
pub(crate) const MOST_PASSPHRASE: usize = 200;
pub(crate) const MOST_NAME: usize = 80;
/// Letters of a code that cannot be taken for one another: 60 bits in twelve.
const CODE_LETTERS: &[u8; 32] = b"0123456789ABCDEFGHJKMNPQRSTVWXYZ";
const CODE_LENGTH: usize = 12;
/// How long an invitation holds, in milliseconds: a day.
const INVITATION_MS: i64 = 86_400_000;
/// How long a code for one more device holds: ten minutes.
const PAIRING_MS: i64 = 600_000;
/// How long a sign-in by passphrase holds: a working day.
const SIGN_IN_MS: i64 = 14 * 3_600_000;
/// How long a paired device stays signed in: ninety days.
const PAIRED_MS: i64 = 90 * 86_400_000;

/// Why somebody cannot be let in.
#[derive(Debug, thiserror::Error)]
pub enum PeopleError {
    /// The log.
    #[error("the log cannot be read or written")]
    Store(#[from] StoreError),
    /// No such code, or it was used, or it is too old.
    #[error("this code is not known, was used, or is too old: ask for a new one")]
    NoCode,
    /// No name.
    #[error("write your name as jobs name you, up to {MOST_NAME} characters")]
    NoName,
    /// A key without a name.
    #[error("write what the key is for, up to {MOST_CALLED} characters")]
    NoKeyName,
    /// Nobody of that name signs in.
    #[error("nobody called {0} signs in")]
    Nobody(String),
    /// Somebody of that name signs in already.
    #[error("somebody called {0} signs in already: write the name so that it tells you apart")]
    NameTaken(String),
    /// Too short or too long.
    #[error("a passphrase has {LEAST_PASSPHRASE} to {MOST_PASSPHRASE} characters")]
    Passphrase,
    /// The machine gives no randomness, or hashing fails.
    #[error("this machine cannot make secrets: {0}")]
    NoSecret(String),
}

/// What a code is for.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Asked {
    /// A new person in these roles.
    Join(Roles),
    /// One more device of a person of this name.
    Pair(String),
}

/// A sign-in that was begun.
#[derive(Debug)]
pub struct NewSession {
    /// Its secret, for the browser alone.
    pub token: String,
    /// For how long it holds, in seconds.
    pub lasts_s: i64,
}

/// How a new person wants it.
#[derive(Clone, Debug)]
pub struct Joined<'a> {
    /// As jobs name the person.
    pub name: &'a str,
    /// What only the person knows.
    pub passphrase: &'a str,
    /// Units on the pages.
    pub units: Units,
    /// Language of the pages.
    pub language: Language,
    /// What the person calls the device.
    pub device: &'a str,
}

/// Whether anybody may sign in.
///
/// # Errors
/// The log cannot be read.
pub fn any_person(store: &Store) -> Result<bool, PeopleError> {
    Ok(store.people()?.iter().any(|person| !person.left))
}

/// A code that makes one person in these roles, for a day.
///
/// # Errors
/// Nothing was written.
pub fn invite(store: &mut Store, roles: Roles, now: At) -> Result<String, PeopleError> {
    code(store, None, roles, now.ms().saturating_add(INVITATION_MS))
}

/// A code that signs one more device of this person in, for ten minutes.
///
/// # Errors
/// Nothing was written.
pub fn pair(store: &mut Store, person: &Person, now: At) -> Result<String, PeopleError> {
    let until_ms = now.ms().saturating_add(PAIRING_MS);
    code(store, Some(person.id), person.roles.clone(), until_ms)
}

fn code(
    store: &mut Store,
    person: Option<i64>,
    roles: Roles,
    until_ms: i64,
) -> Result<String, PeopleError> {
    let mut bytes = [0; CODE_LENGTH];
    random(&mut bytes)?;
    let letter = |byte: &u8| CODE_LETTERS.get(usize::from(byte % 32)).copied().map(char::from);
    let letters: String = bytes.iter().filter_map(letter).collect();
    store.invite(&Invitation { code: hash_of_code(&letters), person, roles, until_ms })?;
    let groups: Vec<&str> =
        (0..CODE_LENGTH / 4).filter_map(|n| letters.get(4 * n..4 * n + 4)).collect();
    Ok(groups.join("-"))
}

/// As typed: small letters, blanks and dashes do not matter, nor whether an O or
/// a zero was read.
fn hash_of_code(typed: &str) -> Hash {
    let letters =
        typed.chars().filter(char::is_ascii_alphanumeric).map(|c| match c.to_ascii_uppercase() {
            'O' => '0',
            'I' | 'L' => '1',
            c => c,
        });
    Hash::of(letters.collect::<String>().as_bytes())
}

/// What a code is for.
///
/// # Errors
/// `NoCode` where it is for nothing.
pub fn asked(store: &Store, code: &str, now: At) -> Result<Asked, PeopleError> {
    let invitation = store.invitation(hash_of_code(code), now)?.ok_or(PeopleError::NoCode)?;
    match invitation.person {
        None => Ok(Asked::Join(invitation.roles)),
        Some(id) => {
            let people = store.people()?;
            let person = people.into_iter().find(|person| person.id == id && !person.left);
            person.map(|person| Asked::Pair(person.name)).ok_or(PeopleError::NoCode)
        }
    }
}

/// Makes the person a code invites, and signs the person in.
///
/// # Errors
/// Nothing was written; the code can be used again.
pub fn join(
    store: &mut Store,
    code: &str,
    joined: &Joined<'_>,
    now: At,
) -> Result<NewSession, PeopleError> {
    let code = hash_of_code(code);
    let invitation = store.invitation(code, now)?.ok_or(PeopleError::NoCode)?;
    if invitation.person.is_some() {
        return Err(PeopleError::NoCode);
    }
    let name = joined.name.split_whitespace().collect::<Vec<_>>().join(" ");
    let long = MOST_NAME < name.chars().count();
    if name.is_empty() || long || name.chars().any(char::is_control) {
        return Err(PeopleError::NoName);
    }
    let length = joined.passphrase.chars().count();
    if !(LEAST_PASSPHRASE..=MOST_PASSPHRASE).contains(&length) {
        return Err(PeopleError::Passphrase);
    }
    let roles = invitation.roles;
    let told = told(&name, now, What::PersonSet { name: name.clone(), roles: roles.clone() })?;
    let secret = hashed(joined.passphrase)?;
    let (units, language) = (joined.units, joined.language);
    let person = Person { id: 0, name, roles, secret, units, language, left: false };
    let Some(id) = store.join(code, &person, now, &told)? else {
        return Err(PeopleError::NameTaken(person.name));
    };
    let person = Person { id, ..person };
    begin(store, &person, joined.device, None, now)
}

/// Signs in by name and passphrase; none where they do not belong together. It
/// takes as long for a name that nobody has.
///
/// # Errors
/// The log cannot be read or written.
pub fn sign_in(
    store: &mut Store,
    name: &str,
    passphrase: &str,
    device: &str,
    now: At,
) -> Result<Option<NewSession>, PeopleError> {
    let person = store.person(name.trim())?;
    let length = passphrase.chars().count();
    let fits = (LEAST_PASSPHRASE..=MOST_PASSPHRASE).contains(&length);
    let Some(person) = person.filter(|_| fits) else {
        hashed("takes as long as a passphrase that is there")?;
        return Ok(None);
    };
    let no_secret =
        |error: argon2::password_hash::phc::Error| PeopleError::NoSecret(error.to_string());
    let secret = PasswordHash::new(&person.secret).map_err(no_secret)?;
    if Argon2::default().verify_password(passphrase.as_bytes(), &secret).is_err() {
        return Ok(None);
    }
    begin(store, &person, device, None, now).map(Some)
}

/// Signs one more device in by its code.
///
/// # Errors
/// `NoCode` where the code is for no device; nothing was written.
pub fn sign_in_device(
    store: &mut Store,
    code: &str,
    device: &str,
    now: At,
) -> Result<NewSession, PeopleError> {
    let hash = hash_of_code(code);
    let invitation = store.invitation(hash, now)?.ok_or(PeopleError::NoCode)?;
    let people = store.people()?;
    let of = |person: &Person| Some(person.id) == invitation.person && !person.left;
    let person = people.into_iter().find(of).ok_or(PeopleError::NoCode)?;
    begin(store, &person, device, Some(hash), now)
}

fn begin(
    store: &mut Store,
    person: &Person,
    device: &str,
    code: Option<Hash>,
    now: At,
) -> Result<NewSession, PeopleError> {
    let mut bytes = [0; 32];
    random(&mut bytes)?;
    let token: String = bytes.iter().map(|byte| format!("{byte:02x}")).collect();
    let device = called(device);
    let lasts_ms = if code.is_some() { PAIRED_MS } else { SIGN_IN_MS };
    let sign_in = SignIn {
        token: Hash::of(token.as_bytes()),
        person: person.id,
        device: device.clone(),
        paired: code.is_some(),
        until_ms: now.ms().saturating_add(lasts_ms),
    };
    let told = told(&person.name, now, What::SignedIn { device })?;
    if store.begin(&sign_in, code, now, &told)? {
        Ok(NewSession { token, lasts_s: lasts_ms / 1_000 })
    } else {
        Err(PeopleError::NoCode)
    }
}

fn called(device: &str) -> String {
    let device: String = device.chars().filter(|c| !c.is_control()).take(60).collect();
    let device = device.trim();
    if device.is_empty() { "a browser".to_owned() } else { device.to_owned() }
}

/// Ends a sign-in, by its owner or by the office; whether it held.
///
/// # Errors
/// Nothing was written.
pub fn end(store: &mut Store, session: &Session, by: &str, now: At) -> Result<bool, PeopleError> {
    let (name, device) = (session.person.name.clone(), session.device.clone());
    let told = told(by, now, What::SignInEnded { name, device })?;
    Ok(store.end_session(session.id, now, &told)?)
}

/// From now on the person may not sign in; whether that was not so before.
///
/// # Errors
/// Nothing was written.
pub fn leave(store: &mut Store, person: &Person, by: &str, now: At) -> Result<bool, PeopleError> {
    let told = told(by, now, What::PersonLeft { name: person.name.clone() })?;
    Ok(store.leave(person.id, now, &told)?)
}

/// An entry of no job.
pub(super) fn told(by: &str, at: At, what: What) -> Result<Draft, PeopleError> {
    let mut once = [0; 16];
    random(&mut once)?;
    let once: String = once.iter().map(|byte| format!("{byte:02x}")).collect();
    let key = Key(format!("{}/{once}", what.word()));
    let (job, by, how) = (String::new(), by.to_owned(), How::Touch);
    let confirmed = Vec::new();
    Ok(Draft { job, walk: None, at, by, how, confirmed, what, corrects: None, key })
}

fn hashed(passphrase: &str) -> Result<String, PeopleError> {
    let hash = Argon2::default().hash_password(passphrase.as_bytes());
    hash.map(|hash| hash.to_string()).map_err(|error| PeopleError::NoSecret(error.to_string()))
}

pub(super) fn random(bytes: &mut [u8]) -> Result<(), PeopleError> {
    getrandom::fill(bytes).map_err(|error| PeopleError::NoSecret(error.to_string()))
}
