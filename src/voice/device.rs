//! The machine's sound devices through cpal: their names, which one a part of a
//! name means, and opening one as a microphone. Nothing here waits for sound.

use std::sync::mpsc::sync_channel;
use std::time::Duration;

use cpal::traits::{DeviceTrait, HostTrait, StreamTrait};
use cpal::{
    BufferSize, Data, ErrorKind, FromSample, SampleFormat, StreamConfig, SupportedStreamConfig,
};

use super::VoiceError;
use super::capture::Inlet;
use super::link::{Ends, Opened, Opener};

/// Which way sound goes.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Way {
    /// Microphones.
    In,
    /// Loudspeakers.
    Out,
}

/// What cpal calls the device that the system prefers.
const DEFAULT: &str = "default";
/// The length of a callback that is asked for, as parts of a second: short, so
/// that the first sound comes soon.
const CALLBACKS_PER_S: u32 = 20;

/// One device by its names.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct DeviceName {
    /// The short one that belongs into settings.
    pub id: String,
    /// The one for people.
    pub title: String,
}

impl std::fmt::Display for DeviceName {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        if self.id == self.title {
            return f.write_str(&self.id);
        }
        write!(f, "{} ({})", self.id, self.title)
    }
}

/// The system's sound library writes its complaints to standard error; on the
/// thread that calls this it no longer does, because errors say the same.
pub(super) fn hush() {
    // Where the handler cannot be set the complaints are seen, no more.
    drop(alsa::Output::local_error_handler());
}

/// Devices that only change or swallow sound of others.
const CONVERTERS: [&str; 9] =
    ["null", "lavrate", "samplerate", "speexrate", "speex", "upmix", "vdownmix", "oss", "jack"];

/// The devices that can be opened that way now; each is tried.
///
/// # Errors
/// When the system's sound library cannot be asked.
pub fn usable(way: Way) -> Result<Vec<DeviceName>, VoiceError> {
    hush();
    let opens = |device: &cpal::Device| match way {
        Way::In => device.default_input_config().is_ok(),
        Way::Out => device.default_output_config().is_ok(),
    };
    let all = all(way)?.into_iter();
    let others = all.filter(|(name, _)| !CONVERTERS.contains(&name.id.as_str()));
    Ok(others.filter(|(_, device)| opens(device)).map(|(name, _)| name).collect())
}

/// What is wrong with a device, in words that say what to look at.
pub(super) fn plain(error: &cpal::Error) -> String {
    let known = match error.kind() {
        ErrorKind::DeviceNotAvailable => "it is not there; is it plugged in and switched on?",
        ErrorKind::HostUnavailable => "no sound system runs",
        ErrorKind::DeviceBusy => "another program uses it",
        ErrorKind::PermissionDenied => "this user may not use it",
        ErrorKind::UnsupportedOperation => "it has no sound that way",
        ErrorKind::UnsupportedConfig => "it knows none of the usual formats",
        _ => return error.to_string().trim_end_matches('.').to_owned(),
    };
    known.to_owned()
}

fn all(way: Way) -> Result<Vec<(DeviceName, cpal::Device)>, VoiceError> {
    let host = cpal::default_host();
    let failed = |why: cpal::Error| VoiceError::Devices(plain(&why));
    let devices: Vec<cpal::Device> = match way {
        Way::In => host.input_devices().map_err(failed)?.collect(),
        Way::Out => host.output_devices().map_err(failed)?.collect(),
    };
    Ok(devices.into_iter().map(|device| (name(&device), device)).collect())
}

fn name(device: &cpal::Device) -> DeviceName {
    let title = device.to_string();
    let id = device.id().map_or_else(|_| title.clone(), |id| id.id().to_owned());
    DeviceName { id, title }
}

/// Which names a part of a name means, best first: the whole name, then the
/// order of the system, bare hardware (which converts nothing) last.
pub fn meant<'a>(wanted: &str, names: &'a [DeviceName]) -> Vec<&'a DeviceName> {
    let wanted = wanted.trim().to_lowercase();
    let is_part = |name: &&DeviceName| {
        name.id.to_lowercase().contains(&wanted) || name.title.to_lowercase().contains(&wanted)
    };
    let rank = |name: &&DeviceName| {
        let whole = name.id.to_lowercase() == wanted || name.title.to_lowercase() == wanted;
        (!whole, name.id.starts_with("hw:"))
    };
    let mut meant: Vec<&DeviceName> = names.iter().filter(is_part).collect();
    meant.sort_by_key(rank);
    meant
}

/// The devices to try for a wish, best first; the default device without one.
pub(super) fn candidates(
    way: Way,
    wanted: Option<&str>,
) -> Result<Vec<(DeviceName, cpal::Device)>, VoiceError> {
    let Some(wanted) = wanted else {
        let host = cpal::default_host();
        let device = match way {
            Way::In => host.default_input_device(),
            Way::Out => host.default_output_device(),
        };
        let name = DeviceName { id: DEFAULT.to_owned(), title: DEFAULT.to_owned() };
        return Ok(device.map(|device| (name, device)).into_iter().collect());
    };
    let mut all = all(way)?;
    let names: Vec<DeviceName> = all.iter().map(|(name, _)| name.clone()).collect();
    let order: Vec<&DeviceName> = meant(wanted, &names);
    if order.is_empty() {
        return Err(VoiceError::NoDevice { wanted: wanted.to_owned() });
    }
    let place = |name: &DeviceName| order.iter().position(|one| *one == name);
    all.retain(|(name, _)| place(name).is_some());
    all.sort_by_key(|(name, _)| place(name));
    Ok(all)
}

