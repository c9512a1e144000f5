//! What a record shows against what its entries fold into. What rests on the
//! checklists too (measures, warnings, what needs attention) is not folded again.

use std::collections::{BTreeMap, BTreeSet};

use crate::domain::{
    About, Acceptance, Checked, Entry, Hash, Json, Outcome, PhotoFile, RecordFact, RecordPhoto,
    Standing, StepRef, StepStanding, Units, WalkId, sealing,
};

use super::super::told::Told;
use super::super::{callback, json, photos, sound, words};

/// What is wrong: the entry it is about, where it is about one, and a sentence.
type Wrong = Vec<(Option<u64>, String)>;

/// Everything shown that does not follow from the entries.
pub(super) fn wrong(document: &Json, log: &Json, entries: &[&Entry]) -> Wrong {
    let standing = Standing::of(entries.iter().copied());
    let Some(job) = &standing.job else {
        return vec![(None, "no entry says what job it is".to_owned())];
    };
    // Another version may word the same thing otherwise and tell more.
    let same_program = log.get("program").and_then(Json::as_text) == Some(sealing::PROGRAM);
    let units = job.units;
    let mut compared = Compared { document, same_program, wrong: Vec::new() };
    compared.member("job", &json::job(job), None);
    compared.member("invented", &Json::Bool(job.invented), None);
    compared.member("pins", &json::list(job.pins.iter().map(json::pin)), None);
    if let Some(last) = entries.last() {
        compared.member("chain_head", &json::chain_head(last.seq, last.hash), Some(last.seq));
        compared.member("made_at", &Json::text(last.draft.at), Some(last.seq));
    }
    compared.each("notes", standing.notes.iter().map(json::note));
    let checks: Vec<Checked> = entries.iter().copied().filter_map(Checked::of).collect();
    compared.member("sound", &sound::json(&standing.ears, &checks), None);
    compared.facts(&standing, units);
    compared.checklists(&standing, job.pins.as_slice(), units);
    compared.deviations(&standing);
    compared.photos(&standing);
    compared.callbacks(&standing);
    compared.named(entries);
    compared.wrong
}

struct Compared<'a> {
    document: &'a Json,
    same_program: bool,
    wrong: Wrong,
}

impl<'a> Compared<'a> {
    fn says(&mut self, seq: Option<u64>, says: String) {
        self.wrong.push((seq, says));
    }

