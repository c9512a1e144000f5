//! Sealed records: what holds, and every way to spoil one that could be thought
//! of, once with the seal left as it was and once sealed again.

use std::collections::BTreeMap;
use std::ops::{Deref, DerefMut};

use chalkhand::domain::jws::{Jws, Kind};
use chalkhand::domain::merkle::{self, Tree};
use chalkhand::domain::{
    DeviceKey, Entry, Hash, JobFile, Json, KeyChange, Members, NotSealable, Sealed, SignedHead,
    What, chain, entry_json, sealing,
};
use chalkhand::export::check::{self, InTurn, Part, Report};
use chalkhand::export::json::pretty;
use chalkhand::{export, files, roof};

use crate::{drafts, example};

pub(crate) fn key(n: u8) -> DeviceKey {
    DeviceKey::of(&[n; 32])
}

/// The example's job in the log of a device, with entries of another job between.
pub(crate) fn logged() -> (JobFile, Tree) {
    logged_of(example::entries())
}

pub(crate) fn logged_of(entries: Vec<Entry>) -> (JobFile, Tree) {
    let (mut previous, mut seq) = (Hash::START, 0);
    let (mut leaves, mut own, mut renumbered) = (Vec::new(), Vec::new(), BTreeMap::new());
    let mut link = |draft| {
        seq += 1;
        let (entry, text) = chain::link(draft, seq, previous).unwrap();
        previous = entry.hash;
        leaves.push(merkle::leaf(text.as_bytes()));
        entry
    };
    for entry in entries {
        if entry.seq % 3 == 1 {
            link(drafts::note("J-OTHER", &format!("other {}", entry.seq)));
        }
        let mut draft = entry.draft;
        draft.corrects = draft.corrects.map(|old| renumbered[&old]);
        if let What::Accepted { entry, .. } = &mut draft.what {
            *entry = renumbered[entry];
        }
        let linked = link(draft);
        renumbered.insert(entry.seq, linked.seq);
        own.push(linked);
    }
    link(drafts::note("J-OTHER", "last"));
    (example::file(own), Tree::of(leaves))
}

fn record(file: &JobFile) -> Json {
    export::json::record(&file.record(&roof::functions()), &example::due())
}

pub(crate) fn sealed_by(key: &DeviceKey) -> Sealed {
    let (file, tree) = logged();
    sealed_of(&file, &tree, key)
}

pub(crate) fn sealed_of(file: &JobFile, tree: &Tree, key: &DeviceKey) -> Sealed {
    let now = example::at("18:00:00.000");
    sealing::sealed(record(file), &file.entries, tree, now, &[], key).unwrap()
}

pub(crate) fn sealed() -> Json {
    sealed_by(&key(1)).json
}

/// As a person gets it: a text, read by the border. What it claims of its seal makes
/// the check faster and never another one.
pub(crate) fn checked(json: &Json) -> Report {
    let text = pretty(json);
    let (read, report) = check::text(text.as_bytes(), files::read_json, &InTurn).unwrap();
    assert_eq!(report, check::record(read));
    report
}

pub(crate) fn object(json: &mut Json) -> &mut Members {
    match json {
        Json::Object(members) => members,
        other => panic!("no object: {other:?}"),
    }
}

/// The items of a list, to change them.
pub(crate) struct Items<'a> {
    of: &'a mut Json,
    items: Vec<Json>,
}

pub(crate) fn list(of: &mut Json) -> Items<'_> {
    let items = of.as_list().unwrap_or_else(|| panic!("no list: {of:?}")).to_vec();
    Items { of, items }
}

impl Deref for Items<'_> {
    type Target = Vec<Json>;

    fn deref(&self) -> &Vec<Json> {
        &self.items
    }
}

impl DerefMut for Items<'_> {
    fn deref_mut(&mut self) -> &mut Vec<Json> {
        &mut self.items
    }
}

impl Drop for Items<'_> {
    fn drop(&mut self) {
        *self.of = std::mem::take(&mut self.items).into();
    }
}

/// What stands at `a.0.b`.
pub(crate) fn at<'a>(json: &'a mut Json, path: &str) -> &'a mut Json {
    path.split('.').filter(|step| !step.is_empty()).fold(json, |json, step| match json {
        Json::List(items) => &mut items[step.parse::<usize>().unwrap()],
        json => object(json).get_mut(step).unwrap_or_else(|| panic!("no {step} in {path}")),
    })
}

