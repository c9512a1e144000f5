//! Numbers into words: every form the recogniser may write a length or a count
//! in, and the one form it is read back in. The reader is `numbers`.

use crate::measure::Ratio;

/// Words of the numbers below twenty.
pub(super) const ONES: [&str; 20] = [
    "zero",
    "one",
    "two",
    "three",
    "four",
    "five",
    "six",
    "seven",
    "eight",
    "nine",
    "ten",
    "eleven",
    "twelve",
    "thirteen",
    "fourteen",
    "fifteen",
    "sixteen",
    "seventeen",
    "eighteen",
    "nineteen",
];
/// Words of the tens, by their first digit.
pub(super) const TENS: [&str; 10] =
    ["", "", "twenty", "thirty", "forty", "fifty", "sixty", "seventy", "eighty", "ninety"];

/// A whole number below a million in words, spaces between them ("sixty three").
/// A larger one stays in digits.
pub fn words_for(number: u32) -> String {
    let below = |place: u32, table: &[&'static str]| {
        usize::try_from(place).ok().and_then(|place| table.get(place)).copied().unwrap_or("")
    };
    match number {
        0..20 => below(number, &ONES).to_owned(),
        20..100 => match number % 10 {
            0 => below(number / 10, &TENS).to_owned(),
            one => format!("{} {}", below(number / 10, &TENS), below(one, &ONES)),
        },
        100..1_000 => match number % 100 {
            0 => format!("{} hundred", words_for(number / 100)),
            rest => format!("{} hundred {}", words_for(number / 100), words_for(rest)),
        },
        1_000..1_000_000 => match number % 1_000 {
            0 => format!("{} thousand", words_for(number / 1_000)),
            rest => format!("{} thousand {}", words_for(number / 1_000), words_for(rest)),
        },
        _ => number.to_string(),
    }
}

/// A length taken apart as a person says it.
#[derive(Clone, Copy)]
struct Parts {
    whole: u32,
    top: u32,
    bottom: u32,
}

impl Parts {
    /// None for a negative length or one past any tape.
    fn of(inches: Ratio) -> Option<Parts> {
        let (top, bottom) = (inches.numerator(), inches.denominator());
        let whole = top.checked_div_euclid(bottom)?;
        Some(Parts {
            whole: u32::try_from(whole).ok()?,
            top: u32::try_from(top.checked_rem_euclid(bottom)?).ok()?,
            bottom: u32::try_from(bottom).ok()?,
        })
    }
}

/// The word forms of a fraction below one, the plainest first.
fn fraction_words(top: u32, bottom: u32) -> Vec<String> {
    let name = match bottom {
        2 => return vec!["a half".to_owned(), "one half".to_owned()],
        4 => "quarter",
        8 => "eighth",
        16 => "sixteenth",
        32 => "thirty second",
        _ => return Vec::new(),
    };
    if top == 1 {
        let article = if bottom == 8 { "an" } else { "a" };
        return vec![format!("{article} {name}"), format!("one {name}")];
    }
    vec![format!("{} {name}s", words_for(top))]
}

/// A fraction as decimals, in digits and in words, where people say it so.
fn decimals(top: u32, bottom: u32) -> Option<(&'static str, &'static str)> {
    match (top, bottom) {
        (1, 2) => Some((".5", "point five")),
        (1, 4) => Some((".25", "point two five")),
        (3, 4) => Some((".75", "point seven five")),
        _ => None,
    }
}

/// Every plain form of a length in inches, lower case, words spaced. Nothing for
/// a length that no tape shows.
pub fn length_forms(inches: Ratio) -> Vec<String> {
    let Some(parts) = Parts::of(inches) else { return Vec::new() };
    let mut forms = inch_forms(parts);
    if 12 <= parts.whole {
        feet_forms(parts, &mut forms);
    }
    forms
}

fn inch_forms(Parts { whole, top, bottom }: Parts) -> Vec<String> {
    let mut forms = Vec::new();
    if top == 0 {
        let unit = if whole == 1 { "inch" } else { "inches" };
        for number in [words_for(whole), whole.to_string()] {
            forms.push(format!("{number} {unit}"));
            forms.push(number);
        }
        if whole == 1 {
            forms.push("an inch".to_owned());
        }
        return forms;
    }
    let digits = format!("{top}/{bottom}");
    let words = fraction_words(top, bottom);
    if whole == 0 {
        for fraction in words.iter().chain([&digits]) {
            forms.push(fraction.clone());
            forms.push(format!("{fraction} inch"));
            forms.push(format!("{fraction} of an inch"));
        }
        match (top, bottom) {
            (1, 2) => forms.extend(["half an inch", "half inch"].map(str::to_owned)),
            (1, 4) => forms.push("quarter inch".to_owned()),
            (3, 4) => forms.extend(["three quarter inch", "three-quarter inch"].map(str::to_owned)),
            _ => {}
        }
        return forms;
    }
    for number in [words_for(whole), whole.to_string()] {
        for unit in ["", " inches"] {
            for fraction in &words {
                forms.push(format!("{number} and {fraction}{unit}"));
            }
            forms.push(format!("{number} and {digits}{unit}"));
            if let Some((_, said)) = decimals(top, bottom) {
                forms.push(format!("{number} {said}{unit}"));
            }
        }
        let unit = if whole == 1 { "inch" } else { "inches" };
        for fraction in &words {
            forms.push(format!("{number} {unit} and {fraction}"));
        }
    }
    for unit in ["", " inches"] {
        forms.push(format!("{whole} {digits}{unit}"));
        forms.push(format!("{whole}-{digits}{unit}"));
        if let Some((written, _)) = decimals(top, bottom) {
            forms.push(format!("{whole}{written}{unit}"));
        }
    }
    if whole == 1 {
        for fraction in &words {
            forms.push(format!("an inch and {fraction}"));
        }
    }
    forms
}

