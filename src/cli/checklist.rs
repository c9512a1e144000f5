//! `chalkhand checklist`: check, adopt, list, show, diff.

use std::path::{Path, PathBuf};

use anyhow::{Context, bail};
use jiff::tz::TimeZone;

use super::home::{Home, plain, read_text};
use super::out::{Out, complain};
use crate::config::Config;
use crate::daemon;
use crate::domain::{Json, PinKind, Version};
use crate::export::{self, changes};
use crate::files::{self, Kind, Problems};
use crate::measure::Functions;
use crate::office::{library, lists};
use crate::roof;

#[derive(Debug, clap::Subcommand)]
pub(super) enum Command {
    /// Check files, every error at once; nothing is adopted
    Check {
        /// Checklist, profile or job files, or folders of them
        #[arg(required = true)]
        paths: Vec<PathBuf>,
    },
    /// Adopt a version for new jobs; its content never changes afterwards
    Adopt {
        /// A checklist or profile file
        path: PathBuf,
        /// Who adopts it
        #[arg(long, default_value = "office")]
        by: String,
    },
    /// Adopted versions, and files seen by the daemon that may be adopted
    List {
        /// As JSON
        #[arg(long)]
        json: bool,
    },
    /// One adopted version, the newest where none is named
    Show {
        /// ID or ID@VERSION
        #[arg(value_name = "ID[@VERSION]")]
        wanted: String,
        /// The file itself, to the letter
        #[arg(long)]
        file: bool,
    },
    /// What changed between two adopted versions or files, in sentences
    Diff {
        /// The older: ID[@VERSION] or a file
        a: String,
        /// The newer: ID[@VERSION] or a file
        b: String,
        /// As JSON: a list of {kind, what, sentence}
        #[arg(long, conflicts_with = "lines")]
        json: bool,
        /// The lines of the files that differ
        #[arg(long)]
        lines: bool,
    },
}

pub(super) fn run(config: &Config, command: Command, out: &mut Out) -> anyhow::Result<()> {
    match command {
        Command::Check { paths } => check(&paths, out),
        Command::Adopt { path, by } => adopt(config, &path, &by, out),
        Command::List { json } => list(config, json, out),
        Command::Show { wanted, file } => show(config, &wanted, file, out),
        Command::Diff { a, b, json, lines } => {
            let home = Home::open(config)?;
            let (old, new) = (named_text(&home, &a)?, named_text(&home, &b)?);
            if lines {
                line_diff((&a, &old), (&b, &new), out)
            } else {
                diff(&home, (&a, &old), (&b, &new), json, out)
            }
        }
    }
}

fn check(paths: &[PathBuf], out: &mut Out) -> anyhow::Result<()> {
    let functions = roof::functions();
    let mut wrong = 0;
    for path in files_in(paths)? {
        let name = path.display().to_string();
        let text = read_text(&path)?;
        let checked = match files::kind_of(&text) {
            Kind::Checklist => files::read_checklist(&text, &name, &functions).map(|c| {
                let (steps, measures) = (c.steps.len(), c.measures.len());
                format!("checklist {} {}, {steps} steps, {measures} measures", c.id, c.version)
            }),
            Kind::Profile => files::read_profile(&text, &name)
                .map(|p| format!("profile {} {}, {} figures", p.id, p.version, p.figures.len())),
            Kind::Job => files::read_job(&text, &name).map(|job| format!("job {}", job.job.number)),
            Kind::Translation => check_translation(&path, &text, &functions)?,
        };
        match checked {
            Ok(what) => out.line(&format!("{name}: {what}: sound"))?,
            Err(problems) => {
                wrong += 1;
                complain(&problems.to_string());
            }
        }
    }
    if 0 < wrong {
        bail!("{wrong} of the files have to be mended; nothing was adopted");
    }
    Ok(())
}

/// Checks a translation against its checklist: the file of that name in the
/// folder above, else the one that ships.
fn check_translation(
    path: &Path,
    text: &str,
    functions: &Functions,
) -> anyhow::Result<Result<String, Problems>> {
    let name = path.display().to_string();
    let of = match files::translation_of(text, &name) {
        Ok(of) => of,
        Err(problems) => return Ok(Err(problems)),
    };
    let file = format!("{}.toml", of.checklist);
    let above = path.parent().unwrap_or(Path::new(".")).join("..").join(&file);
    let shipped = files::SHIPPED.iter().find(|(name, _)| *name == file);
    let original = match (above.is_file(), shipped) {
        (true, _) => files::read_checklist(&read_text(&above)?, &file, functions),
        (false, Some((name, text))) => files::read_checklist(text, name, functions),
        (false, None) => bail!(
            "`{name}` is of `{}`, whose file is looked for as `{}`; put it there",
            of.checklist,
            above.display()
        ),
    };
    let language = of.language.name();
    Ok(original.and_then(|original| files::read_translation(text, &name, &original)).map(|into| {
        let (id, version) = (into.id, into.version);
        format!("{language} translation of {id} {version}, {} steps", into.steps.len())
    }))
}

/// The named files, and the TOML files of named folders.
fn files_in(paths: &[PathBuf]) -> anyhow::Result<Vec<PathBuf>> {
    let mut all = Vec::new();
    for path in paths {
        if !path.is_dir() {
            all.push(path.clone());
            continue;
        }
        let before = all.len();
        let folder = std::fs::read_dir(path)
            .with_context(|| format!("the folder `{}` cannot be read", path.display()))?;
        for file in folder {
            let file = file?.path();
            if file.extension().is_some_and(|ending| ending == "toml") {
                all.push(file);
            }
        }
        if all.len() == before {
            bail!("the folder `{}` has no .toml files", path.display());
        }
    }
    all.sort();
    Ok(all)
}

