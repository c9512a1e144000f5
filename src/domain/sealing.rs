//! A sealed record: the record, the job's entries as they were logged with proofs
//! that they stand in the device's log, and a signature over all of it. Also the
//! signed head of a log. Whether a record holds is `export::check`'s business.

use std::collections::HashMap;
use std::fmt;

use jiff::civil::Date;

use super::gathered::Gathered;
use super::jws::{Jws, Kind};
use super::merkle::{self, Tree};
use super::seal::Hashing;
use super::{
    At, DeviceKey, Entry, Fingerprint, Hash, Json, Members, NotSigned, PublicKey, entry_json,
};

/// What wrote a document: words of another version may differ from this one's.
pub const PROGRAM: &str = concat!("chalkhand ", env!("CARGO_PKG_VERSION"));

/// The largest whole number in a sealed document: every reader keeps it exactly.
const LARGEST: f64 = 9_007_199_254_740_991.0;

/// What a device's log was at one moment.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Head {
    /// The day it is of.
    pub day: Date,
    /// The device, by its key.
    pub device: Fingerprint,
    /// When it was made.
    pub made: At,
    /// How many entries the log had.
    pub size: u64,
    /// The root of the tree over them.
    pub root: Hash,
}

/// A head with its signature.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct SignedHead {
    /// What is signed.
    pub head: Head,
    /// By the device's key.
    pub seal: Jws,
}

/// Why something is not a head that holds.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum NotAHead {
    /// Another shape.
    #[error("it is not the head of a log: `{field}` is missing or is not what it should be")]
    Field {
        /// The member at fault.
        field: &'static str,
    },
    /// The signature does not hold.
    #[error("the head of the log does not hold: {0}")]
    Signature(#[from] NotSigned),
    /// Signed by another key than the one it names.
    #[error("the head of the log names another device than the key that signed it")]
    Device,
}

impl Head {
    /// Signs it.
    #[must_use]
    pub fn sign(self, key: &DeviceKey) -> SignedHead {
        let seal = key.sign(Kind::Head, &self.text());
        SignedHead { head: self, seal }
    }

    fn json(&self) -> Json {
        Json::object([
            ("format", "chalkhand-head/1".into()),
            ("day", Json::text(self.day)),
            ("device", Json::text(self.device)),
            ("made_at", Json::text(self.made)),
            ("tree_size", Json::whole(self.size)),
            ("root_sha256", Json::text(self.root)),
        ])
    }

    fn text(&self) -> String {
        // Its only number is whole, so it has a text.
        self.json().canonical().unwrap_or_default()
    }
}

impl SignedHead {
    /// As JSON.
    #[must_use]
    pub fn json(&self) -> Json {
        let mut json = self.head.json();
        if let Json::Object(members) = &mut json {
            members.insert("seal", self.seal.json());
        }
        json
    }

    /// On one line.
    #[must_use]
    pub fn compact(&self) -> String {
        self.seal.compact(&self.head.text())
    }

    /// Reads what `json` gave and checks it.
    ///
    /// # Errors
    /// Says what is missing or does not hold.
    pub fn read(json: &Json) -> Result<Self, NotAHead> {
        let seal = json.get("seal").and_then(Jws::read);
        let seal = seal.ok_or(NotAHead::Field { field: "seal" })?;
        Self::of(json, seal, |read| read.json() == *json)
    }

    /// Reads the payload of `compact` with the signature that was beside it.
    ///
    /// # Errors
    /// Says what is missing or does not hold.
    pub fn of_payload(payload: &Json, seal: Jws) -> Result<Self, NotAHead> {
        Self::of(payload, seal, |read| read.head.json() == *payload)
    }

    fn of(json: &Json, seal: Jws, same: impl Fn(&Self) -> bool) -> Result<Self, NotAHead> {
        fn parsed<T: std::str::FromStr>(json: &Json, field: &'static str) -> Result<T, NotAHead> {
            let text = json.get(field).and_then(Json::as_text);
            let read = text.and_then(|text| text.parse().ok());
            read.ok_or(NotAHead::Field { field })
        }
        let size = json.get("tree_size").and_then(Json::as_whole);
        let head = Head {
            day: parsed(json, "day")?,
            device: parsed(json, "device")?,
            made: parsed(json, "made_at")?,
            size: size
                .and_then(|size| u64::try_from(size).ok())
                .ok_or(NotAHead::Field { field: "tree_size" })?,
            root: parsed(json, "root_sha256")?,
        };
        let read = Self { head, seal };
        if !same(&read) {
            return Err(NotAHead::Field { field: "format" });
        }
        let key = read.seal.check(Kind::Head, &read.head.text())?;
        if key.fingerprint() != read.head.device {
            return Err(NotAHead::Device);
        }
        Ok(read)
    }
}

/// A sealed record.
#[derive(Clone, Debug, PartialEq)]
pub struct Sealed {
    /// The document: the record with the members `log` and `seal`.
    pub json: Json,
    /// SHA-256 of the canonical text of the document without `seal`.
    pub hash: Hash,
    /// Who sealed it.
    pub device: Fingerprint,
}

/// Why a record cannot be sealed.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum NotSealable {
    /// It is no object, or it is sealed already.
    #[error("only a record that is not sealed yet can be sealed")]
    Shape,
    /// Other programs may read such a number otherwise.
    #[error("a sealed record holds whole numbers only, and `{path}` is another one")]
    Number {
        /// Where it stands.
        path: String,
    },
    /// The log is not what the entries say.
    #[error("entry {seq} of the job is not in the log as it was logged: nothing was sealed")]
    Entry {
        /// The entry.
        seq: u64,
    },
}

