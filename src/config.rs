//! Where things are and how long we wait: arguments, environment and one file,
//! checked once.

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};

/// Settings of one run.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Config {
    /// The data folder: log, checklists, profiles.
    pub data: PathBuf,
    /// The folder of the recogniser's models.
    pub models: PathBuf,
    /// For how long after a question a spoken answer counts, in seconds.
    pub window_s: u32,
    /// The port of the health page, on the loopback address only.
    pub port: u16,
    /// A part of the microphone's name; the system's default without.
    pub microphone: Option<String>,
    /// A part of the loudspeaker's name; the system's default without.
    pub loudspeaker: Option<String>,
    /// The voice of the prompts, one of [`VOICES`].
    pub voice: String,
    /// How fast the prompts are spoken, in words per minute.
    pub words_per_minute: u32,
    /// The word that opens the ear; empty for the language's own.
    pub call_word: String,
    /// For how long a hearing check holds, in hours.
    pub hearing_check_h: u32,
    /// Which sound is kept.
    pub keep_sound: KeepSound,
    /// Whether the place a photo was taken at is kept.
    pub photo_location: PhotoLocation,
    /// For how many years a record is to be kept, where no rule says longer.
    pub keep_years: u32,
    /// Rules of the user's own, by a code edition or the two letters of a state.
    pub retention: BTreeMap<String, KeepRule>,
}

/// For how long records are to be kept, as the user's own file says it.
#[derive(Clone, Debug, PartialEq, Eq, serde::Deserialize)]
#[serde(deny_unknown_fields)]
pub struct KeepRule {
    /// For how many years.
    pub years: u32,
    /// Where that is written.
    pub source: String,
}

/// Whether the place a photo was taken at is kept, as the file says it.
#[derive(Clone, Copy, Debug, PartialEq, Eq, serde::Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum PhotoLocation {
    /// With the rest of the file.
    Keep,
    /// Not.
    Drop,
}

/// Which sound is kept, as the file says it.
#[derive(Clone, Copy, Debug, PartialEq, Eq, serde::Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum KeepSound {
    /// Notes' alone.
    Notes,
    /// Notes' and that of every answer that was taken.
    All,
    /// None.
    None,
}

/// The voices there are: the plain one, always at hand, and the natural one.
pub const VOICES: [&str; 2] = ["espeak", "joe"];

/// What is wrong with a setting, and what to do.
#[derive(Debug, thiserror::Error)]
pub enum ConfigError {
    /// No data folder.
    #[error("no data folder: name one with --data DIR or CHALKHAND_DATA")]
    NoData,
    /// The file cannot be read.
    #[error("`{path}` cannot be read: {why}")]
    Unreadable {
        /// The file.
        path: PathBuf,
        /// Why.
        why: String,
    },
    /// A setting is not what it should be.
    #[error("`{path}`: {why}")]
    Setting {
        /// The file.
        path: PathBuf,
        /// What is wrong and what is expected.
        why: String,
    },
}

/// The file `chalkhand.toml` of the data folder.
#[derive(Debug, serde::Deserialize)]
#[serde(deny_unknown_fields, default)]
struct Settings {
    window_s: u32,
    port: u16,
    microphone: Option<String>,
    loudspeaker: Option<String>,
    voice: String,
    words_per_minute: u32,
    call_word: String,
    hearing_check_h: u32,
    keep_sound: KeepSound,
    photo_location: PhotoLocation,
    keep_years: u32,
    retention: BTreeMap<String, KeepRule>,
}

impl Default for Settings {
    fn default() -> Self {
        Self {
            window_s: 20,
            port: 4717,
            microphone: None,
            loudspeaker: None,
            voice: "espeak".to_owned(),
            words_per_minute: 165,
            call_word: String::new(),
            hearing_check_h: 12,
            keep_sound: KeepSound::Notes,
            photo_location: PhotoLocation::Drop,
            keep_years: 30,
            retention: BTreeMap::new(),
        }
    }
}

