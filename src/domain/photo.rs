//! A photo that is kept, and its facts as JSON and back: pure data of the log.
//! What is in the file is the business of `photo` of the crate.

use super::entry::StepRef;
use super::entry_json::{Fields, NotAnEntry};
use super::{At, Hash, Json, WalkId};

/// What kind of file a photo is.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Media {
    /// JPEG.
    Jpeg,
    /// PNG.
    Png,
}

impl Media {
    /// Every one.
    pub const ALL: [Self; 2] = [Self::Jpeg, Self::Png];

    /// Its media type.
    #[must_use]
    pub fn word(self) -> &'static str {
        match self {
            Self::Jpeg => "image/jpeg",
            Self::Png => "image/png",
        }
    }

    /// The ending of its file's name.
    #[must_use]
    pub fn ending(self) -> &'static str {
        match self {
            Self::Jpeg => "jpg",
            Self::Png => "png",
        }
    }
}

/// A photo that is kept, by the hash of its bytes.
#[derive(Clone, Debug, PartialEq, Eq, Hash)]
pub struct Photo {
    /// SHA-256 of the file as it is kept.
    pub sha256: Hash,
    /// What kind of file it is.
    pub media: Media,
    /// Size of the file as it is kept, in bytes.
    pub size_bytes: u64,
    /// Width in pixels, upright.
    pub width_px: u32,
    /// Height in pixels, upright.
    pub height_px: u32,
    /// SHA-256 of its preview, an upright JPEG without metadata.
    pub preview_sha256: Hash,
    /// When it was taken by the camera's own clock, `2026-11-25T10:04:00`, as
    /// the file says it.
    pub taken: Option<String>,
    /// What it shows, in somebody's words.
    pub caption: Option<String>,
    /// SHA-256 of the file as it was given, where what may hold the place it was
    /// taken at was left out before it was kept.
    pub given_sha256: Option<Hash>,
}

impl Photo {
    /// Whether what may hold the place it was taken at was left out.
    #[must_use]
    pub fn location_removed(&self) -> bool {
        self.given_sha256.is_some()
    }

    /// Where it lies in the data folder.
    #[must_use]
    pub fn path(&self) -> String {
        path("photos", self.sha256, self.media)
    }

    /// Where its preview lies in the data folder.
    #[must_use]
    pub fn preview_path(&self) -> String {
        preview_path(self.preview_sha256)
    }
}

/// Where the preview of that hash lies in the data folder.
#[must_use]
pub fn preview_path(preview_sha256: Hash) -> String {
    path("previews", preview_sha256, Media::Jpeg)
}

fn path(folder: &str, hash: Hash, media: Media) -> String {
    let name = hash.to_string();
    format!("{folder}/{}/{name}.{}", name.get(..2).unwrap_or_default(), media.ending())
}

/// A photo in the standing of a job.
#[derive(Clone, Debug, PartialEq)]
pub struct KeptPhoto {
    /// The entry.
    pub seq: u64,
    /// When it was kept.
    pub at: At,
    /// By whom.
    pub by: String,
    /// Of which walk.
    pub walk: Option<WalkId>,
    /// At which of its steps.
    pub step: Option<StepRef>,
    /// The photo.
    pub photo: Photo,
}

pub(super) fn json(photo: &Photo) -> Json {
    let hash = photo.given_sha256.map_or(Json::Null, Json::text);
    Json::object([
        ("sha256", Json::text(photo.sha256)),
        ("media_type", photo.media.word().into()),
        ("size_bytes", Json::whole(photo.size_bytes)),
        ("width_px", Json::from(photo.width_px)),
        ("height_px", Json::from(photo.height_px)),
        ("preview_sha256", Json::text(photo.preview_sha256)),
        ("taken_by_camera_clock", photo.taken.as_ref().map_or(Json::Null, Json::text)),
        ("caption", photo.caption.as_ref().map_or(Json::Null, Json::text)),
        ("location_removed", Json::Bool(photo.location_removed())),
        ("given_sha256", hash),
    ])
}

impl Fields<'_> {
    pub(super) fn photo(&self) -> Result<Photo, NotAnEntry> {
        let given = self.json.get("given_sha256");
        let given_sha256 = given.map(|_| self.parsed("given_sha256")).transpose()?;
        if self.json.get("location_removed") != Some(&Json::Bool(given_sha256.is_some())) {
            return Err(self.wrong("location_removed"));
        }
        Ok(Photo {
            sha256: self.parsed("sha256")?,
            media: self.one_of("media_type", &Media::ALL, Media::word)?,
            size_bytes: self.whole("size_bytes")?,
            width_px: self.whole("width_px")?,
            height_px: self.whole("height_px")?,
            preview_sha256: self.parsed("preview_sha256")?,
            taken: self.text_if_there("taken_by_camera_clock")?,
            caption: self.text_if_there("caption")?,
            given_sha256,
        })
    }
}
