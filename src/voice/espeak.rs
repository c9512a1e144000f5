//! The espeak-ng program: text to sound, text to a WAV file, text to phonemes.
//! It plays nothing.

use std::io::Read;
use std::path::Path;
use std::process::{Command, Stdio};
use std::time::{Duration, Instant};

use super::VoiceError;
use super::loudspeaker::Sound;
use super::mouth::Voice;
use crate::sound::WavStream;

/// The program that speaks.
const PROGRAM: &str = "espeak-ng";
/// Slower than it ever is, so that only a stuck program is ended.
const SLOWEST_MS_PER_BYTE: u64 = 250;
const LEAST_MS: u64 = 5_000;
/// An hour of speech at its rate; more is a mistake.
const MOST_BYTES: u64 = 1 << 28;

/// Speaks with the program.
#[derive(Clone, Debug)]
pub struct Espeak {
    voice: String,
    words_per_minute: u32,
}

impl Espeak {
    /// A voice of the program at a speed; a voice without a name is `en-us`.
    ///
    /// # Errors
    /// When the program is missing.
    pub fn new(voice: &str, words_per_minute: u32) -> Result<Espeak, VoiceError> {
        let mut command = Command::new(PROGRAM);
        command.arg("--version");
        run(&mut command, "").map_err(VoiceError::Speech)?;
        Ok(Espeak { voice: voice.to_owned(), words_per_minute })
    }
}

impl Voice for Espeak {
    fn speak(&mut self, text: &str) -> Result<Sound, VoiceError> {
        let mut command = speaking(&self.voice, self.words_per_minute, text);
        command.arg("--stdout");
        let wav = run(&mut command, text).map_err(VoiceError::Speech)?;
        let refused = |why: crate::sound::SoundError| {
            VoiceError::Speech(format!("{PROGRAM} gave no sound: {why}"))
        };
        let mut wav = WavStream::new(wav.as_slice()).map_err(refused)?;
        let mut sound = Sound { samples: Vec::new(), rate_hz: wav.rate_hz() };
        while 0 < wav.read(&mut sound.samples, 65_536).map_err(refused)? {}
        Ok(sound)
    }
}

/// Speaks into a WAV file instead, at the program's own rate.
///
/// # Errors
/// When the program is missing or refuses.
pub fn render(
    text: &str,
    voice: &str,
    words_per_minute: u32,
    path: &Path,
) -> Result<(), VoiceError> {
    let mut command = speaking(voice, words_per_minute, text);
    command.arg("-w").arg(path);
    run(&mut command, text).map(drop).map_err(VoiceError::Speech)
}

/// The phonemes of a text in the international alphabet, a clause a line.
///
/// # Errors
/// When the program is missing or refuses.
pub(super) fn phonemes(text: &str, voice: &str) -> Result<String, VoiceError> {
    let mut command = speaking(voice, 165, text);
    command.args(["-q", "--ipa"]);
    let ipa = run(&mut command, text).map_err(VoiceError::Speech)?;
    Ok(String::from_utf8_lossy(&ipa).into_owned())
}

fn speaking(voice: &str, words_per_minute: u32, text: &str) -> Command {
    let mut command = Command::new(PROGRAM);
    command
        .arg("-v")
        .arg(if voice.is_empty() { "en-us" } else { voice })
        .arg("-s")
        .arg(words_per_minute.clamp(80, 450).to_string());
    // Text that begins with a dash is text all the same; one with a nul is not.
    command.arg(format!(" {}", text.replace('\0', " ")));
    command
}

/// Runs the program to its end, or ends it when it is stuck; gives what it
/// printed.
fn run(command: &mut Command, text: &str) -> Result<Vec<u8>, String> {
    let missing = |why: std::io::Error| format!("{PROGRAM} cannot be started ({why}); install it");
    let lost = |why: std::io::Error| format!("{PROGRAM} was lost: {why}");
    let mut child = command
        .stdin(Stdio::null())
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .map_err(missing)?;
    let (out, err) = (child.stdout.take(), child.stderr.take());
    let printed = read(out);
    let complained = read(err);
    let length = u64::try_from(text.len()).unwrap_or(u64::MAX);
    let most = Duration::from_millis(length.saturating_mul(SLOWEST_MS_PER_BYTE).max(LEAST_MS));
    let started = Instant::now();
    let status = loop {
        match child.try_wait().map_err(lost)? {
            Some(status) => break status,
            None if started.elapsed() < most => std::thread::sleep(Duration::from_millis(2)),
            None => {
                // Either may fail because it has just ended, which is as good.
                let _ = child.kill();
                let _ = child.wait();
                return Err(format!("{PROGRAM} did not end"));
            }
        }
    };
    let whole = |bytes: std::thread::JoinHandle<Vec<u8>>| bytes.join().unwrap_or_default();
    let (printed, complained) = (whole(printed), whole(complained));
    if !status.success() {
        let complained = String::from_utf8_lossy(&complained);
        return Err(format!("{PROGRAM} failed: {}", complained.trim()));
    }
    Ok(printed)
}

/// Reads on a thread of its own, so that a full pipe stops nobody.
fn read<R: Read + Send + 'static>(from: Option<R>) -> std::thread::JoinHandle<Vec<u8>> {
    std::thread::spawn(move || {
        let mut bytes = Vec::new();
        if let Some(from) = from {
            // What cannot be read counts as nothing said.
            let _ = from.take(MOST_BYTES).read_to_end(&mut bytes);
        }
        bytes
    })
}
