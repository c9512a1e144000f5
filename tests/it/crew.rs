//! A job, its log and a walk without a database: a log that commits, refuses,
//! answers late, answers twice or loses its answer after it has committed.

use std::sync::Arc;

use chalkhand::domain::walk::{
    Action, Event, Expect, ExpectAnswer, Hearing, Prompt, Setting, Walk,
};
use chalkhand::domain::{
    At, Because, Checklist, Draft, Entry, FactName, Facts, Hash, Heard, HearingCheck, How, Job,
    Key, Known, Meaning, Profile, Sheet, Standing, StepRef, Trust, Units, Verdict, WalkId, What,
    chain, plan,
};
use chalkhand::measure::{Functions, Quantity, Value};
use chalkhand::{files, roof};
use jiff::Timestamp;
use jiff::tz::TimeZone;

/// How long a spoken answer counts in these tests.
pub(crate) const WINDOW_MS: i64 = 20_000;

pub(crate) fn at(ms: i64) -> At {
    At::new(Timestamp::from_millisecond(ms).unwrap(), &TimeZone::UTC)
}

pub(crate) fn shipped(id: &str) -> Checklist {
    let name = format!("{id}.toml");
    let (_, text) = files::SHIPPED.iter().find(|(file, _)| *file == name).unwrap();
    files::read_checklist(text, &name, &roof::functions()).unwrap()
}

/// The text of the invented product's profile, which serves every shipped
/// checklist.
pub(crate) const PROFILE: &str = include_str!("../../packaging/demo-data/profile.toml");

pub(crate) fn demo_profile() -> Profile {
    files::read_profile(PROFILE, "profile.toml").unwrap()
}

/// The invented job and the facts of its file.
pub(crate) fn demo_job() -> (Job, Facts) {
    let file =
        files::read_job(include_str!("../../packaging/demo-data/job.toml"), "job.toml").unwrap();
    let lists: Vec<Checklist> = file.checklists.iter().map(|wanted| shipped(&wanted.id)).collect();
    let facts = file.facts(&lists.iter().collect::<Vec<_>>()).unwrap();
    (file.job, facts)
}

/// What the log does with the next drafts.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Store {
    /// Commits and answers.
    Commits,
    /// Does not commit and says so.
    Refuses,
    /// Commits; the answer comes when it is asked for.
    Late,
    /// Commits and answers twice.
    Twice,
    /// Commits and says it has not; its entries can be read.
    Loses,
    /// Commits and says it has not; nothing can be read for now.
    LosesBlind,
}

/// One job's log and a walk on it.
#[derive(Clone)]
pub(crate) struct World {
    pub(crate) checklist: Arc<Checklist>,
    /// Which walk of it.
    pub(crate) id: WalkId,
    pub(crate) profile: Option<Arc<Profile>>,
    pub(crate) functions: Arc<Functions>,
    pub(crate) job: String,
    pub(crate) now_ms: i64,
    pub(crate) log: Vec<Entry>,
    pub(crate) store: Store,
    pub(crate) late: Vec<Entry>,
    pub(crate) walk: Walk,
    /// Whether the walk has left.
    pub(crate) left: bool,
    /// Whether the walks go by a hearing check.
    pub(crate) hearing: Hearing,
    sessions: u32,
    keys: u64,
}

/// An event with what the walk made of it.
#[derive(Clone, Debug)]
pub(crate) struct Happened {
    pub(crate) event: Event,
    pub(crate) actions: Vec<Action>,
    /// When.
    pub(crate) ms: i64,
    /// The last entry the walk knew afterwards.
    pub(crate) seen: u64,
}

impl World {
    pub(crate) fn new(checklist: Checklist, profile: Option<Profile>, facts: &Facts) -> Self {
        let (checklist, profile) = (Arc::new(checklist), profile.map(Arc::new));
        let functions = Arc::new(roof::functions());
        let id = WalkId::first(&checklist.id);
        let mut world = Self {
            walk: Walk::new(
                setting((&checklist, &id), profile.as_ref(), &functions, 0, Hearing::NotChecked),
                Standing::default(),
            ),
            checklist,
            id,
            profile,
            functions,
            job: "EX-0001".to_owned(),
            now_ms: 1_798_000_000_000,
            log: Vec::new(),
            store: Store::Commits,
            late: Vec::new(),
            left: false,
            hearing: Hearing::NotChecked,
            sessions: 0,
            keys: 0,
        };
        for (name, value) in facts.iter() {
            world.others(None, "office", What::FactGiven(name.clone(), value.clone()));
        }
        world.restart();
        world
    }

