//! The commands as scripts and people use them: what they print, how they end,
//! and a clear sentence for every kind of bad input.

use crate::program::{Home, models_are_there, repository};

const WALK: [&str; 7] =
    ["walk", "EX-0001", "deck-intake", "--by", "Installer Example", "--keys", "--mute"];

fn entries(home: &Home) -> usize {
    let all = home.run(["record", "EX-0001", "-o", home.path("r.json").to_str().unwrap()]);
    all.well();
    let db = rusqlite::Connection::open(home.path("data/log.sqlite")).unwrap();
    db.query_row("select count(*) from entry", [], |row| row.get(0)).unwrap()
}

#[test]
fn wrong_usage_is_two() {
    let home = Home::new();
    for words in [
        &["nosuch"][..],
        &["walk", "J", "c", "--by", "x"],
        &["walk", "J", "c", "--by", "x", "--keys", "--wav", "a.wav"],
        &["record", "J"],
        &["checklist", "check"],
        &["find"],
        &["hear", "--expect", "songs", "a.wav"],
        &["hearing"],
        &["hearing", "--quick"],
        &[],
    ] {
        let err = home.run(words).fails(2);
        assert!(err.contains("Usage") || err.contains("--help"), "{words:?}: {err}");
    }
    assert!(home.run(["--help"]).well().contains("never overrules"));
}

#[test]
fn what_a_person_can_mend_is_one_and_says_how() {
    let home = Home::with_job();
    let broken = home.write("broken.toml", "id = \"a\nversion = 1\n");
    let wrong_units = home.write(
        "units.toml",
        &std::fs::read_to_string(repository("checklists/deck-intake.toml")).unwrap().replacen(
            "[measures.",
            "[measures]\nodd = \"overhang + attic_area\"\n[measures.",
            1,
        ),
    );
    let cycle = home.write(
        "cycle.toml",
        &std::fs::read_to_string(repository("checklists/deck-intake.toml")).unwrap().replacen(
            "[measures.",
            "[measures]\nhen = \"egg * 2\"\negg = \"hen / 2\"\n[measures.",
            1,
        ),
    );
    let job = repository("packaging/demo-data/job.toml");
    let text = home.write("note.txt", "no recording");
    let cases: Vec<(Vec<&str>, Vec<&str>)> = vec![
        (vec!["job", "show", "J-9"], vec!["no job `J-9`", "chalkhand job list"]),
        (vec!["sheet", "J-9"], vec!["no job `J-9`"]),
        (vec!["record", "EX-0001", "-o", "r.doc"], vec!["has to end in .pdf, .html or .json"]),
        (vec!["sheet", "EX-0001", "-o", "r.doc"], vec!["has to end in .txt, .json, .html or .svg"]),
        (vec!["record", "EX-0001", "-o", "/nosuch/r.json"], vec!["could not be written"]),
        (vec!["calendar", "EX-0001", "-o", "f.ics"], vec!["no follow-ups yet"]),
        (vec!["day", "yesterday"], vec!["`yesterday` is no day", "2026-11-25"]),
        (vec!["find", "nowhere"], vec!["no job has all of these words"]),
        (vec!["job", "open", job.to_str().unwrap()], vec!["is open already"]),
        (vec!["job", "open", "nosuch.toml"], vec!["`nosuch.toml` cannot be read"]),
        (vec!["checklist", "show", "roofs"], vec!["no checklist `roofs` is adopted"]),
        (vec!["checklist", "show", "deck-intake@9.9.9"], vec!["adopted versions: 1.3.0"]),
        (vec!["checklist", "show", "deck-intake@1"], vec!["is not a version"]),
        (vec!["checklist", "check", broken.to_str().unwrap()], vec!["broken.toml:1:", "^"]),
        (
            vec!["checklist", "check", wrong_units.to_str().unwrap()],
            vec!["cannot add an area to a length", "units.toml:", "^"],
        ),
        (vec!["checklist", "check", cycle.to_str().unwrap()], vec!["egg", "hen", "cycle.toml:"]),
        (
            vec!["release", "EX-0001", "cut", "--by", "X", "--role", "foreman"],
            vec!["no hold point"],
        ),
        (
            vec!["walk", "EX-0001", "roofs", "--by", "X", "--keys", "--mute"],
            vec!["does not pin a checklist `roofs`", "deck-intake"],
        ),
        (
            vec!["walk", "EX-0001", "deck-intake", "--by", "X", "--wav", "no.wav", "--mute"],
            vec!["`no.wav` is no recording"],
        ),
    ];
    for (words, says) in cases {
        let err = home.run(&words).fails(1);
        for part in says {
            assert!(err.contains(part), "{words:?}: `{part}` is not in: {err}");
        }
    }
    drop(text);
}

