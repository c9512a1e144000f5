//! Languages and translations: whole in every language, told where they are not;
//! a walk in Spanish by keys through the program itself, as a transcript.

use std::collections::BTreeSet;
use std::fmt::Write as _;

use chalkhand::domain::walk::{Doubt, Expect, ExpectAnswer, Prompt};
use chalkhand::domain::{
    Answer, Because, Checklist, Comparison, FactKind, FactName, Given, Language, Meaning, Target,
    Trust, Units, Verdict,
};
use chalkhand::files::{
    LanguageFile, Problems, SHIPPED, TRANSLATIONS, read_language, read_translation,
};
use chalkhand::measure::{Quantity, Ratio, Value};
use chalkhand::speech::{LANGUAGES, SENTENCES, Wording, line, words_for_spanish};
use proptest::prelude::*;

use crate::program::{Home, repository};
use crate::shipped_walks::Crew;
use crate::{crew, outside};

fn wordings() -> impl Iterator<Item = Wording> {
    Language::ALL.into_iter().map(Wording::of)
}

fn read(text: &str) -> Result<LanguageFile, Problems> {
    read_language(text, "xx.toml", SENTENCES)
}

fn inches(top: i128, bottom: i128) -> Quantity {
    Quantity::inches(Ratio::new(top, bottom).unwrap())
}

/// Every prompt there is; a new one does not compile until it stands here.
fn place(prompt: &Prompt) -> usize {
    match prompt {
        Prompt::Opening { .. } => 0,
        Prompt::Step { .. } => 1,
        Prompt::Photos { .. } => 2,
        Prompt::Reworded { .. } => 3,
        Prompt::UseTouch { .. } => 4,
        Prompt::AskAgain => 5,
        Prompt::NotUnderstood { .. } => 6,
        Prompt::OutOfRange { .. } => 7,
        Prompt::Cautions { .. } => 8,
        Prompt::NoCautions => 9,
        Prompt::Reason { .. } => 10,
        Prompt::ReadBack { .. } => 11,
        Prompt::OffTarget { .. } => 12,
        Prompt::AskReason => 13,
        Prompt::AskSkipReason => 14,
        Prompt::SayNote => 15,
        Prompt::WordsBack { .. } => 16,
        Prompt::Logged => 17,
        Prompt::NotLogged { .. } => 18,
        Prompt::TryAgain => 19,
        Prompt::Held { .. } => 20,
        Prompt::Released { .. } => 21,
        Prompt::Witness { .. } => 22,
        Prompt::Paused => 23,
        Prompt::WhereAreWe { .. } => 24,
        Prompt::Listening => 25,
        Prompt::Correcting { .. } => 26,
        Prompt::Ended => 27,
        Prompt::NothingBefore => 28,
        Prompt::Missing { .. } => 29,
        Prompt::OthersLogged => 30,
        Prompt::OthersChanged => 31,
        Prompt::Finished { .. } => 32,
        Prompt::NotTrusted { .. } => 33,
        Prompt::NotChecked => 34,
        Prompt::CheckQuiet { .. } => 35,
        Prompt::CheckRead { .. } => 36,
        Prompt::CheckVerdict { .. } => 37,
    }
}
const PROMPTS: usize = 38;

