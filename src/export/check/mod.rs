//! Whether a sealed record holds: its seal, the head of the log it came from, its
//! entries and their places in that log, and whether what it shows follows from
//! them. Needs nothing but the document. Whose key it is the reader has to know.

mod shown;

use crate::domain::entry_json;
use crate::domain::jws::{Jws, Kind};
use crate::domain::merkle::{self, Proofs};
use crate::domain::{At, Entry, Fingerprint, Hash, Json, KeyChange, SignedHead, sealing};

/// What was looked at.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Part {
    /// The signature over the whole document.
    Seal,
    /// The signed head of the device's log.
    Head,
    /// The entries: unchanged, in order, linked.
    Entries,
    /// Their places in the log.
    Places,
    /// What the record shows.
    Shown,
    /// The key it was sealed with.
    Key,
    /// The pages of a PDF.
    Pages,
}

impl Part {
    /// In one word.
    #[must_use]
    pub fn word(self) -> &'static str {
        match self {
            Self::Seal => "seal",
            Self::Head => "head",
            Self::Entries => "entries",
            Self::Places => "places",
            Self::Shown => "shown",
            Self::Key => "key",
            Self::Pages => "pages",
        }
    }
}

/// What a look at a part came to.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum State {
    /// It holds.
    Holds,
    /// It does not.
    Broken,
    /// It could not be compared, so nobody knows.
    NotCompared,
}

impl State {
    /// In one or two words.
    #[must_use]
    pub fn word(self) -> &'static str {
        match self {
            Self::Holds => "holds",
            Self::Broken => "does not hold",
            Self::NotCompared => "not compared",
        }
    }
}

impl From<bool> for State {
    fn from(holds: bool) -> Self {
        if holds { Self::Holds } else { Self::Broken }
    }
}

/// One thing that holds or does not.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Finding {
    /// What was looked at.
    pub part: Part,
    /// What that came to.
    pub state: State,
    /// The entry it is about, where it is about one.
    pub seq: Option<u64>,
    /// A sentence for a person.
    pub says: String,
}

impl Finding {
    /// Whether it holds.
    #[must_use]
    pub fn holds(&self) -> bool {
        self.state == State::Holds
    }
}

/// What a check came to.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Report {
    /// The job's number, as the record says it.
    pub job: String,
    /// The key that sealed it, where the seal holds.
    pub key: Option<Fingerprint>,
    /// When the head in it was made, where that holds.
    pub made: Option<At>,
    /// SHA-256 of what is sealed.
    pub hash: Option<Hash>,
    /// Announcements of keys in it that hold, and whether the old key signed too.
    pub changes: Vec<(KeyChange, bool)>,
    /// Everything that was looked at.
    pub findings: Vec<Finding>,
}

/// So many findings of one part are told one by one.
const MOST_TOLD: usize = 10;

impl Report {
    /// Whether everything holds.
    #[must_use]
    pub fn holds(&self) -> bool {
        !self.findings.is_empty() && self.findings.iter().all(Finding::holds)
    }

    /// Whether something does not hold; what was not compared is not among it.
    #[must_use]
    pub fn is_broken(&self) -> bool {
        self.findings.iter().any(|finding| finding.state == State::Broken)
    }

    /// The first entry that something does not hold of.
    #[must_use]
    pub fn since(&self) -> Option<u64> {
        self.findings.iter().filter(|f| !f.holds()).filter_map(|f| f.seq).min()
    }

    fn sealed(&mut self, seal: SealedBy) {
        (self.key, self.hash) = (seal.key, seal.hash);
        self.add(Part::Seal, seal.key.is_some(), None, seal.says);
    }

    fn add(&mut self, part: Part, holds: bool, seq: Option<u64>, says: String) {
        self.findings.push(Finding { part, state: holds.into(), seq, says });
    }

    /// All that is wrong with a part, or what holds of it where nothing is.
    fn all(&mut self, part: Part, wrong: Vec<(Option<u64>, String)>, right: String) {
        let more = wrong.len().saturating_sub(MOST_TOLD);
        if wrong.is_empty() {
            self.add(part, true, None, right);
        }
        for (seq, says) in wrong.into_iter().take(MOST_TOLD) {
            self.add(part, false, seq, says);
        }
        if 0 < more {
            self.add(part, false, None, format!("and {more} more like these"));
        }
    }
}

/// Does the two halves of a check: one after the other, or side by side.
pub trait Hands {
    /// Does both and gives what each came to.
    fn both<A: Send, B: Send>(
        &self,
        one: impl FnOnce() -> A + Send,
        other: impl FnOnce() -> B + Send,
    ) -> (A, B);
}

/// One after the other.
#[derive(Clone, Copy, Debug)]
pub struct InTurn;

impl Hands for InTurn {
    fn both<A: Send, B: Send>(
        &self,
        one: impl FnOnce() -> A + Send,
        other: impl FnOnce() -> B + Send,
    ) -> (A, B) {
        (one(), other())
    }
}

/// Checks a record of the shape `chalkhand-record/1`.
#[must_use]
pub fn record(document: Json) -> Report {
    record_by(&document, &InTurn)
}

