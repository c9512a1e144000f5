//! `chalkhand walk`: a checklist on a job, by keys, by recordings or by a live
//! microphone.

mod check;
mod ear;
mod keys;
mod language;
mod live;
mod sound;

use std::path::PathBuf;
use std::sync::Arc;

use anyhow::bail;
use jiff::tz::TimeZone;

use super::home::{Home, now, plain, stranger, zone};
use super::out::Out;
use super::voices;
use crate::config::Config;
use crate::daemon::{self, Crew, Left, WalkError};
use crate::domain::walk::{Hearing, Setting, Walk};
use crate::domain::{At, Checklist, JobFile, Language, WalkId, walk_id};
use crate::office;
use crate::store::Clips;
use crate::voice::{self, Leave, Mouth, Queued, Recogniser, WavSource};

pub(super) use ear::{listened, name_of};
pub(super) use live::{leave_on_interrupt, microphone};
pub(super) use sound::{CrewError, Screen, SoundCrew};

#[derive(Debug, clap::Args)]
pub(super) struct Arguments {
    /// The job's number
    job: String,
    /// The checklist's identifier
    checklist: String,
    /// Begin a further walk of the checklist once the last one has ended
    #[arg(long)]
    again: bool,
    #[command(flatten)]
    how: How,
}

/// Who walks, and how it is answered and spoken.
#[derive(Debug, clap::Args)]
pub(super) struct How {
    /// Who walks
    #[arg(long, value_name = "NAME")]
    pub(super) by: String,
    /// Answer with the keyboard
    #[arg(long, conflicts_with_all = ["wav", "mic"], required_unless_present_any = ["wav", "mic"])]
    keys: bool,
    /// Answer with recordings, played one after another as a microphone would
    #[arg(long, value_name = "FILE", num_args = 1.., conflicts_with = "mic")]
    wav: Vec<PathBuf>,
    /// Take spoken answers without a hearing check; the log says so
    #[arg(long, conflicts_with = "keys")]
    no_check: bool,
    /// Answer by voice into a microphone: any part of its name, or the default one
    #[arg(long, value_name = "DEVICE", num_args = 0..=1)]
    mic: Option<Option<String>>,
    /// Speak through this loudspeaker: any part of its name
    #[arg(long, value_name = "DEVICE")]
    speaker: Option<String>,
    /// Speak with this voice
    #[arg(long, value_parser = crate::config::VOICES)]
    voice: Option<String>,
    /// Show what would be said and stay silent
    #[arg(long)]
    mute: bool,
    /// In which language, instead of the person's own in the job file: en, es
    #[arg(long, value_name = "CODE", value_parser = language::parse)]
    language: Option<Language>,
}

/// Silence between two recordings, in milliseconds: longer than the pause that
/// ends an utterance.
const SILENCE_MS: u32 = 1_200;

pub(super) fn run(config: &Config, arguments: &Arguments, out: &mut Out) -> anyhow::Result<()> {
    arguments.how.check()?;
    let mut home = Home::open(config)?;
    let file = home.job(&arguments.job)?;
    let checklist = office::pinned(&file, &arguments.checklist).map_err(plain)?;
    let (standing, now) = (&file.standing, now(&file.job)?);
    let id = walk_id::taken_up(standing, checklist, arguments.again, now)?;
    if standing.walks.get(&id).is_some_and(|walk| walk.ended.is_some()) {
        out.line(&format!(
            "({id} has ended; a further walk begins with: chalkhand walk {} {} --again)",
            file.job.number, id.checklist
        ))?;
    } else if 1 < id.nth {
        out.line(&format!("({id}: walk {} of this checklist on this job)", id.nth))?;
    }
    walk_as(config, &mut home, &file, &id, &arguments.how, out)
}

impl How {
    pub(super) fn check(&self) -> anyhow::Result<()> {
        if self.by.trim().is_empty() {
            bail!("say who walks: --by NAME");
        }
        Ok(())
    }
}

