//! What is kept of a photo's file: upright previews, no location, and files
//! that are no photos. The photos are made here: pixels by the `image` crate,
//! the EXIF part byte by byte after TIFF 6.0 and the EXIF standard (from memory).

use std::io::Cursor;

use chalkhand::domain::{Hash, Media};
use chalkhand::photo::{Location, MOST_BYTES, NotAPhoto, ready};
use image::{DynamicImage, ImageFormat, Rgb, RgbImage, Rgba, RgbaImage};
use proptest::prelude::*;

/// Latitude as nobody else writes it: 41 deg 13 min 57.31 s.
const LATITUDE: [u32; 6] = [41, 1, 13, 1, 5731, 100];

const RED: [u8; 3] = [220, 30, 30];
const GREEN: [u8; 3] = [30, 200, 30];
const BLUE: [u8; 3] = [30, 30, 220];
const WHITE: [u8; 3] = [240, 240, 240];

/// Upright: red and green above, blue and white below.
fn upright(x: u32, y: u32, width: u32, height: u32) -> [u8; 3] {
    match (x < width / 2, y < height / 2) {
        (true, true) => RED,
        (false, true) => GREEN,
        (true, false) => BLUE,
        (false, false) => WHITE,
    }
}

/// The pixels as they lie in a file with that orientation, so that seen upright
/// they are `width` by `height`. TIFF 6.0, tag 274: which side of what is seen the
/// first row and the first column are.
fn lying(orientation: u16, width: u32, height: u32) -> RgbImage {
    let turned = 5 <= orientation;
    let (across, down) = if turned { (height, width) } else { (width, height) };
    RgbImage::from_fn(across, down, |column, row| {
        let (from_first_row, from_first_column) = (row, column);
        let (x, y) = match orientation {
            1 => (from_first_column, from_first_row),
            2 => (width - 1 - from_first_column, from_first_row),
            3 => (width - 1 - from_first_column, height - 1 - from_first_row),
            4 => (from_first_column, height - 1 - from_first_row),
            5 => (from_first_row, from_first_column),
            6 => (width - 1 - from_first_row, from_first_column),
            7 => (width - 1 - from_first_row, height - 1 - from_first_column),
            8 => (from_first_row, height - 1 - from_first_column),
            other => panic!("orientation {other}"),
        };
        Rgb(upright(x, y, width, height))
    })
}

/// A TIFF as cameras put it into a photo: maker, orientation, time, place.
fn tiff(orientation: u16, place: bool) -> Vec<u8> {
    let mut bytes = b"II*\0\x08\0\0\0".to_vec();
    let entry = |bytes: &mut Vec<u8>, tag: u16, kind: u16, count: u32, value: u32| {
        bytes.extend(tag.to_le_bytes());
        bytes.extend(kind.to_le_bytes());
        bytes.extend(count.to_le_bytes());
        bytes.extend(value.to_le_bytes());
    };
    // IFD0 at 8 with 4 entries ends at 62; the EXIF part at 62 with 1 entry ends
    // at 80; the GPS part at 80 with 2 entries ends at 110.
    bytes.extend(4_u16.to_le_bytes());
    entry(&mut bytes, 0x010f, 2, 8, 110);
    entry(&mut bytes, 0x0112, 3, 1, orientation.into());
    entry(&mut bytes, 0x8769, 4, 1, 62);
    entry(&mut bytes, if place { 0x8825 } else { 0xc000 }, 4, 1, 80);
    bytes.extend(0_u32.to_le_bytes());
    bytes.extend(1_u16.to_le_bytes());
    entry(&mut bytes, 0x9003, 2, 20, 118);
    bytes.extend(0_u32.to_le_bytes());
    bytes.extend(2_u16.to_le_bytes());
    entry(&mut bytes, 1, 2, 2, u32::from(b'N'));
    entry(&mut bytes, 2, 5, 3, 138);
    bytes.extend(0_u32.to_le_bytes());
    assert_eq!(bytes.len(), 110);
    bytes.extend(b"Example\0");
    bytes.extend(b"2026:11:25 10:04:59\0");
    for part in LATITUDE {
        bytes.extend(part.to_le_bytes());
    }
    bytes
}

