//! A walk by voice from the outside: the hearing check before it, and when the
//! ear was open in the log around it.

use std::path::PathBuf;

use super::super::home::{Home, zone};
use super::Terms;
use super::check::holding;
use super::sound::SoundCrew;
use crate::config::Config;
use crate::daemon::{self, Crew, Left, Listening, OpenEar};
use crate::domain::walk::{Hearing, Prompt};
use crate::domain::{At, JobFile, WalkId};
use crate::voice::FrameSource;

/// Recordings as a source is named.
pub(in crate::cli) fn name_of(files: &[PathBuf]) -> String {
    let name = |file: &PathBuf| {
        file.file_name().map_or_else(String::new, |name| name.to_string_lossy().into_owned())
    };
    match files {
        [] => format!("no {RECORDING}"),
        [file] => format!("the {RECORDING} {}", name(file)),
        [first, more @ ..] => {
            format!("the {RECORDING}s {} and {} more", name(first), more.len())
        }
    }
}

const RECORDING: &str = "recording";

/// Whether what was checked is what hears now: the same microphone, or recordings
/// both times. A check says nothing of another microphone.
fn is_alike(checked: &str, hears: &str) -> bool {
    let is_recorded = |source: &str| {
        source.split(' ').nth(1).is_some_and(|word| {
            word.strip_prefix(RECORDING).is_some_and(|end| ["", "s"].contains(&end))
        })
    };
    checked == hears || (is_recorded(checked) && is_recorded(hears))
}

/// What a walk by voice begins with: a check that still holds, a new one, or,
/// where it is not wanted, the sentence that there is none. A verdict that holds
/// counts even where no new check is wanted.
#[expect(clippy::too_many_arguments, reason = "a walk and a crew, each whole")]
pub(super) fn before<S: FrameSource>(
    config: &Config,
    home: &mut Home,
    file: &JobFile,
    by: &str,
    source: &str,
    wanted: bool,
    crew: &mut SoundCrew<'_, S>,
    clock: impl Fn() -> At,
) -> anyhow::Result<Listening> {
    let number = &file.job.number;
    let (source, keeps) = (source.to_owned(), daemon::keeps(config.keep_sound));
    let held = holding(home, number, by, config.hearing_check_h, &zone(&file.job)?)?;
    let mut check = held.filter(|held| is_alike(&held.check.source, &source)).map(|held| held.seq);
    match check {
        Some(_) => {}
        None if wanted => {
            let found = daemon::check_hearing(crew, &source)?;
            check = Some(daemon::log_check(&mut home.store, number, by, clock(), found)?);
        }
        None => Crew::say(crew, &Prompt::NotChecked)?,
    }
    Ok(Listening { source, keeps, check })
}

/// Walks, and logs when the ear was opened and closed.
#[expect(clippy::too_many_arguments, reason = "a walk and a crew, each whole")]
pub(in crate::cli) fn listened<C>(
    config: &Config,
    home: &mut Home,
    file: &JobFile,
    id: &WalkId,
    by: &str,
    listening: &Listening,
    crew: &mut C,
    clock: impl Fn() -> At,
) -> anyhow::Result<Left>
where
    C: Crew,
    C::Error: std::error::Error + Send + Sync + 'static,
{
    super::ready(home, file, &id.checklist)?;
    let number = file.job.number.as_str();
    let open = OpenEar::open(&mut home.store, (number, id, by), listening, clock())?;
    let hearing = match listening.check {
        Some(_) => Hearing::Checked,
        None => Hearing::NotChecked,
    };
    // With the check and the opening in what stands.
    let file = home.job(number)?;
    let terms = Terms { translated: None, hearing };
    let left = super::walk(config, home, &file, id, by, terms, crew, &clock);
    // However it was left, the ear is closed.
    let closed = open.close(&mut home.store, clock());
    let left = left?;
    closed?;
    Ok(left)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_check_holds_for_its_own_microphone() {
        let files: Vec<PathBuf> = ["a.wav", "b.wav"].map(PathBuf::from).to_vec();
        let recorded = [name_of(&[]), name_of(&files[..1]), name_of(&files)];
        assert_eq!(recorded[2], "the recordings a.wav and 1 more");
        for one in &recorded {
            assert!(recorded.iter().all(|other| is_alike(one, other)), "{one}");
            assert!(!is_alike(one, "Helmet microphone") && !is_alike("Helmet microphone", one));
        }
        assert!(is_alike("Helmet microphone", "Helmet microphone"));
        assert!(!is_alike("Helmet microphone", "USB microphone"));
        assert!(!is_alike("the recorder", "the recordings a.wav and 1 more"));
    }
}
