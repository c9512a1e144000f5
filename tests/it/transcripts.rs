//! Whole walks as text: what is said and heard, what is saved, and at the end
//! what stands in the log. `UPDATE=1 cargo test` writes them anew.
//!
//! A file begins with `fact NAME VALUE` lines, or `job facts` for those of the
//! invented job, then `walk CHECKLIST`. After that the crew's lines are `hear`,
//! `type`, `unclear` and `wait SECONDS`; the log's `refuse COUNT` and `lose`;
//! others' `release`, `settle STEP`, `fact NAME VALUE`; `again` is another
//! session, `next` the next walk of the checklist. `checked COMMANDS NUMBERS`, before `walk`, is a hearing check, and
//! `noise` how loud it is, in tenths of a decibel. `says` and `save` lines are what follows.

use std::fmt::Write as _;
use std::path::{Path, PathBuf};

use chalkhand::domain::walk::{Action, Event, ExpectAnswer};
use chalkhand::domain::{
    Checklist, Entry, FactName, Facts, Given, How, Meaning, StepRef, Target, Trust, Units, What,
    Working, parse_answer, schedule, shown,
};
use chalkhand::measure::{Quantity, Ratio, Value};
use chalkhand::{files, roof, speech};
use jiff::tz::TimeZone;

use crate::crew::{self, Happened, Store, World};

fn folder() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/it/transcripts")
}

fn checklist(id: &str) -> Checklist {
    if id != "practice" {
        return crew::shipped(id);
    }
    let text = include_str!("transcripts/practice.toml");
    match files::read_checklist(text, "practice.toml", &roof::functions()) {
        Ok(checklist) => checklist,
        Err(problems) => panic!("{problems}"),
    }
}

/// A transcript as it is played.
struct Play {
    out: String,
    world: Option<World>,
    facts: Vec<(String, String)>,
    refusals: u32,
    checked: Option<(Trust, Trust)>,
}

/// Plays the lines that are not themselves what follows.
fn play(text: &str) -> String {
    let mut play =
        Play { out: String::new(), world: None, facts: Vec::new(), refusals: 0, checked: None };
    let (mut demo, script) = (false, text.split("\n---").next().unwrap());
    for line in script.lines() {
        let (word, rest) = line.split_once(' ').unwrap_or((line, ""));
        if matches!(word, "says" | "save" | "lost" | "leaves") {
            continue;
        }
        let _ = writeln!(play.out, "{line}");
        match (word, rest, &mut play.world) {
            ("" | "#", ..) => {}
            ("job", "facts", None) => demo = true,
            ("fact", fact, None) => {
                let (name, value) = fact.split_once(' ').unwrap();
                play.facts.push((name.to_owned(), value.to_owned()));
            }
            ("checked", trust, None) => {
                let (commands, numbers) = trust.split_once(' ').unwrap();
                let trust = |word| Trust::ALL.into_iter().find(|trust| trust.word() == word);
                play.checked = Some((trust(commands).unwrap(), trust(numbers).unwrap()));
            }
            ("walk", id, None) => {
                let checklist = checklist(id);
                let mut facts = if demo { crew::demo_job().1 } else { Facts::default() };
                for (name, value) in &play.facts {
                    let (name, value) = fact(&checklist, name, value);
                    facts.set(name, value);
                }
                let profile = (id != "practice").then(crew::demo_profile);
                let mut world = World::new(checklist, profile, &facts);
                if let Some((commands, numbers)) = play.checked {
                    world.checked(commands, numbers);
                    world.restart();
                }
                play.world = Some(world);
                play.event(Event::Begin);
            }
            (_, _, None) => panic!("before `walk`: {line}"),
            (word, rest, Some(_)) => play.line(word, rest),
        }
    }
    play.table();
    play.out
}

impl Play {
    fn world(&mut self) -> &mut World {
        self.world.as_mut().unwrap()
    }

