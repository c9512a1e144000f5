//! The roof screen's socket: pushes how the walk stands, whole, takes answers, and
//! carries sound both ways where the phone is worn as a headset. Where there is
//! no socket, the page's forms take answers all the same.

use std::sync::Arc;
use std::time::Duration;

use axum::body::Bytes;
use axum::extract::ws::{Message, WebSocket, WebSocketUpgrade};
use axum::extract::{Path, State};
use axum::response::Response;
use serde::{Deserialize, Serialize};
use tokio::sync::mpsc::{Receiver, channel};
use tokio::task::JoinSet;

use super::super::guard::Visitor;
use super::super::refusal::Refusal;
use super::super::site::Shared;
use super::super::tame;
use super::super::walks::{Followed, Headset, Hears, NotWorn, Reply, Shown, Spoken};
use super::{Given, Which, screen, send, sentence, take_up};
use crate::domain::{How, Right};
use crate::store::StoreError;

/// More bytes than an answer or a block of sound has.
const MOST_BYTES: usize = 16 << 10;
/// How often it is looked whether the sign-in still holds.
const STILL_SIGNED_IN: Duration = Duration::from_secs(30);
/// Answers of one page that wait for the log; a page sends one at a time.
const MOST_ANSWERS: usize = 4;
/// Sentences on their way to a phone.
const MOST_SPOKEN: usize = 32;
/// As long as the name of a microphone may be, in characters.
const LONGEST_NAME: usize = 80;

/// What a page sends beside sound, which is blocks of 16-bit samples of one
/// channel, little end first.
#[derive(Deserialize)]
#[serde(rename_all = "kebab-case", tag = "kind")]
enum Said {
    /// Whether anybody is there.
    Ping,
    /// An answer.
    Answer {
        id: String,
        question: String,
        meaning: String,
        #[serde(default)]
        value: String,
    },
    /// The phone is worn; without a rate it only speaks.
    Headset {
        #[serde(default)]
        name: String,
        rate_hz: Option<u32>,
    },
    /// It is no longer worn.
    TakeOff,
    /// Speech was played to its end.
    Played { id: u32 },
}

