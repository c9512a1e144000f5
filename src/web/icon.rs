//! The picture by which a phone shows these pages among its apps: a roof in ink, the
//! cut in chalk red, a line in chalk blue. Drawn here, as SVG and as PNG.

use std::fmt::Write as _;
use std::io::Cursor;

use image::{ImageFormat, Rgb, RgbImage};

/// The side of the square that the shapes lie on.
const SIDE: u32 = 64;
/// Samples a pixel has in each direction, so that slopes are smooth.
const FINE: u32 = 4;

const PAPER: [u8; 3] = [0xff, 0xff, 0xff];
const INK: [u8; 3] = [0x11, 0x11, 0x11];
const BLUE: [u8; 3] = [0x1d, 0x5f, 0xb4];
const RED: [u8; 3] = [0xb3, 0x26, 0x1e];

/// The corners of a shape and its color.
type Shape = (&'static [(u32, u32)], [u8; 3]);

/// They keep to the middle, since some phones cut a round or other shape out of the
/// square.
const SHAPES: [Shape; 4] = [
    (&[(10, 38), (14, 42), (20, 36), (16, 32)], INK),
    (&[(17, 31), (21, 35), (26, 30), (22, 26)], RED),
    (&[(23, 25), (27, 29), (32, 24), (50, 42), (54, 38), (32, 16)], INK),
    (&[(14, 47), (50, 47), (50, 50), (14, 50)], BLUE),
];

fn hex([red, green, blue]: [u8; 3]) -> String {
    format!("#{red:02x}{green:02x}{blue:02x}")
}

/// As a drawing.
pub(super) fn svg() -> String {
    let mut svg = format!(
        "<svg xmlns=\"http://www.w3.org/2000/svg\" viewBox=\"0 0 {SIDE} {SIDE}\">\
         <path fill=\"{}\" d=\"M0 0h{SIDE}v{SIDE}h-{SIDE}z\"/>",
        hex(PAPER)
    );
    for (corners, color) in SHAPES {
        let corners: Vec<String> = corners.iter().map(|(x, y)| format!("{x},{y}")).collect();
        // Writing to a String does not fail.
        let _ = write!(svg, "<polygon fill=\"{}\" points=\"{}\"/>", hex(color), corners.join(" "));
    }
    svg.push_str("</svg>");
    svg
}

/// As a picture of so many pixels a side; none where it cannot be made.
pub(super) fn png(size_px: u32) -> Option<Vec<u8>> {
    let fine = f64::from(SIDE) / f64::from(size_px.checked_mul(FINE)?);
    let place = |at: u32, part: u32| (f64::from(at * FINE + part) + 0.5) * fine;
    let picture = RgbImage::from_fn(size_px, size_px, |x, y| {
        let mut sums = [0_u32; 3];
        for part in 0..FINE * FINE {
            let color = color_at(place(x, part % FINE), place(y, part / FINE));
            for (sum, one) in sums.iter_mut().zip(color) {
                *sum += u32::from(one);
            }
        }
        Rgb(sums.map(|sum| u8::try_from(sum / (FINE * FINE)).unwrap_or(u8::MAX)))
    });
    let mut bytes = Cursor::new(Vec::new());
    picture.write_to(&mut bytes, ImageFormat::Png).ok()?;
    Some(bytes.into_inner())
}

fn color_at(x: f64, y: f64) -> [u8; 3] {
    let shape = SHAPES.iter().rev().find(|(corners, _)| is_inside(corners, x, y));
    shape.map_or(PAPER, |(_, color)| *color)
}

/// By how often a line to the right crosses the outline.
fn is_inside(corners: &[(u32, u32)], x: f64, y: f64) -> bool {
    let before = corners.iter().cycle().skip(corners.len().saturating_sub(1));
    let crossed = corners.iter().zip(before).filter(|(to, from)| {
        let ((x1, y1), (x2, y2)) = (place(**from), place(**to));
        (y < y1) != (y < y2) && x < x1 + (y - y1) / (y2 - y1) * (x2 - x1)
    });
    crossed.count() % 2 == 1
}

fn place((x, y): (u32, u32)) -> (f64, f64) {
    (f64::from(x), f64::from(y))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_picture_shows_what_the_drawing_says() {
        for size_px in [192, 512] {
            let png = image::load_from_memory(&png(size_px).unwrap()).unwrap().to_rgb8();
            assert_eq!(png.dimensions(), (size_px, size_px));
            let at = |x: u32, y: u32| png.get_pixel(x * size_px / SIDE, y * size_px / SIDE).0;
            assert_eq!((at(2, 2), at(32, 45)), (PAPER, PAPER));
            assert_eq!((at(15, 37), at(32, 20), at(45, 33)), (INK, INK, INK));
            assert_eq!((at(21, 31), at(32, 48)), (RED, BLUE));
        }
    }

    /// What a phone may cut to a circle of 40 percent of the side (W3C, Web
    /// Application Manifest, "maskable").
    #[test]
    fn everything_lies_where_no_phone_cuts() {
        for (x, y) in SHAPES.iter().flat_map(|(corners, _)| *corners) {
            let (x, y) = place((*x, *y));
            let from_the_middle = (x - 32.0).hypot(y - 32.0);
            assert!(from_the_middle <= 0.4 * 64.0, "{x}, {y}: {from_the_middle}");
        }
    }
}
