//! What changed between two checklists or profiles, told in sentences: one
//! edit, one sentence; the same content, no sentence. What is the same content
//! is judged by the debug text of what was read, not by the comparison itself.

use std::collections::BTreeSet;

use chalkhand::domain::compare::{Rank, compare, compare_profiles};
use chalkhand::domain::{Answer, Checklist, Hash, Profile, RowsFrom, Version};
use chalkhand::export::changes::{self, Told};
use chalkhand::files::{read_checklist, read_profile};
use chalkhand::roof;
use proptest::prelude::*;

use crate::changes_edits::{EDITS, Edit};

const DECK: &str = include_str!("data/changes-deck.toml");
const CLOSING: &str = include_str!("data/changes-closing.toml");
const PROFILE: &str = include_str!("../../packaging/demo-data/profile.toml");

fn read(text: &str) -> Checklist {
    read_checklist(text, "a.toml", &roof::functions()).unwrap_or_else(|wrong| panic!("{wrong}"))
}

fn profile(text: &str) -> Profile {
    read_profile(text, "p.toml").unwrap_or_else(|wrong| panic!("{wrong}"))
}

/// The text with one place changed; the place is there once.
fn edited(text: &str, find: &str, put: &str) -> String {
    assert_eq!(text.matches(find).count(), 1, "is there once: {find}");
    text.replace(find, put)
}

/// A step out of its place, before the head of another.
fn step_moved(text: &str, id: &str, before: &str) -> String {
    let head = |id: &str| format!("[[step]]\nid = \"{id}\"");
    let start = text.find(&head(id)).unwrap();
    let end = start + text[start..].find("\n\n").unwrap() + 2;
    let step = text[start..end].to_owned();
    let rest = format!("{}{}", &text[..start], &text[end..]);
    edited(&rest, &head(before), &format!("{step}{}", head(before)))
}

fn sentences(told: &[Told]) -> Vec<&str> {
    told.iter().map(|told| told.sentence.as_str()).collect()
}

/// Without the warning about the version.
fn plain(mut told: Vec<Told>) -> Vec<Told> {
    told.retain(|told| told.kind != "version-warning");
    told
}

/// All that was read but the hash, as Rust prints it.
fn content(list: &Checklist) -> String {
    format!("{:?}", Checklist { hash: Hash::of(b""), ..list.clone() })
}

#[test]
fn one_edit_is_told_in_one_sentence() {
    let old = read(DECK);
    let mut wrong = String::new();
    for Edit { find, put, raise, told } in EDITS {
        let all = changes::checklists(&old, &read(&edited(DECK, find, put)));
        let warning = all.iter().find(|told| told.kind == "version-warning");
        let warning = warning.map_or("no warning", |told| told.sentence.as_str());
        let all = plain(all.clone());
        if !warning.ends_with(&format!("Raise it to {raise}.")) || sentences(&all) != *told {
            let found = format!("{:#?}\n{warning}", sentences(&all));
            wrong.push_str(&format!("{find} → {put}:\n{found}\nexpected {told:#?} {raise}\n"));
        }
    }
    assert!(wrong.is_empty(), "{wrong}");
}

/// What came with an edit goes when it is taken back.
#[test]
fn what_is_left_out_is_told() {
    let old = read(DECK);
    let cases = [
        ("[cautions.bees]", "Caution `bees` is left out; it was: “Look for nests.”"),
        (
            "[measures.half_border]",
            "Measure `half_border` (half the border) is left out; it was: `border / 2`.",
        ),
        ("[facts.wind]", "Fact `wind` is left out; it was: “How strong is the wind?”"),
        ("[profile.bend]", "Figure `bend` is left out; it was: “How far may it bend?”"),
        ("id = \"gate\"", "Step \"Gate\" is left out, and with it its hold point for the foreman."),
        ("[each.bay]", "Table of rows `bay` (Bay) is left out."),
        ("id = \"rain\"", "Follow-up \"Look\" is left out."),
    ];
    for (with, expected) in cases {
        let Edit { find, put, .. } = EDITS.iter().find(|edit| edit.put.contains(with)).unwrap();
        let told = changes::checklists(&read(&edited(DECK, find, put)), &old);
        assert_eq!(sentences(&plain(told.clone())), [expected]);
        assert!(told.last().unwrap().sentence.ends_with("Raise it to 2.0.0."), "{with}");
    }
}

