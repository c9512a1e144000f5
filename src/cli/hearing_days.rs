//! `chalkhand hearing --days N`: simulated days on all cores, and whether one
//! wrong entry came of them. What is measured is in `days`; here is who runs it.

use std::io::{BufRead, BufReader};
use std::path::Path;
use std::process::{Child, ChildStdout, Command, Stdio};
use std::sync::Arc;
use std::sync::mpsc::{Sender, channel};

use anyhow::{Context, bail, ensure};

use super::days::{Day, Rules, Tally, day};
use super::out::{Out, Progress};
use crate::config::Config;
use crate::voice::Recogniser;

/// What is simulated.
#[derive(Debug, clap::Args)]
pub(super) struct Options {
    /// The seed of the first walk; the others follow it
    #[arg(long, default_value_t = 1, requires = "days")]
    seed: u64,
    /// How far speech is above the noise, in decibels
    #[arg(
        long,
        value_name = "DB",
        default_value_t = 10.0,
        allow_negative_numbers = true,
        requires = "days"
    )]
    noise: f32,
    /// Of a hundred read-backs he says yes to so many without listening
    #[arg(long, value_name = "PERCENT", default_value_t = 0, requires = "days")]
    careless: u32,
    /// He leaves after so many steps
    #[arg(long, value_name = "N", requires = "days")]
    steps: Option<usize>,
    /// Changes one thing that was meant, to see that it is found
    #[arg(long, hide = true, requires = "days")]
    spoil: bool,
    /// Walks only every OF-th day from FROM on, and gives them as JSON
    #[arg(long, hide = true, value_name = "FROM/OF", requires = "days")]
    share: Option<String>,
}

/// So many walks, and where they are kept.
struct Arguments<'a> {
    days: u64,
    keep: Option<&'a Path>,
    options: &'a Options,
}

impl std::ops::Deref for Arguments<'_> {
    type Target = Options;

    fn deref(&self) -> &Options {
        self.options
    }
}

pub(super) fn run(
    config: &Config,
    days: u64,
    keep: Option<&Path>,
    options: &Options,
    out: &mut Out,
) -> anyhow::Result<()> {
    let arguments = &Arguments { days, keep, options };
    ensure!(arguments.noise.is_finite(), "--noise is a number of decibels");
    if let Some(share) = &arguments.share {
        let (from, of) = share.split_once('/').context("--share is FROM/OF")?;
        return walk_share(config, arguments, from.parse()?, of.parse()?, out);
    }
    // What comes of it has to be seen while it runs, and to be found again.
    let scratch = std::env::temp_dir().join(format!("chalkhand-days-{}", std::process::id()));
    let folder = keep.map_or(scratch, Path::to_owned);
    out.line("Invented installers, synthetic voices, generated noise; the real recogniser, walk and log.")?;
    let cores = std::thread::available_parallelism().map_or(1, usize::from);
    let workers = u64::try_from(cores).unwrap_or(1).min(arguments.days);
    let (sender, days) = channel();
    let mut children = Vec::new();
    for from in 0..workers {
        let (child, stdout) = start(config, arguments, &folder, from, workers)?;
        let sender = sender.clone();
        std::thread::spawn(move || read(stdout, &sender));
        children.push(child);
    }
    drop(sender);

    let mut progress = Progress::new("walked", usize::try_from(arguments.days).unwrap_or(0));
    let (mut all, mut walked, mut open) = (Tally::default(), 0, Vec::new());
    let (mut wrong, mut careless) = (0, 0);
    for line in days {
        let day: Day = serde_json::from_str(&line?).context("a worker did not give a day")?;
        walked += 1;
        progress.done(walked);
        for line in day.told() {
            out.line(&line)?;
        }
        if !day.finished && arguments.steps.is_none() {
            open.push(day.seed.to_string());
            out.line(&format!("not ended: seed {} ({})", day.seed, day.who))?;
        }
        let (meant_by_nobody, by_careless) = day.wrong();
        wrong += meant_by_nobody;
        careless += by_careless;
        all.add(&day.tally);
        if arguments.keep.is_none()
            && day.wrong.is_empty()
            && (day.finished || arguments.steps.is_some())
        {
            // A folder that stays behind does no harm.
            let _ = std::fs::remove_dir_all(&day.folder);
        }
    }
    let mut failed = 0;
    for mut child in children {
        failed += u64::from(!child.wait()?.success());
    }
    // Only an empty one goes.
    let _ = std::fs::remove_dir(&folder);
    let (seed, snr) = (arguments.seed, arguments.noise);
    out.line(&format!("walks: {walked} at {snr} dB, seeds from {seed}"))?;
    out.line(&format!("entries compared: {}", all.entries))?;
    for line in all.lines(wrong) {
        out.line(&line)?;
    }
    if 0 < arguments.careless {
        let percent = arguments.careless;
        out.line(&format!(
            "careless variant, {percent} of 100 read-backs: {careless} wrong entries by it"
        ))?;
    }
    out.line(&format!("wrong entries: {wrong}"))?;
    if 0 < failed {
        bail!("{failed} of {workers} workers failed; what they say is above");
    }
    if !open.is_empty() {
        bail!("walks that did not end, by seed: {}", open.join(", "));
    }
    if 0 < wrong {
        bail!("{wrong} entries are not what was meant; they are told above");
    }
    Ok(())
}