fn latitude() -> Vec<u8> {
    LATITUDE.iter().flat_map(|part| part.to_le_bytes()).collect()
}

fn segment(marker: u8, content: &[u8]) -> Vec<u8> {
    let length = u16::try_from(content.len() + 2).unwrap();
    [&[0xff, marker], &length.to_be_bytes()[..], content].concat()
}

pub(crate) fn encoded(image: &DynamicImage, format: ImageFormat) -> Vec<u8> {
    let mut bytes = Cursor::new(Vec::new());
    image.write_to(&mut bytes, format).unwrap();
    bytes.into_inner()
}

/// A JPEG as a telephone writes it, with all a place can hide in.
pub(crate) fn jpeg(orientation: u16, width: u32, height: u32) -> Vec<u8> {
    let plain = encoded(&lying(orientation, width, height).into(), ImageFormat::Jpeg);
    let exif = [b"Exif\0\0", &tiff(orientation, true)[..]].concat();
    let xmp = b"http://ns.adobe.com/xap/1.0/\0<x GPSLatitude=\"41,13.95N\"/>";
    let iptc = b"Photoshop 3.0\x008BIM Sampletown";
    let parts = [
        &plain[..2],
        &segment(0xe1, &exif),
        &segment(0xe1, xmp),
        &segment(0xed, iptc),
        &segment(0xfe, b"12 Example Street"),
        &plain[2..],
        b"trailer: 12 Example Street",
    ];
    parts.concat()
}

fn png(orientation: u16, width: u32, height: u32) -> Vec<u8> {
    let plain = encoded(&lying(orientation, width, height).into(), ImageFormat::Png);
    let chunk = |kind: &[u8], content: &[u8]| {
        let checked = [kind, content].concat();
        let length = u32::try_from(content.len()).unwrap().to_be_bytes();
        [&length[..], &checked, &crc32fast::hash(&checked).to_be_bytes()].concat()
    };
    // The header ends at 33.
    let parts = [
        &plain[..33],
        &chunk(b"eXIf", &tiff(orientation, true)),
        &chunk(b"tEXt", b"Comment\x0012 Example Street"),
        &plain[33..],
    ];
    parts.concat()
}

fn near(found: [u8; 3], wanted: [u8; 3]) -> bool {
    found.iter().zip(wanted).all(|(a, b)| a.abs_diff(b) < 40)
}

/// The middle of each quarter of a picture is as it was made.
pub(crate) fn is_upright(picture: &RgbImage) -> bool {
    let (width, height) = picture.dimensions();
    [1, 3].into_iter().all(|x| {
        [1, 3].into_iter().all(|y| {
            let (x, y) = (x * width / 4, y * height / 4);
            near(picture.get_pixel(x, y).0, upright(x, y, width, height))
        })
    })
}

fn decoded(bytes: &[u8]) -> RgbImage {
    image::load_from_memory(bytes).unwrap().into_rgb8()
}

fn fields(bytes: &[u8]) -> Vec<(exif::Context, u16)> {
    match exif::Reader::new().read_from_container(&mut Cursor::new(bytes)) {
        Ok(exif) => exif.fields().map(|field| (field.tag.context(), field.tag.number())).collect(),
        Err(_) => Vec::new(),
    }
}

fn holds(bytes: &[u8], what: &[u8]) -> bool {
    bytes.windows(what.len()).any(|window| window == what)
}

#[test]
fn previews_are_upright_in_every_orientation() {
    for orientation in 1..=8 {
        for (file, media) in [(jpeg as fn(_, _, _) -> _, Media::Jpeg), (png, Media::Png)] {
            let made = ready(file(orientation, 96, 64), Some("the eave"), Location::Drop).unwrap();
            let photo = &made.photo;
            assert_eq!((photo.width_px, photo.height_px, photo.media), (96, 64, media));
            let preview = decoded(&made.preview);
            assert_eq!(preview.dimensions(), (96, 64), "orientation {orientation}");
            assert!(is_upright(&preview), "orientation {orientation} of {media:?}");
            assert!(fields(&made.preview).is_empty(), "a preview has no metadata");
            // What is kept still says which way is up.
            let kept = chalkhand::photo::ready(made.original, None, Location::Keep).unwrap();
            assert!(is_upright(&decoded(&kept.preview)), "kept, orientation {orientation}");
        }
    }
}

