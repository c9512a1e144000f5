//! `chalkhand hearing --job`: reads phrases with a person, says which spoken answers
//! can be trusted here, and logs it.

use std::path::PathBuf;
use std::sync::Arc;

use anyhow::bail;

use super::home::{Home, now};
use super::out::Out;
use super::voices;
use super::walk::{Screen, SoundCrew, leave_on_interrupt, microphone, name_of};
use crate::config::Config;
use crate::daemon::{check_hearing, log_check};
use crate::speech::Wording;
use crate::voice::{self, Leave, Mouth, Queued, Recogniser, WavSource};

/// Who is heard, and through what.
#[derive(Debug, clap::Args)]
pub(super) struct Options {
    /// Who is heard
    #[arg(long, value_name = "NAME", requires = "job")]
    by: Option<String>,
    /// Listen with this microphone: any part of its name, or the default one
    #[arg(long, value_name = "DEVICE", num_args = 0..=1, requires = "job", conflicts_with = "wav")]
    mic: Option<Option<String>>,
    /// Recordings instead of a person: three seconds of the site without speech,
    /// then the phrases in their order
    #[arg(long, value_name = "FILE", num_args = 1.., requires = "job")]
    wav: Vec<PathBuf>,
    /// Show what would be said and stay silent
    #[arg(long, requires = "job")]
    mute: bool,
}

/// Silence after each recording, in milliseconds: longer than the pause that ends
/// an utterance.
const SILENCE_MS: u32 = 1_200;

pub(super) fn run(
    config: &Config,
    job: &str,
    arguments: &Options,
    out: &mut Out,
) -> anyhow::Result<()> {
    let by = arguments.by.as_deref().unwrap_or_default();
    if by.trim().is_empty() {
        bail!("say who is heard: --by NAME");
    }
    let mut home = Home::open(config)?;
    let file = home.job(job)?;
    for wav in &arguments.wav {
        if !wav.is_file() {
            bail!("`{}` is no recording: check the name", wav.display());
        }
        voice::length_ms(wav)?;
    }
    let wording =
        Wording::default().with_call_word(&config.call_word).map_err(anyhow::Error::msg)?;
    let leave = Leave::default();
    let mut mouth = match arguments.mute {
        true => Mouth::muted(),
        false => voices::mouth(config, None, None, &wording, &leave),
    };
    if let Some(trouble) = mouth.trouble() {
        out.line(&format!("({trouble}; what would be said is shown)"))?;
    }
    let recogniser = Arc::new(Recogniser::load(&config.models)?);
    let check = if let Some(wanted) = &arguments.mic {
        let wanted = wanted.as_deref().or(config.microphone.as_deref());
        leave_on_interrupt(&leave)?;
        let microphone = microphone(wanted, leave, out)?;
        let name = microphone.opened().name.clone();
        let screen = Screen::new(out, mouth, file.job.units, wording);
        check_hearing(&mut SoundCrew::live(screen, recogniser, microphone), &name)?
    } else {
        if arguments.wav.is_empty() {
            bail!("say what is listened to: --mic, or --wav FILE");
        }
        let source = WavSource::new(arguments.wav.clone(), SILENCE_MS);
        let source = Queued::start(source, Queued::ROOM)?;
        let name = name_of(&arguments.wav);
        let screen = Screen::new(out, mouth, file.job.units, wording);
        check_hearing(&mut SoundCrew::new(screen, recogniser, source), &name)?
    };
    let at = now(&file.job)?;
    let seq = log_check(&mut home.store, &file.job.number, by, at, check.clone())?;
    let found = crate::export::sound::checked(&check);
    Ok(out.line(&format!("logged as entry {seq} of job {}: {found}", file.job.number))?)
}
