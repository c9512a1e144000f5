//! The roof screen's socket: pushes how the walk stands, whole, and takes
//! answers. Where there is none, the page's forms do the same.

use std::sync::Arc;
use std::time::Duration;

use axum::extract::ws::{Message, WebSocket, WebSocketUpgrade};
use axum::extract::{Path, State};
use axum::response::Response;
use serde::{Deserialize, Serialize};

use super::super::guard::Visitor;
use super::super::refusal::Refusal;
use super::super::site::Shared;
use super::super::walks::{Followed, Reply, Shown};
use super::{Given, Which, screen, send, sentence, take_up};
use crate::domain::Right;
use crate::store::StoreError;

/// More bytes than an answer has.
const MOST_BYTES: usize = 16 << 10;
/// How often it is looked whether the sign-in still holds.
const STILL_SIGNED_IN: Duration = Duration::from_secs(30);

/// What a page sends.
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
}

/// What a page is sent.
#[derive(Serialize)]
#[serde(rename_all = "kebab-case", tag = "kind")]
enum Told<'a> {
    /// How the walk stands: as data, and as the parts of the page.
    Shown { shown: &'a Shown, html: String },
    /// What became of an answer: why it was refused, where it was.
    Reply {
        id: &'a str,
        taken: bool,
        /// Nobody knows: the page sends it again, under the same name.
        unknown: bool,
        sentence: String,
    },
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
    Ok(socket.on_upgrade(move |socket| follow(site, visitor, which, followed, socket)))
}

async fn follow(
    site: Shared,
    visitor: Visitor,
    which: Which,
    mut followed: Followed,
    mut socket: WebSocket,
) {
    let mut signed_in = tokio::time::interval(STILL_SIGNED_IN);
    signed_in.tick().await;
    followed.shown.mark_changed();
    loop {
        let told = tokio::select! {
            changed = followed.shown.changed() => match changed {
                Ok(()) => true,
                Err(_) => break,
            },
            message = socket.recv() => match message {
                Some(Ok(Message::Text(text))) => {
                    match heard(&site, &visitor, &followed, &mut socket, text.as_str()).await {
                        Some(()) => false,
                        None => break,
                    }
                }
                Some(Ok(Message::Ping(_) | Message::Pong(_))) => false,
                _ => break,
            },
            _ = signed_in.tick() => {
                if !holds(&site, &visitor).await {
                    break;
                }
                false
            }
        };
        if told {
            let shown: Option<Arc<Shown>> = followed.shown.borrow_and_update().clone();
            let Some(shown) = shown else { continue };
            let html = screen::parts(&visitor, &which, &shown, None, "").into_string();
            if tell(&mut socket, &Told::Shown { shown: &shown, html }).await.is_none() {
                break;
            }
        }
    }
    tracing::debug!("a roof screen is closed");
}

async fn tell(socket: &mut WebSocket, told: &Told<'_>) -> Option<()> {
    let text = serde_json::to_string(told).ok()?;
    socket.send(Message::Text(text.into())).await.ok()
}

/// What a page sent; none where its socket is to be closed.
async fn heard(
    site: &Shared,
    visitor: &Visitor,
    followed: &Followed,
    socket: &mut WebSocket,
    text: &str,
) -> Option<()> {
    let (id, question, meaning, value) = match serde_json::from_str(text).ok()? {
        Said::Ping => return tell(socket, &Told::Pong).await,
        Said::Answer { id, question, meaning, value } => (id, question, meaning, value),
    };
    if !holds(site, visitor).await {
        return None;
    }
    let given = Given { id: id.clone(), question, meaning, value };
    let reply = send(followed, given.answer()).await;
    let why = sentence(&reply, visitor.words);
    let told = Told::Reply {
        id: &id,
        taken: why.is_none(),
        unknown: matches!(reply, Reply::Busy | Reply::Gone),
        sentence: why.unwrap_or_default(),
    };
    tell(socket, &told).await
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