    fn list(&self, name: &str) -> &'a [Json] {
        items(self.document, name)
    }

    fn member(&mut self, name: &str, expected: &Json, seq: Option<u64>) {
        let found = self.document.get(name).unwrap_or(&Json::Null);
        self.compare(name, expected, found, seq);
    }

    fn compare(&mut self, path: &str, expected: &Json, found: &Json, seq: Option<u64>) {
        if let Some(at) = difference(expected, found, self.same_program) {
            let says = format!("`{path}{at}` is not what the entries say");
            self.says(seq, says);
        }
    }

    /// Members of one object; those that are not expected are not looked at.
    fn members(&mut self, path: &str, expected: &[(&str, Json)], found: &Json, seq: Option<u64>) {
        for (name, expected) in expected {
            // Where there is nothing to say, no version says anything.
            if self.same_program || !Told::is(name) || *expected == Json::Null {
                let found = found.get(name).unwrap_or(&Json::Null);
                self.compare(&format!("{path}.{name}"), expected, found, seq);
            }
        }
    }

    fn each(&mut self, name: &str, expected: impl ExactSizeIterator<Item = Json>) {
        let found = self.list(name);
        if found.len() != expected.len() {
            let (shown, logged) = (found.len(), expected.len());
            self.says(None, format!("it shows {shown} {name} and the entries hold {logged}"));
        }
        for (at, (expected, found)) in expected.zip(found).enumerate() {
            if expected != *found {
                self.compare(&format!("{name}[{at}]"), &expected, found, seq_of(&expected));
            }
        }
    }

    /// Facts that somebody gave; those assumed come from a checklist.
    fn facts(&mut self, standing: &Standing, units: Units) {
        let given = |fact: &&Json| fact.get("assumed") != Some(&Json::Bool(true));
        let mut shown = BTreeMap::new();
        for fact in self.list("facts").iter().filter(given) {
            let row = fact.get("row").and_then(Json::as_whole);
            let name = fact.get("name").and_then(Json::as_text).unwrap_or_default();
            if shown.insert((name, row), fact).is_some() {
                self.says(None, format!("the fact `{name}` stands twice"));
            }
        }
        for (name, value) in standing.facts.iter() {
            let key = (name.name.as_str(), name.row.map(i64::from));
            let Some(found) = shown.remove(&key) else {
                self.says(None, format!("the fact `{}` is left out", name.name));
                continue;
            };
            let ask = found.get("ask").and_then(Json::as_text).unwrap_or_default().to_owned();
            let (name, value) = (name.clone(), value.clone());
            let path = format!("facts[{}]", name.name);
            let mut expected =
                json::fact(&RecordFact { name, ask, value, assumed: false, follows: false }, units);
            // Its question with the name of its row comes from a checklist.
            if let (Json::Object(members), Some(line)) = (&mut expected, found.get("line")) {
                members.insert("line", line.clone());
            }
            self.compare(&path, &expected, found, None);
        }
        for (name, _) in shown.into_keys() {
            self.says(None, format!("no entry gives the fact `{name}`"));
        }
    }

    fn checklists(&mut self, standing: &Standing, pins: &[crate::domain::Pin], units: Units) {
        let mut seen = BTreeSet::new();
        for checklist in self.list("checklists") {
            let id = checklist.get("id").and_then(Json::as_text).unwrap_or_default();
            let pin = pins.iter().find(|pin| pin.id == id);
            let hash = checklist.get("file_sha256").and_then(Json::as_text);
            if hash != pin.map(|pin| pin.hash.to_string()).as_deref() {
                self.says(None, format!("checklist `{id}` is not the one the job pinned"));
            }
            let name = checklist.get("walk").and_then(Json::as_text).unwrap_or(id);
            let walk_id = name.parse().unwrap_or_else(|_| WalkId::first(id));
            if walk_id.checklist != id {
                self.says(None, format!("walk `{name}` is shown under checklist `{id}`"));
            }
            let walk = standing.walks.get(&walk_id);
            let begun = walk.and_then(|walk| walk.begun).map(|(at, ..)| at);
            let ended = walk.and_then(|walk| walk.ended);
            let times = [("begun_at", begun), ("ended_at", ended)]
                .map(|(name, at)| (name, json::option(at.as_ref())));
            self.members(&walk_id.to_string(), &times, checklist, None);
            for step in items(checklist, "steps") {
                let at = step_ref(step);
                let stood = standing.step(&walk_id, &at).cloned().unwrap_or_default();
                self.step(&format!("{walk_id}.{at}"), &stood, step, units);
                if !seen.insert((walk_id.clone(), at.clone())) {
                    self.says(None, format!("step `{at}` of {walk_id} stands twice"));
                }
            }
        }
        for (id, walk) in &standing.walks {
            for (at, stood) in &walk.steps {
                let seq = stood.settled.as_ref().map(|settled| settled.seq);
                if seq.is_some() && !seen.contains(&(id.clone(), at.clone())) {
                    self.says(seq, format!("step `{at}` of {id} was settled and is left out"));
                }
            }
        }
    }

    fn step(&mut self, path: &str, stood: &StepStanding, found: &Json, units: Units) {
        let seq = stood.settled.as_ref().map(|settled| settled.seq);
        let asked = stood.settled.as_ref().and_then(|settled| settled.asked.as_ref());
        let settled = |s| json::settled(s, units);
        let mut expected = vec![
            ("settled", stood.settled.as_ref().map_or(Json::Null, settled)),
            ("corrected", json::list(stood.corrected.iter().map(settled))),
            ("photos_said_taken", Json::from(stood.said_taken())),
            ("photos_said", json::list(stood.photos_said.iter().map(json::said_taken))),
            ("photos_kept", Json::from(stood.photos_kept)),
            ("point", stood.point.as_ref().map_or(Json::Null, json::point)),
        ];
        let cautions = stood.cautioned.clone().unwrap_or_default();
        expected.extend(json::cautions(&cautions));
        expected.extend(asked.map(|asked| ("text", Json::text(asked))));
        self.members(path, &expected, found, seq);
    }

    /// What stands off its target or was left out is told first: as open, or with
    /// the entry that accepted it.
    fn deviations(&mut self, standing: &Standing) {
        let accepted = |need: &&Json| need.get("accepted").is_some();
        for need in self.list("deviations").iter().filter(accepted) {
            let (found, seq) = (need.get("accepted"), seq_of(need));
            let logged = seq.and_then(|seq| standing.accepted.get(&seq));
            let mut logged = logged.into_iter().flatten();
            let same = self.same_program;
            let is_it = |logged: &&Acceptance| {
                found.is_some_and(|found| {
                    difference(&callback::acceptance(logged), found, same).is_none()
                })
            };
            match logged.find(is_it) {
                Some(logged) => {
                    self.members("deviations", &[callback::accepted_shown(logged)], need, seq);
                }
                None => {
                    let says = "it shows as accepted what no entry accepts so".to_owned();
                    self.says(seq, says);
                }
            }
        }
        let told: BTreeSet<(&str, u64)> = self
            .list("attention")
            .iter()
            .chain(self.list("deviations").iter().filter(accepted))
            .filter_map(|need| Some((need.get("kind")?.as_text()?, seq_of(need)?)))
            .collect();
        let mut missing = Vec::new();
        for stood in standing.walks.values().flat_map(|walk| walk.steps.values()) {
            let Some(settled) = &stood.settled else { continue };
            let about = match &settled.outcome {
                Outcome::Skipped { reason } => About::Skipped { reason: reason.clone() },
                outcome if outcome.off_target() => About::OffTarget { reason: None },
                Outcome::Answered { .. } => continue,
            };
            if !told.contains(&(json::kind(&about).as_str(), settled.seq)) {
                missing.push((settled.seq, words::about(&about).to_lowercase()));
            }
        }
        for (seq, about) in missing {
            let says = format!("entry {seq} ({about}) is not among what needs attention");
            self.says(Some(seq), says);
        }
    }

    fn photos(&mut self, standing: &Standing) {
        let shown = self.list("photos");
        let expected = standing.photos.iter().enumerate().map(|(at, kept)| {
            // The step's name comes from a checklist.
            let title = shown.get(at).and_then(|photo| photo.get("step_title"));
            // What lay on the machine that made it is known there alone.
            let file = shown.get(at).and_then(|photo| photo.get("file")).and_then(Json::as_text);
            photos::json(&RecordPhoto {
                seq: kept.seq,
                at: kept.at,
                by: kept.by.clone(),
                walk: kept.walk.clone(),
                step: kept.step.clone(),
                title: title.and_then(Json::as_text).map(str::to_owned),
                photo: kept.photo.clone(),
                file: PhotoFile::ALL.into_iter().find(|one| file == Some(one.word())),
            })
        });
        self.each("photos", expected);
    }

    /// Leak calls: what was reported, who went there, what was found.
    fn callbacks(&mut self, standing: &Standing) {
        let shown = self.list("callbacks");
        if shown.len() != standing.callbacks.len() {
            let (shown, logged) = (shown.len(), standing.callbacks.len());
            self.says(None, format!("it shows {shown} leak calls and the entries hold {logged}"));
        }
        for (found, call) in shown.iter().zip(standing.callbacks.values()) {
            // The names of the steps in a finding come from a checklist.
            let steps = found.get("closed").map_or(&[][..], |closed| items(closed, "steps"));
            let title = |at: usize| steps.get(at)?.get("title")?.as_text().map(str::to_owned);
            let visits = items(found, "visits");
            let visit = |at: usize| visits.get(at)?.get("walk_title")?.as_text().map(str::to_owned);
            let expected = callback::stands_of(
                call,
                |at, _| title(at).unwrap_or_default(),
                |at, _| visit(at).unwrap_or_default(),
            );
            let path = format!("callbacks[{}]", call.call.id);
            self.members(&path, &expected, found, Some(call.opened.seq));
        }
    }

    /// Every entry that something names has to be there, with the hash it names.
    fn named(&mut self, entries: &[&Entry]) {
        let known: BTreeMap<u64, Hash> =
            entries.iter().map(|entry| (entry.seq, entry.hash)).collect();
        let mut named = Vec::new();
        if let Json::Object(members) = self.document {
            let shown = members.iter().filter(|(name, _)| !matches!(*name, "log" | "seal"));
            shown.for_each(|(_, value)| all_named(value, &mut named));
        }
        named.sort_unstable();
        named.dedup();
        for (seq, hash) in named {
            match (known.get(&seq), hash) {
                (None, _) => {
                    self.says(Some(seq), format!("it names entry {seq}, which is left out"));
                }
                (Some(known), Some(hash)) if hash.parse().ok() != Some(*known) => {
                    self.says(Some(seq), format!("it names entry {seq} with another hash"));
                }
                _ => {}
            }
        }
    }
}

