//! Sealed documents as bytes: strict JSON, the line of a printed head, and the
//! record that is attached to a PDF. What comes in may be hostile: sizes are
//! bounded, and nothing is read in two ways. Whether it holds is decided elsewhere.

use std::cell::{Cell, RefCell};
use std::collections::{BTreeMap, BTreeSet};
use std::fmt;
use std::io::Read as _;

use flate2::read::ZlibDecoder;
use hayro_syntax::Pdf;
use hayro_syntax::object::{Array, Dict, Name as PdfName, Object, Stream, String as PdfString};
use serde::de::{DeserializeSeed, Error as _, MapAccess, SeqAccess, Visitor};

use crate::domain::jws::Jws;
use crate::domain::{Hash, Json, Name};

/// The largest document that is read, in bytes.
pub const LARGEST_SEALED: usize = 64 << 20;

/// Values in it at most: numbers, texts, lists, objects.
const MOST_VALUES: u32 = 3_000_000;

/// The name of the record in a PDF.
pub const ATTACHED: &str = "record.json";

/// Why a document cannot be read.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum Unread {
    /// Too many bytes.
    #[error("it is larger than {} MiB, which no sealed document is", LARGEST_SEALED >> 20)]
    TooLarge,
    /// Not JSON as a sealed document writes it.
    #[error("it is not the JSON of a sealed document: {0}")]
    NotJson(String),
    /// Not a PDF that can be read.
    #[error("it is not a PDF that can be read")]
    NotPdf,
    /// No record in it, or more than one.
    #[error("it has {0} attachments `record.json` and should have one")]
    Attachments(usize),
    /// The attachment cannot be unpacked.
    #[error("its attachment `record.json` cannot be unpacked")]
    Packed,
    /// No head in a text.
    #[error("it holds no head of a log: look for the one long line, and keep it on one line")]
    NoHead,
}

/// The pictures in a PDF that are JPEG files to the letter, by their hash. Found
/// by the words around a stream alone, so that hostile files cost nothing; what is
/// cut wrongly has another hash and is no photo of any record.
#[must_use]
pub fn pictures(pdf: &[u8]) -> BTreeMap<Hash, Vec<u8>> {
    const START: &[u8] = b"stream\n\xff\xd8\xff";
    const END: &[u8] = b"\nendstream";
    let mut found = BTreeMap::new();
    let mut rest = pdf;
    while let Some(at) = rest.windows(START.len()).position(|part| part == START) {
        rest = rest.get(at.saturating_add(b"stream\n".len())..).unwrap_or_default();
        let Some(end) = rest.windows(END.len()).position(|part| part == END) else { break };
        if let Some(picture) = rest.get(..end) {
            found.insert(Hash::of(picture), picture.to_vec());
        }
        rest = rest.get(end..).unwrap_or_default();
    }
    found
}

/// Reads JSON: UTF-8, one document, no member twice, whole numbers that every
/// reader keeps exactly, at most 128 deep.
///
/// # Errors
/// Says what is wrong, with line and column.
pub fn read_json(bytes: &[u8]) -> Result<Json, Unread> {
    if LARGEST_SEALED < bytes.len() {
        return Err(Unread::TooLarge);
    }
    // Its texts are UTF-8 where all of it is; what is not is told by its place.
    let read = match std::str::from_utf8(bytes) {
        Ok(text) => read_all(&mut serde_json::Deserializer::from_str(text)),
        Err(_) => read_all(&mut serde_json::Deserializer::from_slice(bytes)),
    };
    read.map_err(|error| Unread::NotJson(error.to_string()))
}

fn read_all<'de, R: serde_json::de::Read<'de>>(
    reader: &mut serde_json::Deserializer<R>,
) -> serde_json::Result<Json> {
    let unfinished = Unfinished { left: Cell::new(MOST_VALUES), ..Unfinished::default() };
    let json = Strict(&unfinished).deserialize(&mut *reader)?;
    reader.end()?;
    Ok(json)
}

/// A head as JSON or as the one long line of its printed text: its payload and,
/// where that stood apart, its signature.
///
/// # Errors
/// Neither is in it.
pub fn read_head(bytes: &[u8]) -> Result<(Json, Option<Jws>), Unread> {
    let text = std::str::from_utf8(bytes).map_err(|_| Unread::NoHead)?;
    if text.trim_start().starts_with('{') {
        return read_json(bytes).map(|json| (json, None));
    }
    let found = text.split_whitespace().find_map(Jws::of_compact);
    let (seal, payload) = found.ok_or(Unread::NoHead)?;
    let json = read_json(payload.as_bytes())?;
    // What was signed is the canonical text, so there is one way to write it.
    if json.canonical().ok().as_ref() != Some(&payload) {
        return Err(Unread::NoHead);
    }
    Ok((json, Some(seal)))
}

