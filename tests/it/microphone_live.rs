//! A walk at a live microphone from end to end, on a sound server without a
//! sound card: recordings are played into the microphone at the right moments,
//! the loudspeaker is recorded, the headset is lost and comes back.

use std::io::{BufRead, BufReader};
use std::path::PathBuf;
use std::process::{Child, Command};
use std::sync::{Arc, Mutex};
use std::time::{Duration, Instant};

use chalkhand::config::Config;
use chalkhand::sound::{Endpoints, FRAME, FileFrames};
use chalkhand::speech::{Decision, Grammar, Meaning};
use chalkhand::voice::{
    Ear, FrameSource, Listened, Missing, Recogniser, VoiceError, hear_file, render,
};

use crate::program::{Home, models_are_there};
use crate::studio::{Studio, wait_for};

const SHORT: &str = r#"
id = "short-check"
version = "0.1.0"
title = "Short check"
yields_to = "whoever knows better"
sources = ["invented for a test"]

[cautions.ladder]
say = "Stay off the ladder."
source = "invented for a test"

[[step]]
id = "tarp"
title = "Tarp"
say = "The tarp is ready."

[[step]]
id = "deck"
title = "Deck"
say = "All dry, or wet or damp?"
answer = { choice = ["all dry", "wet or damp"], wanted = ["all dry"] }

[[step]]
id = "ladder"
title = "Ladder"
say = "The ladder is tied."
caution = ["ladder"]
"#;

/// A walk that is going on.
struct Walking {
    program: Child,
    printed: Arc<Mutex<String>>,
    folder: PathBuf,
}

impl Walking {
    fn begin(home: &Home, studio: &Studio, more: &[&str]) -> Walking {
        let list = home.write("short.toml", SHORT);
        home.run(["checklist", "adopt", list.to_str().unwrap()]).well();
        let job = "number = \"L-1\"\naddress = \"1 Example Lane\"\nowner = \"Owner Example\"\n\
             company = \"Example\"\ncode_edition = \"IRC 2021\"\n\
             time_zone = \"America/New_York\"\ninvented = true\nchecklists = [\"short-check\"]\n";
        let job = home.write("job.toml", job);
        home.run(["job", "open", job.to_str().unwrap()]).well();
        home.write("data/chalkhand.toml", "window_s = 600\n");
        let mut words = vec!["walk", "L-1", "short-check", "--by", "Installer Example"];
        words.extend(more);
        let mut command = home.command(words);
        let mut program = studio.inside(&mut command).spawn().unwrap();
        let printed = Arc::new(Mutex::new(String::new()));
        let (out, lines) = (program.stdout.take().unwrap(), Arc::clone(&printed));
        std::thread::spawn(move || {
            for line in BufReader::new(out).lines().map_while(Result::ok) {
                println!("{line}");
                let mut printed = lines.lock().unwrap();
                printed.push_str(&line);
                printed.push('\n');
            }
        });
        Walking { program, printed, folder: home.path("") }
    }

    fn printed(&self) -> String {
        self.printed.lock().unwrap().clone()
    }

    fn wait_for(&self, words: &str) {
        wait_for(60, words, || self.printed().contains(words));
    }

    /// Says something into the microphone until the walk answers so; a busy
    /// machine may make it deaf to a word.
    fn say(&self, studio: &Studio, words: &str, answer: &str) {
        let path = self.folder.join(format!("{}.wav", words.replace(' ', "-")));
        render(words, "en-us", 150, &path).unwrap();
        let before = self.printed().matches(answer).count();
        let answered = || before < self.printed().matches(answer).count();
        for _ in 0..6 {
            studio.wait_for_quiet();
            if answered() {
                return;
            }
            studio.play(&path);
            let begun = Instant::now();
            while !answered() && begun.elapsed() < Duration::from_secs(8) {
                std::thread::sleep(Duration::from_millis(50));
            }
        }
        assert!(answered(), "`{words}` was not answered by `{answer}`:\n{}", self.printed());
    }

    fn code(mut self) -> Option<i32> {
        wait_for(60, "the end of the walk", || self.program.try_wait().unwrap().is_some());
        self.program.wait().unwrap().code()
    }