#[test]
fn a_walk_does_not_begin_without_its_facts() {
    let home = Home::with_job_file(Home::job_file().split("[facts]").next().unwrap());
    let err = home.run(WALK).fails(1);
    assert!(err.contains("does not know yet"), "{err}");
    assert!(err.contains("pitch (What is the pitch"), "{err}");
    assert!(err.contains("survey"), "{err}");
}

#[test]
fn a_profile_that_lacks_a_figure_is_named() {
    let home = Home::new();
    let profile = std::fs::read_to_string(repository("packaging/demo-data/profile.toml")).unwrap();
    let without: String = {
        let lines = profile.lines().filter(|line| !line.trim_start().starts_with("nail_line"));
        lines.map(|line| format!("{line}\n")).collect()
    };
    assert_ne!(profile.lines().count(), without.lines().count(), "the figure was taken out");
    let path = home.write("profile.toml", &without);
    home.run(["checklist", "adopt", path.to_str().unwrap()]).well();
    let job = repository("packaging/demo-data/job.toml");
    let err = home.run(["job", "open", job.to_str().unwrap()]).fails(1);
    assert!(err.contains("`nail_line` is missing"), "{err}");
    assert!(home.run(["job", "list"]).well().contains("no jobs yet"), "nothing was opened");
}

#[test]
fn an_adopted_version_never_changes() {
    let home = Home::with_job();
    let text = std::fs::read_to_string(repository("checklists/deck-intake.toml")).unwrap();
    let changed = home.write("changed.toml", &format!("{text}\n# changed\n"));
    let err = home.run(["checklist", "adopt", changed.to_str().unwrap()]).fails(3);
    assert!(err.contains("deck-intake 1.3.0 is adopted with another content"), "{err}");
    assert!(err.contains("new version"), "{err}");
    let newer =
        home.write("newer.toml", &text.replace("version = \"1.3.0\"", "version = \"1.3.1\""));
    home.run(["checklist", "adopt", newer.to_str().unwrap()]).well();
    let versions = ["deck-intake@1.3.0", "deck-intake@1.3.1"];
    let told = home.run(["checklist", "diff", versions[0], versions[1]]).well();
    assert_eq!(told, "The version was 1.3.0, now 1.3.1.\n");
    let diff = home.run(["checklist", "diff", versions[0], versions[1], "--lines"]).well();
    assert!(
        diff.contains("-version = \"1.3.0\"") && diff.contains("+version = \"1.3.1\""),
        "{diff}"
    );
    // The open job keeps its version; new jobs take the newer one.
    assert!(home.run(["job", "show", "EX-0001"]).well().contains("deck-intake@1.3.0"));
    let file = home.run(["checklist", "show", "deck-intake", "--file"]).well();
    assert!(file.contains("version = \"1.3.1\""));
}

