//! The mouth that the settings ask for: which voice, how fast, and what is made
//! ahead. Through what it is heard is given from outside.

use crate::config::Config;
use crate::domain::walk::Prompt;
use crate::domain::{Language, Units};
use crate::speech::{self, Wording};
use crate::voice::{Ahead, Espeak, Mouth, Natural, Play, sentences};

/// The natural voice, and its folder beside the models.
pub const NATURAL: &str = "joe";

/// The mouth of the settings, heard through `out`; a voice named here wins.
#[must_use]
pub fn mouth(
    config: &Config,
    voice: Option<&str>,
    wording: &Wording,
    out: impl Play + Send + 'static,
) -> Mouth {
    // Where its file is broken the caller has said so already.
    let plain = wording.check().map_or("en-us", |file| file.voice.as_str());
    let plain = match Espeak::new(plain, config.words_per_minute) {
        Ok(plain) => plain,
        Err(why) => return Mouth::silent(why.to_string()),
    };
    let mouth = Mouth::new(plain, out);
    match voice.unwrap_or(&config.voice) {
        NATURAL if wording.language() == Language::English => with_natural(mouth, config, wording),
        NATURAL => {
            let language = wording.language().name();
            mouth.in_trouble(format!(
                "{NATURAL} does not speak {language}; espeak-ng speaks instead"
            ))
        }
        _ => mouth,
    }
}

fn with_natural(mouth: Mouth, config: &Config, wording: &Wording) -> Mouth {
    let (folder, words_per_minute) = (config.models.join(NATURAL), config.words_per_minute);
    let ahead = Ahead::start(move || Natural::load(&folder, words_per_minute), fixed(wording));
    match ahead {
        Ok(ahead) => mouth.with_natural(ahead),
        Err(why) => mouth.in_trouble(format!("{why}; espeak-ng speaks instead")),
    }
}

/// The sentences that are said with the same words every time.
fn fixed(wording: &Wording) -> Vec<String> {
    let prompts = [
        Prompt::Logged,
        Prompt::AskAgain,
        Prompt::Photos { left: 1 },
        Prompt::Listening,
        Prompt::TryAgain,
        Prompt::AskReason,
        Prompt::AskSkipReason,
        Prompt::SayNote,
        Prompt::Paused,
        Prompt::NothingBefore,
        Prompt::NoCautions,
        Prompt::OthersLogged,
        Prompt::OthersChanged,
        Prompt::Ended,
    ];
    let mut all: Vec<String> = Vec::new();
    for prompt in prompts {
        let line = speech::line(&prompt, Units::Us, wording).spoken;
        all.extend(sentences(&line).map(str::to_owned));
    }
    all
}
