//! The invented installer as a crew: what he wants to say becomes sound, with
//! mumbles, talk and lost links by stated rates, and goes the way of a headset.

mod slips;

use std::cell::RefCell;
use std::collections::{BTreeMap, VecDeque};
use std::path::PathBuf;
use std::rc::Rc;

use fastrand::Rng;

use super::super::demo::clock::Clock;
use super::super::walk::{CrewError, SoundCrew};
use super::air::{Air, Microphone, levelled, samples};
use super::mind::{Line, Mind};
use super::talk::CHATTER;
use super::tally::{StepTally, Tally};
use super::truth::{Logged, Meant};
use super::voices::{Synthesizers, Voice};
use crate::daemon::{Crew, Input};
use crate::domain::walk::{Expect, Prompt};
use crate::domain::{How, Meaning, StepRef, Units};
use crate::speech::{self, Wording};
use crate::voice::VoiceError;

/// Of a hundred things he says.
const MUMBLED: u32 = 6;
const LOST: u32 = 2;
/// Of a hundred times he is listened to: talk, or nothing for a while.
const CHATTER_ASKED: u32 = 10;
const QUIET: u32 = 3;
/// Of a hundred steps: talk while he works.
const CHATTER_AT_WORK: u32 = 25;
/// Of a hundred late answers: the call word is forgotten.
const FORGETS: u32 = 10;
/// Call words that nothing answered before he goes to the screen.
const CALLS: u32 = 3;
/// The daemon's own pace, in words a minute.
const OUR_PACE: u64 = 165;
/// Nobody is asked so often in one walk.
const MOST: u32 = 1_500;
/// What was said and heard before a "Logged" that is kept.
const TRAIL: usize = 12;

/// What outlives one taking up of the walk.
pub(super) struct Installer {
    pub(super) mind: Mind,
    pub(super) air: Rc<RefCell<Air>>,
    pub(super) clock: Clock,
    pub(super) rng: Rng,
    pub(super) synthesizers: Synthesizers,
    pub(super) voice: Voice,
    pub(super) colleague: Voice,
    pub(super) folder: PathBuf,
    pub(super) units: Units,
    pub(super) window_ms: i64,
    /// He leaves after so many steps.
    pub(super) most_steps: Option<usize>,
    pub(super) tally: Tally,
    pub(super) steps: BTreeMap<StepRef, StepTally>,
    pub(super) ledger: Vec<Logged>,
    pub(super) trail: VecDeque<String>,
    pub(super) pending: Option<Meant>,
    pub(super) careless: bool,
    pub(super) touch: bool,
    /// Until when an answer counts without the call word, in ms.
    pub(super) open_until_ms: i64,
    pub(super) times: u32,
    pub(super) clips: u32,
    /// Lines of his own that nothing answered, and call words among them.
    pub(super) unanswered: u32,
    pub(super) calls: u32,
    pub(super) chattered: u32,
    pub(super) works_ms: u64,
    /// Our talk that belongs to the next question, in ms.
    pub(super) ours_ms: u64,
}

/// One session of his at the daemon.
pub(super) struct Talks<'a, 'b> {
    pub(super) ears: SoundCrew<'a, Microphone>,
    pub(super) he: &'b mut Installer,
    pub(super) saying: Option<Saying>,
}

/// What is in the air.
pub(super) struct Saying {
    /// None for what is not for the daemon.
    meaning: Option<Meaning>,
    was_heard: bool,
    lost_ms: u64,
}

impl Crew for Talks<'_, '_> {
    type Error = CrewError;

    fn say(&mut self, prompt: &Prompt) -> Result<(), CrewError> {
        self.he.hears(prompt);
        self.ears.say(prompt)
    }

