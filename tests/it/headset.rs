//! A phone worn as a headset, through the real daemon: its sound by the roof
//! screen's socket into the real recogniser, speech back. The speech is synthetic
//! (espeak-ng), the phone a loop that sends four times as fast as it would.

use std::collections::VecDeque;
use std::net::TcpStream;
use std::time::{Duration, Instant};

use chalkhand::daemon::log_check;
use chalkhand::domain::{Entry, Given, How, Keeps, ReadAs, What};
use chalkhand::sound::{FileFrames, to_i16};
use chalkhand::speech;
use chalkhand::store::Store;
use serde_json::{Value, json};
use tungstenite::{Message, WebSocket};

use crate::pages::{Browser, invited, invited_reading, office};
use crate::program::{Home, models_are_there};
use crate::roof::{PATH, connect, entries, short};
use crate::serve::Daemon;

/// What it calls its microphone.
const NAME: &str = "Helmet microphone";
/// A block as a phone sends it, in samples: 40 ms.
const BLOCK: usize = 640;

/// Turns without speech after which it has said all.
const LISTENS_OUT: usize = 50;

struct Phone<'a> {
    home: &'a Home,
    socket: WebSocket<TcpStream>,
    says: VecDeque<i16>,
    shown: Value,
    /// Speech as it came: its number, its rate and how many samples.
    heard: Vec<(u32, u32, usize)>,
    /// Whether it tells that speech was played.
    plays: bool,
    /// Whether it is silent when it is told so, and says that it is.
    hushes: bool,
    /// Whether its microphone hears its loudspeaker.
    echoes: bool,
    /// Speech to be told as played once its echo is over.
    echoed: Option<u32>,
    hushed: usize,
    /// How often it was told that it is no headset any more.
    taken_off: usize,
    replies: Vec<Value>,
    /// Turns since it was last spoken to.
    quiet: usize,
    /// The phrase of a hearing check that was read last.
    read: String,
}

impl<'a> Phone<'a> {
    fn on(home: &'a Home, browser: &Browser<'_>, rate_hz: Option<u32>) -> Self {
        Self::on_walk(home, browser, PATH, rate_hz)
    }

    fn on_walk(home: &'a Home, browser: &Browser<'_>, path: &str, rate_hz: Option<u32>) -> Self {
        let socket = connect(browser, path, None).unwrap();
        socket.get_ref().set_read_timeout(Some(Duration::from_millis(2))).unwrap();
        let mut phone = Self {
            home,
            socket,
            says: VecDeque::new(),
            shown: Value::Null,
            heard: Vec::new(),
            plays: true,
            hushes: true,
            echoes: false,
            echoed: None,
            hushed: 0,
            taken_off: 0,
            replies: Vec::new(),
            quiet: 0,
            read: String::new(),
        };
        phone.tell(&json!({"kind": "headset", "name": NAME, "rate_hz": rate_hz}));
        phone
    }

    fn tell(&mut self, message: &Value) {
        self.socket.send(Message::text(message.to_string())).unwrap();
    }

    fn say(&mut self, words: &str) {
        let path = self.home.path("said.wav");
        chalkhand::voice::render(words, "en-us", 150, &path).expect("espeak-ng is there");
        let mut frames = FileFrames::new(std::fs::File::open(path).unwrap()).unwrap();
        self.says.extend([0; 3_200]);
        while let Some(frame) = frames.next_frame().unwrap() {
            self.says.extend(frame.map(to_i16));
        }
    }