/// Sealed again, over whatever it holds now.
pub(crate) fn again(mut json: Json, key: &DeviceKey) -> Json {
    object(&mut json).remove("seal");
    let seal = key.sign(Kind::Record, &sealing::payload(&json).unwrap()).json();
    object(&mut json).insert("seal", seal);
    json
}

/// Sentences of what does not hold.
pub(crate) fn told(report: &Report) -> String {
    let wrong = report.findings.iter().filter(|finding| !finding.holds());
    wrong.map(|f| format!("{}: {}\n", f.part.word(), f.says)).collect()
}

pub(crate) fn fails(json: &Json, part: Part, words: &str) -> Report {
    let report = checked(json);
    let told = told(&report);
    assert!(!report.holds(), "it holds, and should say: {words}");
    let wrong = report.findings.iter().filter(|f| !f.holds() && f.part == part);
    assert!(wrong.into_iter().any(|f| f.says.contains(words)), "{words} is not in:\n{told}");
    report
}

#[test]
fn a_sealed_record_holds() {
    let Sealed { json, hash, device } = sealed_by(&key(1));
    let report = checked(&json);
    assert!(report.holds(), "{}", told(&report));
    assert_eq!((report.key, report.hash), (Some(device), Some(hash)));
    assert_eq!(device, key(1).public().fingerprint());
    assert_eq!(report.since(), None);
    assert_eq!(json.get("format").unwrap().as_text(), Some("chalkhand-record/1"));
    // On one line too.
    let line = json.canonical().unwrap();
    assert!(check::record(files::read_json(line.as_bytes()).unwrap()).holds());
    // Entries of other jobs lie between and are not disclosed.
    assert!(!line.contains("J-OTHER") && !line.contains("note other"));
    let (file, tree) = logged();
    let entries = file.entries.len() as u64;
    assert!(entries < tree.size() && 20 < entries);
}

#[test]
fn what_cannot_be_checked_again_is_not_sealed() {
    let (file, tree) = logged();
    let now = example::at("18:00:00.000");
    let seal = |record, entries: &[Entry], tree: &Tree| {
        sealing::sealed(record, entries, tree, now, &[], &key(1)).map(|_| ())
    };
    assert_eq!(seal(sealed(), &file.entries, &tree), Err(NotSealable::Shape));
    assert_eq!(seal(Json::Null, &file.entries, &tree), Err(NotSealable::Shape));
    let mut half = record(&file);
    object(&mut half).insert("half", Json::from(vec![Json::Number(0.5)]));
    let path = ".half[0]".to_owned();
    assert_eq!(seal(half, &file.entries, &tree), Err(NotSealable::Number { path }));
    let mut changed = file.entries.clone();
    changed[3].draft.by = "Somebody Else".to_owned();
    let seq = changed[3].seq;
    assert_eq!(seal(record(&file), &changed, &tree), Err(NotSealable::Entry { seq }));
    let other = Tree::of(vec![merkle::leaf(b"another log")]);
    let seq = file.entries[0].seq;
    assert_eq!(seal(record(&file), &file.entries, &other), Err(NotSealable::Entry { seq }));
}

/// Every place of a value that is not an object or a list, as `a.0.b`.
pub(crate) fn leaves(json: &Json, path: &str, into: &mut Vec<String>) {
    let deeper =
        |name: &str| if path.is_empty() { name.to_owned() } else { format!("{path}.{name}") };
    match json {
        Json::Object(members) => {
            members.iter().for_each(|(name, value)| leaves(value, &deeper(name), into));
        }
        Json::List(items) => items
            .iter()
            .enumerate()
            .for_each(|(at, item)| leaves(item, &deeper(&at.to_string()), into)),
        _ => into.push(path.to_owned()),
    }
}

fn other(leaf: &Json) -> Json {
    match leaf {
        Json::Text(text) => Json::from(format!("{text}x")),
        Json::Number(n) => Json::Number(n + 1.0),
        Json::Bool(yes) => Json::Bool(!yes),
        _ => Json::Bool(true),
    }
}

