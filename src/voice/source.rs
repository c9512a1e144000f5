//! Where frames come from: sound files played one after another, and a bounded
//! queue between any source and the ear. A microphone is one more source.

use std::collections::VecDeque;
use std::fs::File;
use std::io::BufReader;
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::mpsc::{Receiver, sync_channel};

use super::VoiceError;
use crate::sound::{FRAME, FileFrames};

/// What is missing at a frame.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Missing {
    /// Nothing.
    Nothing,
    /// Sound before it: what was half heard does not go on.
    Before,
    /// The frame itself: no sound comes, and it stands for the time alone.
    All,
}

/// Gives 20 ms frames at 16 kHz.
pub trait FrameSource {
    /// The next frame; None when the source has ended.
    ///
    /// # Errors
    /// When the source fails.
    fn next_frame(&mut self) -> Result<Option<[f32; FRAME]>, VoiceError>;

    /// What is missing at the frame just given; asked once for each.
    fn missing(&mut self) -> Missing {
        Missing::Nothing
    }

    /// We speak now: a live source drops what it hears, a file waits.
    fn pause(&mut self) {}

    /// We have spoken.
    fn resume(&mut self) {}
}

/// Sound files played one after another, with silence after each.
pub struct WavSource {
    waiting: VecDeque<PathBuf>,
    playing: Option<(PathBuf, FileFrames<BufReader<File>>)>,
    silence_frames: u32,
    silence_left: u32,
}

impl WavSource {
    /// Plays `files` in order, with `silence_ms` milliseconds of silence after each.
    pub fn new(files: impl IntoIterator<Item = PathBuf>, silence_ms: u32) -> WavSource {
        WavSource {
            waiting: files.into_iter().collect(),
            playing: None,
            silence_frames: silence_ms.div_ceil(20),
            silence_left: 0,
        }
    }

    /// Plays one more file after the others.
    pub fn add(&mut self, file: PathBuf) {
        self.waiting.push_back(file);
    }
}

impl FrameSource for WavSource {
    fn next_frame(&mut self) -> Result<Option<[f32; FRAME]>, VoiceError> {
        loop {
            if let Some((path, frames)) = &mut self.playing {
                let frame = frames
                    .next_frame()
                    .map_err(|source| VoiceError::Sound { path: path.clone(), source })?;
                if frame.is_some() {
                    return Ok(frame);
                }
                self.playing = None;
                self.silence_left = self.silence_frames;
            }
            if 0 < self.silence_left {
                self.silence_left = self.silence_left.saturating_sub(1);
                return Ok(Some([0.0; FRAME]));
            }
            let Some(path) = self.waiting.pop_front() else { return Ok(None) };
            let frames = open(&path)?;
            self.playing = Some((path, frames));
        }
    }
}

/// How long a sound file is, in milliseconds, after a look whether it can be
/// heard at all.
///
/// # Errors
/// When it cannot be read.
pub fn length_ms(path: &Path) -> Result<u64, VoiceError> {
    open(path)?;
    let wav = hound::WavReader::open(path)
        .map_err(|why| VoiceError::File { path: path.to_owned(), why: why.to_string() })?;
    let rate_hz = u64::from(wav.spec().sample_rate).max(1);
    Ok(u64::from(wav.duration()).saturating_mul(1_000) / rate_hz)
}

/// Opens one sound file as frames.
pub(super) fn open(path: &Path) -> Result<FileFrames<BufReader<File>>, VoiceError> {
    let refused = |why: String| VoiceError::File { path: path.to_owned(), why };
    let file = File::open(path).map_err(|e| refused(e.to_string()))?;
    if file.metadata().is_ok_and(|about| about.is_dir()) {
        return Err(refused("it is a folder".to_owned()));
    }
    FileFrames::new(BufReader::new(file))
        .map_err(|source| VoiceError::Sound { path: path.to_owned(), source })
}

/// A source on a thread of its own, with a bounded queue of frames before the
/// ear. A full queue makes the source wait.
pub struct Queued {
    frames: Receiver<Result<[f32; FRAME], VoiceError>>,
    stop: Arc<AtomicBool>,
    ended: bool,
}

impl Queued {
    /// Frames that a queue usually holds: a second of sound.
    pub const ROOM: usize = 50;

    /// Starts the source with room for `room` frames.
    ///
    /// # Errors
    /// When no thread can be started.
    pub fn start<S: FrameSource + Send + 'static>(
        mut source: S,
        room: usize,
    ) -> Result<Queued, VoiceError> {
        let (to, frames) = sync_channel(room.max(1));
        let stop = Arc::new(AtomicBool::new(false));
        let stopped = Arc::clone(&stop);
        // The thread is not joined: it ends at its next frame once the receiver
        // is gone, and it holds nothing that must be put away.
        std::thread::Builder::new()
            .name("frames".to_owned())
            .spawn(move || {
                while !stopped.load(Ordering::Relaxed) {
                    let sent = match source.next_frame() {
                        Ok(Some(frame)) => to.send(Ok(frame)),
                        Ok(None) => return,
                        Err(error) => {
                            // The ear may be gone already; then nobody asks.
                            let _ = to.send(Err(error));
                            return;
                        }
                    };
                    if sent.is_err() {
                        return;
                    }
                }
            })
            .map_err(|e| VoiceError::Speech(format!("no thread for the sound source: {e}")))?;
        Ok(Queued { frames, stop, ended: false })
    }
}

impl FrameSource for Queued {
    fn next_frame(&mut self) -> Result<Option<[f32; FRAME]>, VoiceError> {
        if self.ended {
            return Ok(None);
        }
        match self.frames.recv() {
            Ok(Ok(frame)) => Ok(Some(frame)),
            Ok(Err(error)) => {
                self.ended = true;
                Err(error)
            }
            Err(_) => {
                self.ended = true;
                Ok(None)
            }
        }
    }
}

impl Drop for Queued {
    fn drop(&mut self) {
        self.stop.store(true, Ordering::Relaxed);
    }
}
