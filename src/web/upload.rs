//! Forms that bring files: the hidden fields first, then the photos. Read as far as
//! they may go and no further; what a photo is, is `photo`'s matter.

use std::collections::BTreeMap;

use axum::RequestExt as _;
use axum::extract::multipart::{Field, MultipartError};
use axum::extract::{DefaultBodyLimit, FromRequest, FromRequestParts as _, Multipart, Request};
use serde::de::DeserializeOwned;
use serde::de::value::{Error as NotRead, MapDeserializer};
use subtle::ConstantTimeEq as _;
use tokio::sync::Semaphore;

use super::guard::Visitor;
use super::refusal::Refusal;
use super::site::Shared;
use super::words::Words;
use crate::office::photos;
use crate::photo::{self, MOST_BYTES, NotAPhoto, Ready};

/// The photos of one form together, in bytes.
pub(super) const MOST_TOGETHER_BYTES: u64 = 3 * MOST_BYTES;
/// What is read on, unkept, so that who sends too much is told so: a browser that
/// is cut off while it sends shows no answer.
const MOST_DRAINED_BYTES: u64 = 10 * MOST_BYTES;
/// A field that is no file has no more bytes.
const MOST_FIELD_BYTES: usize = 4 << 10;
/// And there are no more of them.
const MOST_FIELDS: usize = 20;

/// Unpacking a photo takes up to half a gibibyte: so many at once.
static UNPACKING: Semaphore = Semaphore::const_new(2);

/// A form of ours with photos, sent by whoever is signed in.
#[derive(Debug)]
pub(super) struct Brought<T> {
    pub(super) visitor: Visitor,
    /// Its other fields.
    pub(super) form: T,
    /// The photos, each with its name on the device it comes from.
    pub(super) files: Vec<(String, Vec<u8>)>,
}

impl<T: DeserializeOwned> FromRequest<Shared> for Brought<T> {
    type Rejection = Refusal;

    async fn from_request(request: Request, site: &Shared) -> Result<Self, Refusal> {
        let (mut parts, body) = request.into_parts();
        let visitor = Visitor::from_request_parts(&mut parts, site).await?;
        let mut request = Request::from_parts(parts, body);
        // Bytes are counted here, so that the refusal can be told.
        DefaultBodyLimit::apply(DefaultBodyLimit::disable(), &mut request);
        let multipart = request.extract::<Multipart, _>().await;
        let multipart = multipart.map_err(|error| Refusal::Unusable(error.body_text()))?;
        read(visitor, multipart).await
    }
}

async fn read<T: DeserializeOwned>(
    visitor: Visitor,
    mut multipart: Multipart,
) -> Result<Brought<T>, Refusal> {
    let (mut fields, mut files) = (BTreeMap::<String, String>::new(), Vec::new());
    let (mut together, mut too_large) = (0_u64, false);
    let words = visitor.words;
    let broke = |error| broken(&error, words);
    while let Some(mut field) = multipart.next_field().await.map_err(broke)? {
        let name = field.name().unwrap_or_default().to_owned();
        if name != "photo" {
            if MOST_FIELDS <= fields.len() {
                return Err(Refusal::Strange);
            }
            let text = text(&mut field, words).await?;
            fields.insert(name, text);
            continue;
        }
        // Nothing is taken in for whoever did not get the form from us.
        let token = fields.get("token").map(String::as_bytes).unwrap_or_default();
        if !bool::from(token.ct_eq(visitor.token.as_bytes())) {
            return Err(Refusal::Strange);
        }
        let called = field.file_name().unwrap_or_default().to_owned();
        let mut bytes = Vec::new();
        while let Some(chunk) = field.chunk().await.map_err(broke)? {
            let size = |bytes: &[u8]| u64::try_from(bytes.len()).unwrap_or(u64::MAX);
            together = together.saturating_add(size(&chunk));
            too_large |= MOST_BYTES < size(&bytes).saturating_add(size(&chunk));
            too_large |= MOST_TOGETHER_BYTES < together;
            if MOST_DRAINED_BYTES < together {
                return Err(Refusal::TooLarge(MOST_BYTES));
            }
            if too_large {
                (bytes, files) = (Vec::new(), Vec::new());
            } else {
                bytes.extend_from_slice(&chunk);
            }
        }
        // A browser sends an empty one where none was chosen.
        if !bytes.is_empty() {
            files.push((called, bytes));
        }
    }
    if too_large {
        return Err(Refusal::TooLarge(MOST_BYTES));
    }
    let token = fields.remove("token").unwrap_or_default();
    if !bool::from(token.as_bytes().ct_eq(visitor.token.as_bytes())) {
        return Err(Refusal::Strange);
    }
    let form = T::deserialize(MapDeserializer::<_, NotRead>::new(fields.into_iter()));
    let form =
        form.map_err(|error| Refusal::Unusable(format!("the form cannot be read: {error}")))?;
    Ok(Brought { visitor, form, files })
}

async fn text(field: &mut Field<'_>, words: Words) -> Result<String, Refusal> {
    let mut bytes = Vec::new();
    while let Some(chunk) = field.chunk().await.map_err(|error| broken(&error, words))? {
        if MOST_FIELD_BYTES < bytes.len().saturating_add(chunk.len()) {
            return Err(Refusal::Strange);
        }
        bytes.extend_from_slice(&chunk);
    }
    String::from_utf8(bytes).map_err(|_| Refusal::Strange)
}

/// It broke off, or is no form.
fn broken(error: &MultipartError, words: Words) -> Refusal {
    tracing::info!(?error, "upload");
    Refusal::Unusable(words.t("photo.broke-off").to_owned())
}

/// Why a file is not kept as a photo, as the second half of a sentence about it.
pub(super) fn why(not: &NotAPhoto, words: Words) -> String {
    match not {
        NotAPhoto::TooLarge { .. } => {
            words.fill("photo.why-large", &[("most", &(MOST_BYTES >> 20).to_string())])
        }
        NotAPhoto::Unknown => words.t("photo.why-kind").to_owned(),
        NotAPhoto::TooManyPixels { width_px, height_px } => words.fill(
            "photo.why-pixels",
            &[("width", &width_px.to_string()), ("height", &height_px.to_string())],
        ),
        NotAPhoto::Damaged { .. } => words.t("photo.why-damaged").to_owned(),
    }
}

/// Makes a photo ready to be kept, off the threads that answer.
pub(super) async fn ready(
    site: &Shared,
    bytes: Vec<u8>,
    caption: Option<String>,
) -> Result<Result<Ready, NotAPhoto>, Refusal> {
    let location = photos::location(&site.served.config);
    unpack(move || photo::ready(bytes, caption.as_deref(), location)).await
}

/// Does something that unpacks a photo.
pub(super) async fn unpack<T: Send + 'static>(
    body: impl FnOnce() -> T + Send + 'static,
) -> Result<T, Refusal> {
    let failed = || Refusal::Broken("this page failed; the daemon's log says why".to_owned());
    let _turn = UNPACKING.acquire().await.map_err(|_| failed())?;
    tokio::task::spawn_blocking(body).await.map_err(|error| {
        tracing::error!(?error, "photo");
        failed()
    })
}
