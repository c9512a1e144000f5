//! Photos of a job: listed, given as they are kept, brought; and the sounds its entries
//! name. What a photo is, and where it may belong, is decided as for the pages.

use axum::extract::{Request, State};
use axum::http::{HeaderMap, StatusCode, header};
use axum::response::{IntoResponse as _, Response};
use serde::Deserialize;
use utoipa::IntoParams;
use utoipa_axum::router::OpenApiRouter;
use utoipa_axum::routes;

use super::super::address;
use super::super::guard::text;
use super::super::handed;
use super::super::job_photos;
use super::super::refusal::Refusal;
use super::super::site::Shared;
use super::super::upload;
use super::super::words::Words;
use super::ask::{Asked, At, Reads, Writes};
use super::deeds::{logged, walk_id};
use super::jobs::OfJob;
use super::shapes::{Bytes, Entry, JobPhotos};
use super::{conflict, json, read_of_job};
use crate::domain::{Json, KeptPhoto, Language, Media, RecordPhoto, Right, StepRef, WalkId, What};
use crate::export;
use crate::office::photos::KeptAs;
use crate::photo::{MOST_BYTES, NotAPhoto};

pub(super) fn routes() -> OpenApiRouter<Shared> {
    OpenApiRouter::new().routes(routes!(list, bring)).routes(routes!(photo)).routes(routes!(clip))
}

/// Photos of a job
///
/// In the order they were kept. A photo is named by the SHA-256 of its file.
#[utoipa::path(
    get, path = "/api/v1/jobs/{number}/photos", tag = "photos", operation_id = "listPhotos",
    params(OfJob),
    responses((
        status = 200, description = "All of them.", body = JobPhotos,
        headers(("ETag" = String, description = "The job's last entry, for `If-Match`."))
    ))
)]
async fn list(
    State(site): State<Shared>,
    Reads(visitor): Reads,
    At(of): At<OfJob>,
) -> Result<Response, Refusal> {
    visitor.must(Right::Read)?;
    let read = read_of_job(&site, of.number, |file, site| {
        let number = &file.job.number;
        let shown = file.record(&site.served.functions).photos;
        let photos = file.standing.photos.iter().zip(&shown);
        let photos = photos.map(|(kept, shown)| listed(number, kept, shown));
        let photos = Json::List(photos.collect());
        Ok(Json::object([("job", Json::text(number)), ("photos", photos)]))
    });
    read.await
}

/// A photo as the record has it, with where it is fetched.
fn listed(number: &str, kept: &KeptPhoto, shown: &RecordPhoto) -> Json {
    let mut json = export::photos::json(shown);
    if let Json::Object(members) = &mut json {
        let (photo, preview) = (kept.photo.sha256, kept.photo.preview_sha256);
        for (name, hash) in [("href", photo), ("preview_href", preview)] {
            members.insert(name, Json::from(address::api_photo(number, hash)));
        }
    }
    json
}

/// Which photo of which job.
#[derive(Clone, Debug, Deserialize, IntoParams)]
#[into_params(parameter_in = Path)]
struct OfPhoto {
    /// The job's number.
    #[param(min_length = 1, example = "EX-0001")]
    number: String,
    /// Of the photo's file, or of its smaller picture: `sha256` or `preview_sha256`.
    #[param(
        pattern = "^[0-9a-f]{64}$",
        example = "ea7bc5cce1fba35391902c6368609959aee35ee2f978f7ed1475149e99a09abb"
    )]
    sha256: String,
}