/// Every value in the document, the seal included, one after another.
#[test]
fn an_edited_member_is_seen() {
    let document = sealed();
    let mut places = Vec::new();
    leaves(&document, "", &mut places);
    assert!(1_000 < places.len(), "{}", places.len());
    let first = document.get("log").unwrap().get("entries").unwrap();
    let Json::List(entries) = first else { panic!("no entries") };
    let seqs: Vec<u64> = entries
        .iter()
        .map(|item| {
            u64::try_from(item.get("entry").unwrap().get("seq").unwrap().as_whole().unwrap())
                .unwrap()
        })
        .collect();
    for place in places.iter().filter(|place| !place.starts_with("log.nodes")) {
        let mut edited = document.clone();
        let value = at(&mut edited, place);
        *value = other(value);
        let report = check::record(edited);
        assert!(!report.holds(), "{place} was changed");
        let of_entry = place.strip_prefix("log.entries.").filter(|rest| rest.contains("entry."));
        if let Some(rest) = of_entry.filter(|rest| !rest.contains(".seq")) {
            let item: usize = rest.split('.').next().unwrap().parse().unwrap();
            assert_eq!(report.since(), Some(seqs[item]), "{place}: {}", told(&report));
        }
    }
}

/// The same with the device's own key, where what is shown has to follow from the
/// entries: the places that can be folded again.
#[test]
fn what_is_shown_follows_from_the_entries() {
    let document = sealed();
    let mut places = Vec::new();
    leaves(&document, "", &mut places);
    let folded = |place: &&String| {
        let whole = ["job.", "pins.", "notes.", "chain_head.", "sound.", "invented"];
        let step = [".settled.", ".corrected.", ".cautions_", ".photos_said", ".point."];
        whole.iter().any(|start| place.starts_with(start))
            || (place.starts_with("checklists.") && step.iter().any(|part| place.contains(part)))
    };
    let mut seen = 0;
    for place in places.iter().filter(folded) {
        let mut edited = document.clone();
        let value = at(&mut edited, place);
        *value = other(value);
        let report = check::record(again(edited, &key(1)));
        assert!(!report.holds(), "{place} was changed and sealed again");
        assert!(report.findings.iter().any(|f| !f.holds() && f.part == Part::Shown), "{place}");
        seen += 1;
    }
    assert!(200 < seen, "{seen}");
}

/// Parts left out, put in or moved, sealed again with the device's own key.
#[test]
fn parts_left_out_or_put_in_are_seen() {
    let document = sealed();
    let steps = "checklists.1.steps";
    let own = |json| again(json, &key(1));
    let edit = |change: &dyn Fn(&mut Json)| {
        let mut json = document.clone();
        change(&mut json);
        own(json)
    };
    let settled = {
        let mut copy = document.clone();
        let all = list(at(&mut copy, steps)).clone();
        all.iter().position(|step| step.get("settled").is_some()).unwrap()
    };
    let without = edit(&|json| drop(list(at(json, steps)).remove(settled)));
    fails(&without, Part::Shown, "is left out");
    let twice = edit(&|json| {
        let copy = at(json, steps).clone();
        list(at(json, steps)).extend(list(&mut copy.clone()).iter().cloned());
    });
    fails(&twice, Part::Shown, "stands twice");
    let no_note = edit(&|json| drop(list(at(json, "notes")).pop()));
    fails(&no_note, Part::Shown, "notes and the entries hold");
    let no_attention = edit(&|json| list(at(json, "attention")).clear());
    fails(&no_attention, Part::Shown, "is not among what needs attention");
    let no_fact = edit(&|json| {
        list(at(json, "facts")).retain(|fact| fact.get("assumed") == Some(&Json::Bool(true)));
    });
    fails(&no_fact, Part::Shown, "is left out");
    let assumed = edit(&|json| {
        *at(json, "facts.0.assumed") = Json::Bool(true);
    });
    fails(&assumed, Part::Shown, "is left out");
    let made_up = edit(&|json| {
        let mut fact = at(json, "facts.0").clone();
        *at(&mut fact, "name") = "made_up".into();
        list(at(json, "facts")).push(fact);
    });
    fails(&made_up, Part::Shown, "no entry gives the fact `made_up`");
    let pinned = edit(&|json| *at(json, "checklists.0.file_sha256") = Json::text(Hash::of(b"x")));
    fails(&pinned, Part::Shown, "is not the one the job pinned");
    let named = edit(&|json| {
        let need = Json::object([("entry_seq", Json::whole(1)), ("kind", "note".into())]);
        list(at(json, "attention")).push(need);
    });
    // Entry 1 is of another job.
    fails(&named, Part::Shown, "it names entry 1, which is left out");
    let fact = edit(&|json| *at(json, "facts.0.value") = Json::object([("kind", "text".into())]));
    fails(&fact, Part::Shown, "is not what the entries say");
}