#[test]
fn what_changed_is_told_in_sentences_as_json_or_in_lines() {
    let home = Home::new();
    let text = std::fs::read_to_string(repository("checklists/deck-intake.toml")).unwrap();
    let [same, comment, cut] = [
        ("same.toml", text.clone()),
        ("comment.toml", format!("{text}\n# a comment\n")),
        (
            "cut.toml",
            text.replace(
                "\"blade_depth\", tolerance = \"1/16",
                "\"blade_depth\", tolerance = \"1/8",
            ),
        ),
    ]
    .map(|(name, text)| home.write(name, &text).to_str().unwrap().to_owned());
    let diff = |new: &str, more: &[&str]| {
        home.run([&["checklist", "diff", same.as_str(), new], more].concat())
    };
    let letter = diff(&same, &[]).well();
    assert!(letter.ends_with("are the same to the letter\n"), "{letter}");
    assert_eq!(diff(&same, &["--json"]).well().trim(), "[]");
    let layout = diff(&comment, &[]).well();
    assert!(layout.ends_with("differ only in comments or layout\n"), "{layout}");
    assert_eq!(
        diff(&cut, &[]).well(),
        "Step \"Blade depth\": the tolerance was 1/16 in, now 1/8 in.\n\
         WARNING: the version is still 1.3.0 although the content differs: a step means something \
         else, or something is gone. Raise it to 2.0.0.\n"
    );
    let json: serde_json::Value = serde_json::from_str(&diff(&cut, &["--json"]).well()).unwrap();
    assert_eq!(json[0]["kind"], "step-tolerance");
    assert_eq!(json[0]["what"], "blade");
    assert_eq!(json[1]["kind"], "version-warning");
    let lines = diff(&cut, &["--lines"]).well();
    assert!(lines.contains("\n-answer = ") && lines.contains("\n+answer = "), "{lines}");
    let profile = repository("packaging/demo-data/profile.toml");
    let err = diff(profile.to_str().unwrap(), &[]).fails(1);
    assert!(err.contains("not two checklists or two profiles; add --lines"), "{err}");
}

#[test]
fn typed_answers_are_logged_and_the_walk_goes_on_where_it_was() {
    let home = Home::with_job();
    let first = home.typed(WALK, "done\nfit to work\nyes\n").well();
    assert_eq!(first.matches("Logged.").count(), 2, "{first}");
    assert!(first.contains("The walk is open"), "{first}");
    let second = home.typed(WALK, "where\n").well();
    assert!(second.contains("going on"), "{second}");
    assert!(second.contains("Step 3 of 66: Temperature"), "{second}");
    let day = home.run(["day"]).well();
    assert!(day.contains("Instructions"), "{day}");
}

#[test]
fn nothing_typed_is_never_an_answer() {
    let home = Home::with_job();
    let said = home.typed(WALK, "\n\n\nperhaps\n4 1/2\n").well();
    assert_eq!(said.matches("Logged.").count(), 0, "{said}");
}

#[test]
fn a_newer_log_is_refused_untouched() {
    let home = Home::with_job();
    let log = home.path("data/log.sqlite");
    {
        let db = rusqlite::Connection::open(&log).unwrap();
        db.execute_batch(
            "insert into refinery_schema_history (version, name, applied_on, checksum)
             values (99, 'later', '2030-01-01T00:00:00Z', '0'); pragma journal_mode = delete;",
        )
        .unwrap();
    }
    let before = std::fs::read(&log).unwrap();
    let err = home.run(["job", "list"]).fails(3);
    assert!(err.contains("version 99") && err.contains("newer program"), "{err}");
    assert_eq!(std::fs::read(&log).unwrap(), before, "untouched");
}

#[test]
fn a_file_that_is_no_log_is_refused() {
    let home = Home::new();
    home.write("data/log.sqlite", &"this is no database ".repeat(300));
    let err = home.run(["job", "list"]).fails(3);
    assert!(err.contains("is not a chalkhand log"), "{err}");
}

#[test]
fn a_folder_that_cannot_be_made_is_named() {
    let home = Home::new();
    home.write("data", "a file where the folder should be");
    let err = home.run(["job", "list"]).fails(1);
    assert!(err.contains("data folder") && err.contains("--data"), "{err}");
}

