//! Lengths as English sentences say them, in feet where they are long. Counts and
//! all other forms are in `forms`.

use crate::measure::Ratio;

use super::forms::{say_count, say_length, words_for};

/// A length in an instruction: feet and inches where it is long, and plain
/// words for teens ("one-eight inches" is too close to an eighth). Thirteen and
/// thirty alone stay apart by their digits.
pub(super) fn length_in_words(inches: Ratio) -> String {
    match in_feet(inches, words_for) {
        Some(long) => long,
        None => match u32::try_from(inches.floor()) {
            Ok(whole @ 14..=19) => {
                plain_half(&say_length(inches)).replacen(&say_count(whole), &words_for(whole), 1)
            }
            _ => plain_half(&say_length(inches)),
        },
    }
}

/// A length as it is read back.
pub(super) fn read_length(inches: Ratio) -> String {
    in_feet(inches, say_count).unwrap_or_else(|| plain_half(&say_length(inches)))
}

/// Feet and inches, as roofers say what is three feet and more.
fn in_feet(inches: Ratio, count: fn(u32) -> String) -> Option<String> {
    let feet = u32::try_from(inches.floor() / 12).ok().filter(|feet| 3 <= *feet)?;
    let rest = inches.minus(Ratio::int(i64::from(feet) * 12)).ok()?;
    let feet = format!("{} feet", count(feet));
    if rest == Ratio::ZERO {
        return Some(feet);
    }
    Some(format!("{feet} {}", plain_half(&say_length(rest))))
}

fn plain_half(said: &str) -> String {
    said.replace("a half of an inch", "half an inch")
}
