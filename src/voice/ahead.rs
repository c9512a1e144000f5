//! A voice that takes its time, on a thread of its own: what is always said is
//! made ahead and kept, what is said now is waited for a little. Whoever asks
//! speaks otherwise when it is not ready.

use std::collections::{HashMap, VecDeque};
use std::sync::{Arc, Condvar, Mutex, MutexGuard, PoisonError};
use std::time::{Duration, Instant};

use super::VoiceError;
use super::loudspeaker::Sound;
use super::mouth::Voice;

/// Samples kept beside those made ahead: five minutes at 22,050 Hz, 26 MB.
pub const MOST_KEPT: usize = 6_600_000;
/// Wishes that wait; the oldest is forgotten, because it was spoken otherwise.
const MOST_WISHES: usize = 16;
/// How long a sentence is waited for: the start, and for each byte.
const PATIENCE: Duration = Duration::from_millis(400);
const PATIENCE_PER_BYTE: Duration = Duration::from_millis(10);

/// A voice working ahead.
pub struct Ahead {
    shared: Arc<Shared>,
}

#[derive(Default)]
struct Shared {
    state: Mutex<State>,
    /// Told whenever the state changes.
    changed: Condvar,
}

#[derive(Default)]
struct State {
    wishes: VecDeque<String>,
    /// To be made while nobody wishes anything.
    ahead: VecDeque<String>,
    made: HashMap<String, Arc<Sound>>,
    /// What may be forgotten, oldest first, and its samples.
    passing: VecDeque<String>,
    passing_samples: usize,
    failed: Option<String>,
    ended: bool,
}

impl Shared {
    fn lock(&self) -> MutexGuard<'_, State> {
        self.state.lock().unwrap_or_else(PoisonError::into_inner)
    }
}

impl Ahead {
    /// Loads the voice on its thread and makes `ahead`, which is never forgotten.
    ///
    /// # Errors
    /// When no thread can be started.
    pub fn start<V: Voice>(
        load: impl FnOnce() -> Result<V, VoiceError> + Send + 'static,
        ahead: Vec<String>,
    ) -> Result<Ahead, VoiceError> {
        let shared = Arc::new(Shared::default());
        shared.lock().ahead = ahead.into();
        let theirs = Arc::clone(&shared);
        // Not joined: it holds nothing that must be put away.
        std::thread::Builder::new()
            .name("voice".to_owned())
            .spawn(move || {
                if let Err(why) = load().and_then(|mut voice| work(&theirs, &mut voice)) {
                    theirs.lock().failed = Some(why.to_string());
                    theirs.changed.notify_all();
                }
            })
            .map_err(|e| VoiceError::Speech(format!("no thread for the voice: {e}")))?;
        Ok(Ahead { shared })
    }

    /// This will be said soon.
    pub fn wish(&self, text: &str) {
        let mut state = self.shared.lock();
        if state.made.contains_key(text) || state.wishes.iter().any(|wish| wish == text) {
            return;
        }
        if MOST_WISHES <= state.wishes.len() {
            state.wishes.pop_front();
        }
        state.wishes.push_back(text.to_owned());
        self.shared.changed.notify_all();
    }

    /// The sound of a text, where it is made already.
    pub fn ready(&self, text: &str) -> Option<Arc<Sound>> {
        self.shared.lock().made.get(text).map(Arc::clone)
    }

    /// The sound of a text, when it is there in time; an error once the voice has
    /// failed.
    pub fn within(&self, text: &str) -> Option<Result<Arc<Sound>, String>> {
        let bytes = u32::try_from(text.len()).unwrap_or(u32::MAX);
        self.by(text, PATIENCE.saturating_add(PATIENCE_PER_BYTE.saturating_mul(bytes)))
    }

    /// The same with a patience of the caller's.
    pub fn by(&self, text: &str, patience: Duration) -> Option<Result<Arc<Sound>, String>> {
        self.wish(text);
        let until = Instant::now() + patience;
        let mut state = self.shared.lock();
        loop {
            if let Some(sound) = state.made.get(text) {
                return Some(Ok(Arc::clone(sound)));
            }
            if let Some(why) = &state.failed {
                return Some(Err(why.clone()));
            }
            let left = until.saturating_duration_since(Instant::now());
            if left.is_zero() {
                return None;
            }
            let waited = self.shared.changed.wait_timeout(state, left);
            state = waited.unwrap_or_else(PoisonError::into_inner).0;
        }
    }

    /// Samples kept of what may be forgotten, and texts kept in all.
    pub fn kept(&self) -> (usize, usize) {
        let state = self.shared.lock();
        (state.passing_samples, state.made.len())
    }
}

impl Drop for Ahead {
    fn drop(&mut self) {
        self.shared.lock().ended = true;
        self.shared.changed.notify_all();
    }
}

fn work(shared: &Shared, voice: &mut impl Voice) -> Result<(), VoiceError> {
    loop {
        let (text, passing) = {
            let mut state = shared.lock();
            loop {
                if state.ended {
                    return Ok(());
                }
                if let Some(wish) = state.wishes.pop_front() {
                    let passing = !state.ahead.contains(&wish);
                    state.ahead.retain(|text| *text != wish);
                    break (wish, passing);
                }
                if let Some(text) = state.ahead.pop_front() {
                    break (text, false);
                }
                state = shared.changed.wait(state).unwrap_or_else(PoisonError::into_inner);
            }
        };
        let sound = voice.speak(&text)?;
        let mut state = shared.lock();
        if passing {
            state.passing_samples = state.passing_samples.saturating_add(sound.samples.len());
            state.passing.push_back(text.clone());
        }
        state.made.insert(text, Arc::new(sound));
        while MOST_KEPT < state.passing_samples {
            let Some(oldest) = state.passing.pop_front() else { break };
            if let Some(sound) = state.made.remove(&oldest) {
                state.passing_samples = state.passing_samples.saturating_sub(sound.samples.len());
            }
        }
        shared.changed.notify_all();
    }
}