/// A process with one thread for the models: in one process they would wait for
/// each other.
fn start(
    config: &Config,
    arguments: &Arguments<'_>,
    folder: &Path,
    from: u64,
    of: u64,
) -> anyhow::Result<(Child, ChildStdout)> {
    let program = std::env::current_exe().context("this program cannot be found again")?;
    let mut command = Command::new(program);
    command.args(["hearing", "--days", &arguments.days.to_string()]);
    command.args(["--seed", &arguments.seed.to_string(), "--noise", &arguments.noise.to_string()]);
    command.args(["--careless", &arguments.careless.to_string()]);
    command.arg("--keep").arg(folder).args(["--share", &format!("{from}/{of}")]);
    if let Some(steps) = arguments.steps {
        command.args(["--steps", &steps.to_string()]);
    }
    if arguments.spoil {
        command.arg("--spoil");
    }
    command.arg("--data").arg(&config.data).env("CHALKHAND_MODELS", &config.models);
    command.env("RTEN_NUM_THREADS", "1").stdin(Stdio::null()).stdout(Stdio::piped());
    let mut child = command.spawn().context("a worker cannot be started")?;
    let stdout = child.stdout.take().context("a worker cannot be read")?;
    Ok((child, stdout))
}

fn read(stdout: ChildStdout, to: &Sender<std::io::Result<String>>) {
    for line in BufReader::new(stdout).lines() {
        // Nobody waits any more when the run has failed.
        if to.send(line).is_err() {
            return;
        }
    }
}

fn walk_share(
    config: &Config,
    arguments: &Arguments<'_>,
    from: u64,
    of: u64,
    out: &mut Out,
) -> anyhow::Result<()> {
    let folder = arguments.keep.context("--share needs --keep")?.to_owned();
    let step = usize::try_from(of).ok().filter(|of| 0 < *of).context("--share is FROM/OF")?;
    let recogniser = Arc::new(Recogniser::load(&config.models)?);
    let rules = Rules {
        snr_db: arguments.noise,
        careless: arguments.careless,
        most_steps: arguments.steps,
        spoilt: arguments.spoil,
    };
    for at in (from..arguments.days).step_by(step) {
        let seed = arguments.seed.wrapping_add(at);
        let folder = folder.join(format!("walk-{seed:05}"));
        let day = day(config, &recogniser, &folder, seed, &rules)
            .with_context(|| format!("the walk with seed {seed}"))?;
        out.line(&serde_json::to_string(&day)?)?;
    }
    Ok(())
}