/// The device's preferred format with a short callback.
pub(super) fn short_callbacks(config: &SupportedStreamConfig) -> StreamConfig {
    let frames = config.sample_rate() / CALLBACKS_PER_S;
    StreamConfig { buffer_size: BufferSize::Fixed(frames), ..config.config() }
}

/// How long closing a stream is waited for.
const CLOSES_WITHIN: Duration = Duration::from_secs(1);

/// Closes a stream on a thread of its own: one whose sound system has died may
/// never let go, and then only that thread waits for it.
fn close(stream: cpal::Stream) {
    let (closed, wait) = sync_channel::<()>(1);
    let closing = std::thread::Builder::new().name("closing".to_owned()).spawn(move || {
        hush();
        drop(stream);
        // Whoever waited may have given up.
        let _ = closed.try_send(());
    });
    if closing.is_err() || wait.recv_timeout(CLOSES_WITHIN).is_err() {
        tracing::debug!("a sound device does not let go");
    }
}

/// A stream that is running; closed when it is dropped.
pub struct Running(Option<cpal::Stream>);

impl Running {
    pub(super) fn new(stream: cpal::Stream) -> Running {
        Running(Some(stream))
    }
}

impl Drop for Running {
    fn drop(&mut self) {
        if let Some(stream) = self.0.take() {
            close(stream);
        }
    }
}

/// Whether a stream goes on after this error.
pub(super) fn goes_on(kind: ErrorKind) -> bool {
    matches!(kind, ErrorKind::Xrun | ErrorKind::DeviceChanged | ErrorKind::RealtimeDenied)
}

/// Opens microphones.
#[derive(Clone, Debug)]
pub struct Inputs {
    wanted: Option<String>,
}

impl Inputs {
    /// The devices with this in their name; the default one without.
    pub fn new(wanted: Option<&str>) -> Inputs {
        Inputs { wanted: wanted.map(str::to_owned) }
    }
}

impl Opener for Inputs {
    type Stream = Running;

    fn open(&mut self, tried: u32, ends: Ends) -> Result<(Running, Opened), VoiceError> {
        hush();
        let candidates = candidates(Way::In, self.wanted.as_deref())?;
        let count = candidates.len().max(1);
        let first = usize::try_from(tried).unwrap_or(0) % count;
        // A device that opens may still be silent: each try begins with another.
        let in_turn = candidates.iter().cycle().skip(first).take(count);
        let mut refused =
            VoiceError::Device { name: "the microphone".to_owned(), why: "none is there".into() };
        for (name, device) in in_turn {
            match open(name, device, &ends) {
                Ok(opened) => return Ok(opened),
                Err(why) => {
                    refused = VoiceError::Device { name: name.to_string(), why: plain(&why) };
                }
            }
        }
        Err(refused)
    }
}

fn open(
    name: &DeviceName,
    device: &cpal::Device,
    ends: &Ends,
) -> Result<(Running, Opened), cpal::Error> {
    let config = device.default_input_config()?;
    let stream = match build(device, short_callbacks(&config), config.sample_format(), ends) {
        // Some devices know one length only.
        Err(_) => build(device, config.config(), config.sample_format(), ends)?,
        Ok(stream) => stream,
    };
    stream.play()?;
    let (rate_hz, channels) = (config.sample_rate(), config.channels());
    Ok((Running::new(stream), Opened { name: name.to_string(), rate_hz, channels }))
}

fn build(
    device: &cpal::Device,
    config: StreamConfig,
    format: SampleFormat,
    ends: &Ends,
) -> Result<cpal::Stream, cpal::Error> {
    let mut inlet = ends.inlet(config.sample_rate, config.channels);
    let ends = ends.clone();
    let mut hushed = false;
    device.build_input_stream_raw(
        config,
        format,
        move |data, _| {
            if !hushed {
                hush();
                hushed = true;
            }
            hear(&mut inlet, data);
        },
        move |error| match error.kind() {
            ErrorKind::Xrun => ends.gap(),
            kind if goes_on(kind) => {}
            _ => ends.lost(plain(&error)),
        },
        None,
    )
}

fn hear(inlet: &mut Inlet, data: &Data) {
    match data.sample_format() {
        SampleFormat::I8 => hear_as::<i8>(inlet, data),
        SampleFormat::I16 => hear_as::<i16>(inlet, data),
        SampleFormat::I24 => hear_as::<cpal::I24>(inlet, data),
        SampleFormat::I32 => hear_as::<i32>(inlet, data),
        SampleFormat::I64 => hear_as::<i64>(inlet, data),
        SampleFormat::U8 => hear_as::<u8>(inlet, data),
        SampleFormat::U16 => hear_as::<u16>(inlet, data),
        SampleFormat::U24 => hear_as::<cpal::U24>(inlet, data),
        SampleFormat::U32 => hear_as::<u32>(inlet, data),
        SampleFormat::U64 => hear_as::<u64>(inlet, data),
        SampleFormat::F32 => hear_as::<f32>(inlet, data),
        SampleFormat::F64 => hear_as::<f64>(inlet, data),
        // One-bit sound: nothing is heard, and the link gives the device up.
        _ => {}
    }
}

fn hear_as<T: cpal::SizedSample>(inlet: &mut Inlet, data: &Data)
where
    f32: FromSample<T>,
{
    if let Some(samples) = data.as_slice::<T>() {
        inlet.hear(samples);
    }
}
