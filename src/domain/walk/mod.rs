//! Going through a checklist on a job: closed events in, closed actions out,
//! one pure `handle`. Nothing here speaks, listens, stores or reads a clock.
//!
//! `Logged` is reachable only from `Event::Saved`, which only the store causes;
//! a step is settled only by an entry that came back saved.

mod answering;
mod asking;
mod hearing;
mod prompt;
mod view;

use std::collections::BTreeSet;
use std::sync::Arc;

use crate::measure::Functions;

use super::entry::{Draft, Entry, Given, How, Key, StepRef, Target, What};
use super::{
    At, Checklist, Comparison, Known, Meaning, Profile, Sheet, Standing, Step, Units, WalkId,
};

pub use hearing::Hearing;
pub use prompt::{Doubt, Expect, ExpectAnswer, Prompt};
pub use view::{Asks, LastLogged, View, ViewStep};

/// What can happen to a walk.
#[derive(Clone, Debug, PartialEq)]
pub enum Event {
    /// Somebody starts or goes on.
    Begin,
    /// Something was understood.
    Said {
        /// What.
        meaning: Meaning,
        /// How it was conveyed, with what the recogniser heard where it was spoken.
        how: How,
    },
    /// Something was said that is below the thresholds.
    Unclear,
    /// All that was to be said is said: the window opens.
    Spoken,
    /// The store has committed the draft with this entry.
    Saved(Box<Entry>),
    /// The store has not committed the draft with this key.
    NotSaved {
        /// Of the draft.
        key: Key,
        /// In a plain sentence.
        why: String,
    },
    /// Others added entries to this job.
    Others(Vec<Entry>),
    /// How loud it is here without speech.
    Noise {
        /// In tenths of a decibel below full scale.
        tenth_dbfs: i32,
    },
}

/// What a walk wants done.
#[derive(Clone, Debug, PartialEq)]
pub enum Action {
    /// Say this.
    Say(Prompt),
    /// Listen for this, once all is said.
    Listen(Expect),
    /// Append this and report `Saved` or `NotSaved`.
    Append(Box<Draft>),
    /// Leave the walk; nothing is unsaved.
    Leave(Why),
}

/// Why a walk is left.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Why {
    /// Every step is settled.
    Finished,
}

/// Who walks what, and the pieces it needs.
#[derive(Clone, Debug)]
pub struct Setting {
    /// The pinned checklist.
    pub checklist: Arc<Checklist>,
    /// Which walk of it.
    pub walk: WalkId,
    /// The pinned profile.
    pub profile: Option<Arc<Profile>>,
    /// The trade functions formulas may use.
    pub functions: Arc<Functions>,
    /// The job's number.
    pub job: String,
    /// Who walks.
    pub by: String,
    /// Units on the person's tape.
    pub units: Units,
    /// Makes idempotency keys unique; never used twice.
    pub session: String,
    /// For how long after a question a spoken answer counts, in milliseconds.
    pub window_ms: i64,
    /// Whether a hearing check says which spoken answers count.
    pub hearing: Hearing,
}

/// A walk in progress.
#[derive(Clone, Debug)]
pub struct Walk {
    setting: Setting,
    standing: Standing,
    sheet: Sheet,
    plan: Vec<StepRef>,
    state: State,
    /// The present step as it was told.
    told: Result<Told, Vec<String>>,
    /// The last entry that was known when the present step was first asked.
    asked_after: u64,
    /// Steps whose cautions were said since this walk was taken up.
    cautioned: BTreeSet<StepRef>,
    /// How often the present question was not answered.
    tries: u32,
    /// How often it was called since something was taken.
    calls: u32,
    /// Drafts made so far, for keys.
    drafts: u64,
    window: Window,
    /// How loud it is here without speech, in tenths of a decibel below full scale.
    noise_tenth_dbfs: Option<i32>,
    /// What was said in full of answers that are not taken by voice, at which step.
    doubted: Option<(Option<StepRef>, Doubt)>,
}

/// A step as a person was told it. Only this may be confirmed.
#[derive(Clone, Debug, PartialEq)]
struct Told {
    text: String,
    target: Option<Target>,
}

/// When an answer counts.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Window {
    /// Nothing was asked.
    Shut,
    /// Something is being said: what was conveyed before its end answers
    /// something else.
    Saying,
    /// A spoken answer counts in this time, in ms; after it, or where the clock
    /// went back, the call word comes first.
    Open { from_ms: i64, until_ms: i64 },
}

