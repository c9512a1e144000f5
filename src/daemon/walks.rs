//! Walks of the pages: each a thread with a log of its own, one a job, walk and
//! person. They end when nobody looks any more, and with the daemon.

use std::collections::HashMap;
use std::sync::atomic::Ordering;
use std::sync::mpsc::{SyncSender, sync_channel};
use std::sync::{Arc, Mutex, PoisonError};
use std::thread::JoinHandle;

use jiff::tz::TimeZone;
use tokio::sync::watch;

use super::headset::Phones;
use super::page::{Heading, PageCrew, Signs};
use super::page_voice::{PageVoice, SharedRecogniser, Whose};
use super::{Left, WalkError};
use crate::config::Config;
use crate::domain::walk::{Hearing, Setting, Walk};
use crate::domain::{At, JobFile, Language, Standing, Units, WalkId, walk_id};
use crate::measure::Functions;
use crate::office::{self, OfficeError};
use crate::speech::Wording;
use crate::store::{Store, StoreError};
use crate::web::{Followed, NotWalked, Sent, Shown, Walks, Wanted};

/// Walks that run at once; each has a thread and a log open.
const MOST_WALKS: usize = 100;
/// Answers of one walk that wait their turn.
const WAITING: usize = 8;

type Key = (String, WalkId, String);

/// The walks of the pages.
#[derive(Debug)]
pub struct PageWalks {
    config: Config,
    functions: Arc<Functions>,
    clock: fn(&TimeZone) -> At,
    recogniser: SharedRecogniser,
    running: Mutex<Running>,
}

#[derive(Debug, Default)]
struct Running {
    stopped: bool,
    /// To read jobs with.
    store: Option<Store>,
    walks: HashMap<Key, One>,
}

#[derive(Debug)]
struct One {
    units: Units,
    language: Language,
    shown: watch::Receiver<Option<Arc<Shown>>>,
    answers: SyncSender<Sent>,
    phones: Arc<Phones>,
    signs: Signs,
    thread: JoinHandle<()>,
}

impl One {
    fn followed(&self) -> Followed {
        Followed {
            shown: self.shown.clone(),
            answers: self.answers.clone(),
            headsets: Arc::<Phones>::clone(&self.phones),
        }
    }
}

impl PageWalks {
    /// None yet.
    #[must_use]
    pub fn new(config: Config, functions: Arc<Functions>, clock: fn(&TimeZone) -> At) -> Self {
        let recogniser = SharedRecogniser::default();
        Self { config, functions, clock, recogniser, running: Mutex::default() }
    }

    /// Leaves all walks and waits until they are left; none begins any more.
    pub fn stop(&self) {
        let walks = {
            let mut running = self.running.lock().unwrap_or_else(PoisonError::into_inner);
            running.stopped = true;
            std::mem::take(&mut running.walks)
        };
        for one in walks.values() {
            one.signs.stop.store(true, Ordering::Relaxed);
        }
        for (_, one) in walks {
            if one.thread.join().is_err() {
                tracing::error!("a walk of a page broke off; what it logged stays");
            }
        }
    }

    fn begin(
        &self,
        store: Store,
        file: &JobFile,
        id: &WalkId,
        wanted: &Wanted,
    ) -> Result<One, NotWalked> {
        let pinned = office::pinned(file, &id.checklist)?;
        office::facts_are_known(&self.functions, file, pinned)?;
        let translated = match wanted.language {
            Language::English => None,
            language => office::translated(&self.config, pinned, language)?,
        };
        let untranslated = translated.is_none() && wanted.language != Language::default();
        let checklist = translated.map_or_else(|| Arc::clone(pinned), Arc::new);
        let wording = Wording::of(checklist.language).with_choices(checklist.words.clone());
        // A call word that cannot be used is the ear's trouble, not the page's.
        let wording = wording.clone().with_call_word(&self.config.call_word).unwrap_or(wording);
        let heading = Heading {
            job: file.job.number.clone(),
            address: file.job.address.clone(),
            checklist: checklist.title.clone(),
            nth: id.nth,
            untranslated,
        };
        let setting = Setting {
            checklist,
            walk: id.clone(),
            profile: file.profile.clone(),
            functions: Arc::clone(&self.functions),
            job: file.job.number.clone(),
            by: wanted.by.clone(),
            units: wanted.units,
            session: uuid::Uuid::new_v4().to_string(),
            window_ms: i64::from(self.config.window_s) * 1000,
            // What is spoken counts as far as the latest check of the person trusts it.
            hearing: Hearing::Checked,
        };
        let (shows, shown) = watch::channel(None);
        let (answers, answered) = sync_channel(WAITING);
        let signs = Signs::default();
        let (to, put_on) = sync_channel(1);
        let (zone, clock) = (office::zone(&file.job)?, self.clock);
        let whose = Whose {
            job: file.job.number.clone(),
            walk: id.clone(),
            by: wanted.by.clone(),
            zone: zone.clone(),
        };
        let terms = (wanted.units, wording.clone());
        let voice = PageVoice::new(
            self.config.clone(),
            self.recogniser.clone(),
            clock,
            whose,
            terms,
            put_on,
        );
        let terms = (wording, wanted.units);
        let crew = PageCrew::new(heading, terms, voice, shows, answered, signs.clone());
        let standing = file.standing.clone();
        let thread = std::thread::Builder::new().name("walk".to_owned()).spawn(move || {
            run(store, setting, standing, crew, || clock(&zone));
        });
        let thread = thread.map_err(|error| {
            tracing::error!(%error, "no thread for a walk");
            NotWalked::Stopping
        })?;
        let (units, language) = (wanted.units, wanted.language);
        let phones = Arc::new(Phones { to });
        Ok(One { units, language, shown, answers, phones, signs, thread })
    }
}

