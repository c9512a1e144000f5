//! The parts a JPEG (ITU-T T.81 annex B) or PNG (W3C PNG 3, section 5) file is
//! made of: those that make the picture, the EXIF part, and no others. Unpacking
//! a picture is not its business.

/// How a JPEG file begins.
pub(super) const JPEG: &[u8] = &[0xff, 0xd8, 0xff];

/// How a PNG file begins.
pub(super) const PNG: &[u8] = b"\x89PNG\r\n\x1a\n";

const JPEG_EXIF: &[u8] = b"Exif\0\0";

/// Chunks that make the picture and its colours.
const PNG_PICTURE: [&[u8; 4]; 13] = [
    b"IHDR", b"PLTE", b"IDAT", b"IEND", b"tRNS", b"gAMA", b"cHRM", b"sRGB", b"iCCP", b"sBIT",
    b"bKGD", b"pHYs", b"cICP",
];

/// What of a file is kept without its location.
#[derive(Debug, Default)]
pub(super) struct Parts<'a> {
    /// What the EXIF part comes after.
    head: Vec<&'a [u8]>,
    /// The rest of the picture, in order.
    picture: Vec<&'a [u8]>,
    /// The first EXIF part, a TIFF.
    pub(super) exif: Option<&'a [u8]>,
}

/// The parts of a JPEG file; none where it is not whole.
pub(super) fn jpeg(bytes: &[u8]) -> Option<Parts<'_>> {
    let mut parts = Parts { head: vec![bytes.get(..2)?], ..Parts::default() };
    let mut at = 2;
    loop {
        let start = at;
        if *bytes.get(at)? != 0xff {
            return None;
        }
        while *bytes.get(at)? == 0xff {
            at += 1;
        }
        let marker = *bytes.get(at)?;
        at += 1;
        match marker {
            0xd9 => {
                parts.picture.push(bytes.get(start..at)?);
                return Some(parts);
            }
            0x01 | 0xd0..=0xd7 => {
                parts.picture.push(bytes.get(start..at)?);
                continue;
            }
            0x00 | 0xd8 => return None,
            _ => {}
        }
        let length = [*bytes.get(at)?, *bytes.get(at + 1)?];
        let length = usize::from(u16::from_be_bytes(length));
        let content = bytes.get(at + 2..at + length)?;
        at += length;
        if marker == 0xda {
            at += packed(bytes.get(at..)?);
        }
        let segment = bytes.get(start..at)?;
        match marker {
            0xe1 if content.starts_with(JPEG_EXIF) => {
                let tiff = content.get(JPEG_EXIF.len()..)?;
                parts.exif.get_or_insert(tiff);
            }
            // Nothing may come between it and the beginning.
            0xe0 if content.starts_with(b"JFIF\0")
                && content.len() == 14
                && parts.head.len() == 1 =>
            {
                parts.head.push(segment);
            }
            0xe2 if content.starts_with(b"ICC_PROFILE\0") => parts.picture.push(segment),
            0xee if content.starts_with(b"Adobe") && content.len() == 12 => {
                parts.picture.push(segment);
            }
            // Frames as cameras write them, no longer than their parts.
            0xc0..=0xc2 if content.len() == frame(content) => parts.picture.push(segment),
            // Tables and scans; the restart interval and the number of lines.
            0xc4 | 0xda | 0xdb => parts.picture.push(segment),
            0xdc | 0xdd if content.len() == 2 => parts.picture.push(segment),
            _ => {}
        }
    }
}

/// How long a frame's header is by the number of its components.
fn frame(content: &[u8]) -> usize {
    content.get(5).map_or(0, |components| 6 + 3 * usize::from(*components))
}

/// Length of what is packed after a scan's header: up to the next marker.
fn packed(bytes: &[u8]) -> usize {
    let mut at = 0;
    while let Some(rest) = bytes.get(at..).filter(|rest| !rest.is_empty()) {
        match rest.iter().position(|byte| *byte == 0xff) {
            None => break,
            Some(found) => match rest.get(found + 1) {
                // A stuffed byte, or a restart inside the scan.
                Some(0x00 | 0xd0..=0xd7) => at += found + 2,
                _ => return at + found,
            },
        }
    }
    bytes.len()
}

/// The JPEG file of these parts, with that EXIF part.
pub(super) fn write_jpeg(parts: &Parts<'_>, tiff: Option<&[u8]>) -> Vec<u8> {
    let mut file = parts.head.concat();
    let length = tiff.map(|tiff| JPEG_EXIF.len() + tiff.len() + 2);
    // The few fields written never come near the most a segment holds.
    if let (Some(tiff), Some(Ok(length))) = (tiff, length.map(u16::try_from)) {
        file.extend([0xff, 0xe1]);
        file.extend(length.to_be_bytes());
        file.extend(JPEG_EXIF);
        file.extend(tiff);
    }
    file.extend(parts.picture.concat());
    file
}

/// The parts of a PNG file; none where it is not whole.
pub(super) fn png(bytes: &[u8]) -> Option<Parts<'_>> {
    let mut parts = Parts { head: vec![bytes.get(..PNG.len())?], ..Parts::default() };
    let mut at = PNG.len();
    loop {
        let length: [u8; 4] = bytes.get(at..at + 4)?.try_into().ok()?;
        let length = usize::try_from(u32::from_be_bytes(length)).ok()?;
        let kind: &[u8; 4] = bytes.get(at + 4..at + 8)?.try_into().ok()?;
        let end = at.checked_add(12)?.checked_add(length)?;
        let chunk = bytes.get(at..end)?;
        match kind {
            b"eXIf" => {
                parts.exif.get_or_insert(bytes.get(at + 8..end - 4)?);
            }
            b"IHDR" if parts.head.len() == 1 => parts.head.push(chunk),
            kind if PNG_PICTURE.contains(&kind) => parts.picture.push(chunk),
            _ => {}
        }
        if kind == b"IEND" {
            return Some(parts);
        }
        at = end;
    }
}

/// The PNG file of these parts, with that EXIF part.
pub(super) fn write_png(parts: &Parts<'_>, tiff: Option<&[u8]>) -> Vec<u8> {
    let mut file = parts.head.concat();
    if let Some((tiff, Ok(length))) = tiff.map(|tiff| (tiff, u32::try_from(tiff.len()))) {
        let checked = [b"eXIf", tiff].concat();
        file.extend(length.to_be_bytes());
        file.extend(&checked);
        file.extend(crc32fast::hash(&checked).to_be_bytes());
    }
    file.extend(parts.picture.concat());
    file
}
