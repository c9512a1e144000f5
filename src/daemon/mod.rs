//! One event, its actions, in order. The only place that reads the clock, once
//! for each event.

mod check;
mod ears;
mod headset;
mod hearer;
mod inbox;
mod page;
mod page_voice;
mod voices;
mod walks;

use std::collections::VecDeque;
use std::path::{Path, PathBuf};
use std::sync::Arc;

use jiff::tz::TimeZone;

use crate::domain::adopt::{self, Verdict};
use crate::domain::walk::{Action, Event, Expect, Prompt, Walk, Why};
use crate::domain::{At, Clip, Draft, Entry, How, Meaning, PinKind, Version, What};
use crate::files;
use crate::measure::Functions;
use crate::store::{SeenFile, Store, StoreError};
use crate::watch::Seen;

pub use check::{Reader, check_hearing};
pub use ears::{Listening, OpenEar, keeps, log_check};
pub use hearer::{Hearer, Utterance};
pub use inbox::InboxTaker;
pub use voices::{NATURAL, mouth};
pub use walks::PageWalks;

/// Now, at a place.
#[must_use]
#[expect(clippy::disallowed_methods, reason = "the one clock reading")]
pub fn now(zone: &TimeZone) -> At {
    At::new(jiff::Timestamp::now(), zone)
}

/// What a crew conveyed.
#[derive(Clone, Debug, PartialEq)]
pub enum Input {
    /// Something understood.
    Said {
        /// What.
        meaning: Meaning,
        /// What the recogniser heard, where it was spoken.
        how: How,
    },
    /// Something below the thresholds.
    Unclear,
    /// Nothing for a while.
    Nothing,
    /// The crew is gone: recordings used up, terminal closed.
    Gone,
}

/// Ears and mouth, or keys and a screen.
pub trait Crew {
    /// Why a crew cannot go on.
    type Error;

    /// Says one thing and returns when it is said.
    ///
    /// # Errors
    /// The crew cannot be reached any more.
    fn say(&mut self, prompt: &Prompt) -> Result<(), Self::Error>;

    /// Waits for something to be conveyed.
    ///
    /// # Errors
    /// The crew cannot be heard any more.
    fn listen(&mut self, expect: &Expect) -> Result<Input, Self::Error>;

    /// Looks at how the walk stands and what it waits for, all being saved and on
    /// its way to be said.
    fn look(&mut self, _walk: &Walk, _expect: &Expect) {}

    /// Returns when everything is said, where [`Crew::say`] does not wait for it.
    fn spoken(&mut self, _expect: &Expect) {}

    /// How loud it is without speech, in tenths of a decibel below full scale;
    /// none where nothing is listened to.
    fn noise_tenth_dbfs(&self) -> Option<i32> {
        None
    }

    /// Whether what was said last was spoken, or sent to a loudspeaker, and not only
    /// shown.
    fn has_spoken(&self) -> bool {
        false
    }

    /// Puts the sound of what is about to be logged on the disk, where it is to
    /// be kept, and says which clip belongs to the entry.
    ///
    /// # Errors
    /// A sentence why it could not be kept; then nothing is logged.
    fn keep(&mut self, _draft: &Draft) -> Result<Option<Clip>, String> {
        Ok(None)
    }
}

/// How a walk was left.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Left {
    /// Every step is settled.
    Finished,
    /// A hold point waits for its release.
    Held,
    /// The crew is gone; the walk goes on another time.
    Open,
}