/// The same: the seal is one half of the work, everything else the other.
#[must_use]
pub fn record_by(document: &Json, hands: &impl Hands) -> Report {
    let mut report = Report::default();
    if !matches!(document, Json::Object(_)) {
        report.add(Part::Seal, false, None, "it is not a record".to_owned());
        return report;
    }
    if document.get("format").and_then(Json::as_text) != Some("chalkhand-record/1") {
        report.add(Part::Seal, false, None, "it is not a record of a known shape".to_owned());
        return report;
    }
    let number = document.get("job").and_then(|job| job.get("number")).and_then(Json::as_text);
    report.job = number.unwrap_or_default().to_owned();
    let Some(log) = document.get("log") else {
        report.sealed(sealed_by(document));
        report.add(Part::Entries, false, None, "it holds no entries of a log".to_owned());
        return report;
    };
    let (seal, (signed, rest)) = hands.both(|| sealed_by(document), || logged(document, log));
    report.sealed(seal);
    head(&mut report, log, signed);
    changes(&mut report, log);
    report.findings.extend(rest.findings);
    report
}

/// What the look at a seal came to.
struct SealedBy {
    /// Who sealed it, where the seal holds.
    key: Option<Fingerprint>,
    /// Of what is sealed.
    hash: Option<Hash>,
    says: String,
}

/// The key of a seal that holds over the document.
fn sealed_by(document: &Json) -> SealedBy {
    let not = |hash, says: String| SealedBy { key: None, hash, says };
    let Some(seal) = document.get("seal") else { return not(None, "it is not sealed".to_owned()) };
    let payload = match sealing::payload(document) {
        Ok(payload) => payload,
        Err(wrong) => return not(None, wrong.to_string()),
    };
    let hash = Some(Hash::of(payload.as_bytes()));
    let Some(jws) = Jws::read(seal) else { return not(hash, "its seal is damaged".to_owned()) };
    match jws.check(Kind::Record, &payload) {
        Ok(key) => {
            let says = "nothing in it was changed since it was sealed".to_owned();
            SealedBy { key: Some(key.fingerprint()), hash, says }
        }
        Err(why) => not(
            hash,
            format!(
                "the seal does not hold ({why}): something was changed after it was sealed, or \
                 the seal is of another record"
            ),
        ),
    }
}

/// The signed head in a log.
type Head = Result<SignedHead, sealing::NotAHead>;

/// The head as it reads, and what holds of the entries, their places and what is
/// shown of them.
fn logged(document: &Json, log: &Json) -> (Option<Head>, Report) {
    let mut report = Report::default();
    let head = log.get("head").map(SignedHead::read);
    let Some(Json::List(items)) = log.get("entries") else {
        report.add(Part::Entries, false, None, "it holds no entries of a log".to_owned());
        return (head, report);
    };
    let entries = entries(&mut report, items);
    places(&mut report, log, items, &entries, head.as_ref().and_then(|head| head.as_ref().ok()));
    let whole: Option<Vec<&Entry>> =
        entries.iter().map(|read| read.as_ref().map(|read| &read.entry)).collect();
    match whole.filter(|entries| !entries.is_empty()) {
        Some(entries) => {
            let wrong = shown::wrong(document, log, &entries);
            let right = "what it shows of job, facts, steps, notes and sound follows from the \
                         entries; measures, warnings and cautions need the checklists, whose \
                         hashes it names";
            report.all(Part::Shown, wrong, right.to_owned());
        }
        None => {
            let why = "what it shows cannot be compared with entries that cannot be read";
            report.add(Part::Shown, false, None, why.to_owned());
        }
    }
    (head, report)
}

/// Whether the head holds, and is of the device that sealed the record.
fn head(report: &mut Report, log: &Json, read: Option<Head>) {
    let device = log.get("device").and_then(Json::as_text);
    match read {
        None => report.add(Part::Head, false, None, "it holds no head of a log".to_owned()),
        Some(Err(why)) => report.add(Part::Head, false, None, why.to_string()),
        Some(Ok(SignedHead { head, .. })) => {
            report.made = Some(head.made);
            let same = report.key.is_none_or(|key| key == head.device)
                && device == Some(head.device.to_string().as_str());
            let says = if same {
                format!("the head of the log is signed: {} entries at {}", head.size, head.made)
            } else {
                "the head of the log is of another device than the seal".to_owned()
            };
            report.add(Part::Head, same, None, says);
        }
    }
}

/// Keys that were replaced: each announcement has to hold, the last to lead to
/// the key of the seal.
fn changes(report: &mut Report, log: &Json) {
    let key = report.key;
    let Some(Json::List(items)) = log.get("keys") else { return };
    let read: Option<Vec<_>> = items.iter().map(KeyChange::read).collect();
    let chained = read.filter(|all| {
        let next = |pair: &[(KeyChange, bool)]| match pair {
            [(before, _), (after, _)] => before.key.fingerprint() == after.replaces,
            _ => true,
        };
        all.windows(2).all(next)
            && key.is_none_or(|key| all.last().is_none_or(|(c, _)| c.key.fingerprint() == key))
    });
    match chained {
        Some(all) => report.changes = all,
        None => {
            let says = "an announcement that a key was replaced does not hold".to_owned();
            report.add(Part::Key, false, None, says);
        }
    }
}

