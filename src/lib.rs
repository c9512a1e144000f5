//! chalkhand: the map, in reading order. Imports point inward; a test reads
//! the table in DEVELOPERS.md and holds every module to it.

pub mod measure;

pub mod domain;

pub mod roof;

pub mod sound;

pub mod photo;

pub mod speech;

pub mod export;

pub mod bundle;

pub mod files;

pub mod store;

pub mod voice;

pub mod config;

pub mod office;

pub mod watch;

pub mod web;

pub mod daemon;

pub mod cli;
