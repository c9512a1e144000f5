//! What the pages of a job hand out that is no page of ours: sheet and record as
//! the program writes them, photos, clips, dates. Only what that job's entries
//! name goes out under the job.

use std::fs::{File, OpenOptions};
use std::io::Seek as _;

use axum::Router;
use axum::body::Body;
use axum::extract::{Path, Query, State};
use axum::http::{HeaderMap, StatusCode, header};
use axum::response::{IntoResponse as _, Response};
use axum::routing::get;
use base64::prelude::{BASE64_STANDARD, Engine as _};
use serde::Deserialize;
use tokio_util::io::ReaderStream;

use super::feed::holds;
use super::guard::Visitor;
use super::refusal::Refusal;
use super::site::{Shared, Site};
use crate::domain::{Entry, Hash, How, Right, What};
use crate::export;
use crate::office::{self, RecordForm, bundled};
use crate::store::{BlobError, Clips, Photos, Store};

pub(super) fn router() -> Router<Shared> {
    Router::new()
        .route("/job/{number}/sheet", get(sheet))
        .route("/job/{number}/record", get(record_page))
        .route("/job/{number}/record.pdf", get(record_pdf))
        .route("/job/{number}/record.json", get(record_json))
        .route("/job/{number}/files.zip", get(files))
        .route("/job/{number}/dates.ics", get(dates))
        .route("/job/{number}/photo/{sha256}", get(photo))
        .route("/job/{number}/clip/{sha256}", get(clip))
}

/// A page of its own with one style and drawings. It may load and run nothing: its
/// style is allowed by its hash, and it is a stranger to the pages around it.
pub(super) fn apart(text: String) -> Response {
    let styles = text.split("<style>").skip(1).filter_map(|rest| rest.split("</style>").next());
    let styles: Vec<String> = styles
        .map(|style| {
            let hash = BASE64_STANDARD.encode(Hash::of(style.as_bytes()).bytes());
            format!("'sha256-{hash}'")
        })
        .collect();
    let styles = if styles.is_empty() { "'none'".to_owned() } else { styles.join(" ") };
    let policy = format!(
        "default-src 'none'; style-src {styles}; img-src data:; base-uri 'none'; \
         form-action 'none'; frame-ancestors 'none'; sandbox"
    );
    let kind = "text/html; charset=utf-8".to_owned();
    ([(header::CONTENT_TYPE, kind), (header::CONTENT_SECURITY_POLICY, policy)], text)
        .into_response()
}

/// A file to keep, under a name that every system takes.
pub(super) fn file(
    kind: &'static str,
    number: &str,
    name: &str,
    body: impl Into<Body>,
) -> Response {
    let plain = |c: char| if c.is_ascii_alphanumeric() || c == '-' { c } else { '_' };
    let number: String = number.chars().map(plain).collect();
    let kept = format!("attachment; filename=\"{number}-{name}\"");
    ([(header::CONTENT_TYPE, kind.to_owned()), (header::CONTENT_DISPOSITION, kept)], body.into())
        .into_response()
}

async fn sheet(
    State(site): State<Shared>,
    visitor: Visitor,
    Path(number): Path<String>,
) -> Result<Response, Refusal> {
    visitor.must(Right::Read)?;
    let made = site.log(move |store, site| {
        let functions = &site.served.functions;
        let record = office::job(store, functions, &number)?.record_of_now(functions);
        Ok::<_, Refusal>(export::html::sheet(&record, &export::drawing::plates(&record)))
    });
    Ok(apart(made.await?))
}