/// Takes up that walk as it was asked for.
pub(super) fn walk_as(
    config: &Config,
    home: &mut Home,
    file: &JobFile,
    list: &WalkId,
    arguments: &How,
    out: &mut Out,
) -> anyhow::Result<()> {
    if let Some(says) = stranger(&file.job, &arguments.by) {
        out.line(&format!("({says})"))?;
    }
    let spoken = language::choose(config, file, &list.checklist, arguments)?;
    if let Some(note) = &spoken.note {
        out.line(&format!("({note})"))?;
    }
    let (wording, words) = (spoken.wording.clone(), spoken.wording.check()?);
    if !arguments.keys && !words.heard {
        bail!("no recogniser for {} yet; walk with --keys", words.name);
    }
    let leave = Leave::default();
    let mut mouth = match arguments.mute {
        true => Mouth::muted(),
        false => {
            let (speaker, voice) = (arguments.speaker.as_deref(), arguments.voice.as_deref());
            voices::mouth(config, speaker, voice, &wording, &leave)
        }
    };
    if let Some(trouble) = mouth.trouble() {
        out.line(&format!("({trouble}; what would be said is shown)"))?;
    }
    let by = arguments.by.as_str();
    let zone: TimeZone = zone(&file.job)?;
    let clock = || daemon::now(&zone);
    let left = if arguments.keys {
        let mut crew = keys::KeysCrew::new(Screen::new(out, mouth, file.job.units, wording));
        let terms = Terms { translated: spoken.checklist, hearing: Hearing::NotChecked };
        walk(config, home, file, list, by, terms, &mut crew, clock)?
    } else if let Some(wanted) = &arguments.mic {
        ready(home, file, &list.checklist)?;
        let recogniser = Arc::new(Recogniser::load(&config.models)?);
        let wanted = wanted.as_deref().or(config.microphone.as_deref());
        live::leave_on_interrupt(&leave)?;
        let microphone = live::microphone(wanted, leave, out)?;
        let source = microphone.opened().name.clone();
        let screen = Screen::new(out, mouth, file.job.units, wording);
        let mut crew = SoundCrew::live(screen, recogniser, microphone)
            .keeping(Clips::of(&config.data), daemon::keeps(config.keep_sound));
        let wanted = !arguments.no_check;
        let listening = ear::before(config, home, file, by, &source, wanted, &mut crew, clock)?;
        listened(config, home, file, list, by, &listening, &mut crew, clock)?
    } else {
        ready(home, file, &list.checklist)?;
        // Recordings are looked at before the first word is said.
        let mut length_ms: u64 = 0;
        for wav in &arguments.wav {
            if !wav.is_file() {
                bail!("`{}` is no recording: check the name", wav.display());
            }
            length_ms += voice::length_ms(wav)? + u64::from(SILENCE_MS);
        }
        let recogniser = Arc::new(Recogniser::load(&config.models)?);
        let source = WavSource::new(arguments.wav.clone(), SILENCE_MS);
        let source = Queued::start(source, Queued::ROOM)?;
        let screen = Screen::new(out, mouth, file.job.units, wording);
        let mut crew = SoundCrew::new(screen, recogniser, source)
            .keeping(Clips::of(&config.data), daemon::keeps(config.keep_sound));
        // Its time is that of the sound, as if the recordings ended just now.
        let (ended, heard_ms) = (clock().instant(), crew.heard_ms());
        let clock = || {
            let left_ms = length_ms.saturating_sub(heard_ms.get());
            let left = i64::try_from(left_ms).unwrap_or(i64::MAX);
            let at = ended.checked_sub(jiff::SignedDuration::from_millis(left));
            At::new(at.unwrap_or(ended), &zone)
        };
        let source = name_of(&arguments.wav);
        let wanted = !arguments.no_check;
        let listening = ear::before(config, home, file, by, &source, wanted, &mut crew, clock)?;
        listened(config, home, file, list, by, &listening, &mut crew, clock)?
    };
    match left {
        Left::Finished => Ok(()),
        Left::Held => Ok(out.line(&waiting(&home.job(&file.job.number)?))?),
        Left::Open => Ok(out.line(
            "The walk is open. What was logged stays; the same command goes on where it was left.",
        )?),
    }
}

/// Which hold points wait, and how they are released.
fn waiting(file: &JobFile) -> String {
    let job = &file.job.number;
    let lines = super::release::waiting(file).into_iter().map(|(_, step, point)| {
        let role = &point.role;
        format!(
            "A hold point waits for the {role}: \
             chalkhand release {job} {step} --by NAME --role {role}"
        )
    });
    lines.collect::<Vec<_>>().join("\n")
}

/// In whose words somebody is walked, and how far the ear is trusted.
pub(super) struct Terms {
    /// The pinned checklist in another language; none in its own words.
    pub(super) translated: Option<Arc<Checklist>>,
    pub(super) hearing: Hearing,
}

/// Walks one checklist of a job with a crew.
#[expect(clippy::too_many_arguments, reason = "a walk and a crew, each whole")]
pub(super) fn walk<C>(
    config: &Config,
    home: &mut Home,
    file: &JobFile,
    id: &WalkId,
    by: &str,
    terms: Terms,
    crew: &mut C,
    clock: impl Fn() -> At,
) -> anyhow::Result<Left>
where
    C: Crew,
    C::Error: std::error::Error + Send + Sync + 'static,
{
    let pinned = ready(home, file, &id.checklist)?;
    let setting = Setting {
        checklist: terms.translated.unwrap_or(pinned),
        walk: id.clone(),
        profile: file.profile.clone(),
        functions: Arc::clone(&home.functions),
        job: file.job.number.clone(),
        by: by.to_owned(),
        units: file.job.units,
        session: uuid::Uuid::new_v4().to_string(),
        window_ms: i64::from(config.window_s) * 1000,
        hearing: terms.hearing,
    };
    let span = tracing::info_span!("walk", job = %file.job.number, walk = %id, by);
    let _entered = span.enter();
    let mut walk = Walk::new(setting, file.standing.clone());
    daemon::walk(&mut home.store, &mut walk, crew, clock).map_err(|error| match error {
        WalkError::Store(error) => error.into(),
        WalkError::Crew(error) => anyhow::Error::new(error),
    })
}

/// The checklist, where the job pins it and it can begin.
fn ready(home: &Home, file: &JobFile, checklist: &str) -> anyhow::Result<Arc<Checklist>> {
    let pinned = office::pinned(file, checklist).map_err(plain)?;
    office::facts_are_known(&home.functions, file, pinned).map_err(plain)?;
    Ok(Arc::clone(pinned))
}