/// Why a walk could not go on. What was logged stays logged.
#[derive(Debug, thiserror::Error)]
pub enum WalkError<E> {
    /// The store refused to be read.
    #[error(transparent)]
    Store(#[from] StoreError),
    /// The crew.
    #[error(transparent)]
    Crew(E),
}

/// Walks until the end, or until the crew is gone.
///
/// # Errors
/// The log cannot be read any more, or the crew fails.
pub fn walk<C: Crew>(
    store: &mut Store,
    walk: &mut Walk,
    crew: &mut C,
    clock: impl Fn() -> At,
) -> Result<Left, WalkError<C::Error>> {
    let mut events = VecDeque::from([Event::Begin]);
    let mut listening: Option<Expect> = None;
    loop {
        while let Some(event) = events.pop_front() {
            let now = clock();
            tracing::debug!(%now, ?event, "event");
            for action in walk.handle(now, event) {
                tracing::debug!(?action, "action");
                match action {
                    Action::Say(prompt) => crew.say(&prompt).map_err(WalkError::Crew)?,
                    Action::Listen(expect) => listening = Some(expect),
                    Action::Append(draft) => append(store, walk, crew, &draft, &mut events)?,
                    Action::Leave(Why::Finished) => {
                        crew.look(walk, &Expect::default());
                        return Ok(Left::Finished);
                    }
                }
            }
        }
        let Some(expect) = &listening else { return Ok(Left::Open) };
        crew.look(walk, expect);
        crew.spoken(expect);
        // All is said and saved: the window opens.
        walk.handle(clock(), Event::Spoken);
        let input = crew.listen(expect).map_err(WalkError::Crew)?;
        if let Some(tenth_dbfs) = crew.noise_tenth_dbfs() {
            walk.handle(clock(), Event::Noise { tenth_dbfs });
        }
        match input {
            Input::Said { meaning, how } => events.push_back(Event::Said { meaning, how }),
            Input::Unclear => events.push_back(Event::Unclear),
            Input::Nothing => {}
            Input::Gone if walk.is_held() => return Ok(Left::Held),
            Input::Gone if walk.is_ended() => return Ok(Left::Finished),
            Input::Gone => return Ok(Left::Open),
        }
        let others = others(store, walk)?;
        if !others.is_empty() {
            events.push_front(Event::Others(others));
        }
    }
}

fn append<C: Crew>(
    store: &mut Store,
    walk: &Walk,
    crew: &mut C,
    draft: &Draft,
    events: &mut VecDeque<Event>,
) -> Result<(), StoreError> {
    let mut draft = draft.clone();
    match crew.keep(&draft) {
        Ok(kept) => match &mut draft.what {
            What::Noted { clip, .. } => *clip = kept,
            What::Cautioned { spoken, .. } => *spoken = Some(crew.has_spoken()),
            _ => {}
        },
        Err(why) => {
            tracing::warn!(why, "sound not kept");
            events.push_back(Event::NotSaved { key: draft.key, why });
            return Ok(());
        }
    }
    match store.append(&draft, Some(walk.standing().last_seq)) {
        Ok(appended) => {
            let entry = appended.entry();
            tracing::info!(seq = entry.seq, what = draft.what.word(), "logged");
            events.push_back(Event::Saved(Box::new(entry)));
        }
        Err(error) => {
            tracing::warn!(%error, what = draft.what.word(), "not logged");
            // A refusal may hide others' entries, or the very one that was to
            // be added: what stands decides, never a guess.
            if let Ok(others) = others(store, walk) {
                events.push_back(Event::Others(others));
            }
            events.push_back(Event::NotSaved { key: draft.key.clone(), why: error.to_string() });
        }
    }
    Ok(())
}

fn others(store: &Store, walk: &Walk) -> Result<Vec<Entry>, StoreError> {
    store.entries(walk.job(), walk.standing().last_seq)
}

/// Judges files seen in the watched folders.
#[derive(Debug)]
pub struct Folders {
    store: Store,
    functions: Arc<Functions>,
    profiles: PathBuf,
}

impl Folders {
    /// A judge that writes to this log.
    #[must_use]
    pub fn new(store: Store, functions: Arc<Functions>, profiles: PathBuf) -> Self {
        Self { store, functions, profiles }
    }

    /// Remembers a file and what may become of it, and says so in a line where
    /// somebody has to do something. A broken or refused file changes nothing
    /// about adopted versions: they stay in use.
    ///
    /// # Errors
    /// The log cannot be written.
    pub fn saw(&mut self, seen: Seen, now: At) -> Result<Option<String>, StoreError> {
        let (path, text) = match seen {
            Seen::Changed { path, text } => (path, text),
            Seen::Gone { path } => {
                self.store.forget(&path.display().to_string())?;
                return Ok(None);
            }
            Seen::Unreadable { path, reason } => {
                let file = self.file(&path, None, "broken", reason);
                self.store.saw(&file, now)?;
                return Ok(Some(say(&file)));
            }
        };
        let name = path.display().to_string();
        let kind = self.kind(&path);
        let read = match kind {
            PinKind::Checklist => files::read_checklist(&text, &name, &self.functions)
                .map(|list| (list.id, list.version, list.hash)),
            PinKind::Profile => files::read_profile(&text, &name)
                .map(|profile| (profile.id, profile.version, profile.hash)),
        };
        let file = match read {
            Err(problems) => self.file(&path, None, "broken", problems.to_string()),
            Ok((id, version, hash)) => {
                let adopted = self.store.versions(kind, &id)?;
                let (verdict, why) = match adopt::judge(&adopted, version, hash) {
                    Verdict::Known => ("known", String::new()),
                    Verdict::Offer => (
                        "offered",
                        format!("adopt it for new jobs with: chalkhand checklist adopt {name}"),
                    ),
                    Verdict::Changed { adopted } => (
                        "refused",
                        format!(
                            "version {version} is adopted with another content ({}) and never \
                             changes: give the changed file a new version",
                            adopted.short()
                        ),
                    ),
                    Verdict::Older { newest } => {
                        ("refused", format!("it is older than version {newest}, which is adopted"))
                    }
                };
                self.file(&path, Some((id, version)), verdict, why)
            }
        };
        self.store.saw(&file, now)?;
        tracing::info!(path = %file.path, verdict = %file.verdict, "file");
        Ok((file.verdict != "known").then(|| say(&file)))
    }

    fn kind(&self, path: &Path) -> PinKind {
        if path.starts_with(&self.profiles) { PinKind::Profile } else { PinKind::Checklist }
    }

    fn file(
        &self,
        path: &Path,
        read: Option<(String, Version)>,
        verdict: &str,
        why: String,
    ) -> SeenFile {
        let (id, version) = read.unzip();
        SeenFile {
            path: path.display().to_string(),
            kind: self.kind(path).word().to_owned(),
            id,
            version: version.map(|version| version.to_string()),
            verdict: verdict.to_owned(),
            why,
        }
    }
}

fn say(file: &SeenFile) -> String {
    let name = match (&file.id, &file.version) {
        (Some(id), Some(version)) => format!("{} {id} {version}", file.kind),
        _ => file.path.clone(),
    };
    format!("{name}: {}: {}", file.verdict, file.why)
}