/// The record of a job of this log, or of an imported one as it came.
pub(super) async fn record(
    site: &Shared,
    visitor: &Visitor,
    number: &str,
    form: RecordForm,
) -> Result<Vec<u8>, Refusal> {
    visitor.must(Right::Read)?;
    let number = number.to_owned();
    let made = site.log(move |store, site| {
        let served = &site.served;
        if store.last_seq(&number)? == 0 {
            let path = match form {
                RecordForm::Json => "record.json",
                RecordForm::Html => "record.html",
                RecordForm::Pdf(_) => "record.pdf",
            };
            let found = office::imported_file(&served.config, store, &number, path)?;
            return found.ok_or(Refusal::NotFound);
        }
        let file = office::job(store, &served.functions, &number)?;
        let now = (served.now)(&office::zone(&file.job)?);
        let (config, functions) = (&served.config, &served.functions);
        Ok(office::record(config, store, functions, &file, form, now)?)
    });
    made.await
}

async fn record_page(
    State(site): State<Shared>,
    visitor: Visitor,
    Path(number): Path<String>,
) -> Result<Response, Refusal> {
    let bytes = record(&site, &visitor, &number, RecordForm::Html).await?;
    let text = String::from_utf8(bytes);
    text.map(apart).map_err(|_| Refusal::Broken("the record is no text".to_owned()))
}

async fn record_pdf(
    State(site): State<Shared>,
    visitor: Visitor,
    Path(number): Path<String>,
) -> Result<Response, Refusal> {
    let bytes = record(&site, &visitor, &number, RecordForm::Pdf(None)).await?;
    Ok(file("application/pdf", &number, "record.pdf", bytes))
}

async fn record_json(
    State(site): State<Shared>,
    visitor: Visitor,
    Path(number): Path<String>,
) -> Result<Response, Refusal> {
    let bytes = record(&site, &visitor, &number, RecordForm::Json).await?;
    Ok(file("application/json", &number, "record.json", bytes))
}

/// Everything of a job in one ZIP file, the bytes that `chalkhand export` writes.
async fn files(
    State(site): State<Shared>,
    visitor: Visitor,
    Path(number): Path<String>,
) -> Result<Response, Refusal> {
    visitor.must(Right::Read)?;
    let of = number.clone();
    let zip = site.log(move |store, site| zip(store, site, &of)).await?;
    let length_bytes = zip.metadata().map(|found| found.len());
    // From the disk as it is asked for: photos do not fit into the memory together.
    let body = Body::from_stream(ReaderStream::new(tokio::fs::File::from_std(zip)));
    let mut response = file("application/zip", &number, "files.zip", body);
    let length = length_bytes.ok().map(Into::into);
    response.headers_mut().extend(length.map(|length| (header::CONTENT_LENGTH, length)));
    Ok(response)
}

/// The ZIP file, in a file that has no name any more and goes when nobody reads it.
fn zip(store: &mut Store, site: &Site, number: &str) -> Result<File, Refusal> {
    let (config, functions) = (&site.served.config, &site.served.functions);
    let pieces = if store.last_seq(number)? == 0 {
        let job = office::import_named(store, number)?.ok_or(Refusal::NotFound)?;
        bundled::imported_bundle(store, &job)?
    } else {
        let file = office::job(store, functions, number)?;
        let now = (site.served.now)(&office::zone(&file.job)?);
        bundled::bundle(config, store, functions, &file, now)?.0
    };
    let refused = |error: std::io::Error| {
        Refusal::Broken(format!("the ZIP file could not be written: {error}; look at the disk"))
    };
    let path = config.data.join(format!(".{}.part", uuid::Uuid::new_v4().simple()));
    let mut options = OpenOptions::new();
    let into = options.create_new(true).read(true).write(true).open(&path).map_err(refused)?;
    std::fs::remove_file(&path).map_err(refused)?;
    let mut zip = bundled::write_zip(config, &pieces, into)?;
    zip.rewind().map_err(refused)?;
    Ok(zip)
}

/// The dates of a job, or one of them; nothing is found where it has none. Whoever
/// fetches them is given them: what is new is said in the log, as the command does.
pub(super) async fn dates_text(
    site: &Shared,
    visitor: &Visitor,
    number: &str,
    only: Option<String>,
) -> Result<String, Refusal> {
    let (of, by) = (number.to_owned(), visitor.name().to_owned());
    let made = site.log(move |store, site| {
        let served = &site.served;
        let (now, functions) = (served.now, &served.functions);
        let only = only.as_deref();
        office::dates_file(&served.config, store, functions, (&of, only), &by, now)
    });
    made.await?.ok_or(Refusal::NotFound)
}

