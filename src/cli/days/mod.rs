//! One simulated day: an invented installer with a voice, a noise and slips out
//! of one seed walks the install from its first step to its last, by the path a
//! headset takes, and every entry is compared with what he meant.

mod air;
mod installer;
mod mind;
mod talk;
mod tally;
mod truth;
mod voices;

use std::cell::RefCell;
use std::collections::{BTreeMap, VecDeque};
use std::path::{Path, PathBuf};
use std::rc::Rc;
use std::sync::Arc;

use anyhow::Context;
use fastrand::Rng;
use serde::{Deserialize, Serialize};

use super::demo::clock::Clock;
use super::demo::script::{Mishaps, Script};
use super::demo::{INSTALLER, facts, release};
use super::home::{Home, plain, zone};
use super::out::Out;
use super::walk::{Screen, SoundCrew, Terms, walk};
use crate::config::Config;
use crate::daemon::Left;
use crate::domain::walk::Hearing;
use crate::domain::{
    FactKind, FactName, Facts, How, Outcome, Standing, StepRef, WalkId, parse_answer,
};
use crate::files;
use crate::office::opening::{self, EXAMPLE_JOB, EXAMPLE_PROFILE, Opener};
use crate::speech::Wording;
use crate::voice::{Mouth, Recogniser};

use air::{Air, Microphone, NOISES, noise};
use installer::{Installer, Talks};
use mind::Mind;
pub(super) use tally::Tally;
use truth::{Meant, Wrong, compare};
use voices::Synthesizers;

/// The checklist that is walked.
const CHECKLIST: &str = "deck-intake";
/// Of the day's air, in degrees Fahrenheit: some days are cold and have more steps.
const LEAST_TEMPERATURE: i32 = 28;
const GREATEST_TEMPERATURE: i32 = 95;

/// How a day goes.
#[derive(Clone, Debug)]
pub(super) struct Rules {
    pub(super) snr_db: f32,
    /// Of a hundred read-backs: accepted without listening.
    pub(super) careless: u32,
    pub(super) most_steps: Option<usize>,
    /// One thing meant is changed before the comparison.
    pub(super) spoilt: bool,
}

/// What came of one day.
#[derive(Clone, Debug, Serialize, Deserialize)]
pub(super) struct Day {
    pub(super) seed: u64,
    pub(super) who: String,
    pub(super) finished: bool,
    pub(super) tally: Tally,
    pub(super) wrong: Vec<Wrong>,
    /// Where its log, its words and its sound are.
    pub(super) folder: PathBuf,
}

impl Day {
    /// Entries that nobody meant, and those that a careless yes made.
    pub(super) fn wrong(&self) -> (usize, usize) {
        let careless = self.wrong.iter().filter(|wrong| wrong.careless).count();
        (self.wrong.len() - careless, careless)
    }

    /// Each wrong entry in full.
    pub(super) fn told(&self) -> Vec<String> {
        let mut lines = Vec::new();
        for Wrong { entry, meant, careless, trail } in &self.wrong {
            let why = if *careless { " (after a careless yes)" } else { "" };
            lines.push(format!("WRONG{why}, seed {}: entry {entry}", self.seed));
            lines.push(format!("  meant: {meant}"));
            lines.extend(trail.iter().map(|line| format!("    {line}")));
            lines.push(format!("  kept in {}", self.folder.display()));
        }
        lines
    }
}

