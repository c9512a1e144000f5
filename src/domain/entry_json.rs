//! Entries as JSON and back. The text that is hashed is the canonical text of
//! what `sealed` gives; reading is strict, so that nothing is guessed later.

use crate::measure::{self, Dimension, Quantity, Value};

use super::entry::{Draft, Entry, Given, Heard, How, Key, StepRef, Target, What};
use super::{
    FactName, Hash, Job, Json, Keeps, Members, Name, Person, Pin, PinKind, Placed, PointKind,
    Units, WalkId, callback_json, hearing_json,
};

/// A text that is not an entry.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("entry {seq}: `{field}` is missing or is not what it should be")]
pub struct NotAnEntry {
    /// The sequence number, where it could be read; 0 elsewhere.
    pub seq: u64,
    /// The member at fault.
    pub field: String,
}

/// The JSON of an entry without its own hash: what is hashed and stored.
#[must_use]
pub fn sealed(seq: u64, draft: &Draft, previous: Hash) -> Json {
    Json::Object(members(seq, draft, previous).collect())
}

/// Whether the JSON is what `sealed` gives of this entry, and nothing rides along.
#[must_use]
pub fn is_sealed(json: &Json, entry: &Entry) -> bool {
    let Json::Object(there) = json else { return false };
    let mut known = 0;
    for (name, value) in members(entry.seq, &entry.draft, entry.previous) {
        if there.get(&name) != Some(&value) {
            return false;
        }
        known += 1;
    }
    known == there.len()
}

/// The members of an entry, each once.
fn members(seq: u64, draft: &Draft, previous: Hash) -> impl Iterator<Item = (Name, Json)> {
    let walk = draft.walk.as_ref();
    // The first walk is written as before there were others.
    let nth = walk.filter(|walk| walk.nth != 1);
    let details = match details(&draft.what) {
        Json::Object(details) => details,
        _ => Members::default(),
    };
    let all = [
        ("seq", Json::whole(seq)),
        ("job", Json::text(&draft.job)),
        ("at", Json::text(draft.at)),
        ("by", Json::text(&draft.by)),
        ("how", how(&draft.how)),
        ("confirmed", confirmed(&draft.confirmed)),
        ("key", Json::text(&draft.key.0)),
        ("what", Json::from(draft.what.word())),
        ("previous", Json::text(previous)),
        ("checklist", walk.map_or(Json::Null, |walk| Json::text(&walk.checklist))),
        ("walk", nth.map_or(Json::Null, Json::text)),
        ("corrects", draft.corrects.map_or(Json::Null, Json::whole)),
    ];
    let known = all.into_iter().filter(|(_, value)| *value != Json::Null);
    known.map(|(name, value)| (Name::from(name), value)).chain(details)
}

/// Reads what `sealed` gave; `hash` is that of its canonical text.
///
/// # Errors
/// Names the first member that is missing or of another shape.
pub fn read(json: &Json, hash: Hash) -> Result<Entry, NotAnEntry> {
    let seq = json.get("seq").and_then(Json::as_whole).and_then(|n| u64::try_from(n).ok());
    let seq = seq.ok_or(NotAnEntry { seq: 0, field: "seq".to_owned() })?;
    let fields = Fields { json, seq };
    let corrects = match json.get("corrects") {
        None => None,
        Some(_) => Some(fields.whole("corrects")?),
    };
    let draft = Draft {
        job: fields.text("job")?,
        walk: fields.walk()?,
        at: fields.parsed("at")?,
        by: fields.text("by")?,
        how: fields.how()?,
        confirmed: fields.confirmed()?,
        what: fields.what()?,
        corrects,
        key: Key(fields.text("key")?),
    };
    Ok(Entry { seq, draft, previous: fields.parsed("previous")?, hash })
}

