//! Photos that are kept, in words and as JSON. Showing them is the business of
//! the page.

use std::collections::BTreeMap;

use crate::domain::{Hash, Json, Photo, PhotoFile, Record, RecordPhoto, RecordStep, WalkId};

use super::json::{object, option};
use super::order;
use super::told::Told;

/// Bytes of previews, by the hash of the preview.
pub type Previews = BTreeMap<Hash, Vec<u8>>;

/// A photo in one line: its words, its size, where it lies.
#[must_use]
pub fn line(photo: &Photo) -> String {
    let words = photo.caption.as_ref().map(|words| format!("“{words}”, ")).unwrap_or_default();
    format!("{words}{}; {}", size(photo), photo.path())
}

/// What it shows, for those who cannot see it: its step, its words, its size.
fn shows(kept: &RecordPhoto) -> String {
    let title = kept.title.as_ref().map(|title| format!("{title}: ")).unwrap_or_default();
    let words = kept.photo.caption.as_ref().map(|words| format!("“{words}”, "));
    format!("{title}{}{}", words.unwrap_or_default(), size_and_taken(&kept.photo))
}

/// Pixels, and what the camera's clock said.
#[must_use]
pub fn size(photo: &Photo) -> String {
    let taken = photo
        .taken
        .as_ref()
        .map(|taken| format!(", taken {} by the camera's clock", taken.replacen('T', " ", 1)));
    let (width_px, height_px) = (photo.width_px, photo.height_px);
    format!("{width_px} × {height_px} pixels{}", taken.unwrap_or_default())
}

/// The same for the record, which also says where nothing says when it was taken.
#[must_use]
pub fn size_and_taken(photo: &Photo) -> String {
    let unknown = "; nothing in its file says when it was taken";
    format!("{}{}", size(photo), if photo.taken.is_none() { unknown } else { "" })
}

/// What is amiss with its file; none where that is as it was kept, or nobody looked.
#[must_use]
pub fn amiss(kept: &RecordPhoto) -> Option<&'static str> {
    match kept.file? {
        PhotoFile::Whole => None,
        PhotoFile::Missing => {
            Some("THE FILE IS MISSING: it was not on the machine when this was made.")
        }
        PhotoFile::Changed => Some(
            "THE FILE IS NOT WHAT WAS KEPT: under its name lay something else when this was made.",
        ),
    }
}

/// How many files of photos are amiss, in a sentence; none where none is.
#[must_use]
pub fn all_amiss(record: &Record) -> Option<String> {
    let count = |file| record.photos.iter().filter(|kept| kept.file == Some(file)).count();
    let (missing, changed) = (count(PhotoFile::Missing), count(PhotoFile::Changed));
    let all = record.photos.len();
    let named = record.photos.iter().filter(|kept| amiss(kept).is_some());
    let mut named: Vec<String> = named.map(where_kept).collect();
    named.dedup();
    let more = named.len().saturating_sub(MOST_NAMED);
    named.truncate(MOST_NAMED);
    let more = if more == 0 { String::new() } else { format!(" and {more} more") };
    (0 < missing || 0 < changed).then(|| {
        format!(
            "Of the files of {all} kept {}, {missing} {} missing on the machine that made this \
             and {changed} {} not what was kept: {}{more}. Look for them in a backup.",
            if all == 1 { "photo" } else { "photos" },
            if missing == 1 { "is" } else { "are" },
            if changed == 1 { "is" } else { "are" },
            named.join(", ")
        )
    })
}

/// So many places of photos that are amiss are named.
const MOST_NAMED: usize = 3;

/// The step it was kept at, by its name.
fn where_kept(kept: &RecordPhoto) -> String {
    match kept.walk.as_ref().zip(kept.title.as_ref()) {
        Some((walk, title)) => format!("“{}” (entry {})", order::in_walk(walk, title), kept.seq),
        None => format!("one of the whole job (entry {})", kept.seq),
    }
}

/// How many photos a step asks for, and how many there are; none where it has nothing
/// to do with photos.
#[must_use]
pub fn counted(record: &Record, walk: &WalkId, step: &RecordStep) -> Option<String> {
    let (asked, taken) = (step.photos_asked, step.photos_taken);
    if asked == 0 && taken == 0 && step.photos_kept == 0 {
        return None;
    }
    let amiss = amiss_at(record, walk, step);
    let mut text = format!("Photos: {asked} asked for, {taken} said taken");
    if 0 < step.photos_kept {
        text.push_str(&format!(", {} kept", step.photos_kept));
    }
    if 0 < amiss {
        let are = if amiss == 1 { "is" } else { "are" };
        text.push_str(&format!(", of which {amiss} {are} MISSING OR CHANGED now"));
    }
    Some(format!("{text}."))
}

/// How many of the photos kept at a step are missing or changed.
pub(super) fn amiss_at(record: &Record, walk: &WalkId, step: &RecordStep) -> usize {
    let here = |kept: &&RecordPhoto| {
        kept.walk.as_ref() == Some(walk) && kept.step.as_ref() == Some(&step.at)
    };
    record.photos.iter().filter(here).filter(|kept| amiss(kept).is_some()).count()
}

/// What was left out of the file before it was kept, in a sentence.
#[must_use]
pub fn left_out(photo: &Photo) -> Option<String> {
    photo.given_sha256.map(|given| {
        format!(
            "What may hold the place it was taken at was left out before it was kept; the file \
             as it was given has SHA-256 {given}."
        )
    })
}

/// As the record has it.
#[must_use]
pub fn json(kept: &RecordPhoto) -> Json {
    let photo = &kept.photo;
    object(vec![
        ("entry_seq", Json::whole(kept.seq)),
        ("at", Json::text(kept.at)),
        ("by", Json::text(&kept.by)),
        ("checklist", option(kept.walk.as_ref().map(|walk| &walk.checklist))),
        ("walk", option(kept.walk.as_ref())),
        ("step", option(kept.step.as_ref())),
        ("step_title", option(kept.title.as_ref())),
        ("caption", option(photo.caption.as_ref())),
        Told::Line.member(shows(kept)),
        ("sha256", Json::text(photo.sha256)),
        ("media_type", photo.media.word().into()),
        ("size_bytes", Json::whole(photo.size_bytes)),
        ("width_px", Json::from(photo.width_px)),
        ("height_px", Json::from(photo.height_px)),
        ("taken_by_camera_clock", option(photo.taken.as_ref())),
        ("location_removed", Json::Bool(photo.location_removed())),
        ("given_sha256", option(photo.given_sha256.as_ref())),
        ("path", Json::from(photo.path())),
        ("preview_sha256", Json::text(photo.preview_sha256)),
        ("preview_path", Json::from(photo.preview_path())),
        ("file", kept.file.map_or(Json::Null, |file| file.word().into())),
        ("amiss", option(amiss(kept).as_ref())),
    ])
}
