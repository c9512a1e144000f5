//! The mouth without a loudspeaker: how loud, what is made ahead, what speaks
//! when a voice is slow or fails; and both voices heard back by the recogniser.

use std::sync::{Arc, Mutex};
use std::time::{Duration, Instant};

use chalkhand::config::Config;
use chalkhand::measure::Ratio;
use chalkhand::sound::{level_dbfs, write_wav};
use chalkhand::speech::{Decision, Grammar, Meaning};
use chalkhand::voice::{
    Ahead, Espeak, MOST_KEPT, Mouth, Natural, Play, Recogniser, Sound, Voice, VoiceError,
    best_heard, hear_file, louder, sentences,
};
use proptest::prelude::*;

use crate::program::models_are_there;

/// Makes a sound as long as the text, of this value, after a while.
struct Hum {
    value: f32,
    takes: Duration,
    said: Arc<Mutex<Vec<String>>>,
    fails_at: Option<&'static str>,
}

fn hum(value: f32, takes_ms: u64) -> (Hum, Arc<Mutex<Vec<String>>>) {
    let said = Arc::default();
    let takes = Duration::from_millis(takes_ms);
    (Hum { value, takes, said: Arc::clone(&said), fails_at: None }, said)
}

impl Voice for Hum {
    fn speak(&mut self, text: &str) -> Result<Sound, VoiceError> {
        std::thread::sleep(self.takes);
        if self.fails_at == Some(text) {
            return Err(VoiceError::Speech("it is hoarse".to_owned()));
        }
        self.said.lock().unwrap().push(text.to_owned());
        Ok(Sound { samples: vec![self.value; text.len()], rate_hz: 16_000 })
    }
}

/// Keeps what it plays; fails as often as told.
#[derive(Clone, Default)]
struct Tape {
    played: Arc<Mutex<Vec<Sound>>>,
    fails: Arc<Mutex<u32>>,
}

impl Play for Tape {
    fn play(&mut self, sound: &Sound) -> Result<(), VoiceError> {
        let mut fails = self.fails.lock().unwrap();
        if 0 < *fails {
            *fails -= 1;
            return Err(VoiceError::NoLoudspeaker("unplugged".to_owned()));
        }
        self.played.lock().unwrap().push(sound.clone());
        Ok(())
    }
}

#[test]
fn a_loudspeaker_that_was_away_speaks_again_and_each_loss_is_told_once() {
    let tape = Tape::default();
    *tape.fails.lock().unwrap() = 2;
    let mut mouth = Mouth::new(hum(0.5, 0).0, tape.clone());
    mouth.say("one");
    assert!(mouth.is_muted());
    assert!(mouth.trouble().unwrap().contains("unplugged"));
    mouth.say("two");
    assert!(mouth.is_muted() && mouth.trouble().is_none());
    mouth.say("three");
    assert!(!mouth.is_muted() && mouth.trouble().is_none());
    assert_eq!(tape.played.lock().unwrap().len(), 1);
    *tape.fails.lock().unwrap() = 1;
    mouth.say("four");
    assert!(mouth.trouble().unwrap().contains("unplugged"));
    let mut silent = Mouth::silent("no voice".to_owned());
    silent.say("nobody hears this");
    assert!(silent.is_muted());
    assert_eq!(silent.trouble().as_deref(), Some("no voice"));
}

#[test]
fn it_speaks_softly_in_a_quiet_place_and_as_loud_as_it_can_in_noise() {
    let sound = Sound { samples: vec![0.25, -0.5, 0.1], rate_hz: 16_000 };
    let level = |noise| level_dbfs(&louder(&sound, noise).samples);
    let loud = level(None);
    assert!((level(Some(-40.0)) - loud).abs() < 0.01);
    assert!((level(Some(-10.0)) - loud).abs() < 0.01, "never louder than it can");
    assert!((level(Some(-50.0)) - (loud - 5.0)).abs() < 0.01);
    assert!((level(Some(-64.0)) - (loud - 12.0)).abs() < 0.01);
    assert!((level(Some(-100.0)) - (loud - 12.0)).abs() < 0.01, "never softer than that");
    let tape = Tape::default();
    let mut mouth = Mouth::new(hum(0.5, 0).0, tape.clone());
    mouth.noise(Some(-80.0));
    mouth.noise(None);
    mouth.say("one");
    assert!((tape.played.lock().unwrap()[0].samples[0] - 0.98 * 0.251).abs() < 0.001);
}

