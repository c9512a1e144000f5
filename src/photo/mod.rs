//! A photo somebody gives: whether it is one, what is kept of the file, and an
//! upright preview. Bytes in, bytes out; the same file gives the same bytes.
//! Where they lie is the business of `store`, and nothing here judges what a
//! photo shows.

mod parts;

use std::io::Cursor;

use exif::{Exif, Field, In, Tag, Value};
use image::codecs::jpeg::JpegEncoder;
use image::metadata::Orientation;
use image::{DynamicImage, ImageDecoder, ImageFormat, ImageReader, Limits, RgbImage};
use jiff::Timestamp;
use jiff::civil::DateTime;
use jiff::tz::{Offset, TimeZone};

use crate::domain::{Hash, Media, Photo};

use parts::Parts;

/// Largest file, in bytes.
pub const MOST_BYTES: u64 = 40 << 20;

/// Most pixels of a photo.
pub const MOST_PIXELS: u64 = 120_000_000;

/// Most memory a photo is unpacked into, in bytes.
const MOST_MEMORY_BYTES: u64 = 512 << 20;

/// The long side of a preview, in pixels.
const PREVIEW_PX: u32 = 1280;

/// The JPEG quality of a preview, of 100.
const PREVIEW_QUALITY: u8 = 80;

/// Most letters of a camera's name that are kept.
const MOST_NAME_BYTES: usize = 64;

/// What becomes of the place a photo was taken at.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Location {
    /// The file is kept to the letter.
    Keep,
    /// Of what stands in the file beside the picture only its orientation, its
    /// colours, the camera's name and clock are kept.
    Drop,
}

/// A photo ready to be kept.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Ready {
    /// What the log says of it.
    pub photo: Photo,
    /// The file as it is kept.
    pub original: Vec<u8>,
    /// Its preview, an upright JPEG without metadata.
    pub preview: Vec<u8>,
    /// When it was taken, where the file says when the picture itself was made.
    pub moment: Option<Moment>,
}

/// When a photo was taken, as its file says it (CIPA DC-008, the EXIF standard:
/// `DateTimeOriginal`, and `OffsetTimeOriginal` where the camera knows it).
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Moment {
    /// By the camera's clock.
    pub local: DateTime,
    /// How far that clock is from UTC.
    pub offset: Option<Offset>,
}

impl Moment {
    /// The instant; the zone is that of a camera that does not say its own. None in
    /// the hour that comes twice there, or never.
    #[must_use]
    pub fn instant(&self, zone: &TimeZone) -> Option<Timestamp> {
        match self.offset {
            Some(offset) => offset.to_timestamp(self.local).ok(),
            None => zone.to_ambiguous_timestamp(self.local).unambiguous().ok(),
        }
    }
}

/// Why a file is not kept as a photo.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum NotAPhoto {
    /// Larger than it may be.
    #[error("has {found} bytes and may have {MOST_BYTES}: make it smaller")]
    TooLarge {
        /// How large it is, in bytes.
        found: u64,
    },
    /// Neither JPEG nor PNG.
    #[error("is no JPEG or PNG: have the camera write JPEG, or convert it")]
    Unknown,
    /// More pixels than it may have.
    #[error(
        "has {width_px} x {height_px} pixels, together more than {MOST_PIXELS}: make it smaller"
    )]
    TooManyPixels {
        /// Width, in pixels.
        width_px: u32,
        /// Height, in pixels.
        height_px: u32,
    },
    /// Begins like a photo and is none.
    #[error("is damaged or not whole ({why}): copy it again from the camera")]
    Damaged {
        /// What the reader says.
        why: String,
    },
}