#[test]
fn a_closed_pipe_is_no_error() {
    let home = Home::with_job();
    let mut child = home.command(["checklist", "show", "deck-intake"]).spawn().unwrap();
    drop(child.stdout.take());
    let output = child.wait_with_output().unwrap();
    assert_eq!(output.status.code(), Some(0), "{}", String::from_utf8_lossy(&output.stderr));
}

#[test]
fn records_sheets_and_finds_for_programs_are_json() {
    let home = Home::with_job();
    for words in [
        &["job", "list", "--json"][..],
        &["job", "show", "EX-0001", "--json"],
        &["sheet", "EX-0001", "--json"],
        &["day", "--json"],
        &["find", "example", "--json"],
        &["checklist", "list", "--json"],
    ] {
        let out = home.run(words).well();
        let json: serde_json::Value = serde_json::from_str(&out).expect(&out);
        assert!(json.is_object() || json.is_array());
    }
    let found = home.run(["find", "5550100", "--json"]).well();
    assert!(found.contains("EX-0001"), "a phone number without its dash: {found}");
}

#[test]
fn two_walks_of_one_job_at_once_lose_nothing() {
    let home = Home::with_job();
    let before = entries(&home);
    let ran: Vec<_> = std::thread::scope(|scope| {
        let walks: Vec<_> = ["deck-intake", "site-survey"]
            .into_iter()
            .map(|list| {
                let home = &home;
                scope.spawn(move || {
                    let walk =
                        ["walk", "EX-0001", list, "--by", "Installer Example", "--keys", "--mute"];
                    let notes = "note\nseen\nyes\n".repeat(20);
                    home.typed(walk, &notes).well()
                })
            })
            .collect();
        walks.into_iter().map(|walk| walk.join().unwrap()).collect()
    });
    let logged: usize = ran.iter().map(|out| out.matches("Logged.").count()).sum();
    assert!(0 < logged);
    let notes: usize = {
        let db = rusqlite::Connection::open(home.path("data/log.sqlite")).unwrap();
        let sql = "select count(*) from entry where body like '%\"what\":\"noted\"%'";
        db.query_row(sql, [], |row| row.get(0)).unwrap()
    };
    assert_eq!(notes, logged, "every `Logged.` has its entry, and no entry is unsaid");
    assert!(before < entries(&home));
    assert!(home.run(["doctor"]).out.contains("the chain holds"));
}

#[test]
fn follow_ups_keep_their_names_and_raise_their_sequence() {
    let home = Home::with_job();
    let walk =
        ["walk", "EX-0001", "closing-inspection", "--by", "Foreman Example", "--keys", "--mute"];
    skip_through(&home, &walk);
    let ics = home.path("f.ics");
    let calendar = ["calendar", "EX-0001", "-o", ics.to_str().unwrap()];
    home.run(calendar).well();
    let first = std::fs::read_to_string(&ics).unwrap();
    // Five single ones, four seasons, five years of warranty.
    assert_eq!(first.matches("BEGIN:VEVENT").count(), 5 + 4 + 5, "{first}");
    assert_eq!(first.matches("SEQUENCE:0").count(), 14, "{first}");
    home.run(calendar).well();
    assert_eq!(std::fs::read_to_string(&ics).unwrap(), first, "nothing changed: to the letter");
}

fn tone(home: &Home, name: &str, rate_hz: u32, seconds: u32) -> std::path::PathBuf {
    let path = home.path(name);
    let spec = hound::WavSpec {
        channels: 1,
        sample_rate: rate_hz,
        bits_per_sample: 16,
        sample_format: hound::SampleFormat::Int,
    };
    let mut wav = hound::WavWriter::create(&path, spec).unwrap();
    for n in 0..rate_hz * seconds {
        wav.write_sample(if n % 100 < 50 { 300_i16 } else { -300 }).unwrap();
    }
    wav.finalize().unwrap();
    path
}

