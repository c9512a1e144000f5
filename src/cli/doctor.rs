//! `chalkhand doctor`: what works here, and what to do where it does not.

use std::collections::BTreeSet;
use std::path::Path;

use jiff::tz::TimeZone;

use super::home::Home;
use super::kept;
use super::out::Out;
use super::voices;
use crate::config::Config;
use crate::daemon;
use crate::domain::{How, Json, What};
use crate::sound::{RATE_HZ, clip_sha256, level_dbfs};
use crate::speech::Wording;
use crate::store::Clips;
use crate::voice::{self, FrameSource, Leave, Microphone, Recogniser, VoiceError, Way};

#[derive(Debug, clap::Args)]
pub(super) struct Arguments {
    /// As JSON
    #[arg(long)]
    json: bool,
}

/// One thing looked at.
struct Finding {
    part: &'static str,
    works: bool,
    says: String,
}

/// Room for a season of entries and their sound.
const LEAST_FREE_MIB: u64 = 200;

pub(super) fn run(config: &Config, arguments: &Arguments, out: &mut Out) -> anyhow::Result<()> {
    let findings = [
        database(config),
        disk(&config.data),
        clock(config),
        clips(config),
        photos(config),
        models(config),
        speaker(config),
        natural_voice(config),
        microphone(config),
    ];
    if arguments.json {
        let all = findings.iter().map(|finding| {
            Json::object([
                ("part", finding.part.into()),
                ("works", Json::Bool(finding.works)),
                ("says", Json::text(&finding.says)),
            ])
        });
        out.json(&Json::List(all.collect()))?;
    } else {
        for Finding { part, works, says } in &findings {
            let works = if *works { "works" } else { "does not work" };
            out.line(&format!("{part:<11} {works}: {says}"))?;
        }
    }
    let needed = findings.iter().filter(|f| matches!(f.part, "database" | "disk" | "clock"));
    if needed.clone().any(|finding| !finding.works) {
        anyhow::bail!("a part that every walk needs does not work; see above what to do");
    }
    Ok(())
}

fn database(config: &Config) -> Finding {
    let part = "database";
    let checked = Home::open(config).and_then(|home| {
        let checked = home.store.check_chain()?;
        super::seal::holds(&home)?;
        Ok(checked)
    });
    match checked {
        Ok((entries, _)) => {
            let path = config.log();
            let says = format!("{}, {entries} entries, the chain holds", path.display());
            Finding { part, works: true, says }
        }
        Err(error) => Finding { part, works: false, says: format!("{error:#}") },
    }
}

/// Clips against the entries that name them.
fn clips(config: &Config) -> Finding {
    let part = "clips";
    match wrong_clips(config) {
        Ok((whole, wrong)) if wrong.is_empty() => {
            let says = match whole {
                0 => "none is kept here".to_owned(),
                1 => "1 clip, as it was heard".to_owned(),
                whole => format!("{whole} clips, each as it was heard"),
            };
            Finding { part, works: true, says }
        }
        Ok((_, wrong)) => Finding { part, works: false, says: wrong.join("; ") },
        Err(error) => Finding { part, works: false, says: format!("{error:#}") },
    }
}

/// Photos against the entries that name them.
fn photos(config: &Config) -> Finding {
    let part = "photos";
    let (works, says) = match kept::wrong_photos(config) {
        Ok((whole, wrong)) if wrong.is_empty() => match whole {
            0 => (true, "none is kept here".to_owned()),
            1 => (true, "1 photo, as it was kept".to_owned()),
            whole => (true, format!("{whole} photos, each as it was kept")),
        },
        Ok((_, wrong)) => (false, wrong.join("; ")),
        Err(error) => (false, format!("{error:#}")),
    };
    Finding { part, works, says }
}

/// How many clips are whole, and what is wrong with the others.
fn wrong_clips(config: &Config) -> anyhow::Result<(usize, Vec<String>)> {
    let clips = Clips::of(&config.data);
    let entries = Home::open(config)?.store.with_sound()?;
    let (mut whole, mut wrong, mut named) = (0, Vec::new(), BTreeSet::new());
    for entry in &entries {
        if let How::Voice(heard) = &entry.draft.how {
            named.insert(heard.sound);
        }
        let What::Noted { clip: Some(clip), .. } = &entry.draft.what else { continue };
        named.insert(clip.sound);
        if clips.read(clip.sound)?.is_none() {
            let (seq, job, path) = (entry.seq, &entry.draft.job, clip.path());
            wrong.push(format!(
                "the clip `{path}` of the note in entry {seq} of job {job} is missing: look for \
                 it in a backup; the words of the note stand"
            ));
        }
    }
    let (imported, _) = kept::imported(config)?;
    for (path, sound) in clips.files()? {
        if imported.contains(&path) {
            whole += 1;
            continue;
        }
        let path = path.display();
        let Some(sound) = sound else {
            wrong.push(format!("`{path}` is no clip: move it out of there"));
            continue;
        };
        let bytes = clips.read(sound)?.unwrap_or_default();
        if clip_sha256(&bytes) != Some(sound.to_string()) {
            let by = entries.iter().find(|entry| match &entry.draft.how {
                How::Voice(heard) => heard.sound == sound,
                _ => false,
            });
            let of = by.map_or(String::new(), |by| format!(" of entry {}", by.seq));
            wrong.push(format!(
                "the clip `{path}`{of} was changed: it is not the sound that was heard; look for \
                 it in a backup"
            ));
        } else if !named.contains(&sound) {
            wrong.push(format!("no entry names the clip `{path}`: it was heard and not logged"));
        } else {
            whole += 1;
        }
    }
    Ok((whole, wrong))
}

