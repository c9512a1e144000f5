//! Plays samples through a device chosen by name, and returns when they are
//! played, when somebody wishes to leave, or when the device takes no sound.

use std::sync::mpsc::{RecvTimeoutError, SyncSender, sync_channel};
use std::time::{Duration, Instant};

use cpal::traits::{DeviceTrait, StreamTrait};
use cpal::{Data, FromSample, OutputCallbackInfo, SampleFormat, StreamConfig};

use super::VoiceError;
use super::device::{Running, Way, candidates, goes_on, hush, plain, short_callbacks};
use super::microphone::Leave;
use crate::sound::Resampler;

/// Sound of one channel.
#[derive(Clone, Debug, PartialEq)]
pub struct Sound {
    /// From -1 to 1.
    pub samples: Vec<f32>,
    /// Samples per second.
    pub rate_hz: u32,
}

impl Sound {
    /// How long it lasts.
    pub fn length(&self) -> Duration {
        let count = u64::try_from(self.samples.len()).unwrap_or(u64::MAX);
        Duration::from_micros(count.saturating_mul(1_000_000) / u64::from(self.rate_hz.max(1)))
    }
}

/// Something that plays sound.
pub trait Play {
    /// Plays it and returns when it is played.
    ///
    /// # Errors
    /// When it cannot be heard.
    fn play(&mut self, sound: &Sound) -> Result<(), VoiceError>;
}

/// How much longer than the sound a device may take.
const GRACE: Duration = Duration::from_secs(3);
/// How often each device is tried.
const TRIES: u32 = 4;
/// How long a device that failed is left alone before it is tried again, so many times
/// as it has failed.
const PAUSE: Duration = Duration::from_millis(150);
/// How often a wish to leave is looked for.
const LOOK: Duration = Duration::from_millis(20);
/// The longest time between the last sample handed over and its being heard.
const LONGEST_DELAY: Duration = Duration::from_secs(1);

/// A loudspeaker by name. It is opened for each sound, so that one that was away
/// plays again as soon as it is back.
#[derive(Clone, Debug)]
pub struct Loudspeaker {
    wanted: Option<String>,
    leave: Leave,
}

impl Loudspeaker {
    /// The device with this in its name, or the default one.
    pub fn new(wanted: Option<&str>, leave: Leave) -> Loudspeaker {
        Loudspeaker { wanted: wanted.map(str::to_owned), leave }
    }
}

impl Play for Loudspeaker {
    fn play(&mut self, sound: &Sound) -> Result<(), VoiceError> {
        if sound.samples.is_empty() || self.leave.asked() {
            return Ok(());
        }
        hush();
        let mut refused = VoiceError::NoLoudspeaker("none is there".to_owned());
        for (name, device) in candidates(Way::Out, self.wanted.as_deref())? {
            // A device that was just closed may refuse at first, and a sound server
            // under load may lose a stream.
            for tried in 0..TRIES {
                if 0 < tried {
                    std::thread::sleep(PAUSE.saturating_mul(tried));
                }
                match play_on(&device, sound, &self.leave) {
                    Ok(()) => return Ok(()),
                    Err(why) => refused = VoiceError::NoLoudspeaker(format!("{name}: {why}")),
                }
            }
        }
        Err(refused)
    }
}

/// What the callback says.
enum Word {
    /// The last sample is handed over, and heard after this time.
    Last(Duration),
    Broken(String),
}

fn play_on(device: &cpal::Device, sound: &Sound, leave: &Leave) -> Result<(), String> {
    let config = device.default_output_config().map_err(|e| plain(&e))?;
    let samples = at_rate(sound, config.sample_rate())?;
    let (tell, told) = sync_channel(4);
    let format = config.sample_format();
    let stream = match build(device, short_callbacks(&config), format, &samples, &tell) {
        Err(_) => build(device, config.config(), format, &samples, &tell),
        stream => stream,
    };
    let stream = stream.map_err(|e| plain(&e))?;
    let started = stream.play().map_err(|e| plain(&e));
    let _running = Running::new(stream);
    started?;
    let until = Instant::now() + sound.length() + GRACE;
    let mut heard_at = None;
    loop {
        if leave.asked() || heard_at.is_some_and(|at| at <= Instant::now()) {
            return Ok(());
        }
        match told.recv_timeout(LOOK) {
            Ok(Word::Last(after)) => heard_at = Some(Instant::now() + after.min(LONGEST_DELAY)),
            Ok(Word::Broken(why)) => return Err(why),
            Err(RecvTimeoutError::Disconnected) => return Err("it stopped".to_owned()),
            Err(RecvTimeoutError::Timeout) if until <= Instant::now() => {
                return Err("it takes no sound".to_owned());
            }
            Err(RecvTimeoutError::Timeout) => {}
        }
    }
}

