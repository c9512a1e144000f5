//! When to open a device, when to give it up and when to try again: a state
//! machine without a clock, and the thread that follows it. What opens the
//! device is given from outside.

use std::sync::mpsc::{Receiver, RecvTimeoutError, SyncSender};
use std::time::{Duration, Instant};

use super::VoiceError;
use super::capture::{Inlet, Inlets};

/// A stream that brings nothing for so long is dead.
const DEAD_AFTER: Duration = Duration::from_secs(2);
/// So long a stream just opened may take to its first sound.
const FIRST_WITHIN: Duration = Duration::from_secs(3);
/// How often a live stream is looked at.
const LOOK: Duration = Duration::from_millis(200);
/// Pauses between tries: the first, doubled up to the last.
const FIRST_PAUSE: Duration = Duration::from_millis(250);
const LONGEST_PAUSE: Duration = Duration::from_secs(5);

/// What to do next.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Next {
    /// Open the device; the count of tries before this one.
    Open(u32),
    /// Close it: it brings nothing.
    Close,
    /// Look again after this time.
    Wait(Duration),
}

#[derive(Clone, Debug)]
enum State {
    /// Away since `since`; the next try is at `again`.
    Down { since: Option<Duration>, tried: u32, again: Duration },
    /// Opened at `at`, and nothing heard yet.
    Trying { since: Option<Duration>, tried: u32, at: Duration, heard: u64 },
    /// The last sound was seen at `at`.
    Up { at: Duration, heard: u64 },
}

/// The connection to one device. Times run from any fixed instant.
#[derive(Clone, Debug)]
pub struct Link {
    state: State,
}

impl Default for Link {
    fn default() -> Self {
        Link { state: State::Down { since: None, tried: 0, again: Duration::ZERO } }
    }
}

/// What a look at the stream came to.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Seen {
    /// As before.
    Nothing,
    /// The first sound since the device was opened.
    Live {
        /// For how long it was away; None the first time.
        away: Option<Duration>,
    },
}

impl Link {
    /// What to do now.
    pub fn next(&self, now: Duration) -> Next {
        match &self.state {
            State::Down { tried, again, .. } if *again <= now => Next::Open(*tried),
            State::Down { again, .. } => Next::Wait(again.saturating_sub(now)),
            State::Trying { at, .. } if FIRST_WITHIN <= now.saturating_sub(*at) => Next::Close,
            State::Up { at, .. } if DEAD_AFTER <= now.saturating_sub(*at) => Next::Close,
            State::Trying { .. } | State::Up { .. } => Next::Wait(LOOK),
        }
    }

    /// The device was opened; `heard` callbacks had come until then.
    pub fn opened(&mut self, now: Duration, heard: u64) {
        if let State::Down { since, tried, .. } = self.state {
            self.state = State::Trying { since, tried, at: now, heard };
        }
    }

    /// So many callbacks have come.
    pub fn heard(&mut self, now: Duration, count: u64) -> Seen {
        match &mut self.state {
            State::Trying { heard, since, .. } if *heard != count => {
                let away = since.map(|since| now.saturating_sub(since));
                self.state = State::Up { at: now, heard: count };
                Seen::Live { away }
            }
            State::Up { at, heard } if *heard != count => {
                (*at, *heard) = (now, count);
                Seen::Nothing
            }
            _ => Seen::Nothing,
        }
    }

    /// It could not be opened, gave an error or fell silent; true where it was
    /// live until now.
    pub fn lost(&mut self, now: Duration) -> bool {
        let (since, tried, was_live) = match self.state {
            State::Up { .. } => (Some(now), 0, true),
            State::Down { since, tried, .. } | State::Trying { since, tried, .. } => {
                (since, tried.saturating_add(1), false)
            }
        };
        let longer = FIRST_PAUSE.saturating_mul(1 << tried.min(8));
        let again = now.saturating_add(longer.min(LONGEST_PAUSE));
        self.state = State::Down { since, tried, again };
        was_live
    }
}