#[test]
fn a_truncated_record_is_not_read() {
    let text = pretty(&sealed());
    for parts in 1..200 {
        let mut end = text.len() * parts / 200;
        while !text.is_char_boundary(end) {
            end += 1;
        }
        assert!(files::read_json(&text.as_bytes()[..end]).is_err(), "{end}");
    }
}

#[test]
fn entries_out_of_order_are_seen() {
    let mut document = sealed();
    list(at(&mut document, "log.entries")).swap(4, 5);
    fails(&document, Part::Seal, "does not hold");
    let report = fails(&again(document, &key(1)), Part::Entries, "out of order");
    let (file, _) = logged();
    assert_eq!(report.since(), Some(file.entries[4].seq));
}

/// An entry that stands twice with a damaged one between: both are told.
#[test]
fn an_entry_after_a_damaged_one_is_compared_too() {
    let mut document = sealed();
    let again_there =
        document.get("log").unwrap().get("entries").unwrap().as_list().unwrap()[3].clone();
    list(at(&mut document, "log.entries")).insert(5, again_there);
    *at(&mut document, "log.entries.4.sha256") = Json::text(Hash::of(b"another"));
    let document = again(document, &key(1));
    fails(&document, Part::Entries, "no longer has its hash");
    fails(&document, Part::Entries, "out of order");
}

/// The hashes that proofs are made of: damaged, left out, another one.
#[test]
fn damaged_places_are_seen() {
    for node in ["no hash".into(), Json::Null] {
        let mut document = sealed();
        *at(&mut document, "log.nodes.0") = node;
        fails(&again(document, &key(1)), Part::Places, "in the log are damaged");
    }
    let mut document = sealed();
    *at(&mut document, "log.nodes.0") = Json::text(Hash::of(b"another"));
    fails(&again(document, &key(1)), Part::Places, "is not in the log that the head");
}

#[test]
fn an_entry_left_out_is_seen() {
    let (file, _) = logged();
    let place = file.entries.iter().position(|e| matches!(e.draft.what, What::Answered { .. }));
    let (place, seq) = (place.unwrap(), file.entries[place.unwrap()].seq);
    let mut document = sealed();
    list(at(&mut document, "log.entries")).remove(place);
    fails(&document, Part::Seal, "does not hold");
    fails(&again(document, &key(1)), Part::Shown, &format!("names entry {seq}, which is left out"));
    let mut document = sealed();
    list(at(&mut document, "log.entries")).remove(0);
    fails(&again(document, &key(1)), Part::Entries, "opened the job is left out");
    let mut document = sealed();
    list(at(&mut document, "log.entries")).pop();
    fails(&again(document, &key(1)), Part::Shown, "`chain_head");
    let mut document = sealed();
    list(at(&mut document, "log.entries")).clear();
    fails(&again(document, &key(1)), Part::Entries, "holds no entries");
}

/// An entry changed, every hash after it made anew, what is shown made anew, and
/// all of it sealed again with the device's own key: the signed head does not give.
#[test]
fn a_rewritten_entry_with_all_hashes_made_anew_is_seen() {
    let (file, _) = logged();
    let mut document = sealed();
    let place = file.entries.iter().position(|e| matches!(e.draft.what, What::Noted { .. }));
    let place = place.unwrap();
    let mut entries = file.entries.clone();
    let mut previous = entries[place].previous;
    for (n, entry) in entries.iter_mut().enumerate().skip(place) {
        let mut draft = entry.draft.clone();
        if let (true, What::Noted { text, .. }) = (n == place, &mut draft.what) {
            "all is well".clone_into(text);
        }
        let follows = file.entries.get(n.wrapping_sub(1)).is_some_and(|b| b.seq + 1 == entry.seq);
        let before = if follows || n == place { previous } else { entry.previous };
        let (linked, _) = chain::link(draft, entry.seq, before).unwrap();
        previous = linked.hash;
        *entry = linked;
    }
    let remade = record(&example::file(entries.clone()));
    for name in ["notes", "chain_head", "checklists"] {
        *at(&mut document, name) = remade.get(name).unwrap().clone();
    }
    for (n, entry) in entries.iter().enumerate() {
        let item = at(&mut document, &format!("log.entries.{n}"));
        *at(item, "entry") = entry_json::sealed(entry.seq, &entry.draft, entry.previous);
        *at(item, "sha256") = Json::text(entry.hash);
    }
    let report = fails(&again(document, &key(1)), Part::Places, "is not in the log that the head");
    assert_eq!(report.since(), Some(entries[place].seq));
    let parts: Vec<Part> = report.findings.iter().filter(|f| !f.holds()).map(|f| f.part).collect();
    assert!(parts.iter().all(|part| *part == Part::Places), "{}", told(&report));
}