    /// Another session goes on where the log stands.
    pub(crate) fn restart(&mut self) {
        self.sessions += 1;
        self.late.clear();
        self.left = false;
        let setting = setting(
            (&self.checklist, &self.id),
            self.profile.as_ref(),
            &self.functions,
            self.sessions,
            self.hearing,
        );
        self.walk = Walk::new(setting, Standing::of(&self.log));
    }

    pub(crate) fn now(&self) -> At {
        at(self.now_ms)
    }

    /// Commits one draft whatever anybody knows.
    pub(crate) fn commit(&mut self, draft: Draft) -> Entry {
        let previous = self.log.last().map_or(Hash::START, |entry| entry.hash);
        let seq = self.log.len() as u64 + 1;
        let (entry, _) = chain::link(draft, seq, previous).unwrap();
        self.log.push(entry.clone());
        entry
    }

    /// Somebody else's entry; the walk learns of it when it polls.
    pub(crate) fn others(&mut self, walk: Option<&str>, by: &str, what: What) -> Entry {
        self.keys += 1;
        let settled = what.step().and_then(|step| {
            let standing = Standing::of(&self.log);
            standing.step(&self.id, step)?.settled.as_ref().map(|settled| settled.seq)
        });
        self.commit(Draft {
            job: self.job.clone(),
            walk: walk.map(|id| id.parse().unwrap()),
            at: self.now(),
            by: by.to_owned(),
            how: How::Keys,
            confirmed: Vec::new(),
            what,
            corrects: settled,
            key: Key(format!("other/{}", self.keys)),
        })
    }

    /// The one who walks was checked and is trusted so far; the noise was at -60
    /// dBFS and the voice at -30.
    pub(crate) fn checked(&mut self, commands: Trust, numbers: Trust) {
        self.hearing = Hearing::Checked;
        let verdict = |trust| Verdict { trust, because: Because::Clear };
        let check = HearingCheck {
            source: "a test".to_owned(),
            noise_tenth_dbfs: -600,
            speech_tenth_dbfs: -300,
            phrases: Vec::new(),
            commands: verdict(commands),
            numbers: verdict(numbers),
        };
        let what = What::HearingChecked(Box::new(check));
        self.others(None, "Installer Example", what);
    }

    /// Releases every hold point that waits.
    pub(crate) fn release(&mut self) -> usize {
        let standing = Standing::of(&self.log);
        let Some(walk) = standing.walks.get(&self.id) else { return 0 };
        let waiting: Vec<(StepRef, String)> = walk
            .steps
            .iter()
            .filter_map(|(at, stood)| Some((at, stood.point.as_ref()?)))
            .filter(|(_, point)| point.kind.stops_work() && point.released.is_none())
            .map(|(at, point)| (at.clone(), point.role.clone()))
            .collect();
        let id = self.id.to_string();
        for (step, role) in &waiting {
            let (step, role) = (step.clone(), role.clone());
            self.others(Some(&id), "Foreman Example", What::Released { step, role });
        }
        waiting.len()
    }

    /// What the walk has not read of the log yet.
    pub(crate) fn unread(&self) -> Vec<Entry> {
        let seen = self.walk.standing().last_seq;
        self.log.iter().filter(|entry| seen < entry.seq).cloned().collect()
    }

    /// One event and all that follows from it at the log.
    pub(crate) fn event(&mut self, event: Event) -> Vec<Happened> {
        let mut happened = Vec::new();
        let mut events = std::collections::VecDeque::from([event]);
        while let Some(event) = events.pop_front() {
            assert!(happened.len() < 500, "the walk and the log go round in circles");
            let actions = self.walk.handle(self.now(), event.clone());
            for action in &actions {
                if let Action::Append(draft) = action {
                    events.extend(self.append(draft));
                }
            }
            self.left |= actions.iter().any(|action| matches!(action, Action::Leave(_)));
            let seen = self.walk.standing().last_seq;
            happened.push(Happened { event, actions, ms: self.now_ms, seen });
        }
        happened
    }