#[test]
fn recordings_that_cannot_be_heard_are_named_and_the_others_heard() {
    if !models_are_there() {
        return;
    }
    let home = Home::new();
    let empty = home.write("empty.wav", "");
    let text = home.write("text.wav", "this is no recording at all, it is a letter to the crew");
    let cut = home.path("cut.wav");
    let whole = std::fs::read(tone(&home, "whole.wav", 16_000, 1)).unwrap();
    std::fs::write(&cut, &whole[..30]).unwrap();
    let other_rate = tone(&home, "rate.wav", 44_100, 2);
    let nowhere = home.path("nowhere.wav");
    let folder = home.path("");
    let ran = home.run(
        [&empty, &text, &cut, &other_rate, &nowhere, &folder]
            .map(|path| path.to_str().unwrap())
            .into_iter()
            .fold(vec!["hear", "--json"], |mut words, path| {
                words.push(path);
                words
            }),
    );
    assert_eq!(ran.code, 1, "{}", ran.err);
    for name in ["empty.wav", "text.wav", "cut.wav", "nowhere.wav"] {
        assert!(ran.err.contains(name), "{name} is not named in: {}", ran.err);
    }
    assert!(ran.err.contains("5 of 6 recordings could not be heard"), "{}", ran.err);
    let line: serde_json::Value = serde_json::from_str(ran.out.trim()).expect("one line of JSON");
    assert!(line["file"].as_str().unwrap().ends_with("rate.wav"));
    assert_eq!(line["accepted"], false);
    for member in ["kind", "meaning", "inches", "words", "b", "a", "m", "ms"] {
        assert!(line.get(member).is_some(), "{member} is in every line");
    }
}

#[test]
fn without_models_it_says_how_to_get_them_and_keys_still_work() {
    let home = Home::with_job();
    let wav = tone(&home, "a.wav", 16_000, 1);
    let none = home.path("nowhere");
    for words in [
        vec!["hear", wav.to_str().unwrap()],
        vec![
            "walk",
            "EX-0001",
            "deck-intake",
            "--by",
            "X",
            "--mute",
            "--wav",
            wav.to_str().unwrap(),
        ],
    ] {
        let output = home.command(&words).env("CHALKHAND_MODELS", &none).output().unwrap();
        let err = String::from_utf8(output.stderr).unwrap();
        assert_eq!(output.status.code(), Some(1), "{err}");
        assert!(err.contains("packaging/models"), "{err}");
    }
    assert!(home.typed(WALK, "done\n").well().contains("Logged."));
}

#[test]
fn a_record_keeps_the_words_a_step_was_asked_in() {
    let home = Home::with_job();
    let lines = "done\nfit to work\nyes\n65\nyes\nnothing in the way\nyes\n\
                 lines are clear\nyes\nlabel matches\nyes\ndone\n";
    let said = home.typed(WALK, lines).well();
    assert!(said.contains("Ladder at least 13'-6\""), "{said}");
    // The survey finds another eave afterwards.
    let survey =
        ["walk", "EX-0001", "site-survey", "--by", "Installer Example", "--keys", "--mute"];
    home.typed(survey, "lines are clear\nyes\n20 ft\nyes\n").well();
    let path = home.path("r.json");
    home.run(["record", "EX-0001", "-o", path.to_str().unwrap()]).well();
    let record: serde_json::Value =
        serde_json::from_str(&std::fs::read_to_string(path).unwrap()).unwrap();
    let needs = record["attention"].as_array().unwrap();
    let changed = needs.iter().find(|need| need["kind"] == "facts-changed-since");
    let changed = changed.unwrap_or_else(|| panic!("{needs:#?}"));
    assert!(changed["asked"].as_str().unwrap().contains("13'-6\""), "{changed}");
    assert!(!changed["asked_now"].as_str().unwrap().contains("13'-6\""), "{changed}");
    let lists = record["checklists"].as_array().unwrap();
    let steps = lists.iter().flat_map(|list| list["steps"].as_array().unwrap());
    // The survey's own ladder step is not answered; the install's is.
    let mut ladder = steps.filter(|step| step["id"] == "ladder" && !step["settled"].is_null());
    let text = ladder.next().unwrap()["text"].as_str().unwrap();
    assert!(text.contains("Ladder at least 13'-6\""), "as it was asked: {text}");
}

