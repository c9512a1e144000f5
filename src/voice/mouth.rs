//! The mouth: a voice (text to sound), a loudspeaker, and how loud it has to be.
//! A mouth that cannot speak says so and the walk goes on by screen and touch.

use super::VoiceError;
use super::ahead::Ahead;
use super::loudspeaker::{Play, Sound};

/// Text to sound.
pub trait Voice {
    /// Speaks a text.
    ///
    /// # Errors
    /// When it cannot.
    fn speak(&mut self, text: &str) -> Result<Sound, VoiceError>;
}

/// The largest sample that is ever played.
const PEAK: f32 = 0.98;
/// From this noise of the site on it speaks as loud as it can.
const LOUD_FROM_DBFS: f32 = -40.0;
/// So many decibels quieter for each decibel that the site is quieter.
const SOFTER_BY: f32 = 0.5;
/// Never quieter than this, in decibels below the loudest.
const SOFTEST_DB: f32 = -12.0;

/// Silence between two sentences, in parts of a second.
const PAUSES_PER_S: u32 = 5;
/// What is softer than this at the end of a sentence is silence.
const SILENCE: f32 = 0.003;

/// Says what is to be said.
pub struct Mouth {
    parts: Option<Parts>,
    noise_dbfs: Option<f32>,
    /// The loudspeaker failed when it was last tried.
    failing: bool,
    trouble: Option<String>,
}

struct Parts {
    voice: Box<dyn Voice + Send>,
    /// A better voice that may be too slow or fail; then the other one speaks.
    natural: Option<Ahead>,
    out: Box<dyn Play + Send>,
    /// Why the better voice speaks no more.
    given_up: Option<String>,
}

impl Parts {
    fn say(&mut self, text: &str, noise_dbfs: Option<f32>) -> Result<(), VoiceError> {
        let all: Vec<&str> = match &self.natural {
            // The first is heard while the next is made.
            Some(_) => sentences(text).collect(),
            None => Some(text).filter(|text| !text.trim().is_empty()).into_iter().collect(),
        };
        if let Some(natural) = &self.natural {
            all.iter().for_each(|sentence| natural.wish(sentence));
        }
        let mut all = all.into_iter().peekable();
        while let Some(sentence) = all.next() {
            let made = self.natural.as_ref().and_then(|natural| natural.within(sentence));
            let mut sound = match made {
                Some(Ok(sound)) => without_tail(&sound),
                Some(Err(why)) => {
                    self.natural = None;
                    self.given_up = Some(format!("{why}; espeak-ng speaks instead"));
                    without_tail(&self.voice.speak(sentence)?)
                }
                None => without_tail(&self.voice.speak(sentence)?),
            };
            // What is ready as well is heard without opening the device again.
            while let Some(next) = all.peek()
                && let Some(ready) = self.natural.as_ref().and_then(|natural| natural.ready(next))
                && ready.rate_hz == sound.rate_hz
            {
                let pause = usize::try_from(sound.rate_hz / PAUSES_PER_S).unwrap_or(0);
                sound.samples.extend(std::iter::repeat_n(0.0, pause));
                sound.samples.extend(without_tail(&ready).samples);
                all.next();
            }
            self.out.play(&louder(&sound, noise_dbfs))?;
        }
        Ok(())
    }
}

impl Mouth {
    /// A mouth with this voice and loudspeaker.
    pub fn new(voice: impl Voice + Send + 'static, out: impl Play + Send + 'static) -> Mouth {
        let (voice, out) = (Box::new(voice), Box::new(out));
        Mouth::whole(Some(Parts { voice, natural: None, out, given_up: None }))
    }

    /// With a better voice before the other.
    #[must_use]
    pub fn with_natural(mut self, natural: Ahead) -> Mouth {
        if let Some(parts) = &mut self.parts {
            parts.natural = Some(natural);
        }
        self
    }

    /// A mouth that never speaks.
    pub fn muted() -> Mouth {
        Mouth::whole(None)
    }

    /// A mouth that never speaks, and why.
    pub fn silent(why: String) -> Mouth {
        Mouth { trouble: Some(why), ..Mouth::whole(None) }
    }

    /// The same mouth with something to tell.
    #[must_use]
    pub fn in_trouble(self, why: String) -> Mouth {
        Mouth { trouble: Some(why), ..self }
    }

    fn whole(parts: Option<Parts>) -> Mouth {
        Mouth { parts, noise_dbfs: None, failing: false, trouble: None }
    }

    /// Whether nothing was heard of what it was to say last, or ever will be.
    pub fn is_muted(&self) -> bool {
        self.parts.is_none() || self.failing
    }

    /// Why something cannot be heard, or not as wished; told once.
    pub fn trouble(&mut self) -> Option<String> {
        self.trouble.take()
    }

    /// The noise of the site between speech, in decibels below full scale: in a
    /// quiet place it speaks softly.
    pub fn noise(&mut self, dbfs: Option<f32>) {
        self.noise_dbfs = dbfs.or(self.noise_dbfs);
    }

    /// Speaks, and returns when it is spoken. Trouble never stops the walk. A
    /// loudspeaker that is away is tried again the next time.
    pub fn say(&mut self, text: &str) {
        let Some(parts) = &mut self.parts else { return };
        let said = parts.say(text, self.noise_dbfs);
        let mut tell = parts.given_up.take();
        let was_failing = std::mem::replace(&mut self.failing, said.is_err());
        if let Err(why) = said
            && !was_failing
        {
            tell = Some(why.to_string());
        }
        self.trouble = tell.or(self.trouble.take());
    }
}

/// The sentences of a text. A stop inside a number ends nothing.
pub fn sentences(text: &str) -> impl Iterator<Item = &str> {
    text.split_inclusive(['.', '?', '!'])
        .scan((0, 0), |(from, to), piece| {
            *to += piece.len();
            let ends = text
                .get(*to..)
                .is_none_or(|rest| rest.is_empty() || rest.starts_with(char::is_whitespace));
            let whole = if ends { text.get(*from..*to) } else { Some("") };
            if ends {
                *from = *to;
            }
            whole
        })
        .map(str::trim)
        .filter(|sentence| sentence.chars().any(char::is_alphanumeric))
}

/// The sound without the silence at its end: listening begins the sooner.
fn without_tail(sound: &Sound) -> Sound {
    let last = sound.samples.iter().rposition(|sample| SILENCE < sample.abs());
    let ends = last.map_or(0, |last| last.saturating_add(1));
    Sound { samples: sound.samples.iter().take(ends).copied().collect(), rate_hz: sound.rate_hz }
}

/// The sound as loud as the noise of the site asks for. Its peak is brought to
/// nearly full scale where the noise is at -40 dBFS or above, or not known; half
/// a decibel less for each decibel that it is quieter, at most 12. Never clips.
pub fn louder(sound: &Sound, noise_dbfs: Option<f32>) -> Sound {
    let peak = sound.samples.iter().fold(0.0_f32, |peak, sample| peak.max(sample.abs()));
    if peak <= 0.0 {
        return sound.clone();
    }
    let noise_dbfs = noise_dbfs.unwrap_or(LOUD_FROM_DBFS);
    let softer_db = ((noise_dbfs - LOUD_FROM_DBFS) * SOFTER_BY).clamp(SOFTEST_DB, 0.0);
    let gain = PEAK / peak * 10.0_f32.powf(softer_db / 20.0);
    let samples = sound.samples.iter().map(|sample| (sample * gain).clamp(-1.0, 1.0)).collect();
    Sound { samples, rate_hz: sound.rate_hz }
}
