//! How a walk stands, for a screen: the present step in full, what is asked, what
//! may be answered by hand. Words for it are chosen elsewhere.

use super::super::entry::StepRef;
use super::super::{At, Hash, Meaning};
use super::{Purpose, State, Told, Walk};

/// What a walk waits for.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Asks {
    /// Nothing: it has not begun, or something is being saved.
    Nothing,
    /// An answer to the step.
    Step,
    /// Facts without which the step cannot be told.
    Untold,
    /// A yes to what was read back.
    ReadBack,
    /// "Measure again" or "log it as it is".
    OffTarget,
    /// Words: why it is logged off its target.
    Reason,
    /// Words: why the step is left out.
    SkipReason,
    /// Words: a note.
    Note,
    /// A yes to words.
    WordsBack,
    /// Another try at what was not saved.
    Unsaved,
    /// A release.
    Held {
        /// By whom.
        role: String,
        /// Since when.
        since: Option<At>,
    },
    /// "Resume work".
    Paused,
    /// Nothing more: every step is settled. The last one can be corrected.
    Ended,
}

impl Asks {
    /// A word that names it.
    #[must_use]
    pub fn word(&self) -> &'static str {
        match self {
            Self::Nothing => "nothing",
            Self::Step => "step",
            Self::Untold => "untold",
            Self::ReadBack => "read-back",
            Self::OffTarget => "off-target",
            Self::Reason => "reason",
            Self::SkipReason => "skip-reason",
            Self::Note => "note",
            Self::WordsBack => "words-back",
            Self::Unsaved => "unsaved",
            Self::Held { .. } => "held",
            Self::Paused => "paused",
            Self::Ended => "ended",
        }
    }
}

/// The present step.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct ViewStep {
    /// Which.
    pub at: StepRef,
    /// Its place, counted from 1.
    pub number: usize,
    /// Its name, with the row where it repeats.
    pub title: String,
    /// What to do; none where it cannot be told.
    pub text: Option<String>,
    /// Its cautions.
    pub cautions: Vec<String>,
    /// Why it matters; may be empty.
    pub why: String,
    /// Words to find it by.
    pub tags: Vec<String>,
    /// Photos it still wants.
    pub photos_left: u32,
    /// The next open step's name.
    pub next: Option<String>,
}

/// The entry that settled a step last.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct LastLogged {
    /// The entry.
    pub seq: u64,
    /// When.
    pub at: At,
    /// Who.
    pub by: String,
    /// The step's name.
    pub title: String,
}

/// How a walk stands.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct View {
    /// What it waits for.
    pub asks: Asks,
    /// Names exactly what is asked. The same question, put again, has the same
    /// one; another value read back, another text, another settling has another.
    pub question: String,
    /// The step it is about.
    pub step: Option<ViewStep>,
    /// Steps in all.
    pub of: usize,
    /// Steps not settled yet.
    pub open: usize,
    /// Steps settled off their target or left out.
    pub deviations: usize,
    /// What was logged last in this walk.
    pub last: Option<LastLogged>,
    /// Commands that make sense by hand, the answer itself first.
    pub commands: Vec<Meaning>,
}

impl Walk {
    /// How it stands.
    #[must_use]
    pub fn view(&self) -> View {
        let asks = self.asks();
        let at = self.current();
        View {
            question: self.question(&asks),
            step: at.map(|at| self.view_step(at)),
            of: self.plan.len(),
            open: self.open().count(),
            deviations: self.deviations(),
            last: self.last_logged(),
            commands: self.by_hand(),
            asks,
        }
    }