impl Config {
    /// Settings from `--data`, this process's environment and the data folder's
    /// file.
    ///
    /// # Errors
    /// Names the setting at fault.
    pub fn of_environment(data: Option<&Path>) -> Result<Self, ConfigError> {
        let set = |name: &str| std::env::var_os(name).filter(|value| !value.is_empty());
        Self::read(data, |name| set(name).map(PathBuf::from))
    }

    /// Settings from `--data`, the environment and the data folder's file.
    ///
    /// # Errors
    /// Names the setting at fault.
    pub fn read(
        data: Option<&Path>,
        variable: impl Fn(&str) -> Option<PathBuf>,
    ) -> Result<Self, ConfigError> {
        let home = variable("HOME");
        let data = data.map(Path::to_owned).or_else(|| variable("CHALKHAND_DATA")).or_else(|| {
            let share = variable("XDG_DATA_HOME");
            let share = share.or_else(|| home.as_ref().map(|home| home.join(".local/share")));
            share.map(|share| share.join("chalkhand"))
        });
        let data = data.ok_or(ConfigError::NoData)?;
        let models = variable("CHALKHAND_MODELS")
            .or_else(|| home.as_ref().map(|home| home.join(".cache/chalkhand/models")));
        let path = data.join("chalkhand.toml");
        let settings = match std::fs::read_to_string(&path) {
            Ok(text) => toml::from_str(&text).map_err(|error| ConfigError::Setting {
                path: path.clone(),
                why: error.to_string().trim_end().to_owned(),
            })?,
            Err(error) if error.kind() == std::io::ErrorKind::NotFound => Settings::default(),
            Err(error) if error.kind() == std::io::ErrorKind::NotADirectory => Settings::default(),
            Err(error) => {
                return Err(ConfigError::Unreadable { path, why: error.to_string() });
            }
        };
        let Settings {
            window_s,
            port,
            microphone,
            loudspeaker,
            voice,
            words_per_minute,
            call_word,
            hearing_check_h,
            keep_sound,
            photo_location,
            keep_years,
            retention,
        } = settings;
        let wrong = |why: String| Err(ConfigError::Setting { path: path.clone(), why });
        if !(2..=600).contains(&window_s) {
            return wrong(format!("window_s is {window_s}; it may be 2 to 600 seconds"));
        }
        if !(80..=330).contains(&words_per_minute) {
            return wrong(format!("words_per_minute is {words_per_minute}; it may be 80 to 330"));
        }
        if !VOICES.contains(&voice.as_str()) {
            return wrong(format!("voice is `{voice}`; it may be {}", VOICES.join(" or ")));
        }
        if !(1..=168).contains(&hearing_check_h) {
            return wrong(format!(
                "hearing_check_h is {hearing_check_h}; it may be 1 to 168 hours"
            ));
        }
        let years = retention.values().map(|rule| rule.years).chain([keep_years]);
        if let Some(years) = years.into_iter().find(|years| !(1..=1000).contains(years)) {
            return wrong(format!("a record is kept {years} years; it may be 1 to 1000"));
        }
        if let Some((name, _)) = retention.iter().find(|(_, rule)| rule.source.trim().is_empty()) {
            return wrong(format!("retention.`{name}` has no source; say where that is written"));
        }
        let call_word = call_word.trim().to_lowercase();
        let is_word = |c: char| c.is_alphabetic() || matches!(c, ' ' | '-' | '\'');
        if !call_word.chars().all(is_word)
            || (1..4).contains(&call_word.len())
            || 40 < call_word.len()
        {
            return wrong(format!(
                "call_word is `{}`; it may be 4 to 40 letters and spaces, such as \"logbook\"",
                call_word.chars().take(60).collect::<String>()
            ));
        }
        let models = models.unwrap_or_else(|| data.join("models"));
        let (microphone, loudspeaker) = (named(microphone), named(loudspeaker));
        Ok(Self {
            data,
            models,
            window_s,
            port,
            microphone,
            loudspeaker,
            voice,
            words_per_minute,
            call_word,
            hearing_check_h,
            keep_sound,
            photo_location,
            keep_years,
            retention,
        })
    }

