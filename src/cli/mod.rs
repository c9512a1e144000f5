//! One file a subcommand; the only printing. Words of the commands are a
//! contract: scripts rely on them.

mod accept;
mod calendar;
mod callback;
mod checklist;
mod day;
mod days;
mod demo;
mod doctor;
mod export;
mod find;
mod hear;
mod hearing;
mod hearing_bench;
mod hearing_check;
mod hearing_days;
mod home;
mod import;
mod job;
mod kept;
mod out;
mod photo;
mod record;
mod release;
mod retention;
mod seal;
mod serve;
mod sheet;
mod typed;
mod voices;
mod walk;

use std::ffi::OsString;
use std::path::PathBuf;
use std::process::ExitCode;

use clap::{Parser, Subcommand};

use crate::config::Config;
use crate::office::OfficeError;
use crate::store::StoreError;

use out::Out;

/// A voice- and checklist-driven companion for people who install things by a
/// procedure that must be followed exactly.
///
/// It never overrules local codes, the maker's printed instructions or licensed
/// practice. Roofs, ladders, power lines, saws, nailers, heat and old insulation
/// can kill: every checklist shows its cautions where they bite.
#[derive(Debug, Parser)]
#[command(name = "chalkhand", version, disable_help_subcommand = true)]
struct Arguments {
    /// The data folder (log, checklists, profiles)
    #[arg(long, global = true, value_name = "DIR")]
    data: Option<PathBuf>,
    #[command(subcommand)]
    command: Command,
}

#[derive(Debug, Subcommand)]
enum Command {
    /// Check, adopt and show checklists and product profiles
    #[command(subcommand)]
    Checklist(checklist::Command),
    /// Open and show jobs
    #[command(subcommand)]
    Job(job::Command),
    /// All measures of a job as a person on the roof needs them
    Sheet(sheet::Arguments),
    /// Go through a checklist on a job, step by step
    Walk(walk::Arguments),
    /// Release a hold point
    Release(release::Arguments),
    /// Accept a deviation of an entry, with a reason
    Accept(accept::Arguments),
    /// Leak calls: open, visit, close, list, show, summary
    #[command(subcommand)]
    Callback(callback::Command),
    /// Send recordings through the recogniser, outside any job
    Hear(hear::Arguments),
    /// Check how well a person is heard here, or measure how well the program hears
    Hearing(hearing::Arguments),
    /// Keep photos of a job
    Photo(photo::Arguments),
    /// The day log: one day, all jobs, what needs attention first
    Day(day::Arguments),
    /// Find jobs by any words of address, owner, phone, number or date
    Find(find::Arguments),
    /// The install record as .pdf, .html or .json
    Record(record::Arguments),
    /// Check a sealed record; the device's key; signed heads of the log
    #[command(subcommand)]
    Seal(seal::Command),
    /// A job as files that others read without this program
    Export(export::Arguments),
    /// The record of a job of another device, from what it exported
    Import(import::Arguments),
    /// Until when each record is to be kept
    Retention(retention::Arguments),
    /// Dates after a job: list, write as .ics, move, cancel, add, print a feed's address
    Calendar(calendar::Arguments),
    /// Run the daemon: watch folders, serve the pages and the feeds
    Serve(serve::Arguments),
    /// What works here: models, microphone, speaker, disk, clock, database
    Doctor(doctor::Arguments),
    /// An invented install, surveyed and walked by synthetic voices
    Demo(demo::Arguments),
}

/// Runs the program and gives its exit code: 0 done, 1 the user can fix it,
/// 2 wrong usage, 3 the store refused.
#[must_use]
pub fn run(arguments: impl IntoIterator<Item = OsString>) -> ExitCode {
    log_to_stderr();
    let mut out = Out::stdout();
    let arguments = match Arguments::try_parse_from(arguments) {
        Ok(arguments) => arguments,
        Err(wrong) => {
            // A closed pipe while help is shown is no error.
            let _ = wrong.print();
            return if wrong.use_stderr() { ExitCode::from(2) } else { ExitCode::SUCCESS };
        }
    };
    let done = command(arguments, &mut out).and_then(|()| out.finish().map_err(Into::into));
    match done {
        Ok(()) => ExitCode::SUCCESS,
        Err(error) if out::is_closed_pipe(&error) => ExitCode::SUCCESS,
        Err(error) => {
            out::complain(&format!("chalkhand: {error:#}"));
            let not_whole = |cause: &(dyn std::error::Error + 'static)| {
                matches!(cause.downcast_ref(), Some(OfficeError::NotWhole { .. }))
            };
            let refused = |cause| not_whole(cause) || cause.is::<StoreError>();
            ExitCode::from(if error.chain().any(refused) { 3 } else { 1 })
        }
    }
}

fn command(arguments: Arguments, out: &mut Out) -> anyhow::Result<()> {
    let config = Config::of_environment(arguments.data.as_deref());
    // A sealed record is checked on any machine, whatever is set up there.
    match &arguments.command {
        Command::Seal(seal::Command::Check(arguments)) => {
            return seal::check(config.ok().as_ref(), arguments, out);
        }
        Command::Seal(seal::Command::Attached) => return seal::attached(out),
        _ => {}
    }
    let config = config?;
    match arguments.command {
        Command::Checklist(command) => checklist::run(&config, command, out),
        Command::Job(command) => job::run(&config, command, out),
        Command::Sheet(arguments) => sheet::run(&config, &arguments, out),
        Command::Walk(arguments) => walk::run(&config, &arguments, out),
        Command::Release(arguments) => release::run(&config, &arguments, out),
        Command::Accept(arguments) => accept::run(&config, &arguments, out),
        Command::Callback(command) => callback::run(&config, command, out),
        Command::Hear(arguments) => hear::run(&config, &arguments, out),
        Command::Hearing(arguments) => hearing::run(&config, &arguments, out),
        Command::Photo(arguments) => photo::run(&config, &arguments, out),
        Command::Day(arguments) => day::run(&config, &arguments, out),
        Command::Find(arguments) => find::run(&config, &arguments, out),
        Command::Record(arguments) => record::run(&config, &arguments, out),
        Command::Export(arguments) => export::run(&config, &arguments, out),
        Command::Import(arguments) => import::run(&config, &arguments, out),
        Command::Retention(arguments) => retention::run(&config, &arguments, out),
        Command::Seal(command) => seal::run(&config, &command, out),
        Command::Calendar(arguments) => calendar::run(&config, &arguments, out),
        Command::Serve(arguments) => serve::run(&config, &arguments, out),
        Command::Doctor(arguments) => doctor::run(&config, &arguments, out),
        Command::Demo(arguments) => demo::run(config, &arguments, out),
    }
}

/// Warnings for everybody; more where `CHALKHAND_LOG` asks for it.
fn log_to_stderr() {
    use tracing_subscriber::prelude::*;
    let filter = tracing_subscriber::EnvFilter::try_from_env("CHALKHAND_LOG")
        .unwrap_or_else(|_| tracing_subscriber::EnvFilter::new("error"));
    let stderr = tracing_subscriber::fmt::layer().with_writer(std::io::stderr).with_ansi(false);
    // Journald is there on some machines only.
    let journal = tracing_journald::layer().ok();
    let all = tracing_subscriber::registry().with(stderr.with_filter(filter));
    let journal =
        journal.map(|journal| journal.with_filter(tracing_subscriber::filter::LevelFilter::INFO));
    // Only the first call of a process counts.
    let _ = all.with(journal).try_init();
}