    fn listen(&mut self, expect: &Expect) -> Result<Input, CrewError> {
        self.he.times += 1;
        let he = &mut *self.he;
        if MOST < he.times || he.most_steps.is_some_and(|most| most < he.mind.steps()) {
            return Ok(Input::Gone);
        }
        if he.air.borrow().is_talking() {
            return self.hear(expect);
        }
        self.saying = None;
        if he.touch {
            let Some(line) = he.mind.line(expect) else { return Ok(Input::Gone) };
            return self.types(line);
        }
        if let Some(chatter) = he.works() {
            return if chatter { self.chatters(expect) } else { self.hear(expect) };
        }
        if he.chattered < 2 && he.of_hundred(CHATTER_ASKED) {
            return self.chatters(expect);
        }
        if he.of_hundred(QUIET) {
            return self.hear(expect);
        }
        let late = he.open_until_ms < he.clock.now().ms();
        let forgets = late && he.of_hundred(FORGETS);
        if (late && !forgets) || 2 <= he.unanswered {
            he.calls += 1;
            if he.calls <= CALLS {
                return self.tells(Line::of(Meaning::CallWord), expect);
            }
            he.touch = true;
        }
        let Some(line) = he.mind.line(expect) else { return Ok(Input::Gone) };
        if line.typed || he.touch {
            return self.types(line);
        }
        if forgets {
            he.has_mishap();
        }
        self.tells(line, expect)
    }
}

impl Talks<'_, '_> {
    fn types(&mut self, line: Line) -> Result<Input, CrewError> {
        self.ears.note(&format!("  types  {}", line.words))?;
        let he = &mut *self.he;
        he.note(format!("typed \"{}\"", line.words));
        he.tally.typed += 1;
        if let Some(step) = he.step() {
            step.touched = true;
        }
        (he.pending, he.careless) = (line.grant, line.careless);
        Ok(Input::Said { meaning: line.meaning, how: How::Keys })
    }

    fn chatters(&mut self, expect: &Expect) -> Result<Input, CrewError> {
        let he = &mut *self.he;
        he.chattered += 1;
        he.tally.chatter += 1;
        let text = he.rng.choice(CHATTER).unwrap_or_default();
        let (voice, gain_db) =
            if he.rng.bool() { (he.voice.clone(), 0.0) } else { (he.colleague.clone(), -6.0) };
        let speech = levelled(he.says(&voice, text)?, gain_db);
        self.ears.note(&format!("  talk   \"{text}\""))?;
        self.begin(&format!("{text}\""), None, &speech, None);
        self.hear(expect)
    }

    fn tells(&mut self, line: Line, expect: &Expect) -> Result<Input, CrewError> {
        let he = &mut *self.he;
        let voice = he.voice.clone();
        let mut speech = levelled(he.says(&voice, &line.words)?, 0.0);
        let his_ms = u64::try_from(speech.len() / samples(1)).unwrap_or(0);
        if let Some(step) = he.step() {
            step.his_ms += his_ms;
        }
        let mut how = String::new();
        if he.of_hundred(MUMBLED) {
            how = he.mumbles(&mut speech);
        }
        let link_ms = if he.of_hundred(LOST) { he.loses(&mut speech) } else { None };
        if link_ms.is_some() {
            how.push_str(", link lost");
        }
        he.tally.said += 1;
        (he.pending, he.careless) = (line.grant, line.careless);
        let words = line.words;
        self.ears.note(&format!("  crew   \"{words}\"{how}"))?;
        self.begin(&format!("{words}\"{how}"), Some(line.meaning), &speech, link_ms);
        self.hear(expect)
    }

    fn begin(
        &mut self,
        words: &str,
        meaning: Option<Meaning>,
        speech: &[f32],
        link_ms: Option<usize>,
    ) {
        let he = &mut *self.he;
        if meaning.is_none() {
            // Whatever is logged now is not what he wanted.
            (he.pending, he.careless) = (None, false);
        }
        let pause_ms = he.rng.usize(300..1_200);
        he.mind.chattered = meaning.is_none();
        let mut air = he.air.borrow_mut();
        air.say(pause_ms, speech);
        if let Some(ms) = link_ms {
            air.lose_link(ms);
        }
        drop(air);
        he.clips += 1;
        let whose = if meaning.is_some() { "said" } else { "talk" };
        he.note(format!("{:04}.wav {whose} \"{words}", he.clips));
        let lost_ms = if link_ms.is_some() { 3_000 } else { 0 };
        self.saying = Some(Saying { meaning, was_heard: false, lost_ms });
    }