/// A photo's file
///
/// To the byte as it is kept: how it lies in the file is told there. The smaller picture is an
/// upright JPEG.
#[utoipa::path(
    get, path = "/api/v1/jobs/{number}/photos/{sha256}", tag = "photos",
    operation_id = "getPhoto", params(OfPhoto),
    responses(
        (
            status = 200, description = "The file.",
            content((inline(Bytes) = "image/jpeg"), (inline(Bytes) = "image/png")),
            headers(("ETag" = String, description = "Its hash: under this address it never changes."))
        ),
        (
            status = 206, description = "The part of it that `Range` asked for.",
            content((inline(Bytes) = "image/jpeg"), (inline(Bytes) = "image/png"))
        ),
        (status = 304, description = "`If-None-Match` names it.")
    )
)]
async fn photo(
    State(site): State<Shared>,
    Reads(visitor): Reads,
    At(OfPhoto { number, sha256 }): At<OfPhoto>,
    headers: HeaderMap,
) -> Result<Response, Refusal> {
    handed::photo_of(&site, &visitor, (number, &sha256), &headers).await
}

/// Where a photo belongs, and what it shows.
#[derive(Clone, Debug, Deserialize, IntoParams)]
#[into_params(parameter_in = Query)]
struct Belongs {
    /// A walk that was begun: its checklist, from the second walk of it on with which,
    /// `start-of-day/2`. Left out: the photo is of the job.
    #[param(min_length = 1, max_length = 200, example = "deck-intake")]
    walk: Option<String>,
    /// A step of that walk, with its row where it repeats: `cut#1`. Left out: of the whole walk.
    #[param(min_length = 1, max_length = 200, example = "look-inside")]
    step: Option<String>,
    /// What it shows, in somebody's words.
    #[param(max_length = 200, example = "slot is open, invented")]
    #[serde(default)]
    caption: String,
}

impl Belongs {
    fn place(&self) -> Result<(Option<WalkId>, Option<StepRef>), Refusal> {
        for (name, text) in [("walk", &self.walk), ("step", &self.step)] {
            let long = |text: &String| !(1..=200).contains(&text.chars().count());
            if text.as_ref().is_some_and(long) {
                return Err(Refusal::Unusable(format!("{name} has 1 to 200 characters")));
            }
        }
        if self.walk.is_none() && self.step.is_some() {
            return Err(Refusal::Unusable("a step belongs to a walk: name it too".to_owned()));
        }
        let walk = self.walk.as_deref().map(walk_id).transpose()?;
        let step = self.step.as_deref().map(|step| {
            let Ok(step): Result<StepRef, _> = step.parse();
            step
        });
        Ok((walk, step))
    }
}

/// Keeps a photo
///
/// The file is the body: JPEG or PNG, at most 40 MiB. It is kept as photos of the pages are: by
/// default without the place it was taken at, with an upright smaller picture. A photo is its own
/// name: sent again after a lost answer it is one, with the words it had first, and it belongs to
/// one place. Bringing one passes nobody over, so it needs no `If-Match`. A walk that asks for a
/// photo is told by its own answer, `photo-taken`.
#[utoipa::path(
    post, path = "/api/v1/jobs/{number}/photos", tag = "photos", operation_id = "addPhoto",
    params(OfJob, Belongs), request_body(content(
        (inline(Bytes) = "image/jpeg"),
        (inline(Bytes) = "image/png", examples(("two-pixels" = (
            summary = "Two grey pixels, the whole file.",
            external_value = "data:image/png;base64,iVBORw0KGgoAAAANSUhEUgAAAAIAAAABCAAAAADRSSBWAAAAC0lEQVR42mMwOAAAASMA8VNZygsAAAAASUVORK5CYII="
        ))))
    )),
    responses(
        (
            status = 201, description = "It is kept, by this entry.", body = Entry,
            headers(("Location" = String, description = "Where the photo is fetched."))
        ),
        (
            status = 200, description = "It was kept there before, by this entry.", body = Entry,
            headers(("Location" = String, description = "Where the photo is fetched."))
        )
    )
)]
async fn bring(
    State(site): State<Shared>,
    Writes(visitor): Writes,
    At(OfJob { number }): At<OfJob>,
    Asked(belongs): Asked<Belongs>,
    request: Request,
) -> Result<Response, Refusal> {
    job_photos::must(&visitor)?;
    let place = belongs.place()?;
    // Problems are told in English, whoever asks.
    let words = Words::of(Language::default());
    let caption = upload::caption(&belongs.caption, words)?;
    let bytes = sent(request).await?;
    let ready = upload::ready(&site, bytes, caption).await?.map_err(no_photo)?;
    let kept = upload::keep(&site, &visitor, &number, place, ready, conflict);
    let (kept, wanted) = kept.await?;
    let status = match &kept {
        KeptAs::New(_) => StatusCode::CREATED,
        KeptAs::Before { place, .. } if *place == wanted => StatusCode::OK,
        KeptAs::Before { seq, .. } => {
            let why = words.fill("photo.elsewhere", &[("entry", &seq.to_string())]);
            return Err(Refusal::request(StatusCode::CONFLICT, "does-not-go", why));
        }
    };
    let (entry, told) = logged(&site, &number, kept.seq()).await?;
    let What::PhotoKept { photo, .. } = &entry.draft.what else {
        return Err(Refusal::Broken("the entry of a photo keeps none".to_owned()));
    };
    // No state of the job is told: what others wrote, whoever asks need not have read.
    let place = [(header::LOCATION, address::api_photo(&number, photo.sha256))];
    Ok((status, place, json(&told)?).into_response())
}

