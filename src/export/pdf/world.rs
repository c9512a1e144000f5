//! What the typesetter may see: the template, the files given to it and the
//! fonts in the program. No disk, no network, no packages, no clock.

use std::collections::HashMap;
use std::sync::OnceLock;

use typst::diag::{FileError, FileResult};
use typst::foundations::{Bytes, Datetime, Duration};
use typst::syntax::{FileId, RootedPath, Source, VirtualPath, VirtualRoot};
use typst::text::{Font, FontBook};
use typst::utils::LazyHash;
use typst::{Library, LibraryExt, World};
use typst_kit::fonts::{self, FontStore};

use super::PdfError;

/// The fonts in the program, in the order they are tried.
pub(super) const TEXT: &[&str] = &["Libertinus Serif", "DejaVu Sans Mono", EMOJI];
const EMOJI: &str = "Noto Emoji";

/// The fonts, loaded once.
pub(super) fn store() -> &'static FontStore {
    static STORE: OnceLock<FontStore> = OnceLock::new();
    STORE.get_or_init(|| {
        let mut store = FontStore::new();
        store.extend(fonts::embedded());
        let emoji = Bytes::new(epaint_default_fonts::NOTO_EMOJI_REGULAR);
        store.extend(Font::iter(emoji).map(|font| {
            let info = font.info().clone();
            (font, info)
        }));
        store
    })
}

/// Whether one of the fonts of the text has a glyph for it.
pub(super) fn is_covered(c: char) -> bool {
    let book: &FontBook = store().book();
    // Coverage is the same for every weight of a family.
    TEXT.iter().any(|family| {
        let found = book.select_family(&family.to_lowercase()).next();
        let info = found.and_then(|index| book.info(index));
        info.is_some_and(|info| info.coverage.contains(c.into()))
    })
}

/// One record and what belongs to it.
pub(super) struct Desk {
    library: LazyHash<Library>,
    main: Source,
    files: HashMap<FileId, Bytes>,
}

impl Desk {
    /// A template and the files it reads, by their paths such as `/view.json`.
    /// Paths are remembered for the life of the process: they must be few and
    /// the same for every record.
    pub(super) fn new(
        template: &str,
        files: impl IntoIterator<Item = (String, Bytes)>,
    ) -> Result<Self, PdfError> {
        let main = Source::new(id("/record.typ")?, template.to_owned());
        let files = files.into_iter().map(|(path, bytes)| Ok((id(&path)?, bytes)));
        Ok(Self {
            library: LazyHash::new(Library::default()),
            main,
            files: files.collect::<Result<_, PdfError>>()?,
        })
    }
}

fn id(path: &str) -> Result<FileId, PdfError> {
    let path = VirtualPath::new(path)
        .map_err(|error| PdfError { why: format!("the path {path}: {error:?}") })?;
    Ok(RootedPath::new(VirtualRoot::Project, path).intern())
}

impl World for Desk {
    fn library(&self) -> &LazyHash<Library> {
        &self.library
    }

    fn book(&self) -> &LazyHash<FontBook> {
        store().book()
    }

    fn main(&self) -> FileId {
        self.main.id()
    }

    fn source(&self, id: FileId) -> FileResult<Source> {
        if id == self.main.id() { Ok(self.main.clone()) } else { Err(FileError::AccessDenied) }
    }

    fn file(&self, id: FileId) -> FileResult<Bytes> {
        self.files.get(&id).cloned().ok_or(FileError::AccessDenied)
    }

    fn font(&self, index: usize) -> Option<Font> {
        store().font(index)
    }

    fn today(&self, _: Option<Duration>) -> Option<Datetime> {
        None
    }
}