fn at_rate(sound: &Sound, rate_hz: u32) -> Result<Vec<f32>, String> {
    let mut resampler = Resampler::between(sound.rate_hz, rate_hz).map_err(|e| e.to_string())?;
    let mut samples = Vec::new();
    resampler.push(&sound.samples, &mut samples).map_err(|e| e.to_string())?;
    resampler.finish(&mut samples).map_err(|e| e.to_string())?;
    Ok(samples)
}

fn build(
    device: &cpal::Device,
    config: StreamConfig,
    format: SampleFormat,
    samples: &[f32],
    tell: &SyncSender<Word>,
) -> Result<cpal::Stream, cpal::Error> {
    let mut feed = Feed {
        samples: samples.to_vec(),
        at: 0,
        channels: usize::from(config.channels).max(1),
        told: false,
    };
    let (last, broken) = (tell.clone(), tell.clone());
    let mut hushed = false;
    device.build_output_stream_raw(
        config,
        format,
        move |data, info| {
            if !hushed {
                hush();
                hushed = true;
            }
            if fill(&mut feed, data) && !feed.told {
                feed.told = true;
                // Whoever waits for it may have left.
                let _ = last.try_send(Word::Last(delay(info, data, config)));
            }
        },
        move |error| {
            if !goes_on(error.kind()) {
                let _ = broken.try_send(Word::Broken(plain(&error)));
            }
        },
        None,
    )
}

/// The sound and how far it is played.
struct Feed {
    samples: Vec<f32>,
    at: usize,
    channels: usize,
    told: bool,
}

/// How long after now the end of this buffer is heard.
fn delay(info: &OutputCallbackInfo, data: &Data, config: StreamConfig) -> Duration {
    let stamp = info.timestamp();
    let ahead = stamp.playback.duration_since(stamp.callback);
    let moments = data.len() / usize::from(config.channels).max(1);
    let moments = u64::try_from(moments).unwrap_or(0);
    let rate_hz = u64::from(config.sample_rate.max(1));
    ahead + Duration::from_micros(moments.saturating_mul(1_000_000) / rate_hz)
}

/// Fills a buffer; true once nothing is left.
fn fill(feed: &mut Feed, data: &mut Data) -> bool {
    match data.sample_format() {
        SampleFormat::I8 => fill_as::<i8>(feed, data),
        SampleFormat::I16 => fill_as::<i16>(feed, data),
        SampleFormat::I24 => fill_as::<cpal::I24>(feed, data),
        SampleFormat::I32 => fill_as::<i32>(feed, data),
        SampleFormat::I64 => fill_as::<i64>(feed, data),
        SampleFormat::U8 => fill_as::<u8>(feed, data),
        SampleFormat::U16 => fill_as::<u16>(feed, data),
        SampleFormat::U24 => fill_as::<cpal::U24>(feed, data),
        SampleFormat::U32 => fill_as::<u32>(feed, data),
        SampleFormat::U64 => fill_as::<u64>(feed, data),
        SampleFormat::F32 => fill_as::<f32>(feed, data),
        SampleFormat::F64 => fill_as::<f64>(feed, data),
        // One-bit sound: nothing is played, and the wait for it ends.
        _ => false,
    }
}

fn fill_as<T: cpal::SizedSample + FromSample<f32>>(feed: &mut Feed, data: &mut Data) -> bool {
    let Some(buffer) = data.as_slice_mut::<T>() else { return false };
    for moment in buffer.chunks_mut(feed.channels) {
        let sample = feed.samples.get(feed.at).copied().unwrap_or(0.0);
        feed.at = feed.at.saturating_add(1);
        moment.fill(T::from_sample(sample.clamp(-1.0, 1.0)));
    }
    feed.samples.len() <= feed.at
}