/// Makes a file ready to be kept.
///
/// # Errors
/// Says why it is not kept, as the second half of a sentence about the file.
pub fn ready(
    bytes: Vec<u8>,
    caption: Option<&str>,
    location: Location,
) -> Result<Ready, NotAPhoto> {
    let size = length(&bytes);
    if MOST_BYTES < size {
        return Err(NotAPhoto::TooLarge { found: size });
    }
    let (media, format, parts) = if bytes.starts_with(parts::JPEG) {
        (Media::Jpeg, ImageFormat::Jpeg, parts::jpeg(&bytes))
    } else if bytes.starts_with(parts::PNG) {
        (Media::Png, ImageFormat::Png, parts::png(&bytes))
    } else {
        return Err(NotAPhoto::Unknown);
    };
    let not_whole = || NotAPhoto::Damaged { why: "it ends before the picture does".to_owned() };
    let parts = parts.ok_or_else(not_whole)?;
    let (image, orientation) = unpack(&bytes, format)?;
    let (width_px, height_px) = match orientation {
        Orientation::Rotate90
        | Orientation::Rotate270
        | Orientation::Rotate90FlipH
        | Orientation::Rotate270FlipH => (image.height(), image.width()),
        _ => (image.width(), image.height()),
    };
    let preview = preview(image, orientation)?;
    let exif = parts.exif.and_then(|tiff| exif::Reader::new().read_raw(tiff.to_vec()).ok());
    let taken = exif.as_ref().and_then(taken).map(|at| at.to_string());
    let moment = exif.as_ref().and_then(moment);
    let kept = match location {
        Location::Keep => None,
        Location::Drop => Some(without_location(&parts, media, orientation, exif.as_ref())?),
    };
    let kept = kept.filter(|kept| *kept != bytes);
    let given_sha256 = kept.as_ref().map(|_| Hash::of(&bytes));
    let original = kept.unwrap_or(bytes);
    let photo = Photo {
        sha256: Hash::of(&original),
        media,
        size_bytes: length(&original),
        width_px,
        height_px,
        preview_sha256: Hash::of(&preview),
        taken,
        caption: caption.map(str::to_owned),
        given_sha256,
    };
    Ok(Ready { photo, original, preview, moment })
}

fn length(bytes: &[u8]) -> u64 {
    u64::try_from(bytes.len()).unwrap_or(u64::MAX)
}

fn damaged(why: impl std::fmt::Display) -> NotAPhoto {
    NotAPhoto::Damaged { why: why.to_string() }
}

/// The picture as it lies in the file, and which way is up.
fn unpack(bytes: &[u8], format: ImageFormat) -> Result<(DynamicImage, Orientation), NotAPhoto> {
    let mut limits = Limits::default();
    limits.max_alloc = Some(MOST_MEMORY_BYTES);
    let mut reader = ImageReader::with_format(Cursor::new(bytes), format);
    reader.limits(limits);
    let mut decoder = reader.into_decoder().map_err(damaged)?;
    let (width_px, height_px) = decoder.dimensions();
    if MOST_PIXELS < u64::from(width_px) * u64::from(height_px) {
        return Err(NotAPhoto::TooManyPixels { width_px, height_px });
    }
    // One that says nothing readable is taken as it lies.
    let orientation = decoder.orientation().unwrap_or(Orientation::NoTransforms);
    let image = DynamicImage::from_decoder(decoder).map_err(damaged)?;
    if image.width() == 0 || image.height() == 0 {
        return Err(damaged("it has no pixels"));
    }
    Ok((image, orientation))
}

fn preview(image: DynamicImage, orientation: Orientation) -> Result<Vec<u8>, NotAPhoto> {
    let (width, height) = (image.width(), image.height());
    let long = width.max(height);
    let mut small = if PREVIEW_PX < long {
        let scaled = |side: u32| {
            let side = u64::from(side) * u64::from(PREVIEW_PX) + u64::from(long / 2);
            u32::try_from(side / u64::from(long)).unwrap_or(PREVIEW_PX).max(1)
        };
        image.thumbnail_exact(scaled(width), scaled(height))
    } else {
        image
    };
    small.apply_orientation(orientation);
    let mut bytes = Vec::new();
    let encoder = JpegEncoder::new_with_quality(&mut bytes, PREVIEW_QUALITY);
    over_white(small).write_with_encoder(encoder).map_err(damaged)?;
    Ok(bytes)
}

/// What can be seen through shows paper.
fn over_white(image: DynamicImage) -> RgbImage {
    if !image.color().has_alpha() {
        return image.into_rgb8();
    }
    let seen = image.into_rgba8();
    RgbImage::from_fn(seen.width(), seen.height(), |x, y| {
        let [r, g, b, alpha] = seen.get_pixel(x, y).0;
        let over = |c: u8| {
            let mixed = u32::from(c) * u32::from(alpha) + 255 * (255 - u32::from(alpha));
            u8::try_from((mixed + 127) / 255).unwrap_or(u8::MAX)
        };
        image::Rgb([over(r), over(g), over(b)])
    })
}