/// An entry whose text has its hash.
struct Read {
    entry: Entry,
    /// Its leaf in the tree.
    leaf: Hash,
}

/// Reads every entry and checks that it is unchanged, in order and linked; none
/// for what cannot be read.
fn entries(report: &mut Report, items: &[Json]) -> Vec<Option<Read>> {
    let (mut wrong, mut text) = (Vec::new(), String::new());
    let mut all: Vec<Option<Read>> = Vec::with_capacity(items.len());
    for item in items {
        let read = match read(item, &mut text) {
            Ok(read) => read,
            Err(told) => {
                wrong.push(told);
                all.push(None);
                continue;
            }
        };
        let (entry, seq) = (&read.entry, read.entry.seq);
        if let Some(Some(Read { entry: before, .. })) = all.last() {
            if seq <= before.seq {
                let says = format!("entry {seq} stands after entry {}: out of order", before.seq);
                wrong.push((Some(seq), says));
            } else if seq == before.seq + 1 && entry.previous != before.hash {
                let says = format!("entry {seq} does not follow the entry before it");
                wrong.push((Some(seq), says));
            }
            if entry.draft.job != before.draft.job {
                let (other, job) = (&entry.draft.job, &before.draft.job);
                let says = format!("entry {seq} is of job {other}, not of job {job}");
                wrong.push((Some(seq), says));
            }
        }
        if all.is_empty() && entry.draft.what.word() != "job-opened" {
            let says = format!("the entry that opened the job is left out: entry {seq} is first");
            wrong.push((Some(seq), says));
        }
        all.push(Some(read));
    }
    if items.is_empty() {
        wrong.push((None, "it holds no entries".to_owned()));
    }
    let right = format!("{} entries are as they were logged, in order", items.len());
    report.all(Part::Entries, wrong, right);
    all
}

/// One entry against its hash. Its text is written where that of the one before was.
fn read(item: &Json, text: &mut String) -> Result<Read, (Option<u64>, String)> {
    let Some(json) = item.get("entry") else { return Err((None, "an entry is missing".into())) };
    let seq = json.get("seq").and_then(Json::as_whole).and_then(|n| u64::try_from(n).ok());
    let name = || seq.map_or_else(|| "an entry".to_owned(), |seq| format!("entry {seq}"));
    text.clear();
    let written = json.write_canonical(text);
    let hash = Hash::of(text.as_bytes());
    let told = item.get("sha256").and_then(Json::as_text).and_then(|told| told.parse().ok());
    if written.is_err() || told != Some(hash) {
        return Err((seq, format!("{} was changed: its text no longer has its hash", name())));
    }
    let entry = entry_json::read(json, hash).map_err(|why| (seq, why.to_string()))?;
    // Nothing may ride along that is read over.
    if !entry_json::is_sealed(json, &entry) {
        return Err((seq, format!("{} holds something that no entry has", name())));
    }
    Ok(Read { entry, leaf: merkle::leaf(text.as_bytes()) })
}

/// The proof of each entry against the head.
fn places(
    report: &mut Report,
    log: &Json,
    items: &[Json],
    entries: &[Option<Read>],
    head: Option<&SignedHead>,
) {
    let Some(SignedHead { head, .. }) = head else {
        let says = "without a head that holds, nothing shows that the entries are in the log";
        return report.add(Part::Places, false, None, says.to_owned());
    };
    let nodes: Option<Vec<Hash>> = match log.get("nodes") {
        Some(Json::List(nodes)) => nodes.iter().map(|node| node.as_text()?.parse().ok()).collect(),
        _ => None,
    };
    let Some(nodes) = nodes else {
        let says = "the hashes that place the entries in the log are damaged".to_owned();
        return report.add(Part::Places, false, None, says);
    };
    let mut wrong = Vec::new();
    let mut proofs = Proofs::new(head.root, head.size);
    for (item, entry) in items.iter().zip(entries) {
        // One that cannot be read was told already.
        let Some(Read { entry, leaf }) = entry else { continue };
        let proof: Option<Vec<Hash>> = match item.get("proof") {
            Some(Json::List(proof)) => {
                let at =
                    |place: &Json| nodes.get(usize::try_from(place.as_whole()?).ok()?).copied();
                proof.iter().map(at).collect()
            }
            _ => None,
        };
        let index = entry.seq.saturating_sub(1);
        let placed =
            0 < entry.seq && proof.is_some_and(|proof| proofs.include(index, leaf, &proof));
        if !placed {
            let says = format!("entry {} is not in the log that the head was signed of", entry.seq);
            wrong.push((Some(entry.seq), says));
        }
    }
    let right = format!("every entry has its place in the log of {} entries", head.size);
    report.all(Part::Places, wrong, right);
}
