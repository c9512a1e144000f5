//! The crew at a page: what a walk says becomes what is shown, whole; an answer
//! counts where it answers exactly what is asked. No HTTP here.

use std::collections::VecDeque;
use std::convert::Infallible;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, AtomicU32, Ordering};
use std::sync::mpsc::{Receiver, RecvTimeoutError};
use std::time::Duration;

use tokio::sync::{oneshot, watch};

use super::headset::{Playing, Worn};
use super::page_voice::{LOOK_PLAYED, PageVoice};
use super::{Crew, Input};
use crate::domain::walk::{Asks, Expect, ExpectAnswer, Prompt, View, ViewStep, Walk};
use crate::domain::{Bound, Clip, Draft, How, Meaning, Units, shown};
use crate::measure::{Quantity, Ratio, Value};
use crate::speech::{self, Wording};
use crate::web::{
    Answer, Chalk, Command, Field, Held, Reply, Sent, Shown, ShownEar, ShownLogged, ShownStep,
};

/// How long to wait before looking whether others have logged.
const LOOK_AGAIN: Duration = Duration::from_millis(200);
/// How long it listens at a time before the same, in milliseconds.
const LISTENED_MS: u64 = 500;
/// Looks without anybody at a page after which a walk is left: ten minutes.
const MOST_IDLE: u32 = 3_000;
/// The same where nothing is left to do.
const MOST_IDLE_ENDED: u32 = 150;
/// Answers remembered, so that one sent twice is one answer.
const REMEMBERED: usize = 200;
/// Sentences shown beside the question; older ones make room.
const MOST_SAID: usize = 12;
/// As long as a typed answer may be, in bytes.
const LONGEST: usize = 2_000;

/// What stays the same of a walk.
#[derive(Clone, Debug)]
pub(super) struct Heading {
    pub(super) job: String,
    pub(super) address: String,
    pub(super) checklist: String,
    pub(super) nth: u32,
    pub(super) untranslated: bool,
}

/// Told from outside: whether anybody looks, and whether to stop.
#[derive(Clone, Debug, Default)]
pub(super) struct Signs {
    /// Looks since somebody was at a page.
    pub(super) idle: Arc<AtomicU32>,
    pub(super) stop: Arc<AtomicBool>,
}

pub(super) struct PageCrew {
    heading: Heading,
    voice: PageVoice,
    /// An answer that came while something was said or heard.
    waiting: Option<Sent>,
    wording: Wording,
    units: Units,
    shown: watch::Sender<Option<Arc<Shown>>>,
    answers: Receiver<Sent>,
    signs: Signs,
    view: Option<View>,
    said: Vec<String>,
    ask: Option<String>,
    /// Nothing is told until the next question.
    quiet: bool,
    /// Whether anything was asked since it was taken up.
    listened: bool,
    pending: Option<(String, oneshot::Sender<Reply>)>,
    /// What was said of an answer that the log refused.
    refused: Option<String>,
    known: VecDeque<String>,
}

impl PageCrew {
    pub(super) fn new(
        heading: Heading,
        (wording, units): (Wording, Units),
        voice: PageVoice,
        shown: watch::Sender<Option<Arc<Shown>>>,
        answers: Receiver<Sent>,
        signs: Signs,
    ) -> Self {
        Self {
            heading,
            voice,
            waiting: None,
            wording,
            units,
            shown,
            answers,
            signs,
            view: None,
            said: Vec::new(),
            ask: None,
            quiet: false,
            listened: false,
            pending: None,
            refused: None,
            known: VecDeque::new(),
        }
    }

    /// The last step is settled: whether the walk is taken up once more, so that
    /// this step can be corrected. That is not told.
    pub(super) fn stays(&mut self) -> bool {
        // A walk without a question would be over again at once.
        let asked = std::mem::take(&mut self.listened);
        self.quiet = true;
        if asked && !self.leaves() {
            return true;
        }
        self.publish(&Expect::default());
        self.settle();
        false
    }

    /// Whether the walk is to be left.
    pub(super) fn leaves(&self) -> bool {
        let ended = self.view.as_ref().is_some_and(|view| view.asks == Asks::Ended);
        let most = if ended { MOST_IDLE_ENDED } else { MOST_IDLE };
        self.signs.stop.load(Ordering::Relaxed) || most < self.signs.idle.load(Ordering::Relaxed)
    }