/// When it was taken by the camera's clock.
fn taken(exif: &Exif) -> Option<DateTime> {
    clock(exif, Tag::DateTimeOriginal).or_else(|| clock(exif, Tag::DateTime))
}

fn clock(exif: &Exif, tag: Tag) -> Option<DateTime> {
    DateTime::strptime("%Y:%m:%d %H:%M:%S", text(exif, tag)?).ok()
}

/// When the picture was made; when the file was written says nothing of that. An
/// offset that is blank or none is as good as none.
fn moment(exif: &Exif) -> Option<Moment> {
    let local = clock(exif, Tag::DateTimeOriginal)?;
    let offset = text(exif, Tag::OffsetTimeOriginal).and_then(offset);
    Some(Moment { local, offset })
}

/// `-05:00`, as the standard has it.
fn offset(text: &str) -> Option<Offset> {
    let (sign, rest) = match text.split_at_checked(1)? {
        ("+", rest) => (1, rest),
        ("-", rest) => (-1, rest),
        _ => return None,
    };
    let (hours, minutes) = rest.split_once(':')?;
    let two = |digits: &str, most: i32| {
        let plain = digits.len() == 2 && digits.bytes().all(|byte| byte.is_ascii_digit());
        digits.parse::<i32>().ok().filter(|n| plain && *n <= most)
    };
    Offset::from_seconds(sign * (two(hours, 15)? * 3_600 + two(minutes, 59)? * 60)).ok()
}

fn text(exif: &Exif, tag: Tag) -> Option<&str> {
    let text = ascii(exif.get_field(tag, In::PRIMARY)?)?;
    Some(std::str::from_utf8(text).ok()?.trim())
}

fn ascii(field: &Field) -> Option<&[u8]> {
    match &field.value {
        Value::Ascii(texts) => texts.first().map(Vec::as_slice),
        _ => None,
    }
}

/// The same picture, its packed bytes untouched, with what cannot hold a place.
fn without_location(
    parts: &Parts<'_>,
    media: Media,
    orientation: Orientation,
    exif: Option<&Exif>,
) -> Result<Vec<u8>, NotAPhoto> {
    let mut fields = Vec::new();
    if orientation != Orientation::NoTransforms {
        let value = Value::Short(vec![u16::from(orientation.to_exif())]);
        fields.push(Field { tag: Tag::Orientation, ifd_num: In::PRIMARY, value });
    }
    for tag in [Tag::Make, Tag::Model] {
        let name = exif.and_then(|exif| ascii(exif.get_field(tag, In::PRIMARY)?));
        let plain = |name: &&[u8]| {
            let is_plain = name.iter().all(|byte| matches!(byte, b' '..=b'~'));
            is_plain && (1..=MOST_NAME_BYTES).contains(&name.len())
        };
        if let Some(name) = name.filter(plain) {
            let value = Value::Ascii(vec![name.to_vec()]);
            fields.push(Field { tag, ifd_num: In::PRIMARY, value });
        }
    }
    if let Some(taken) = exif.and_then(taken) {
        let text = taken.strftime("%Y:%m:%d %H:%M:%S").to_string();
        let value = Value::Ascii(vec![text.into_bytes()]);
        fields.push(Field { tag: Tag::DateTimeOriginal, ifd_num: In::PRIMARY, value });
    }
    let mut writer = exif::experimental::Writer::new();
    fields.iter().for_each(|field| writer.push_field(field));
    let mut tiff = Cursor::new(Vec::new());
    if !fields.is_empty() {
        writer.write(&mut tiff, false).map_err(damaged)?;
    }
    let tiff = tiff.into_inner();
    let tiff = (!tiff.is_empty()).then_some(tiff.as_slice());
    Ok(match media {
        Media::Jpeg => parts::write_jpeg(parts, tiff),
        Media::Png => parts::write_png(parts, tiff),
    })
}
