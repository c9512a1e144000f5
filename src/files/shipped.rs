//! The checklists this program brings along, and what kind of file a text is.

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

/// What a file means to be.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Kind {
    /// A checklist.
    Checklist,
    /// A product profile.
    Profile,
    /// A job.
    Job,
}

/// Tells by its keys what a file means to be, however broken it is: a profile
/// has figures, a job has a number; anything else is read as a checklist.
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
    } else {
        Kind::Checklist
    }
}