#[derive(Deserialize)]
struct Only {
    /// The identifier of a date.
    only: Option<String>,
}

/// The media type of dates (RFC 5545 section 3.1.4).
pub(super) const CALENDAR: &str = "text/calendar; charset=utf-8";

async fn dates(
    State(site): State<Shared>,
    visitor: Visitor,
    Path(number): Path<String>,
    Query(Only { only }): Query<Only>,
) -> Result<Response, Refusal> {
    visitor.must(Right::Read)?;
    let text = dates_text(&site, &visitor, &number, only).await?;
    Ok(file(CALENDAR, &number, "dates.ics", text.into_bytes()))
}

/// Something of an entry that never changes under its name, which is its hash.
fn kept(kind: &'static str, headers: &HeaderMap, name: Hash, bytes: Vec<u8>) -> Response {
    let tag = format!("\"{name}\"");
    let known = headers.get_all(header::IF_NONE_MATCH);
    let known = known.iter().any(|sent| holds(sent.as_bytes(), &tag));
    let named = [(header::ETAG, tag), (header::CACHE_CONTROL, "private, max-age=600".to_owned())];
    if known {
        return (StatusCode::NOT_MODIFIED, named).into_response();
    }
    let kept = (named, [(header::CONTENT_TYPE, kind), (header::ACCEPT_RANGES, "bytes")]);
    let range = headers.get(header::RANGE).and_then(|range| range.to_str().ok());
    let Some((from, to)) = range.and_then(|range| part_of(range, bytes.len())) else {
        return (kept.0, kept.1, bytes).into_response();
    };
    let told = format!("bytes {from}-{to}/{}", bytes.len());
    let part = bytes.get(from..=to).unwrap_or_default().to_vec();
    (StatusCode::PARTIAL_CONTENT, kept.0, kept.1, [(header::CONTENT_RANGE, told)], part)
        .into_response()
}

/// The first and last byte that are asked for (RFC 9110 section 14.1.2), where it
/// is one part that there is; else the whole is sent, as that section allows.
fn part_of(range: &str, length: usize) -> Option<(usize, usize)> {
    let (from, to) = range.trim().strip_prefix("bytes=")?.split_once('-')?;
    let last = length.checked_sub(1)?;
    let (from, to) = match (from.parse::<usize>(), to.parse::<usize>()) {
        (Ok(from), Ok(to)) => (from, to.min(last)),
        (Ok(from), Err(_)) if to.is_empty() => (from, last),
        (Err(_), Ok(tail)) if from.is_empty() && 0 < tail => (length.saturating_sub(tail), last),
        _ => return None,
    };
    (from <= to).then_some((from, to))
}

async fn photo(
    State(site): State<Shared>,
    visitor: Visitor,
    Path((number, sha256)): Path<(String, String)>,
    headers: HeaderMap,
) -> Result<Response, Refusal> {
    photo_of(&site, &visitor, (number, &sha256), &headers).await
}

/// A photo of that job, or its preview, whichever has that hash.
pub(super) async fn photo_of(
    site: &Shared,
    visitor: &Visitor,
    (number, sha256): (String, &str),
    headers: &HeaderMap,
) -> Result<Response, Refusal> {
    visitor.must(Right::Read)?;
    let wanted: Hash = sha256.parse().map_err(|_| Refusal::NotFound)?;
    let found = site.log(move |store, site| {
        let photos = Photos::of(&site.served.config.data);
        let found =
            entries(store, site, &number)?.into_iter().find_map(|entry| match entry.draft.what {
                What::PhotoKept { photo, .. }
                    if [photo.sha256, photo.preview_sha256].contains(&wanted) =>
                {
                    Some(*photo)
                }
                _ => None,
            });
        let photo = found.ok_or(Refusal::NotFound)?;
        Ok::<_, Refusal>(match photo.sha256 == wanted {
            true => (photo.media.word(), whole(photos.original(&photo))?),
            false => ("image/jpeg", whole(photos.preview(wanted))?),
        })
    });
    let (kind, bytes) = found.await?;
    Ok(kept(kind, headers, wanted, bytes))
}

