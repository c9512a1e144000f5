//! One install at one address, and the versions it pins.

use super::{Hash, Language, Version};
use crate::measure::System;

/// What a job pins.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum PinKind {
    /// A checklist.
    Checklist,
    /// A product profile.
    Profile,
}

impl PinKind {
    /// The word entries use.
    #[must_use]
    pub fn word(self) -> &'static str {
        match self {
            Self::Checklist => "checklist",
            Self::Profile => "profile",
        }
    }
}

/// One adopted version, by its content.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Pin {
    /// Checklist or profile.
    pub kind: PinKind,
    /// Identifier.
    pub id: String,
    /// Version.
    pub version: Version,
    /// SHA-256 of the file.
    pub hash: Hash,
}

/// Somebody on the job.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Person {
    /// As signed.
    pub name: String,
    /// `installer`, `foreman`, `desk`, `office` or another word of the company.
    pub role: String,
    /// What this person is spoken to in, where the job says so.
    pub language: Option<Language>,
}

/// Which units a person reads.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Default)]
pub enum Units {
    /// Feet, inches and fractions.
    #[default]
    Us,
    /// Millimetres and metres.
    Metric,
}

impl Units {
    /// The system quantities are shown in.
    #[must_use]
    pub fn system(self) -> System {
        match self {
            Self::Us => System::Us,
            Self::Metric => System::Metric,
        }
    }
}

/// One install at one address.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Job {
    /// The company's own number.
    pub number: String,
    /// Street, town, state.
    pub address: String,
    /// Who owns the house.
    pub owner: String,
    /// How to reach the owner.
    pub phone: String,
    /// IANA time zone of the address.
    pub time_zone: String,
    /// The code edition in force there, as the local official says.
    pub code_edition: String,
    /// The company that installs.
    pub company: String,
    /// Whether the job is an example and nothing in it is real.
    pub invented: bool,
    /// Units on the sheet.
    pub units: Units,
    /// Who works on it.
    pub people: Vec<Person>,
    /// Checklists in the order they are walked, and at most one profile.
    pub pins: Vec<Pin>,
}

impl Job {
    /// Whether somebody of that name holds that role on this job.
    #[must_use]
    pub fn holds(&self, name: &str, role: &str) -> bool {
        self.people.iter().any(|person| person.name == name && person.role == role)
    }
}