/// Prompts that together reach every sentence, and what each has to say.
fn prompts(title: &str, n: usize) -> Vec<(Prompt, Vec<String>)> {
    let text = title.to_owned();
    let said = |parts: &[&str]| parts.iter().map(|part| (*part).to_owned()).collect::<Vec<_>>();
    let number = n.to_string();
    let expect = |commands: &[Meaning], answer| Expect { commands: commands.to_vec(), answer };
    let reworded = |expect| Prompt::Reworded { title: text.clone(), expect };
    let mark = Target::Mark(inches(9, 2), inches(1, 16));
    let off = |given: Given, target: Target| {
        let comparison = target.compare(&given);
        Prompt::OffTarget { given, target, comparison }
    };
    let back = |given: Given, target: Option<Target>| {
        let comparison = target.as_ref().map_or(Comparison::On, |target| target.compare(&given));
        Prompt::ReadBack { given, target, comparison }
    };
    let one_of = Target::OneOf(vec![text.clone()]);
    let many = u32::try_from(n).unwrap();
    let length = ExpectAnswer::Length { from: Ratio::ZERO, to: Ratio::ONE, step: Ratio::ONE };
    let count = |unit| ExpectAnswer::Count { from: 0, to: 9, unit };
    let fact = |value| Given::Fact(FactName { name: "a".to_owned(), row: None }, value);
    let mut all = vec![
        (Prompt::Opening { title: text.clone(), again: false, open: n }, said(&[title, &number])),
        (Prompt::Opening { title: text.clone(), again: true, open: n }, said(&[title, &number])),
        (Prompt::Opening { title: text.clone(), again: true, open: 1 }, said(&[title, "1"])),
        (
            Prompt::Step { number: n, of: 977, title: text.clone(), text: "qqq".to_owned() },
            said(&[title, &number, "977", "qqq"]),
        ),
        (Prompt::Photos { left: many }, said(&[&number])),
        (Prompt::Photos { left: 1 }, said(&[])),
        (reworded(expect(&[Meaning::StepDone], ExpectAnswer::None)), said(&[title])),
        (reworded(expect(&[Meaning::Yes, Meaning::No], ExpectAnswer::None)), said(&[title])),
        (reworded(expect(&[Meaning::MeasureAgain], ExpectAnswer::None)), said(&[title])),
        (reworded(expect(&[], ExpectAnswer::None)), said(&[title])),
        (reworded(expect(&[], length)), said(&[title])),
        (reworded(expect(&[], count(""))), said(&[title])),
        (reworded(expect(&[], count("square feet"))), said(&[title])),
        (
            reworded(expect(&[], ExpectAnswer::Choice(vec!["qqq".to_owned(), text.clone()]))),
            said(&[title, "qqq"]),
        ),
        (reworded(expect(&[], ExpectAnswer::Words)), said(&[title])),
        (Prompt::UseTouch { title: text.clone() }, said(&[title])),
        (Prompt::AskAgain, said(&[])),
        (Prompt::NotUnderstood { why: text.clone() }, said(&[title])),
        (
            Prompt::OutOfRange {
                given: Given::Counted(many),
                from: Some(inches(7, 1)),
                to: Some(inches(11, 1)),
            },
            said(&[&number, "7\"", "11\""]),
        ),
        (
            Prompt::OutOfRange { given: Given::Counted(many), from: None, to: None },
            said(&[&number]),
        ),
        (Prompt::Cautions { said: vec![text.clone(), "qqq".to_owned()] }, said(&[title, "qqq"])),
        (Prompt::NoCautions, said(&[])),
        (Prompt::Reason { why: text.clone() }, said(&[title])),
        (Prompt::Reason { why: String::new() }, said(&[])),
        (back(Given::Measured(inches(19, 4)), None), said(&["4 3/4\""])),
        (back(Given::Measured(inches(9, 2)), Some(mark.clone())), said(&["4 1/2\""])),
        (back(Given::Measured(inches(19, 4)), Some(mark.clone())), said(&["4 3/4\""])),
        (back(Given::Chosen(text.clone()), Some(one_of.clone())), said(&[title])),
        (back(Given::Noted(text.clone()), None), said(&[title])),
        (back(Given::Done, None), said(&[])),
        (back(fact(Value::YesNo(true)), None), said(&[])),
        (
            back(fact(Value::Quantity(Quantity::count(n.try_into().unwrap()))), None),
            said(&[&number]),
        ),
        (off(Given::Measured(inches(19, 4)), mark.clone()), said(&["4 3/4\"", "1/4\"", "4 1/2\""])),
        (off(Given::Measured(inches(4, 1)), mark.clone()), said(&["4\"", "1/2\"", "4 1/2\""])),
        (off(Given::Counted(3), Target::AtLeast(977)), said(&["3", "974"])),
        (off(Given::Chosen("qqq".to_owned()), one_of), said(&["qqq", title])),
        (off(Given::Counted(many), mark), said(&[&number])),
        (Prompt::AskReason, said(&[])),
        (Prompt::AskSkipReason, said(&[])),
        (Prompt::SayNote, said(&[])),
        (Prompt::WordsBack { words: text.clone() }, said(&[title])),
        (Prompt::Logged, said(&[])),
        (Prompt::NotLogged { why: text.clone() }, said(&[title])),
        (Prompt::TryAgain, said(&[])),
        (Prompt::Released { by: text.clone() }, said(&[title])),
        (Prompt::Paused, said(&[])),
        (
            Prompt::WhereAreWe { number: n, of: 977, title: text.clone(), open: 41 },
            said(&[&number, "977", title, "41"]),
        ),
        (Prompt::Listening, said(&[])),
        (Prompt::Correcting { title: text.clone() }, said(&[title])),
        (Prompt::Ended, said(&[])),
        (Prompt::NothingBefore, said(&[])),
        (
            Prompt::Missing { title: text.clone(), names: vec!["profile.qq_q".to_owned()] },
            said(&[title, "qq q"]),
        ),
        (Prompt::OthersLogged, said(&[])),
        (Prompt::OthersChanged, said(&[])),
        (Prompt::Finished { title: text.clone(), deviations: 0 }, said(&[title])),
        (Prompt::Finished { title: text.clone(), deviations: 1 }, said(&[title, "1"])),
        (Prompt::Finished { title: text.clone(), deviations: n }, said(&[title, &number])),
    ];
    for doubt in [Doubt::NotHeardWell, Doubt::Louder, Doubt::NotChecked] {
        all.push((Prompt::NotTrusted { doubt, again: false }, said(&[])));
        all.push((Prompt::NotTrusted { doubt, again: true }, said(&[])));
    }
    all.push((Prompt::NotChecked, said(&[])));
    all.push((Prompt::CheckQuiet { quiet_s: n }, said(&[&number])));
    for again in [false, true] {
        all.push((Prompt::CheckRead { phrase: text.clone(), again }, said(&[title])));
    }
    for because in Because::ALL {
        for trust in Trust::ALL {
            let verdict = Verdict { trust, because };
            for noisy in [false, true] {
                let prompt = Prompt::CheckVerdict { commands: verdict, numbers: verdict, noisy };
                all.push((prompt, said(&[])));
            }
        }
    }
    for role in ["foreman", "qqqqq"] {
        let kept = if role == "foreman" { said(&[title]) } else { said(&[title, role]) };
        let role = role.to_owned();
        all.push((Prompt::Held { role: role.clone(), title: text.clone() }, kept.clone()));
        all.push((Prompt::Witness { role, title: text.clone() }, kept));
    }
    all
}

