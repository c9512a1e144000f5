//! The install record as PDF: tagged for screen readers (PDF/UA-1), made to
//! last (PDF/A-3b), with the record's JSON attached. The pages are made from
//! that JSON and the photos alone, so the same record gives the same bytes and
//! anybody who has it can make the pages again.

mod view;
mod world;

use std::io::Cursor;

use image::ImageReader;
use typst::diag::SourceDiagnostic;
use typst::foundations::{Bytes, Smart};
use typst_layout::PagedDocument;
use typst_pdf::{PdfOptions, PdfStandard, PdfStandards};

use crate::domain::Json;

use self::world::Desk;

/// How the pages look.
const TEMPLATE: &str = include_str!("record.typ");

/// The size of the paper.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Paper {
    /// 210 by 297 mm (ISO 216).
    A4,
    /// 8 1/2 by 11 in.
    Letter,
}

impl Paper {
    fn word(self) -> &'static str {
        match self {
            Self::A4 => "a4",
            Self::Letter => "us-letter",
        }
    }
}

/// Why there is no PDF: a fault of this program, never of what was logged.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("the record could not be laid out as PDF ({why}); write it as .html or .json instead")]
pub struct PdfError {
    /// What the typesetter says.
    pub why: String,
}

/// What the typesetter is given.
#[derive(Clone, Debug)]
pub struct Sources {
    /// How the pages look.
    pub template: &'static str,
    /// The files it reads, by path.
    pub files: Vec<(String, Vec<u8>)>,
}

/// The pages. `text` is the record as JSON, which is attached as it is; `record`
/// is the same, read. `preview` gives the photo of that hash as JPEG or PNG,
/// where it is there.
///
/// # Errors
/// The layout fails, whatever a person typed does not: what no font can show is
/// replaced so that it can be seen.
pub fn record(
    text: &str,
    record: &Json,
    preview: impl Fn(&str) -> Option<Vec<u8>>,
    paper: Paper,
) -> Result<Vec<u8>, PdfError> {
    let previews = previews(record, preview);
    let made = pages(text, record, &previews, paper, world::is_covered);
    // Some characters have a glyph alone and none beside others.
    made.or_else(|_| pages(text, record, &previews, paper, view::is_plain))
}

/// The template and the files it reads, by path: what [`record`] hands to the
/// typesetter. For measuring and for looking at.
///
/// # Errors
/// As [`record`].
pub fn sources(
    text: &str,
    record: &Json,
    preview: impl Fn(&str) -> Option<Vec<u8>>,
    paper: Paper,
) -> Result<Sources, PdfError> {
    let previews = previews(record, preview);
    let look = Look { paper, layout: Layout::Full, can_show: world::is_covered };
    let files = files(text, record, &previews, look)?;
    let files = files.into_iter().map(|(path, bytes)| (path, bytes.to_vec())).collect();
    Ok(Sources { template: TEMPLATE, files })
}

/// A photo, kept once however often the pages are laid out.
struct Preview {
    bytes: Bytes,
    /// Width and height.
    size_px: (u32, u32),
}

/// Each photo of the record, in order, where it is there and a picture.
fn previews(record: &Json, preview: impl Fn(&str) -> Option<Vec<u8>>) -> Vec<Option<Preview>> {
    let photo = |hash: Option<&str>| {
        let bytes = hash.and_then(&preview)?;
        let size_px = size_px(&bytes)?;
        Some(Preview { bytes: Bytes::new(bytes), size_px })
    };
    view::photos(record).into_iter().map(photo).collect()
}

fn pages(
    text: &str,
    record: &Json,
    previews: &[Option<Preview>],
    paper: Paper,
    can_show: fn(char) -> bool,
) -> Result<Vec<u8>, PdfError> {
    let laid_out = |layout| {
        typeset(TEMPLATE, files(text, record, previews, Look { paper, layout, can_show })?)
    };
    let made = match laid_out(Layout::Full) {
        Ok(full) if full.at_rest => Ok(full),
        _ => laid_out(Layout::Plain),
    };
    let made = made.and_then(|Typeset { document, .. }| {
        let standards = PdfStandards::new(&[PdfStandard::A_3b, PdfStandard::Ua_1])
            .map_err(|error| PdfError { why: error.message().to_string() })?;
        let options = PdfOptions {
            timestamp: view::time(record),
            ident: Smart::Custom(view::number(record).to_owned()),
            creator: Smart::Custom(Some(view::maker(record).to_owned())),
            standards,
            ..PdfOptions::default()
        };
        typst_pdf::pdf(&document, &options).map_err(|errors| said(&errors))
    });
    // What the typesetter remembers of this record is of no use for another.
    typst::comemo::evict(0);
    made
}

