//! The secret addresses of feeds: a file in the data folder that nobody else
//! may read, one line an address. Whoever knows an address reads its feed.

use std::fs::{self, OpenOptions};
use std::io::{self, Write as _};
use std::os::unix::fs::OpenOptionsExt as _;
use std::path::PathBuf;

use subtle::ConstantTimeEq as _;

use crate::config::Config;

use super::OfficeError;

/// Bytes of a secret: 128 bits.
const SECRET_BYTES: usize = 16;

/// One feed.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Feed {
    /// 32 digits of base 16.
    pub token: String,
    /// Whose dates; none for everybody's.
    pub person: Option<String>,
}

impl Feed {
    /// Its address on the daemon.
    #[must_use]
    pub fn path(&self) -> String {
        format!("/calendar/{}.ics", self.token)
    }
}

/// All feeds of a data folder.
#[derive(Clone, Debug)]
pub struct Feeds {
    path: PathBuf,
    feeds: Vec<Feed>,
}

impl Feeds {
    /// Reads them; none where there is no file.
    ///
    /// # Errors
    /// The file cannot be read, or is not what it should be.
    pub fn read(config: &Config) -> Result<Self, OfficeError> {
        let path = config.data.join("calendar-feeds");
        let wrong = |why: String| OfficeError::File { path: path.clone(), why };
        let text = match fs::read_to_string(&path) {
            Ok(text) => text,
            Err(error) if error.kind() == io::ErrorKind::NotFound => String::new(),
            Err(error) => return Err(wrong(error.to_string())),
        };
        let mut feeds = Vec::new();
        for line in text.lines().filter(|line| !line.is_empty()) {
            let (token, person) = line.split_once(' ').unwrap_or((line, ""));
            let is_token = token.len() == 2 * SECRET_BYTES
                && token.bytes().all(|b| b.is_ascii_digit() || (b'a'..=b'f').contains(&b));
            if !is_token {
                return Err(wrong(
                    "a line begins with no address: delete the file, and make new \
                                  addresses with: chalkhand calendar feed"
                        .to_owned(),
                ));
            }
            let person = Some(person.to_owned()).filter(|person| !person.is_empty());
            feeds.push(Feed { token: token.to_owned(), person });
        }
        Ok(Self { path, feeds })
    }

    /// The feed of this token, compared in a time that does not tell how much of
    /// it is right.
    #[must_use]
    pub fn find(&self, token: &str) -> Option<&Feed> {
        let mut found = None;
        for feed in &self.feeds {
            if bool::from(feed.token.as_bytes().ct_eq(token.as_bytes())) {
                found = Some(feed);
            }
        }
        found
    }

    /// The feed of that person, or of everybody, where it was made.
    #[must_use]
    pub fn known(&self, person: Option<&str>) -> Option<&Feed> {
        self.feeds.iter().find(|feed| feed.person.as_deref() == person)
    }

    /// The feed of that person, or of everybody; made where there is none, and
    /// made anew where that is asked for: the old address is then unknown.
    ///
    /// # Errors
    /// No randomness, or the file cannot be written.
    pub fn of(&mut self, person: Option<&str>, anew: bool) -> Result<Feed, OfficeError> {
        let known = self.feeds.iter().position(|feed| feed.person.as_deref() == person);
        let known = known.and_then(|place| self.feeds.get(place).map(|feed| (place, feed.clone())));
        if let (Some((_, feed)), false) = (&known, anew) {
            return Ok(feed.clone());
        }
        let feed = Feed { token: self.secret()?, person: person.map(str::to_owned) };
        match known.and_then(|(place, _)| self.feeds.get_mut(place)) {
            Some(old) => *old = feed.clone(),
            None => self.feeds.push(feed.clone()),
        }
        self.write().map_err(|error| self.wrong(error.to_string()))?;
        Ok(feed)
    }

    fn secret(&self) -> Result<String, OfficeError> {
        let mut bytes = [0_u8; SECRET_BYTES];
        getrandom::fill(&mut bytes)
            .map_err(|error| self.wrong(format!("the system gives no randomness: {error}")))?;
        Ok(bytes.iter().map(|byte| format!("{byte:02x}")).collect())
    }

    fn wrong(&self, why: String) -> OfficeError {
        OfficeError::File { path: self.path.clone(), why }
    }

    /// Written as a whole or not at all, for the owner alone from the first byte.
    fn write(&self) -> io::Result<()> {
        let part = self.path.with_file_name(".calendar-feeds.part");
        // One left behind may have other rights.
        match fs::remove_file(&part) {
            Err(error) if error.kind() != io::ErrorKind::NotFound => return Err(error),
            _ => {}
        }
        let mut file = OpenOptions::new().write(true).create_new(true).mode(0o600).open(&part)?;
        for feed in &self.feeds {
            match &feed.person {
                Some(person) => writeln!(file, "{} {person}", feed.token)?,
                None => writeln!(file, "{}", feed.token)?,
            }
        }
        file.sync_all()?;
        fs::rename(&part, &self.path)
    }
}
