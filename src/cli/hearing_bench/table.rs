//! The table in words: lines for a terminal, nothing decided here.

use std::collections::BTreeMap;
use std::fmt::Write as _;

use super::bound;
use super::count::{
    self, CALL_WORD_TALK, Cell, NEGATIVE, Outcome, Taken, cells, counted, outcome, percentile,
};
use super::listen::HeardClip;
use super::others::{Score, Three};
use super::said::{CALL_WORDS, call_grammar};

const KINDS: [&str; 9] = [
    "command",
    "command, at its step",
    "command, yes or no",
    "measure",
    "measure, narrow step",
    "count",
    "choice, one word",
    "choice, more words",
    "human number",
];
const CONDITIONS: [&str; 5] = ["clean", "20 dB", "10 dB", "5 dB", "0 dB"];
const ROOMS: [&str; 3] = ["small attic", "large attic", "telephone"];
/// Lines of a list of single cases.
const MOST_CASES: usize = 40;

type NameOf = fn(&HeardClip) -> &str;
type Threes = BTreeMap<(String, String), Three>;

/// The whole table.
pub(super) fn text(heard: &[HeardClip], others: &Threes) -> String {
    let mut text = String::new();
    main_table(heard, &mut text);
    by_noise_and_voice(heard, &mut text);
    choices(heard, &mut text);
    wrong(heard, &mut text);
    negatives(heard, &mut text);
    call_words(heard, &mut text);
    other_ways(others, &mut text);
    cost(heard, &mut text);
    text
}

fn positives(heard: &[HeardClip]) -> impl Iterator<Item = &HeardClip> {
    heard.iter().filter(|one| !one.clip.truth.is_empty())
}

/// Writing to a text cannot fail.
macro_rules! put {
    ($to:expr, $($what:tt)*) => { let _ = writeln!($to, $($what)*); };
}

fn percent(part: u64, of: u64) -> f64 {
    100.0 * bound::float(part) / bound::float(of.max(1))
}

fn main_table(heard: &[HeardClip], text: &mut String) {
    let key = |one: &HeardClip| Some((one.clip.kind.clone(), one.clip.condition.clone()));
    let cells = cells(positives(heard), key);
    put!(
        text,
        "Taken and right %, (taken and wrong %), [best guess right %], right within two tries %"
    );
    put!(text, "of so many first tries. Two tries: the other is said slower, in other noise.");
    for (title, conditions) in [("", &CONDITIONS[..]), ("in a room, at 20 dB", &ROOMS[..])] {
        let names: String = conditions.iter().map(|name| format!("{name:>30}")).collect();
        put!(text, "{title:22}{names}");
        for kind in KINDS {
            let row = conditions.iter().map(|condition| {
                cells.get(&(kind.to_owned(), (*condition).to_owned())).map_or_else(
                    || format!("{:>30}", "-"),
                    |cell| format!("{:>30}", in_short(cell)),
                )
            });
            let row: Vec<String> = row.collect();
            if row.iter().any(|cell| cell.trim() != "-") {
                put!(text, "{kind:22}{}", row.concat());
            }
        }
    }
    let silent: u64 = cells.values().map(|cell| cell.silent).sum();
    let all: u64 = cells.values().map(|cell| cell.all).sum();
    put!(text, "No speech was found in {silent} of {all}.");
}

fn in_short(cell: &Cell) -> String {
    let Cell { all, right, wrong, best_right, pairs, within_two, .. } = *cell;
    let two = match pairs {
        0 => "    -".to_owned(),
        _ => format!("{:5.1}", percent(within_two, pairs)),
    };
    let (right, wrong) = (percent(right, all), percent(wrong, all));
    format!("{right:5.1} ({wrong:3.1}) [{:3.0}] {two} {all:4}", percent(best_right, all))
}

