//! Walking a checklist: how one's walk stands, and answers to exactly what it asks, as
//! the roof screen gives them. What is asked and logged is decided elsewhere.

use std::sync::Arc;

use axum::extract::State;
use axum::http::StatusCode;
use axum::response::Response;
use serde::{Deserialize, Serialize};
use utoipa::{IntoParams, ToSchema};
use utoipa_axum::router::OpenApiRouter;
use utoipa_axum::routes;

use super::super::guard::Visitor;
use super::super::refusal::Refusal;
use super::super::roof::{self, Which};
use super::super::site::Shared;
use super::super::walks::{Answer, NotWalked, Reply, Shown};
use super::ask::{At, Body, Reads, Writes, is_id};
use super::text::{Line, Said};
use super::written;

pub(super) fn routes() -> OpenApiRouter<Shared> {
    OpenApiRouter::new().routes(routes!(stands, take_up)).routes(routes!(answer))
}

/// Which walk.
#[derive(Clone, Debug, Deserialize, IntoParams)]
#[into_params(parameter_in = Path)]
struct OfWalk {
    /// The job's number.
    #[param(min_length = 1, example = "EX-0001")]
    number: String,
    /// A checklist that the job pins.
    #[param(min_length = 1, example = "deck-intake")]
    checklist: String,
}

impl OfWalk {
    fn which(self) -> Which {
        Which { job: self.number, checklist: self.checklist }
    }
}

/// How your walk stands
///
/// Nothing is begun and nothing logged by reading: a walk that does not run now is not found.
#[utoipa::path(
    get, path = "/api/v1/jobs/{number}/walks/{checklist}", tag = "walks",
    operation_id = "getWalk", params(OfWalk),
    responses((status = 200, description = "What is asked, whole.", body = Shown))
)]
async fn stands(
    State(site): State<Shared>,
    Reads(visitor): Reads,
    At(of): At<OfWalk>,
) -> Result<Response, Refusal> {
    let mut followed = roof::running(&site, &visitor, &of.which()).await?;
    written(&*roof::present(&mut followed, visitor.words).await?)
}

/// A walk to be taken up.
#[derive(Clone, Copy, Debug, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
struct WalkWanted {
    /// Whether a further walk is to begin, after one that has ended.
    #[serde(default)]
    again: bool,
}

/// Takes your walk up
///
/// It begins, or goes on where it was left; taken up twice it is one. Whoever takes it up reads
/// the person the cautions it shows: the log says that they were shown.
#[utoipa::path(
    post, path = "/api/v1/jobs/{number}/walks/{checklist}", tag = "walks",
    operation_id = "takeUpWalk", params(OfWalk), request_body(content = WalkWanted, example = json!({ "again": false })),
    responses((status = 200, description = "What is asked, whole.", body = Shown))
)]
async fn take_up(
    State(site): State<Shared>,
    Writes(visitor): Writes,
    At(of): At<OfWalk>,
    Body(WalkWanted { again }): Body<WalkWanted>,
) -> Result<Response, Refusal> {
    let shown = taken(&site, &visitor, &of.which(), again).await?.1;
    written(&*shown)
}

async fn taken(
    site: &Shared,
    visitor: &Visitor,
    which: &Which,
    again: bool,
) -> Result<(super::super::walks::Followed, Arc<Shown>), Refusal> {
    let taken = roof::taken(site, visitor, which, again).await?;
    let mut followed = taken.map_err(|error| match error {
        // What has to be known or ended first.
        NotWalked::StillOpen(_) => {
            Refusal::request(StatusCode::CONFLICT, "does-not-go", error.to_string())
        }
        NotWalked::Office(error) => super::conflict(error),
        error => error.into(),
    })?;
    let shown = roof::present(&mut followed, visitor.words).await?;
    Ok((followed, shown))
}

/// An answer to what is asked.
#[derive(Clone, Debug, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
struct WalkAnswer {
    /// A name of this answer of your own making; the same one twice is one answer.
    #[schema(pattern = "^[A-Za-z0-9_-]{1,64}$")]
    id: String,
    /// The `question` it answers, as it was shown.
    question: Line,
    /// The `meaning` of a command that is offered; or `choice`, `length`, `millimetres`,
    /// `count`, `words`, with a value.
    meaning: Line,
    /// Of a choice its place, counted from 0; else what would be typed.
    value: Option<Said>,
}

/// What became of an answer.
#[derive(Serialize, ToSchema)]
struct Became {
    /// `taken`: what it logs is on the disk.
    #[schema(example = "taken")]
    became: &'static str,
    /// How the walk stands then.
    shown: Shown,
}

/// Answers what your walk asks
///
/// It counts only as an answer to exactly the question it names, and the reply comes once it is on
/// the disk. Numbers are read back and need a `yes`, as on the screen.
#[utoipa::path(
    post, path = "/api/v1/jobs/{number}/walks/{checklist}/answers", tag = "walks",
    operation_id = "answerWalk", params(OfWalk), request_body(content = WalkAnswer, example = json!({
        "id": "0b6f1a52-3c8e-4f11-9d2a-7e5c4b3a2f10", "question": "step:wear:17",
        "meaning": "length", "value": "4 1/2 in"
    })),
    responses((status = 200, description = "It was taken.", body = Became))
)]
async fn answer(
    State(site): State<Shared>,
    Writes(visitor): Writes,
    At(of): At<OfWalk>,
    Body(body): Body<WalkAnswer>,
) -> Result<Response, Refusal> {
    if !is_id(&body.id) {
        let why = "id is 1 to 64 letters, digits, - and _, such as a UUID";
        return Err(Refusal::Unusable(why.to_owned()));
    }
    let (mut followed, _) = taken(&site, &visitor, &of.which(), false).await?;
    let reply = roof::send(
        &followed,
        Answer {
            id: body.id,
            question: body.question.as_str().to_owned(),
            meaning: body.meaning.as_str().to_owned(),
            value: body.value.as_ref().map_or("", Said::as_str).to_owned(),
        },
        visitor.how(),
    );
    let reply = reply.await;
    let Some(why) = roof::sentence(&reply, visitor.words) else {
        let shown = roof::present(&mut followed, visitor.words).await?;
        return written(&Became { became: "taken", shown: Shown::clone(&shown) });
    };
    Err(match reply {
        Reply::Changed => Refusal::request(StatusCode::CONFLICT, "changed-meanwhile", why),
        Reply::Busy | Reply::Gone | Reply::NotLogged(_) => Refusal::Broken(why),
        _ => Refusal::Unusable(why),
    })
}