proptest! {
    #[test]
    fn it_never_clips(
        samples in prop::collection::vec(-2.0_f32..2.0, 0..200),
        noise in prop::option::of(-200.0_f32..50.0),
    ) {
        let louder = louder(&Sound { samples: samples.clone(), rate_hz: 8_000 }, noise);
        prop_assert_eq!(louder.samples.len(), samples.len());
        prop_assert!(louder.samples.iter().all(|sample| sample.abs() <= 0.981));
    }

    #[test]
    fn sentences_lose_no_word(text in "[a-z0-9.?! ,;]{0,80}") {
        let words = |text: &str| -> String { text.chars().filter(char::is_ascii_alphanumeric).collect() };
        let all: String = sentences(&text).collect();
        prop_assert_eq!(words(&all), words(&text));
    }
}

#[test]
fn a_stop_inside_a_number_ends_no_sentence() {
    let all: Vec<&str> = sentences("Step 4 of 30. Cut 12.50 off. Right?  ").collect();
    assert_eq!(all, ["Step 4 of 30.", "Cut 12.50 off.", "Right?"]);
    assert_eq!(sentences(" . ! ").count(), 0);
}

fn wait_until(what: &str, mut is: impl FnMut() -> bool) {
    let begun = Instant::now();
    while !is() {
        assert!(begun.elapsed() < Duration::from_secs(20), "{what}");
        std::thread::sleep(Duration::from_millis(5));
    }
}

#[test]
fn fixed_words_are_made_ahead_and_a_slow_voice_is_not_waited_for() {
    let (slow, made) = hum(0.2, 1_500);
    let ahead = Ahead::start(|| Ok(slow), vec!["Logged.".to_owned()]).unwrap();
    let (plain, said) = hum(0.4, 0);
    let tape = Tape::default();
    let mut mouth = Mouth::new(plain, tape.clone()).with_natural(ahead);
    // Not made yet: the plain voice says it, and nobody waits for the other.
    mouth.say("Logged.");
    assert_eq!(*said.lock().unwrap(), ["Logged."]);
    wait_until("it is made ahead", || *made.lock().unwrap() == ["Logged."]);
    mouth.say("Logged.");
    assert_eq!(said.lock().unwrap().len(), 1, "the natural voice said it");
    assert!(mouth.trouble().is_none());
    assert_eq!(tape.played.lock().unwrap().len(), 2);
}

#[test]
fn a_voice_that_fails_is_replaced_for_good_and_it_is_told() {
    let (mut natural, made) = hum(0.2, 0);
    natural.fails_at = Some("Two.");
    let ahead = Ahead::start(|| Ok(natural), Vec::new()).unwrap();
    let (plain, said) = hum(0.4, 0);
    let mut mouth = Mouth::new(plain, Tape::default()).with_natural(ahead);
    mouth.say("One. Two. Three.");
    assert_eq!(*made.lock().unwrap(), ["One."]);
    assert_eq!(*said.lock().unwrap(), ["Two.", "Three."]);
    let told = mouth.trouble().unwrap();
    assert!(told.contains("it is hoarse") && told.contains("espeak-ng speaks"), "{told}");
    mouth.say("Four. Five.");
    assert_eq!(*said.lock().unwrap(), ["Two.", "Three.", "Four. Five."]);
    assert!(!mouth.is_muted() && mouth.trouble().is_none());

    // One that cannot even be loaded.
    let lacking = || Err::<Hum, _>(VoiceError::NoVoice("nowhere".into()));
    let (plain, said) = hum(0.4, 0);
    let ahead = Ahead::start(lacking, vec!["Logged.".to_owned()]).unwrap();
    let mut mouth = Mouth::new(plain, Tape::default()).with_natural(ahead);
    mouth.say("Logged.");
    assert_eq!(*said.lock().unwrap(), ["Logged."]);
    assert!(mouth.trouble().unwrap().contains("packaging/models --voice"));
}

