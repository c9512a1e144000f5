//! Photos of the inbox as they come, with the clock: one file, what became of it,
//! a line for whoever reads along. Where a photo belongs is decided elsewhere.

use std::sync::Arc;

use jiff::tz::TimeZone;

use crate::config::Config;
use crate::domain::At;
use crate::measure::Functions;
use crate::office::Inbox;
use crate::office::inbox::{Became, Desk, Waiting, WhyWaiting};
use crate::store::Store;
use crate::watch::Dropped;

/// Takes photos out of the inbox.
#[derive(Debug)]
pub struct InboxTaker {
    config: Config,
    store: Store,
    functions: Arc<Functions>,
    inbox: Arc<Inbox>,
    clock: fn(&TimeZone) -> At,
}

impl InboxTaker {
    /// Writes to this log.
    #[must_use]
    pub fn new(
        config: Config,
        store: Store,
        functions: Arc<Functions>,
        inbox: Arc<Inbox>,
        clock: fn(&TimeZone) -> At,
    ) -> Self {
        Self { config, store, functions, inbox, clock }
    }

    /// Looks at one file, and says in a line what became of it.
    pub fn saw(&mut self, dropped: &Dropped) -> Option<String> {
        let path = match dropped {
            Dropped::Whole(path) => path,
            Dropped::Gone(path) => {
                self.inbox.gone(path);
                return None;
            }
            Dropped::Closed(folder) => {
                let folder = folder.display();
                return Some(format!(
                    "inbox: `{folder}` cannot be read: give the one who runs this the right to"
                ));
            }
        };
        let mut desk = Desk {
            config: &self.config,
            store: &mut self.store,
            functions: &self.functions,
            now: self.clock,
        };
        let before = self.inbox.waits(path);
        let became = self.inbox.look(&mut desk, path, &TimeZone::system());
        if matches!(&became, Became::Waits(waiting) if before.as_ref() == Some(waiting)) {
            return None;
        }
        tracing::info!(path = %path.display(), ?became, "photo inbox");
        let name = path.file_name().unwrap_or_default().to_string_lossy();
        match became {
            Became::Gone => None,
            Became::Kept { seq, before: true, place } => {
                Some(format!("inbox: {name}: kept already, in entry {seq} of job {}", place.job))
            }
            Became::Kept { seq, place, .. } => {
                let step = place.step.map(|step| step.to_string()).unwrap_or_default();
                Some(format!("inbox: {name}: kept in entry {seq} of job {} at {step}", place.job))
            }
            Became::Waits(waiting) => Some(format!("inbox: {}", waits(&waiting))),
        }
    }
}

/// Why it waits, in a sentence.
fn waits(waiting: &Waiting) -> String {
    let name = &waiting.name;
    let place = "the page of the day asks where it belongs";
    match &waiting.why {
        WhyWaiting::NotAPhoto(why) => format!("{name} {why}"),
        WhyWaiting::NoTime => format!("{name} does not say when it was taken: {place}"),
        WhyWaiting::NoJob => format!("{name} lies in a folder that is called like no job: {place}"),
        WhyWaiting::NoneOpen => format!("{name}: no step was open when it was taken: {place}"),
        WhyWaiting::Several(open) => {
            let open: Vec<String> =
                open.iter().map(|(job, walk, step)| format!("{step} of {walk} on {job}")).collect();
            format!("{name}: open when it was taken: {}: {place}", open.join(", "))
        }
        WhyWaiting::NotKept(why) => format!("{name} was not kept: {why}"),
        WhyWaiting::NotMoved { job, seq, why } => {
            format!("{name} is kept in entry {seq} of job {job} and was not moved: {why}")
        }
    }
}