/// Seals a record of these entries. `tree` is over every entry of the device's
/// log, `changes` are the announcements of keys that took another one's place.
///
/// # Errors
/// Nothing is sealed that could not be checked again.
pub fn sealed(
    record: Json,
    entries: &[Entry],
    tree: &Tree,
    now: At,
    changes: &[Json],
    key: &DeviceKey,
) -> Result<Sealed, NotSealable> {
    let Json::Object(mut members) = record else { return Err(NotSealable::Shape) };
    if members.contains_key("log") || members.contains_key("seal") {
        return Err(NotSealable::Shape);
    }
    let device = key.public().fingerprint();
    let head = head(tree, now.date(), tree.size(), now, key);
    let head = head.ok_or(NotSealable::Shape)?;
    let (mut nodes, mut places) = (Vec::new(), HashMap::new());
    let mut logged = Vec::with_capacity(entries.len());
    for entry in entries {
        let wrong = || NotSealable::Entry { seq: entry.seq };
        let json = entry_json::sealed(entry.seq, &entry.draft, entry.previous);
        let text = json.canonical().map_err(|_| wrong())?;
        let index = entry.seq.checked_sub(1).ok_or_else(wrong)?;
        if Hash::of(text.as_bytes()) != entry.hash
            || tree.leaf(index) != Some(merkle::leaf(text.as_bytes()))
        {
            return Err(wrong());
        }
        let proof = tree.inclusion(index, tree.size()).ok_or_else(wrong)?;
        let proof = proof.into_iter().map(|hash| {
            let place = *places.entry(hash).or_insert_with(|| {
                nodes.push(Json::text(hash));
                nodes.len() - 1
            });
            Json::whole(place as u64)
        });
        logged.push(Json::Object(Members::from([
            ("entry", json),
            ("sha256", Json::text(entry.hash)),
            ("proof", Json::List(proof.collect())),
        ])));
    }
    let mut log = Members::from([
        ("program", Json::from(PROGRAM)),
        ("device", Json::text(device)),
        ("head", head.json()),
        ("entries", Json::from(logged)),
        ("nodes", Json::from(nodes)),
    ]);
    if !changes.is_empty() {
        log.insert("keys", Json::List(changes.into()));
    }
    members.insert("log", Json::Object(log));
    let document = Json::Object(members);
    let payload = payload(&document)?;
    let seal = key.sign(Kind::Record, &payload);
    let Json::Object(mut members) = document else { return Err(NotSealable::Shape) };
    members.insert("seal", seal.json());
    Ok(Sealed { json: Json::Object(members), hash: Hash::of(payload.as_bytes()), device })
}

/// The signed head over the first `size` entries; none where there are fewer.
#[must_use]
pub fn head(tree: &Tree, day: Date, size: u64, now: At, key: &DeviceKey) -> Option<SignedHead> {
    let (device, root) = (key.public().fingerprint(), tree.root(size)?);
    Some(Head { day, device, made: now, size, root }.sign(key))
}

/// The text that is signed: canonical, of a document without its member `seal`.
///
/// # Errors
/// Names the first number that is not whole, or that another reader may round.
pub fn payload(document: &Json) -> Result<String, NotSealable> {
    let mut text = String::new();
    write_payload(document, &mut text)?;
    Ok(text)
}

/// The hash of [`payload`], which is not kept.
///
/// # Errors
/// As of [`payload`].
pub fn payload_hash(document: &Json) -> Result<Hash, NotSealable> {
    let mut hashing = Hashing::default();
    let mut pieces = Gathered::new(|piece: &[u8]| hashing.add(piece));
    write_payload(document, &mut pieces)?;
    pieces.done();
    Ok(hashing.hash())
}

/// Who signed [`payload`], which is not kept. A document without one is not signed.
///
/// # Errors
/// Says why nobody did.
pub fn check(document: &Json, seal: &Jws, kind: Kind) -> Result<PublicKey, NotSigned> {
    let mut checking = seal.checking(kind)?;
    let mut pieces = Gathered::new(|piece: &[u8]| checking.add(piece));
    write_payload(document, &mut pieces).map_err(|_| NotSigned::Payload)?;
    pieces.done();
    checking.done()
}

fn write_payload(document: &Json, out: &mut impl fmt::Write) -> Result<(), NotSealable> {
    let odd = |_| NotSealable::Number { path: odd_number(document).unwrap_or_default() };
    document.write_whole_without("seal", out).map_err(odd)
}

/// Whether a number is not whole or too large.
fn is_odd(n: f64) -> bool {
    n.fract() != 0.0 || LARGEST < n.abs() || !n.is_finite() || (n == 0.0 && n.is_sign_negative())
}

/// Where a number stands that is not whole or too large.
fn odd_number(json: &Json) -> Option<String> {
    match json {
        Json::Number(n) => is_odd(*n).then(String::new),
        Json::List(items) => {
            let mut items = items.iter().enumerate();
            items.find_map(|(at, item)| Some(format!("[{at}]{}", odd_number(item)?)))
        }
        Json::Object(members) => {
            members.iter().find_map(|(key, value)| Some(format!(".{key}{}", odd_number(value)?)))
        }
        Json::Null | Json::Bool(_) | Json::Text(_) => None,
    }
}
