//! Checklists and profiles: which versions there are, what one says, what differs
//! between two, and whether a text is sound.

use axum::extract::{DefaultBodyLimit, State};
use axum::http::header;
use axum::response::{IntoResponse as _, Response};
use serde::Deserialize;
use utoipa::{IntoParams, ToSchema};
use utoipa_axum::router::{OpenApiRouter, UtoipaMethodRouterExt as _};
use utoipa_axum::routes;

use super::super::refusal::Refusal;
use super::super::site::Shared;
use super::ask::{Asked, At, Body, Reads, Writes};
use super::jobs::MOST_FILE_BYTES;
use super::json;
use super::shapes::{AdoptedText, Changes, Checked, Library};
use super::text::Line;
use crate::domain::{Json, PinKind, Right, Version};
use crate::export::{changes as told, listing};
use crate::office::library::{self, Adopted};
use crate::office::lists;
use crate::store::{AdoptedVersion, Store};

pub(super) fn routes() -> OpenApiRouter<Shared> {
    let sent = DefaultBodyLimit::max(MOST_FILE_BYTES);
    OpenApiRouter::new()
        .routes(routes!(all))
        .routes(routes!(check).layer(sent))
        .routes(routes!(one))
        .routes(routes!(text))
        .routes(routes!(changes))
}

/// Which kind of file.
#[derive(Clone, Copy, Debug, Deserialize, ToSchema)]
#[serde(rename_all = "kebab-case")]
enum Kind {
    /// A procedure.
    Checklist,
    /// The figures of one product.
    Profile,
}

/// Which version.
#[derive(Clone, Debug, Deserialize, IntoParams)]
#[into_params(parameter_in = Path)]
struct OfVersion {
    #[param(inline, example = "checklist")]
    kind: Kind,
    /// Its identifier.
    #[param(min_length = 1, example = "deck-intake")]
    id: String,
    /// Its version.
    #[param(pattern = r"^[0-9]+\.[0-9]+\.[0-9]+$", max_length = 30, example = "1.3.0")]
    version: String,
}

impl OfVersion {
    fn parts(&self) -> Result<(PinKind, Version), Refusal> {
        let kind = match self.kind {
            Kind::Checklist => PinKind::Checklist,
            Kind::Profile => PinKind::Profile,
        };
        Ok((kind, version(&self.version)?))
    }
}

fn version(text: &str) -> Result<Version, Refusal> {
    text.parse().map_err(|_| Refusal::NotFound)
}

/// Checklists and profiles
///
/// Every adopted version; for the office also the files that were seen in the watched folders.
#[utoipa::path(
    get, path = "/api/v1/library", tag = "library", operation_id = "listLibrary",
    responses((status = 200, description = "All of them.", body = Library))
)]
async fn all(State(site): State<Shared>, Reads(visitor): Reads) -> Result<Response, Refusal> {
    visitor.must(Right::Read)?;
    let is_office = visitor.may(Right::Office);
    let read = site.log(move |store, _| {
        let mut adopted = store.adopted(PinKind::Checklist)?;
        adopted.extend(store.adopted(PinKind::Profile)?);
        let seen = if is_office { Some(store.seen()?) } else { None };
        Ok::<_, Refusal>((adopted, seen))
    });
    let (adopted, seen) = read.await?;
    let seen = seen.map_or(Json::Null, |seen| Json::List(seen.iter().map(lists::seen).collect()));
    let adopted = Json::List(adopted.iter().map(lists::adopted).collect());
    json(&Json::object([("adopted", adopted), ("seen", seen)]))
}

fn found(store: &Store, kind: PinKind, id: &str, at: Version) -> Result<AdoptedVersion, Refusal> {
    let all = store.adopted(kind)?.into_iter();
    let mut of = all.filter(|one| one.id == id && one.version == at);
    of.next().ok_or(Refusal::NotFound)
}

