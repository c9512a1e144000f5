//! The air of an invented site at one microphone: noise that never stops, and
//! what is said on top of it. Levels are chosen, not measured on a roof.

use std::cell::RefCell;
use std::collections::VecDeque;
use std::f32::consts::TAU;
use std::path::Path;
use std::rc::Rc;

use fastrand::Rng;

use crate::sound::{FRAME, RATE_HZ, SoundError, write_wav};
use crate::voice::{FrameSource, VoiceError};

/// The kinds of noise.
pub(super) const NOISES: [&str; 6] = ["hiss", "saw", "compressor", "wind", "babble", "bangs"];

/// The level of speech, full scale being 1.
const SPEECH: f32 = 0.05;
/// How much of what was last in the air is kept, in samples.
const KEPT: usize = 20 * 16_000;

pub(super) struct Air {
    noise: Vec<f32>,
    at: usize,
    /// What is still to be said; without a link the microphone gives nothing.
    waiting: VecDeque<Sample>,
    kept: Vec<f32>,
}

#[derive(Clone, Copy)]
enum Sample {
    Sound(f32),
    NoLink,
}

/// The microphone of the person who walks.
pub(super) struct Microphone(pub(super) Rc<RefCell<Air>>);

impl FrameSource for Microphone {
    fn next_frame(&mut self) -> Result<Option<[f32; FRAME]>, VoiceError> {
        Ok(Some(self.0.borrow_mut().frame()))
    }

    fn pause(&mut self) {
        // What is said while the daemon speaks is lost.
        self.0.borrow_mut().waiting.clear();
    }
}

impl Air {
    /// Air with this noise (of level 1) so many decibels below speech.
    pub(super) fn new(noise: Vec<f32>, snr_db: f32) -> Self {
        let gain = SPEECH * decibels(-snr_db);
        let noise = noise.into_iter().map(|sample| sample * gain).collect();
        Self { noise, at: 0, waiting: VecDeque::new(), kept: Vec::new() }
    }

    /// Begins to say something, after a pause in milliseconds.
    pub(super) fn say(&mut self, after_ms: usize, speech: &[f32]) {
        self.kept.clear();
        self.waiting.clear();
        self.waiting.extend(std::iter::repeat_n(Sample::Sound(0.0), samples(after_ms)));
        self.waiting.extend(speech.iter().map(|sample| Sample::Sound(*sample)));
    }

    /// The link to the headset is gone for so long.
    pub(super) fn lose_link(&mut self, ms: usize) {
        self.waiting.extend(std::iter::repeat_n(Sample::NoLink, samples(ms)));
    }

    /// Whether something is still being said.
    pub(super) fn is_talking(&self) -> bool {
        !self.waiting.is_empty()
    }

    /// Writes down what was in the air since the last beginning.
    pub(super) fn write(&self, path: &Path) -> Result<(), VoiceError> {
        let file = std::fs::File::create(path)
            .map_err(|why| VoiceError::File { path: path.to_owned(), why: why.to_string() })?;
        write_wav(std::io::BufWriter::new(file), &self.kept)
            .map_err(|source: SoundError| VoiceError::Sound { path: path.to_owned(), source })
    }

    fn frame(&mut self) -> [f32; FRAME] {
        let mut frame = [0.0; FRAME];
        for out in &mut frame {
            let noise = self.noise.get(self.at).copied().unwrap_or(0.0);
            self.at = if self.at + 1 < self.noise.len() { self.at + 1 } else { 0 };
            *out = match self.waiting.pop_front() {
                Some(Sample::Sound(speech)) => (speech + noise).clamp(-1.0, 1.0),
                Some(Sample::NoLink) => 0.0,
                None => noise.clamp(-1.0, 1.0),
            };
        }
        if self.kept.len() < KEPT {
            self.kept.extend(frame);
        }
        frame
    }
}

/// Milliseconds as samples.
pub(super) fn samples(ms: usize) -> usize {
    ms.saturating_mul(16)
}

pub(super) fn decibels(db: f32) -> f32 {
    10.0_f32.powf(db / 20.0)
}

/// Speech at its usual level, its pauses left out of account.
pub(super) fn levelled(mut speech: Vec<f32>, gain_db: f32) -> Vec<f32> {
    let power = |frame: &[f32]| frame.iter().map(|s| s * s).sum::<f32>() / FRAME as f32;
    let powers: Vec<f32> = speech.chunks_exact(FRAME).map(power).collect();
    let most = powers.iter().copied().fold(0.0, f32::max);
    let loud: Vec<f32> = powers.into_iter().filter(|power| most * 1e-3 < *power).collect();
    let level = (loud.iter().sum::<f32>() / loud.len().max(1) as f32).sqrt().max(1e-6);
    let gain = SPEECH / level * decibels(gain_db);
    speech.iter_mut().for_each(|sample| *sample *= gain);
    speech
}