/// The record attached to a PDF. A hostile one can nest deeper than the reader's
/// stack or keep it busy for long: who reads strangers' files does it in a process
/// of its own.
///
/// # Errors
/// It cannot be read, or does not have exactly one.
pub fn attached_record(pdf: Vec<u8>) -> Result<Vec<u8>, Unread> {
    if LARGEST_SEALED < pdf.len() {
        return Err(Unread::TooLarge);
    }
    let pdf = Pdf::new(pdf).map_err(|_| Unread::NotPdf)?;
    let root: Dict<'_> = pdf.xref().get(pdf.xref().root_id()).ok_or(Unread::NotPdf)?;
    let tree = root.get::<Dict<'_>>("Names").and_then(|names| names.get("EmbeddedFiles"));
    let mut found = Vec::new();
    if let Some(tree) = tree {
        let mut left = MOST_NODES;
        attachments(&tree, DEEPEST, &mut left, &mut found);
    }
    match found.as_slice() {
        [stream] => unpacked(stream),
        _ => Err(Unread::Attachments(found.len())),
    }
}

/// Bounds of a PDF's tree of names: how deep, and how many nodes and names.
const DEEPEST: u32 = 16;
const MOST_NODES: u32 = 10_000;

/// Looks through a tree of names (ISO 32000-1 section 7.9.6).
fn attachments<'a>(node: &Dict<'a>, depth: u32, left: &mut u32, found: &mut Vec<Stream<'a>>) {
    if let Some(names) = node.get::<Array<'a>>("Names") {
        let mut names = names.iter::<Object<'a>>();
        while let (Some(_), Some(file)) = (names.next(), names.next()) {
            let Some(fewer) = left.checked_sub(1) else { return };
            *left = fewer;
            found.extend(file.into_dict().and_then(|file| record_in(&file)));
        }
    }
    let Some(depth) = depth.checked_sub(1) else { return };
    for kid in node.get::<Array<'a>>("Kids").iter().flat_map(Array::iter::<Dict<'a>>) {
        let Some(fewer) = left.checked_sub(1) else { return };
        *left = fewer;
        attachments(&kid, depth, left, found);
    }
}

/// The embedded file of a file specification that names a record.
fn record_in<'a>(file: &Dict<'a>) -> Option<Stream<'a>> {
    let named = |key: &str| {
        let name = file.get::<PdfString<'a>>(key);
        name.is_some_and(|name| is_record(name.as_bytes()))
    };
    if !named("UF") && !named("F") {
        return None;
    }
    let embedded: Dict<'a> = file.get("EF")?;
    embedded.get("F").or_else(|| embedded.get("UF"))
}

/// Whether a PDF text is `record.json`, as bytes or as UTF-16 with its mark.
fn is_record(name: &[u8]) -> bool {
    let utf_16: Vec<u8> = ATTACHED.encode_utf16().flat_map(u16::to_be_bytes).collect();
    name == ATTACHED.as_bytes() || name.strip_prefix(&[0xfe, 0xff]) == Some(utf_16.as_slice())
}

/// The bytes of a stream: as they are, or deflated; never more than [`LARGEST_SEALED`].
fn unpacked(stream: &Stream<'_>) -> Result<Vec<u8>, Unread> {
    let dict = stream.dict();
    let filters: Vec<PdfName<'_>> = match dict.get::<Array<'_>>("Filter") {
        Some(all) => all.iter().collect(),
        None => dict.get::<PdfName<'_>>("Filter").into_iter().collect(),
    };
    let raw = stream.raw_data();
    let bytes = match filters.as_slice() {
        [] if !dict.contains_key("Filter") => raw.into_owned(),
        [name] if name.as_str() == "FlateDecode" && !dict.contains_key("DecodeParms") => {
            let mut bytes = Vec::new();
            let most = LARGEST_SEALED as u64 + 1;
            let read = ZlibDecoder::new(raw.as_ref()).take(most).read_to_end(&mut bytes);
            read.map_err(|_| Unread::Packed)?;
            bytes
        }
        _ => return Err(Unread::Packed),
    };
    if LARGEST_SEALED < bytes.len() { Err(Unread::TooLarge) } else { Ok(bytes) }
}