/// What a page is sent beside speech.
#[derive(Serialize)]
#[serde(rename_all = "kebab-case", tag = "kind")]
enum Told<'a> {
    /// How the walk stands: as data, and as the parts of the page.
    Shown { shown: &'a Shown, html: String },
    /// What became of an answer: why it was refused, where it was.
    Reply {
        id: String,
        taken: bool,
        /// Nobody knows: the page sends it again, under the same name.
        unknown: bool,
        sentence: String,
    },
    /// The phone is no headset: why.
    NotWorn { sentence: &'a str },
    /// Nothing more of what was to be played, up to this one.
    Hush { id: u32 },
    /// Somebody is there.
    Pong,
}

pub(super) async fn live(
    State(site): State<Shared>,
    Path(which): Path<Which>,
    visitor: Visitor,
    socket: WebSocketUpgrade,
) -> Result<Response, Refusal> {
    let followed = take_up(&site, &visitor, &which, false).await?;
    let socket = socket.max_message_size(MOST_BYTES).max_frame_size(MOST_BYTES);
    Ok(socket.on_upgrade(move |socket| async move {
        let page = Page { site, visitor, which, followed, worn: None, answers: JoinSet::new() };
        page.follow(socket).await;
        tracing::debug!("a roof screen is closed");
    }))
}

/// A phone that is worn: taken off by being dropped.
struct Worn {
    hears: Box<dyn Hears>,
    speaks: Receiver<Spoken>,
}

struct Page {
    site: Shared,
    visitor: Visitor,
    which: Which,
    followed: Followed,
    worn: Option<Worn>,
    /// Answers on their way, with their names.
    answers: JoinSet<(String, Reply)>,
}

impl Page {
    /// Until the page, the walk or the sign-in is gone.
    async fn follow(mut self, mut socket: WebSocket) -> Option<()> {
        let mut signed_in = tokio::time::interval(STILL_SIGNED_IN);
        signed_in.tick().await;
        self.followed.shown.mark_changed();
        loop {
            tokio::select! {
                changed = self.followed.shown.changed() => {
                    changed.ok()?;
                    let shown: Option<Arc<Shown>> =
                        self.followed.shown.borrow_and_update().clone();
                    let Some(shown) = shown else { continue };
                    let html = screen::parts(&self.visitor, &self.which, &shown, None, "");
                    let html = html.into_string();
                    tell(&mut socket, &Told::Shown { shown: &shown, html }).await?;
                }
                message = socket.recv() => match message?.ok()? {
                    Message::Text(text) => self.heard(&mut socket, text.as_str()).await?,
                    Message::Binary(sound) => {
                        if let Some(worn) = &mut self.worn {
                            worn.hears.hear(&samples(&sound));
                        }
                    }
                    Message::Ping(_) | Message::Pong(_) => {}
                    Message::Close(_) => return None,
                },
                spoken = speech(&mut self.worn) => match spoken {
                    Some(spoken) => play(&mut socket, &spoken).await?,
                    // The walk has taken it off, or another phone was put on.
                    None => {
                        self.worn = None;
                        let sentence = self.visitor.words.t("roof.taken-off");
                        tell(&mut socket, &Told::NotWorn { sentence }).await?;
                    }
                },
                Some(answered) = self.answers.join_next() => {
                    let (id, reply) = answered.ok()?;
                    let why = sentence(&reply, self.visitor.words);
                    let told = Told::Reply {
                        id,
                        taken: why.is_none(),
                        unknown: matches!(reply, Reply::Busy | Reply::Gone),
                        sentence: why.unwrap_or_default(),
                    };
                    tell(&mut socket, &told).await?;
                }
                _ = signed_in.tick() => {
                    if !holds(&self.site, &self.visitor).await {
                        return None;
                    }
                }
            }
        }
    }

    /// What a page sent; none where its socket is to be closed.
    async fn heard(&mut self, socket: &mut WebSocket, text: &str) -> Option<()> {
        match serde_json::from_str(text).ok()? {
            Said::Ping => return tell(socket, &Told::Pong).await,
            Said::TakeOff => self.worn = None,
            Said::Played { id } => {
                if let Some(worn) = &mut self.worn {
                    worn.hears.played(id);
                }
            }
            Said::Answer { id, question, meaning, value } => {
                if !holds(&self.site, &self.visitor).await || MOST_ANSWERS <= self.answers.len() {
                    return None;
                }
                let given = Given { id: id.clone(), question, meaning, value };
                let followed = self.followed.clone();
                // Sound goes on meanwhile: the walk may be speaking.
                self.answers
                    .spawn(async move { (id, send(&followed, given.answer(), How::Touch).await) });
            }
            Said::Headset { name, rate_hz } => {
                if !holds(&self.site, &self.visitor).await {
                    return None;
                }
                let name: String = tame(name.trim()).chars().take(LONGEST_NAME).collect();
                let words = self.visitor.words;
                let name = match name.is_empty() {
                    true => words.t("roof.a-phone").to_owned(),
                    false => name,
                };
                let (speaks, to_play) = channel(MOST_SPOKEN);
                self.worn = None;
                match self.followed.headsets.put_on(Headset { name, rate_hz, speaks }) {
                    Ok(hears) => self.worn = Some(Worn { hears, speaks: to_play }),
                    Err(why) => {
                        tracing::info!(%why, "no headset");
                        let sentence = words.t(match why {
                            NotWorn::Rate => "roof.no-rate",
                            NotWorn::Busy => "roof.busy",
                            NotWorn::Gone => "roof.gone",
                        });
                        tell(socket, &Told::NotWorn { sentence }).await?;
                    }
                }
            }
        }
        Some(())
    }
}

/// Whether the sign-in still holds, in a role that walks.
async fn holds(site: &Shared, visitor: &Visitor) -> bool {
    let (session, person) = (visitor.session.id, visitor.session.person.id);
    let found = site.log(move |store, site| {
        let sessions = store.sessions(Some(person), site.now())?;
        Ok::<_, StoreError>(sessions.into_iter().find(|one| one.id == session))
    });
    let found = found.await.ok().flatten();
    found.is_some_and(|session| session.person.roles.may(Right::Walk))
}

/// What a worn phone is to play next; never where none is worn.
async fn speech(worn: &mut Option<Worn>) -> Option<Spoken> {
    match worn {
        Some(worn) => worn.speaks.recv().await,
        None => std::future::pending().await,
    }
}

/// Sound as a page sends it; half a sample at its end is none.
fn samples(sound: &[u8]) -> Vec<i16> {
    let pairs = sound.chunks_exact(2);
    pairs.filter_map(|pair| Some(i16::from_le_bytes(pair.try_into().ok()?))).collect()
}

/// Speech as a page takes it: its number and its rate in 32 bits each, then 16-bit
/// samples, all with the little end first.
fn speech_bytes(id: u32, rate_hz: u32, samples: &[i16]) -> Bytes {
    let head = id.to_le_bytes().into_iter().chain(rate_hz.to_le_bytes());
    head.chain(samples.iter().flat_map(|sample| sample.to_le_bytes())).collect()
}

async fn play(socket: &mut WebSocket, spoken: &Spoken) -> Option<()> {
    match spoken {
        Spoken::Speech { id, rate_hz, samples } => {
            let bytes = speech_bytes(*id, *rate_hz, samples);
            socket.send(Message::Binary(bytes)).await.ok()
        }
        Spoken::Hush { id } => tell(socket, &Told::Hush { id: *id }).await,
    }
}

async fn tell(socket: &mut WebSocket, told: &Told<'_>) -> Option<()> {
    let text = serde_json::to_string(told).ok()?;
    socket.send(Message::Text(text.into())).await.ok()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn sound_crosses_as_it_is() {
        let sound = [0_i16, 1, -1, i16::MIN, i16::MAX];
        let bytes = speech_bytes(7, 22_050, &sound);
        assert_eq!(bytes.get(..8), Some(&[7, 0, 0, 0, 0x22, 0x56, 0, 0][..]));
        assert_eq!(samples(bytes.get(8..).unwrap()), sound);
        assert_eq!(samples(&[1, 0, 9]), [1], "half a sample is none");
    }
}
