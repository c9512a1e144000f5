//! The one integration test binary. A file that is not declared here fails
//! `house::every_test_file_is_declared`.
#![allow(
    clippy::unwrap_used,
    clippy::expect_used,
    clippy::panic,
    clippy::indexing_slicing,
    clippy::print_stdout,
    clippy::print_stderr,
    clippy::allow_attributes,
    missing_docs,
    reason = "a test fails by panicking and says why on the terminal"
)]

mod api;
mod api_document;
mod api_photos;
mod api_walks;
mod browser;
mod bundle;
mod bundle_seal;
mod busy;
mod calendar;
mod calendar_outside;
mod callbacks;
mod changes;
mod changes_edits;
mod checklists;
mod claim;
mod cli;
mod clips;
mod computed;
mod crew;
mod date_pages;
mod dates;
mod day_pages;
mod days;
mod deck_figures;
mod demo;
mod desk_pages;
mod drafts;
mod example;
mod export;
mod feed;
mod files;
mod files_fuzz;
mod formula_fuzz;
mod headset;
mod hearing;
mod hearing_check;
mod hearing_corpus;
mod hearing_log;
mod house;
mod imported_days;
mod languages;
mod library;
mod measure_language;
mod measure_outside;
mod members;
mod merkle;
mod microphone;
mod microphone_live;
mod mouth;
mod newcomers;
mod open_step;
mod outside;
mod page_sizes;
mod pages;
mod pdf;
mod photo_files;
mod photo_inbox;
mod photo_pages;
mod photos;
mod program;
mod readme;
mod record_pages;
mod record_told;
mod repeats;
mod roof;
mod roof_drawing;
mod roof_layout;
mod roof_layout_properties;
mod seal;
mod seal_cli;
mod seal_files;
mod seal_outside;
mod sealed;
mod sealed_links;
mod sealed_words;
mod serve;
mod sheet;
mod shipped_figures;
mod shipped_walks;
mod sound;
mod spanish_pages;
mod spoken_numbers;
mod store;
mod store_kill;
mod store_open;
mod store_tamper;
mod stories;
mod studio;
mod tls;
mod transcripts;
mod units_outside;
mod voice_walk;
mod walk_hearing;
mod walk_properties;
mod watch;
mod witness;
