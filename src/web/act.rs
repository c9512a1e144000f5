//! Forms that write an entry: made for one sending, and refused where others
//! have written on the job since the page was made.

use maud::{Markup, html};

use super::guard::Visitor;
use super::refusal::Refusal;
use super::shell::token;
use super::site::Shared;
use crate::domain::{Draft, Hash, How, JobFile, Key};
use crate::measure::Functions;
use crate::office::{self, Deed};

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

/// What those fields hold once they come back.
#[derive(Clone, Debug)]
pub(super) struct Act {
    pub(super) job: String,
    pub(super) once: String,
    pub(super) known: u64,
    /// Everything else the form says: the same form sent with other words is
    /// another one.
    pub(super) said: String,
}

impl Act {
    /// Of a form; `word` tells it from other kinds of forms.
    pub(super) fn new(
        word: &str,
        form: &impl std::fmt::Debug,
        (job, once, known): (&str, &str, u64),
    ) -> Self {
        let said = format!("{word} {form:?}");
        Self { job: job.to_owned(), once: once.to_owned(), known, said }
    }
}

/// Appends the entry that `draft` makes of the form, once.
pub(super) async fn act(
    site: &Shared,
    visitor: &Visitor,
    act: Act,
    draft: impl FnOnce(&JobFile, &Functions, &Deed<'_>) -> Result<Draft, Refusal> + Send + 'static,
) -> Result<(), Refusal> {
    if act.once.len() != 32 || !act.once.bytes().all(|b| b.is_ascii_hexdigit()) {
        return Err(Refusal::Strange);
    }
    let person = visitor.session.person.clone();
    let said = Hash::of(act.said.as_bytes());
    let key = Key(format!("form/{}/{}/{said}", person.id, act.once));
    site.log(move |store, site| {
        // Sent twice: it is in the log already, by this very form.
        if store.entry_of(&key)?.is_some() {
            return Ok(());
        }
        let (served, number) = (&site.served, &act.job);
        let file = office::job(store, &served.functions, number)?;
        if act.known < file.standing.last_seq {
            return Err(Refusal::Changed);
        }
        let at = (served.now)(&office::zone(&file.job)?);
        let deed = Deed { by: &person.name, at, how: How::Touch, key: Some(key) };
        let draft = draft(&file, &served.functions, &deed)?;
        store.append(&draft, Some(act.known))?;
        Ok(())
    })
    .await
}
