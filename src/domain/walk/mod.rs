//! Going through a checklist on a job: closed events in, closed actions out,
//! one pure `handle`. Nothing here speaks, listens, stores or reads a clock.
//!
//! `Logged` is reachable only from `Event::Saved`, which only the store causes;
//! a step is settled only by an entry that came back saved.

mod answering;
mod asking;
mod prompt;

use std::sync::Arc;

use crate::measure::Functions;

use super::entry::{Draft, Entry, Given, Heard, How, Key, StepRef, Target, What};
use super::{At, Checklist, Comparison, Known, Meaning, Profile, Sheet, Standing, Step, Units};

pub use prompt::{Expect, ExpectAnswer, Prompt};

/// What can happen to a walk.
#[derive(Clone, Debug, PartialEq)]
pub enum Event {
    /// Somebody starts or goes on.
    Begin,
    /// Something was understood.
    Said {
        /// What.
        meaning: Meaning,
        /// What the recogniser heard, where it was spoken.
        heard: Option<Heard>,
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
}

/// What a walk wants done.
#[derive(Clone, Debug, PartialEq)]
pub enum Action {
    /// Say this.
    Say(Prompt),
    /// Listen for this, once all is said.
    Listen(Expect),
    /// Append this and report `Saved` or `NotSaved`.
    Append(Draft),
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
}

/// A walk in progress.
#[derive(Clone, Debug)]
pub struct Walk {
    setting: Setting,
    standing: Standing,
    sheet: Sheet,
    plan: Vec<StepRef>,
    state: State,
    /// How often the present question was not answered.
    tries: u32,
    /// Drafts made so far, for keys.
    drafts: u64,
    /// Until when a spoken answer counts without the call word, in ms.
    window_until_ms: Option<i64>,
}

/// What the walk waits for; each state carries only what it needs.
#[derive(Clone, Debug, PartialEq)]
enum State {
    /// `Begin`.
    Idle,
    /// An answer to this step.
    Asking(StepRef),
    /// A yes to what was read back.
    ReadingBack { step: StepRef, given: Given, heard: Option<Heard> },
    /// "Measure again" or "log it as it is".
    OffTarget { step: StepRef, given: Given, heard: Option<Heard> },
    /// Words.
    Dictating { step: StepRef, purpose: Purpose },
    /// A yes to words as they were heard.
    WordsBack { step: StepRef, purpose: Purpose, words: String, heard: Option<Heard> },
    /// The store.
    Saving { draft: Draft, then: Then },
    /// Another try at a draft of the walk's own that was not saved.
    Unsaved { draft: Draft, then: Then },
    /// A release.
    Held { step: StepRef, role: String },
    /// "Resume work".
    Paused(StepRef),
    /// Nothing more.
    Finished,
}

/// What words are dictated for.
#[derive(Clone, Debug, PartialEq)]
enum Purpose {
    /// Why this is logged off its target.
    OffTarget { given: Given, heard: Option<Heard> },
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
    /// The first open step, without a word.
    Next,
    /// Wait for the release of this step.
    Hold(StepRef),
    /// Wait for "resume work".
    Pause(StepRef),
    /// The end.
    Finish,
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
            tries: 0,
            drafts: 0,
            window_until_ms: None,
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
            | State::ReadingBack { step, .. }
            | State::OffTarget { step, .. }
            | State::Dictating { step, .. }
            | State::WordsBack { step, .. }
            | State::Held { step, .. }
            | State::Paused(step) => Some(step),
            State::Saving { draft, .. } | State::Unsaved { draft, .. } => draft.what.step(),
            State::Idle | State::Finished => None,
        }
    }

    /// Whether the walk waits for a hold point's release.
    #[must_use]
    pub fn is_held(&self) -> bool {
        matches!(self.state, State::Held { .. })
    }

    /// The only way anything happens. `now` is the one clock reading of the
    /// event.
    pub fn handle(&mut self, now: At, event: Event) -> Vec<Action> {
        let mut out = Vec::new();
        match event {
            Event::Begin => self.begin(now, &mut out),
            Event::Spoken => {
                self.window_until_ms = Some(now.ms().saturating_add(self.setting.window_ms));
            }
            Event::Saved(entry) => self.saved(now, &entry, &mut out),
            Event::NotSaved { key, why } => self.not_saved(&key, why, &mut out),
            Event::Others(entries) => self.others(now, &entries, &mut out),
            Event::Unclear if self.in_window(now) => self.unclear(now, &mut out),
            Event::Unclear => {}
            Event::Said { meaning: Meaning::CallWord, heard: Some(_) } => {
                out.push(Action::Say(Prompt::Listening));
                self.listen(&mut out);
            }
            // Speech outside the window is talk among the crew.
            Event::Said { heard: Some(_), .. } if !self.in_window(now) => {}
            Event::Said { meaning, heard } => self.said(now, meaning, heard, &mut out),
        }
        out
    }

    fn in_window(&self, now: At) -> bool {
        self.window_until_ms.is_some_and(|until| now.ms() <= until)
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
        self.standing.step(&self.setting.checklist.id, at)?.settled.as_ref()
    }

    /// Steps not settled yet, in order.
    fn open(&self) -> impl Iterator<Item = &StepRef> {
        self.plan.iter().filter(|step| self.settled(step).is_none())
    }

    fn draft(&mut self, now: At, how: How, what: What) -> Draft {
        self.drafts += 1;
        let corrects = match &what {
            What::Answered { step, .. } | What::Skipped { step, .. } => {
                self.settled(step).map(|settled| settled.seq)
            }
            _ => None,
        };
        Draft {
            job: self.setting.job.clone(),
            walk: Some(self.setting.checklist.id.clone()),
            at: now,
            by: self.setting.by.clone(),
            how,
            what,
            corrects,
            key: Key(format!("{}/{}", self.setting.session, self.drafts)),
        }
    }

    fn save(&mut self, draft: Draft, then: Then, out: &mut Vec<Action>) {
        out.push(Action::Append(draft.clone()));
        self.state = State::Saving { draft, then };
    }

    fn saved(&mut self, now: At, entry: &Entry, out: &mut Vec<Action>) {
        let State::Saving { draft, then } = &self.state else { return };
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
                self.ask(now, step, out);
            }
            Then::Ask(step) => self.ask(now, step, out),
            Then::Next => self.next(now, out),
            Then::Hold(step) => self.hold(now, step, out),
            Then::Pause(step) => {
                out.push(Action::Say(Prompt::Paused));
                self.state = State::Paused(step);
                self.listen(out);
            }
            Then::Finish => self.finish(out),
        }
    }

    fn not_saved(&mut self, key: &Key, why: String, out: &mut Vec<Action>) {
        let State::Saving { draft, then } = &self.state else { return };
        if draft.key != *key {
            return;
        }
        let (draft, then) = (draft.clone(), then.clone());
        out.push(Action::Say(Prompt::NotLogged { why }));
        match draft.what.step().filter(|_| matches!(draft.how, How::Voice(_) | How::Keys)) {
            // What a person gave is asked for again; nothing is guessed.
            Some(step) if draft.what.word() != "cautioned" => {
                let step = step.clone();
                self.state = State::Asking(step.clone());
                self.say_step(&step, out);
            }
            _ => self.state = State::Unsaved { draft, then },
        }
        self.listen(out);
    }

    fn others(&mut self, now: At, entries: &[Entry], out: &mut Vec<Action>) {
        let before = self.standing.last_seq;
        if let State::Saving { draft, .. } = &self.state
            && let Some(own) = entries.iter().find(|entry| entry.draft.key == draft.key)
        {
            // It was committed after all, only the answer was lost.
            let own = own.clone();
            let earlier = entries.iter().filter(|entry| entry.seq < own.seq);
            earlier.for_each(|entry| self.standing.apply(entry));
            self.saved(now, &own, out);
            let later = entries.iter().filter(|entry| own.seq < entry.seq);
            return later.for_each(|entry| self.standing.apply(entry));
        }
        entries.iter().for_each(|entry| self.standing.apply(entry));
        if self.standing.last_seq == before {
            return;
        }
        self.refresh();
        match self.state.clone() {
            State::Held { step, .. } => {
                if let Some(by) = self.released(&step) {
                    out.push(Action::Say(Prompt::Released { by }));
                    self.ask(now, step, out);
                }
            }
            // Another walker settled the step that is being asked.
            State::Asking(step) | State::ReadingBack { step, .. }
                if self.standing.last_seq != before && self.touched(&step, before) =>
            {
                out.push(Action::Say(Prompt::OthersLogged));
                self.next(now, out);
            }
            _ => {}
        }
    }

    fn touched(&self, step: &StepRef, after: u64) -> bool {
        self.settled(step).is_some_and(|settled| after < settled.seq)
    }

    fn finish(&mut self, out: &mut Vec<Action>) {
        let title = self.setting.checklist.title.clone();
        let settled = self.plan.iter().filter_map(|step| self.settled(step));
        let deviations = settled
            .filter(|s| {
                s.outcome.off_target() || matches!(s.outcome, super::Outcome::Skipped { .. })
            })
            .count();
        self.state = State::Finished;
        out.push(Action::Say(Prompt::Finished { title, deviations }));
        out.push(Action::Leave(Why::Finished));
    }

    /// The comparison of what was given with the step's target.
    fn comparison(&self, step: &StepRef, given: &Given) -> (Option<Target>, Comparison) {
        let target = self.target(step);
        let comparison = target.as_ref().map_or(Comparison::On, |target| target.compare(given));
        (target, comparison)
    }
}
