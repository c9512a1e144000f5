//! `chalkhand hearing`: how well a person is heard here, which is logged, and how
//! well the program hears at all, which is not.

use std::path::PathBuf;

use super::out::Out;
use super::{hearing_bench, hearing_check};
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
    /// Hear the clips of a list; the bench runs one such process a core
    #[arg(long, group = "what", hide = true, value_name = "LIST")]
    clips: Option<PathBuf>,
}

pub(super) fn run(config: &Config, arguments: &Arguments, out: &mut Out) -> anyhow::Result<()> {
    match (&arguments.job, &arguments.clips) {
        (Some(job), _) => hearing_check::run(config, job, &arguments.check_options, out),
        (None, Some(list)) => {
            hearing_bench::hear_clips(config, list, arguments.bench_options.wants_raw())
        }
        (None, None) => hearing_bench::run(config, &arguments.bench_options, out),
    }
}
