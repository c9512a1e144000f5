//! Who may sign in, codes that invite, and browsers that are signed in. Each
//! change is one transaction with the entries that tell it; who may change what
//! is decided elsewhere.

use rusqlite::{OptionalExtension as _, Row, Transaction, TransactionBehavior, params};

use super::append::add;
use super::program_keys::end_keys_of;
use super::{Store, StoreError};
use crate::domain::{At, Draft, Hash, Language, Roles, Units};

/// Somebody who signs in.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Person {
    /// The row.
    pub id: i64,
    /// As jobs and entries name the person.
    pub name: String,
    /// In which roles.
    pub roles: Roles,
    /// The passphrase's hash: argon2id in PHC form.
    pub secret: String,
    /// Units on the pages.
    pub units: Units,
    /// Language of the pages.
    pub language: Language,
    /// Whether the person may no longer sign in.
    pub left: bool,
}

/// A code that makes a person, or pairs a device of one.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Invitation {
    /// SHA-256 of the code.
    pub code: Hash,
    /// Whose device is paired; none for a new person.
    pub person: Option<i64>,
    /// The new person's roles.
    pub roles: Roles,
    /// Until when it can be used, in milliseconds since 1970-01-01T00:00:00Z.
    pub until_ms: i64,
}

/// A sign-in that begins.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct SignIn {
    /// SHA-256 of its secret token.
    pub token: Hash,
    /// Whose.
    pub person: i64,
    /// What the person calls the device.
    pub device: String,
    /// Whether a code paired it.
    pub paired: bool,
    /// Until when it holds, in milliseconds since 1970-01-01T00:00:00Z.
    pub until_ms: i64,
}

/// A browser that is signed in.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Session {
    /// The row.
    pub id: i64,
    /// Who.
    pub person: Person,
    /// What the person calls the device.
    pub device: String,
    /// Whether a code paired it.
    pub paired: bool,
    /// Since when, in milliseconds since 1970-01-01T00:00:00Z.
    pub since_ms: i64,
    /// When it was last seen, to the minute.
    pub seen_ms: i64,
}

/// How stale `seen_ms` may be before it is written again, in milliseconds.
pub(super) const SEEN_AGAIN_MS: i64 = 60_000;

pub(super) const PERSON: &str =
    "person.person_id, name, roles, secret, units, language, left_at is not null as left";

pub(super) fn person(row: &Row<'_>) -> rusqlite::Result<Person> {
    let wrong =
        |at| rusqlite::Error::InvalidColumnType(at, String::new(), rusqlite::types::Type::Text);
    let (roles, units, language): (String, String, String) =
        (row.get(2)?, row.get(4)?, row.get(5)?);
    Ok(Person {
        id: row.get(0)?,
        name: row.get(1)?,
        roles: roles.parse().map_err(|_| wrong(2))?,
        secret: row.get(3)?,
        units: if units == "metric" { Units::Metric } else { Units::Us },
        language: Language::of(&language).ok_or_else(|| wrong(5))?,
        left: row.get(6)?,
    })
}

fn session(row: &Row<'_>) -> rusqlite::Result<Session> {
    Ok(Session {
        person: person(row)?,
        id: row.get(7)?,
        device: row.get(8)?,
        paired: row.get(9)?,
        since_ms: row.get(10)?,
        seen_ms: row.get(11)?,
    })
}

impl Store {
    /// Everybody who may or might sign in, by name.
    ///
    /// # Errors
    /// The log cannot be read.
    pub fn people(&self) -> Result<Vec<Person>, StoreError> {
        let error = self.error("read who may sign in");
        let sql = format!("select {PERSON} from person order by name");
        let mut statement = self.db.prepare_cached(&sql).map_err(&error)?;
        let rows = statement.query_map([], person);
        rows.and_then(Iterator::collect).map_err(&error)
    }

    /// Who may sign in by that name.
    ///
    /// # Errors
    /// The log cannot be read.
    pub fn person(&self, name: &str) -> Result<Option<Person>, StoreError> {
        let error = self.error("read who may sign in");
        let sql = format!("select {PERSON} from person where name = ?1 and left_at is null");
        let mut statement = self.db.prepare_cached(&sql).map_err(&error)?;
        statement.query_row([name], person).optional().map_err(&error)
    }