/// Speech through a scarf: nothing above 1.2 kHz.
pub(super) fn muffled(mut speech: Vec<f32>) -> Vec<f32> {
    for _ in 0..3 {
        lowpass(&mut speech, 1_200.0);
    }
    speech
}

fn lowpass(sound: &mut [f32], hz: f32) {
    let keep = (-TAU * hz / RATE_HZ as f32).exp();
    let mut last = 0.0;
    for sample in sound {
        last = *sample * (1.0 - keep) + last * keep;
        *sample = last;
    }
}

/// Half a minute of one kind of noise, its level being 1. `talk` is what others
/// say, for babble.
pub(super) fn noise(kind: &str, rng: &mut Rng, talk: &[Vec<f32>]) -> Vec<f32> {
    let count = 30 * 16_000;
    let time = |at: usize| at as f32 / RATE_HZ as f32;
    let sound = match kind {
        "hiss" => {
            let high = white(rng, count);
            let low = with_lowpass(high.clone(), 800.0);
            high.iter().zip(low).map(|(all, low)| all - 0.7 * low).collect()
        }
        "saw" => {
            // A whining motor under a changing load, its teeth, and hiss.
            let (slow, rub) = (0.3 + rng.f32() * 0.7, coloured(rng, count, 5_000.0));
            let mut phase = 0.0_f32;
            let mut motor = Vec::with_capacity(count);
            for at in 0..count {
                phase += TAU * 90.0 * (1.0 + 0.05 * (TAU * slow * time(at)).sin()) / RATE_HZ as f32;
                phase %= TAU;
                motor.push(
                    (1..24_u8).map(f32::from).map(|k| (k * phase + k * k).sin() / k.sqrt()).sum(),
                );
            }
            let motor = levelled_whole(motor);
            motor.iter().zip(rub).map(|(motor, rub)| motor + rub).collect()
        }
        "compressor" => {
            // A piston: thumps some 25 times a second over a low rumble.
            let (rate, rumble, hiss) = (
                20.0 + rng.f32() * 10.0,
                coloured(rng, count, 120.0),
                coloured(rng, count, 4_000.0),
            );
            let thump = |at: usize| (TAU * rate * time(at)).sin().max(0.0).powi(8);
            let all = rumble.iter().zip(hiss).enumerate();
            all.map(|(at, (rumble, hiss))| rumble + hiss * (0.4 + 2.0 * thump(at))).collect()
        }
        "wind" => {
            let (gusts, blow) = (0.1 + rng.f32() * 0.3, coloured(rng, count, 250.0));
            let gust = |at: usize| 0.3 + (TAU * gusts * time(at)).sin().max(0.0).powi(2);
            blow.iter().enumerate().map(|(at, blow)| blow * gust(at)).collect()
        }
        "babble" => {
            let mut sound = vec![0.0; count];
            for voice in talk {
                let mut at = rng.usize(0..16_000);
                while at < count {
                    for (to, from) in sound.iter_mut().skip(at).zip(voice) {
                        *to += from;
                    }
                    at += voice.len().max(1_600) + rng.usize(0..8_000);
                }
            }
            sound
        }
        _ => {
            // A nailer: bangs of a few hundredths of a second, over a faint hiss.
            let mut sound: Vec<f32> =
                coloured(rng, count, 3_000.0).iter().map(|s| s * 0.1).collect();
            let mut at = rng.usize(0..16_000);
            while at < count {
                for (past, to) in sound.iter_mut().skip(at).take(4_800).enumerate() {
                    *to += (rng.f32() - 0.5) * 24.0 * (-(past as f32) / 500.0).exp();
                }
                at += rng.usize(6_000..64_000);
            }
            sound
        }
    };
    levelled_whole(sound)
}

fn white(rng: &mut Rng, count: usize) -> Vec<f32> {
    (0..count).map(|_| rng.f32() + rng.f32() + rng.f32() - 1.5).collect()
}

fn coloured(rng: &mut Rng, count: usize, hz: f32) -> Vec<f32> {
    levelled_whole(with_lowpass(white(rng, count), hz))
}

fn with_lowpass(mut sound: Vec<f32>, hz: f32) -> Vec<f32> {
    lowpass(&mut sound, hz);
    sound
}

/// A sound of level 1, pauses and all.
fn levelled_whole(mut sound: Vec<f32>) -> Vec<f32> {
    let power = sound.iter().map(|s| s * s).sum::<f32>() / sound.len().max(1) as f32;
    let level = power.sqrt().max(1e-9);
    sound.iter_mut().for_each(|sample| *sample /= level);
    sound
}