/// What the walk waits for; each state carries only what it needs.
#[derive(Clone, Debug, PartialEq)]
enum State {
    /// `Begin`.
    Idle,
    /// An answer to this step.
    Asking(StepRef),
    /// Facts without which this step cannot be told, nor confirmed.
    Untold(StepRef),
    /// A yes to what was read back.
    ReadingBack { step: StepRef, given: Given, how: How },
    /// "Measure again" or "log it as it is".
    OffTarget { step: StepRef, given: Given, conveyed: Conveyed },
    /// Words.
    Dictating { step: StepRef, purpose: Purpose },
    /// A yes to words as they were heard.
    WordsBack { step: StepRef, purpose: Purpose, words: String, how: How },
    /// The store; `known` is the last entry known when it was asked.
    Saving { draft: Draft, then: Then, known: u64 },
    /// Another try at a draft of the walk's own that was not saved.
    Unsaved { draft: Draft, then: Then },
    /// A release.
    Held { step: StepRef, role: String },
    /// "Resume work".
    Paused(StepRef),
    /// A correction of this step, the last one settled, of a walk that had ended.
    Ended(StepRef),
    /// Nothing more.
    Finished,
}

/// How something was conveyed, and what confirmed it since.
#[derive(Clone, Debug, PartialEq)]
struct Conveyed {
    how: How,
    confirmed: Vec<How>,
}

impl Conveyed {
    /// With one thing more.
    fn then(mut self, how: How) -> Self {
        self.confirmed.push(how);
        self
    }
}

impl From<How> for Conveyed {
    /// What nothing is read back of.
    fn from(how: How) -> Self {
        Self { how, confirmed: Vec::new() }
    }
}

/// What words are dictated for.
#[derive(Clone, Debug, PartialEq)]
enum Purpose {
    /// Why this is logged off its target.
    OffTarget { given: Given, conveyed: Conveyed },
    /// Why the step is left out.
    Skip,
    /// A note.
    Note,
    /// The step's own answer.
    Answer,
}

/// What follows once a draft is saved.
#[derive(Clone, Debug, PartialEq)]
enum Then {
    /// "Logged", then the first open step.
    LoggedNext,
    /// "Logged", then this step again.
    LoggedStay(StepRef),
    /// This step, without a word.
    Ask(StepRef),
    /// The first open step or the end, without a word.
    Next,
    /// Wait for "resume work".
    Pause(StepRef),
}

impl Walk {
    /// A walk on a job on which these entries stand.
    #[must_use]
    pub fn new(setting: Setting, standing: Standing) -> Self {
        let mut walk = Self {
            setting,
            standing,
            sheet: Sheet::default(),
            plan: Vec::new(),
            state: State::Idle,
            told: Err(Vec::new()),
            asked_after: 0,
            cautioned: BTreeSet::new(),
            tries: 0,
            calls: 0,
            drafts: 0,
            window: Window::Shut,
            noise_tenth_dbfs: None,
            doubted: None,
        };
        walk.refresh();
        walk
    }

    /// What stands of the job.
    #[must_use]
    pub fn standing(&self) -> &Standing {
        &self.standing
    }

    /// The job's number.
    #[must_use]
    pub fn job(&self) -> &str {
        &self.setting.job
    }

    /// The steps, repeated for rows, in order.
    #[must_use]
    pub fn plan(&self) -> &[StepRef] {
        &self.plan
    }

    /// The step being asked, read back, held or paused at.
    #[must_use]
    pub fn current(&self) -> Option<&StepRef> {
        match &self.state {
            State::Asking(step)
            | State::Untold(step)
            | State::ReadingBack { step, .. }
            | State::OffTarget { step, .. }
            | State::Dictating { step, .. }
            | State::WordsBack { step, .. }
            | State::Held { step, .. }
            | State::Paused(step) => Some(step),
            State::Saving { draft, .. } | State::Unsaved { draft, .. } => draft.what.step(),
            State::Idle | State::Ended(_) | State::Finished => None,
        }
    }

    /// Whether the walk waits for a hold point's release.
    #[must_use]
    pub fn is_held(&self) -> bool {
        matches!(self.state, State::Held { .. })
    }

    /// Whether every step was settled before this walk was taken up, and nothing
    /// is being corrected.
    #[must_use]
    pub fn is_ended(&self) -> bool {
        matches!(self.state, State::Ended(_))
    }