    /// Keeps a code.
    ///
    /// # Errors
    /// Nothing was written.
    pub fn invite(&mut self, invitation: &Invitation) -> Result<(), StoreError> {
        let error = self.error("keep an invitation");
        let sql = "insert into invitation (code_sha256, person_id, roles, until_ms)
                   values (?1, ?2, ?3, ?4)";
        let Invitation { code, person, roles, until_ms } = invitation;
        let values = params![code.to_string(), person, roles.to_string(), until_ms];
        self.db.execute(sql, values).map_err(&error)?;
        Ok(())
    }

    /// The invitation of a code that can still be used.
    ///
    /// # Errors
    /// The log cannot be read.
    pub fn invitation(&self, code: Hash, now: At) -> Result<Option<Invitation>, StoreError> {
        let error = self.error("read an invitation");
        let sql = "select person_id, roles, until_ms from invitation
                   where code_sha256 = ?1 and used_ms is null and ?2 < until_ms";
        let row = self.db.query_row(sql, params![code.to_string(), now.ms()], |row| {
            Ok((row.get::<_, Option<i64>>(0)?, row.get::<_, String>(1)?, row.get::<_, i64>(2)?))
        });
        let Some((person, roles, until_ms)) = row.optional().map_err(&error)? else {
            return Ok(None);
        };
        let Ok(roles) = roles.parse() else { return Ok(None) };
        Ok(Some(Invitation { code, person, roles, until_ms }))
    }

    /// Makes the person of an invitation, or sets a new passphrase where that name
    /// has left before; the code is used up. None where the name signs in
    /// already, or the code was used meanwhile.
    ///
    /// # Errors
    /// Nothing was written.
    pub fn join(
        &mut self,
        code: Hash,
        joining: &Person,
        now: At,
        told: &Draft,
    ) -> Result<Option<i64>, StoreError> {
        self.change("make a sign-in", |tx| {
            if !use_up(tx, code, now)? {
                return Ok(None);
            }
            let Person { name, roles, secret, units, language, .. } = joining;
            let units = if *units == Units::Metric { "metric" } else { "us" };
            let sql = "insert into person (name, roles, secret, units, language, since_at)
                       values (?1, ?2, ?3, ?4, ?5, ?6)
                       on conflict (name) do update set roles = excluded.roles,
                       secret = excluded.secret, units = excluded.units,
                       language = excluded.language, since_at = excluded.since_at, left_at = null
                       where left_at is not null";
            let values =
                params![name, roles.to_string(), secret, units, language.code(), now.to_string()];
            if tx.execute(sql, values)? == 0 {
                return Ok(None);
            }
            add(tx, told)?;
            let sql = "select person_id from person where name = ?1";
            tx.query_row(sql, [name], |row| row.get(0)).map(Some)
        })
    }