    /// One block each way.
    fn turn(&mut self) {
        let block: Vec<u8> =
            (0..BLOCK).flat_map(|_| self.says.pop_front().unwrap_or(0).to_le_bytes()).collect();
        self.socket.send(Message::binary(block)).unwrap();
        self.quiet += 1;
        if self.says.is_empty()
            && let Some(id) = self.echoed.take()
        {
            self.tell(&json!({"kind": "played", "id": id}));
        }
        let until = Instant::now() + Duration::from_millis(10);
        while Instant::now() < until {
            match self.socket.read() {
                Ok(Message::Text(text)) => self.told(serde_json::from_str(&text).unwrap()),
                Ok(Message::Binary(speech)) => {
                    let word =
                        |at: usize| u32::from_le_bytes(speech[at..at + 4].try_into().unwrap());
                    self.quiet = 0;
                    self.heard.push((word(0), word(4), (speech.len() - 8) / 2));
                    if self.echoes {
                        self.says.extend(echo(&speech[8..], word(4)));
                        self.echoed = Some(word(0));
                    } else if self.plays {
                        self.tell(&json!({"kind": "played", "id": word(0)}));
                    }
                }
                Ok(_) => {}
                Err(tungstenite::Error::Io(_)) => {}
                Err(error) => panic!("{error}"),
            }
        }
    }

    fn told(&mut self, told: Value) {
        match told["kind"].as_str() {
            Some("shown") => self.shown = told["shown"].clone(),
            Some("hush") => {
                self.hushed += 1;
                if self.hushes {
                    self.says.clear();
                    self.echoed = None;
                    self.tell(&json!({"kind": "played", "id": told["id"]}));
                }
            }
            Some("reply") => self.replies.push(told),
            Some("not-worn") => self.taken_off += 1,
            _ => {}
        }
    }

    fn until(&mut self, what: &str, is: impl Fn(&Self) -> bool) {
        let begun = Instant::now();
        while !is(self) {
            let shown = &self.shown;
            assert!(
                begun.elapsed() < Duration::from_secs(60),
                "not in a minute: {what}: {shown:#}"
            );
            self.turn();
        }
    }

    /// Reads every phrase of the hearing check that is asked for.
    fn is_checked(&mut self) {
        let begun = Instant::now();
        while self.shown["ear"]["state"] != "hears" {
            assert!(begun.elapsed() < Duration::from_secs(120), "{:#}", self.shown);
            self.turn();
            let line = self.shown["ear"]["read"].as_str().unwrap_or_default().to_owned();
            let asked =
                speech::check_phrases().into_iter().find(|phrase| line.contains(&phrase.words));
            if let Some(phrase) = asked
                && line != self.read
                && LISTENS_OUT <= self.quiet
            {
                self.read = line;
                self.say(&phrase.words);
            }
        }
    }

    /// Says it once the question is put, and waits for another question.
    fn answers(&mut self, words: &str) {
        // Whoever is spoken to listens first.
        self.until("it has spoken", |phone| LISTENS_OUT <= phone.quiet);
        let before = self.shown["question"].clone();
        self.say(words);
        self.until(words, |phone| phone.shown["question"] != before);
    }

    fn touches(&mut self, id: &str, meaning: &str) -> Value {
        let question = self.shown["question"].clone();
        let answer = json!({"kind": "answer", "id": id, "question": question, "meaning": meaning});
        self.tell(&answer);
        self.until(meaning, |phone| phone.replies.iter().any(|reply| reply["id"] == id));
        self.replies.iter().find(|reply| reply["id"] == id).unwrap().clone()
    }
}

/// Speech as a microphone at 16 kHz hears it, half as loud.
fn echo(speech: &[u8], rate_hz: u32) -> Vec<i16> {
    let all: Vec<i16> =
        speech.chunks_exact(2).map(|pair| i16::from_le_bytes([pair[0], pair[1]]) / 2).collect();
    let rate_hz = usize::try_from(rate_hz).unwrap();
    (0..all.len() * 16_000 / rate_hz).map(|at| all[at * rate_hz / 16_000]).collect()
}

fn answered(home: &Home) -> Vec<(String, Given, &'static str)> {
    let how = |entry: &Entry| match entry.draft.how {
        How::Voice(_) => "voice",
        How::Touch => "touch",
        _ => "else",
    };
    let answers = entries(home).into_iter().filter_map(|entry| match &entry.draft.what {
        What::Answered { step, given, .. } => Some((step.to_string(), given.clone(), how(&entry))),
        _ => None,
    });
    answers.collect()
}