fn by_noise_and_voice(heard: &[HeardClip], text: &mut String) {
    let spoken = |one: &HeardClip| ["command", "measure"].contains(&one.clip.kind.as_str());
    let keys: [(&str, NameOf, &[&str]); 2] = [
        ("noise, at 5 and 0 dB", |one| &one.clip.noise, &["5 dB", "0 dB"]),
        ("voice, at 10 dB", |one| &one.clip.voice, &["10 dB"]),
    ];
    for (title, name, conditions) in keys {
        let found = cells(positives(heard), |one| {
            let here = conditions.contains(&one.clip.condition.as_str());
            (spoken(one) && here).then(|| (one.clip.kind.clone(), name(one).to_owned()))
        });
        put!(text, "\nTaken and right %, (wrong %), by {title}");
        for ((kind, name), cell) in found {
            let (right, wrong) = (percent(cell.right, cell.all), percent(cell.wrong, cell.all));
            put!(text, "  {kind:8} {name:12} {right:5.1} ({wrong:3.1}) of {}", cell.all);
        }
    }
}

fn choices(heard: &[HeardClip], text: &mut String) {
    let found = cells(positives(heard), |one| {
        let here = ["clean", "10 dB"].contains(&one.clip.condition.as_str());
        (one.clip.kind.starts_with("choice") && here).then(|| one.clip.text.clone())
    });
    let mut rare: Vec<_> =
        found.iter().filter(|(_, cell)| cell.right * 10 < cell.all * 7).collect();
    rare.sort_by(|(_, a), (_, b)| percent(a.right, a.all).total_cmp(&percent(b.right, b.all)));
    put!(
        text,
        "\nChoices taken and right in less than 70 % (clean and 10 dB): {} of {}",
        rare.len(),
        found.len()
    );
    for (said, cell) in rare.iter().take(MOST_CASES) {
        put!(text, "  {:5.1} of {:3}  {said}", percent(cell.right, cell.all), cell.all);
    }
}

fn wrong(heard: &[HeardClip], text: &mut String) {
    put!(
        text,
        "\nTaken and wrong, all tries and conditions, with the largest share that 95 % allow"
    );
    let mut cases = Vec::new();
    for kind in KINDS {
        let (mut all, mut wrong) = (0, 0);
        for one in positives(heard).filter(|one| one.clip.kind == kind) {
            all += 1;
            if outcome(one) == Outcome::Wrong {
                wrong += 1;
                cases.push(one);
            }
        }
        if 0 < all {
            let most = 100.0 * bound::share(wrong, all);
            put!(
                text,
                "  {kind:22} {wrong:3} of {all:5}, {:.2} %, at most {most:.2} %",
                percent(wrong, all)
            );
        }
    }
    for one in cases.iter().take(MOST_CASES) {
        let words = counted(&one.segments).map_or("", |(_, best)| &best.words);
        let clip = &one.clip;
        put!(
            text,
            "  said \"{}\", heard \"{words}\"  {} {} {}",
            clip.text,
            clip.voice,
            clip.condition,
            clip.noise
        );
    }
}

fn is_recorded(voice: &str) -> bool {
    voice == "human" || voice.contains("_f_") || voice.contains("_m_")
}

fn negatives(heard: &[HeardClip], text: &mut String) {
    let of = |one: &HeardClip, key: &str| (one.clip.kind == NEGATIVE).then(|| key.to_owned());
    put!(
        text,
        "\nTaken out of what means nothing; an hour is one of sound that was taken for speech"
    );
    for (name, found) in count::taken(heard, |one| of(one, "all together")) {
        put_taken(text, &name, &found);
    }
    for (name, found) in count::taken(heard, |one| of(one, &format!("under {}", one.clip.grammar)))
    {
        put_taken(text, &name, &found);
    }
    let source = |one: &HeardClip| match one.clip.voice.as_str() {
        "none" => "noise alone",
        voice if is_recorded(voice) => "recorded prompts",
        _ => "synthetic talk",
    };
    for (name, found) in count::taken(heard, |one| of(one, source(one))) {
        put_taken(text, &name, &found);
    }
    let mut shown = 0;
    for one in heard.iter().filter(|one| one.clip.kind == NEGATIVE) {
        for part in one.segments.iter().filter(|part| part.accepted) {
            let Some(best) = part.best.as_ref().filter(|_| shown < MOST_CASES) else { continue };
            let clip = &one.clip;
            put!(
                text,
                "  \"{}\" out of \"{}\"  {} {} {} under {}",
                best.words,
                clip.text,
                clip.voice,
                clip.condition,
                clip.noise,
                clip.grammar
            );
            shown += 1;
        }
    }
}

