//! The program itself, as whom one asks, and who may sign in.

use axum::extract::State;
use axum::response::Response;
use serde_json::{Value, json};
use utoipa_axum::router::OpenApiRouter;
use utoipa_axum::routes;

use super::super::refusal::Refusal;
use super::super::site::Shared;
use super::super::start::health_json;
use super::ask::Reads;
use super::shapes::{Health, People, You};
use super::{json as answer, written};
use crate::domain::{Right, Units};
use crate::store::Person;

pub(super) fn routes() -> OpenApiRouter<Shared> {
    OpenApiRouter::new().routes(routes!(health)).routes(routes!(you)).routes(routes!(people))
}

/// How the program is
///
/// For the office: its version, since when it runs, the head of its log, the files it watches.
#[utoipa::path(
    get, path = "/api/v1/health", tag = "program", operation_id = "getHealth",
    responses((status = 200, description = "How it is.", body = Health))
)]
async fn health(State(site): State<Shared>, Reads(visitor): Reads) -> Result<Response, Refusal> {
    visitor.must(Right::Office)?;
    answer(&health_json(&site).await?)
}

fn person(person: &Person) -> Value {
    let roles: Vec<&str> = person.roles.iter().map(|role| role.word()).collect();
    let units = if person.units == Units::Us { "us" } else { "metric" };
    json!({
        "name": person.name, "roles": roles, "units": units, "language": person.language.code(),
    })
}

fn with(mut object: Value, members: &[(&str, Value)]) -> Value {
    if let Value::Object(all) = &mut object {
        all.extend(members.iter().map(|(name, value)| ((*name).to_owned(), value.clone())));
    }
    object
}

/// As whom you ask
///
/// The person of the key, or of the sign-in; for a page's sign-in with the token that changes need.
#[utoipa::path(
    get, path = "/api/v1/you", tag = "program", operation_id = "getYou",
    responses((status = 200, description = "The person.", body = You))
)]
async fn you(Reads(visitor): Reads) -> Result<Response, Refusal> {
    let session = &visitor.session;
    let mut you = with(person(&session.person), &[("device", json!(session.device))]);
    if !visitor.by_key {
        you = with(you, &[("token", json!(visitor.token))]);
    }
    written(&you)
}

/// Who may sign in
///
/// For the office.
#[utoipa::path(
    get, path = "/api/v1/people", tag = "program", operation_id = "listPeople",
    responses((status = 200, description = "Everybody who may or might sign in.", body = People))
)]
async fn people(State(site): State<Shared>, Reads(visitor): Reads) -> Result<Response, Refusal> {
    visitor.must(Right::Office)?;
    let read = site.log(|store, site| {
        let sessions = store.sessions(None, site.now())?;
        Ok::<_, Refusal>((store.people()?, sessions, store.keys()?))
    });
    let (people, sessions, keys) = read.await?;
    let people: Vec<Value> = people
        .iter()
        .map(|one| {
            let devices = sessions.iter().filter(|session| session.person.id == one.id);
            let devices: Vec<&str> = devices.map(|session| session.device.as_str()).collect();
            let keys = keys.iter().filter(|key| key.person.id == one.id);
            let keys: Vec<&str> = keys.map(|key| key.called.as_str()).collect();
            let more =
                [("left", json!(one.left)), ("devices", json!(devices)), ("keys", json!(keys))];
            with(person(one), &more)
        })
        .collect();
    written(&json!({ "people": people }))
}