    fn publish(&self, expect: &Expect) {
        let Some(view) = &self.view else { return };
        let mut next = self.shown_now(view, expect);
        self.shown.send_if_modified(|shown| {
            let before = shown.as_ref().map_or(0, |shown| shown.version);
            next.version = before;
            if shown.as_deref() == Some(&next) {
                return false;
            }
            next.version = before.saturating_add(1);
            *shown = Some(Arc::new(next));
            true
        });
    }

    fn shown_now(&self, view: &View, expect: &Expect) -> Shown {
        let Heading { job, address, checklist, nth, untranslated } = self.heading.clone();
        let held = match &view.asks {
            Asks::Held { role, since } => {
                let since = since.map(|at| format!("{} {}", at.date(), at.clock()));
                Some(Held { role: role.clone(), since: since.unwrap_or_default() })
            }
            _ => None,
        };
        Shown {
            version: 0,
            question: view.question.clone(),
            asks: view.asks.word(),
            job,
            address,
            checklist,
            nth,
            untranslated,
            step: view.step.as_ref().map(step),
            of: view.of,
            open: view.open,
            ask: self.ask.clone(),
            said: self.said.clone(),
            commands: self.commands(view),
            answer: self.field(&expect.answer),
            held,
            ear: self.voice.shown(),
            paused: view.asks == Asks::Paused,
            finished: (view.asks == Asks::Ended).then_some(view.deviations),
            logged: view.last.as_ref().map(|last| ShownLogged {
                seq: last.seq,
                at: last.at.clock(),
                by: last.by.clone(),
                title: last.title.clone(),
            }),
        }
    }

    /// What the screen shows all the time needs no button.
    fn commands(&self, view: &View) -> Vec<Command> {
        let photos = view.step.as_ref().is_some_and(|step| 0 < step.photos_left);
        let offered = view.commands.iter().filter(|command| match command {
            Meaning::WhereAreWe | Meaning::ReadCaution | Meaning::ReadReason => false,
            Meaning::CallWord => false,
            Meaning::Repeat => view.asks == Asks::Unsaved,
            Meaning::PhotoTaken => photos,
            Meaning::WasWrong => view.last.is_some(),
            _ => true,
        });
        offered
            .map(|command| Command {
                meaning: command.word(),
                words: self.wording.phrase(command).to_owned(),
            })
            .collect()
    }

    fn field(&self, answer: &ExpectAnswer) -> Field {
        match answer {
            ExpectAnswer::None => Field::None,
            ExpectAnswer::Choice(options) => {
                let options = options.iter().map(|option| self.wording.choice(option).to_owned());
                Field::Choice { options: options.collect() }
            }
            ExpectAnswer::Length { from, to, step } => {
                let show = |inches: Ratio| {
                    let value = Value::Quantity(Quantity::inches(inches));
                    shown::show_value(&value, Bound::Mark, Ratio::SIXTEENTH, self.units)
                };
                Field::Length {
                    from: show(*from),
                    to: show(*to),
                    fractions: *step < Ratio::ONE,
                    feet: Ratio::int(24) <= *to,
                    metric: self.units == Units::Metric,
                }
            }
            ExpectAnswer::Count { from, to, unit } => {
                let unit = self.wording.asked_in(unit).to_owned();
                Field::Count { from: *from, to: *to, unit }
            }
            ExpectAnswer::Words => Field::Words,
        }
    }

    /// What an answer means here and now.
    fn meaning(&self, answer: &Answer, expect: &Expect) -> Result<Meaning, Reply> {
        let view = self.view.as_ref().ok_or(Reply::Changed)?;
        if answer.question != view.question {
            return Err(Reply::Changed);
        }
        let offered = view.commands.iter().find(|command| command.word() == answer.meaning);
        if let Some(command) = offered {
            return Ok(command.clone());
        }
        let text = answer.value.trim();
        if LONGEST < text.len() {
            return Err(Reply::TooLong);
        }
        match (answer.meaning.as_str(), &expect.answer) {
            ("choice", ExpectAnswer::Choice(options)) => {
                let place = text.parse().ok().filter(|place| *place < options.len());
                place.map(Meaning::Choice).ok_or(Reply::NoAnswer)
            }
            ("length", ExpectAnswer::Length { .. })
            | ("count", ExpectAnswer::Count { .. })
            | ("words", ExpectAnswer::Words)
            | ("millimetres", ExpectAnswer::Length { .. })
                if text.is_empty() =>
            {
                Err(Reply::Empty)
            }
            ("millimetres", ExpectAnswer::Length { .. }) => {
                let bare = text.chars().all(|c| c.is_ascii_digit() || c == '.' || c == ',');
                let text = if bare { format!("{text} mm") } else { text.to_owned() };
                Ok(Meaning::Words(text))
            }
            ("length", ExpectAnswer::Length { .. })
            | ("count", ExpectAnswer::Count { .. })
            | ("words", ExpectAnswer::Words) => Ok(Meaning::Words(text.to_owned())),
            _ => Err(Reply::NoAnswer),
        }
    }