#[test]
fn what_is_kept_is_bounded_and_the_fixed_words_stay() {
    struct Long;
    impl Voice for Long {
        fn speak(&mut self, _: &str) -> Result<Sound, VoiceError> {
            Ok(Sound { samples: vec![0.1; MOST_KEPT / 3], rate_hz: 22_050 })
        }
    }
    let ahead = Ahead::start(|| Ok(Long), vec!["Logged.".to_owned()]).unwrap();
    let patience = Duration::from_secs(20);
    for number in 0..12 {
        ahead.by(&format!("number {number}"), patience).unwrap().unwrap();
        assert!(ahead.kept().0 <= MOST_KEPT);
    }
    ahead.by("Logged.", patience).unwrap().unwrap();
    assert_eq!(ahead.kept().1, 4, "three that pass, and the fixed one");
}

/// What the prompts say, without marks.
const PROMPTS: [&str; 8] = [
    "I did not get that",
    "say why it stays as it is",
    "there is no step before this one",
    "I hear you again",
    "I cannot hear you",
    "that step is in the log already",
    "somebody changed the numbers",
    "say the note",
];

/// Both voices through our own recogniser: words and numbers of real prompts.
#[test]
fn both_voices_are_heard_back() {
    if !models_are_there() {
        return;
    }
    let models = Config::of_environment(None).unwrap().models;
    let recogniser = Recogniser::load(&models).unwrap();
    let mut voices: Vec<(&str, Box<dyn Voice>)> =
        vec![("espeak", Box::new(Espeak::new("en-us", 150).unwrap()))];
    match Natural::load(&models.join("joe"), 150) {
        Ok(natural) => voices.push(("joe", Box::new(natural))),
        Err(why) => {
            println!("left out: {why}");
            let promised = std::env::var_os("CHALKHAND_OUTSIDE").is_some();
            assert!(!promised, "packaging/test fetches it");
        }
    }
    let folder = tempfile::tempdir().unwrap();
    for (name, mut voice) in voices {
        let mut heard = |text: &str, grammar: &Grammar| {
            let sound = voice.speak(text).unwrap();
            assert!(sound.samples.iter().all(|sample| sample.is_finite()));
            let path = folder.path().join("said.wav");
            let mut at_16_khz = Vec::new();
            let mut resampler = chalkhand::sound::Resampler::new(sound.rate_hz).unwrap();
            resampler.push(&sound.samples, &mut at_16_khz).unwrap();
            resampler.finish(&mut at_16_khz).unwrap();
            at_16_khz.resize(at_16_khz.len() + 16_000, 0.0);
            write_wav(std::fs::File::create(&path).unwrap(), &at_16_khz).unwrap();
            let segments = hear_file(&recogniser, &path, grammar, |_| ()).unwrap();
            let best = best_heard(&segments).unwrap_or_else(|| panic!("{name}: {text}"));
            best.heard.decision.clone()
        };
        let mut grammar = Grammar::commands_only(Vec::new());
        grammar.choices = PROMPTS.map(str::to_owned).to_vec();
        for (at, text) in PROMPTS.iter().enumerate() {
            let meaning = match heard(text, &grammar) {
                Decision::Accept { meaning, .. } => Some(meaning),
                Decision::AskAgain { best, .. } => best.map(|(meaning, ..)| meaning),
            };
            assert_eq!(meaning, Some(Meaning::Choice(at)), "{name}: {text}");
        }
        for (text, inches) in [
            ("four and a half inches", Ratio::new(9, 2).unwrap()),
            ("fifteen inches", Ratio::int(15)),
            ("three and five eighths inches", Ratio::new(29, 8).unwrap()),
        ] {
            let decision = heard(text, &Grammar::everything());
            let Decision::Accept { meaning, .. } = decision else {
                panic!("{name}: {text}: {decision:?}")
            };
            assert_eq!(meaning, Meaning::Length(inches), "{name}: {text}");
        }
    }
}
