//! Checklists that were read before. Pages read the same adopted texts for every
//! job again; a text is known by its hash, so that one that was changed is read anew.

use std::sync::Arc;

use super::remembered::Remembered;
use crate::domain::{Checklist, Hash};
use crate::files::{self, Problems};
use crate::measure::Functions;

/// Texts remembered; a company has some dozens in use.
const MOST_KNOWN: usize = 64;

static KNOWN: Remembered<(Hash, Vec<&'static str>), Arc<Checklist>> = Remembered::most(MOST_KNOWN);

/// Reads a checklist; `name` stands in errors.
///
/// # Errors
/// The text does not read.
pub(super) fn read_checklist(
    text: &str,
    name: &str,
    functions: &Functions,
) -> Result<Arc<Checklist>, Problems> {
    let key = (Hash::of(text.as_bytes()), calls(functions));
    if let Some(found) = KNOWN.find(&key) {
        return Ok(found);
    }
    let read = Arc::new(files::read_checklist(text, name, functions)?);
    KNOWN.keep(key, Arc::clone(&read));
    Ok(read)
}

/// What formulas may call: what a text means also follows from that.
pub(super) fn calls(functions: &Functions) -> Vec<&'static str> {
    functions.names().chain(functions.row_names()).collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::measure::{Dimension, Function};

    const TEXT: &str = r#"
id = "it"
version = "1.0.0"
title = "It"
yields_to = "everything else"
sources = ["invented for a test"]
[measures]
line = "same(5 in)"
[[step]]
id = "do"
title = "Do"
say = "Snap the line {line} up."
"#;

    fn with_same() -> Functions {
        Functions::new().with(Function {
            name: "same",
            takes: &[Dimension::LENGTH],
            gives: Dimension::LENGTH,
            run: |of| Ok(of[0]),
        })
    }

    #[test]
    fn a_text_is_read_once_and_a_changed_one_anew() {
        let functions = with_same();
        let read = |text: &str| read_checklist(text, "it", &functions);
        let first = read(TEXT).unwrap();
        assert!(Arc::ptr_eq(&first, &read(TEXT).unwrap()));
        let changed = TEXT.replace("5 in", "6 in");
        let changed = read(&changed).unwrap();
        assert_ne!(changed.hash, first.hash);
        assert!(!Arc::ptr_eq(&first, &changed));
        assert!(read("id = ").is_err());
        for n in 0..2 * MOST_KNOWN {
            read(&format!("{TEXT}# {n}\n")).unwrap();
            assert!(KNOWN.len() <= MOST_KNOWN);
        }
    }

    #[test]
    fn a_text_that_was_read_is_not_read_where_its_functions_lack() {
        assert!(read_checklist(TEXT, "it", &with_same()).is_ok());
        assert!(read_checklist(TEXT, "it", &Functions::new()).is_err());
    }
}