    fn asks(&self) -> Asks {
        match &self.state {
            State::Idle | State::Saving { .. } => Asks::Nothing,
            State::Asking(_) | State::Dictating { purpose: Purpose::Answer, .. } => Asks::Step,
            State::Untold(_) => Asks::Untold,
            State::ReadingBack { .. } => Asks::ReadBack,
            State::OffTarget { .. } => Asks::OffTarget,
            State::Dictating { purpose: Purpose::OffTarget { .. }, .. } => Asks::Reason,
            State::Dictating { purpose: Purpose::Skip, .. } => Asks::SkipReason,
            State::Dictating { purpose: Purpose::Note, .. } => Asks::Note,
            State::WordsBack { .. } => Asks::WordsBack,
            State::Unsaved { .. } => Asks::Unsaved,
            State::Held { step, role } => Asks::Held {
                role: role.clone(),
                since: self
                    .standing
                    .step(&self.setting.walk, step)
                    .and_then(|stood| Some(stood.point.as_ref()?.reached)),
            },
            State::Paused(_) => Asks::Paused,
            State::Ended(_) | State::Finished => Asks::Ended,
        }
    }

    /// What was given and is not settled yet belongs to the question, and so does
    /// how the step was settled before: a yes to one value is none to another, and
    /// "step done" before a correction is none to it.
    fn question(&self, asks: &Asks) -> String {
        let at = match &self.state {
            State::Ended(last) => Some(last),
            _ => self.current(),
        };
        let step = at.map(StepRef::to_string).unwrap_or_default();
        let settled = at.and_then(|at| self.settled(at)).map_or(0, |settled| settled.seq);
        let given = match &self.state {
            State::ReadingBack { given, .. } | State::OffTarget { given, .. } => {
                format!("{given:?}")
            }
            State::Dictating { purpose, .. } => purpose_text(purpose),
            State::WordsBack { purpose, words, .. } => {
                format!("{}/{words}", purpose_text(purpose))
            }
            State::Unsaved { draft, .. } => draft.key.0.clone(),
            _ => String::new(),
        };
        let told = match &self.told {
            Ok(Told { text, target }) => format!("{text}/{target:?}"),
            Err(missing) => missing.join("/"),
        };
        let walk = &self.setting.walk;
        let all = format!("{}/{walk}/{given}/{told}/{settled}", self.setting.job);
        format!("{}:{step}:{}", asks.word(), Hash::of(all.as_bytes()).short())
    }

    fn view_step(&self, at: &StepRef) -> ViewStep {
        let step = self.step(at);
        let number = self.number(at);
        let after = self.plan.iter().skip(number).find(|step| self.settled(step).is_none());
        ViewStep {
            at: at.clone(),
            number,
            title: self.title(at),
            text: self.tell(at).ok().map(|told| told.text),
            cautions: self.cautions(at),
            why: step.map(|step| step.why.clone()).unwrap_or_default(),
            tags: step.map(|step| step.tags.clone()).unwrap_or_default(),
            photos_left: self.photos_left(at),
            next: after.map(|next| self.title(next)),
        }
    }

    fn last_logged(&self) -> Option<LastLogged> {
        let stood = self.standing.walks.get(&self.setting.walk)?;
        // Not the last step in the plan: the last entry.
        let settled =
            stood.steps.iter().filter_map(|(at, step)| Some((at, step.settled.as_ref()?)));
        let (at, settled) = settled.max_by_key(|(_, settled)| settled.seq)?;
        Some(LastLogged {
            seq: settled.seq,
            at: settled.at,
            by: settled.by.clone(),
            title: self.title(at),
        })
    }

    fn by_hand(&self) -> Vec<Meaning> {
        use Meaning as M;
        match &self.state {
            State::Dictating { purpose: Purpose::Answer, .. } => {
                vec![M::Back, M::Pause, M::TakeNote, M::PhotoTaken, M::WasWrong, M::Skip]
            }
            State::Dictating { .. } => vec![M::Back, M::Pause],
            State::Unsaved { .. } => vec![M::Repeat],
            _ => self.expect().commands,
        }
    }
}

fn purpose_text(purpose: &Purpose) -> String {
    match purpose {
        Purpose::OffTarget { given, .. } => format!("reason/{given:?}"),
        Purpose::Skip => "skip".to_owned(),
        Purpose::Note => "note".to_owned(),
        Purpose::Answer => "answer".to_owned(),
    }
}