#[test]
fn follow_ups_rows_and_answers_are_told() {
    let old = read(CLOSING);
    let cases = [
        (
            "after = \"P1Y\"",
            "after = \"P1Y6M\"",
            "Follow-up \"Look at the vents after the first year\": the time after the job was 1 year, now 1 year 6 months.",
        ),
        (
            "after = \"P7D\"",
            "after = \"P14D\"",
            "Follow-up \"Look in the attic after the first good rain\": the time after the job was 7 days, now 14 days.",
        ),
        (
            "lasts = \"PT30M\"",
            "lasts = \"PT20M\"",
            "Follow-up \"Look in the attic after the first good rain\": the length was 30 min, now 20 min.",
        ),
        (
            "after = \"P7D\"",
            "after = \"P7D\"\nchecklist = \"closing-inspection\"",
            "Follow-up \"Look in the attic after the first good rain\": the checklist was none, now `closing-inspection`.",
        ),
        (
            "title = \"Look in the attic after the first good rain\"",
            "title = \"Rain\"",
            "Follow-up \"Rain\": the title was “Look in the attic after the first good rain”, now “Rain”.",
        ),
        (
            "after = \"P1Y\"",
            "after = \"P1Y\"\nfixed = true",
            "Follow-up \"Look at the vents after the first year\": the mark as fixed was no, now yes.",
        ),
        (
            "after = \"P1Y\"",
            "after = \"P1Y\"\nwho = \"office\"",
            "Follow-up \"Look at the vents after the first year\": the role was none, now “office”.",
        ),
    ];
    for (find, put, expected) in cases {
        let told = changes::checklists(&old, &read(&edited(CLOSING, find, put)));
        assert_eq!(sentences(&plain(told)), [expected]);
    }
    let mut new = old.clone();
    new.tables[0].rows = RowsFrom::Counted("bays".to_owned());
    assert_eq!(
        sentences(&plain(changes::checklists(&old, &new))),
        ["Table of rows `run` (Run): the fact that counts them was `run_count`, now `bays`."]
    );
    let mut new = old.clone();
    let look = new.steps.iter_mut().find(|step| step.id == "run-look").unwrap();
    let Answer::Choice { wanted, .. } = &mut look.answer else { panic!("a choice") };
    wanted.clear();
    assert_eq!(
        sentences(&plain(changes::checklists(&old, &new))),
        ["Step \"Look along the run\": the wanted answer was “flat and straight”, now any."]
    );
    let mut new = old.clone();
    new.cautions.rotate_left(1);
    assert_eq!(
        sentences(&plain(changes::checklists(&old, &new))),
        ["Caution `falls` is moved: it came first, now it comes after `wiring`."]
    );
}

#[test]
fn a_moved_step_is_told_once_however_far_it_went() {
    let old = read(DECK);
    let far = read(&step_moved(DECK, "pieces-used", "instructions"));
    let told = plain(changes::checklists(&old, &far));
    assert_eq!(
        sentences(&told),
        [
            "Step \"Pieces used\" is moved: it came after \"Seal by hand in the cold\", now it comes first."
        ]
    );
    assert_eq!((told[0].kind.as_str(), told[0].what.as_str()), ("step-moved", "pieces-used"));
    let back = plain(changes::checklists(&far, &old));
    assert_eq!(
        sentences(&back),
        [
            "Step \"Pieces used\" is moved: it came first, now it comes after \"Seal by hand in the cold\"."
        ]
    );
    // A step that stands behind a new one has not moved.
    let near = read(&step_moved(DECK, "starter-nails", "starter"));
    assert_eq!(plain(changes::checklists(&old, &near)).len(), 1);
}

/// The fewest moves: by the definition of a longest common subsequence, here
/// found by trying every selection of the steps that stay.
#[test]
fn no_more_steps_are_told_as_moved_than_must_be() {
    let mut old = read(DECK);
    old.steps.truncate(6);
    let permute = |order: &[usize]| {
        let mut new = old.clone();
        new.steps = order.iter().map(|at| old.steps[*at].clone()).collect();
        new
    };
    let mut orders: Vec<Vec<usize>> = vec![vec![]];
    for at in 0..6 {
        orders = orders
            .iter()
            .flat_map(|order| {
                (0..=at).map(move |place| {
                    let mut order = order.clone();
                    order.insert(place, at);
                    order
                })
            })
            .collect();
    }
    assert_eq!(orders.len(), 720);
    for order in orders {
        let ascends = |mask: u32| {
            let kept: Vec<_> = order.iter().filter(|at| mask & (1 << **at) != 0).collect();
            kept.is_sorted().then_some(kept.len())
        };
        let most = (0..64).filter_map(ascends).max().unwrap();
        assert_eq!(compare(&old, &permute(&order)).len(), 6 - most, "{order:?}");
    }
}

#[test]
fn steps_that_share_a_title_are_told_by_their_identifiers() {
    let new = edited(DECK, "title = \"Too little exhaust\"", "title = \"Too little intake\"");
    let (old, new) = (read(DECK), read(&new));
    assert_eq!(
        sentences(&plain(changes::checklists(&old, &new))),
        [
            "Step \"Too little intake (too-little-exhaust)\": the title was “Too little exhaust”, now “Too little intake”."
        ]
    );
}