    /// Whatever is in the air goes the way of the headset.
    fn hear(&mut self, expect: &Expect) -> Result<Input, CrewError> {
        let heard_ms = self.ears.heard_ms();
        let before_ms = heard_ms.get();
        let input = self.ears.listen(expect)?;
        let he = &mut *self.he;
        he.clock.pass_ms(heard_ms.get().saturating_sub(before_ms));
        let Some(saying) = &mut self.saying else {
            if input != Input::Nothing {
                he.tally.noises += 1;
                he.mind.chattered = true;
                (he.pending, he.careless) = (None, false);
                he.took(None, &input);
            }
            return Ok(input);
        };
        he.clock.pass_ms(std::mem::take(&mut saying.lost_ms));
        he.air.borrow().write(&he.folder.join(format!("{:04}.wav", he.clips)))?;
        let is_first = !std::mem::replace(&mut saying.was_heard, true);
        let meaning = saying.meaning.clone();
        let is_over = !he.air.borrow().is_talking();
        if is_over {
            self.saying = None;
        }
        he.took(meaning.as_ref(), &input);
        if is_first && let Some(meaning) = &meaning {
            he.judges(meaning, &input);
        }
        Ok(input)
    }
}

impl Installer {
    fn of_hundred(&mut self, rate: u32) -> bool {
        self.rng.u32(0..100) < rate
    }

    fn step(&mut self) -> Option<&mut StepTally> {
        let step = self.mind.step.clone()?;
        Some(self.steps.entry(step).or_default())
    }

    fn has_mishap(&mut self) {
        if let Some(step) = self.step() {
            step.mishap = true;
        }
    }

    fn note(&mut self, line: String) {
        if TRAIL <= self.trail.len() {
            self.trail.pop_front();
        }
        self.trail.push_back(line);
    }

    fn says(&self, voice: &Voice, text: &str) -> Result<Vec<f32>, VoiceError> {
        self.synthesizers.say(voice, text).map_err(|why| VoiceError::Speech(format!("{why:#}")))
    }

    fn hears(&mut self, prompt: &Prompt) {
        let spoken = speech::line(prompt, self.units, &Wording::default()).spoken;
        let words = u64::try_from(spoken.split_whitespace().count()).unwrap_or(0);
        let ms = words * 60_000 / OUR_PACE;
        self.clock.pass_ms(ms);
        self.ours_ms += ms;
        self.note(format!("it said \"{spoken}\""));
        let before = self.mind.step.clone();
        self.mind.hears(prompt);
        let asks = matches!(
            prompt,
            Prompt::Step { .. }
                | Prompt::ReadBack { .. }
                | Prompt::OffTarget { .. }
                | Prompt::AskReason
                | Prompt::AskSkipReason
                | Prompt::SayNote
                | Prompt::WordsBack { .. }
                | Prompt::Reworded { .. }
                | Prompt::UseTouch { .. }
        );
        let planned = self.mind.has_mishap();
        let ours_ms = if asks { std::mem::take(&mut self.ours_ms) } else { 0 };
        if let Some(step) = self.step() {
            step.questions += u32::from(asks);
            step.our_ms += ours_ms;
            step.mishap |= planned;
        }
        if self.mind.step != before || matches!(prompt, Prompt::Paused) {
            let pause_s = if self.mind.is_paused() { 300 } else { self.mind.works_s() };
            self.works_ms = u64::from(pause_s) * 1_000;
            self.chattered = 0;
        }
        match prompt {
            Prompt::Logged => {
                let trail = self.trail.iter().cloned().collect();
                let (meant, careless) = (self.pending.take(), std::mem::take(&mut self.careless));
                self.ledger.push(Logged { meant, careless, trail });
            }
            Prompt::NotLogged { .. } => self.pending = None,
            Prompt::UseTouch { .. } => self.touch = true,
            Prompt::Held { .. } => self.tally.holds += 1,
            _ if asks => self.touch = false,
            _ => {}
        }
        (self.unanswered, self.calls) = (0, 0);
        self.open_until_ms = self.clock.now().ms().saturating_add(self.window_ms);
    }

    /// Works on; whether there is talk or quiet in between, None when it is time
    /// to answer.
    fn works(&mut self) -> Option<bool> {
        let left_ms = std::mem::take(&mut self.works_ms);
        if left_ms == 0 {
            let ms = self.rng.u64(500..3_000);
            self.clock.pass_ms(ms);
            return None;
        }
        let talks = self.of_hundred(CHATTER_AT_WORK);
        let rests = !talks && self.of_hundred(QUIET);
        let now_ms = if talks || rests { self.rng.u64(0..left_ms) } else { left_ms };
        self.clock.pass_ms(now_ms);
        self.works_ms = left_ms - now_ms;
        (talks || rests).then_some(talks)
    }
}
