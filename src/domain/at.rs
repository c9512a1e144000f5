//! An instant with the offset of the place it was taken at, as RFC 3339 writes
//! it. Nothing here reads a clock.

use std::fmt;
use std::str::FromStr;

use jiff::Timestamp;
use jiff::civil::Date;
use jiff::fmt::StdFmtWrite;
use jiff::fmt::temporal::{DateTimePrinter, Pieces};
use jiff::tz::{Offset, TimeZone};

/// An instant in milliseconds and the local offset from UTC in whole minutes.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub struct At {
    instant: Timestamp,
    offset_min: i32,
}

impl At {
    /// Of an instant in a time zone, cut to the millisecond.
    #[must_use]
    pub fn new(instant: Timestamp, zone: &TimeZone) -> Self {
        let instant = Timestamp::from_millisecond(instant.as_millisecond()).unwrap_or(instant);
        Self { instant, offset_min: zone.to_offset(instant).seconds() / 60 }
    }

    /// The instant.
    #[must_use]
    pub fn instant(self) -> Timestamp {
        self.instant
    }

    /// Milliseconds since 1970-01-01T00:00:00Z.
    #[must_use]
    pub fn ms(self) -> i64 {
        self.instant.as_millisecond()
    }

    /// The calendar day where it was taken.
    #[must_use]
    pub fn date(self) -> Date {
        self.offset().to_datetime(self.instant).date()
    }

    /// Hours and minutes where it was taken: `14:05`.
    #[must_use]
    pub fn clock(self) -> String {
        let local = self.offset().to_datetime(self.instant);
        format!("{:02}:{:02}", local.hour(), local.minute())
    }

    fn offset(self) -> Offset {
        Offset::from_seconds(self.offset_min.saturating_mul(60)).unwrap_or(Offset::UTC)
    }
}

impl fmt::Display for At {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let printer = DateTimePrinter::new().precision(Some(3));
        let print =
            printer.print_timestamp_with_offset(&self.instant, self.offset(), StdFmtWrite(f));
        print.map_err(|_| fmt::Error)
    }
}

impl FromStr for At {
    type Err = String;

    fn from_str(text: &str) -> Result<Self, String> {
        let wrong = || format!("`{text}` is not an RFC 3339 time with an offset");
        let pieces = Pieces::parse(text).map_err(|_| wrong())?;
        let offset = pieces.to_numeric_offset().ok_or_else(wrong)?;
        let instant: Timestamp = text.parse().map_err(|_| wrong())?;
        let at = Self { instant, offset_min: offset.seconds() / 60 };
        // RFC 3339 has four digits for a year and no sign before them.
        if at.date().year() < 0 { Err(wrong()) } else { Ok(at) }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// RFC 3339 section 5.8 (from memory): the two spellings are one instant.
    #[test]
    fn rfc_3339_examples() {
        let west: At = "1996-12-19T16:39:57-08:00".parse().unwrap();
        let utc: At = "1996-12-20T00:39:57Z".parse().unwrap();
        assert_eq!(west.instant(), utc.instant());
        assert_eq!(west.to_string(), "1996-12-19T16:39:57.000-08:00");
        assert_eq!(west.date().to_string(), "1996-12-19");
        assert_eq!(utc.date().to_string(), "1996-12-20");
        assert!("1996-12-19T16:39:57".parse::<At>().is_err(), "an offset is needed");
    }

    #[test]
    fn prints_what_it_reads() {
        for text in ["2026-11-25T08:15:09.042-05:00", "2026-06-01T00:00:00.000+05:30"] {
            assert_eq!(text.parse::<At>().unwrap().to_string(), text);
        }
    }

    /// What is finer than a millisecond is cut, not rounded.
    #[test]
    fn finer_parts_are_cut() {
        for (text, printed) in [
            ("2026-11-25T08:15:59.9999999-05:00", "2026-11-25T08:15:59.999-05:00"),
            ("1969-12-31T23:59:59.9999999+00:00", "1969-12-31T23:59:59.999+00:00"),
            ("2026-11-25T08:15:09.0005Z", "2026-11-25T08:15:09.000+00:00"),
        ] {
            assert_eq!(text.parse::<At>().unwrap().to_string(), printed);
        }
    }

    /// RFC 3339 section 5.6 knows years of four digits.
    #[test]
    fn a_year_before_0_is_refused() {
        for text in ["-000001-01-01T00:00:00.000+00:00", "-009999-06-01T00:00:00.000+00:00"] {
            assert!(text.parse::<At>().is_err(), "{text}");
        }
    }

    /// Against the other way to print in the library.
    #[test]
    fn prints_every_part() {
        // Every third year or so, never twice at the same time of day.
        for ms in (-62_135_510_400_000..253_402_207_200_000_i64).step_by(86_659_967_303) {
            let instant = Timestamp::from_millisecond(ms).unwrap();
            for offset_min in [-720, -61, -1, 0, 1, 330, 845] {
                let at = At { instant, offset_min };
                let local = at.offset().to_datetime(instant);
                let (sign, min) = (if offset_min < 0 { '-' } else { '+' }, offset_min.abs());
                let expected = format!(
                    "{}.{:03}{sign}{:02}:{:02}",
                    local.strftime("%Y-%m-%dT%H:%M:%S"),
                    local.millisecond(),
                    min / 60,
                    min % 60
                );
                assert_eq!(at.to_string(), expected);
            }
        }
    }
}