fn put_taken(text: &mut String, name: &str, found: &Taken) {
    let hours = |ms: u64| bound::float(ms) / 3_600_000.0;
    let (sound, speech) = (hours(found.sound_ms), hours(found.speech_ms));
    put!(
        text,
        "  {name}: {} clips, {sound:.2} h, {speech:.2} h of it taken for speech",
        found.clips
    );
    for (what, times) in [
        ("false confirmations", found.confirmations),
        ("other commands", found.commands),
        ("numbers", found.numbers),
    ] {
        let share = 100.0 * bound::share(times, found.clips);
        let an_hour = bound::float(times) / speech.max(1e-9);
        let most = bound::events(times) / speech.max(1e-9);
        put!(
            text,
            "    {what:20} {times:4}; {an_hour:5.2} an hour, at most {most:5.2}; of clips at most {share:.3} %"
        );
    }
}

fn call_words(heard: &[HeardClip], text: &mut String) {
    let tried = |kind: &'static str| move |one: &&HeardClip| one.clip.kind == kind;
    let mut conditions = CONDITIONS.to_vec();
    conditions.extend(ROOMS);
    put!(
        text,
        "\nWords that might open the ear again: taken %, by condition, and taken out of talk"
    );
    for word in CALL_WORDS {
        let grammar = call_grammar(word);
        let mine = |one: &HeardClip| one.clip.grammar == grammar;
        let found = cells(heard.iter().filter(tried("call word")), |one| {
            mine(one).then(|| one.clip.condition.clone())
        });
        let row: String = conditions
            .iter()
            .filter_map(|name| {
                Some(format!(" {name} {:.0}", {
                    let cell = found.get(*name)?;
                    percent(cell.right, cell.all)
                }))
            })
            .collect();
        let (mut clips, mut ms, mut times) = (0_u64, 0_u64, 0_u64);
        for one in heard.iter().filter(tried(CALL_WORD_TALK)).filter(|one| mine(one)) {
            clips += 1;
            ms += one.sound_ms;
            let opens = one.segments.iter().any(|part| {
                part.accepted && part.best.as_ref().is_some_and(|best| best.word == "choice")
            });
            times += u64::from(opens);
        }
        let minutes = bound::float(ms) / 60_000.0;
        put!(text, "  {word:14}{row}; {times} out of {clips} clips ({minutes:.0} min)");
    }
}

fn other_ways(others: &Threes, text: &mut String) {
    if others.is_empty() {
        return;
    }
    put!(
        text,
        "\nOn the same clips, right % (wrong %): this program; PocketSphinx 5 along the same phrases,"
    );
    put!(text, "no rejection; the bare model's free words, nearest phrase of 0.85");
    let shown = |score: &Score| {
        format!("{:5.1} ({:4.1})", percent(score.right, score.all), percent(score.wrong, score.all))
    };
    for ((kind, condition), three) in others {
        let (ours, sphinx, free) = (shown(&three.ours), shown(&three.sphinx), shown(&three.free));
        put!(text, "  {kind:8} {condition:12} {ours}   {sphinx}   {free}   of {}", three.ours.all);
    }
}

fn cost(heard: &[HeardClip], text: &mut String) {
    let parts = || positives(heard).flat_map(|one| &one.segments);
    let mut all: Vec<f64> = parts().map(|part| part.ms).collect();
    let paired = || parts().filter_map(|part| Some((part.ms, part.bare_ms?)));
    let mut whole: Vec<f64> = paired().map(|(whole, _)| whole).collect();
    let mut bare: Vec<f64> = paired().map(|(_, bare)| bare).collect();
    put!(text, "\nFrom the end of speech to the decision, one thread, all cores busy");
    for (share, name) in [(50, "median"), (95, "95th percentile")] {
        let all = percentile(&mut all, share).unwrap_or(0.0);
        let (whole, bare) = (percentile(&mut whole, share), percentile(&mut bare, share));
        let (whole, bare) = (whole.unwrap_or(0.0), bare.unwrap_or(0.0));
        put!(
            text,
            "  {name}: {all:.0} ms; where the bare model was run too: {whole:.0} ms, bare {bare:.0} ms, ratio {:.2}",
            whole / bare.max(1e-9)
        );
    }
    let most = heard.iter().map(|one| one.resident_kb).max().unwrap_or(0);
    put!(text, "  resident at most {} MB", most / 1_024);
}
