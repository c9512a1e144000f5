//! Sheet, day log, record and changes as text, JSON, HTML and iCalendar, and
//! whether a sealed record holds.
//!
//! Pure: values in, text out. Nothing here decides what stands; that is the
//! business of `domain`.

pub mod blank;
pub mod calendar;
pub mod callback;
pub mod changes;
pub mod check;
pub mod csv;
pub mod desk;
pub mod drawing;
pub mod first_page;
pub mod html;
pub mod json;
pub mod listing;
pub mod order;
mod page;
pub mod pdf;
pub mod photos;
pub mod readme;
pub mod scan;
pub mod sheet_json;
mod sheet_parts;
pub mod sheet_text;
pub mod sound;
pub mod tally;
pub mod text;
mod told;
pub mod words;

use crate::domain::{Computed, Record};

/// Why rows cannot be computed from what is known: facts that cannot be right.
#[must_use]
pub fn cannot(record: &Record) -> Vec<&str> {
    let rows = record.walks.iter().flat_map(|walk| walk.rows.values());
    let mut all: Vec<&str> = Vec::new();
    for computed in rows {
        if let Computed::Cannot(why) = computed
            && !all.contains(&why.as_str())
        {
            all.push(why);
        }
    }
    all
}
