//! `chalkhand seal`: the device's key, signed heads of the log, and whether a
//! sealed record holds.

mod apart;
mod beside;
mod check;
mod head;
mod key;

use super::home::{Home, now, plain};
use super::out::Out;
use crate::config::Config;
use crate::domain::{JobFile, Json};
use crate::office::SealedRecord;

pub(super) use apart::read as attached;
pub(super) use beside::Beside;
pub(super) use check::{run as check, whose};
pub(super) use head::holds;
pub(super) use key::make_first as make_first_key;

#[derive(Debug, clap::Subcommand)]
pub(super) enum Command {
    /// Say what holds of a sealed record and what does not; needs only the file
    Check(check::Arguments),
    /// The device's key: its fingerprint and its public half
    Key(key::Arguments),
    /// The signed head of the log on a day, to be kept away from this machine
    Day(head::DayArguments),
    /// Whether the log still begins with what a kept head or record was made of
    Since(head::SinceArguments),
    /// Standard input is a PDF, standard output the record attached to it
    #[command(hide = true)]
    Attached,
}

pub(super) fn run(config: &Config, command: &Command, out: &mut Out) -> anyhow::Result<()> {
    match command {
        Command::Check(arguments) => check::run(Some(config), arguments, out),
        Command::Key(arguments) => key::run(config, arguments, out),
        Command::Day(arguments) => head::day(config, arguments, out),
        Command::Since(arguments) => head::since(config, arguments, out),
        Command::Attached => apart::read(out),
    }
}

/// A record as `export::json::record` gives it, sealed by this device.
pub(super) fn sealed(
    home: &mut Home,
    file: &JobFile,
    record: Json,
) -> anyhow::Result<SealedRecord> {
    let now = now(&file.job)?;
    SealedRecord::of(&mut home.store, &home.key_file, file, record, now).map_err(plain)
}
