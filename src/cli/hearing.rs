//! `chalkhand hearing`: how well a person is heard here, which is logged, and how
//! well the program hears at all, which is not.

use std::path::PathBuf;

use super::out::Out;
use super::{hearing_bench, hearing_check, hearing_days};
use crate::config::Config;

#[derive(Debug, clap::Args)]
#[command(group = clap::ArgGroup::new("what").required(true))]
pub(super) struct Arguments {
    /// Check how well a person is heard on this job; a walk by voice begins with it
    #[arg(long, group = "what")]
    job: Option<String>,
    #[command(flatten)]
    check_options: hearing_check::Options,
    /// Build the whole test set from packages and print the table
    #[arg(long, group = "what")]
    bench: bool,
    #[command(flatten)]
    bench_options: hearing_bench::Options,
    /// So many walks through the install, each by another invented installer
    #[arg(long, group = "what", value_name = "N", value_parser = clap::value_parser!(u64).range(1..=100_000))]
    days: Option<u64>,
    #[command(flatten)]
    days_options: hearing_days::Options,
    /// Keep in this folder what was made: the bench's sounds, to be used again; of
    /// each day its log, words and sound
    #[arg(long, value_name = "FOLDER", conflicts_with = "job")]
    keep: Option<PathBuf>,
    /// Hear the clips of a list; the bench runs one such process a core
    #[arg(long, group = "what", hide = true, value_name = "LIST")]
    clips: Option<PathBuf>,
}

pub(super) fn run(config: &Config, arguments: &Arguments, out: &mut Out) -> anyhow::Result<()> {
    let Arguments { job, check_options, bench_options, days, days_options, clips, .. } = arguments;
    let keep = arguments.keep.as_deref();
    match (job, days, clips) {
        (Some(job), ..) => hearing_check::run(config, job, check_options, out),
        (_, Some(days), _) => hearing_days::run(config, *days, keep, days_options, out),
        (.., Some(list)) => hearing_bench::hear_clips(config, list, bench_options.wants_raw()),
        (None, None, None) => hearing_bench::run(config, keep, bench_options, out),
    }
}
