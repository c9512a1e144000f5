//! Text of checklist, product profile, job, language
//! and the office's calendar files to domain types. Everything
//! in a file is checked and all problems are listed at once, each with line,
//! column and a caret. Reads no disk: the caller brings the text.

mod busy;
mod checklist;
mod fact;
mod follow_up;
mod job;
mod language;
mod measures;
mod near;
mod node;
mod problem;
mod profile;
mod recurrence;
mod sealed;
mod shipped;
mod steps;
mod tables;
mod translation;
mod warnings;
mod words;

pub use busy::{Busy, BusyError, Zones, read_busy};
pub use checklist::read_checklist;
pub use job::{JobFile, Wanted, read_job};
pub use language::{LanguageFile, Noun, Sentence, read_language};
pub use node::MOST_BYTES;
pub use problem::{Problem, Problems};
pub use profile::read_profile;
pub use sealed::{
    ATTACHED, LARGEST_SEALED, Unread, attached_record, pictures, read_head, read_json,
};
pub use shipped::{Kind, SHIPPED, TRANSLATIONS, kind_of};
pub use translation::{TranslationOf, read_translation, translation_of};