#[test]
fn a_large_photo_has_a_small_preview() {
    for (orientation, width, height, wanted) in
        [(1, 2600, 1300, (1280, 640)), (6, 1300, 2600, (640, 1280)), (1, 1280, 40, (1280, 40))]
    {
        let made = ready(jpeg(orientation, width, height), None, Location::Drop).unwrap();
        let preview = decoded(&made.preview);
        assert_eq!(preview.dimensions(), wanted);
        assert!(is_upright(&preview));
        assert_eq!((made.photo.width_px, made.photo.height_px), (width, height));
    }
    let line = encoded(&RgbImage::new(5000, 1).into(), ImageFormat::Png);
    let made = ready(line, None, Location::Drop).unwrap();
    assert_eq!(decoded(&made.preview).dimensions(), (1280, 1));
}

#[test]
fn the_place_is_left_out_and_nothing_of_the_picture() {
    for (file, media) in [(jpeg as fn(_, _, _) -> _, Media::Jpeg), (png, Media::Png)] {
        for orientation in [1, 6] {
            let given: Vec<u8> = file(orientation, 64, 48);
            assert!(holds(&given, &latitude()) && holds(&given, b"Example Street"));
            assert!(fields(&given).iter().any(|(context, _)| *context == exif::Context::Gps));
            let made = ready(given.clone(), None, Location::Drop).unwrap();
            assert_eq!(made.photo.given_sha256, Some(Hash::of(&given)));
            assert!(made.photo.location_removed());
            assert_eq!(made.photo.sha256, Hash::of(&made.original), "of what is kept");
            assert_eq!(made.photo.size_bytes, made.original.len() as u64);
            for part in [&latitude()[..], b"GPSLatitude", b"Sampletown", b"Example Street"] {
                assert!(!holds(&made.original, part), "{media:?}");
                assert!(!holds(&made.preview, part), "{media:?}");
            }
            let kept = fields(&made.original);
            assert!(kept.iter().all(|(context, _)| *context != exif::Context::Gps), "{kept:?}");
            assert!(kept.contains(&(exif::Context::Exif, 0x9003)), "{kept:?}");
            assert!(holds(&made.original, b"Example\0"), "the camera's name stays");
            assert_eq!(decoded(&made.original), decoded(&given), "no pixel is another one");
            assert_eq!(made.photo.taken.as_deref(), Some("2026-11-25T10:04:59"));
            // What is kept is taken as it is when it is given again.
            let again = ready(made.original.clone(), None, Location::Drop).unwrap();
            assert_eq!((again.photo.given_sha256, again.photo.sha256), (None, made.photo.sha256));
            assert_eq!(again.preview, made.preview);

            let whole = ready(given.clone(), None, Location::Keep).unwrap();
            assert_eq!((whole.photo.given_sha256, whole.original == given), (None, true));
            assert_eq!(whole.preview, made.preview, "the same picture, the same bytes");
            assert!(!holds(&whole.preview, &latitude()));
        }
    }
}

#[test]
fn a_plain_photo_is_kept_to_the_letter() {
    for format in [ImageFormat::Jpeg, ImageFormat::Png] {
        let given = encoded(&lying(1, 40, 30).into(), format);
        let made = ready(given.clone(), None, Location::Drop).unwrap();
        assert_eq!(made.original, given);
        assert_eq!((made.photo.given_sha256, made.photo.taken), (None, None));
    }
}

#[test]
fn what_can_be_seen_through_shows_paper() {
    let clear = RgbaImage::from_pixel(30, 20, Rgba([0, 0, 0, 0]));
    let made = ready(encoded(&clear.into(), ImageFormat::Png), None, Location::Drop).unwrap();
    assert!(decoded(&made.preview).pixels().all(|pixel| near(pixel.0, [255, 255, 255])));
}

/// A PNG header that promises more than there is.
fn promised(width: u32, height: u32) -> Vec<u8> {
    let mut bytes = encoded(&lying(1, 8, 8).into(), ImageFormat::Png);
    bytes[16..20].copy_from_slice(&width.to_be_bytes());
    bytes[20..24].copy_from_slice(&height.to_be_bytes());
    let check = crc32fast::hash(&bytes[12..29]).to_be_bytes();
    bytes[29..33].copy_from_slice(&check);
    bytes
}