#[test]
fn every_language_is_whole() {
    assert_eq!(LANGUAGES.len(), Language::ALL.len());
    for (wording, (name, _)) in wordings().zip(LANGUAGES) {
        let file = match wording.check() {
            Ok(file) => file,
            Err(problems) => panic!("{problems}"),
        };
        assert_eq!(name, format!("{}.toml", file.language.code()));
        assert_eq!(
            (file.language, file.name.as_str()),
            (wording.language(), wording.language().name())
        );
        let mut forms = BTreeSet::new();
        for command in Meaning::COMMANDS {
            for phrase in wording.phrases(&command) {
                let called = command == Meaning::CallWord;
                assert!(called || 2 <= phrase.split(' ').count(), "{name}: {phrase}");
                assert!(forms.insert(phrase.to_owned()), "{name}: {phrase} is said for two");
            }
        }
    }
    let spanish = Wording::of(Language::Spanish).check().unwrap();
    for (id, _) in SHIPPED {
        for step in crew::shipped(id.trim_end_matches(".toml")).steps {
            let role = step.point.map(|point| point.role);
            assert!(role.is_none_or(|role| spanish.roles.contains_key(&role)), "{id}: {}", step.id);
        }
    }
}

#[test]
fn every_prompt_is_said_in_every_language() {
    let all = prompts("Zzz", 23);
    let reached: BTreeSet<usize> = all.iter().map(|(prompt, _)| place(prompt)).collect();
    assert_eq!(reached.len(), PROMPTS, "a prompt is not among those tried");
    let mut reached = BTreeSet::new();
    for wording in wordings() {
        for (prompt, kept) in &all {
            let said = line(prompt, Units::Us, &wording);
            for part in kept {
                assert!(said.shown.contains(part), "{prompt:?}: {} has no {part}", said.shown);
            }
            assert!(!said.spoken.trim().is_empty(), "{prompt:?}");
            for text in [&said.shown, &said.spoken] {
                assert!(!text.contains(['{', '}']), "{text}");
            }
            assert!(!said.spoken.contains('"'), "{}", said.spoken);
            reached.insert((wording.language(), said.shown));
        }
    }
    // No sentence of one language is left in another.
    for (_, shown) in reached.iter().filter(|(language, _)| *language == Language::English) {
        let bare = !shown.chars().filter(|c| c.is_alphabetic()).any(|c| !"Zzq".contains(c));
        assert!(bare || !reached.contains(&(Language::Spanish, shown.clone())), "{shown}");
    }
}