/// Walks one day in a folder of its own.
pub(super) fn day(
    config: &Config,
    recogniser: &Arc<Recogniser>,
    folder: &Path,
    seed: u64,
    rules: &Rules,
) -> anyhow::Result<Day> {
    std::fs::create_dir_all(folder)
        .with_context(|| format!("`{}` cannot be made", folder.display()))?;
    let config = Config { data: folder.to_owned(), ..config.clone() };
    let mut rng = Rng::with_seed(seed);
    let mut home = Home::open(&config)?;
    let profile = files::read_profile(EXAMPLE_PROFILE, "profile.toml")?;
    home.adopt_profile(&profile, EXAMPLE_PROFILE, "hearing")?;
    let file = files::read_job(EXAMPLE_JOB, "job.toml")?;
    let clock = Clock::yesterday(zone(&file.job)?)?;
    let mut found = facts(&home, &file)?;
    let (store, opener) = (&mut home.store, Opener { by: "hearing", how: How::File, key: None });
    opening::open_with(store, &home.functions, &file, &found, &opener, clock.now())
        .map_err(plain)?;
    let degrees = rng.i32(LEAST_TEMPERATURE..=GREATEST_TEMPERATURE);
    if let Ok(value) = parse_answer(&format!("{degrees} degF"), &FactKind::Temperature) {
        found.set(FactName { name: "air_temperature".to_owned(), row: None }, value);
    }

    let number = file.job.number;
    let synthesizers = Synthesizers::find(&config.models.with_file_name("said"))?;
    let (voice, colleague) = (synthesizers.somebody(&mut rng), synthesizers.somebody(&mut rng));
    let kind = rng.choice(NOISES).unwrap_or("hiss");
    let mut talk = Vec::new();
    for text in talk::CHATTER.iter().take(if kind == "babble" { 5 } else { 0 }) {
        talk.push(air::levelled(synthesizers.say(&synthesizers.somebody(&mut rng), text)?, 0.0));
    }
    let air = Air::new(noise(kind, &mut rng, &talk), rules.snr_db);
    let who = format!("{voice}; beside him {colleague}; {kind}; {degrees} degrees");
    let mut out = Out::file(&folder.join("words.txt"))?;
    out.line(&format!("seed {seed}: {who}; all of it synthetic and invented"))?;
    let script = script(&home, &number, &found)?;
    let units = file.job.units;
    let mut he = Installer {
        mind: Mind::new(script, rng.fork(), rules.careless),
        air: Rc::new(RefCell::new(air)),
        clock: clock.clone(),
        rng,
        synthesizers,
        voice,
        colleague,
        folder: folder.to_owned(),
        units,
        window_ms: i64::from(config.window_s) * 1_000,
        most_steps: rules.most_steps,
        tally: Tally::default(),
        steps: BTreeMap::new(),
        ledger: Vec::new(),
        trail: VecDeque::new(),
        pending: None,
        careless: false,
        touch: false,
        open_until_ms: 0,
        times: 0,
        clips: 0,
        unanswered: 0,
        calls: 0,
        chattered: 0,
        works_ms: 0,
        ours_ms: 0,
    };
    let left = loop {
        let job = home.job(&number)?;
        let left = {
            let screen = Screen::new(&mut out, Mouth::muted(), units, Wording::default());
            let microphone = Microphone(Rc::clone(&he.air));
            let ears = SoundCrew::new(screen, Arc::clone(recogniser), microphone);
            let mut crew = Talks { ears, he: &mut he, saying: None };
            let now = || clock.now();
            let terms = Terms { translated: None, hearing: Hearing::NotChecked };
            walk(
                &config,
                &mut home,
                &job,
                &WalkId::first(CHECKLIST),
                INSTALLER,
                terms,
                &mut crew,
                now,
            )?
        };
        if left != Left::Held {
            break left;
        }
        for line in release(&mut home, &number, &clock)? {
            out.line(&line)?;
        }
        let again = self::script(&home, &number, &found)?;
        he.mind.takes_up(again);
    };
    out.finish()?;
    home.store.check_chain()?;

    let mut ledger = he.ledger;
    if rules.spoilt
        && let Some(last) = ledger.last_mut()
    {
        last.meant = last.meant.take().map(Meant::spoilt);
    }
    let job = home.job(&number)?;
    let (entries, mut wrong) = compare(&job.entries, &ledger);
    wrong.extend(unsettled(&job.standing, &ledger));
    let mut tally = he.tally;
    let doings = &he.mind.doings;
    tally.entries = entries;
    tally.caught_misheard = doings.caught;
    tally.caught_chatter = doings.caught_chatter;
    tally.caught_slips = doings.caught_slips;
    tally.careless = doings.careless;
    tally.off_target = doings.off_target;
    tally.corrected = doings.corrected;
    tally.skipped = doings.skipped;
    let walked = job.standing.walks.get(&WalkId::first(CHECKLIST));
    let is_settled = |step: &StepRef| {
        let stood = walked.and_then(|walk| walk.steps.get(step));
        stood.is_some_and(|stood| stood.settled.is_some())
    };
    tally.steps = he.steps.into_iter().filter(|(at, _)| is_settled(at)).map(|(_, s)| s).collect();
    let finished = left == Left::Finished;
    Ok(Day { seed, who, finished, tally, wrong, folder: folder.to_owned() })
}

fn script(home: &Home, number: &str, found: &Facts) -> anyhow::Result<Script> {
    let file = home.job(number)?;
    let list = file.checklist(CHECKLIST).context("the job does not pin the checklist")?;
    let (list, functions) = (Arc::clone(list), Arc::clone(&home.functions));
    Ok(Script::new(file, list, functions, found.clone(), Mishaps::none()))
}

/// Steps that do not stand as they were meant last: what was corrected counts
/// by its newest entry.
fn unsettled(standing: &Standing, ledger: &[truth::Logged]) -> Vec<Wrong> {
    let mut last = BTreeMap::new();
    for meant in ledger.iter().filter_map(|logged| logged.meant.as_ref()) {
        if let Meant::Answer { step, .. } | Meant::Skip { step, .. } = meant {
            last.insert(step.clone(), meant);
        }
    }
    let steps = standing.walks.get(&WalkId::first(CHECKLIST)).map(|walk| walk.steps.iter());
    let settled = steps
        .into_iter()
        .flatten()
        .filter_map(|(at, stood)| Some((at, &stood.settled.as_ref()?.outcome)));
    settled
        .filter(|(at, outcome)| !last.get(*at).is_some_and(|meant| stands(meant, outcome)))
        .map(|(at, outcome)| Wrong {
            entry: format!("{at} stands as {outcome:?}"),
            meant: format!("{:?}", last.get(at)),
            careless: false,
            trail: Vec::new(),
        })
        .collect()
}

fn stands(meant: &Meant, outcome: &Outcome) -> bool {
    match (meant, outcome) {
        (Meant::Answer { given, reason, .. }, Outcome::Answered { given: g, reason: r, .. }) => {
            (given, reason) == (g, r)
        }
        (Meant::Skip { reason, .. }, Outcome::Skipped { reason: r }) => reason == r,
        _ => false,
    }
}