#[test]
fn what_is_no_photo_is_refused_with_what_to_do() {
    let refused = |bytes: &[u8]| ready(bytes.to_vec(), None, Location::Drop).unwrap_err();
    let (jpeg, png) = (jpeg(1, 32, 24), png(1, 32, 24));
    let others: [&[u8]; 6] = [
        b"",
        b"to whom it may concern",
        b"GIF89a\x01\0\x01\0\0\0\0;",
        b"RIFF\x10\0\0\0WEBPVP8 ",
        b"\0\0\0\x18ftypheic\0\0\0\0",
        b"\xff\xd8",
    ];
    for other in others {
        assert_eq!(refused(other), NotAPhoto::Unknown);
    }
    assert!(refused(b"x").to_string().contains("have the camera write JPEG"));
    for whole in [&jpeg[..jpeg.len() - 26], &png] {
        for cut in [1, 2, 9, whole.len() / 2, whole.len() - 12] {
            let told = refused(&whole[..whole.len() - cut]);
            assert!(matches!(told, NotAPhoto::Damaged { .. }), "cut {cut}: {told}");
            assert!(told.to_string().contains("copy it again"), "{told}");
        }
    }
    let wide = NotAPhoto::TooManyPixels { width_px: 20_000, height_px: 20_000 };
    assert_eq!(refused(&promised(20_000, 20_000)), wide);
    // Few enough pixels, but the data ends.
    assert!(matches!(refused(&promised(9_000, 9_000)), NotAPhoto::Damaged { .. }));
    let mut large = jpeg.clone();
    large.resize(usize::try_from(MOST_BYTES).unwrap() + 1, 0);
    assert_eq!(refused(&large), NotAPhoto::TooLarge { found: MOST_BYTES + 1 });
    large.pop();
    assert!(ready(large, None, Location::Drop).is_ok(), "the most there may be");
    // The frame of a JPEG says 65,000 by 65,000.
    let mut broad = jpeg;
    let at = broad.windows(2).position(|two| two == [0xff, 0xc0]).unwrap();
    broad[at + 5..at + 9].copy_from_slice(&[0xfd, 0xe8, 0xfd, 0xe8]);
    assert!(matches!(refused(&broad), NotAPhoto::TooManyPixels { .. }));
}

/// A change somewhere in a good file, as disks, links and people make them.
fn changed(file: Vec<u8>) -> impl Strategy<Value = Vec<u8>> {
    let some = || any::<proptest::sample::Index>();
    let flips = proptest::collection::vec((some(), any::<u8>()), 0..6);
    let patch = proptest::collection::vec(any::<u8>(), 0..12);
    (flips, some(), some(), patch, any::<bool>()).prop_map(
        move |(flips, from, to, patch, splice)| {
            let mut file = file.clone();
            for (at, byte) in flips {
                let at = at.index(file.len());
                file[at] = byte;
            }
            if splice {
                let (a, b) = (from.index(file.len()), to.index(file.len()));
                file.splice(a.min(b)..a.max(b), patch);
            }
            file
        },
    )
}

fn inputs() -> u32 {
    std::env::var("CHALKHAND_FUZZ_INPUTS").map_or(3_000, |n| n.parse().unwrap())
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(inputs()))]

    /// Whatever the bytes are, the answer is a photo or a sentence; and what is
    /// kept can be read again, without a place in it.
    #[test]
    fn any_bytes_are_a_photo_or_refused(
        file in prop_oneof![changed(jpeg(6, 16, 12)), changed(png(3, 16, 12))]
    ) {
        if let Ok(made) = ready(file, None, Location::Drop) {
            prop_assert!(!holds(&made.original, b"GPSLatitude"));
            let again = ready(made.original.clone(), None, Location::Drop).unwrap();
            prop_assert_eq!(again.original, made.original);
            let (found, photo) = (decoded(&made.preview).dimensions(), &made.photo);
            prop_assert!(found.0 <= 1280 && found.1 <= 1280);
            let small = photo.width_px <= 1280 && photo.height_px <= 1280;
            prop_assert!(!small || found == (photo.width_px, photo.height_px));
        }
    }
}
