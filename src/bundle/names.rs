//! Names inside a bundle: plain letters, one or two levels, the same on every
//! system; the hash of a photo or clip is part of its name.

use crate::domain::{Hash, Photo, Pin, PinKind, StepRef};

/// Longest name, in bytes.
const MOST_BYTES: usize = 200;

/// Most folders above a file.
const MOST_FOLDERS: usize = 2;

/// What is wrong with the name of a file in a bundle.
#[must_use]
pub fn wrong_name(name: &str) -> Option<&'static str> {
    let plain = |c: char| c.is_ascii_alphanumeric() || matches!(c, '.' | '_' | '-' | '@' | '/');
    if name.is_empty() || MOST_BYTES < name.len() {
        return Some("is empty or too long");
    }
    if !name.chars().all(plain) {
        return Some("has letters that names in a bundle never have");
    }
    let mut parts = name.split('/');
    if parts
        .clone()
        .any(|part| part.is_empty() || part.starts_with(['.', '-']) || part.ends_with('.'))
    {
        return Some("leads out of the bundle or is hidden");
    }
    if MOST_FOLDERS < parts.clone().count() - 1 {
        return Some("lies too deep");
    }
    let device = |part: &str| {
        let stem = part.split('.').next().unwrap_or_default().to_ascii_lowercase();
        let port = stem.strip_prefix("com").or_else(|| stem.strip_prefix("lpt"));
        matches!(stem.as_str(), "con" | "prn" | "aux" | "nul")
            || port.is_some_and(|n| n.len() == 1 && n.chars().all(|c| c.is_ascii_digit()))
    };
    parts.any(device).then_some("is a device on some systems")
}

/// The name of a photo: its place in the record, the step, the hash.
#[must_use]
pub fn photo_name(number: usize, step: Option<&StepRef>, photo: &Photo) -> String {
    let (place, ending) = (place(step, "job"), photo.media.ending());
    format!("photos/{number:03}-{place}-{}.{ending}", photo.sha256)
}

/// The name of a preview.
#[must_use]
pub fn preview_name(preview_sha256: Hash) -> String {
    format!("previews/{preview_sha256}.jpg")
}

/// The name of a clip: its place among the clips, the step, the hash of its
/// samples.
#[must_use]
pub fn clip_name(number: usize, step: Option<&StepRef>, sound: Hash) -> String {
    format!("clips/{number:03}-{}-{sound}.wav", place(step, "note"))
}

/// The name of a pinned file.
#[must_use]
pub fn pin_name(pin: &Pin) -> String {
    let folder = match pin.kind {
        PinKind::Checklist => "checklists",
        PinKind::Profile => "profiles",
    };
    format!("{folder}/{}@{}.toml", slug(&pin.id), pin.version)
}

fn place(step: Option<&StepRef>, none: &str) -> String {
    match step {
        None => none.to_owned(),
        Some(StepRef { id, row: None }) => slug(id),
        Some(StepRef { id, row: Some(row) }) => format!("{}-{row}", slug(id)),
    }
}

fn slug(text: &str) -> String {
    let plain = |c: char| if c.is_ascii_alphanumeric() { c.to_ascii_lowercase() } else { '-' };
    let slug: String = text.chars().take(40).map(plain).collect();
    let slug = slug.trim_matches('-');
    if slug.is_empty() { "x".to_owned() } else { slug.to_owned() }
}