/// A device just opened.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Opened {
    /// Its name.
    pub name: String,
    /// Its rate, in samples per second.
    pub rate_hz: u32,
    /// Its channels.
    pub channels: u16,
}

/// Opens a device and lets it fill an [`Inlet`].
pub trait Opener {
    /// Keeps the device running while it lives.
    type Stream;

    /// Opens it; `tried` tries have failed before this one. Errors of the running
    /// stream go to `lost`.
    ///
    /// # Errors
    /// When there is no such device or it refuses.
    fn open(&mut self, tried: u32, ends: Ends) -> Result<(Self::Stream, Opened), VoiceError>;
}

/// Where a stream puts its sound and its end.
#[derive(Clone, Debug)]
pub struct Ends {
    inlets: Inlets,
    orders: SyncSender<Order>,
    stream: u64,
}

impl Ends {
    /// Where its sound goes.
    pub fn inlet(&self, rate_hz: u32, channels: u16) -> Inlet {
        self.inlets.inlet(rate_hz, channels)
    }

    /// Some sound was lost; the stream goes on.
    pub fn gap(&self) {
        self.inlets.gap();
    }

    /// The stream has ended. Never waits: when many say so, one is enough.
    pub fn lost(&self, why: String) {
        let _ = self.orders.try_send(Order::Lost { stream: self.stream, why });
    }
}

/// What the thread that keeps the link is told.
#[derive(Debug)]
pub(super) enum Order {
    /// A stream ended by itself.
    Lost {
        /// Which one, counted from 1.
        stream: u64,
        /// In the system's own words.
        why: String,
    },
    /// Close, and end.
    Stop,
}

/// What the thread tells.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) enum Told {
    /// The first sound has come.
    Live {
        /// From which device.
        opened: Opened,
        /// For how long it was away; None the first time.
        away: Option<Duration>,
    },
    /// It was live and is not any more.
    Lost {
        /// In the system's own words.
        why: String,
    },
    /// It was opened and stayed silent.
    Silent,
    /// A try failed.
    Refused {
        /// In the system's own words.
        why: String,
    },
}

/// Keeps a device open until told to stop, or nobody is there to tell any more.
pub(super) fn keep<O: Opener>(
    mut opener: O,
    inlets: &Inlets,
    (tell, orders): (&SyncSender<Order>, &Receiver<Order>),
    mut told: impl FnMut(Told) -> bool,
) {
    let begun = Instant::now();
    let mut link = Link::default();
    let mut running: Option<(O::Stream, Opened)> = None;
    let mut stream = 0;
    loop {
        let now = begun.elapsed();
        if let Seen::Live { away } = link.heard(now, inlets.heard())
            && let Some((_, opened)) = &running
            && !told(Told::Live { opened: opened.clone(), away })
        {
            return;
        }
        let next = link.next(now);
        let silent = next == Next::Close;
        let failed = match next {
            Next::Wait(wait) => match orders.recv_timeout(wait) {
                Ok(Order::Stop) | Err(RecvTimeoutError::Disconnected) => return,
                Ok(Order::Lost { stream: of, why }) if of == stream && running.is_some() => {
                    Some(why)
                }
                Ok(Order::Lost { .. }) | Err(RecvTimeoutError::Timeout) => None,
            },
            Next::Close => Some("no sound comes from it".to_owned()),
            Next::Open(tried) => {
                stream += 1;
                let ends = Ends { inlets: inlets.clone(), orders: tell.clone(), stream };
                let heard = inlets.heard();
                match opener.open(tried, ends) {
                    Ok(opened) => {
                        running = Some(opened);
                        link.opened(begun.elapsed(), heard);
                        None
                    }
                    Err(error) => Some(error.to_string()),
                }
            }
        };
        if let Some(why) = failed {
            inlets.gap();
            let fact = match link.lost(begun.elapsed()) {
                true => Told::Lost { why },
                false if silent => Told::Silent,
                false => Told::Refused { why },
            };
            let goes_on = told(fact);
            running = None;
            if !goes_on {
                return;
            }
        }
    }
}