    /// All that followed from the last answer is said and saved.
    fn settle(&mut self) {
        let refused = self.refused.take();
        let Some((id, reply)) = self.pending.take() else { return };
        let became = match refused {
            Some(why) => Reply::NotLogged(why),
            None => {
                self.known.push_back(id);
                if REMEMBERED < self.known.len() {
                    self.known.pop_front();
                }
                Reply::Taken
            }
        };
        // Whoever asked may be gone.
        let _ = reply.send(became);
    }
}

fn step(step: &ViewStep) -> ShownStep {
    let tagged = |wanted: &str| step.tags.iter().any(|tag| tag == wanted);
    let chalk = match (tagged("cutting") || tagged("cut"), tagged("layout")) {
        (true, _) => Some(Chalk::Cut),
        (false, true) => Some(Chalk::Layout),
        (false, false) => None,
    };
    ShownStep {
        at: step.at.to_string(),
        number: step.number,
        title: step.title.clone(),
        text: step.text.clone(),
        cautions: step.cautions.clone(),
        why: step.why.clone(),
        chalk,
        photos_left: step.photos_left,
        next: step.next.clone(),
    }
}

impl Crew for PageCrew {
    type Error = Infallible;

    fn say(&mut self, prompt: &Prompt) -> Result<(), Infallible> {
        let line = speech::line(prompt, self.units, &self.wording).shown;
        if let Prompt::NotLogged { .. } = prompt {
            self.refused = Some(line.clone());
        }
        if self.quiet {
            return Ok(());
        }
        self.voice.say(prompt);
        match prompt {
            // The screen shows the step itself, its cautions and its photos.
            Prompt::Step { .. } => self.ask = None,
            Prompt::Photos { .. } | Prompt::Cautions { .. } | Prompt::NoCautions => {}
            Prompt::ReadBack { .. }
            | Prompt::OffTarget { .. }
            | Prompt::WordsBack { .. }
            | Prompt::AskReason
            | Prompt::AskSkipReason
            | Prompt::SayNote
            | Prompt::Held { .. }
            | Prompt::Paused
            | Prompt::Missing { .. }
            | Prompt::TryAgain
            | Prompt::Ended
            | Prompt::Finished { .. } => self.ask = Some(line),
            _ => {
                self.said.push(line);
                if MOST_SAID < self.said.len() {
                    self.said.remove(0);
                }
            }
        }
        Ok(())
    }

    fn look(&mut self, walk: &Walk, expect: &Expect) {
        self.view = Some(walk.view());
        self.voice.look(walk.standing());
        // What is over is told once it is known whether it is taken up once more: a
        // page that is read in between would have nothing to touch.
        if *expect != Expect::default() {
            self.publish(expect);
            self.settle();
        }
    }

    fn spoken(&mut self, expect: &Expect) {
        loop {
            match self.voice.playing() {
                Playing::Done => return,
                Playing::Lost => return self.voice.lost(),
                Playing::Still if self.signs.stop.load(Ordering::Relaxed) => return,
                Playing::Still => {}
            }
            if self.waiting.is_none() {
                match self.answers.recv_timeout(LOOK_PLAYED) {
                    Ok(sent) => self.waiting = self.refused_at_once(sent, expect),
                    Err(RecvTimeoutError::Timeout) => {}
                    Err(RecvTimeoutError::Disconnected) => return,
                }
            }
            if self.waiting.is_none() {
                continue;
            }
            // Whoever has answered has understood.
            return self.voice.hush();
        }
    }

