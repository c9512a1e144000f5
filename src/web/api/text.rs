//! Texts and numbers that a program sends, with their bounds: the check and what the
//! document says of it stand side by side.

use std::borrow::Cow;
use std::ops::RangeInclusive;

use serde::de::Error as _;
use serde::{Deserialize, Deserializer};
use utoipa::openapi::schema::{ObjectBuilder, Schema, Type};
use utoipa::openapi::{RefOr, SchemaFormat};
use utoipa::{PartialSchema, ToSchema};

/// Something is to be read in it (ECMA-262, as JSON Schema has it).
const NOT_BLANK: &str = r"[^\s\u0000-\u001f\u007f-\u009f\ufeff]";

fn is_blank(c: char) -> bool {
    c.is_whitespace() || c.is_control() || c == '\u{feff}'
}

macro_rules! texts {
    ($($(#[doc = $doc:literal])* $name:ident, $most:literal;)*) => {$(
        $(#[doc = $doc])*
        #[derive(Clone, Debug, Deserialize)]
        #[serde(try_from = "String")]
        pub(super) struct $name(String);

        impl $name {
            pub(super) fn as_str(&self) -> &str {
                &self.0
            }
        }

        impl TryFrom<String> for $name {
            type Error = String;

            fn try_from(text: String) -> Result<Self, String> {
                if text.chars().all(is_blank) {
                    return Err("a text is blank".to_owned());
                }
                if $most < text.chars().count() {
                    return Err(format!("a text has more than {} characters", $most));
                }
                Ok(Self(text))
            }
        }

        impl PartialSchema for $name {
            fn schema() -> RefOr<Schema> {
                let text = ObjectBuilder::new().schema_type(Type::String);
                let text = text.min_length(Some(1)).max_length(Some($most)).pattern(Some(NOT_BLANK));
                text.description(Some(concat!($($doc),*).trim())).into()
            }
        }

        impl ToSchema for $name {
            fn name() -> Cow<'static, str> {
                Cow::Borrowed(stringify!($name))
            }
        }
    )*};
}

texts! {
    /// A name or another short text.
    Line, 200;
    /// What somebody says.
    Said, 4000;
}

/// A whole number as JSON Schema has it: `17.0` is one as well (2020-12, validation,
/// section 6.1.1).
fn whole<'de, D: Deserializer<'de>>(from: D, range: RangeInclusive<u64>) -> Result<u64, D::Error> {
    let sent = serde_json::Number::deserialize(from)?;
    let whole = sent.as_u64().or_else(|| {
        let whole = sent.as_f64().filter(|n| n.fract() == 0.0 && (0.0..9.1e15).contains(n))?;
        format!("{whole:.0}").parse().ok()
    });
    let (least, most) = (range.start(), range.end());
    let wrong = || D::Error::custom(format!("`{sent}` is no whole number from {least} to {most}"));
    whole.filter(|whole| range.contains(whole)).ok_or_else(wrong)
}

macro_rules! wholes {
    ($($(#[doc = $doc:literal])* $name:ident: $kind:ty, $most:literal;)*) => {$(
        $(#[doc = $doc])*
        #[derive(Clone, Copy, Debug)]
        pub(super) struct $name(pub(super) $kind);

        impl<'de> Deserialize<'de> for $name {
            fn deserialize<D: Deserializer<'de>>(from: D) -> Result<Self, D::Error> {
                let whole = whole(from, 1..=$most)?;
                <$kind>::try_from(whole).map(Self).map_err(D::Error::custom)
            }
        }

        impl PartialSchema for $name {
            fn schema() -> RefOr<Schema> {
                let whole = ObjectBuilder::new().schema_type(Type::Integer);
                let most: u64 = $most;
                let whole = whole.minimum(Some(1_u64)).maximum(Some(most));
                whole.description(Some(concat!($($doc),*).trim())).into()
            }
        }

        impl ToSchema for $name {
            fn name() -> Cow<'static, str> {
                Cow::Borrowed(stringify!($name))
            }
        }
    )*};
}

wholes! {
    /// The number of an entry, counted from 1.
    Seq: u64, 9_007_199_254_740_991;
    /// The number of a row, counted from 1.
    Row: u32, 1_000_000;
}

/// A day, `2026-11-27`.
#[derive(Clone, Copy, Debug, Deserialize)]
#[serde(try_from = "String")]
pub(super) struct Day(pub(super) jiff::civil::Date);

impl TryFrom<String> for Day {
    type Error = String;

    fn try_from(text: String) -> Result<Self, String> {
        let day = (text.len() == 10).then(|| text.parse().ok()).flatten();
        day.map(Self).ok_or_else(|| format!("`{text}` is no day: write it as 2026-11-27"))
    }
}

impl PartialSchema for Day {
    fn schema() -> RefOr<Schema> {
        let day = ObjectBuilder::new().schema_type(Type::String);
        let format = SchemaFormat::Custom("date".to_owned());
        day.format(Some(format)).examples([serde_json::Value::from("2026-11-27")]).into()
    }
}

impl ToSchema for Day {
    fn name() -> Cow<'static, str> {
        Cow::Borrowed("Day")
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_text_says_something() {
        for blank in ["", " ", "\n\t", "\u{feff}", "\u{a0}\u{0}", "\u{85}"] {
            assert!(Line::try_from(blank.to_owned()).is_err(), "{blank:?}");
        }
        assert_eq!(Line::try_from("é".repeat(200)).unwrap().as_str().chars().count(), 200);
        assert!(Line::try_from("é".repeat(201)).is_err());
        assert!(Said::try_from("a".repeat(4000)).is_ok());
    }

    #[test]
    fn a_whole_number_is_one_however_it_is_written() {
        let read = |text: &str| serde_json::from_str::<Seq>(text).map(|seq| seq.0).ok();
        assert_eq!(read("17"), Some(17));
        assert_eq!(read("17.0"), Some(17));
        assert_eq!(read("1.7e1"), Some(17));
        assert_eq!(read("9007199254740991"), Some(9_007_199_254_740_991));
        for wrong in ["0", "-1", "1.5", "1e300", "9007199254740992", "\"17\"", "null", "true"] {
            assert_eq!(read(wrong), None, "{wrong}");
        }
        assert!(serde_json::from_str::<Row>("1000001").is_err());
    }

    #[test]
    fn a_day_is_written_in_one_way() {
        assert!(Day::try_from("2026-11-27".to_owned()).is_ok());
        for wrong in ["", "2026-11-31", "20261127", "27.11.2026", "2026-11-27T00:00:00Z"] {
            assert!(Day::try_from(wrong.to_owned()).is_err(), "{wrong}");
        }
    }
}