    fn line(&mut self, word: &str, rest: &str) {
        let world = self.world();
        let id = world.id.to_string();
        match (word, rest) {
            ("wait", seconds) => {
                world.now_ms += seconds.parse::<i64>().unwrap() * 1_000;
                return self.poll();
            }
            ("refuse", count) => {
                self.refusals = count.parse().unwrap();
                return;
            }
            ("noise", tenths) => {
                let tenth_dbfs = tenths.parse().unwrap();
                return self.event(Event::Noise { tenth_dbfs });
            }
            ("lose", _) => {
                world.store = Store::Loses;
                return;
            }
            ("again", _) => {
                world.restart();
                return self.event(Event::Begin);
            }
            // A further walk of the checklist.
            ("next", _) => {
                world.id = world.id.next();
                world.restart();
                return self.event(Event::Begin);
            }
            ("release", _) => {
                assert_ne!(world.release(), 0, "nothing waits for a release");
                return self.poll();
            }
            ("settle", step) => {
                let Ok(step): Result<StepRef, _> = step.parse();
                let given = Given::Done;
                let asked = String::new();
                let what = What::Answered { step, asked, given, target: None, reason: None };
                world.others(Some(&id), "Another Example", what);
                return self.poll();
            }
            ("fact", given) => {
                let (name, value) = given.split_once(' ').unwrap();
                let (name, value) = fact(&world.checklist, name, value);
                world.others(None, "office", What::FactGiven(name, value));
                return self.poll();
            }
            _ => {}
        }
        world.now_ms += 3_000;
        self.poll();
        let event = match word {
            "hear" => Event::Said { meaning: self.hear(rest), how: crew::heard(rest) },
            "type" => Event::Said { meaning: self.typed(rest), how: How::Keys },
            "unclear" => Event::Unclear,
            other => panic!("`{other}` is no line of a transcript"),
        };
        self.event(event);
    }

    /// The log is read, as the daemon does before it takes what was said.
    fn poll(&mut self) {
        let unread = self.world().unread();
        if !unread.is_empty() {
            self.event(Event::Others(unread));
        }
    }

    fn event(&mut self, event: Event) {
        let refusals = self.refusals;
        let world = self.world();
        if 0 < refusals {
            world.store = Store::Refuses;
        }
        let happened = world.event(event);
        let refused = happened.iter().filter(|h| matches!(h.event, Event::NotSaved { .. }));
        let refused = u32::try_from(refused.count()).unwrap();
        world.store = Store::Commits;
        self.refusals = refusals.saturating_sub(refused);
        assert!(refused <= refusals.max(1), "more was refused than the line before says");
        self.write(&happened);
        let now = self.world().now();
        self.world().walk.handle(now, Event::Spoken);
    }

    fn write(&mut self, happened: &[Happened]) {
        for Happened { actions, .. } in happened {
            for action in actions {
                let _ = match action {
                    Action::Say(prompt) => {
                        writeln!(
                            self.out,
                            "says {}",
                            speech::line(prompt, Units::Us, &speech::Wording::default()).spoken
                        )
                    }
                    Action::Append(draft) => {
                        let (what, log) = (draft.what.word(), &self.world.as_ref().unwrap().log);
                        let kept = log.iter().any(|entry| entry.draft.key == draft.key);
                        let step = draft.what.step().map_or(String::new(), |at| format!(" {at}"));
                        writeln!(self.out, "{} {what}{step}", if kept { "save" } else { "lost" })
                    }
                    Action::Leave(_) => writeln!(self.out, "leaves"),
                    Action::Listen(_) => Ok(()),
                };
            }
        }
    }

    /// What the recogniser makes of words, listening for what makes sense now.
    fn hear(&mut self, words: &str) -> Meaning {
        let expect = self.world().walk.expect();
        if expect.answer == ExpectAnswer::Words {
            return Meaning::Words(words.to_owned());
        }
        let command = expect.commands.iter().find(|c| speech::phrases_for(c).contains(&words));
        let answer = || match &expect.answer {
            ExpectAnswer::Length { from, to, .. } => speech::parse_length(words)
                .filter(|length| from <= length && length <= to)
                .map(Meaning::Length),
            ExpectAnswer::Count { from, to, .. } => speech::parse_count(words)
                .filter(|count| (from..=to).contains(&count))
                .map(Meaning::Count),
            ExpectAnswer::Choice(options) => {
                options.iter().position(|option| option == words).map(Meaning::Choice)
            }
            _ => None,
        };
        let meaning = command.cloned().or_else(answer);
        meaning.unwrap_or_else(|| panic!("not listened for: {words}\n{expect:?}\n{}", self.out))
    }

    fn typed(&mut self, words: &str) -> Meaning {
        let expect = self.world().walk.expect();
        let command = words.strip_prefix('/');
        if command.is_none() && expect.answer == ExpectAnswer::Words {
            return Meaning::Words(words.to_owned());
        }
        let words = command.unwrap_or(words);
        let commands = speech::Grammar::all_commands().commands;
        let command = commands.into_iter().find(|c| speech::phrases_for(c).contains(&words));
        command.unwrap_or_else(|| Meaning::Words(words.to_owned()))
    }

