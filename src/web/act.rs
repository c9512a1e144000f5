//! Forms and requests that write an entry: made for one sending, and refused where
//! others have written on the job since the page was made, or the job was read.

use axum::http::StatusCode;
use maud::{Markup, html};

use super::guard::Visitor;
use super::refusal::Refusal;
use super::shell::token;
use super::site::{Shared, Site};
use crate::domain::{Draft, Entry, Hash, JobFile, Key};
use crate::measure::Functions;
use crate::office::{self, Deed};
use crate::store::{Person, Store, StoreError};

/// The hidden fields of such a form; `known` is the job's last entry that the page
/// was made from.
pub(super) fn fields(visitor: &Visitor, job: &str, known: u64) -> Markup {
    html! {
        (token(visitor))
        input type="hidden" name="once" value=(uuid::Uuid::new_v4().simple());
        input type="hidden" name="job" value=(job);
        input type="hidden" name="known" value=(known);
    }
}

/// What those fields hold once they come back, or what a request says in their place.
#[derive(Clone, Debug)]
pub(super) struct Act {
    job: String,
    once: String,
    known: u64,
    /// Everything else it says: the same form sent with other words is another one.
    said: String,
    by_request: bool,
}

impl Act {
    /// Of a form; `word` tells it from other kinds of forms.
    pub(super) fn new(
        word: &str,
        form: &impl std::fmt::Debug,
        (job, once, known): (&str, &str, u64),
    ) -> Self {
        let (job, once) = (job.to_owned(), once.to_owned());
        Self { job, once, known, said: format!("{word} {form:?}"), by_request: false }
    }

    /// Of a request to a job, whose headers have been read.
    pub(super) fn requested(
        word: &str,
        body: &impl std::fmt::Debug,
        (job, once, known): (&str, &str, u64),
    ) -> Self {
        let of_form = Self::new(word, body, (job, once, known));
        Self { said: format!("{job} {}", of_form.said), by_request: true, ..of_form }
    }
}

/// The key of what a person asks for by a request, how all keys made of that
/// `Idempotency-Key` begin, and whether it was used for something else.
pub(super) fn requested_key(
    store: &Store,
    person: &Person,
    (once, said): (&str, &str),
) -> Result<Requested, Refusal> {
    let begin = format!("http/{}/{once}/", person.id);
    let key = Key(format!("{begin}{}", Hash::of(said.as_bytes())));
    // The answer was lost: it is in the log already.
    if let Some(entry) = store.entry_of(&key)? {
        return Ok(Requested::Before(Box::new(entry)));
    }
    match store.entry_of_keys(&begin)? {
        None => Ok(Requested::New(key)),
        Some(_) => Err(Refusal::request(
            StatusCode::CONFLICT,
            "key-used",
            "this Idempotency-Key was sent before with something else: make a new one for each \
             thing that is to be done",
        )),
    }
}

/// What a request comes to by its key.
pub(super) enum Requested {
    /// It was not sent before; the key of what it writes.
    New(Key),
    /// It was: the entry it wrote.
    Before(Box<Entry>),
}

/// Appends the entry that `draft` makes of the form or the request, once.
pub(super) async fn act(
    site: &Shared,
    visitor: &Visitor,
    act: Act,
    draft: impl FnOnce(&JobFile, &Functions, &Deed<'_>) -> Result<Draft, Refusal> + Send + 'static,
) -> Result<Entry, Refusal> {
    let (known, by_request) = (act.known, act.by_request);
    let entry = act_in_log(site, visitor, act, move |store, site, file, deed| {
        let draft = draft(&file, &site.served.functions, deed)?;
        match store.append(&draft, Some(known)) {
            Err(StoreError::Stale) if by_request => Err(Refusal::outdated()),
            appended => appended.map(drop).map_err(Refusal::from),
        }
    });
    let missing = || Refusal::Broken("the entry is not found in the log".to_owned());
    entry.await?.ok_or_else(missing)
}

/// Lets `write` write what the form or the request says, once: the entry with the
/// key of the deed has to be the last it writes, and is given.
pub(super) async fn act_in_log(
    site: &Shared,
    visitor: &Visitor,
    act: Act,
    write: impl FnOnce(&mut Store, &Site, JobFile, &Deed<'_>) -> Result<(), Refusal> + Send + 'static,
) -> Result<Option<Entry>, Refusal> {
    let made = act.once.len() == 32 && act.once.bytes().all(|b| b.is_ascii_hexdigit());
    if !act.by_request && !made {
        return Err(Refusal::Strange);
    }
    let (person, how) = (visitor.session.person.clone(), visitor.how());
    site.log(move |store, site| {
        let key = if act.by_request {
            match requested_key(store, &person, (&act.once, &act.said))? {
                Requested::New(key) => key,
                Requested::Before(entry) => return Ok(Some(*entry)),
            }
        } else {
            let said = Hash::of(act.said.as_bytes());
            let key = Key(format!("form/{}/{}/{said}", person.id, act.once));
            // Sent twice: it is in the log already, by this very form.
            if let Some(entry) = store.entry_of(&key)? {
                return Ok(Some(entry));
            }
            key
        };
        let (served, number) = (&site.served, &act.job);
        let file = office::job(store, &served.functions, number)?;
        let last = file.standing.last_seq;
        match act.by_request {
            // A precondition is exact (RFC 9110 section 13.1.1).
            true if act.known != last => return Err(Refusal::outdated()),
            false if act.known < last => return Err(Refusal::Changed),
            _ => {}
        }
        let at = (served.now)(&office::zone(&file.job)?);
        let deed = Deed { by: &person.name, at, how, key: Some(key.clone()) };
        write(store, site, file, &deed)?;
        Ok(store.entry_of(&key)?)
    })
    .await
}
