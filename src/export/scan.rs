//! A text as a code to be scanned (ISO/IEC 18004), as a path of one square a dark
//! module.

use std::fmt::Write as _;

use qrcode::types::QrError;
use qrcode::{Color, EcLevel, QrCode};

/// Light modules around the code, which belong to it.
const QUIET: usize = 4;

/// A code as a drawing of black on white.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Scan {
    /// Width and height with the light border, in modules.
    pub size: usize,
    /// The dark modules, as SVG path data.
    pub path: String,
}

/// The code of a text.
///
/// # Errors
/// The text is too long for one.
pub fn scan(text: &str) -> Result<Scan, QrError> {
    let code = QrCode::with_error_correction_level(text.as_bytes(), EcLevel::M)?;
    let width = code.width();
    let mut path = String::new();
    for (at, color) in code.to_colors().into_iter().enumerate() {
        if color == Color::Dark {
            let (x, y) = (at % width + QUIET, at / width + QUIET);
            // Writing to a String does not fail.
            let _ = write!(path, "M{x} {y}h1v1h-1z");
        }
    }
    Ok(Scan { size: width + 2 * QUIET, path })
}