fn all_named<'a>(json: &'a Json, into: &mut Vec<(u64, Option<&'a str>)>) {
    match json {
        Json::Object(members) => {
            let hash = json.get("entry_sha256").and_then(Json::as_text);
            into.extend(seq_of(json).map(|seq| (seq, hash)));
            members.values().for_each(|value| all_named(value, into));
        }
        Json::List(items) => items.iter().for_each(|item| all_named(item, into)),
        _ => {}
    }
}

fn items<'a>(json: &'a Json, name: &str) -> &'a [Json] {
    match json.get(name) {
        Some(Json::List(items)) => items,
        _ => &[],
    }
}

fn seq_of(json: &Json) -> Option<u64> {
    json.get("entry_seq")?.as_whole().and_then(|seq| u64::try_from(seq).ok())
}

fn step_ref(step: &Json) -> StepRef {
    let id = step.get("id").and_then(Json::as_text).unwrap_or_default().to_owned();
    let row = step.get("row").and_then(Json::as_whole).and_then(|row| u32::try_from(row).ok());
    StepRef { id, row }
}

/// Where the two differ first, as a path. Words made for a person, and members
/// added later, count only where the same version of the program wrote them.
fn difference(expected: &Json, found: &Json, same_program: bool) -> Option<String> {
    if expected == found {
        return None;
    }
    match (expected, found) {
        (Json::Object(wanted), Json::Object(shown)) => {
            let names: BTreeSet<&str> = wanted.keys().chain(shown.keys()).collect();
            names.into_iter().find_map(|name| {
                if !same_program && (Told::is(name) || !wanted.contains_key(name)) {
                    return None;
                }
                let [wanted, shown] =
                    [wanted, shown].map(|members| members.get(name).unwrap_or(&Json::Null));
                let rest = difference(wanted, shown, same_program)?;
                Some(format!(".{name}{rest}"))
            })
        }
        (Json::List(wanted), Json::List(shown)) if wanted.len() == shown.len() => {
            let mut pairs = wanted.iter().zip(shown).enumerate();
            pairs.find_map(|(at, (wanted, shown))| {
                Some(format!("[{at}]{}", difference(wanted, shown, same_program)?))
            })
        }
        _ => Some(String::new()),
    }
}