#[test]
fn a_walk_by_a_phones_voice_with_touch_in_between() {
    if !models_are_there() {
        return;
    }
    let home = short();
    let daemon = Daemon::start(&home);
    let mut office = office(&daemon);
    let mut crew = invited(&mut office, "Installer Example", &["installer"]);
    crew.get(PATH);
    let mut phone = Phone::on(&home, &crew, Some(16_000));
    phone.until("the check begins", |phone| phone.shown["ear"]["state"] == "checking");
    assert_eq!(phone.shown["ear"]["can_hear"], true);
    phone.is_checked();
    assert!(!phone.heard.is_empty(), "it speaks");
    assert!(phone.heard.iter().all(|(_, rate_hz, samples)| 8_000 <= *rate_hz && 1_000 < *samples));

    phone.until("the step is read", |phone| LISTENS_OUT <= phone.quiet);
    phone.say("photo taken");
    phone.until("the photo is logged", |phone| phone.shown["step"]["photos_left"] == 0);
    phone.answers("step done");
    assert_eq!(phone.shown["step"]["title"], "Nail line");
    phone.answers("four and a half inches");
    assert_eq!(phone.shown["asks"], "read-back", "{:#}", phone.shown);
    assert!(phone.shown["ear"]["heard"]["words"].as_str().unwrap().starts_with("Four"));
    assert_eq!(answered(&home).len(), 1, "nothing is logged before the yes");
    phone.answers("yes that is right");
    assert_eq!(phone.shown["step"]["title"], "Nails");
    // A touch counts all the same, by the same walk.
    let reply = phone.touches("t1", "pause");
    assert_eq!(reply["taken"], true, "{reply}");
    phone.until("paused", |phone| phone.shown["paused"] == true);
    phone.touches("t2", "resume");
    phone.until("goes on", |phone| phone.shown["paused"] == false);
    phone.answers("twelve");
    phone.answers("yes that is right");
    let answers = answered(&home);
    let told: Vec<(&str, &str)> =
        answers.iter().map(|(step, _, how)| (step.as_str(), *how)).collect();
    assert_eq!(told, [("wear", "voice"), ("line", "voice"), ("nails", "voice")], "{answers:?}");
    assert_eq!(answers[2].1, Given::Counted(12));

    // A phone that does not say that it is silent is not listened to, and soon taken off.
    (phone.plays, phone.hushes) = (false, false);
    phone.touches("r1", "repeat");
    phone.touches("r2", "repeat");
    phone.until("it is taken off and told so", |phone| {
        let ear = &phone.shown["ear"];
        ear["state"] == "off" && ear["trouble"]["kind"] == "silent" && phone.taken_off == 1
    });
    (phone.plays, phone.hushes, phone.taken_off) = (true, true, 0);
    phone.tell(&json!({"kind": "headset", "name": NAME, "rate_hz": 16_000}));
    phone.until("it hears again", |phone| phone.shown["ear"]["state"] == "hears");

    // A note that was spoken keeps its sound, though its yes is touched when the
    // phone is no longer worn.
    phone.answers("take a note");
    phone.answers("the deck is dry and clean");
    phone.until("the words are read back", |phone| phone.shown["asks"] == "words-back");
    phone.tell(&json!({"kind": "take-off"}));
    phone.until("it is taken off", |phone| phone.shown["ear"]["state"] == "off");
    let reply = phone.touches("t3", "yes");
    assert_eq!(reply["taken"], true, "{reply}");
    let noted = entries(&home).into_iter().find_map(|entry| match entry.draft.what {
        What::Noted { clip, .. } => Some(clip),
        _ => None,
    });
    assert!(matches!(noted, Some(Some(_))), "{noted:?}");

    // The log says that it was listened to, by what, and that it no longer is.
    drop(phone);
    let closed = |entries: &[Entry]| {
        entries.iter().filter(|entry| entry.draft.what == What::EarClosed).count()
    };
    let begun = Instant::now();
    while closed(&entries(&home)) < 2 {
        assert!(begun.elapsed() < Duration::from_secs(10), "the ear was not closed");
        std::thread::sleep(Duration::from_millis(100));
    }
    let all = entries(&home);
    let check = all.iter().find(|entry| entry.draft.what.word() == "hearing-checked").unwrap();
    let opened = all.iter().find_map(|entry| match &entry.draft.what {
        What::EarOpened { source, keeps, check } => Some((source.clone(), *keeps, *check)),
        _ => None,
    });
    assert_eq!(opened, Some((NAME.to_owned(), Keeps::Notes, Some(check.seq))));

    // The same person with the same phone need not be checked once more.
    let mut phone = Phone::on(&home, &crew, Some(16_000));
    phone.until("it hears at once", |phone| phone.shown["ear"]["state"] == "hears");
    // Checked elsewhere, with another microphone: that says nothing of this one.
    let checked = all.iter().find_map(|entry| match &entry.draft.what {
        What::HearingChecked(check) => Some((**check).clone()),
        _ => None,
    });
    let mut elsewhere = checked.unwrap();
    elsewhere.source = "Headset on the ladder".to_owned();
    let mut store = Store::open(&home.path("data/log.sqlite")).unwrap();
    let at = all.last().unwrap().draft.at;
    log_check(&mut store, "SW-1", "Installer Example", at, elsewhere).unwrap();
    phone.until("it is taken off and told so", |phone| {
        phone.shown["ear"]["trouble"]["kind"] == "checked-elsewhere" && phone.taken_off == 1
    });
    // Another microphone hears otherwise.
    phone.tell(&json!({"kind": "headset", "name": "Another microphone", "rate_hz": 16_000}));
    phone.until("it is checked", |phone| phone.shown["ear"]["state"] == "checking");
    drop(phone);
    let mut phone = Phone::on(&home, &crew, None);
    phone.until("it speaks alone", |phone| phone.shown["ear"]["state"] == "speaks");
    drop(phone);
    drop(daemon);
    home.run(["doctor"]);
    let all = entries(&home);
    let opened = all.iter().filter(|entry| entry.draft.what.word() == "ear-opened").count();
    assert_eq!((opened, closed(&all)), (3, 3), "each ear that was opened is closed");
}

