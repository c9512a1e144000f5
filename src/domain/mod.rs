//! The procedure, the job, the log and what stands: pure data and pure
//! functions. Nothing here reads files, clocks or devices.

pub mod adopt;
pub mod agenda;
pub mod answer;
pub mod at;
pub mod attention;
pub mod busy;
pub mod callback;
mod callback_json;
pub mod chain;
pub mod checklist;
pub mod claim;
pub mod compare;
pub mod day;
pub mod desk;
pub mod deviation;
pub mod entry;
pub mod entry_json;
pub mod facts;
mod gathered;
pub mod hearing;
mod hearing_json;
pub mod job;
pub mod json;
pub mod jws;
pub mod key_change;
pub mod language;
pub mod meaning;
pub mod members;
pub mod merkle;
pub mod open_step;
pub mod people;
pub mod photo;
pub mod plan;
pub mod record;
mod rests;
pub mod retention;
mod rows;
pub mod schedule;
pub mod seal;
pub mod sealing;
pub mod sheet;
pub mod shown;
pub mod standing;
pub mod tally;
pub mod walk;
pub mod walk_id;
pub mod working;

pub use answer::parse_answer;
pub use at::At;
pub use attention::{About, Attention};
pub use callback::{
    Call, CallbackStanding, Finding, Logged, NamedStep, RecordCallback, RowRef, Warranty,
};
pub use checklist::{
    Answer, Bound, Caution, Checklist, ComputedColumn, Computes, Fact, FollowUp, Measure, Piece,
    Point, PointKind, PointWhen, Repeat, RepeatEnd, RowsFrom, Step, Table, Version, Warning,
};
pub use claim::Claim;
pub use day::{Day, DayJob, OfDay};
pub use deviation::{Acceptance, Deviation, DeviationKind};
pub use entry::{Draft, Entry, Given, Heard, How, Key, StepRef, Target, What};
pub use facts::{FactKind, FactName, Facts, Profile};
pub use hearing::{
    AnswerKind, Because, Checked, Clip, EarOpen, HearingCheck, Keeps, Margins, PhraseRead, ReadAs,
    Trust, Verdict,
};
pub use job::{Job, Person, Pin, PinKind, Units};
pub use json::{Json, NotFinite};
pub use jws::{DeviceKey, Fingerprint, NotSigned, PublicKey};
pub use key_change::KeyChange;
pub use language::Language;
pub use meaning::Meaning;
pub use members::{Members, Name};
pub use open_step::open_steps;
pub use people::{Right, Role, Roles};
pub use photo::{KeptPhoto, Media, Photo};
pub use record::{
    JobFile, PhotoFile, Record, RecordFact, RecordMeasure, RecordPhoto, RecordStep, RecordWalk,
};
pub use schedule::{Due, Issued, NewDate};
pub use seal::Hash;
pub use sealing::{NotSealable, Sealed, SignedHead};
pub use sheet::{Computed, Known, MOST_ROWS, Rows, Sheet};
pub use standing::{
    Cautions, Comparison, Note, Outcome, PointStanding, Release, SaidTaken, Settled, Standing,
    StepStanding, WalkStanding,
};
pub use walk_id::{Repeats, WalkId};
pub use working::{Placed, Working};
