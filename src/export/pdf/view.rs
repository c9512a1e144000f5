//! What the template reads: the record with every character that no font can
//! show made visible, and the little that is computed for paper alone.

use jiff::tz::Offset;
use typst::foundations::Datetime;
use typst_pdf::Timestamp;

use super::{Layout, Look, PdfError, Preview, world};
use crate::domain::{At, Hash, Json, Members, desk};
use crate::export::scan::{Scan, scan};
use crate::export::words;

/// Photos on paper, at most: the typesetter has to remember a path for each.
const MOST_PHOTOS: usize = 10_000;

/// Letters in a row that is kept together, at most: in the narrowest column of words they
/// take less than a page.
const LONG: usize = 1200;

/// Everything the template reads: of the record as it is shown, and the hash of
/// the record as it is.
pub(super) fn view(
    shown: &Json,
    hash: &str,
    previews: &[Option<Preview>],
    Look { paper, layout, .. }: Look,
) -> Json {
    let fonts = |names: &[&str]| Json::List(names.iter().map(Json::text).collect());
    let there = previews.iter().map(|photo| Json::Bool(photo.is_some()));
    let rests = rests(shown, hash)
        .into_iter()
        .map(|(name, value)| Json::from(vec![Json::text(name), Json::from(value)]));
    Json::object([
        ("record", shown.clone()),
        ("paper", paper.word().into()),
        ("plain", Json::Bool(layout == Layout::Plain)),
        ("fonts", fonts(world::TEXT)),
        ("mono", "DejaVu Sans Mono".into()),
        ("invented", words::INVENTED.into()),
        ("footer", Json::from(format!("Made by {}", maker(shown)))),
        ("qr_alt", "The record's number, hash and key as a code to scan".into()),
        ("previews", Json::List(there.collect())),
        ("rests", Json::List(rests.collect())),
        ("long_letters", Json::whole(LONG as u64)),
        ("water_tags", Json::List(desk::WATER.map(Json::from).into())),
        ("heard_says", words::HEARD_SAYS.into()),
        ("cautions_say", words::CAUTIONS_SAY.into()),
        ("replaced", Json::Bool(shown.canonical().is_ok_and(|text| text.contains("[U+")))),
        ("drawings", Json::List(drawings(shown).into_iter().map(size_mm).collect())),
    ])
}

/// The record with each string as the fonts can show it, and what holds more letters
/// than a row keeps together marked as such.
pub(super) fn shown(json: &Json, can_show: fn(char) -> bool) -> Json {
    marked(json, can_show).0
}

/// And its letters.
fn marked(json: &Json, can_show: fn(char) -> bool) -> (Json, usize) {
    match json {
        Json::Text(text) => {
            let text = visible(text, can_show);
            let letters = text.len();
            (Json::from(text), letters)
        }
        Json::List(items) => {
            let (items, letters): (Vec<Json>, Vec<usize>) =
                items.iter().map(|item| marked(item, can_show)).unzip();
            (Json::from(items), letters.iter().sum())
        }
        Json::Object(members) => {
            let mut letters = 0;
            let mut shown: Members = members
                .iter()
                .map(|(key, value)| {
                    let (value, of_value) = marked(value, can_show);
                    letters += of_value;
                    (key, value)
                })
                .collect();
            if LONG < letters {
                shown.insert("long_row", Json::Bool(true));
            }
            (Json::Object(shown), letters)
        }
        other => (other.clone(), 0),
    }
}

/// What no font has becomes its code point in brackets: it is seen that there
/// was something, and what. The attached JSON keeps it as it was.
fn visible(text: &str, can_show: fn(char) -> bool) -> String {
    let mut out = String::with_capacity(text.len());
    for c in text.chars().map(words::visible) {
        if c == '\t' {
            out.push(' ');
        } else if c == '\n' || is_plain(c) || can_show(c) {
            out.push(c);
        } else if is_invisible(c) {
            // Joins and variants have nothing to show of their own.
        } else {
            out.push_str(&format!("[U+{:04X}]", u32::from(c)));
        }
    }
    out
}

/// Printable ASCII.
pub(super) fn is_plain(c: char) -> bool {
    matches!(c, ' '..='~')
}

