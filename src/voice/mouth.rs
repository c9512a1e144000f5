//! Speech out, through the espeak-ng program. A mouth that cannot speak says so
//! once and is silent from then on: the walk goes on by screen and touch.

use std::io::Read;
use std::path::Path;
use std::process::{Child, Command, Stdio};
use std::time::{Duration, Instant};

use super::VoiceError;

/// The program that speaks.
const PROGRAM: &str = "espeak-ng";
/// Slower than a person ever speaks, so that only a stuck program is ended.
const SLOWEST_MS_PER_BYTE: u64 = 250;
const LEAST_MS: u64 = 5_000;

/// The loudspeaker.
pub struct Mouth {
    voice: String,
    words_per_minute: u32,
    muted: bool,
    trouble: Option<String>,
}

impl Mouth {
    /// Finds the program. A missing one is told by [`Mouth::trouble`].
    pub fn new(voice: &str, words_per_minute: u32) -> Mouth {
        let mut mouth =
            Mouth { voice: voice.to_owned(), words_per_minute, muted: false, trouble: None };
        let found = Command::new(PROGRAM)
            .arg("--version")
            .stdin(Stdio::null())
            .stdout(Stdio::null())
            .stderr(Stdio::null())
            .status();
        if let Err(why) = found {
            mouth.mute(format!("{PROGRAM} cannot be started ({why}); install it to hear prompts"));
        }
        mouth
    }

    /// A mouth that never speaks.
    pub fn muted() -> Mouth {
        Mouth { voice: String::new(), words_per_minute: 0, muted: true, trouble: None }
    }

    /// Whether nothing will be heard.
    pub fn is_muted(&self) -> bool {
        self.muted
    }

    /// Why nothing can be heard, told once.
    pub fn trouble(&mut self) -> Option<String> {
        self.trouble.take()
    }

    /// Speaks, and returns when it is spoken. Trouble never stops the walk.
    pub fn say(&mut self, text: &str) {
        if self.muted || text.trim().is_empty() {
            return;
        }
        let mut command = speaking(&self.voice, self.words_per_minute, text);
        if let Err(why) = run(&mut command, text) {
            self.mute(why);
        }
    }

    fn mute(&mut self, why: String) {
        self.muted = true;
        self.trouble = Some(why);
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
    run(&mut command, text).map_err(VoiceError::Speech)
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

/// Runs the program to its end, or ends it when it is stuck.
fn run(command: &mut Command, text: &str) -> Result<(), String> {
    let mut child =
        command.stdin(Stdio::null()).stdout(Stdio::null()).stderr(Stdio::piped()).spawn().map_err(
            |why| format!("{PROGRAM} cannot be started ({why}); install it to hear prompts"),
        )?;
    let length = u64::try_from(text.len()).unwrap_or(u64::MAX);
    let most = Duration::from_millis(length.saturating_mul(SLOWEST_MS_PER_BYTE).max(LEAST_MS));
    let started = Instant::now();
    loop {
        match child.try_wait() {
            Ok(Some(status)) => return judged(&mut child, status.success()),
            Ok(None) if started.elapsed() < most => std::thread::sleep(Duration::from_millis(5)),
            Ok(None) => {
                // Either may fail because it has just ended, which is as good.
                let _ = child.kill();
                let _ = child.wait();
                return Err(format!("{PROGRAM} did not end; the loudspeaker may be in use"));
            }
            Err(why) => return Err(format!("{PROGRAM} was lost: {why}")),
        }
    }
}

/// The program ends well even when it found no loudspeaker; only its last words
/// tell.
fn judged(child: &mut Child, success: bool) -> Result<(), String> {
    let mut said = Vec::new();
    if let Some(stderr) = child.stderr.as_mut() {
        // What cannot be read counts as nothing said.
        let _ = stderr.take(65_536).read_to_end(&mut said);
    }
    let said = String::from_utf8_lossy(&said);
    let complaint = said.lines().find(|line| line.to_lowercase().starts_with("error"));
    match complaint {
        Some(complaint) => {
            Err(format!("{PROGRAM} found no loudspeaker it can use ({})", complaint.trim()))
        }
        None if !success => Err(format!("{PROGRAM} failed: {}", said.trim())),
        None => Ok(()),
    }
}
