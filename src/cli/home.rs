//! The data folder opened: shipped checklists laid out, the log, jobs with
//! everything they pin.

use std::fs;
use std::path::Path;
use std::sync::Arc;

use anyhow::{Context, bail};
use jiff::tz::TimeZone;

use crate::config::Config;
use crate::daemon;
use crate::domain::{At, Checklist, Hash, Job, JobFile, PinKind, Profile, Version};
use crate::files;
use crate::measure::Functions;
use crate::office::{self, OfficeError, opening};
use crate::roof;
use crate::store::{AdoptedVersion, ImportedJob, KeyFile, Store};

/// An opened data folder.
#[derive(Debug)]
pub(super) struct Home {
    pub(super) store: Store,
    pub(super) functions: Arc<Functions>,
    pub(super) key_file: KeyFile,
}

impl Home {
    /// Opens the folder, making it where there is none.
    pub(super) fn open(config: &Config) -> anyhow::Result<Self> {
        fs::create_dir_all(&config.data).with_context(|| {
            format!(
                "the data folder `{}` cannot be made: name another with --data DIR",
                config.data.display()
            )
        })?;
        let store = Store::open(&config.log())?;
        let (functions, key_file) = (Arc::new(roof::functions()), KeyFile::of(&config.data));
        let mut home = Self { store, functions, key_file };
        home.lay_out(config)?;
        super::seal::make_first_key(&mut home);
        Ok(home)
    }

    /// Shipped checklists appear as files and are adopted where no version of
    /// theirs is; what is there is left alone.
    fn lay_out(&mut self, config: &Config) -> anyhow::Result<()> {
        let adopted = self.store.adopted(PinKind::Checklist)?;
        for (name, text) in files::SHIPPED {
            let path = config.checklists().join(name);
            let checklist = files::read_checklist(text, name, &self.functions)?;
            if adopted.iter().any(|known| known.id == checklist.id) {
                continue;
            }
            write_new(&path, text)?;
            self.adopt_checklist(&checklist, text, "chalkhand")?;
        }
        if !config.profiles().exists() {
            fs::create_dir_all(config.profiles())
                .with_context(|| format!("`{}` cannot be made", config.profiles().display()))?;
        }
        Ok(())
    }

    pub(super) fn adopt_checklist(
        &mut self,
        checklist: &Checklist,
        text: &str,
        by: &str,
    ) -> anyhow::Result<()> {
        let (id, version, hash) = (checklist.id.clone(), checklist.version, checklist.hash);
        self.adopt(PinKind::Checklist, id, version, hash, text, by)
    }

    pub(super) fn adopt_profile(
        &mut self,
        profile: &Profile,
        text: &str,
        by: &str,
    ) -> anyhow::Result<()> {
        let (id, version, hash) = (profile.id.clone(), profile.version, profile.hash);
        self.adopt(PinKind::Profile, id, version, hash, text, by)
    }

    fn adopt(
        &mut self,
        kind: PinKind,
        id: String,
        version: Version,
        hash: Hash,
        text: &str,
        by: &str,
    ) -> anyhow::Result<()> {
        let adopted_at = daemon::now(&TimeZone::system()).to_string();
        let adopted_by = by.to_owned();
        let adopted = AdoptedVersion { kind, id, version, hash, adopted_at, adopted_by };
        Ok(self.store.adopt(&adopted, text)?)
    }

    /// The newest adopted version.
    pub(super) fn newest(&self, kind: PinKind, id: &str) -> anyhow::Result<Option<Version>> {
        opening::newest(&self.store, kind, id).map_err(plain)
    }

    /// An adopted checklist, checked again against its hash.
    pub(super) fn checklist(&self, id: &str, version: Version) -> anyhow::Result<Arc<Checklist>> {
        let read = office::checklist(&self.store, &self.functions, id, version).map_err(plain)?;
        read.with_context(|| self.not_adopted(PinKind::Checklist, id, Some(version)))
    }

    pub(super) fn profile(&self, id: &str, version: Version) -> anyhow::Result<Arc<Profile>> {
        let read = office::profile(&self.store, id, version).map_err(plain)?;
        read.with_context(|| self.not_adopted(PinKind::Profile, id, Some(version)))
    }

    /// Says what is adopted instead.
    pub(super) fn not_adopted(&self, kind: PinKind, id: &str, version: Option<Version>) -> String {
        opening::not_adopted(&self.store, kind, id, version)
    }

    /// A job with everything it pins and everything that was logged.
    pub(super) fn job(&self, number: &str) -> anyhow::Result<JobFile> {
        match office::job(&self.store, &self.functions, number) {
            Err(OfficeError::NoJob(_)) => {
                let imported = self.imported(number)?.name();
                bail!(
                    "job {imported} is the record of another device and is only read here: log on \
                     that device and import its export again; to read it: `chalkhand job show \
                     {imported}`, `sheet`, `callback show`, `calendar`, `record` or `export`"
                )
            }
            found => found.map_err(plain),
        }
    }

    /// The same to read from only: an imported job too, and then the sentence that
    /// says so.
    pub(super) fn job_to_read(&self, name: &str) -> anyhow::Result<(JobFile, Option<String>)> {
        match office::job(&self.store, &self.functions, name) {
            Err(OfficeError::NoJob(_)) => {
                let imported = self.imported(name)?;
                let says = format!(
                    "(job {} is the record of another device and is only read here)",
                    imported.name()
                );
                let file = office::imported_job(&self.store, &self.functions, &imported);
                Ok((file.map_err(plain)?, Some(says)))
            }
            found => Ok((found.map_err(plain)?, None)),
        }
    }

    /// An imported job, by its number or the name that `find` shows.
    pub(super) fn imported(&self, name: &str) -> anyhow::Result<ImportedJob> {
        let found = office::imported(&self.store, name);
        if let Err(OfficeError::NoJob(_)) = found {
            let known = self.store.find(&[], u32::MAX)?.into_iter();
            let mut known = known.map(|job| job.imported.unwrap_or(job.number));
            if let Some(known) = known.find(|known| known.eq_ignore_ascii_case(name.trim())) {
                bail!("there is no job `{name}`; did you mean `{known}`?");
            }
        }
        found.map_err(plain)
    }
}

/// What the store refused is told as the store tells it.
pub(super) fn plain(error: OfficeError) -> anyhow::Error {
    match error {
        OfficeError::Store(error) => error.into(),
        other => other.into(),
    }
}

/// What to say of somebody who is not among the people of a job; nothing where
/// the job names nobody.
pub(super) fn stranger(job: &Job, name: &str) -> Option<String> {
    if job.people.is_empty() || job.people.iter().any(|person| person.name == name) {
        return None;
    }
    let names: Vec<&str> = job.people.iter().map(|person| person.name.as_str()).collect();
    Some(format!("{name} is not among the people of this job: {}", names.join(", ")))
}

/// The time zone of a job's address.
pub(super) fn zone(job: &Job) -> anyhow::Result<TimeZone> {
    office::zone(job).map_err(plain)
}

/// Now, at the address of a job.
pub(super) fn now(job: &Job) -> anyhow::Result<At> {
    Ok(daemon::now(&zone(job)?))
}

fn write_new(path: &Path, text: &str) -> anyhow::Result<()> {
    if path.exists() {
        return Ok(());
    }
    let folder = path.parent().unwrap_or(path);
    fs::create_dir_all(folder)
        .and_then(|()| fs::write(path, text))
        .with_context(|| format!("`{}` could not be written", path.display()))
}

/// A file the user named, as text.
pub(super) fn read_text(path: &Path) -> anyhow::Result<String> {
    office::read_text(path).map_err(plain)
}