fn disk(data: &Path) -> Finding {
    let part = "disk";
    match rustix::fs::statvfs(data) {
        Ok(disk) => {
            let free_mib = disk.f_bavail.saturating_mul(disk.f_frsize) >> 20;
            let works = LEAST_FREE_MIB <= free_mib;
            let what = if works { "" } else { "; make room before a walk" };
            Finding { part, works, says: format!("{free_mib} MiB free{what}") }
        }
        Err(error) => {
            let says = format!("`{}` cannot be looked at: {error}", data.display());
            Finding { part, works: false, says }
        }
    }
}

/// The clock of a machine that was off may be years back; the log knows.
fn clock(config: &Config) -> Finding {
    let part = "clock";
    let now = daemon::now(&TimeZone::system());
    let last = Home::open(config).ok().and_then(|home| home.store.last_at_ms().ok().flatten());
    match last {
        Some(last) if now.ms() < last => {
            let says = format!("it says {now}, which is before the last entry: set it right");
            Finding { part, works: false, says }
        }
        _ => Finding { part, works: true, says: now.to_string() },
    }
}

fn models(config: &Config) -> Finding {
    let part = "recogniser";
    match Recogniser::load(&config.models) {
        Ok(_) => {
            let says = format!("models in {}", config.models.display());
            Finding { part, works: true, says }
        }
        Err(error) => {
            let says = format!("{error}; until then walk with --keys");
            Finding { part, works: false, says }
        }
    }
}

fn speaker(config: &Config) -> Finding {
    let part = "speaker";
    let mut mouth =
        voices::mouth(config, None, Some("espeak"), &Wording::default(), &Leave::default());
    mouth.say("logbook");
    let others = others(Way::Out);
    match mouth.trouble() {
        None => {
            let name = config.loudspeaker.as_deref().unwrap_or("the default device");
            Finding { part, works: true, says: format!("espeak-ng speaks on {name}{others}") }
        }
        Some(why) => {
            let says = format!("{why}; walks show what would be said{others}");
            Finding { part, works: false, says }
        }
    }
}

fn natural_voice(config: &Config) -> Finding {
    let part = "voice";
    let chosen = config.voice == crate::daemon::NATURAL;
    match voices::natural(config) {
        Ok(_) if chosen => Finding { part, works: true, says: "the natural voice speaks".into() },
        Ok(_) => {
            let says = "espeak-ng speaks; `voice = \"joe\"` in chalkhand.toml chooses another";
            Finding { part, works: true, says: says.to_owned() }
        }
        Err(VoiceError::NoVoice(_)) if !chosen => {
            Finding { part, works: true, says: "espeak-ng speaks".to_owned() }
        }
        Err(error) => {
            let says = format!("{error}; until then espeak-ng speaks");
            Finding { part, works: !chosen, says }
        }
    }
}

/// Heard before it is called working.
fn microphone(config: &Config) -> Finding {
    let part = "microphone";
    let others = others(Way::In);
    match listened(config.microphone.as_deref()) {
        Ok(says) => Finding { part, works: true, says: format!("{says}{others}") },
        Err(error) => Finding { part, works: false, says: format!("{error}{others}") },
    }
}

/// Listens for a second.
fn listened(wanted: Option<&str>) -> Result<String, VoiceError> {
    let mut microphone = Microphone::open(wanted, Leave::default())?;
    let mut samples = Vec::new();
    while samples.len() < usize::try_from(RATE_HZ).unwrap_or(0) {
        let Some(frame) = microphone.next_frame()? else { break };
        samples.extend_from_slice(&frame);
    }
    let opened = microphone.opened();
    let level = level_dbfs(&samples);
    Ok(format!("{} at {} Hz, {level:.0} dB below full scale", opened.name, opened.rate_hz))
}

/// The names that settings may use.
fn others(way: Way) -> String {
    match voice::usable(way) {
        Ok(devices) if devices.is_empty() => "; no device can be opened".to_owned(),
        Ok(devices) => {
            let names: Vec<String> = devices.iter().map(ToString::to_string).collect();
            format!("; can be opened: {}", names.join(", "))
        }
        Err(error) => format!("; {error}"),
    }
}
