//! The program run as a person runs it, for the tests that need it whole.

use std::ffi::OsStr;
use std::io::Write as _;
use std::path::{Path, PathBuf};
use std::process::{Command, Output, Stdio};

/// A data folder of its own, gone when the test is over.
pub(crate) struct Home {
    folder: tempfile::TempDir,
}

/// What a command came to.
#[derive(Debug)]
pub(crate) struct Ran {
    pub(crate) code: i32,
    pub(crate) out: String,
    pub(crate) err: String,
}

impl Ran {
    fn of(output: Output) -> Self {
        Self {
            code: output.status.code().unwrap_or(-1),
            out: String::from_utf8(output.stdout).unwrap(),
            err: String::from_utf8(output.stderr).unwrap(),
        }
    }

    /// What it printed, where it went well.
    pub(crate) fn well(self) -> String {
        assert_eq!(self.code, 0, "{}{}", self.out, self.err);
        assert_eq!(self.err, "");
        self.out
    }

    /// What it complained, where it ended with that code.
    pub(crate) fn fails(self, code: i32) -> String {
        assert_eq!(self.code, code, "{}{}", self.out, self.err);
        self.err
    }
}

pub(crate) fn repository(path: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join(path)
}

/// Whether the speech models are there; says so where a check is left out.
pub(crate) fn models_are_there() -> bool {
    let models = chalkhand::config::Config::of_environment(None).unwrap().models;
    let there = models.join("manifest.sha256").is_file();
    if !there {
        println!("left out: no speech models; packaging/models fetches them");
        assert!(std::env::var_os("CHALKHAND_OUTSIDE").is_none(), "packaging/test has them");
    }
    there
}

impl Home {
    /// With a job of that file's text open, and the invented product's profile
    /// adopted.
    pub(crate) fn with_job_file(text: &str) -> Self {
        let home = Self::new();
        let profile = repository("packaging/demo-data/profile.toml");
        home.run(["checklist", "adopt", profile.to_str().unwrap()]).well();
        let path = home.write("job.toml", text);
        home.run(["job", "open", path.to_str().unwrap()]).well();
        home
    }

    /// The invented job's file.
    pub(crate) fn job_file() -> String {
        std::fs::read_to_string(repository("packaging/demo-data/job.toml")).unwrap()
    }

    pub(crate) fn new() -> Self {
        Self { folder: tempfile::tempdir().unwrap() }
    }

    /// With the invented job open and its product profile adopted.
    pub(crate) fn with_job() -> Self {
        Self::with_job_file(&Self::job_file())
    }

    pub(crate) fn path(&self, name: &str) -> PathBuf {
        self.folder.path().join(name)
    }

    pub(crate) fn write(&self, name: &str, text: &str) -> PathBuf {
        let path = self.path(name);
        std::fs::create_dir_all(path.parent().unwrap()).unwrap();
        std::fs::write(&path, text).unwrap();
        path
    }

    pub(crate) fn command<S: AsRef<OsStr>>(&self, words: impl IntoIterator<Item = S>) -> Command {
        let mut command = Command::new(env!("CARGO_BIN_EXE_chalkhand"));
        command.args(words).arg("--data").arg(self.path("data"));
        // What the person who runs the tests has set does not matter.
        command.env_remove("CHALKHAND_DATA").env_remove("CHALKHAND_LOG");
        command.stdin(Stdio::null()).stdout(Stdio::piped()).stderr(Stdio::piped());
        command
    }

    pub(crate) fn run<S: AsRef<OsStr>>(&self, words: impl IntoIterator<Item = S>) -> Ran {
        Ran::of(self.command(words).output().unwrap())
    }

    /// Runs with these lines typed.
    pub(crate) fn typed<S: AsRef<OsStr>>(
        &self,
        words: impl IntoIterator<Item = S>,
        lines: &str,
    ) -> Ran {
        let mut child = self.command(words).stdin(Stdio::piped()).spawn().unwrap();
        let mut stdin = child.stdin.take().unwrap();
        let lines = lines.to_owned();
        // The program may end before it has read everything.
        let feed = std::thread::spawn(move || stdin.write_all(lines.as_bytes()).is_ok());
        let ran = Ran::of(child.wait_with_output().unwrap());
        feed.join().unwrap();
        ran
    }
}