    /// As Ctrl-C does.
    fn interrupt(&self) {
        let pid = self.program.id().to_string();
        assert!(Command::new("kill").args(["-INT", &pid]).status().unwrap().success());
    }
}

impl Drop for Walking {
    fn drop(&mut self) {
        // It may have ended.
        self.program.kill().ok();
    }
}

/// A walk that was begun by voice, lost the headset, then the sound server, and ended.
struct Lost {
    home: Home,
    /// What was shown until the server was lost.
    shown: String,
    /// What the loudspeaker played until then.
    said: PathBuf,
    _studio: Studio,
}

fn lost_and_back() -> Option<Lost> {
    let mut studio = Studio::start()?;
    let home = Home::new();
    let recording = studio.record();
    let walking = Walking::begin(
        &home,
        &studio,
        &["--no-check", "--mic", "Headset Example", "--speaker", "horn"],
    );
    walking.wait_for("hears headset (Headset Example) at");
    walking.wait_for("Step 1 of 3");
    walking.say(&studio, "step done", "Logged.");
    walking.wait_for("Step 2 of 3");

    // The headset alone drops: the loudspeaker says so.
    studio.wait_for_quiet();
    studio.unplug();
    walking.wait_for("the microphone is gone");
    walking.wait_for("I cannot hear you.");
    studio.plug();
    walking.wait_for("is back after");
    walking.wait_for("I hear you again.");
    walking.say(&studio, "all dry", "right?");
    walking.say(&studio, "yes that is right", "Logged.");
    walking.wait_for("Step 3 of 3");
    studio.wait_for_quiet();
    let said = recording.stop();
    let shown = walking.printed();

    // Everything drops.
    studio.kill();
    wait_for(60, "the loss", || walking.printed().matches("microphone is gone").count() == 2);
    studio.restart();
    wait_for(60, "the return", || walking.printed().matches("is back after").count() == 2);
    walking.say(&studio, "step done", "that was the last step");
    assert_eq!(walking.code(), Some(0));
    Some(Lost { home, shown, said, _studio: studio })
}

#[test]
fn a_walk_by_voice_goes_on_after_the_headset_and_the_sound_server_were_lost() {
    if !models_are_there() {
        return;
    }
    let Some(mut lost) = lost_and_back() else { return };
    // A server under load may take no sound, which the walk tells: then all of it anew.
    for _ in 0..2 {
        if lost.shown.contains("what would be said is shown") {
            lost = lost_and_back().unwrap();
        }
    }
    let Lost { home, shown, said, .. } = lost;

    let db = rusqlite::Connection::open(home.path("data/log.sqlite")).unwrap();
    let spoken: Vec<String> = db
        .prepare("select body from entry where body like '%\"voice\":%' order by seq")
        .unwrap()
        .query_map([], |row| row.get(0))
        .unwrap()
        .map(Result::unwrap)
        .collect();
    let settled = ["tarp", "deck", "ladder"];
    for step in settled {
        let of = |entry: &&String| entry.contains(&format!("\"{step}\""));
        assert_eq!(spoken.iter().filter(of).count(), 1, "{step}: {spoken:?}");
    }
    // The loudspeaker was there: the caution was not only shown.
    let cautioned = "select body from entry where body like '%\"cautioned\"%'";
    let cautioned: String = db.query_row(cautioned, [], |row| row.get(0)).unwrap();
    assert!(cautioned.contains("\"spoken\":true"), "{cautioned}\n{shown}");
    let deck = spoken.iter().find(|entry| entry.contains("\"deck\"")).unwrap();
    let confirmed = deck.split_once("\"confirmed\":").map(|(_, rest)| rest.to_lowercase());
    assert!(confirmed.is_some_and(|words| words.contains("that is right")), "{deck}");
    assert!(home.run(["doctor"]).out.contains("the chain holds"));

    // What the loudspeaker played is understood; dictation mishears some of it.
    let heard = words_in(&said);
    let said = ["step", "ready", "dry", "wet", "damp", "ladder", "again", "cannot"];
    let understood = said.iter().filter(|word| heard.contains(**word)).count();
    assert!(5 <= understood, "{heard}");
}