#[test]
fn a_strangers_seal_is_seen() {
    // The seal alone: the head inside is of another device.
    fails(&again(sealed(), &key(2)), Part::Head, "of another device than the seal");
    // All of it: it holds, and the key is the stranger's.
    let strange = sealed_by(&key(2));
    let report = checked(&strange.json);
    assert!(report.holds());
    assert_eq!(report.key, Some(key(2).public().fingerprint()));
    assert_ne!(report.key, Some(key(1).public().fingerprint()));
    // A header that claims the device's key over a stranger's signature.
    let mut mixed = again(sealed(), &key(2));
    *at(&mut mixed, "seal.protected") = at(&mut sealed(), "seal.protected").clone();
    fails(&mixed, Part::Seal, "not made over this text by the key it names");
}

#[test]
fn two_records_pasted_together_are_seen() {
    let text = pretty(&sealed());
    let error = files::read_json(format!("{text}{text}").as_bytes()).unwrap_err().to_string();
    assert!(error.contains("trailing characters"), "{error}");
    // The entries of a second job of the same device among those of the first.
    let mut document = sealed();
    let mut foreign = at(&mut document, "log.entries.2").clone();
    *at(&mut foreign, "entry.job") = "J-OTHER".into();
    let hash = Hash::of(at(&mut foreign, "entry").canonical().unwrap().as_bytes());
    *at(&mut foreign, "sha256") = Json::text(hash);
    list(at(&mut document, "log.entries"))[2] = foreign;
    fails(&again(document, &key(1)), Part::Entries, "is of job J-OTHER, not of job");
}

#[test]
fn a_seal_of_another_record_is_seen() {
    let mut other = sealed();
    *at(&mut other, "is_not") = "another".into();
    let mut document = sealed();
    *at(&mut document, "seal") = at(&mut again(other, &key(1)), "seal").clone();
    fails(&document, Part::Seal, "or the seal is of another record");
    // Nor is the signature of a head one of a record.
    *at(&mut document, "seal") = at(&mut sealed(), "log.head.seal").clone();
    fails(&document, Part::Seal, "its header is not that of such a seal");
    object(&mut document).remove("seal");
    fails(&document, Part::Seal, "it is not sealed");
    for empty in [Json::Null, Json::from(vec![]), Json::object([])] {
        assert!(!check::record(empty).holds());
    }
}

/// Headers are taken to the letter, so no algorithm or key can be talked in.
#[test]
fn no_other_header_is_taken() {
    let document = sealed();
    let mut plain = document.clone();
    object(&mut plain).remove("seal");
    let payload = sealing::payload(&plain).unwrap();
    let good = key(1).sign(Kind::Record, &payload);
    assert!(good.check(Kind::Record, &payload).is_ok());
    let (_, header) = Jws::of_compact(&format!("x.{}.x", good.protected)).unwrap();
    assert!(header.contains("\"alg\":\"EdDSA\""), "{header}");
    for (from, to) in [
        ("EdDSA", "none"),
        ("EdDSA", "HS256"),
        ("record+jws", "head+jws"),
        ("{\"alg\"", "{ \"alg\""),
        ("\"typ\"", "\"crit\":[\"b64\"],\"typ\""),
        ("\"kid\":\"", "\"kid\":\"A"),
    ] {
        let changed = header.replacen(from, to, 1);
        assert_ne!(changed, header);
        let compact = Jws { protected: String::new(), signature: String::new() }.compact(&changed);
        let protected = compact.trim_matches('.').to_owned();
        let forged = Jws { protected, signature: good.signature.clone() };
        assert!(forged.check(Kind::Record, &payload).is_err(), "{changed}");
    }
}

