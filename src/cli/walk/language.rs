//! In which words somebody is walked: the language asked for, or the person's
//! own in the job file, with the checklist's translation in it.

use std::sync::Arc;

use anyhow::bail;

use super::super::home::plain;
use super::How;
use crate::config::Config;
use crate::domain::{Checklist, JobFile, Language};
use crate::office;
use crate::speech::Wording;

/// What a walk is spoken in.
pub(super) struct Spoken {
    pub(super) wording: Wording,
    /// The pinned checklist in the other language; none in its own.
    pub(super) checklist: Option<Arc<Checklist>>,
    /// What the person should know of it.
    pub(super) note: Option<String>,
}

/// The language of a code on the command line.
pub(super) fn parse(code: &str) -> Result<Language, String> {
    let known = || Language::ALL.map(Language::code).join(", ");
    Language::of(code)
        .ok_or_else(|| format!("no language is called `{code}`; there are: {}", known()))
}

/// The language asked for, else that of the person, else English.
pub(super) fn choose(
    config: &Config,
    file: &JobFile,
    checklist: &str,
    arguments: &How,
) -> anyhow::Result<Spoken> {
    let mut of_person = file.job.people.iter().filter(|person| person.name == arguments.by);
    let of_person = of_person.find_map(|person| person.language);
    let language = arguments.language.or(of_person).unwrap_or_default();
    let wording = |language: Language| {
        Wording::of(language).with_call_word(&config.call_word).map_err(anyhow::Error::msg)
    };
    let Some(pinned) = file.checklist(checklist) else {
        return Ok(Spoken { wording: wording(language)?, checklist: None, note: None });
    };
    if language == Language::default() {
        return Ok(Spoken { wording: wording(language)?, checklist: None, note: None });
    }
    if let Some(checklist) = office::translated(config, pinned, language).map_err(plain)? {
        let wording = wording(language)?.with_choices(checklist.words.clone());
        return Ok(Spoken { wording, checklist: Some(Arc::new(checklist)), note: None });
    }
    let why = format!(
        "there is no {} translation of {} {}; put one at `{}`",
        language.name(),
        pinned.id,
        pinned.version,
        office::translation_path(config, pinned, language).display()
    );
    if arguments.language.is_some() {
        bail!("{why}, or walk with --language en");
    }
    let note = Some(format!("{why}; it is walked in English"));
    Ok(Spoken { wording: wording(Language::default())?, checklist: None, note })
}