async fn clip(
    State(site): State<Shared>,
    visitor: Visitor,
    Path((number, sha256)): Path<(String, String)>,
    headers: HeaderMap,
) -> Result<Response, Refusal> {
    clip_of(&site, &visitor, (number, &sha256), &headers).await
}

/// A sound that an entry of that job names.
pub(super) async fn clip_of(
    site: &Shared,
    visitor: &Visitor,
    (number, sha256): (String, &str),
    headers: &HeaderMap,
) -> Result<Response, Refusal> {
    visitor.must(Right::Read)?;
    let wanted: Hash = sha256.parse().map_err(|_| Refusal::NotFound)?;
    let found = site.log(move |store, site| {
        let names = |entry: &Entry| sounds(entry).any(|sound| sound == wanted);
        if !entries(store, site, &number)?.iter().any(names) {
            return Err(Refusal::NotFound);
        }
        whole(Clips::of(&site.served.config.data).read(wanted))
    });
    Ok(kept("audio/wav", headers, wanted, found.await?))
}

/// What a job of this device logged, or an imported one.
fn entries(store: &Store, site: &Site, name: &str) -> Result<Vec<Entry>, Refusal> {
    // What is of no job is nobody's photo.
    if name.is_empty() {
        return Err(Refusal::NotFound);
    }
    let own = store.entries(name, 0)?;
    if !own.is_empty() {
        return Ok(own);
    }
    let known = office::known_imported(store, &site.served.functions, name)?;
    Ok(known.ok_or(Refusal::NotFound)?.file.entries.clone())
}

/// The sounds that an entry names: of a note, and of what was heard.
pub(super) fn sounds(entry: &Entry) -> impl Iterator<Item = Hash> {
    let noted = match &entry.draft.what {
        What::Noted { clip: Some(clip), .. } => Some(clip.sound),
        _ => None,
    };
    let heard = match &entry.draft.how {
        How::Voice(heard) => Some(heard.sound).filter(|sound| noted != Some(*sound)),
        _ => None,
    };
    noted.into_iter().chain(heard)
}

fn whole(read: Result<Option<Vec<u8>>, BlobError>) -> Result<Vec<u8>, Refusal> {
    match read {
        Ok(bytes) => bytes.ok_or(Refusal::NotFound),
        Err(error) => {
            tracing::error!(?error, "page");
            Err(Refusal::NotFound)
        }
    }
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    /// The examples of RFC 9110 section 14.1.2, of 10000 bytes.
    #[test]
    fn a_part_is_what_was_asked_for() {
        assert_eq!(part_of("bytes=0-499", 10_000), Some((0, 499)));
        assert_eq!(part_of("bytes=500-999", 10_000), Some((500, 999)));
        assert_eq!(part_of("bytes=-500", 10_000), Some((9_500, 9_999)));
        assert_eq!(part_of("bytes=9500-", 10_000), Some((9_500, 9_999)));
        assert_eq!(part_of("bytes=0-1", 1), Some((0, 0)));
        for whole in ["bytes=0-0,-1", "bytes=1-0", "bytes=-0", "bytes=-", "lines=0-1", "bytes=7"] {
            assert_eq!(part_of(whole, 10_000), None, "{whole}");
        }
        assert_eq!(part_of("bytes=0-", 0), None);
        assert_eq!(part_of("bytes=10000-", 10_000), None);
    }

    proptest! {
        #[test]
        fn a_part_lies_in_the_whole(range in "bytes=[0-9]{0,25}-?[0-9]{0,25}", length in 0_usize..99) {
            if let Some((from, to)) = part_of(&range, length) {
                prop_assert!(from <= to && to < length);
            }
        }
    }
}