fn adopt(config: &Config, path: &Path, by: &str, out: &mut Out) -> anyhow::Result<()> {
    let mut home = Home::open(config)?;
    let text = read_text(path)?;
    let name = path.display().to_string();
    match files::kind_of(&text) {
        Kind::Job => bail!("`{name}` is a job; open it with: chalkhand job open {name}"),
        Kind::Translation => bail!(
            "`{name}` is a translation; it is not adopted but lies in a folder of its language \
             beside the checklist, such as checklists/es/{}",
            path.file_name().unwrap_or_default().to_string_lossy()
        ),
        Kind::Checklist | Kind::Profile => {}
    }
    let Home { store, functions, .. } = &mut home;
    let now = daemon::now(&TimeZone::system());
    let adopted = library::adopt(store, functions, (&text, &name), by, now);
    let (kind, id, version) = adopted.map_err(plain)?;
    let line = format!("adopted {} {id} {version}", kind.word());
    Ok(out.line(&line)?)
}

fn list(config: &Config, json: bool, out: &mut Out) -> anyhow::Result<()> {
    let home = Home::open(config)?;
    let mut adopted = home.store.adopted(PinKind::Checklist)?;
    adopted.extend(home.store.adopted(PinKind::Profile)?);
    let seen = home.store.seen()?;
    if json {
        let (adopted, seen) = (adopted.iter().map(lists::adopted), seen.iter().map(lists::seen));
        return out.json(&Json::object([
            ("adopted", Json::List(adopted.collect())),
            ("seen", Json::List(seen.collect())),
        ]));
    }
    for a in &adopted {
        let (kind, hash) = (a.kind.word(), a.hash.short());
        out.line(&format!(
            "{kind:<10} {:<24} {:<8} {hash}  adopted {} by {}",
            a.id,
            a.version.to_string(),
            a.adopted_at,
            a.adopted_by
        ))?;
    }
    for s in seen.iter().filter(|s| s.verdict != "known") {
        let name = s.id.as_deref().unwrap_or("?");
        let version = s.version.as_deref().unwrap_or("");
        out.line(&format!("{:<10} {name:<24} {version:<8} {}", s.kind, s.verdict))?;
        out.line(&format!("           {}", s.path))?;
        for line in s.why.lines() {
            out.line(&format!("           {line}"))?;
        }
    }
    Ok(())
}

/// `ID` or `ID@VERSION`.
pub(super) fn id_and_version(wanted: &str) -> anyhow::Result<(String, Option<Version>)> {
    match wanted.split_once('@') {
        None => Ok((wanted.to_owned(), None)),
        Some((id, version)) => {
            Ok((id.to_owned(), Some(version.parse().map_err(anyhow::Error::msg)?)))
        }
    }
}

/// The text of an adopted checklist or profile.
fn adopted_text(home: &Home, wanted: &str) -> anyhow::Result<(PinKind, Version, String)> {
    let (id, version) = id_and_version(wanted)?;
    for kind in [PinKind::Checklist, PinKind::Profile] {
        let version = match version {
            Some(version) => Some(version),
            None => home.newest(kind, &id)?,
        };
        let Some(version) = version else { continue };
        if let Some(text) = home.store.adopted_body(kind, &id, version)? {
            return Ok((kind, version, text));
        }
    }
    bail!(home.not_adopted(PinKind::Checklist, &id, version))
}

fn show(config: &Config, wanted: &str, file: bool, out: &mut Out) -> anyhow::Result<()> {
    let home = Home::open(config)?;
    let (kind, version, text) = adopted_text(&home, wanted)?;
    if file {
        return Ok(out.text(&text)?);
    }
    let (id, _) = id_and_version(wanted)?;
    match kind {
        PinKind::Checklist => {
            out.text(&export::listing::checklist(&*home.checklist(&id, version)?))?;
        }
        PinKind::Profile => out.text(&export::listing::profile(&*home.profile(&id, version)?))?,
    }
    Ok(())
}

/// The text of a file, or else of an adopted version.
fn named_text(home: &Home, name: &str) -> anyhow::Result<String> {
    let path = Path::new(name);
    if path.is_file() { read_text(path) } else { Ok(adopted_text(home, name)?.2) }
}

/// Two texts by their names, the older first.
fn diff(
    home: &Home,
    (a, old): (&str, &str),
    (b, new): (&str, &str),
    json: bool,
    out: &mut Out,
) -> anyhow::Result<()> {
    let kinds = (files::kind_of(old), files::kind_of(new));
    let told = match kinds {
        (Kind::Checklist, Kind::Checklist) => changes::checklists(
            &files::read_checklist(old, a, &home.functions)?,
            &files::read_checklist(new, b, &home.functions)?,
        ),
        (Kind::Profile, Kind::Profile) => {
            changes::profiles(&files::read_profile(old, a)?, &files::read_profile(new, b)?)
        }
        _ => bail!(
            "`{a}` and `{b}` are not two checklists or two profiles; add --lines to see which \
             lines differ"
        ),
    };
    if json {
        return out.json(&changes::json(&told));
    }
    for change in &told {
        out.line(&change.sentence)?;
    }
    if old == new {
        out.line(&same(a, b))?;
    } else if told.is_empty() {
        out.line(&format!("{a} and {b} differ only in comments or layout"))?;
    }
    Ok(())
}

fn line_diff((a, old): (&str, &str), (b, new): (&str, &str), out: &mut Out) -> anyhow::Result<()> {
    if old == new {
        return Ok(out.line(&same(a, b))?);
    }
    let diff = similar::TextDiff::from_lines(old, new);
    Ok(out.text(&diff.unified_diff().context_radius(2).header(a, b).to_string())?)
}

fn same(a: &str, b: &str) -> String {
    format!("{a} and {b} are the same to the letter")
}