    fn table(&mut self) {
        let world = self.world.take().unwrap();
        self.out.push_str("---\n");
        for entry in world.log.iter().filter(|entry| entry.draft.by != "office") {
            let _ = writeln!(self.out, "{}", row(entry));
        }
        let standing = chalkhand::domain::Standing::of(&world.log);
        let (job, _) = crew::demo_job();
        let zone = TimeZone::UTC;
        let (lists, working) = ([world.checklist.as_ref()], Working::default());
        for due in schedule::due(&job, &lists, &standing, &zone, world.now(), &working) {
            let _ = writeln!(self.out, "follow-up {} {}", due.start.date(), due.title);
        }
    }
}

/// A fact as a checklist reads it; `run.length#2` in a row.
fn fact(checklist: &Checklist, name: &str, value: &str) -> (FactName, Value) {
    let (name, row) = match name.split_once('#') {
        Some((name, row)) => (name, Some(row.parse().unwrap())),
        None => (name, None),
    };
    let kind = &checklist.fact(name).unwrap().kind;
    (crew::fact(name, row), parse_answer(value, kind).unwrap())
}

fn row(entry: &Entry) -> String {
    let draft = &entry.draft;
    let how = match &draft.how {
        How::Voice(_) => "voice",
        How::Keys => "keys",
        How::Touch => "touch",
        How::Command => "command",
        How::File => "file",
        How::Program => "program",
        How::Http => "http",
    };
    let number = |q: Quantity| {
        let bound = chalkhand::domain::Bound::Mark;
        shown::show_value(&Value::Quantity(q), bound, Ratio::SIXTEENTH, Units::Us)
    };
    let mut text = format!("{} | {} | {how} | {}", entry.seq, draft.by, draft.what.word());
    let later = draft.walk.as_ref().filter(|walk| 1 < walk.nth);
    text.extend(later.map(|walk| format!(" | {walk}")));
    let step = draft.what.step().map(|at| format!(" | {at}"));
    text.extend(step);
    match &draft.what {
        What::Answered { given, target, reason, .. } => {
            let given = match given {
                Given::Done => "done".to_owned(),
                Given::Measured(q) => number(*q),
                Given::Counted(n) => n.to_string(),
                Given::Chosen(option) => option.clone(),
                Given::Fact(name, Value::Quantity(q)) => format!("{} = {}", name.name, number(*q)),
                Given::Fact(name, value) => format!("{} = {value:?}", name.name),
                Given::Noted(words) => words.clone(),
            };
            let _ = write!(text, " | {given}");
            let _ = match target {
                Some(Target::Mark(mark, by)) => {
                    write!(text, " | of {} within {}", number(*mark), number(*by))
                }
                Some(Target::AtLeast(least)) => write!(text, " | of at least {least}"),
                Some(Target::OneOf(wanted)) => write!(text, " | of {}", wanted.join(" or ")),
                None => Ok(()),
            };
            text.extend(reason.as_ref().map(|reason| format!(" | because {reason}")));
        }
        What::Skipped { reason, .. } => {
            let _ = write!(text, " | because {reason}");
        }
        What::Noted { text: words, .. } => {
            let _ = write!(text, " | {words}");
        }
        _ => {}
    }
    text.extend(draft.corrects.map(|seq| format!(" | corrects {seq}")));
    text
}

#[test]
fn transcripts_are_as_written() {
    let mut files: Vec<PathBuf> = std::fs::read_dir(folder())
        .unwrap()
        .map(|file| file.unwrap().path())
        .filter(|path| path.extension().is_some_and(|end| end == "txt"))
        .collect();
    files.sort();
    assert!(15 <= files.len(), "transcripts are missing: {files:?}");
    let mut differ = Vec::new();
    for path in files {
        let text = std::fs::read_to_string(&path).unwrap();
        let played = play(&text);
        if played == text {
            continue;
        }
        if std::env::var_os("UPDATE").is_some() {
            std::fs::write(&path, &played).unwrap();
        } else {
            let diff = similar::TextDiff::from_lines(&text, &played);
            differ.push(format!("{}\n{}", path.display(), diff.unified_diff()));
        }
    }
    assert!(differ.is_empty(), "UPDATE=1 writes them anew\n{}", differ.join("\n"));
}