/// Everything that is said in a recording, lower case, without marks.
fn words_in(path: &std::path::Path) -> String {
    let models = Config::of_environment(None).unwrap().models;
    let recogniser = Recogniser::load(&models).unwrap();
    let mut all = String::new();
    for segment in hear_file(&recogniser, path, &Grammar::free(), |_| ()).unwrap() {
        if let Decision::Accept { meaning: Meaning::Words(_), words, .. } = segment.heard.decision {
            all.push_str(&words);
            all.push(' ');
        }
    }
    all.to_lowercase().replace(['.', ',', '?', '!'], "")
}

#[test]
fn ctrl_c_leaves_the_walk_open_and_keeps_what_was_logged() {
    if !models_are_there() {
        return;
    }
    let Some(studio) = Studio::start() else { return };
    let home = Home::new();
    let walking = Walking::begin(&home, &studio, &["--mute", "--no-check", "--mic"]);
    walking.wait_for("hears default at");
    walking.wait_for("Step 1 of 3");
    walking.say(&studio, "step done", "Logged.");
    walking.wait_for("Step 2 of 3");
    walking.interrupt();
    walking.wait_for("The walk is open");
    assert_eq!(walking.code(), Some(0));
    let said = home.typed(["walk", "L-1", "short-check", "--by", "X", "--keys", "--mute"], "");
    assert!(said.well().contains("2 steps to go"));
}

#[test]
fn without_a_microphone_it_says_so_and_doctor_lists_what_is_there() {
    if !models_are_there() {
        return;
    }
    let Some(studio) = Studio::start() else { return };
    let home = Home::new();
    let walking =
        Walking::begin(&home, &studio, &["--mute", "--no-check", "--mic", "no such thing"]);
    assert_eq!(walking.code(), Some(1));

    let mut command = home.command(["doctor"]);
    let ran = studio.inside(&mut command).output().unwrap();
    let told = String::from_utf8(ran.stdout).unwrap();
    let line = |part: &str| told.lines().find(|line| line.starts_with(part)).unwrap().to_owned();
    let microphone = line("microphone");
    assert!(microphone.contains("works: default at") && microphone.contains("dB below"), "{told}");
    assert!(microphone.contains("headset (Headset Example)"), "{told}");
    assert!(line("speaker").contains("works: espeak-ng speaks"), "{told}");
    home.write("data/chalkhand.toml", "microphone = \"gone\"\nloudspeaker = \"gone\"\n");
    let mut command = home.command(["doctor"]);
    let told = studio.inside(&mut command).output().unwrap();
    let told = String::from_utf8(told.stdout).unwrap();
    assert_eq!(told.matches("no sound device has `gone` in its name").count(), 2, "{told}");
}

/// A recording that breaks off and goes on elsewhere.
struct Broken {
    frames: std::vec::IntoIter<[f32; FRAME]>,
    given: usize,
    gap_at: usize,
}

impl FrameSource for Broken {
    fn next_frame(&mut self) -> Result<Option<[f32; FRAME]>, VoiceError> {
        self.given += 1;
        Ok(self.frames.next())
    }

    fn missing(&mut self) -> Missing {
        if self.given == self.gap_at { Missing::Before } else { Missing::Nothing }
    }
}

#[test]
fn what_was_half_heard_before_a_gap_counts_for_nothing() {
    if !models_are_there() {
        return;
    }
    let recogniser = Recogniser::load(&Config::of_environment(None).unwrap().models).unwrap();
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("said.wav");
    render("four and a half inches, the weather looks bad today", "en-us", 150, &path).unwrap();
    let mut file = FileFrames::new(std::fs::File::open(&path).unwrap()).unwrap();
    let mut frames = vec![[0.0; FRAME]; 50];
    while let Some(frame) = file.next_frame().unwrap() {
        frames.push(frame);
    }
    frames.extend([[0.0; FRAME]; 60]);
    let listen = |gap_at| {
        let source = Broken { frames: frames.clone().into_iter(), given: 0, gap_at };
        let mut ear = Ear::new(source, recogniser.vad(), Endpoints::default());
        let Listened::Speech(segment) = ear.listen(None).unwrap() else { panic!("no speech") };
        segment
    };
    let whole = listen(usize::MAX);
    assert!(whole.start_ms < 1_200, "{}", whole.start_ms);
    let half = listen(90);
    assert!(1_750 <= half.start_ms, "{}", half.start_ms);
    assert!(half.length_ms() < whole.length_ms());
}