/// A value as entries and records write it: its kind and a text that loses
/// nothing.
#[must_use]
pub fn value(value: &Value) -> Json {
    match value {
        Value::Quantity(q) => quantity(*q),
        Value::YesNo(yes) => Json::object([("kind", "yes-no".into()), ("yes", Json::Bool(*yes))]),
        Value::Text(text) => Json::object([("kind", "text".into()), ("text", Json::text(text))]),
    }
}

const DIMENSIONS: [(&str, Dimension); 9] = [
    ("length", Dimension::LENGTH),
    ("area", Dimension::AREA),
    ("pitch", Dimension::PITCH),
    ("number", Dimension::NUMBER),
    ("temperature", Dimension::TEMPERATURE),
    ("temperature-difference", Dimension::TEMPERATURE_DIFFERENCE),
    ("speed", Dimension::SPEED),
    ("free-area-per-length", Dimension::FREE_AREA_PER_LENGTH),
    ("volume", Dimension::VOLUME),
];

fn quantity(q: Quantity) -> Json {
    let kind = DIMENSIONS.iter().find(|(_, dimension)| *dimension == q.dimension);
    let kind = kind.map_or("other", |(word, _)| word);
    Json::object([("kind", kind.into()), ("exact", Json::text(measure::exact_text(q)))])
}

fn read_value(json: &Json) -> Option<Value> {
    match json.get("kind")?.as_text()? {
        "yes-no" => match json.get("yes")? {
            Json::Bool(yes) => Some(Value::YesNo(*yes)),
            _ => None,
        },
        "text" => Some(Value::Text(json.get("text")?.as_text()?.to_owned())),
        kind => {
            let (_, dimension) = DIMENSIONS.iter().find(|(word, _)| *word == kind)?;
            let exact = json.get("exact")?.as_text()?;
            measure::parse_quantity(exact, *dimension).ok().map(Value::Quantity)
        }
    }
}

fn read_quantity(json: &Json) -> Option<Quantity> {
    match read_value(json)? {
        Value::Quantity(q) => Some(q),
        _ => None,
    }
}

fn row(row: Option<u32>) -> Json {
    row.map_or(Json::Null, Json::from)
}

fn how(how: &How) -> Json {
    match how {
        How::Voice(heard) => Json::object([(how.word(), hearing_json::heard(heard))]),
        How::Keys | How::Touch | How::Command | How::File | How::Program | How::Http => {
            how.word().into()
        }
    }
}

fn confirmed(confirmed: &[How]) -> Json {
    match confirmed {
        [] => Json::Null,
        some => Json::List(some.iter().map(how).collect()),
    }
}