    fn append(&mut self, draft: &Draft) -> Vec<Event> {
        let saved = |entry: Entry| Event::Saved(Box::new(entry));
        let not_saved = |why: &str| Event::NotSaved { key: draft.key.clone(), why: why.to_owned() };
        if self.store == Store::Refuses {
            return vec![not_saved("the disk is full")];
        }
        if let Some(before) = self.log.iter().find(|entry| entry.draft.key == draft.key) {
            return vec![saved(before.clone())];
        }
        let of_job = self.log.last().map_or(0, |entry| entry.seq);
        if self.walk.standing().last_seq < of_job {
            let why = "somebody else logged on this job meanwhile";
            return vec![Event::Others(self.unread()), not_saved(why)];
        }
        let entry = self.commit(draft.clone());
        match self.store {
            Store::Commits | Store::Refuses => vec![saved(entry)],
            Store::Twice => vec![saved(entry.clone()), saved(entry)],
            Store::Late => {
                self.late.push(entry);
                Vec::new()
            }
            Store::Loses => {
                vec![Event::Others(self.unread()), not_saved("the log could not be read")]
            }
            Store::LosesBlind => vec![not_saved("the log could not be read")],
        }
    }

    /// The plan and what a step says, reckoned from the log alone.
    pub(crate) fn reckon<T>(&self, run: impl FnOnce(Known<'_>, &Standing) -> T) -> T {
        let standing = Standing::of(&self.log);
        let (checklist, profile) = (&self.checklist, self.profile.as_deref());
        let sheet = Sheet::compute(checklist, &standing.facts, profile, &self.functions);
        let known = Known { checklist, facts: &standing.facts, profile, sheet: &sheet };
        run(known, &standing)
    }

    /// The first step that nobody has settled.
    pub(crate) fn first_open(&self) -> Option<StepRef> {
        self.reckon(|known, standing| {
            plan::plan(known, &self.functions)
                .into_iter()
                .find(|at| standing.step(&self.id, at).is_none_or(|stood| stood.settled.is_none()))
        })
    }

    /// Something that makes sense now, by the walk's own word; `choice` picks
    /// among several.
    pub(crate) fn sensible(&self, choice: u32) -> Meaning {
        sensible(&self.walk.expect(), choice)
    }
}

fn setting(
    (checklist, id): (&Arc<Checklist>, &WalkId),
    profile: Option<&Arc<Profile>>,
    functions: &Arc<Functions>,
    session: u32,
    hearing: Hearing,
) -> Setting {
    Setting {
        checklist: Arc::clone(checklist),
        walk: id.clone(),
        profile: profile.cloned(),
        functions: Arc::clone(functions),
        job: "EX-0001".to_owned(),
        by: "Installer Example".to_owned(),
        units: Units::Us,
        session: format!("session-{session}"),
        window_ms: WINDOW_MS,
        hearing,
    }
}

pub(crate) fn sensible(expect: &Expect, choice: u32) -> Meaning {
    let has = |meaning: &Meaning| expect.commands.contains(meaning);
    for command in [Meaning::StepDone, Meaning::Yes, Meaning::LogAsIs] {
        if has(&command) {
            return command;
        }
    }
    match &expect.answer {
        ExpectAnswer::Length { from, to, .. } => {
            let span = to.minus(*from).unwrap().floor().max(0);
            let by = i64::try_from(i128::from(choice) % (span + 1)).unwrap();
            let length = from.plus(chalkhand::measure::Ratio::int(by)).unwrap();
            Meaning::Length(length)
        }
        ExpectAnswer::Count { from, to, .. } => {
            // Rows by the hundred would make a walk long and teach nothing.
            Meaning::Count(from + choice % (to.saturating_sub(*from).min(4) + 1))
        }
        ExpectAnswer::Choice(options) => Meaning::Choice(choice as usize % options.len()),
        ExpectAnswer::Words => Meaning::Words(format!("words number {choice}")),
        // Nothing to confirm: a pause, or a step that cannot be told.
        ExpectAnswer::None if has(&Meaning::Resume) && !has(&Meaning::Skip) => Meaning::Resume,
        ExpectAnswer::None if has(&Meaning::Skip) => Meaning::Skip,
        ExpectAnswer::None => Meaning::Repeat,
    }
}

pub(crate) fn heard(words: &str) -> How {
    let sound = Hash::of(words.as_bytes());
    let words = words.to_owned();
    How::Voice(Heard { words, b_milli: -200, a_milli: -50, m_milli: 8_000, sound })
}

pub(crate) fn fact(name: &str, row: Option<u32>) -> FactName {
    FactName { name: name.to_owned(), row }
}

pub(crate) fn count(n: i64) -> Value {
    Value::Quantity(Quantity::count(n))
}

/// What was said in these actions.
pub(crate) fn said(actions: &[Action]) -> impl Iterator<Item = &Prompt> {
    actions.iter().filter_map(|action| match action {
        Action::Say(prompt) => Some(prompt),
        _ => None,
    })
}
