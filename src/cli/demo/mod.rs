//! `chalkhand demo`: an invented install from survey to record. The crew's
//! speech is synthetic and goes through the real recogniser.

pub(super) mod clock;
mod crew;
mod picture;
pub(super) mod script;

use std::path::{Path, PathBuf};
use std::sync::Arc;

use anyhow::Context;

use super::home::{Home, plain};
use super::out::{Out, write_file};
use super::walk::{Screen, Terms, listened};
use crate::config::Config;
use crate::daemon::{Left, Listening};
use crate::domain::walk::Hearing;
use crate::domain::{FactName, Facts, How, JobFile, Keeps, WalkId, schedule};
use crate::export;
use crate::files;
use crate::office;
use crate::office::opening::{self, EXAMPLE_JOB, EXAMPLE_PROFILE, Opener};
use crate::office::photos::{self, Bringing, KeptAs, PhotoPlace};
use crate::photo;
use crate::speech::Wording;
use crate::voice::{Leave, Mouth, Recogniser};

use clock::Clock;
use crew::{Talker, Typist};
use script::{Mishaps, Script};

#[derive(Debug, clap::Args)]
pub(super) struct Arguments {
    /// Speak the prompts aloud
    #[arg(long)]
    aloud: bool,
    /// Walk all shipped checklists by voice, not only the install; takes minutes
    #[arg(long)]
    whole: bool,
}

/// The invented job with all shipped checklists and the facts that they ask beside.
const WHOLE: &str = include_str!("../../../packaging/demo-data/whole.toml");

/// The checklist that finds the facts of the sheet.
const SURVEY: &str = "site-survey";
/// Beside the name of the step that the picture is kept with.
const CAPTION: &str = "invented, drawn in place of a photo";
pub(super) const INSTALLER: &str = "Installer Example";

pub(super) fn run(mut config: Config, arguments: &Arguments, out: &mut Out) -> anyhow::Result<()> {
    // Beside real jobs nothing invented is written.
    if !is_chosen(&config) {
        config.data = config.data.join("demo");
    }
    let mut home = Home::open(&config)?;
    out.line("An invented install: company, address, people and product exist only here.")?;
    out.line("The crew's speech is synthetic (espeak-ng), heard by the real recogniser.")?;
    out.line(
        "Its clock is invented as well: yesterday from half past seven, so that work takes time.",
    )?;
    let profile = files::read_profile(EXAMPLE_PROFILE, "profile.toml")?;
    home.adopt_profile(&profile, EXAMPLE_PROFILE, "demo")?;
    let (opened, clock) = open(&mut home, arguments.whole)?;
    let Opened { number, checklists, found } = opened;
    out.line(&format!("\nJob {number} is open in {}", config.data.display()))?;

    let aloud = arguments.aloud;
    let mut demo = Demo { config: &config, home, number, found, clock, aloud, touched: 0 };
    let recordings = config.data.join("recordings");
    let hear = ears(&config, &recordings)?;
    for checklist in checklists {
        let survey = checklist == SURVEY;
        match &hear {
            _ if survey && !arguments.whole => {
                out.line("\nThe survey, typed:")?;
                demo.typed(&checklist, out)?;
            }
            Ok(recogniser) => {
                out.line(&format!("\n{checklist}, by voice:"))?;
                demo.heard(&checklist, recogniser, &recordings, out)?;
            }
            Err(missing) => {
                out.line(&format!("\n{missing:#}; {checklist} is typed instead:"))?;
                demo.typed(&checklist, out)?;
            }
        }
        demo.keep_photos(&checklist, out)?;
        if survey {
            out.line("\nThe sheet:")?;
            let file = demo.home.job(&demo.number)?;
            out.text(&export::sheet_text::sheet(&file.record_of_now(&demo.home.functions)))?;
        }
    }
    demo.write(out)
}

/// What hears the crew; an error of its own where the machine cannot.
fn ears(config: &Config, recordings: &Path) -> anyhow::Result<anyhow::Result<Arc<Recogniser>>> {
    std::fs::create_dir_all(recordings)
        .with_context(|| format!("`{}` cannot be made", recordings.display()))?;
    let recogniser = Recogniser::load(&config.models);
    Ok(recogniser.map_err(anyhow::Error::from).and_then(|recogniser| {
        // No speech to hear without a voice to make it.
        crate::voice::render("logbook", crew::VOICE, 150, &recordings.join("logbook.wav"))?;
        Ok(Arc::new(recogniser))
    }))
}

/// Whether somebody named the data folder.
fn is_chosen(config: &Config) -> bool {
    let default = Config::read(None, |name| {
        (name != "CHALKHAND_DATA").then(|| std::env::var_os(name).map(PathBuf::from)).flatten()
    });
    default.map_or(true, |default| default.data != config.data)
}

/// The invented job as it was opened.
struct Opened {
    number: String,
    /// In the order they are walked.
    checklists: Vec<String>,
    /// What the survey and the steps will find.
    found: Facts,
}