#[test]
fn a_language_file_says_what_it_lacks() {
    for (name, text) in LANGUAGES {
        for (key, places) in SENTENCES {
            let at = text.find(&format!("\n{key} = ")).unwrap_or_else(|| panic!("{name}: {key}"));
            let end = at + 1 + text[at + 1..].find('\n').unwrap();
            let without = format!("{}{}", &text[..at], &text[end..]);
            let problems = read(&without).unwrap_err();
            assert_eq!(problems.list().len(), 1, "{problems}");
            assert!(problems.list()[0].message.contains(&format!("`{key}`")), "{problems}");
            for place in places.iter().filter(|place| !place.ends_with('?')) {
                let sentence = text[at..end].replacen(&format!("{{{place}}}"), "", 1);
                let without = format!("{}{sentence}{}", &text[..at], &text[end..]);
                let problems = read(&without).unwrap_err().to_string();
                let line = text[..=at].lines().count() + 1;
                assert!(problems.contains(&format!("xx.toml:{line}:")), "{problems}");
                assert!(problems.contains(&format!("`{key}` does not say {{{place}}}")));
            }
        }
        for command in Meaning::COMMANDS {
            let (head, tail) = text.split_once("[phrases]").unwrap();
            let key = format!("\n{} = ", command.word());
            let tail = tail.replacen(&key, "\n# ", 1);
            let problems = read(&format!("{head}[phrases]{tail}")).unwrap_err().to_string();
            assert!(problems.contains(&format!("has no `{}`", command.word())), "{problems}");
        }
    }
    let english = LANGUAGES[0].1;
    for (from, to, says) in [
        ("logged = \"Logged.\"", "logged = \"Logged {title}.\"", "`logged` has no place `title`"),
        ("logged = ", "loged = \"\"\nlogged = ", "a sentences has no `loged`"),
        ("yes = [\"yes that is right\"]", "yes = [\"no that is wrong\"]", "is taken already"),
        ("yes = [\"yes that is right\"]", "yes = []", "`yes` has no phrase"),
        ("language = \"en\"", "language = \"qq\"", "no language is called `qq`"),
        ("in2 = \"square inches\"\n", "", "has no `in2`"),
        ("heard = true", "heard = 1", "`heard` is true or false"),
        ("[words]", "[wordz]", "this language has no `words`"),
    ] {
        assert!(english.contains(from), "{from}");
        let problems = read(&english.replacen(from, to, 1)).unwrap_err().to_string();
        assert!(problems.contains(says), "{from}: {problems}");
    }
}

proptest! {
    #[test]
    fn every_place_is_filled(title in "[a-z]{5,12}( [a-z]{3,12}){0,3}", n in 2_usize..900) {
        for wording in wordings() {
            for (prompt, kept) in prompts(&title, n) {
                let said = line(&prompt, Units::Us, &wording);
                for part in kept {
                    prop_assert!(said.shown.contains(&part), "{}", said.shown);
                }
                let left = said.shown.contains(['{', '}']);
                prop_assert!(!left);
            }
        }
    }

    #[test]
    fn saying_any_text_never_panics(text in "\\PC{0,80}", metric in any::<bool>()) {
        let units = if metric { Units::Metric } else { Units::Us };
        for wording in wordings() {
            let prompt = Prompt::WordsBack { words: text.clone() };
            let _ = line(&prompt, units, &wording);
        }
    }
}