#[test]
fn who_left_the_check_is_read_to_and_not_listened_to() {
    if !models_are_there() {
        return;
    }
    let home = short();
    let daemon = Daemon::start(&home);
    let mut office = office(&daemon);
    let mut crew = invited(&mut office, "Installer Example", &["installer"]);
    crew.get(PATH);
    let mut phone = Phone::on(&home, &crew, Some(48_000));
    phone.until("the check begins", |phone| phone.shown["ear"]["state"] == "checking");
    // It plays nothing yet: a touch does not wait for the sentence to end.
    phone.plays = false;
    phone.until("it is spoken to", |phone| !phone.heard.is_empty());
    let (spoken, begun) = (phone.heard.len(), Instant::now());
    let reply = phone.touches("t1", "step-done");
    assert_eq!(reply["taken"], true, "{reply}");
    assert!(begun.elapsed() < Duration::from_secs(2), "{:?}", begun.elapsed());
    phone.until("it only speaks", |phone| phone.shown["ear"]["state"] == "speaks");
    phone.until("the next step", |phone| phone.shown["step"]["title"] == "Nail line");
    phone.until("the next step is read", |phone| spoken < phone.heard.len());
    // The same while a step is read.
    let hushed = phone.hushed;
    let stale = json!({"kind": "answer", "id": "s1", "question": "step:wear:0", "meaning": "yes"});
    phone.tell(&stale);
    phone.until("what is refused is told", |phone| {
        phone.replies.iter().any(|reply| reply["id"] == "s1")
    });
    assert_eq!(phone.hushed, hushed, "what is refused silences nothing");
    let reply = phone.touches("t2", "pause");
    assert!(reply["taken"] == true && 0 < phone.hushed, "{reply}");
    phone.touches("t3", "resume");
    phone.plays = true;
    for _ in 0..3 {
        phone.say("step done");
        phone.say("four and a half inches");
        phone.until("said", |phone| phone.says.is_empty());
    }
    assert_eq!(answered(&home).len(), 1, "nobody listens: {:?}", answered(&home));
    assert!(entries(&home).iter().all(|entry| !matches!(entry.draft.how, How::Voice(_))));
    assert!(entries(&home).iter().all(|entry| entry.draft.what.word() != "ear-opened"));
}