/// What may depend on where something came to stand.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Layout {
    /// Links say on which page they lead, and the first page ends where it says all.
    Full,
    /// Neither: for a record whose pages would never come to rest.
    Plain,
}

/// How the pages of one record look.
#[derive(Clone, Copy, Debug)]
struct Look {
    paper: Paper,
    layout: Layout,
    can_show: fn(char) -> bool,
}

/// Pages, and whether they are what they say of themselves: page numbers, and what
/// stands on which.
struct Typeset {
    document: PagedDocument,
    at_rest: bool,
}

fn typeset(template: &str, files: Vec<(String, Bytes)>) -> Result<Typeset, PdfError> {
    let desk = Desk::new(template, files)?;
    let made = typst::compile::<PagedDocument>(&desk);
    let at_rest = !made.warnings.iter().any(|warning| warning.message.contains("converge"));
    let document = made.output.map_err(|errors| said(&errors))?;
    Ok(Typeset { document, at_rest })
}

/// What the template reads, by path.
fn files(
    text: &str,
    record: &Json,
    previews: &[Option<Preview>],
    look: Look,
) -> Result<Vec<(String, Bytes)>, PdfError> {
    let hash = view::hash(record);
    let shown = view::shown(record, look.can_show);
    let view = view::view(&shown, &hash, previews, look);
    let mut files = vec![
        ("/record.json".to_owned(), Bytes::new(text.to_owned().into_bytes())),
        ("/view.json".to_owned(), Bytes::from_string(canonical(&view)?)),
        ("/qr.svg".to_owned(), Bytes::from_string(view::qr(record, &hash)?)),
    ];
    for (at, svg) in view::drawings(&shown).into_iter().enumerate() {
        files.push((format!("/drawing-{at}.svg"), Bytes::from_string(svg.to_owned())));
    }
    for (at, photo) in previews.iter().enumerate() {
        if let Some(Preview { bytes, size_px }) = photo {
            files.push((format!("/photo-{at}"), bytes.clone()));
            files.push((format!("/photo-{at}.svg"), Bytes::from_string(framed(at, *size_px))));
        }
    }
    Ok(files)
}

/// Width and height of a picture, as it says of itself.
fn size_px(bytes: &[u8]) -> Option<(u32, u32)> {
    let reader = ImageReader::new(Cursor::new(bytes)).with_guessed_format().ok()?;
    reader.into_dimensions().ok()
}

/// A photo as the only thing in a drawing. The typesetter holds a picture of its own
/// with all its points, megabytes for each; in a drawing it stays the JPEG that it is.
fn framed(at: usize, (width, height): (u32, u32)) -> String {
    format!(
        "<svg xmlns=\"http://www.w3.org/2000/svg\" width=\"{width}\" height=\"{height}\">\
         <image href=\"photo-{at}\" width=\"{width}\" height=\"{height}\"/></svg>"
    )
}

fn canonical(json: &Json) -> Result<String, PdfError> {
    json.canonical().map_err(|error| PdfError { why: error.to_string() })
}

fn said(errors: &[SourceDiagnostic]) -> PdfError {
    let words: Vec<String> = errors
        .iter()
        .map(|error| {
            let hints = error.hints.iter().map(|hint| format!("; {}", hint.v));
            format!("{}{}", error.message, hints.collect::<String>())
        })
        .collect();
    PdfError { why: words.join("; ") }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Pages that name a page which moves away because it was named.
    const RESTLESS: &str =
        "#context if counter(page).final().first() == 1 { pagebreak() } else { [a] } b";

    #[test]
    fn pages_that_never_come_to_rest_are_found() {
        for (template, at_rest) in [("a #pagebreak() b", true), (RESTLESS, false)] {
            let made = typeset(template, Vec::new());
            assert_eq!(made.map(|made| made.at_rest), Ok(at_rest), "{template}");
        }
    }
}