/// Opens the invented job under the next free number, without its facts: the
/// survey finds them.
fn open(home: &mut Home, whole: bool) -> anyhow::Result<(Opened, Clock)> {
    let mut file = files::read_job(EXAMPLE_JOB, "job.toml")?;
    let mut found = facts(home, &file)?;
    if whole {
        file = files::read_job(WHOLE, "whole.toml")?;
        for (name, value) in facts(home, &file)?.iter() {
            found.set(name.clone(), value.clone());
        }
    }
    file.job.number = opening::next_example(&home.store).map_err(plain)?;
    let clock = Clock::yesterday(super::home::zone(&file.job)?)?;
    let (Home { store, functions, .. }, opener) =
        (home, Opener { by: "demo", how: How::File, key: None });
    // What the head of the file answers is no matter of the survey.
    let mut head = Facts::default();
    if let Some(edition) = found.get("code_edition", None) {
        let name = FactName { name: "code_edition".to_owned(), row: None };
        head.set(name, edition.clone());
    }
    let job = opening::open_with(store, functions, &file, &head, &opener, clock.now());
    let job = job.map_err(plain)?;
    let checklists = file.checklists.into_iter().map(|wanted| wanted.id).collect();
    Ok((Opened { number: job.number, checklists, found }, clock))
}

/// The facts a job file gives.
pub(super) fn facts(home: &Home, file: &files::JobFile) -> anyhow::Result<Facts> {
    let lists = opening::wanted_checklists(&home.store, &home.functions, file).map_err(plain)?;
    Ok(file.facts(&lists.iter().map(AsRef::as_ref).collect::<Vec<_>>())?)
}

struct Demo<'a> {
    config: &'a Config,
    home: Home,
    number: String,
    /// What the survey and the steps will find.
    found: Facts,
    clock: Clock,
    aloud: bool,
    /// Questions that ended at the screen after all that was said.
    touched: u32,
}

