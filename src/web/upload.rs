//! Photos that are sent: in a form, the hidden fields first, or as the body of a
//! program's request. Read as far as they may go and no further, made ready, kept;
//! what a photo is, is `photo`'s matter, where it may belong that of `office`.

use std::collections::BTreeMap;
use std::future::poll_fn;
use std::pin::Pin;

use axum::RequestExt as _;
use axum::body::{Body, HttpBody as _};
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
use crate::domain::{StepRef, WalkId};
use crate::office::photos::{self, Bringing, KeptAs, PhotoPlace};
use crate::office::{self, OfficeError};
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

/// As long as words to a photo may be, in characters.
pub(super) const LONGEST_CAPTION: usize = 200;

/// Unpacking a photo takes up to half a gibibyte: so many at once.
static UNPACKING: Semaphore = Semaphore::const_new(2);

/// What was read of the photos that one request brings.
#[derive(Default)]
struct Taking {
    together_bytes: u64,
    too_large: bool,
}

impl Taking {
    /// A piece of a photo more. Of what is too large nothing stays.
    fn take(&mut self, photo: &mut Vec<u8>, piece: &[u8]) -> Result<(), Refusal> {
        let size = |bytes: &[u8]| u64::try_from(bytes.len()).unwrap_or(u64::MAX);
        self.together_bytes = self.together_bytes.saturating_add(size(piece));
        self.too_large |= MOST_BYTES < size(photo).saturating_add(size(piece));
        self.too_large |= MOST_TOGETHER_BYTES < self.together_bytes;
        if MOST_DRAINED_BYTES < self.together_bytes {
            return Err(Refusal::TooLarge(MOST_BYTES));
        }
        if self.too_large {
            *photo = Vec::new();
        } else {
            photo.extend_from_slice(piece);
        }
        Ok(())
    }
}

/// The one photo that is a whole body. Nothing is read of it before this is asked.
pub(super) async fn whole(mut body: Body) -> Result<Vec<u8>, Refusal> {
    let (mut taking, mut photo) = (Taking::default(), Vec::new());
    while let Some(frame) = poll_fn(|at| Pin::new(&mut body).poll_frame(at)).await {
        let frame = frame.map_err(|error| {
            tracing::info!(?error, "upload");
            Refusal::Unusable("the photo broke off: send it again".to_owned())
        })?;
        if let Ok(piece) = frame.into_data() {
            taking.take(&mut photo, &piece)?;
        }
    }
    if taking.too_large { Err(Refusal::TooLarge(MOST_BYTES)) } else { Ok(photo) }
}

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
    let mut taking = Taking::default();
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
        while let Some(piece) = field.chunk().await.map_err(broke)? {
            taking.take(&mut bytes, &piece)?;
            if taking.too_large {
                files = Vec::new();
            }
        }
        // A browser sends an empty one where none was chosen.
        if !bytes.is_empty() {
            files.push((called, bytes));
        }
    }
    if taking.too_large {
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

/// Words to a photo, where there are some.
pub(super) fn caption(sent: &str, words: Words) -> Result<Option<String>, Refusal> {
    let caption = sent.trim();
    if LONGEST_CAPTION < caption.chars().count() {
        return Err(Refusal::Unusable(words.t("roof.too-long").to_owned()));
    }
    Ok((!caption.is_empty()).then(|| caption.to_owned()))
}

/// Keeps a photo that this person brings, at the place that is wanted; says that
/// place as well. `refused` tells of one that the job does not have.
pub(super) async fn keep(
    site: &Shared,
    visitor: &Visitor,
    number: &str,
    (walk, step): (Option<WalkId>, Option<StepRef>),
    ready: Ready,
    refused: fn(OfficeError) -> Refusal,
) -> Result<(KeptAs, PhotoPlace), Refusal> {
    let (number, by, how) = (number.to_owned(), visitor.name().to_owned(), visitor.how());
    let kept = site.log(move |store, site| {
        let served = &site.served;
        let file = office::job(store, &served.functions, &number)?;
        let at = (served.now)(&office::zone(&file.job)?);
        let place = photos::place(&file, &served.functions, walk, step).map_err(refused)?;
        let bringing = Bringing { by, how, at };
        let kept = photos::keep(&served.config, store, &place, &ready, &bringing)?;
        Ok::<_, Refusal>((kept, place))
    });
    kept.await
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