    /// The log.
    #[must_use]
    pub fn log(&self) -> PathBuf {
        self.data.join("log.sqlite")
    }

    /// The watched folder of checklists.
    #[must_use]
    pub fn checklists(&self) -> PathBuf {
        self.data.join("checklists")
    }

    /// The watched folder that photos are put into.
    #[must_use]
    pub fn inbox(&self) -> PathBuf {
        self.data.join("inbox")
    }

    /// The watched folder of product profiles.
    #[must_use]
    pub fn profiles(&self) -> PathBuf {
        self.data.join("profiles")
    }
}

/// An empty name is the system's default, like none.
fn named(name: Option<String>) -> Option<String> {
    name.filter(|name| !name.trim().is_empty())
}

#[cfg(test)]
mod tests {
    use super::*;

    fn read(data: &Path) -> Result<Config, ConfigError> {
        Config::read(Some(data), |name| (name == "HOME").then(|| PathBuf::from("/home/a")))
    }

    #[test]
    fn the_file_is_checked() {
        let folder = tempfile::tempdir().unwrap();
        assert_eq!(read(folder.path()).unwrap().window_s, 20);
        let file = folder.path().join("chalkhand.toml");
        std::fs::write(&file, "microphone = \"\"\nloudspeaker = \"horn\"\n").unwrap();
        let config = read(folder.path()).unwrap();
        assert_eq!((config.microphone, config.loudspeaker.as_deref()), (None, Some("horn")));
        std::fs::write(&file, "window_s = 30\n").unwrap();
        assert_eq!(read(folder.path()).unwrap().window_s, 30);
        assert_eq!(read(folder.path()).unwrap().call_word, "");
        std::fs::write(&file, "call_word = \" Roof Book \"\n").unwrap();
        assert_eq!(read(folder.path()).unwrap().call_word, "roof book");
        assert_eq!(read(folder.path()).unwrap().hearing_check_h, 12);
        assert_eq!(read(folder.path()).unwrap().keep_sound, KeepSound::Notes);
        std::fs::write(&file, "hearing_check_h = 1\nkeep_sound = \"none\"\n").unwrap();
        let config = read(folder.path()).unwrap();
        assert_eq!((config.hearing_check_h, config.keep_sound), (1, KeepSound::None));
        for (wrong, says) in [
            ("window_s = 1\n", "2 to 600"),
            ("window = 30\n", "unknown field `window`"),
            ("port = \"a\"\n", "invalid type"),
            ("call_word = \"42\"\n", "4 to 40 letters"),
            ("call_word = \"oh\"\n", "4 to 40 letters"),
            ("hearing_check_h = 0\n", "1 to 168 hours"),
            ("keep_years = 0\n", "1 to 1000"),
            ("[retention.VT]\nyears = 10\n", "missing field `source`"),
            ("[retention.VT]\nyears = 10\nsource = \" \"\n", "has no source"),
            ("photo_location = \"yes\"\n", "expected `keep` or `drop`"),
            ("keep_sound = \"some\"\n", "expected one of `notes`, `all`, `none`"),
            ("voice = \"anna\"\n", "espeak or joe"),
            ("words_per_minute = 20\n", "80 to 330"),
        ] {
            std::fs::write(&file, wrong).unwrap();
            let error = read(folder.path()).unwrap_err().to_string();
            assert!(error.contains(says), "{error}");
        }
    }

    #[test]
    fn the_argument_wins_over_the_environment() {
        let variable = |name: &str| match name {
            "CHALKHAND_DATA" => Some(PathBuf::from("/env")),
            "HOME" => Some(PathBuf::from("/home/a")),
            _ => None,
        };
        let config = |data| Config::read(data, variable).unwrap().data;
        assert_eq!(config(Some(Path::new("/arg"))), Path::new("/arg"));
        assert_eq!(config(None), Path::new("/env"));
        let home = |name: &str| (name == "HOME").then(|| PathBuf::from("/home/a"));
        let data = Config::read(None, home).unwrap().data;
        assert_eq!(data, Path::new("/home/a/.local/share/chalkhand"));
    }
}