impl Demo<'_> {
    fn typed(&mut self, checklist: &str, out: &mut Out) -> anyhow::Result<()> {
        loop {
            let file = self.home.job(&self.number)?;
            let script = self.script(&file, checklist, Mishaps::none())?;
            let mut crew = Typist::new(self.screen(&file, out), script, self.clock.clone());
            let clock = || self.clock.now();
            let (config, home) = (self.config, &mut self.home);
            let terms = Terms { translated: None, hearing: Hearing::NotChecked };
            let left = super::walk::walk(
                config,
                home,
                &file,
                &WalkId::first(checklist),
                INSTALLER,
                terms,
                &mut crew,
                clock,
            )?;
            if left == Left::Finished {
                return Ok(());
            }
            self.release(out)?;
        }
    }

    fn heard(
        &mut self,
        checklist: &str,
        recogniser: &Arc<Recogniser>,
        recordings: &Path,
        out: &mut Out,
    ) -> anyhow::Result<()> {
        let mut mishaps = if checklist == "deck-intake" { Mishaps::all() } else { Mishaps::none() };
        loop {
            let file = self.home.job(&self.number)?;
            let script = self.script(&file, checklist, mishaps)?;
            let screen = self.screen(&file, out);
            let clock = self.clock.clone();
            let window_s = self.config.window_s;
            let mut crew =
                Talker::new(screen, script, Arc::clone(recogniser), recordings, clock, window_s);
            let clock = || self.clock.now();
            let listening = Listening {
                source: "synthetic speech".to_owned(),
                keeps: Keeps::Nothing,
                check: None,
            };
            let (config, home) = (self.config, &mut self.home);
            let left = listened(
                config,
                home,
                &file,
                &WalkId::first(checklist),
                INSTALLER,
                &listening,
                &mut crew,
                clock,
            )?;
            mishaps = crew.mishaps();
            self.touched = self.touched.saturating_add(crew.touched());
            if left == Left::Finished {
                return Ok(());
            }
            self.release(out)?;
        }
    }

    fn screen<'b>(&self, file: &JobFile, out: &'b mut Out) -> Screen<'b> {
        let wording = Wording::default();
        let mouth = match self.aloud {
            true => super::voices::mouth(self.config, None, None, &wording, &Leave::default()),
            false => Mouth::muted(),
        };
        Screen::new(out, mouth, file.job.units, wording)
    }

    fn script(&self, file: &JobFile, checklist: &str, mishaps: Mishaps) -> anyhow::Result<Script> {
        let list = file.checklist(checklist);
        let list = list.with_context(|| format!("the job does not pin {checklist}"))?;
        let functions = Arc::clone(&self.home.functions);
        Ok(Script::new(file.clone(), Arc::clone(list), functions, self.found.clone(), mishaps))
    }

    fn release(&mut self, out: &mut Out) -> anyhow::Result<()> {
        for line in release(&mut self.home, &self.number, &self.clock)? {
            out.line(&line)?;
        }
        Ok(())
    }

    /// Where a photo was said to be taken, a picture is kept.
    fn keep_photos(&mut self, checklist: &str, out: &mut Out) -> anyhow::Result<()> {
        let file = self.home.job(&self.number)?;
        let record = file.record(&self.home.functions);
        let walks = record.walks.iter().filter(|walk| walk.checklist.id == checklist);
        // Each picture is another one: the same file is kept once.
        let before = u32::try_from(record.photos.len()).unwrap_or(u32::MAX);
        let mut kept = 0_u32;
        for (walk, step) in walks.flat_map(|walk| walk.steps.iter().map(move |step| (walk, step))) {
            for _ in step.photos_kept..step.photos_taken {
                kept = kept.saturating_add(1);
                let picture = picture::picture(before.saturating_add(kept))?;
                let ready = photo::ready(picture, Some(CAPTION), photos::location(self.config));
                let place = PhotoPlace {
                    job: self.number.clone(),
                    walk: Some(walk.id.clone()),
                    step: Some(step.at.clone()),
                };
                let (by, at) = (INSTALLER.to_owned(), self.clock.now());
                let bringing = Bringing { by, how: How::File, at };
                let store = &mut self.home.store;
                let done = photos::keep(self.config, store, &place, &ready?, &bringing);
                let is_new = matches!(done.map_err(plain)?, KeptAs::New(_));
                anyhow::ensure!(is_new, "picture {kept} of {checklist} was kept before");
            }
        }
        if 0 < kept {
            out.line(&format!("  (pictures kept in place of photos: {kept})"))?;
        }
        Ok(())
    }

    fn write(&mut self, out: &mut Out) -> anyhow::Result<()> {
        let folder = self.config.data.join(&self.number);
        std::fs::create_dir_all(&folder)
            .with_context(|| format!("`{}` cannot be made", folder.display()))?;
        let file = self.home.job(&self.number)?;
        let now = self.clock.now();
        let due = super::record::due(self.config, &file, now)?;
        let zone = super::home::zone(&file.job)?;
        let ics = export::calendar::ics(&file.job, &due, &zone)?;
        for draft in schedule::issue(&file.job, &due, &file.standing, now, "demo") {
            self.home.store.append(&draft, None)?;
        }
        let file = self.home.job(&self.number)?;
        let (record, previews) =
            office::record_and_photos(self.config, &self.home.functions, &file)?;
        let day = super::day::of(&self.home, now.date())?;
        let pretty = |json| export::json::pretty(&json);
        let sealed = export::json::record(&record, &due);
        let sealed = super::seal::sealed(&mut self.home, &file, sealed)?;
        let pages = sealed.pages(&previews, None).map_err(plain)?;
        let sheet = export::html::sheet(&record, &export::drawing::plates(&record));
        let page = export::html::record_with_photos(
            &record,
            &due,
            &previews,
            Some(&sealed.named().map_err(plain)?),
        );
        let all = [
            ("record.pdf", pages),
            ("record.json", sealed.text.into_bytes()),
            ("record.html", page.into_bytes()),
            ("follow-ups.ics", ics.into_bytes()),
            ("sheet.txt", export::sheet_text::sheet(&record).into_bytes()),
            ("sheet.json", pretty(export::sheet_json::sheet(&record)).into_bytes()),
            ("sheet.html", sheet.into_bytes()),
            ("day.txt", export::text::day(&day).into_bytes()),
            ("day.json", pretty(export::json::day(&day)).into_bytes()),
        ];
        let (entries, head) = self.home.store.check_chain()?;
        out.line(&format!(
            "\nThe log holds {entries} entries and its chain holds; head {}.",
            head.short()
        ))?;
        if 0 < self.touched {
            let questions = self.touched;
            out.line(&format!("Questions answered by touch, not heard in any try: {questions}"))?;
        }
        out.line("Left behind, all invented, all speech synthetic:")?;
        for (name, bytes) in all {
            let path = folder.join(name);
            write_file(&path, &bytes)?;
            out.line(&format!("  {}", path.display()))?;
        }
        out.line(&format!("  {}", self.config.data.join("recordings").display()))?;
        Ok(out.line(&format!("  {}", self.config.log().display()))?)
    }
}

/// Whoever holds the role comes and releases what waits; a line for each.
pub(super) fn release(home: &mut Home, number: &str, clock: &Clock) -> anyhow::Result<Vec<String>> {
    let file = home.job(number)?;
    let waiting: Vec<(String, String)> = super::release::waiting(&file)
        .into_iter()
        .map(|(_, step, point)| (step.to_string(), point.role.clone()))
        .collect();
    anyhow::ensure!(!waiting.is_empty(), "the walk stopped and no hold point waits");
    let mut lines = Vec::new();
    for (step, role) in waiting {
        let person = file.job.people.iter().find(|person| person.role == role);
        let name = person.map(|person| person.name.clone());
        let name = name.with_context(|| format!("nobody on the job is a {role}"))?;
        clock.pass_s(240);
        super::release::release(home, &file, &step, &name, &role, clock.now())?;
        lines.push(format!("  ({name} looks and releases {step})"));
    }
    Ok(lines)
}