    /// The only way anything happens. `now` is the one clock reading of the
    /// event.
    pub fn handle(&mut self, now: At, event: Event) -> Vec<Action> {
        let mut out = Vec::new();
        match event {
            Event::Begin => self.begin(now, &mut out),
            Event::Spoken => self.open_window(now),
            Event::Saved(entry) => self.saved(now, &entry, &mut out),
            Event::NotSaved { key, why } => self.not_saved(now, &key, why, &mut out),
            Event::Others(entries) => self.others(now, &entries, &mut out),
            Event::Unclear if self.in_window(now) => self.unclear(now, true, &mut out),
            Event::Unclear => {}
            Event::Said { meaning: Meaning::CallWord, .. } => self.called(&mut out),
            // What was typed or touched before the question was put in full
            // answers another one.
            Event::Said { .. } if self.window == Window::Saying => {}
            Event::Said { meaning, how: How::Voice(_) } if !self.in_window(now) => {
                // Talk among the crew. Where words are asked for it cannot be told
                // from an answer: the question is put once more, nothing is taken.
                if matches!(meaning, Meaning::Words(_))
                    && self.expect().answer == ExpectAnswer::Words
                {
                    self.repeat(now, &mut out);
                }
            }
            Event::Said { meaning, how: How::Voice(_) }
                if let Some(doubt) = self.doubt(&meaning) =>
            {
                self.refuse(doubt, &mut out);
            }
            Event::Said { meaning, how } => {
                self.calls = 0;
                self.said(now, meaning, how, &mut out);
            }
            Event::Noise { tenth_dbfs } => self.noise_tenth_dbfs = Some(tenth_dbfs),
        }
        if out.iter().any(|action| matches!(action, Action::Say(_))) {
            self.window = Window::Saying;
        }
        out
    }

    fn open_window(&mut self, now: At) {
        if self.window == Window::Saying {
            let from_ms = now.ms();
            let until_ms = from_ms.saturating_add(self.setting.window_ms);
            self.window = Window::Open { from_ms, until_ms };
        }
    }

    fn in_window(&self, now: At) -> bool {
        match self.window {
            Window::Open { from_ms, until_ms } => (from_ms..=until_ms).contains(&now.ms()),
            Window::Shut | Window::Saying => false,
        }
    }