#[test]
fn spanish_says_tape_marks_and_metric_decimals() {
    let wording = Wording::of(Language::Spanish);
    let step = |text: &str| Prompt::Step {
        number: 4,
        of: 30,
        title: "Línea".to_owned(),
        text: text.to_owned(),
    };
    for (text, spoken) in [
        ("a 4 1/2\".", "a cuatro pulgadas y media."),
        ("a 5/8\".", "a cinco octavos de pulgada."),
        (
            "de 1'-3\" a 21'-7 3/4\"",
            "de quince pulgadas a veintiún pies siete pulgadas y tres cuartos",
        ),
        ("pendiente 6/12", "pendiente seis en doce"),
        (
            "1200 ft2 de 288.0 in2",
            "mil doscientos pies cuadrados de doscientas ochenta y ocho pulgadas cuadradas",
        ),
        ("a 1.25 m, no 114 mm", "a uno punto dos cinco metros, no ciento catorce milímetros"),
        ("101 degF", "ciento un grados Fahrenheit"),
        ("25 mph y 21 mph", "veinticinco millas por hora y veintiuna millas por hora"),
        ("3 mangos", "3 mangos"),
    ] {
        let said = line(&step(text), Units::Us, &wording).spoken;
        assert_eq!(said, format!("Paso 4 de 30. Línea. {spoken}"));
    }
}

/// Outside checks: num2words 0.5.14 spells, text2num 3.1.0 reads (both PyPI).
#[test]
fn published_programs_spell_and_read_spanish_numbers_the_same() {
    let Some(folder) = outside::folder("Spanish numbers") else { return };
    let numbers: Vec<u32> = (0..=1_999).chain((2_000..1_000_000).step_by(997)).collect();
    let mut asked = String::new();
    for number in &numbers {
        let words = |feminine| words_for_spanish(*number, feminine);
        writeln!(asked, "{number}\t{}\t{}", words(false), words(true)).unwrap();
    }
    // It reads "treinta y un mil", but not "veintiún mil", which is how it is written.
    let asked = asked.replace("veintiún mil", "veintiuno mil");
    let answers = outside::run(&folder, "spanish_numbers.py", &asked);
    assert_eq!(answers.lines().count(), numbers.len());
    for (answer, number) in answers.lines().zip(&numbers) {
        let parts: Vec<&str> = answer.split('\t').collect();
        let [spelled, masculine, feminine] = parts[..] else { panic!("{answer}") };
        // That library does not shorten "uno" before "mil".
        let ours = words_for_spanish(*number, false);
        let ours = ours.replace("veintiún mil", "veintiuno mil").replace("un mil", "uno mil");
        assert_eq!(ours, spelled, "{number}");
        assert_eq!([masculine, feminine], [number.to_string(), number.to_string()], "{answer}");
    }
}

fn translation(id: &str) -> (&'static str, Checklist, Checklist) {
    let file = format!("{id}.toml");
    let (_, _, text) = TRANSLATIONS.iter().find(|(_, name, _)| *name == file).unwrap();
    let original = crew::shipped(id);
    match read_translation(text, &file, &original) {
        Ok(into) => (text, original, into),
        Err(problems) => panic!("{problems}"),
    }
}