#[test]
fn the_last_step_of_a_walk_that_ended_can_be_corrected() {
    let home = Home::with_job();
    let closing =
        ["walk", "EX-0001", "closing-inspection", "--by", "Foreman Example", "--keys", "--mute"];
    skip_through(&home, &closing);
    let again = home.typed(closing, "done\n").well();
    assert!(again.contains("Every step is settled. Say \"that was wrong\""), "{again}");
    assert_eq!(again.matches("Logged.").count(), 0, "{again}");
    let corrected = home.typed(closing, "wrong\nskip\nnot at all\nyes\n").well();
    assert!(corrected.contains("Correcting"), "{corrected}");
    assert_eq!(corrected.matches("Logged.").count(), 1, "{corrected}");
    assert!(corrected.contains("that was the last step"), "{corrected}");
}

/// Leaves every step out, with a reason; hold points are released in between.
pub(crate) fn skip_through(home: &Home, walk: &[&str]) {
    for _ in 0..30 {
        let out = home.typed(walk, &"skip\nnot today\nyes\n".repeat(40)).well();
        if out.contains("that was the last step") {
            return;
        }
        for line in out.lines().filter(|line| line.contains("chalkhand release ")) {
            let step = line.split_whitespace().skip_while(|w| *w != "EX-0001").nth(1).unwrap();
            let role = line.split("--role ").nth(1).unwrap().trim();
            let by = if role == "foreman" { "Foreman Example" } else { "Desk Example" };
            home.run(["release", "EX-0001", step, "--by", by, "--role", role]).well();
        }
    }
    panic!("the walk does not end");
}

#[test]
fn a_checklist_that_was_passed_over_is_named() {
    let home = Home::with_job();
    let closing =
        ["walk", "EX-0001", "closing-inspection", "--by", "Foreman Example", "--keys", "--mute"];
    home.typed(closing, "where\n").well();
    let day = home.run(["day"]).well();
    assert!(day.contains("Not begun: the checklist deck-intake"), "{day}");
}

#[test]
fn whoever_takes_a_walk_up_hears_the_caution_again() {
    let home = Home::with_job();
    let caution = |out: &str| out.matches("  says   Caution.").count();
    let survey =
        ["walk", "EX-0001", "site-survey", "--by", "Installer Example", "--keys", "--mute"];
    let first = home.typed(survey, "where\n").well();
    let again = home.typed(survey, "where\n").well();
    assert!(0 < caution(&first), "{first}");
    assert_eq!(caution(&first), caution(&again), "{again}");
}