    fn listen(&mut self, expect: &Expect) -> Result<Input, Infallible> {
        (self.quiet, self.listened) = (false, true);
        self.publish(expect);
        if self.leaves() {
            return Ok(Input::Gone);
        }
        if self.waiting.is_none()
            && let Some(worn) = self.voice.next()
        {
            return Ok(self.put_on(worn, expect));
        }
        match self.touched_or_heard(expect) {
            Some(Conveyed::Touched(sent)) => Ok(self.touched(sent, expect)),
            Some(Conveyed::Heard(input)) => {
                if input != Input::Nothing {
                    self.signs.idle.store(0, Ordering::Relaxed);
                    self.said.clear();
                }
                Ok(input)
            }
            None => Ok(Input::Gone),
        }
    }

    fn noise_tenth_dbfs(&self) -> Option<i32> {
        self.voice.noise_tenth_dbfs()
    }

    fn has_spoken(&self) -> bool {
        !self.quiet && self.voice.has_spoken()
    }

    fn keep(&mut self, draft: &Draft) -> Result<Option<Clip>, String> {
        self.voice.keep(draft)
    }
}

/// What came first.
enum Conveyed {
    Touched(Sent),
    Heard(Input),
}

impl PageCrew {
    /// Waits for a while; none where nobody can answer any more.
    fn touched_or_heard(&mut self, expect: &Expect) -> Option<Conveyed> {
        let Self { voice, answers, waiting, .. } = self;
        if waiting.is_none() && voice.hears() {
            let heard = voice.listen(expect, LISTENED_MS, || touches(answers, waiting).is_none());
            let heard = heard.unwrap_or(Input::Nothing);
            if waiting.is_none() || heard != Input::Nothing {
                self.count_idle();
                return Some(Conveyed::Heard(heard));
            }
        }
        if let Some(sent) = self.waiting.take() {
            return Some(Conveyed::Touched(sent));
        }
        match self.answers.recv_timeout(LOOK_AGAIN) {
            Ok(sent) => Some(Conveyed::Touched(sent)),
            Err(RecvTimeoutError::Timeout) => {
                self.count_idle();
                Some(Conveyed::Heard(Input::Nothing))
            }
            Err(RecvTimeoutError::Disconnected) => None,
        }
    }

    fn count_idle(&self) {
        // One receiver is kept by whoever runs the walks.
        let watched = 1 < self.shown.receiver_count();
        if watched {
            self.signs.idle.store(0, Ordering::Relaxed);
        } else {
            self.signs.idle.fetch_add(1, Ordering::Relaxed);
        }
    }

    /// What an answer means, or what becomes of it without the walk.
    fn judged(&self, answer: &Answer, expect: &Expect) -> Result<Meaning, Reply> {
        if self.known.contains(&answer.id) {
            return Err(Reply::Taken);
        }
        self.meaning(answer, expect)
    }

    /// Whoever sent what is refused is told so; what may be taken is given back.
    fn refused_at_once(&self, sent: Sent, expect: &Expect) -> Option<Sent> {
        let Err(became) = self.judged(&sent.answer, expect) else { return Some(sent) };
        // Whoever asked may be gone.
        let _ = sent.reply.send(became);
        None
    }

    fn touched(&mut self, Sent { answer, how, reply }: Sent, expect: &Expect) -> Input {
        self.signs.idle.store(0, Ordering::Relaxed);
        match self.judged(&answer, expect) {
            Ok(meaning) => {
                self.said.clear();
                self.voice.answered();
                self.pending = Some((answer.id, reply));
                Input::Said { meaning, how }
            }
            Err(became) => {
                // Whoever asked may be gone.
                let _ = reply.send(became);
                Input::Nothing
            }
        }
    }

    /// Puts a phone on, and has the question put once more, aloud.
    fn put_on(&mut self, worn: Worn, expect: &Expect) -> Input {
        let Self { voice, answers, waiting, shown, signs, .. } = self;
        let touched = || touches(answers, waiting).is_some() || signs.stop.load(Ordering::Relaxed);
        let publish = |ear: &ShownEar| {
            shown.send_if_modified(|shown| {
                let Some(before) = shown.as_deref() else { return false };
                let next = Shown {
                    version: before.version.saturating_add(1),
                    ear: ear.clone(),
                    ..before.clone()
                };
                *shown = Some(Arc::new(next));
                true
            });
        };
        voice.put_on(worn, touched, publish);
        self.publish(expect);
        Input::Said { meaning: Meaning::Repeat, how: How::Touch }
    }