/// Builds the tree and refuses what two readers may read in two ways.
#[derive(Clone, Copy)]
struct Strict<'a>(&'a Unfinished);

/// What is read of lists and objects that are not over yet: only then it is known how
/// large they are, and each takes no more room than it needs.
#[derive(Default)]
struct Unfinished {
    /// How many values the tree may still hold: it takes many times its text.
    left: Cell<u32>,
    items: RefCell<Vec<Json>>,
    members: RefCell<Vec<(Name, Json)>>,
}

impl Strict<'_> {
    /// Whether no member before has that name in the object that begun there.
    fn once(self, name: &Name, begun: usize, names: &mut Option<BTreeSet<Name>>) -> bool {
        let members = self.0.members.borrow();
        let before = members.get(begun..).unwrap_or_default();
        if names.is_none() && before.last().is_some_and(|(last, _)| name <= last) {
            *names = Some(before.iter().map(|(name, _)| name.clone()).collect());
        }
        names.as_mut().is_none_or(|names| names.insert(name.clone()))
    }

    fn counted<E: serde::de::Error>(self) -> Result<Self, E> {
        let left = self.0.left.get().checked_sub(1).ok_or_else(|| {
            E::custom(format!("it holds more than {MOST_VALUES} values, which no record does"))
        })?;
        self.0.left.set(left);
        Ok(self)
    }
}

impl<'de> DeserializeSeed<'de> for Strict<'_> {
    type Value = Json;

    fn deserialize<D: serde::Deserializer<'de>>(self, reader: D) -> Result<Json, D::Error> {
        reader.deserialize_any(self)
    }
}

/// Whole numbers up to here are kept exactly by every reader: 2^53 - 1.
const LARGEST: u64 = (1 << 53) - 1;

impl<'de> Visitor<'de> for Strict<'_> {
    type Value = Json;

    fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("JSON")
    }

    fn visit_unit<E>(self) -> Result<Json, E> {
        Ok(Json::Null)
    }

    fn visit_bool<E>(self, yes: bool) -> Result<Json, E> {
        Ok(Json::Bool(yes))
    }

    fn visit_u64<E: serde::de::Error>(self, n: u64) -> Result<Json, E> {
        if LARGEST < n {
            return Err(E::custom(format!("the number {n} is larger than every reader keeps")));
        }
        #[expect(clippy::cast_precision_loss, reason = "bounded to 2^53 before")]
        Ok(Json::Number(n as f64))
    }

    fn visit_i64<E: serde::de::Error>(self, n: i64) -> Result<Json, E> {
        match self.visit_u64(n.unsigned_abs())? {
            Json::Number(size) if n < 0 => Ok(Json::Number(-size)),
            size => Ok(size),
        }
    }

    fn visit_f64<E: serde::de::Error>(self, n: f64) -> Result<Json, E> {
        let why = "is not written as a whole number, and sealed documents hold no others";
        Err(E::custom(format!("the number {n} {why}")))
    }

    fn visit_str<E>(self, text: &str) -> Result<Json, E> {
        Ok(text.into())
    }

    fn visit_string<E>(self, text: String) -> Result<Json, E> {
        Ok(text.into())
    }

    fn visit_seq<A: SeqAccess<'de>>(self, mut items: A) -> Result<Json, A::Error> {
        let begun = self.0.items.borrow().len();
        while let Some(item) = items.next_element_seed(self.counted()?)? {
            self.0.items.borrow_mut().push(item);
        }
        Ok(Json::List(self.0.items.borrow_mut().drain(begun..).collect()))
    }

    fn visit_map<A: MapAccess<'de>>(self, mut members: A) -> Result<Json, A::Error> {
        let begun = self.0.members.borrow().len();
        // Of those from the first on that does not follow in order.
        let mut names: Option<BTreeSet<Name>> = None;
        while let Some(name) = members.next_key()? {
            if !self.once(&name, begun, &mut names) {
                return Err(A::Error::custom(format!("the member `{name}` stands twice")));
            }
            let value = members.next_value_seed(self.counted()?)?;
            self.0.members.borrow_mut().push((name, value));
        }
        Ok(Json::Object(self.0.members.borrow_mut().drain(begun..).collect()))
    }
}
