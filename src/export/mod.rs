//! Sheet, day log and record as text, JSON, HTML and iCalendar.
//!
//! Pure: values in, text out. Nothing here decides what stands; that is the
//! business of `domain`.

pub mod calendar;
pub mod html;
pub mod json;
pub mod listing;
pub mod order;
pub mod text;
pub mod words;
