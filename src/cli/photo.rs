//! `chalkhand photo`: keeps photos of a job, each with the entry that names it.

use std::fs;
use std::io::Read as _;
use std::path::{Path, PathBuf};

use anyhow::{Context, bail};

use super::home::{Home, now, plain};
use super::out::Out;
use crate::config::Config;
use crate::domain::{How, JobFile, StepRef};
use crate::office::photos::{self, Bringing, KeptAs, PhotoPlace};
use crate::photo;

#[derive(Debug, clap::Args)]
pub(super) struct Arguments {
    /// The job's number
    job: String,
    /// Photos, JPEG or PNG
    #[arg(required = true, value_name = "FILE")]
    files: Vec<PathBuf>,
    /// The step they show, `cut` or `cut#2` for the second row
    #[arg(long, value_name = "STEP")]
    step: Option<String>,
    /// The checklist they belong to
    #[arg(long, value_name = "CHECKLIST")]
    walk: Option<String>,
    /// Who keeps them
    #[arg(long, value_name = "NAME")]
    by: String,
    /// What they show
    #[arg(long, value_name = "WORDS")]
    caption: Option<String>,
}

pub(super) fn run(config: &Config, arguments: &Arguments, out: &mut Out) -> anyhow::Result<()> {
    if arguments.by.trim().is_empty() {
        bail!("say who keeps the photos: --by NAME");
    }
    let mut home = Home::open(config)?;
    let file = home.job(&arguments.job)?;
    let place = place(&home, &file, arguments)?;
    let mut refused = Vec::new();
    for path in &arguments.files {
        let bytes = match read(path) {
            Ok(bytes) => bytes,
            Err(why) => {
                refused.push(format!("{why:#}"));
                continue;
            }
        };
        match photo::ready(bytes, arguments.caption.as_deref(), photos::location(config)) {
            Ok(ready) => {
                let (by, at) = (arguments.by.clone(), now(&file.job)?);
                let bringing = Bringing { by, how: How::Command, at };
                let said = keep(config, &mut home, &place, &ready, &bringing)?;
                out.line(&format!("{}: {said}", path.display()))?;
            }
            Err(why) => refused.push(format!("`{}` {why}", path.display())),
        }
    }
    if !refused.is_empty() {
        bail!("not kept: {}", refused.join("; "));
    }
    Ok(())
}

/// Keeps one and says so.
fn keep(
    config: &Config,
    home: &mut Home,
    place: &PhotoPlace,
    ready: &photo::Ready,
    bringing: &Bringing,
) -> anyhow::Result<String> {
    let seq = match photos::keep(config, &mut home.store, place, ready, bringing).map_err(plain)? {
        KeptAs::New(seq) => seq,
        KeptAs::Before { seq, .. } => {
            return Ok(format!("kept already, in entry {seq}; nothing was added"));
        }
    };
    let photo = &ready.photo;
    let (width_px, height_px, hash) = (photo.width_px, photo.height_px, photo.sha256.short());
    let without = if photo.location_removed() { "; without its location" } else { "" };
    Ok(format!("kept in entry {seq}, {width_px} x {height_px} pixels, SHA-256 {hash}{without}"))
}

fn place(home: &Home, file: &JobFile, arguments: &Arguments) -> anyhow::Result<PhotoPlace> {
    let pinned: Vec<&str> = file.checklists.iter().map(|list| list.id.as_str()).collect();
    let walk = arguments.walk.as_deref();
    if let Some(walk) = walk.filter(|walk| !pinned.contains(walk)) {
        bail!("job {} pins no checklist `{walk}`; it pins: {}", file.job.number, pinned.join(", "));
    }
    // Of a checklist that was walked again the newest walk counts.
    let record = file.record_of_now(&home.functions);
    let Some(step) = &arguments.step else {
        let newest = record.walks.iter().find(|of| walk == Some(of.checklist.id.as_str()));
        let (job, walk) = (file.job.number.clone(), newest.map(|of| of.id.clone()));
        return Ok(PhotoPlace { job, walk, step: None });
    };
    let Ok(step): Result<StepRef, _> = step.parse();
    let walks: Vec<_> = record.walks.iter().map(|of| (&of.checklist.id, of)).collect();
    let wanted = |id: &str| walk.is_none_or(|walk| walk == id);
    let with: Vec<_> = walks
        .iter()
        .filter(|(id, of)| wanted(id) && of.steps.iter().any(|known| known.at == step))
        .collect();
    let [(id, found)] = with.as_slice() else {
        if with.is_empty() {
            let near = walks.iter().filter(|(id, _)| wanted(id)).flat_map(|(_, of)| &of.steps);
            let near =
                near.filter(|known| known.at.id == step.id).map(|known| known.at.to_string());
            let near: Vec<String> = near.collect();
            if near.is_empty() {
                bail!("no checklist of job {} asks step `{step}`", file.job.number);
            }
            bail!(
                "step `{step}` is not asked on job {}; say {}",
                file.job.number,
                near.join(" or ")
            );
        }
        let ids: Vec<String> = with.iter().map(|(id, _)| format!("--walk {id}")).collect();
        bail!("several checklists have a step `{step}`: add {}", ids.join(" or "));
    };
    if found.begun.is_none() {
        bail!("checklist {id} was not begun on this job: begin it, or leave --step out");
    }
    let (job, walk) = (file.job.number.clone(), Some(found.id.clone()));
    Ok(PhotoPlace { job, walk, step: Some(step) })
}

/// The bytes of a file, and never more than a photo may have.
fn read(path: &Path) -> anyhow::Result<Vec<u8>> {
    let name = path.display();
    let kind = fs::metadata(path).with_context(|| format!("`{name}` cannot be read"))?;
    if !kind.is_file() {
        bail!("`{name}` is no file");
    }
    let mut bytes = Vec::new();
    let file = fs::File::open(path).with_context(|| format!("`{name}` cannot be read"))?;
    let read = file.take(photo::MOST_BYTES + 1).read_to_end(&mut bytes);
    read.with_context(|| format!("`{name}` cannot be read"))?;
    Ok(bytes)
}