fn details(what: &What) -> Json {
    let step = |step: &StepRef| Json::text(step);
    match what {
        What::JobOpened(job) => Json::object([("opened", job_json(job))]),
        What::FactGiven(name, v) => Json::object([("fact", fact(name, v))]),
        What::Pinned(pin) => Json::object([("pin", pin_json(pin))]),
        What::WalkBegun { version, hash } => {
            Json::object([("version", Json::text(version)), ("checklist_sha256", Json::text(hash))])
        }
        What::Paused | What::Resumed | What::WalkEnded => Json::object([]),
        What::Answered { step: at, asked, given: g, target: t, reason } => Json::object([
            ("step", step(at)),
            ("asked", Json::text(asked)),
            ("given", given(g)),
            ("target", t.as_ref().map_or(Json::Null, target)),
            ("reason", reason.as_ref().map_or(Json::Null, Json::text)),
        ]),
        What::Skipped { step: at, reason } => {
            Json::object([("step", step(at)), ("reason", Json::text(reason))])
        }
        What::Cautioned { step: at, said, spoken } => Json::object([
            ("step", step(at)),
            ("said", Json::List(said.iter().map(Json::text).collect())),
            ("spoken", spoken.map_or(Json::Null, Json::Bool)),
        ]),
        What::Noted { step: at, text, clip: None } => Json::object([
            ("step", at.as_ref().map_or(Json::Null, step)),
            ("text", Json::text(text)),
        ]),
        // Nobody has compared the words with the sound beside them.
        What::Noted { step: at, text, clip: Some(clip) } => Json::object([
            ("step", at.as_ref().map_or(Json::Null, step)),
            ("transcript", Json::text(text)),
            ("verified", Json::Bool(false)),
            ("clip", hearing_json::clip(clip)),
        ]),
        What::HearingChecked(check) => Json::object([("check", hearing_json::check(check))]),
        What::EarOpened { source, keeps, check } => Json::object([
            ("source", Json::text(source)),
            ("keeps", keeps.word().into()),
            ("hearing_check", check.map_or(Json::Null, Json::whole)),
        ]),
        What::EarClosed => Json::object([]),
        What::PhotoTaken { step: at } => Json::object([("step", step(at))]),
        What::PhotoKept { step: at, photo } => Json::object([
            ("step", at.as_ref().map_or(Json::Null, step)),
            ("photo", super::photo::json(photo)),
        ]),
        What::PointReached { step: at, kind, role } => Json::object([
            ("step", step(at)),
            ("point", kind.word().into()),
            ("role", Json::text(role)),
        ]),
        What::Released { step: at, role } => {
            Json::object([("step", step(at)), ("role", Json::text(role))])
        }
        What::Accepted { entry, step: at, kinds, role, reason } => Json::object([
            ("accepted_entry", Json::whole(*entry)),
            ("step", step(at)),
            ("deviations", callback_json::kinds(kinds)),
            ("role", Json::text(role)),
            ("reason", Json::text(reason)),
        ]),
        What::CallbackOpened(call) => Json::object([("callback", callback_json::call(call))]),
        What::CallbackVisited { id, visit } => {
            Json::object([("callback_id", Json::from(*id)), ("visit", Json::text(visit))])
        }
        What::CallbackClosed(finding) => {
            Json::object([("finding", callback_json::finding(finding))])
        }
        What::FollowUpIssued { uid, start, title, sequence, placed } => Json::object([
            ("uid", Json::text(uid)),
            ("start", Json::text(start)),
            ("title", Json::text(title)),
            ("sequence", Json::from(*sequence)),
            ("planned", placed.as_ref().map_or(Json::Null, |placed| Json::text(placed.planned))),
            (
                "placed_because",
                placed.as_ref().map_or(Json::Null, |placed| Json::text(&placed.why)),
            ),
        ]),
        What::FollowUpMoved { uid, start, reason, sequence } => Json::object([
            ("uid", Json::text(uid)),
            ("start", Json::text(start)),
            ("reason", Json::text(reason)),
            ("sequence", Json::from(*sequence)),
        ]),
        What::FollowUpCancelled { uid, reason, sequence } => Json::object([
            ("uid", Json::text(uid)),
            ("reason", Json::text(reason)),
            ("sequence", Json::from(*sequence)),
        ]),
        What::FollowUpAdded { uid, start, lasts_min, title, who, checklist, callback } => {
            Json::object([
                ("uid", Json::text(uid)),
                ("start", Json::text(start)),
                ("lasts_min", Json::from(*lasts_min)),
                ("title", Json::text(title)),
                ("who", who.as_ref().map_or(Json::Null, Json::text)),
                // `checklist` is that of the walk an entry belongs to.
                ("visit_checklist", checklist.as_ref().map_or(Json::Null, Json::text)),
                ("callback_id", callback.map_or(Json::Null, Json::from)),
            ])
        }
        What::PersonSet { name, roles } => {
            Json::object([("name", Json::text(name)), ("roles", Json::text(roles))])
        }
        What::PersonLeft { name } => Json::object([("name", Json::text(name))]),
        What::SignedIn { device } => Json::object([("device", Json::text(device))]),
        What::SignInEnded { name, device } => {
            Json::object([("name", Json::text(name)), ("device", Json::text(device))])
        }
        What::KeyMade { name, called } | What::KeyEnded { name, called } => {
            Json::object([("name", Json::text(name)), ("called", Json::text(called))])
        }
    }
}