/// What canonical text would hide, and what two readers read in two ways.
#[test]
fn json_that_reads_in_two_ways_is_refused() {
    let text = pretty(&sealed());
    let (_, tree) = logged();
    let size = format!("\"tree_size\": {}", tree.size());
    assert!(text.contains(&size));
    let size_as = |written: &str| text.replacen(&size, &format!("\"tree_size\": {written}"), 1);
    let n = tree.size();
    for (changed, why) in [
        (size_as(&format!("{n}.0")), "whole number"),
        (size_as(&format!("{n}e0")), "whole number"),
        (size_as("-0"), "whole number"),
        (size_as(&format!("{n}.000000000000001")), "whole number"),
        (size_as("9007199254740993"), "larger than every reader keeps"),
        (size_as("1e999"), "out of range"),
        (size_as(&format!("0{n}")), "invalid number"),
        (size_as(&format!("{n}, \"tree_size\": {n}")), "the member `tree_size` stands twice"),
        (text.replacen('{', "{\"is\\u005fnot\": \"x\",", 1), "the member `is_not` stands twice"),
        (format!("\u{feff}{text}"), "expected value"),
        (text.replacen("\"device\": \"", "\"device\": \"\\ud800", 1), "hex escape"),
        (text.replacen(": ", ": /* x */ ", 1), "expected value"),
        (format!("{text}null"), "trailing characters"),
        ("[".repeat(100_000), "recursion limit"),
        ("{\"a\":".repeat(100_000), "recursion limit"),
    ] {
        let error = files::read_json(changed.as_bytes()).expect_err(why).to_string();
        assert!(error.contains(why), "{error} should say: {why}");
    }
    assert!(files::read_json(&[b'"', 0xff, b'"']).is_err(), "not UTF-8");
    let large = vec![b' '; files::LARGEST_SEALED + 1];
    assert!(files::read_json(&large).unwrap_err().to_string().contains("larger than 64 MiB"));
}

#[test]
fn a_head_is_what_was_signed() {
    let (_, tree) = logged();
    let now = example::at("18:00:00.000");
    let head = sealing::head(&tree, now.date(), 7, now, &key(1)).unwrap();
    assert_eq!(SignedHead::read(&head.json()).unwrap(), head);
    let (payload, seal) = files::read_head(head.compact().as_bytes()).unwrap();
    assert_eq!(SignedHead::of_payload(&payload, seal.unwrap()).unwrap(), head);
    for name in ["day", "device", "made_at", "tree_size", "root_sha256", "format"] {
        let mut changed = head.json();
        let value = at(&mut changed, name);
        *value = match name {
            "day" => "2026-10-16".into(),
            "device" => Json::text(key(2).public().fingerprint()),
            "made_at" => Json::text(example::at("18:00:00.001")),
            "root_sha256" => Json::text(Hash::of(b"x")),
            _ => other(value),
        };
        assert!(SignedHead::read(&changed).is_err(), "{name}");
    }
    let mut more = head.json();
    object(&mut more).insert("more", Json::Null);
    assert!(SignedHead::read(&more).is_err());
    assert!(sealing::head(&tree, now.date(), tree.size() + 1, now, &key(1)).is_none());
    for text in ["", "eyJ", "a.b.c", "no head in here", "{}x"] {
        assert!(files::read_head(text.as_bytes()).is_err(), "{text}");
    }
}

#[test]
fn a_change_of_key_is_announced_by_both() {
    let (file, tree) = logged();
    let now = example::at("18:00:00.000");
    let change = KeyChange {
        key: key(2).public(),
        replaces: key(1).public().fingerprint(),
        at: now,
        by: "Office Example".to_owned(),
        why: "the laptop was stolen".to_owned(),
        size: tree.size(),
        root: tree.root(tree.size()).unwrap(),
    };
    let both = change.announce(&key(2), Some(&key(1)));
    assert_eq!(KeyChange::read(&both), Some((change.clone(), true)));
    assert_eq!(KeyChange::read(&change.announce(&key(2), None)), Some((change.clone(), false)));
    // Signed by another than the one that it says it replaces, or than the new one.
    assert_eq!(KeyChange::read(&change.announce(&key(2), Some(&key(3)))), None);
    assert_eq!(KeyChange::read(&change.announce(&key(3), Some(&key(1)))), None);
    let mut places = Vec::new();
    leaves(&both, "", &mut places);
    for place in places {
        let mut changed = both.clone();
        let value = at(&mut changed, &place);
        *value = other(value);
        assert_eq!(KeyChange::read(&changed), None, "{place}");
    }
    let seal = |changes: &[Json], key: &DeviceKey| {
        sealing::sealed(record(&file), &file.entries, &tree, now, changes, key).unwrap().json
    };
    let report = checked(&seal(std::slice::from_ref(&both), &key(2)));
    assert!(report.holds(), "{}", told(&report));
    assert_eq!(report.changes, [(change, true)]);
    // It leads to another key than the one of the seal.
    fails(&seal(std::slice::from_ref(&both), &key(3)), Part::Key, "does not hold");
    fails(&seal(&[both.clone(), both], &key(2)), Part::Key, "does not hold");
}