    /// The walk is left: no phone is listened to any more.
    pub(super) fn take_off(&mut self) {
        self.voice.take_off();
    }
}

/// The answer that waits, after a look whether one has come.
fn touches<'a>(answers: &Receiver<Sent>, waiting: &'a mut Option<Sent>) -> Option<&'a Sent> {
    if waiting.is_none() {
        *waiting = answers.try_recv().ok();
    }
    waiting.as_ref()
}

#[cfg(test)]
mod tests {
    use std::sync::mpsc::{SyncSender, sync_channel};

    use super::*;

    type Page = (PageCrew, watch::Receiver<Option<Arc<Shown>>>, SyncSender<Sent>);

    fn page(asks: Asks) -> Page {
        let heading = Heading {
            job: "EX-0001".to_owned(),
            address: String::new(),
            checklist: "A walk".to_owned(),
            nth: 1,
            untranslated: false,
        };
        let (shows, shown) = watch::channel(None);
        let (answers, answered) = sync_channel(1);
        let (wording, signs) = (Wording::default(), Signs::default());
        let terms = (wording.clone(), Units::Us);
        let voice = PageVoice::nobody(wording);
        let mut crew = PageCrew::new(heading, terms, voice, shows, answered, signs);
        crew.view = Some(View {
            asks,
            question: "step:a:1".to_owned(),
            step: None,
            of: 1,
            open: 1,
            deviations: 0,
            last: None,
            commands: vec![Meaning::StepDone, Meaning::WasWrong, Meaning::CallWord],
        });
        (crew, shown, answers)
    }

    fn send(answers: &SyncSender<Sent>, id: &str, question: &str) -> oneshot::Receiver<Reply> {
        let (reply, replied) = oneshot::channel();
        let [id, question] = [id, question].map(str::to_owned);
        let (meaning, value) = ("step-done".to_owned(), String::new());
        answers
            .send(Sent { answer: Answer { id, question, meaning, value }, how: How::Touch, reply })
            .unwrap();
        replied
    }

    #[test]
    fn it_is_left_when_nobody_has_looked_for_long() {
        for (asks, most) in [(Asks::Step, MOST_IDLE), (Asks::Ended, MOST_IDLE_ENDED)] {
            let (crew, ..) = page(asks);
            crew.signs.idle.store(most, Ordering::Relaxed);
            assert!(!crew.leaves());
            crew.signs.idle.store(most + 1, Ordering::Relaxed);
            assert!(crew.leaves());
        }
        let (mut crew, ..) = page(Asks::Step);
        crew.signs.stop.store(true, Ordering::Relaxed);
        assert_eq!(crew.listen(&Expect::default()), Ok(Input::Gone));
    }

    #[test]
    fn the_reply_comes_when_all_is_saved_and_says_what_became_of_it() {
        let (mut crew, shown, answers) = page(Asks::Step);
        let expect = Expect::default();
        let mut first = send(&answers, "1", "step:a:1");
        let said = Input::Said { meaning: Meaning::StepDone, how: How::Touch };
        assert_eq!(crew.listen(&expect), Ok(said.clone()));
        assert!(first.try_recv().is_err(), "nothing is saved yet");
        crew.say(&Prompt::NotLogged { why: "the disk is full".to_owned() }).unwrap();
        crew.settle();
        let mut other = send(&answers, "2", "step:b:1");
        assert_eq!(crew.listen(&expect), Ok(Input::Nothing));
        let refused = first.try_recv().unwrap();
        assert!(matches!(&refused, Reply::NotLogged(why) if why.contains("disk")), "{refused:?}");
        assert_eq!(other.try_recv(), Ok(Reply::Changed));
        // What was not logged may come again under its name.
        let mut again = send(&answers, "1", "step:a:1");
        assert_eq!(crew.listen(&expect), Ok(said));
        crew.settle();
        let mut twice = send(&answers, "1", "step:a:1");
        assert_eq!(crew.listen(&expect), Ok(Input::Nothing));
        assert_eq!((again.try_recv(), twice.try_recv()), (Ok(Reply::Taken), Ok(Reply::Taken)));
        // The call word is for ears, a correction for what was logged.
        let commands = shown.borrow().as_ref().unwrap().commands.clone();
        let commands: Vec<&str> = commands.iter().map(|command| command.meaning).collect();
        assert_eq!(commands, ["step-done"]);
    }
}