fn feet_forms(parts: Parts, forms: &mut Vec<String>) {
    let (feet, rest) = (parts.whole / 12, parts.whole % 12);
    let units: &[&str] = if feet == 1 { &["foot"] } else { &["feet", "foot"] };
    let numbers = [words_for(feet), feet.to_string()];
    if rest == 0 && parts.top == 0 {
        for number in &numbers {
            forms.extend(units.iter().map(|unit| format!("{number} {unit}")));
        }
        if feet == 1 {
            forms.push("a foot".to_owned());
        }
        return;
    }
    if rest == 6 && parts.top == 0 {
        for number in &numbers {
            forms.push(format!("{number} and a half feet"));
            forms.push(format!("{number} {} and a half", units.first().unwrap_or(&"feet")));
        }
        if feet == 1 {
            forms.push("a foot and a half".to_owned());
        }
    }
    let inches = feet_rest_forms(Parts { whole: rest, ..parts });
    for number in &numbers {
        for unit in units {
            forms.extend(inches.iter().map(|inches| format!("{number} {unit} {inches}")));
        }
    }
}

/// What may follow the feet. "And a half" is left to the feet, and a bare
/// quarter to nobody: people mean a quarter of either.
fn feet_rest_forms(Parts { whole, top, bottom }: Parts) -> Vec<String> {
    let unit = if whole == 1 && top == 0 { "inch" } else { "inches" };
    let digits = format!("{top}/{bottom}");
    let mut forms = Vec::new();
    if top == 0 {
        for number in [words_for(whole), whole.to_string()] {
            forms.push(format!("{number} {unit}"));
            forms.push(number);
        }
        return forms;
    }
    let words = fraction_words(top, bottom);
    if whole == 0 {
        for fraction in words.iter().chain([&digits]) {
            forms.push(format!("{fraction} inch"));
            forms.push(format!("and {fraction} inch"));
            if 4 < bottom {
                forms.push(fraction.clone());
                forms.push(format!("and {fraction}"));
            }
        }
        return forms;
    }
    for number in [words_for(whole), whole.to_string()] {
        for fraction in words.iter().chain([&digits]) {
            forms.push(format!("{number} and {fraction} {unit}"));
            forms.push(format!("{number} and {fraction}"));
        }
    }
    forms.push(format!("{whole} {digits} {unit}"));
    forms.push(format!("{whole} {digits}"));
    forms
}

/// Every plain form of a count.
pub fn count_forms(count: u32) -> Vec<String> {
    let words = words_for(count);
    let digits = count.to_string();
    if words == digits { vec![digits] } else { vec![words, digits] }
}

/// Adds the ways the recogniser capitalises and hyphenates plain forms.
pub(super) fn with_case(plain: &[String]) -> Vec<String> {
    let mut forms: Vec<String> = Vec::new();
    for form in plain {
        let tens = hyphened_tens(form);
        for form in [Some(form.clone()), tens.clone()].into_iter().flatten() {
            let fraction = hyphened_fraction(&form);
            for form in [Some(form), fraction].into_iter().flatten() {
                forms.push(capitalised(&form));
                forms.push(form);
            }
        }
    }
    let mut seen = std::collections::HashSet::new();
    forms.retain(|form| seen.insert(form.clone()));
    forms
}

fn capitalised(form: &str) -> String {
    let mut chars = form.chars();
    chars.next().map_or_else(String::new, |first| first.to_uppercase().chain(chars).collect())
}

/// "sixty three" as "sixty-three", wherever it stands.
fn hyphened_tens(form: &str) -> Option<String> {
    let mut changed = form.to_owned();
    for ten in TENS.iter().filter(|ten| !ten.is_empty()) {
        for one in ONES.iter().take(10).skip(1) {
            let plain = format!("{ten} {one}");
            if let Some(at) = changed.find(&plain) {
                let after = changed.get(at.saturating_add(plain.len())..).unwrap_or_default();
                if !after.starts_with(char::is_alphabetic) {
                    changed = changed.replacen(&plain, &format!("{ten}-{one}"), 1);
                }
            }
        }
    }
    (changed != form).then_some(changed)
}

/// "three sixteenths" as "three-sixteenths", wherever it stands.
fn hyphened_fraction(form: &str) -> Option<String> {
    for name in [" quarters", " eighth", " sixteenth"] {
        if let Some(at) = form.find(name) {
            let mut changed = form.to_owned();
            changed.replace_range(at..at.saturating_add(1), "-");
            return Some(changed);
        }
    }
    None
}

/// A count as it is read back, digit by digit where a teen may be heard as a ten.
pub fn say_count(count: u32) -> String {
    match count {
        13..20 => format!("one-{}", words_for(count % 10)),
        30..100 if count.is_multiple_of(10) => format!("{}-oh", words_for(count / 10)),
        _ => words_for(count),
    }
}

/// A length in inches as it is read back ("one-five and three eighths inches").
pub fn say_length(inches: Ratio) -> String {
    let Some(Parts { whole, top, bottom }) = Parts::of(inches) else {
        return format!("{}/{} inches", inches.numerator(), inches.denominator());
    };
    let fraction = fraction_words(top, bottom)
        .first()
        .cloned()
        .unwrap_or_else(|| format!("{} over {}", words_for(top), words_for(bottom)));
    match (whole, top) {
        (1, 0) => "one inch".to_owned(),
        (_, 0) => format!("{} inches", say_count(whole)),
        (0, _) => format!("{fraction} of an inch"),
        _ => format!("{} and {fraction} inches", say_count(whole)),
    }
}