/// Joiners and variation selectors: they change the character beside them.
fn is_invisible(c: char) -> bool {
    matches!(c, '\u{200c}' | '\u{200d}' | '\u{fe00}'..='\u{fe0f}')
}

/// The number of the job.
pub(super) fn number(record: &Json) -> &str {
    record.get("job").and_then(|job| job.get("number")).and_then(Json::as_text).unwrap_or_default()
}

/// When the record was made: its last entry's instant, in UTC.
pub(super) fn time(record: &Json) -> Option<Timestamp> {
    let made = record.get("made_at").and_then(Json::as_text);
    let made: Option<At> = made.and_then(|text| text.parse().ok());
    let made = made.map_or(jiff::Timestamp::UNIX_EPOCH, |made| made.instant());
    let utc = Offset::UTC.to_datetime(made);
    let part = |part: i8| u8::try_from(part).unwrap_or_default();
    let datetime = Datetime::from_ymd_hms(
        utc.year().into(),
        part(utc.month()),
        part(utc.day()),
        part(utc.hour()),
        part(utc.minute()),
        part(utc.second()),
    );
    datetime.map(Timestamp::new_utc)
}

/// The program and version that made the record.
pub(super) fn maker(record: &Json) -> &str {
    record.get("made_by").and_then(Json::as_text).unwrap_or("chalkhand")
}

/// The pictures, in order.
pub(super) fn drawings(record: &Json) -> Vec<&str> {
    let all = record.get("drawings").and_then(Json::as_list).unwrap_or_default();
    all.iter().filter_map(|drawing| drawing.get("svg").and_then(Json::as_text)).collect()
}

/// Width and height of a picture in millimetres; a square where it does not say.
fn size_mm(svg: &str) -> Json {
    let side = |name: &str| {
        let (_, rest) = svg.split_once(&format!(" {name}=\""))?;
        let (size, _) = rest.split_once("mm\"")?;
        size.parse().ok().filter(|size: &f64| size.is_finite() && 0.0 < *size)
    };
    let (width, height) = side("width").zip(side("height")).unwrap_or((1.0, 1.0));
    Json::from(vec![Json::Number(width), Json::Number(height)])
}

/// The hash of each photo's preview, in order.
pub(super) fn photos(record: &Json) -> Vec<Option<&str>> {
    let all = record.get("photos").and_then(Json::as_list).unwrap_or_default();
    let hashes = all.iter().map(|photo| photo.get("preview_sha256").and_then(Json::as_text));
    hashes.take(MOST_PHOTOS).collect()
}

/// What is compared by eye: the hash of the record and the key of its seal.
fn rests(shown: &Json, hash: &str) -> Vec<(&'static str, String)> {
    let mut all = vec![("SHA-256 of the record without its seal", hash.to_owned())];
    if let Some(key) = key(shown) {
        all.push(("Key of the device that sealed it", key.to_owned()));
    }
    if let Some(head) = shown.get("chain_head")
        && let Some(last) = head.get("entry_sha256").and_then(Json::as_text)
    {
        all.push(("SHA-256 of the last entry", last.to_owned()));
    }
    all
}

fn key(record: &Json) -> Option<&str> {
    record.get("log")?.get("device").and_then(Json::as_text)
}

/// The hash of what is sealed: the canonical text without the seal itself. Of the
/// record as it is: what the fonts cannot show belongs to it.
pub(super) fn hash(record: &Json) -> String {
    let mut sealed = record.clone();
    if let Json::Object(members) = &mut sealed {
        members.remove("seal");
    }
    sealed.canonical().map(|text| Hash::of(text.as_bytes()).to_string()).unwrap_or_default()
}

/// Number, hash and key as a QR code (ISO/IEC 18004), one black square a module.
pub(super) fn qr(record: &Json, hash: &str) -> Result<String, PdfError> {
    let key = key(record).map(|key| format!("\nkey {key}")).unwrap_or_default();
    let text = format!("record {}\nsha256 {hash}{key}", number(record));
    let Scan { size, path } =
        scan(&text).map_err(|error| PdfError { why: format!("the code to scan: {error}") })?;
    Ok(format!(
        "<svg xmlns=\"http://www.w3.org/2000/svg\" viewBox=\"0 0 {size} {size}\" width=\"{size}\" \
         height=\"{size}\"><path d=\"{path}\"/></svg>"
    ))
}
