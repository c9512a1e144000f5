//! The checklists this program brings along, their translations, and what kind of file a text is.

use crate::domain::Language;

/// File name and text of each shipped checklist.
pub const SHIPPED: [(&str, &str); 7] = [
    ("start-of-day.toml", include_str!("../../checklists/start-of-day.toml")),
    ("site-survey.toml", include_str!("../../checklists/site-survey.toml")),
    ("deck-intake.toml", include_str!("../../checklists/deck-intake.toml")),
    ("ridge-slot.toml", include_str!("../../checklists/ridge-slot.toml")),
    ("baffles.toml", include_str!("../../checklists/baffles.toml")),
    ("closing-inspection.toml", include_str!("../../checklists/closing-inspection.toml")),
    ("leak-visit.toml", include_str!("../../checklists/leak-visit.toml")),
];

/// Language, file name and text of each shipped translation.
pub const TRANSLATIONS: [(Language, &str, &str); 7] = [
    (Language::Spanish, "start-of-day.toml", include_str!("../../checklists/es/start-of-day.toml")),
    (Language::Spanish, "site-survey.toml", include_str!("../../checklists/es/site-survey.toml")),
    (Language::Spanish, "deck-intake.toml", include_str!("../../checklists/es/deck-intake.toml")),
    (Language::Spanish, "ridge-slot.toml", include_str!("../../checklists/es/ridge-slot.toml")),
    (Language::Spanish, "baffles.toml", include_str!("../../checklists/es/baffles.toml")),
    (
        Language::Spanish,
        "closing-inspection.toml",
        include_str!("../../checklists/es/closing-inspection.toml"),
    ),
    (Language::Spanish, "leak-visit.toml", include_str!("../../checklists/es/leak-visit.toml")),
];

/// What a file means to be.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Kind {
    /// A checklist.
    Checklist,
    /// A product profile.
    Profile,
    /// A job.
    Job,
    /// A checklist's sentences in another language.
    Translation,
}

/// Tells by its keys what a file means to be, however broken it is: a profile
/// has figures, a job has a number, a translation names a checklist and a
/// language; anything else is read as a checklist.
#[must_use]
pub fn kind_of(text: &str) -> Kind {
    let has = |key: &str| {
        text.lines().any(|line| {
            let line = line.trim_start().trim_start_matches('[');
            line.strip_prefix(key)
                .is_some_and(|rest| rest.trim_start().starts_with(['=', '.', ']']))
        })
    };
    if has("figures") {
        Kind::Profile
    } else if has("number") && has("address") {
        Kind::Job
    } else if has("language") && has("checklist") {
        Kind::Translation
    } else {
        Kind::Checklist
    }
}