impl Walks for PageWalks {
    fn take_up(&self, wanted: &Wanted) -> Result<Followed, NotWalked> {
        // One at a time, so that two pages of one person find the same walk.
        let mut running = self.running.lock().unwrap_or_else(PoisonError::into_inner);
        if running.stopped {
            return Err(NotWalked::Stopping);
        }
        running.walks.retain(|_, one| !one.thread.is_finished());
        let open = || Store::open(&self.config.log()).map_err(OfficeError::from);
        let reads = running.store.take().map_or_else(open, Ok)?;
        let file = office::job(&reads, &self.functions, &wanted.job);
        running.store = Some(reads);
        let file = file?;
        let pinned = office::pinned(&file, &wanted.checklist)?;
        let now = (self.clock)(&office::zone(&file.job)?);
        let id = walk_id::taken_up(&file.standing, pinned, wanted.again, now)?;
        let key = (file.job.number.clone(), id.clone(), wanted.by.clone());
        let same = |one: &One| one.units == wanted.units && one.language == wanted.language;
        if let Some(one) = running.walks.get(&key) {
            if same(one) {
                one.signs.idle.store(0, Ordering::Relaxed);
                return Ok(one.followed());
            }
            // The person reads otherwise from now on.
            one.signs.stop.store(true, Ordering::Relaxed);
        } else if MOST_WALKS <= running.walks.len() {
            return Err(NotWalked::TooMany);
        }
        let one = self.begin(open()?, &file, &id, wanted)?;
        let followed = one.followed();
        running.walks.insert(key, one);
        Ok(followed)
    }

    fn running(&self, wanted: &Wanted) -> Option<Followed> {
        let mut running = self.running.lock().unwrap_or_else(PoisonError::into_inner);
        running.walks.retain(|_, one| !one.thread.is_finished());
        let theirs = running.walks.iter().filter(|((job, id, by), _)| {
            (job, &id.checklist, by) == (&wanted.job, &wanted.checklist, &wanted.by)
        });
        let (_, one) = theirs.max_by_key(|((_, id, _), _)| id.nth)?;
        one.signs.idle.store(0, Ordering::Relaxed);
        Some(one.followed())
    }
}

/// One walk until it is left. After its last step it stays open for a correction
/// of that one, as long as somebody looks.
fn run(
    mut store: Store,
    mut setting: Setting,
    mut standing: Standing,
    mut crew: PageCrew,
    clock: impl Fn() -> At,
) {
    let (job, by) = (setting.job.clone(), setting.by.clone());
    let span = tracing::info_span!("walk", job = %job, walk = %setting.walk, by = %by);
    let _entered = span.enter();
    loop {
        let mut walk = Walk::new(setting.clone(), standing);
        match super::walk(&mut store, &mut walk, &mut crew, &clock) {
            Ok(Left::Finished) if crew.stays() => {}
            Ok(left) => {
                tracing::info!(?left, "left");
                break;
            }
            Err(WalkError::Store(error)) => {
                tracing::error!(%error, "walk broken off");
                break;
            }
            Err(WalkError::Crew(never)) => match never {},
        }
        // Keys of entries are never used twice.
        setting.session = uuid::Uuid::new_v4().to_string();
        standing = match stands(&store, &job) {
            Ok(standing) => standing,
            Err(error) => {
                tracing::error!(%error, "walk broken off");
                break;
            }
        };
    }
    crew.take_off();
}

fn stands(store: &Store, job: &str) -> Result<Standing, StoreError> {
    Ok(Standing::of(&store.entries(job, 0)?))
}