/// A version
///
/// Who adopted it and when, the other versions, and the whole of it as a person reads it.
#[utoipa::path(
    get, path = "/api/v1/library/{kind}/{id}/{version}", tag = "library",
    operation_id = "getVersion", params(OfVersion),
    responses((status = 200, description = "The version.", body = AdoptedText))
)]
async fn one(
    State(site): State<Shared>,
    Reads(visitor): Reads,
    At(of): At<OfVersion>,
) -> Result<Response, Refusal> {
    visitor.must(Right::Read)?;
    let (kind, at) = of.parts()?;
    let read = site.log(move |store, site| {
        let row = found(store, kind, &of.id, at)?;
        let adopted = library::adopted(store, &site.served.functions, kind, &of.id, at)?;
        let mut versions = store.versions(kind, &of.id)?;
        versions.sort_by_key(|(version, _)| *version);
        Ok::<_, Refusal>((row, adopted.ok_or(Refusal::NotFound)?, versions))
    });
    let (row, adopted, versions) = read.await?;
    let text = match &adopted {
        Adopted::Checklist(list) => listing::checklist(list),
        Adopted::Profile(profile) => listing::profile(profile),
    };
    let mut body = lists::adopted(&row);
    if let Json::Object(members) = &mut body {
        let versions = versions.iter().map(|(version, _)| Json::text(version));
        members.insert("versions", Json::List(versions.collect()));
        members.insert("listing", Json::from(text));
    }
    json(&body)
}

/// The file of a version, to the letter
#[utoipa::path(
    get, path = "/api/v1/library/{kind}/{id}/{version}/text", tag = "library",
    operation_id = "getVersionText", params(OfVersion),
    responses((
        status = 200, description = "The file as it was adopted: TOML.", body = String,
        content_type = "application/toml"
    ))
)]
async fn text(
    State(site): State<Shared>,
    Reads(visitor): Reads,
    At(of): At<OfVersion>,
) -> Result<Response, Refusal> {
    visitor.must(Right::Read)?;
    let (kind, at) = of.parts()?;
    let body = site.log(move |store, _| store.adopted_body(kind, &of.id, at)).await?;
    let body = body.ok_or(Refusal::NotFound)?;
    Ok(([(header::CONTENT_TYPE, "application/toml")], body).into_response())
}

#[derive(Clone, Debug, Deserialize, IntoParams)]
#[into_params(parameter_in = Query)]
struct Since {
    /// The version it is compared with.
    #[param(pattern = r"^[0-9]+\.[0-9]+\.[0-9]+$", max_length = 30, example = "1.3.0")]
    since: String,
}

/// What differs between two versions
///
/// In sentences, what can hurt or leak first.
#[utoipa::path(
    get, path = "/api/v1/library/{kind}/{id}/{version}/changes", tag = "library",
    operation_id = "getChanges", params(OfVersion, Since),
    responses((status = 200, description = "Each difference.", body = Changes))
)]
async fn changes(
    State(site): State<Shared>,
    Reads(visitor): Reads,
    At(of): At<OfVersion>,
    Asked(Since { since }): Asked<Since>,
) -> Result<Response, Refusal> {
    visitor.must(Right::Read)?;
    let (kind, to) = of.parts()?;
    let plain = |b: u8| b.is_ascii_digit() || b == b'.';
    if 30 < since.len() || !since.bytes().all(plain) || since.split('.').count() != 3 {
        return Err(Refusal::Unusable(format!("`{since}` is no version such as 1.1.0")));
    }
    let from = version(&since)?;
    let differ = site.log(move |store, site| {
        let adopted = |at| library::adopted(store, &site.served.functions, kind, &of.id, at);
        let old = adopted(from)?.ok_or(Refusal::NotFound)?;
        let new = adopted(to)?.ok_or(Refusal::NotFound)?;
        library::differences(&old, &new).ok_or(Refusal::NotFound)
    });
    json(&Json::object([("changes", told::json(&differ.await?))]))
}

/// A text to be checked.
#[derive(Clone, Debug, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
struct TextToCheck {
    /// What the file is called.
    name: Line,
    /// The whole text, TOML.
    text: String,
}

/// Whether a text is sound
///
/// For the office. A checklist, a profile or a job file; nothing is kept.
#[utoipa::path(
    post, path = "/api/v1/library/check", tag = "library", operation_id = "checkText",
    request_body(content = TextToCheck, example = json!({ "name": "deck-intake.toml", "text": "id = \"an-invented-list\"\n" })),
    responses((status = 200, description = "What it is, or all that is wrong.", body = Checked))
)]
async fn check(
    State(site): State<Shared>,
    Writes(visitor): Writes,
    Body(TextToCheck { name, text }): Body<TextToCheck>,
) -> Result<Response, Refusal> {
    visitor.must(Right::Office)?;
    let checked = site.log(move |_, site| {
        let read = library::read(&text, name.as_str(), &site.served.functions);
        Ok::<_, Refusal>(library::checked(&read))
    });
    json(&checked.await?)
}