    /// Begins a sign-in; with a code, where it can still be used.
    ///
    /// # Errors
    /// Nothing was written.
    pub fn begin(
        &mut self,
        sign_in: &SignIn,
        code: Option<Hash>,
        now: At,
        told: &Draft,
    ) -> Result<bool, StoreError> {
        self.change("sign somebody in", |tx| {
            if let Some(code) = code
                && !use_up(tx, code, now)?
            {
                return Ok(None);
            }
            let SignIn { token, person, device, paired, until_ms } = sign_in;
            let sql = "insert into sign_in (token_sha256, person_id, device, paired, since_ms,
                       seen_ms, until_ms) values (?1, ?2, ?3, ?4, ?5, ?5, ?6)";
            let values = params![token.to_string(), person, device, paired, now.ms(), until_ms];
            tx.execute(sql, values)?;
            add(tx, told)?;
            Ok(Some(()))
        })
        .map(|begun| begun.is_some())
    }

    /// The sign-in of a token, where it holds and the person may still sign in.
    /// That it was seen is written down now and then.
    ///
    /// # Errors
    /// The log cannot be read.
    pub fn session(&mut self, token: Hash, now: At) -> Result<Option<Session>, StoreError> {
        let error = self.error("read a sign-in");
        let sql = format!(
            "select {PERSON}, sign_in_id, device, paired, since_ms, seen_ms
             from sign_in join person using (person_id)
             where token_sha256 = ?1 and ended_ms is null and ?2 < until_ms and left_at is null"
        );
        let mut statement = self.db.prepare_cached(&sql).map_err(&error)?;
        let values = params![token.to_string(), now.ms()];
        let found = statement.query_row(values, session).optional().map_err(&error)?;
        if let Some(session) = &found
            && session.seen_ms + SEEN_AGAIN_MS < now.ms()
        {
            let sql = "update sign_in set seen_ms = ?2 where sign_in_id = ?1";
            let seen = self.db.execute(sql, params![session.id, now.ms()]);
            if let Err(why) = seen {
                // A log that cannot be written can still be read.
                tracing::debug!(%why, "not noted as seen");
            }
        }
        Ok(found)
    }

    /// Sign-ins that hold, of one person or of everybody, the last seen first.
    ///
    /// # Errors
    /// The log cannot be read.
    pub fn sessions(&self, of: Option<i64>, now: At) -> Result<Vec<Session>, StoreError> {
        let error = self.error("read the sign-ins");
        let sql = format!(
            "select {PERSON}, sign_in_id, device, paired, since_ms, seen_ms
             from sign_in join person using (person_id)
             where ended_ms is null and ?2 < until_ms and left_at is null
             and (?1 is null or person_id = ?1) order by seen_ms desc, sign_in_id desc"
        );
        let mut statement = self.db.prepare_cached(&sql).map_err(&error)?;
        let rows = statement.query_map(params![of, now.ms()], session);
        rows.and_then(Iterator::collect).map_err(&error)
    }

    /// Ends a sign-in; whether it held.
    ///
    /// # Errors
    /// Nothing was written.
    pub fn end_session(&mut self, id: i64, now: At, told: &Draft) -> Result<bool, StoreError> {
        self.change("end a sign-in", |tx| {
            let sql = "update sign_in set ended_ms = ?2 where sign_in_id = ?1 and ended_ms is null";
            if tx.execute(sql, params![id, now.ms()])? == 0 {
                return Ok(None);
            }
            add(tx, told).map(Some)
        })
        .map(|ended| ended.is_some())
    }

    /// From now on the person may not sign in, is signed out everywhere, and no key
    /// of the person holds; whether that was not so before.
    ///
    /// # Errors
    /// Nothing was written.
    pub fn leave(&mut self, person: i64, now: At, told: &Draft) -> Result<bool, StoreError> {
        self.change("end somebody's sign-ins", |tx| {
            let sql = "update person set left_at = ?2 where person_id = ?1 and left_at is null";
            if tx.execute(sql, params![person, now.to_string()])? == 0 {
                return Ok(None);
            }
            let sql = "update sign_in set ended_ms = ?2 where person_id = ?1 and ended_ms is null";
            tx.execute(sql, params![person, now.ms()])?;
            end_keys_of(tx, person, now)?;
            add(tx, told).map(Some)
        })
        .map(|left| left.is_some())
    }

    /// In which units and language a person reads the pages.
    ///
    /// # Errors
    /// Nothing was written.
    pub fn prefer(
        &mut self,
        person: i64,
        units: Units,
        language: Language,
    ) -> Result<(), StoreError> {
        let error = self.error("keep how somebody reads");
        let units = if units == Units::Metric { "metric" } else { "us" };
        let sql = "update person set units = ?2, language = ?3 where person_id = ?1";
        self.db.execute(sql, params![person, units, language.code()]).map_err(&error)?;
        Ok(())
    }

    /// One transaction; undone where nothing comes of it.
    pub(super) fn change<T>(
        &mut self,
        doing: &'static str,
        body: impl FnOnce(&Transaction<'_>) -> rusqlite::Result<Option<T>>,
    ) -> Result<Option<T>, StoreError> {
        let error = self.error(doing);
        let tx = self.db.transaction_with_behavior(TransactionBehavior::Immediate);
        let tx = tx.map_err(&error)?;
        let done = body(&tx).map_err(&error)?;
        if done.is_some() {
            tx.commit().map_err(&error)?;
        }
        Ok(done)
    }
}

/// A code is good once.
fn use_up(tx: &Transaction<'_>, code: Hash, now: At) -> rusqlite::Result<bool> {
    let sql = "update invitation set used_ms = ?2
               where code_sha256 = ?1 and used_ms is null and ?2 < until_ms";
    Ok(tx.execute(sql, params![code.to_string(), now.ms()])? == 1)
}
