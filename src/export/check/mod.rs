//! Whether a sealed record holds: its seal, the head of the log it came from, its
//! entries and their places in that log, and whether what it shows follows from
//! them. Needs nothing but the document. Whose key it is the reader has to know.

mod entries;
mod places;
mod shown;

use super::words;
use crate::domain::jws::{Jws, Kind};
use crate::domain::{At, Claim, Entry, Fingerprint, Hash, Json, KeyChange, SignedHead, sealing};

use places::Places;

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
    /// What the record itself says nobody may overlook: work that is not finished, photos
    /// that are gone, recordings that answered more than once.
    pub says_of_itself: Vec<String>,
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
    record_by(&document, None, &InTurn)
}

/// Reads the text of a record and checks it. What the text claims of its seal is
/// checked while it is read.
///
/// # Errors
/// Those of `read`.
pub fn text<E: Send>(
    text: &[u8],
    read: impl FnOnce(&[u8]) -> Result<Json, E> + Send,
    hands: &impl Hands,
) -> Result<(Json, Report), E> {
    let (claim, document) = hands.both(|| Claim::of(text), || read(text));
    let document = document?;
    let report = record_by(&document, claim.as_ref(), hands);
    Ok((document, report))
}

fn record_by(document: &Json, claim: Option<&Claim>, hands: &impl Hands) -> Report {
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
    let says = ["unfinished", "photos_amiss", "recordings_reused"].into_iter();
    let says = says.filter_map(|name| document.get(name).and_then(Json::as_text));
    report.says_of_itself = says.map(words::one_line).collect();
    let no_entries = "it holds no entries of a log".to_owned();
    let Some(log) = document.get("log") else {
        report.sealed(sealed_by(document, claim));
        report.add(Part::Entries, false, None, no_entries);
        return report;
    };
    let signed = log.get("head").map(SignedHead::read);
    let Some(items) = log.get("entries").and_then(Json::as_list) else {
        report.sealed(sealed_by(document, claim));
        head(&mut report, log, signed);
        changes(&mut report, log);
        report.add(Part::Entries, false, None, no_entries);
        return report;
    };
    let places = Places::of(log, signed.as_ref().and_then(|head| head.as_ref().ok()));
    let (one, other) = items.split_at(items.len() / 2);
    let (one, other) = hands.both(|| entries::read(one, &places), || entries::read(other, &places));
    let all: Vec<&entries::Read> = one.iter().chain(&other).collect();
    let (seal, rest) = hands.both(
        || sealed_by(document, claim),
        || {
            let mut rest = Report::default();
            entries::in_order(&mut rest, &all);
            places.told(&mut rest, &all);
            shows(&mut rest, document, log, &all);
            rest
        },
    );
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
fn sealed_by(document: &Json, claim: Option<&Claim>) -> SealedBy {
    let not = |hash, says: String| SealedBy { key: None, hash, says };
    let Some(seal) = document.get("seal") else { return not(None, "it is not sealed".to_owned()) };
    let hash = match sealing::payload_hash(document) {
        Ok(hash) => hash,
        Err(wrong) => return not(None, wrong.to_string()),
    };
    let Some(jws) = Jws::read(seal) else {
        return not(Some(hash), "its seal is damaged".to_owned());
    };
    let claimed = claim.and_then(|claim| claim.signed(hash, &jws));
    match claimed.unwrap_or_else(|| sealing::check(document, &jws, Kind::Record)) {
        Ok(key) => {
            let says = "nothing in it was changed since it was sealed".to_owned();
            SealedBy { key: Some(key.fingerprint()), hash: Some(hash), says }
        }
        Err(why) => not(
            Some(hash),
            format!(
                "the seal does not hold ({why}): something was changed after it was sealed, or \
                 the seal is of another record"
            ),
        ),
    }
}

/// The signed head in a log.
type Head = Result<SignedHead, sealing::NotAHead>;

/// What is shown against the entries.
fn shows(report: &mut Report, document: &Json, log: &Json, all: &[&entries::Read]) {
    let whole: Option<Vec<&Entry>> =
        all.iter().map(|read| read.as_ref().ok().map(|(entry, _)| entry)).collect();
    match whole.filter(|entries| !entries.is_empty()) {
        Some(entries) => {
            let wrong = shown::wrong(document, log, &entries);
            let right = "what it shows of job, facts, steps, notes and sound follows from the \
                         entries; measures, warnings and cautions need the checklists, whose \
                         hashes it names; they, drawings, dates, figures of the product and the \
                         words around them are under the seal alone";
            report.all(Part::Shown, wrong, right.to_owned());
        }
        None => {
            let why = "what it shows cannot be compared with entries that cannot be read";
            report.add(Part::Shown, false, None, why.to_owned());
        }
    }
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
