//! Invented voices: Debian's synthesizers with a random voice, speed and pitch.
//! What was once said is kept by its content. None of it is a person.

use std::io::Write as _;
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};

use anyhow::{Context, ensure};
use fastrand::Rng;
use sha2::{Digest, Sha256};

use crate::voice::{FrameSource, WavSource};

const ACCENTS: [&str; 8] = [
    "en-us",
    "en-us",
    "en-us",
    "en-gb",
    "en-gb-scotland",
    "en-gb-x-rp",
    "en-gb-x-gbclan",
    "en-029",
];
const VARIANTS: [&str; 13] =
    ["m1", "m2", "m3", "m4", "m5", "m6", "m7", "m8", "f1", "f2", "f3", "f4", "f5"];
const FLITE: [&str; 4] = ["kal16", "awb", "rms", "slt"];
const FESTIVAL: [&str; 2] = ["kal_diphone", "ked_diphone"];

/// One way to speak.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) struct Voice {
    engine: Engine,
    name: String,
    /// Of a hundred, the engine's own pace being 100.
    pace: u32,
    /// Of a hundred, the middle being 50.
    pitch: u32,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Engine {
    Espeak,
    Flite,
    Festival,
}

impl std::fmt::Display for Voice {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        let Voice { engine, name, pace, pitch } = self;
        let engine = format!("{engine:?}").to_lowercase();
        write!(f, "{engine} {name} pace {pace} pitch {pitch}")
    }
}

/// The synthesizers of this machine, and the folder that keeps what they said.
#[derive(Debug)]
pub(super) struct Synthesizers {
    folder: PathBuf,
    /// With the voices each one has.
    engines: Vec<(Engine, Vec<&'static str>)>,
}

impl Synthesizers {
    pub(super) fn find(folder: &Path) -> anyhow::Result<Self> {
        std::fs::create_dir_all(folder)
            .with_context(|| format!("`{}` cannot be made", folder.display()))?;
        let has = |program: &str, option: &str| {
            let mut command = Command::new(program);
            command.arg(option).stdin(Stdio::null()).stdout(Stdio::null()).stderr(Stdio::null());
            command.status().is_ok()
        };
        ensure!(has("espeak-ng", "--version"), "espeak-ng is missing: install it, it is the voice");
        // It stands for most of the crew: it has by far the most voices.
        let mut engines = vec![(Engine::Espeak, Vec::new()); 4];
        if has("flite", "--version") {
            engines.extend([(Engine::Flite, FLITE.to_vec()), (Engine::Flite, FLITE.to_vec())]);
        }
        let voices = Path::new("/usr/share/festival/voices/english");
        let there = |name: &&str| voices.join(name).is_dir();
        let festival: Vec<&str> = FESTIVAL.into_iter().filter(there).collect();
        if !festival.is_empty() && has("text2wave", "--help") {
            engines.push((Engine::Festival, festival));
        }
        Ok(Self { folder: folder.to_owned(), engines })
    }

    /// Anybody.
    pub(super) fn somebody(&self, rng: &mut Rng) -> Voice {
        let at = rng.usize(0..self.engines.len().max(1));
        let (engine, names) = self.engines.get(at).cloned().unwrap_or((Engine::Espeak, Vec::new()));
        let pace = rng.u32(17..=24) * 5;
        let pitch = rng.u32(7..=13) * 5;
        let name = match rng.choice(&names) {
            Some(name) => (*name).to_owned(),
            None => {
                let accent = rng.choice(ACCENTS).unwrap_or("en-us");
                format!("{accent}+{}", rng.choice(VARIANTS).unwrap_or("m1"))
            }
        };
        Voice { engine, name, pace, pitch }
    }

    /// What a voice says, at 16 kHz.
    pub(super) fn say(&self, voice: &Voice, text: &str) -> anyhow::Result<Vec<f32>> {
        let digest = Sha256::digest(format!("{voice}\n{text}"));
        let name: String = digest.iter().take(12).map(|byte| format!("{byte:02x}")).collect();
        let path = self.folder.join(format!("{name}.wav"));
        if !path.is_file() {
            // Others may say the same at this moment.
            let part = self.folder.join(format!("{name}.{}.part", std::process::id()));
            speak(voice, text, &part).with_context(|| format!("{voice} cannot say `{text}`"))?;
            std::fs::rename(&part, &path)
                .with_context(|| format!("`{}` could not be written", path.display()))?;
        }
        let mut source = WavSource::new([path], 0);
        let mut samples = Vec::new();
        while let Some(frame) = source.next_frame()? {
            samples.extend(frame);
        }
        Ok(samples)
    }
}

fn speak(voice: &Voice, text: &str, path: &Path) -> anyhow::Result<()> {
    let Voice { engine, name, pace, pitch } = voice;
    let slower = format!("{:.2}", 100.0 / f64::from(*pace));
    let mut command = match engine {
        Engine::Espeak => {
            let mut command = Command::new("espeak-ng");
            let words_per_minute = pace * 3 / 2;
            command.args(["-v", name, "-s", &words_per_minute.to_string()]);
            command.args(["-p", &pitch.to_string(), "-w"]).arg(path).arg("--stdin");
            command
        }
        Engine::Flite => {
            let mut command = Command::new("flite");
            command.args(["-voice", name, "--setf", &format!("duration_stretch={slower}")]);
            command.args(["-t", text, "-o"]).arg(path);
            command
        }
        Engine::Festival => {
            let mut command = Command::new("text2wave");
            let set = format!("(Parameter.set 'Duration_Stretch {slower})");
            command.args(["-eval", &format!("(begin (voice_{name}) {set})"), "-o"]).arg(path);
            command
        }
    };
    let mut child =
        command.stdin(Stdio::piped()).stdout(Stdio::null()).stderr(Stdio::null()).spawn()?;
    if let Some(mut stdin) = child.stdin.take() {
        // One of the three does not read it.
        let _ = writeln!(stdin, "{text}");
    }
    let status = child.wait()?;
    ensure!(status.success() && path.is_file(), "the synthesizer failed ({status})");
    Ok(())
}