fn given(given: &Given) -> Json {
    match given {
        Given::Done => "done".into(),
        Given::Measured(q) => Json::object([("measured", quantity(*q))]),
        Given::Counted(n) => Json::object([("counted", Json::from(*n))]),
        Given::Chosen(option) => Json::object([("chosen", Json::text(option))]),
        Given::Fact(name, v) => Json::object([("fact", fact(name, v))]),
        Given::Noted(text) => Json::object([("noted", Json::text(text))]),
    }
}

fn target(target: &Target) -> Json {
    match target {
        Target::Mark(mark, tolerance) => {
            Json::object([("mark", quantity(*mark)), ("tolerance", quantity(*tolerance))])
        }
        Target::AtLeast(n) => Json::object([("at_least", Json::from(*n))]),
        Target::OneOf(options) => {
            Json::object([("one_of", Json::List(options.iter().map(Json::text).collect()))])
        }
    }
}

fn fact(name: &FactName, v: &Value) -> Json {
    Json::object([("name", Json::text(&name.name)), ("row", row(name.row)), ("value", value(v))])
}

fn job_json(job: &Job) -> Json {
    let people = job.people.iter().map(|p| {
        Json::object([
            ("name", Json::text(&p.name)),
            ("role", Json::text(&p.role)),
            ("language", p.language.map_or(Json::Null, |language| language.code().into())),
        ])
    });
    let pins = job.pins.iter().map(pin_json);
    Json::object([
        ("number", Json::text(&job.number)),
        ("address", Json::text(&job.address)),
        ("owner", Json::text(&job.owner)),
        ("phone", Json::text(&job.phone)),
        ("company", Json::text(&job.company)),
        ("time_zone", Json::text(&job.time_zone)),
        ("code_edition", Json::text(&job.code_edition)),
        ("units", (if job.units == Units::Us { "us" } else { "metric" }).into()),
        ("invented", Json::Bool(job.invented)),
        ("people", Json::List(people.collect())),
        ("pins", Json::List(pins.collect())),
    ])
}

fn pin_json(pin: &Pin) -> Json {
    Json::object([
        ("kind", pin.kind.word().into()),
        ("id", Json::text(&pin.id)),
        ("version", Json::text(pin.version)),
        ("sha256", Json::text(pin.hash)),
    ])
}

/// Strict readers of one entry's members.
pub(super) struct Fields<'a> {
    pub(super) json: &'a Json,
    seq: u64,
}

