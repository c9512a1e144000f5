//! The listening bench: builds the test set from packages, hears it by the path a
//! microphone takes, and prints what came of it. Speech is synthetic but for
//! recorded prompts and numbers; the printed head says so.

mod bound;
mod count;
mod listen;
mod others;
mod said;
mod setup;
mod table;

use std::fmt::Write as _;
use std::path::{Path, PathBuf};

use anyhow::Context;
use serde_json::json;

use super::out::{Out, complain};
use crate::config::Config;
use crate::voice::Recogniser;

use listen::Clip;
pub(super) use listen::hear_clips;
use said::Said;
use setup::Builder;

#[derive(Debug, clap::Args)]
pub(super) struct Options {
    /// The voices that thresholds are fitted on, and no table: raw scores, one
    /// line of JSON a clip
    #[arg(long)]
    fit: bool,
    /// A tenth of it
    #[arg(long)]
    quick: bool,
    /// Write the raw scores to a file as well
    #[arg(long, value_name = "FILE")]
    raw: Option<PathBuf>,
}

impl Options {
    pub(super) fn wants_raw(&self) -> bool {
        self.fit || self.raw.is_some()
    }
}

/// Sound files stay in `keep` and are used again.
pub(super) fn run(
    config: &Config,
    keep: Option<&Path>,
    options: &Options,
    out: &mut Out,
) -> anyhow::Result<()> {
    // A missing model shows now, not after the sounds are made.
    Recogniser::load(&config.models)?;
    let cache = setup::cache()?;
    let builder = Builder::ready(&cache)?;
    let folder = match keep {
        Some(folder) => folder.to_owned(),
        None => cache.join(format!("bench-{}", std::process::id())),
    };
    let done = bench(config, &builder, (&cache, &folder), options, out);
    if keep.is_none() {
        // What was made for this run only goes with it.
        let _ = std::fs::remove_dir_all(&folder);
    }
    done
}

fn bench(
    config: &Config,
    builder: &Builder,
    (cache, folder): (&Path, &Path),
    options: &Options,
    out: &mut Out,
) -> anyhow::Result<()> {
    std::fs::create_dir_all(folder)
        .with_context(|| format!("`{}` cannot be made", folder.display()))?;
    let said = Said::all()?;
    let half = if options.fit { "fit" } else { "report" };
    let plan = folder.join("plan.json");
    let given = json!({"half": half, "quick": options.quick, "say": said.texts});
    std::fs::write(&plan, given.to_string())
        .with_context(|| format!("`{}` cannot be written", plan.display()))?;
    builder.run("corpus.py", &[&plan, folder, cache])?;
    let mut clips = clips(&folder.join("list.jsonl"))?;
    if !options.fit {
        clips.extend(call_word_talk(&clips));
    }
    complain(&format!("{} clips to hear", clips.len()));
    let heard = listen::hear_all(config, &clips, options.wants_raw(), folder)?;
    if let Some(file) = &options.raw {
        let mut text = String::new();
        for clip in &heard {
            writeln!(text, "{}", serde_json::to_string(clip)?)?;
        }
        super::out::write_file(file, text.as_bytes())?;
    }
    if options.fit {
        if options.raw.is_none() {
            for clip in &heard {
                out.line(&serde_json::to_string(clip)?)?;
            }
        }
        return Ok(());
    }
    let others = others::compare(&heard, &said, builder, folder)?;
    out.text(HEAD)?;
    out.line(&format!("{} clips{}\n", heard.len(), if options.quick { ", a tenth" } else { "" }))?;
    out.text(&table::text(&heard, &others))?;
    Ok(())
}

/// What the figures are of, said before them.
const HEAD: &str = "\
Speech is synthetic (espeak-ng, flite, Piper, Kokoro; no voice that thresholds were
fitted on), but for numbers and prompts recorded by one speaker a language at 8 kHz.
Noise, rooms and the telephone are generated. Nobody here is on a roof.
";

/// One in 20 negatives is heard for each word that might open the ear.
fn call_word_talk(clips: &[Clip]) -> Vec<Clip> {
    let talk = clips.iter().filter(|clip| clip.kind == count::NEGATIVE).step_by(20);
    let heard = talk.flat_map(|clip| {
        said::CALL_WORDS.map(|word| Clip {
            kind: count::CALL_WORD_TALK.to_owned(),
            grammar: said::call_grammar(word),
            ..clip.clone()
        })
    });
    heard.collect()
}

fn clips(list: &Path) -> anyhow::Result<Vec<Clip>> {
    let text = std::fs::read_to_string(list)
        .with_context(|| format!("`{}` cannot be read", list.display()))?;
    text.lines().map(|line| Ok(serde_json::from_str(line)?)).collect()
}