#[test]
fn typed_numbers_take_the_unit_of_the_question_and_choices_are_shown() {
    let home = Home::new();
    let list = home.write(
        "list.toml",
        r#"
id = "morning"
version = "1.1.0"
title = "Morning"
yields_to = "everything"
sources = ["invented"]
[facts.air]
kind = "temperature"
ask = "How warm is it?"
from = "-40 degF"
to = "130 degF"
[facts.floor]
kind = "area"
ask = "How big is the floor?"
[[step]]
id = "warm"
title = "Warm"
say = "How warm is it?"
why = "It matters."
answer = { fact = "air" }
[[step]]
id = "floor"
title = "Floor"
say = "How big is the floor?"
why = "It matters."
answer = { fact = "floor" }
[[step]]
id = "sky"
title = "Sky"
say = "How is the sky?"
why = "It matters."
answer = { choice = ["clear", "dark"], wanted = ["clear"] }
"#,
    );
    home.run(["checklist", "adopt", list.to_str().unwrap()]).well();
    let job = std::fs::read_to_string(repository("packaging/demo-data/job.toml")).unwrap();
    let job = job.split("[facts]").next().unwrap().replace("profile = \"example-vent\"\n", "");
    let lists = job.lines().map(|line| {
        if line.starts_with("checklists") { "checklists = [\"morning\"]" } else { line }
    });
    let path = home.write("job.toml", &lists.collect::<Vec<_>>().join("\n"));
    home.run(["job", "open", path.to_str().unwrap()]).well();
    let walk = ["walk", "EX-0001", "morning", "--by", "Installer Example", "--keys", "--mute"];
    let said = home.typed(walk, "65\nyes\n1,200\nyes\nclear\nyes\n").well();
    assert!(said.contains("65 degF; right?"), "{said}");
    assert!(said.contains("1200.0 ft2; right?"), "{said}");
    assert!(said.contains("one of: clear | dark"), "{said}");
    assert!(said.contains("that was the last step"), "{said}");
}

#[test]
fn nothing_in_a_file_steers_the_terminal() {
    let job = Home::job_file();
    let hostile = job.replace("1 Example Lane", "1 \\u001b[31mExample\\u202e\\u0007 Lane");
    let home = Home::with_job_file(&hostile);
    for words in [&["job", "list"][..], &["find", "lane"], &["job", "show", "EX-0001"]] {
        let out = home.run(words).well();
        assert!(!out.contains(['\u{1b}', '\u{202e}', '\u{7}']), "{words:?}: {out:?}");
    }
    for number in ["..", "-x", "a b", "", "\\u001b[2J"] {
        let text = job.replace("number = \"EX-0001\"", &format!("number = \"{number}\""));
        let path = home.write("number.toml", &text);
        let err = home.run(["checklist", "check", path.to_str().unwrap()]).fails(1);
        assert!(err.contains("number"), "{number}: {err}");
    }
}

#[test]
fn a_phone_number_is_found_without_its_area_code() {
    let job = Home::job_file().replace("\"555-0100\"", "\"(555) 555-0199\"");
    let home = Home::with_job_file(&job);
    for phone in ["5550199", "555-0199", "5555550199"] {
        assert!(home.run(["find", phone]).well().contains("EX-0001"), "{phone}");
    }
}

#[test]
fn a_walk_needs_a_name() {
    let home = Home::with_job();
    let walk = ["walk", "EX-0001", "deck-intake", "--by", " ", "--keys", "--mute"];
    assert!(home.run(walk).fails(1).contains("--by NAME"));
    let stranger = ["walk", "EX-0001", "deck-intake", "--by", "A Stranger", "--keys", "--mute"];
    let said = home.typed(stranger, "where\n").well();
    assert!(said.contains("A Stranger is not among the people of this job"), "{said}");
}

#[test]
fn a_recording_walks_in_its_own_time() {
    if !models_are_there() {
        return;
    }
    let home = Home::with_job();
    // "step done", half a minute of the site's noise, "step done": the second
    // comes after the window and is talk among the crew.
    let said = home.path("said.wav");
    let render = chalkhand::voice::render("step done", "en-us", 150, &said);
    render.expect("espeak-ng is there");
    let quiet = tone(&home, "quiet.wav", 16_000, 30);
    let walk = |wavs: &[&std::path::Path]| {
        let mut words: Vec<&str> = WALK[..5].to_vec();
        words.extend(["--mute", "--no-check", "--wav"]);
        words.extend(wavs.iter().map(|wav| wav.to_str().unwrap()));
        home.run(words).well()
    };
    let out = walk(&[&quiet, &said]);
    assert_eq!(out.matches("Logged.").count(), 0, "too late without the call word: {out}");
    let out = walk(&[&said]);
    assert_eq!(out.matches("Logged.").count(), 1, "{out}");
}