impl Fields<'_> {
    pub(super) fn wrong(&self, field: &str) -> NotAnEntry {
        NotAnEntry { seq: self.seq, field: field.to_owned() }
    }

    pub(super) fn text(&self, field: &str) -> Result<String, NotAnEntry> {
        let text = self.json.get(field).and_then(Json::as_text);
        text.map(str::to_owned).ok_or_else(|| self.wrong(field))
    }

    /// The text of a member that may be left out.
    pub(super) fn text_if_there(&self, field: &str) -> Result<Option<String>, NotAnEntry> {
        self.json.get(field).map(|_| self.text(field)).transpose()
    }

    pub(super) fn parsed<T: std::str::FromStr>(&self, field: &str) -> Result<T, NotAnEntry> {
        self.text(field)?.parse().map_err(|_| self.wrong(field))
    }

    /// The one of these that goes by that word.
    pub(super) fn one_of<T: Copy>(
        &self,
        field: &str,
        all: &[T],
        word: fn(T) -> &'static str,
    ) -> Result<T, NotAnEntry> {
        let text = self.text(field)?;
        all.iter().copied().find(|one| word(*one) == text).ok_or_else(|| self.wrong(field))
    }

    pub(super) fn whole<T: TryFrom<i64>>(&self, field: &str) -> Result<T, NotAnEntry> {
        let n = self.json.get(field).and_then(Json::as_whole);
        n.and_then(|n| T::try_from(n).ok()).ok_or_else(|| self.wrong(field))
    }

    pub(super) fn texts(&self, field: &str) -> Result<Vec<String>, NotAnEntry> {
        match self.json.get(field) {
            Some(Json::List(items)) => {
                let items = items.iter().map(|item| item.as_text().map(str::to_owned));
                items.collect::<Option<_>>().ok_or_else(|| self.wrong(field))
            }
            _ => Err(self.wrong(field)),
        }
    }

    pub(super) fn inner<'a>(&'a self, field: &str) -> Result<Fields<'a>, NotAnEntry> {
        let json = self.json.get(field).ok_or_else(|| self.wrong(field))?;
        Ok(Fields { json, seq: self.seq })
    }

    fn value(&self, field: &str) -> Result<Value, NotAnEntry> {
        self.json.get(field).and_then(read_value).ok_or_else(|| self.wrong(field))
    }

    fn quantity(&self, field: &str) -> Result<Quantity, NotAnEntry> {
        self.json.get(field).and_then(read_quantity).ok_or_else(|| self.wrong(field))
    }

    /// The checklist, and where it is a later walk of it, which.
    fn walk(&self) -> Result<Option<WalkId>, NotAnEntry> {
        let checklist = self.json.get("checklist").and_then(Json::as_text);
        let Some(_) = self.json.get("walk") else { return Ok(checklist.map(WalkId::first)) };
        let walk: WalkId = self.parsed("walk")?;
        if walk.nth == 1 || checklist != Some(&walk.checklist) {
            return Err(self.wrong("walk"));
        }
        Ok(Some(walk))
    }

    fn how(&self) -> Result<How, NotAnEntry> {
        self.how_of("how", self.json.get("how").ok_or_else(|| self.wrong("how"))?)
    }

    fn confirmed(&self) -> Result<Vec<How>, NotAnEntry> {
        match self.json.get("confirmed") {
            None => Ok(Vec::new()),
            Some(Json::List(all)) if !all.is_empty() => {
                all.iter().map(|one| self.how_of("confirmed", one)).collect()
            }
            Some(_) => Err(self.wrong("confirmed")),
        }
    }

    fn how_of(&self, field: &str, json: &Json) -> Result<How, NotAnEntry> {
        match json.as_text() {
            Some("keys") => Ok(How::Keys),
            Some("touch") => Ok(How::Touch),
            Some("command") => Ok(How::Command),
            Some("file") => Ok(How::File),
            Some("program") => Ok(How::Program),
            Some("http") => Ok(How::Http),
            Some(_) => Err(self.wrong(field)),
            None => {
                let how = Fields { json, seq: self.seq };
                how.inner("voice")?.heard().map(How::Voice)
            }
        }
    }

    fn yes_if_there(&self, field: &str) -> Result<Option<bool>, NotAnEntry> {
        match self.json.get(field) {
            None => Ok(None),
            Some(Json::Bool(yes)) => Ok(Some(*yes)),
            Some(_) => Err(self.wrong(field)),
        }
    }

    pub(super) fn heard(&self) -> Result<Heard, NotAnEntry> {
        Ok(Heard {
            words: self.text("words")?,
            b_milli: self.whole("b_milli")?,
            a_milli: self.whole("a_milli")?,
            m_milli: self.whole("m_milli")?,
            sound: self.parsed("sound_sha256")?,
        })
    }

    fn fact(&self) -> Result<(FactName, Value), NotAnEntry> {
        let fact = self.inner("fact")?;
        let row = match fact.json.get("row") {
            None => None,
            Some(_) => Some(fact.whole("row")?),
        };
        Ok((FactName { name: fact.text("name")?, row }, fact.value("value")?))
    }

    fn what(&self) -> Result<What, NotAnEntry> {
        let role = || self.text("role");
        let step = || self.parsed::<StepRef>("step");
        Ok(match self.text("what")?.as_str() {
            "job-opened" => What::JobOpened(self.inner("opened")?.job()?),
            "fact-given" => {
                let (name, value) = self.fact()?;
                What::FactGiven(name, value)
            }
            "pinned" => What::Pinned(self.inner("pin")?.pin()?),
            "walk-begun" => What::WalkBegun {
                version: self.parsed("version")?,
                hash: self.parsed("checklist_sha256")?,
            },
            "paused" => What::Paused,
            "resumed" => What::Resumed,
            "walk-ended" => What::WalkEnded,
            "answered" => What::Answered {
                step: step()?,
                asked: self.text("asked")?,
                given: self.given()?,
                target: match self.json.get("target") {
                    None => None,
                    Some(_) => Some(self.inner("target")?.target()?),
                },
                reason: self.json.get("reason").and_then(Json::as_text).map(str::to_owned),
            },
            "skipped" => What::Skipped { step: step()?, reason: self.text("reason")? },
            "cautioned" => What::Cautioned {
                step: step()?,
                said: self.texts("said")?,
                spoken: self.yes_if_there("spoken")?,
            },
            "noted" => What::Noted {
                step: self.json.get("step").map(|_| step()).transpose()?,
                text: match self.json.get("clip") {
                    None => self.text("text")?,
                    Some(_) => self.text("transcript")?,
                },
                clip: self.json.get("clip").map(|_| self.inner("clip")?.clip()).transpose()?,
            },
            "hearing-checked" => What::HearingChecked(Box::new(self.inner("check")?.check()?)),
            "ear-opened" => What::EarOpened {
                source: self.text("source")?,
                keeps: self.one_of("keeps", &Keeps::ALL, Keeps::word)?,
                check: match self.json.get("hearing_check") {
                    None => None,
                    Some(_) => Some(self.whole("hearing_check")?),
                },
            },
            "ear-closed" => What::EarClosed,
            "photo-taken" => What::PhotoTaken { step: step()? },
            "photo-kept" => What::PhotoKept {
                step: self.json.get("step").map(|_| step()).transpose()?,
                photo: Box::new(self.inner("photo")?.photo()?),
            },
            "point-reached" => What::PointReached {
                step: step()?,
                kind: match self.text("point")?.as_str() {
                    "hold" => PointKind::Hold,
                    "witness" => PointKind::Witness,
                    _ => return Err(self.wrong("point")),
                },
                role: role()?,
            },
            "released" => What::Released { step: step()?, role: role()? },
            "accepted" => What::Accepted {
                entry: self.whole("accepted_entry")?,
                step: step()?,
                kinds: self.kinds("deviations")?,
                role: role()?,
                reason: self.text("reason")?,
            },
            "callback-opened" => What::CallbackOpened(Box::new(self.inner("callback")?.call()?)),
            "callback-visited" => What::CallbackVisited {
                id: self.whole("callback_id")?,
                visit: self.parsed("visit")?,
            },
            "callback-closed" => What::CallbackClosed(Box::new(self.inner("finding")?.finding()?)),
            "follow-up-issued" => What::FollowUpIssued {
                uid: self.text("uid")?,
                start: self.parsed("start")?,
                title: self.text("title")?,
                sequence: self.whole("sequence")?,
                placed: match self.json.get("planned") {
                    None => None,
                    Some(_) => Some(Placed {
                        planned: self.parsed("planned")?,
                        why: self.text("placed_because")?,
                    }),
                },
            },
            "follow-up-moved" => What::FollowUpMoved {
                uid: self.text("uid")?,
                start: self.parsed("start")?,
                reason: self.text("reason")?,
                sequence: self.whole("sequence")?,
            },
            "follow-up-cancelled" => What::FollowUpCancelled {
                uid: self.text("uid")?,
                reason: self.text("reason")?,
                sequence: self.whole("sequence")?,
            },
            "follow-up-added" => What::FollowUpAdded {
                uid: self.text("uid")?,
                start: self.parsed("start")?,
                lasts_min: self.whole("lasts_min")?,
                title: self.text("title")?,
                who: self.text_if_there("who")?,
                checklist: self.text_if_there("visit_checklist")?,
                callback: self
                    .json
                    .get("callback_id")
                    .map(|_| self.whole("callback_id"))
                    .transpose()?,
            },
            "person-set" => {
                What::PersonSet { name: self.text("name")?, roles: self.parsed("roles")? }
            }
            "person-left" => What::PersonLeft { name: self.text("name")? },
            "signed-in" => What::SignedIn { device: self.text("device")? },
            "sign-in-ended" => {
                What::SignInEnded { name: self.text("name")?, device: self.text("device")? }
            }
            "key-made" => What::KeyMade { name: self.text("name")?, called: self.text("called")? },
            "key-ended" => {
                What::KeyEnded { name: self.text("name")?, called: self.text("called")? }
            }
            _ => return Err(self.wrong("what")),
        })
    }

    fn given(&self) -> Result<Given, NotAnEntry> {
        if self.json.get("given").and_then(Json::as_text) == Some("done") {
            return Ok(Given::Done);
        }
        let given = self.inner("given")?;
        match given.json {
            Json::Object(members) => match members.keys().next() {
                Some("measured") => Ok(Given::Measured(given.quantity("measured")?)),
                Some("counted") => Ok(Given::Counted(given.whole("counted")?)),
                Some("chosen") => Ok(Given::Chosen(given.text("chosen")?)),
                Some("noted") => Ok(Given::Noted(given.text("noted")?)),
                Some("fact") => given.fact().map(|(name, value)| Given::Fact(name, value)),
                _ => Err(self.wrong("given")),
            },
            _ => Err(self.wrong("given")),
        }
    }

    fn target(&self) -> Result<Target, NotAnEntry> {
        if self.json.get("at_least").is_some() {
            Ok(Target::AtLeast(self.whole("at_least")?))
        } else if self.json.get("one_of").is_some() {
            Ok(Target::OneOf(self.texts("one_of")?))
        } else {
            Ok(Target::Mark(self.quantity("mark")?, self.quantity("tolerance")?))
        }
    }

    pub(super) fn each<T>(
        &self,
        field: &str,
        read: impl Fn(&Fields<'_>) -> Result<T, NotAnEntry>,
    ) -> Result<Vec<T>, NotAnEntry> {
        match self.json.get(field) {
            Some(Json::List(items)) => {
                items.iter().map(|json| read(&Fields { json, seq: self.seq })).collect()
            }
            _ => Err(self.wrong(field)),
        }
    }

    fn job(&self) -> Result<Job, NotAnEntry> {
        Ok(Job {
            number: self.text("number")?,
            address: self.text("address")?,
            owner: self.text("owner")?,
            phone: self.text("phone")?,
            company: self.text("company")?,
            time_zone: self.text("time_zone")?,
            code_edition: self.text("code_edition")?,
            units: match self.text("units")?.as_str() {
                "us" => Units::Us,
                "metric" => Units::Metric,
                _ => return Err(self.wrong("units")),
            },
            invented: self.json.get("invented") == Some(&Json::Bool(true)),
            people: self.each("people", |person| {
                let language = match person.json.get("language") {
                    None => None,
                    Some(_) => {
                        let language = super::Language::of(&person.text("language")?);
                        Some(language.ok_or_else(|| person.wrong("language"))?)
                    }
                };
                Ok(Person { name: person.text("name")?, role: person.text("role")?, language })
            })?,
            pins: self.each("pins", |pin| pin.pin())?,
        })
    }

    fn pin(&self) -> Result<Pin, NotAnEntry> {
        Ok(Pin {
            kind: self.one_of("kind", &[PinKind::Checklist, PinKind::Profile], PinKind::word)?,
            id: self.text("id")?,
            version: self.parsed("version")?,
            hash: self.parsed("sha256")?,
        })
    }
}