#[test]
fn what_can_hurt_or_leak_is_told_first() {
    let mut text = DECK.to_owned();
    for (find, put) in [
        ("title = \"Deck-mounted intake vent on a shingle roof\"", "title = \"Intake vent\""),
        ("why = \"A cut cannot be taken back.\"", "why = \"A cut stays.\""),
        ("id = \"clean-up\"", "id = \"clean-up-all\""),
        (
            "{ measure = \"nail_line\", tolerance = \"1/16 in\" }",
            "{ measure = \"nail_line\", tolerance = \"1/8 in\" }",
        ),
        (
            "point = { kind = \"witness\", role = \"foreman\" }\ntags = [\"waterproofing\", \"closing\"]",
            "tags = [\"waterproofing\", \"closing\"]",
        ),
        ("caution = [\"saw\", \"structure\"]", "caution = [\"structure\"]"),
    ] {
        text = edited(&text, find, put);
    }
    let told = changes::checklists(&read(DECK), &read(&text));
    let kinds: Vec<&str> = told.iter().map(|told| told.kind.as_str()).collect();
    assert_eq!(
        kinds,
        [
            "step-cautions",
            "step-point",
            "step-tolerance",
            "step-left-out",
            "step-added",
            "step-reason",
            "head-title",
            "version-warning"
        ]
    );
    let ranks: Vec<Rank> = compare(&read(DECK), &read(&text)).iter().map(|c| c.rank()).collect();
    assert!(ranks.is_sorted(), "{ranks:?}");
}

#[test]
fn comments_and_layout_are_no_change() {
    let text = format!("# once more\n{}\n\n# end\n", DECK.replace(" = ", "  =  "));
    assert_ne!(read(DECK).hash, read(&text).hash);
    assert!(changes::checklists(&read(DECK), &read(&text)).is_empty());
}

/// Every line taken out, one after another: what still reads either differs
/// and is told, or does not and is not.
#[test]
fn nothing_that_differs_is_kept_quiet() {
    let old = read(DECK);
    let lines: Vec<&str> = DECK.lines().collect();
    let (mut same, mut other) = (0, 0);
    for at in 0..lines.len() {
        let text: String = lines
            .iter()
            .enumerate()
            .filter(|(i, _)| *i != at)
            .map(|(_, l)| format!("{l}\n"))
            .collect();
        let Ok(new) = read_checklist(&text, "a.toml", &roof::functions()) else { continue };
        let (there, back) = (compare(&old, &new), compare(&new, &old));
        let is_same = content(&old) == content(&new);
        assert_eq!(there.is_empty(), is_same, "without line {}: {}", at + 1, lines[at]);
        assert_eq!(there.len(), back.len(), "without line {}: {}", at + 1, lines[at]);
        if is_same { same += 1 } else { other += 1 }
    }
    assert!(20 < same && 200 < other, "{same} the same, {other} different");
}

proptest! {
    #![proptest_config(ProptestConfig { failure_persistence: None, ..ProptestConfig::with_cases(300) })]

    /// A few edits against the same ones but for one or two, and a comment.
    #[test]
    fn told_if_and_only_if_the_content_differs(
        mine in proptest::collection::btree_set(0..EDITS.len(), 0..5),
        flips in proptest::collection::btree_set(0..EDITS.len(), 0..3),
    ) {
        let make = |chosen: &BTreeSet<usize>| {
            let mut text = DECK.to_owned();
            for Edit { find, put, .. } in chosen.iter().map(|at| &EDITS[*at]) {
                // One edit may have taken another's place away.
                if text.matches(find).count() == 1 {
                    text = text.replace(find, put);
                }
            }
            text
        };
        let read = |text: &str| read_checklist(text, "a.toml", &roof::functions()).ok();
        let (a, b) = (read(&make(&mine)), read(&format!("# b\n{}", make(&(&mine ^ &flips)))));
        // Some edits do not go together.
        prop_assume!(a.is_some() && b.is_some());
        let (a, b) = (a.unwrap(), b.unwrap());
        prop_assert!(compare(&a, &a.clone()).is_empty());
        prop_assert_eq!(compare(&a, &b).is_empty(), content(&a) == content(&b));
        for told in changes::checklists(&a, &b) {
            prop_assert!(told.sentence.ends_with(['.', '”']), "{}", told.sentence);
            prop_assert!(!told.sentence.contains(['\n', '\r']), "{}", told.sentence);
        }
    }
}