    fn known(&self) -> Known<'_> {
        Known {
            checklist: &self.setting.checklist,
            facts: &self.standing.facts,
            profile: self.setting.profile.as_deref(),
            sheet: &self.sheet,
        }
    }

    fn step(&self, at: &StepRef) -> Option<&Step> {
        self.setting.checklist.step(&at.id)
    }

    /// Computes the sheet and the plan from what stands.
    fn refresh(&mut self) {
        let checklist = &self.setting.checklist;
        let profile = self.setting.profile.as_deref();
        let functions = &self.setting.functions;
        self.sheet = Sheet::compute(checklist, &self.standing.facts, profile, functions);
        self.plan = super::plan::plan(self.known(), functions);
    }

    fn settled(&self, at: &StepRef) -> Option<&super::Settled> {
        self.standing.step(&self.setting.walk, at)?.settled.as_ref()
    }

    /// Steps not settled yet, in order.
    fn open(&self) -> impl Iterator<Item = &StepRef> {
        self.plan.iter().filter(|step| self.settled(step).is_none())
    }

    fn draft(&mut self, now: At, conveyed: impl Into<Conveyed>, what: What) -> Draft {
        let Conveyed { how, confirmed } = conveyed.into();
        self.drafts += 1;
        let corrects = match &what {
            What::Answered { step, .. } | What::Skipped { step, .. } => {
                self.settled(step).map(|settled| settled.seq)
            }
            _ => None,
        };
        Draft {
            job: self.setting.job.clone(),
            walk: Some(self.setting.walk.clone()),
            at: now,
            by: self.setting.by.clone(),
            how,
            confirmed,
            what,
            corrects,
            key: Key(format!("{}/{}", self.setting.session, self.drafts)),
        }
    }

    fn save(&mut self, draft: Draft, then: Then, out: &mut Vec<Action>) {
        out.push(Action::Append(Box::new(draft.clone())));
        self.state = State::Saving { draft, then, known: self.standing.last_seq };
    }

    fn saved(&mut self, now: At, entry: &Entry, out: &mut Vec<Action>) {
        let (State::Saving { draft, then, .. } | State::Unsaved { draft, then }) = &self.state
        else {
            return;
        };
        if draft.key != entry.draft.key {
            return;
        }
        let then = then.clone();
        self.standing.apply(entry);
        self.refresh();
        self.tries = 0;
        match then {
            Then::LoggedNext => {
                out.push(Action::Say(Prompt::Logged));
                self.next(now, out);
            }
            Then::LoggedStay(step) => {
                out.push(Action::Say(Prompt::Logged));
                self.again(now, step, out);
            }
            Then::Ask(step) => self.again(now, step, out),
            Then::Next => self.next(now, out),
            Then::Pause(step) => {
                out.push(Action::Say(Prompt::Paused));
                self.state = State::Paused(step);
                self.listen(out);
            }
        }
    }

    fn not_saved(&mut self, now: At, key: &Key, why: String, out: &mut Vec<Action>) {
        let State::Saving { draft, then, known } = &self.state else { return };
        if draft.key != *key {
            return;
        }
        let (draft, then) = (draft.clone(), then.clone());
        // Others logged in between: nothing is wrong with the store.
        let stale = *known < self.standing.last_seq;
        match (&draft.how, draft.what.step()) {
            // What a person gave is asked for again; nothing is guessed.
            (how, Some(step)) if how.is_given() => {
                out.push(Action::Say(Prompt::NotLogged { why }));
                self.again(now, step.clone(), out);
            }
            _ if stale => self.retry(now, draft, then, out),
            _ => {
                out.push(Action::Say(Prompt::NotLogged { why }));
                out.push(Action::Say(Prompt::TryAgain));
                self.state = State::Unsaved { draft, then };
                self.listen(out);
            }
        }
    }

    /// Another try at what is not a person's answer, as far as it is still due.
    fn retry(&mut self, now: At, draft: Draft, then: Then, out: &mut Vec<Action>) {
        match &draft.what {
            What::PointReached { step, .. } => self.again(now, step.clone(), out),
            What::WalkEnded => self.next(now, out),
            _ => self.save(draft, then, out),
        }
    }

    fn others(&mut self, now: At, entries: &[Entry], out: &mut Vec<Action>) {
        let before = self.standing.last_seq;
        entries.iter().for_each(|entry| self.standing.apply(entry));
        if self.standing.last_seq == before {
            return;
        }
        self.refresh();
        match self.state.clone() {
            State::Saving { draft, .. } | State::Unsaved { draft, .. }
                if let Some(own) = entries.iter().find(|entry| entry.draft.key == draft.key) =>
            {
                // It was committed after all, only the answer was lost.
                self.saved(now, own, out);
            }
            State::Unsaved { draft, then } => self.retry(now, draft, then, out),
            State::Held { step, .. } => {
                if let Some(by) = self.released(&step) {
                    out.push(Action::Say(Prompt::Released { by }));
                    self.again(now, step, out);
                } else if self.is_past(&step) {
                    self.again(now, step, out);
                }
            }
            // A note may be given while a hold point waits.
            State::Dictating { step, purpose: Purpose::Note }
            | State::WordsBack { step, purpose: Purpose::Note, .. }
                if !self.is_past(&step) => {}
            State::Asking(step)
            | State::Untold(step)
            | State::ReadingBack { step, .. }
            | State::OffTarget { step, .. }
            | State::Dictating { step, .. }
            | State::WordsBack { step, .. } => self.recheck(now, step, out),
            // What others changed opens a step again.
            State::Ended(_) if self.open().next().is_some() => self.next(now, out),
            State::Idle
            | State::Saving { .. }
            | State::Paused(_)
            | State::Ended(_)
            | State::Finished => {}
        }
    }

    /// Asks anew what was changed, settled or stopped by others.
    fn recheck(&mut self, now: At, step: StepRef, out: &mut Vec<Action>) {
        let is_retold = self.tell(&step) != self.told;
        if is_retold && !self.is_past(&step) {
            out.push(Action::Say(Prompt::OthersChanged));
        }
        if is_retold || self.is_past(&step) || self.is_blocked(&step) {
            self.again(now, step, out);
        }
    }

    /// Whether somebody settled the step since it was asked here.
    fn is_settled_since(&self, step: &StepRef) -> bool {
        self.settled(step).is_some_and(|settled| self.asked_after < settled.seq)
    }

    /// Whether the step is not to be asked here any more.
    fn is_past(&self, step: &StepRef) -> bool {
        self.is_settled_since(step) || !self.plan.contains(step)
    }

    /// The step that was asked before, or the next where others settled it.
    fn again(&mut self, now: At, step: StepRef, out: &mut Vec<Action>) {
        if !self.is_past(&step) {
            return self.ask(now, step, out);
        }
        let settled = self.is_settled_since(&step);
        let prompt = if settled { Prompt::OthersLogged } else { Prompt::OthersChanged };
        out.push(Action::Say(prompt));
        self.next(now, out);
    }

    fn finish(&mut self, out: &mut Vec<Action>) {
        let title = self.setting.checklist.title.clone();
        let deviations = self.deviations();
        self.state = State::Finished;
        out.push(Action::Say(Prompt::Finished { title, deviations }));
        out.push(Action::Leave(Why::Finished));
    }

    /// Steps settled off their target or left out.
    fn deviations(&self) -> usize {
        let settled = self.plan.iter().filter_map(|step| self.settled(step));
        settled
            .filter(|s| {
                s.outcome.off_target() || matches!(s.outcome, super::Outcome::Skipped { .. })
            })
            .count()
    }

    /// The comparison of what was given with the step's target.
    fn comparison(&self, step: &StepRef, given: &Given) -> (Option<Target>, Comparison) {
        let target = self.target(step);
        let comparison = target.as_ref().map_or(Comparison::On, |target| target.compare(given));
        (target, comparison)
    }
}