#[test]
fn every_shipped_checklist_is_translated_whole() {
    for (file, _) in SHIPPED {
        let id = file.trim_end_matches(".toml");
        let (_, original, into) = translation(id);
        assert_eq!((into.hash, into.version), (original.hash, original.version), "{id}");
        assert_eq!(into.language, Language::Spanish);
        let same = |a: &str, b: &str| assert!(a != b || a.len() < 6, "{id}: not translated: {a}");
        for (a, b) in original.steps.iter().zip(&into.steps) {
            assert_eq!((&a.answer, &a.point, &a.cautions), (&b.answer, &b.point, &b.cautions));
            // One word in both languages.
            if a.title != "Cables" {
                same(&a.title, &b.title);
            }
            same(&a.why, &b.why);
            let text = |step: &chalkhand::domain::Step| format!("{:?}", step.say).to_lowercase();
            same(&text(a), &text(b));
            // A choice is asked in the very words that are offered.
            if let Answer::Choice { options, .. } = &b.answer {
                for option in options {
                    let words = into.words[option].to_lowercase();
                    assert!(text(b).contains(&words), "{id}: {} does not name {words}", b.id);
                }
            }
        }
        for (a, b) in original.cautions.iter().zip(&into.cautions) {
            assert_eq!(a.source, b.source, "{id}: a caution's source stays");
            same(&a.say, &b.say);
        }
        for (a, b) in original.follow_ups.iter().zip(&into.follow_ups) {
            assert_eq!((&a.id, &a.checklist, a.fixed), (&b.id, &b.checklist, b.fixed));
            same(&a.title, &b.title);
        }
        for (a, b) in original.facts.iter().zip(&into.facts) {
            assert_eq!((&a.name, &a.kind), (&b.name, &b.kind));
            same(&a.ask, &b.ask);
            if let FactKind::Choice(options) = &b.kind {
                assert!(options.iter().all(|option| into.words.contains_key(option)), "{id}");
            }
        }
    }
}

#[test]
fn a_translation_says_where_it_differs_from_the_original() {
    let (text, original, _) = translation("deck-intake");
    for (from, to, line_of, says) in [
        ("[steps.course]", "[steps.coarse]", "[steps.coarse]", "the original has no step `coarse`"),
        (
            "[steps.course]",
            "[steps.coarse]",
            "[steps.instructions]",
            "step `course` is not translated",
        ),
        ("{nail_line}", "{nail_lime}", "{nail_lime}", "the original does not say {nail_lime} here"),
        ("{nail_line}", "", "Tirar la línea de clavos", "the original says {nail_line} here"),
        (", \"turbina\"", "", "ventilas de caja", "the original has 6 choices, this has 5"),
        ("\"turbina\"", "\"ventilas de caja\"", "ventilas de caja", "is a choice already"),
        ("version = \"1", "version = \"7", "version", "`deck-intake` is"),
        ("language = \"es\"", "language = \"en\"", "language", "written in English already"),
        ("title = \"Tramo\"", "tittle = \"Tramo\"", "tittle", "a table has no `tittle`"),
    ] {
        assert!(text.contains(from), "{from}");
        let broken = text.replacen(from, to, 1);
        let problems = read_translation(&broken, "f.toml", &original).unwrap_err();
        let found = problems.list().iter().find(|problem| problem.message.contains(says));
        let found = found.unwrap_or_else(|| panic!("{from}: {problems}"));
        assert!(0 < found.line && 0 < found.col);
        if from == "[steps.course]" && says.contains("not translated") {
            continue;
        }
        let line = broken.lines().nth(found.line as usize - 1).unwrap();
        assert!(line.contains(line_of), "{says}: {line}");
    }
    let (text, original, whole) = translation("closing-inspection");
    // The titles of dates may be left out, all of them: then they stay the original's.
    let (before, _) = text.split_once("[follow_ups").unwrap();
    let without = read_translation(before, "f.toml", &original).unwrap();
    assert_eq!(without.follow_ups[0].title, original.follow_ups[0].title);
    assert_eq!(without.steps[0].title, whole.steps[0].title);
    let titles = |told: &str| read_translation(told, "f.toml", &original).unwrap_err().to_string();
    let told = titles(&text.replace("[follow_ups.season]", "[follow_ups.seasons]"));
    assert!(told.contains("the original has no follow-up `seasons`"), "{told}");
    assert!(told.contains("follow-up `season` is not translated"), "{told}");
    let (_, retention) = text.split_once("[follow_ups.retention]\n").unwrap();
    let told = titles(&text.replace(retention, ""));
    assert!(told.contains("title"), "{told}");
    // One choice has one word in a checklist.
    let at = text.rfind("\"agua adentro\"").unwrap();
    let broken = format!("{}\"agua dentro\"{}", &text[..at], &text[at + 14..]);
    let problems = read_translation(&broken, "f.toml", &original).unwrap_err().to_string();
    assert!(problems.contains("is called `agua adentro` before"), "{problems}");
}