#[test]
fn it_does_not_hear_itself_and_trusts_nobody_who_read_nothing() {
    if !models_are_there() {
        return;
    }
    let home = short();
    let daemon = Daemon::start(&home);
    let mut office = office(&daemon);
    let mut crew = invited(&mut office, "Installer Example", &["installer"]);
    crew.get(PATH);
    // Its own "Read: step done" comes back by the microphone, and nobody reads.
    let mut phone = Phone::on(&home, &crew, Some(16_000));
    phone.echoes = true;
    let begun = Instant::now();
    while phone.shown["ear"]["state"] != "hears" {
        assert!(begun.elapsed() < Duration::from_secs(240), "{:#}", phone.shown);
        phone.turn();
    }
    let all = entries(&home);
    let check = all.iter().find_map(|entry| match &entry.draft.what {
        What::HearingChecked(check) => Some(check),
        _ => None,
    });
    let read: Vec<ReadAs> = check.unwrap().phrases.iter().map(|one| one.read_as).collect();
    assert!(7 < read.len() && read.iter().all(|read| *read == ReadAs::Nothing), "{read:?}");
    phone.echoes = false;
    phone.until("the step is read", |phone| LISTENS_OUT <= phone.quiet);
    phone.say("step done");
    phone.until("it says that it cannot trust it", |phone| {
        phone.shown["said"].to_string().contains("cannot trust")
    });
    assert_eq!(answered(&home), []);
    let reply = phone.touches("t1", "step-done");
    assert_eq!((&reply["taken"], answered(&home).len()), (&json!(true), 1));
}

#[test]
fn a_language_that_is_not_heard_is_read_aloud() {
    let home = short();
    let daemon = Daemon::start(&home);
    let mut office = office(&daemon);
    let mut crew =
        invited_reading(&mut office, "Instalador Example", &["installer"], "metric", "es");
    // The same walk by somebody who reads Spanish: the checklist is in English.
    let page = crew.get(PATH);
    assert!(page.body.contains("Leer en voz alta"), "{page:?}");
    drop(daemon);

    let home = Home::with_job();
    let daemon = Daemon::start(&home);
    let mut office = self::office(&daemon);
    let mut crew =
        invited_reading(&mut office, "Instalador Example", &["installer"], "metric", "es");
    let page = crew.get("/roof/EX-0001/closing-inspection");
    assert!(page.body.contains("Leer en voz alta") && !page.body.contains("Responder con la voz"));
    let path = "/roof/EX-0001/closing-inspection";
    let mut phone = Phone::on_walk(&home, &crew, path, Some(16_000));
    phone.until("it speaks", |phone| !phone.heard.is_empty());
    assert_eq!(phone.shown["ear"]["state"], "speaks");
    assert_eq!(phone.shown["ear"]["can_hear"], false);
    // What it has not played in time it is told to forget.
    let before = phone.shown["question"].clone();
    phone.plays = false;
    phone.touches("t1", "step-done");
    phone.until("the next is asked", |phone| phone.shown["question"] != before);
    phone.until("it is told to be silent", |phone| {
        phone.shown["ear"]["trouble"]["kind"] == "silent" && 0 < phone.hushed
    });
    // Sound of no rate there is.
    phone.tell(&json!({"kind": "headset", "name": NAME, "rate_hz": 100}));
    phone.until("it is taken off", |phone| phone.shown["ear"]["state"] == "off");
}