/// The file that a request brings, no byte of which is read before its kind.
async fn sent(request: Request) -> Result<Vec<u8>, Refusal> {
    let kind = text(request.headers(), &header::CONTENT_TYPE).unwrap_or_default();
    let kind = kind.split(';').next().unwrap_or_default().trim();
    if ![Media::Jpeg, Media::Png].iter().any(|media| media.word().eq_ignore_ascii_case(kind)) {
        let why = "send the photo's file, and say so: Content-Type: image/jpeg or image/png";
        let status = StatusCode::UNSUPPORTED_MEDIA_TYPE;
        return Err(Refusal::request(status, "no-photo", why));
    }
    match upload::whole(request.into_body()).await {
        Err(Refusal::TooLarge(_)) => Err(too_large()),
        read => read,
    }
}

fn too_large() -> Refusal {
    let why = format!("a photo may have {} MiB: make it smaller", MOST_BYTES >> 20);
    Refusal::request(StatusCode::PAYLOAD_TOO_LARGE, "too-large", why)
}

fn no_photo(why: NotAPhoto) -> Refusal {
    match why {
        NotAPhoto::TooLarge { .. } => too_large(),
        why => Refusal::Unusable(format!("the file {why}")),
    }
}

/// Which sound of which job.
#[derive(Clone, Debug, Deserialize, IntoParams)]
#[into_params(parameter_in = Path)]
struct OfClip {
    /// The job's number.
    #[param(min_length = 1, example = "EX-0001")]
    number: String,
    /// As an entry names it: `clip.sha256` of a note, `sound_sha256` of what was heard.
    #[param(
        pattern = "^[0-9a-f]{64}$",
        example = "ea70c429e2998912427027fca48089ec68d65e996edc722dee697302657715d6"
    )]
    sha256: String,
}

/// A sound
///
/// WAV. Which sounds are kept goes by the settings: one that is named may not be there.
#[utoipa::path(
    get, path = "/api/v1/jobs/{number}/clips/{sha256}", tag = "photos", operation_id = "getClip",
    params(OfClip),
    responses(
        (
            status = 200, description = "The file.", content((inline(Bytes) = "audio/wav")),
            headers(("ETag" = String, description = "Its hash: under this address it never changes."))
        ),
        (
            status = 206, description = "The part of it that `Range` asked for.",
            content((inline(Bytes) = "audio/wav"))
        ),
        (status = 304, description = "`If-None-Match` names it.")
    )
)]
async fn clip(
    State(site): State<Shared>,
    Reads(visitor): Reads,
    At(OfClip { number, sha256 }): At<OfClip>,
    headers: HeaderMap,
) -> Result<Response, Refusal> {
    handed::clip_of(&site, &visitor, (number, &sha256), &headers).await
}