/// A walk in Spanish by keys, through the program: what is on the screen.
fn walked(home: &Home, id: &str, words: &[&str]) -> String {
    let (_, _, into) = translation(id);
    let mut crew = Crew::new(id, false);
    crew.walk();
    let mut out = String::new();
    for lines in &crew.typed {
        let spanish: Vec<&str> = lines
            .lines()
            .map(|line| match line {
                "done" => "listo",
                "yes" => "sí",
                "log it as it is" => "anotarlo como está",
                line => into.words.get(line).map_or(line, String::as_str),
            })
            .collect();
        let walk = ["walk", "EX-0001", id, "--by", "Installer Example", "--keys", "--mute"];
        let walk: Vec<&str> = walk.into_iter().chain(words.iter().copied()).collect();
        let part = home.typed(walk, &(spanish.join("\n") + "\n")).well();
        for line in part.lines().filter(|line| line.contains("chalkhand release ")) {
            let step = line.split_whitespace().skip_while(|w| *w != "EX-0001").nth(1).unwrap();
            let role = line.split("--role ").nth(1).unwrap().trim();
            let words = ["release", "EX-0001", step, "--by", "Foreman Example", "--role", role];
            home.run(words).well();
        }
        out.push_str(&part);
    }
    out
}

/// The invented job with every shipped checklist, its installer spoken to in
/// Spanish.
fn job_text(number: &str) -> String {
    let names: Vec<String> =
        SHIPPED.iter().map(|(name, _)| format!("{:?}", name.trim_end_matches(".toml"))).collect();
    let lines: Vec<String> = Home::job_file()
        .replace("EX-0001", number)
        .lines()
        .map(|line| match line {
            line if line.starts_with("checklists =") => {
                format!("checklists = [{}]", names.join(", "))
            }
            "name = \"Installer Example\"" => format!("{line}\nlanguage = \"es\""),
            line => line.to_owned(),
        })
        .collect();
    lines.join("\n") + "\n"
}

#[test]
fn each_checklist_is_walked_in_spanish_to_its_end() {
    let home = Home::with_job_file(&job_text("EX-0001"));
    for (file, _) in SHIPPED {
        let id = file.trim_end_matches(".toml");
        // The person's own language, from the job file.
        let out = walked(&home, id, &[]);
        assert!(out.contains("ese fue el último paso"), "{id}: {out}");
        for line in out.lines().filter(|line| line.contains("  says  ")) {
            let plain = !line.contains("seen and written down");
            for english in [" the ", " and ", " with ", " off ", " you ", "Step ", "Logged", " in "]
            {
                assert!(!plain || !line.contains(english), "{id}: {line}");
            }
        }
        if ["start-of-day", "deck-intake"].contains(&id) {
            let path = repository(&format!("tests/it/transcripts/es/{id}.txt"));
            if std::env::var_os("UPDATE").is_some() {
                std::fs::create_dir_all(path.parent().unwrap()).unwrap();
                std::fs::write(&path, &out).unwrap();
            }
            let kept = std::fs::read_to_string(&path).unwrap();
            let diff = similar::TextDiff::from_lines(&kept, &out).unified_diff().to_string();
            assert!(kept == out, "UPDATE=1 writes it anew\n{diff}");
        }
    }
    let path = home.path("record.json");
    home.run(["record", "EX-0001", "-o", path.to_str().unwrap()]).well();
    let record = std::fs::read_to_string(path).unwrap();
    assert!(record.contains("fit to work"), "the log keeps the original's choice");
    assert!(record.contains("Tirar la línea de clavos"), "and the words it was asked in");
    assert!(home.run(["doctor"]).out.contains("the chain holds"));
}

#[test]
fn another_language_is_no_other_number() {
    let home = Home::with_job_file(&job_text("EX-0001"));
    walked(&home, "deck-intake", &[]);
    let path = home.path("record.json");
    home.run(["record", "EX-0001", "-o", path.to_str().unwrap()]).well();
    let record = std::fs::read_to_string(path).unwrap();
    assert!(record.contains("Tirar la línea de clavos"), "it keeps the words of the question");
    assert!(!record.contains("asked_now"), "{record}");
}