#[test]
fn a_version_is_asked_for_as_high_as_the_change() {
    let wording = ("why = \"A cut cannot be taken back.\"", "why = \"A cut stays.\"");
    let photo = (
        "photo = 1\ntags = [\"cutting\"]\nleast = \"PT2M\"",
        "photo = 2\ntags = [\"cutting\"]\nleast = \"PT2M\"",
    );
    let measure = ("formula = \"5/8 in\"", "formula = \"3/4 in\"");
    let cases = [
        (
            wording,
            "1.0.0",
            "the version is still 1.0.0 although the content differs: only wording differs, if it still means the same. Raise it to 1.0.1.",
        ),
        (wording, "1.0.1", ""),
        (
            photo,
            "1.0.1",
            "raised from 1.0.0 to 1.0.1 only, but something was added. Raise it to 1.1.0.",
        ),
        (photo, "1.1.0", ""),
        (
            measure,
            "1.1.0",
            "raised from 1.0.0 to 1.1.0 only, but a step means something else, or something is gone. Raise it to 2.0.0.",
        ),
        (measure, "2.0.0", ""),
        (measure, "0.9.0", "fell from 1.0.0 to 0.9.0"),
    ];
    for ((find, put), version, expected) in cases {
        let mut new = read(&edited(DECK, find, put));
        new.version = version.parse().unwrap();
        let told = changes::checklists(&read(DECK), &new);
        let warning = told.iter().find(|told| told.kind == "version-warning");
        match warning {
            None => assert_eq!(expected, "", "{find} {version}"),
            Some(told) if expected.is_empty() => panic!("{find} {version}: {}", told.sentence),
            Some(told) => assert!(told.sentence.contains(expected), "{}", told.sentence),
        }
    }
    // Nothing but the version differs: nothing to warn of. Another checklist's
    // version says nothing about this one.
    let raised = Checklist { version: Version { major: 3, minor: 0, patch: 0 }, ..read(DECK) };
    assert_eq!(
        sentences(&changes::checklists(&read(DECK), &raised)),
        ["The version was 1.0.0, now 3.0.0."]
    );
    let other = read(&edited(DECK, "id = \"deck-intake\"", "id = \"deck-outtake\""));
    assert_eq!(
        sentences(&changes::checklists(&read(DECK), &other)),
        ["These are two different ones: `deck-intake` and `deck-outtake`."]
    );
}

#[test]
fn a_profile_tells_its_figures() {
    let old = profile(PROFILE);
    assert!(compare_profiles(&old, &old.clone()).is_empty());
    let cases = [
        ("\"4 1/2 in\"", "\"4 3/4 in\"", "Figure `nail_line`: was 4 1/2 in, now 4 3/4 in."),
        ("\"48 in\"", "\"50 in\"", "Figure `piece_length`: was 4'-0\", now 4'-2\"."),
        ("value = 4 }", "value = 6 }", "Figure `nails_per_shingle`: was 4, now 6."),
        (
            "\"9 in2/ft\"",
            "\"10 in2/ft\"",
            "Figure `free_area_per_length`: was 9.00 in2/ft, now 10.00 in2/ft.",
        ),
        (
            "tuck_clear = { kind = \"length\", value = \"11 in\" }\n",
            "",
            "Figure `tuck_clear` is left out; it was: 11 in.",
        ),
        (
            "[figures]\n",
            "[figures]\nbend = { kind = \"length\", value = \"3 in\" }\n",
            "Figure `bend` is new: 3 in.",
        ),
        (
            "title = \"Example deck-mounted intake vent\"",
            "title = \"Example vent\"",
            "The title was “Example deck-mounted intake vent”, now “Example vent”.",
        ),
        ("invented = true", "invented = false", "The mark as invented was yes, now no."),
        (
            "source = \"invented; no printed instructions stand behind it\"",
            "source = \"sheet 3\"",
            "The source was “invented; no printed instructions stand behind it”, now “sheet 3”.",
        ),
    ];
    for (find, put, expected) in cases {
        let told = changes::profiles(&old, &profile(&edited(PROFILE, find, put)));
        assert_eq!(sentences(&plain(told.clone())), [expected]);
        assert!(told.last().unwrap().sentence.contains("the version is still 1.0.0"));
    }
}

#[test]
fn programs_get_a_list_of_kind_what_and_sentence() {
    let new = edited(DECK, "why = \"A cut cannot be taken back.\"", "why = \"A cut stays.\"");
    let told = plain(changes::checklists(&read(DECK), &read(&new)));
    assert_eq!(
        changes::json(&told).canonical().unwrap(),
        r#"[{"kind":"step-reason","sentence":"Step \"Cut the slot\": the reason was “A cut cannot be taken back.”, now “A cut stays.”","what":"cut"}]"#
    );
    assert_eq!(changes::json(&[]).canonical().unwrap(), "[]");
}
