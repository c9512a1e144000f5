//! A picture in place of a photo: shingles, a snapped line and what is cut, drawn
//! here. It shows no roof that there is, and its caption says so.

use std::io::Cursor;

use anyhow::Context as _;
use image::{ImageFormat, Rgb, RgbImage};

const WIDTH_PX: u32 = 960;
const HEIGHT_PX: u32 = 640;
/// A course of shingles, and a tab of one.
const COURSE_PX: u32 = 80;
const TAB_PX: u32 = 160;

const LINE: Rgb<u8> = Rgb([31, 90, 148]);
const CUT: Rgb<u8> = Rgb([168, 50, 42]);
const GAP: Rgb<u8> = Rgb([58, 56, 54]);

/// The picture of that number, as a JPEG file: each is another one.
pub(super) fn picture(number: u32) -> anyhow::Result<Vec<u8>> {
    let line_px = COURSE_PX * (2 + number % 5) + 20;
    let image = RgbImage::from_fn(WIDTH_PX, HEIGHT_PX, |x, y| {
        let course = y / COURSE_PX;
        let (across, down) = (x + course % 2 * TAB_PX / 2, y % COURSE_PX);
        match y.abs_diff(line_px) {
            0..3 => LINE,
            // What is cut stands above its line, for half of the picture.
            30..44 if y < line_px && x < WIDTH_PX / 2 + number % 7 * 40 => CUT,
            _ if down < 3 || across % TAB_PX < 4 => GAP,
            _ => shingle(across / TAB_PX + course * 7 + number, x ^ y),
        }
    });
    let mut file = Cursor::new(Vec::new());
    image.write_to(&mut file, ImageFormat::Jpeg).context("a picture could not be drawn")?;
    Ok(file.into_inner())
}

/// Grey with some grain; no two shingles beside each other are alike.
fn shingle(which: u32, at: u32) -> Rgb<u8> {
    let grain = at.wrapping_mul(2_654_435_761) >> 28;
    let [shade, ..] = (96 + which * 13 % 40 + grain).to_le_bytes();
    Rgb([shade, shade, shade.saturating_sub(6)])
}