#[test]
fn the_language_is_chosen_per_person_and_by_argument() {
    let home = Home::with_job_file(&job_text("EX-0001"));
    let walk = |words: &[&str]| {
        let walk = ["walk", "EX-0001", "start-of-day", "--keys", "--mute"];
        home.typed(walk.iter().chain(words), "/ayuda\n")
    };
    let spanish = walk(&["--by", "Installer Example"]).well();
    assert!(spanish.contains("Comienzo del día"), "{spanish}");
    let english = walk(&["--by", "Installer Example", "--language", "en"]).well();
    assert!(english.contains("going on"), "{english}");
    let foreman = walk(&["--by", "Foreman Example"]).well();
    assert!(foreman.contains("Start of the day"), "{foreman}");
    let asked = walk(&["--by", "Foreman Example", "--language", "es"]).well();
    assert!(asked.contains("Comienzo del día"), "{asked}");
    let wrong = walk(&["--by", "Foreman Example", "--language", "qq"]).fails(2);
    assert!(wrong.contains("no language is called `qq`"), "{wrong}");
    let unheard =
        ["walk", "EX-0001", "start-of-day", "--by", "Installer Example", "--wav", "a.wav"];
    let unheard = home.run(unheard).fails(1);
    assert!(unheard.contains("no recogniser for Spanish yet; walk with --keys"), "{unheard}");
    // Another version has no translation: told, and walked in English; refused
    // where it was asked for.
    let text = SHIPPED.iter().find(|(name, _)| *name == "start-of-day.toml").unwrap().1;
    let newer = text.replacen("version = \"1.1.", "version = \"1.9.", 1);
    assert_ne!(newer, text);
    let path = home.write("start-of-day.toml", &newer);
    home.run(["checklist", "adopt", path.to_str().unwrap()]).well();
    let path = home.write("job2.toml", &job_text("EX-0002"));
    home.run(["job", "open", path.to_str().unwrap()]).well();
    let walk = ["walk", "EX-0002", "start-of-day", "--keys", "--mute", "--by", "Installer Example"];
    let out = home.typed(walk, "").well();
    assert!(out.contains("no Spanish translation of start-of-day 1.9."), "{out}");
    assert!(out.contains("Start of the day"), "{out}");
    let refused = home.typed(walk.iter().chain(&["--language", "es"]), "").fails(1);
    assert!(refused.contains("or walk with --language en"), "{refused}");
    // One's own translation lies beside the checklist.
    let own = std::fs::read_to_string(repository("checklists/es/start-of-day.toml")).unwrap();
    let own = own.replacen("version = \"1.1.", "version = \"1.9.", 1);
    home.write("data/checklists/es/start-of-day.toml", &own);
    let out = home.typed(walk, "").well();
    assert!(out.contains("Comienzo del día"), "{out}");
}

#[test]
fn translations_are_checked_by_the_program() {
    let home = Home::new();
    let folder = repository("checklists/es");
    let out = home.run(["checklist", "check", folder.to_str().unwrap()]).well();
    assert_eq!(out.matches("Spanish translation of").count(), SHIPPED.len(), "{out}");
    let text = std::fs::read_to_string(folder.join("baffles.toml")).unwrap();
    let path = home.write("es/baffles.toml", &text.replacen("{dam_most}", "{dam_least}", 1));
    let told = home.run(["checklist", "check", path.to_str().unwrap()]).fails(1);
    assert!(told.contains("the original does not say {dam_least} here"), "{told}");
    let refused = home.run(["checklist", "adopt", path.to_str().unwrap()]).fails(1);
    assert!(refused.contains("is a translation"), "{refused}");
    let job =
        Home::job_file().replacen("role = \"foreman\"", "role = \"foreman\"\nlanguage = \"e\"", 1);
    let path = home.write("job.toml", &job);
    let told = home.run(["checklist", "check", path.to_str().unwrap()]).fails(1);
    assert!(told.contains("no language is called `e`"), "{told}");
}
