//! Numbers into Spanish words: counts, tape marks, metric decimals, and the forms
//! a length may be said in. Inches are feminine, feet and metres masculine.

use crate::files::Noun;
use crate::measure::Ratio;

/// Words of the numbers below thirty.
const ONES: [&str; 30] = [
    "cero",
    "uno",
    "dos",
    "tres",
    "cuatro",
    "cinco",
    "seis",
    "siete",
    "ocho",
    "nueve",
    "diez",
    "once",
    "doce",
    "trece",
    "catorce",
    "quince",
    "dieciséis",
    "diecisiete",
    "dieciocho",
    "diecinueve",
    "veinte",
    "veintiuno",
    "veintidós",
    "veintitrés",
    "veinticuatro",
    "veinticinco",
    "veintiséis",
    "veintisiete",
    "veintiocho",
    "veintinueve",
];
const TENS: [&str; 10] =
    ["", "", "", "treinta", "cuarenta", "cincuenta", "sesenta", "setenta", "ochenta", "noventa"];
/// Hundreds; the feminine ones end in "as".
const HUNDREDS: [&str; 10] = [
    "",
    "ciento",
    "doscientos",
    "trescientos",
    "cuatrocientos",
    "quinientos",
    "seiscientos",
    "setecientos",
    "ochocientos",
    "novecientos",
];

fn of<const N: usize>(table: &[&'static str; N], place: u32) -> &'static str {
    usize::try_from(place).ok().and_then(|place| table.get(place)).copied().unwrap_or("")
}

/// A whole number below a million in words, standing alone or before a feminine
/// noun ("veintiuna", "doscientas"). A larger one stays in digits.
#[must_use]
pub fn words_for(number: u32, feminine: bool) -> String {
    match number {
        0..30 => match (number, feminine) {
            (1, true) => "una".to_owned(),
            (21, true) => "veintiuna".to_owned(),
            _ => of(&ONES, number).to_owned(),
        },
        30..100 => match number % 10 {
            0 => of(&TENS, number / 10).to_owned(),
            one => format!("{} y {}", of(&TENS, number / 10), words_for(one, feminine)),
        },
        100 => "cien".to_owned(),
        101..1_000 => {
            let mut hundreds = of(&HUNDREDS, number / 100).to_owned();
            if feminine && hundreds.ends_with("os") {
                hundreds.replace_range(hundreds.len().saturating_sub(2).., "as");
            }
            match number % 100 {
                0 => hundreds,
                rest => format!("{hundreds} {}", words_for(rest, feminine)),
            }
        }
        1_000..1_000_000 => {
            let thousands = match number / 1_000 {
                1 => "mil".to_owned(),
                many => format!("{} mil", before_noun(many, feminine)),
            };
            match number % 1_000 {
                0 => thousands,
                rest => format!("{thousands} {}", words_for(rest, feminine)),
            }
        }
        _ => number.to_string(),
    }
}

/// The same before a noun: "un pie", "veintiún pies", "una pulgada".
fn before_noun(number: u32, feminine: bool) -> String {
    let words = words_for(number, feminine);
    if feminine {
        return words;
    }
    match words.strip_suffix("uno") {
        Some("veinti") => "veintiún".to_owned(),
        Some(start) if start.ends_with(" veinti") => format!("{start}ún"),
        Some(start) => format!("{start}un"),
        None => words,
    }
}

/// A count as it is read back: sixties and seventies, which sound alike, digit
/// by digit.
pub(super) fn say_count(count: u32, feminine: bool) -> String {
    match count {
        60..80 => format!("{} {}", of(&ONES, count / 10), of(&ONES, count % 10)),
        _ => words_for(count, feminine),
    }
}

/// A number of things before their name, as it is read back.
fn read_count(count: u32, feminine: bool) -> String {
    if (60..80).contains(&count) {
        say_count(count, feminine)
    } else {
        before_noun(count, feminine)
    }
}

/// A length taken apart: whole inches, and a fraction below one.
#[derive(Clone, Copy)]
struct Parts {
    whole: u32,
    top: u32,
    bottom: u32,
}

impl Parts {
    /// None for a negative length or one past any tape.
    fn of(inches: Ratio) -> Option<Self> {
        let (top, bottom) = (inches.numerator(), inches.denominator());
        Some(Self {
            whole: u32::try_from(top.checked_div_euclid(bottom)?).ok()?,
            top: u32::try_from(top.checked_rem_euclid(bottom)?).ok()?,
            bottom: u32::try_from(bottom).ok()?,
        })
    }
}

/// The name of a fraction below one: "tres octavos". A half is named by what it
/// is a half of.
fn fraction(top: u32, bottom: u32) -> String {
    let name = match bottom {
        2 => return "media".to_owned(),
        3 => "tercio",
        4 => "cuarto",
        5 => "quinto",
        8 => "octavo",
        10 => "décimo",
        16 => "dieciseisavo",
        32 => "treintaidosavo",
        64 => "sesentaicuatroavo",
        _ => return format!("{} sobre {}", words_for(top, false), words_for(bottom, false)),
    };
    match top {
        1 => format!("un {name}"),
        _ => format!("{} {name}s", before_noun(top, false)),
    }
}

/// A length as it is read back.
pub(super) fn read_length(inches: Ratio) -> String {
    length(inches, read_count)
}

/// A length as an instruction says it.
pub(super) fn length_in_words(inches: Ratio) -> String {
    length(inches, before_noun)
}

/// Feet and inches from three feet up, inches below.
fn length(inches: Ratio, count: fn(u32, bool) -> String) -> String {
    let Some(parts) = Parts::of(inches) else {
        return format!("{}/{} pulgadas", inches.numerator(), inches.denominator());
    };
    let feet = parts.whole / 12;
    if feet < 3 {
        return in_inches(parts, count);
    }
    let rest = Parts { whole: parts.whole % 12, ..parts };
    let feet = format!("{} pies", count(feet, false));
    if rest.whole == 0 && rest.top == 0 {
        return feet;
    }
    let joined = if rest.whole == 0 { "y " } else { "" };
    format!("{feet} {joined}{}", in_inches(rest, count))
}

fn in_inches(Parts { whole, top, bottom }: Parts, count: fn(u32, bool) -> String) -> String {
    let inches = match whole {
        1 => "una pulgada".to_owned(),
        _ => format!("{} pulgadas", count(whole, true)),
    };
    match (whole, top) {
        (_, 0) => inches,
        (0, 1) if bottom == 2 => "media pulgada".to_owned(),
        (0, _) => format!("{} de pulgada", fraction(top, bottom)),
        _ => format!("{inches} y {}", fraction(top, bottom)),
    }
}

/// Digits, perhaps with decimals, and their unit: "doscientas ochenta y ocho
/// pulgadas cuadradas", "uno punto dos cinco metros".
pub(super) fn amount(digits: &str, noun: &Noun) -> String {
    let (whole, decimals) = digits.split_once('.').unwrap_or((digits, ""));
    let Ok(number) = whole.parse::<u32>() else { return format!("{digits} {}", noun.many) };
    if decimals.is_empty() {
        let unit = if number == 1 { &noun.one } else { &noun.many };
        return format!("{} {unit}", before_noun(number, noun.feminine));
    }
    let digits: Vec<&str> =
        decimals.bytes().map(|digit| of(&ONES, u32::from(digit.wrapping_sub(b'0')))).collect();
    format!("{} punto {} {}", words_for(number, false), digits.join(" "), noun.many)
}

/// The plain forms of a length in inches that a person may say or a recogniser
/// write.
pub(super) fn length_forms(inches: Ratio) -> Vec<String> {
    let Some(Parts { whole, top, bottom }) = Parts::of(inches) else { return Vec::new() };
    let mut forms =
        vec![length_in_words(inches), in_inches(Parts { whole, top, bottom }, before_noun)];
    if top == 0 {
        forms.extend([whole.to_string(), format!("{whole} pulgadas")]);
    } else if whole == 0 {
        forms.push(format!("{top}/{bottom}"));
    } else {
        let fraction = fraction(top, bottom);
        forms.push(format!("{} y {fraction}", words_for(whole, true)));
        forms.push(format!("{whole} {top}/{bottom}"));
        forms.push(format!("{whole} y {fraction}"));
    }
    let mut seen = std::collections::HashSet::new();
    forms.retain(|form| seen.insert(form.clone()));
    forms
}

/// The plain forms of a count.
pub(super) fn count_forms(count: u32) -> Vec<String> {
    let mut forms = vec![words_for(count, false)];
    if words_for(count, true) != words_for(count, false) {
        forms.push(words_for(count, true));
    }
    if !forms.contains(&count.to_string()) {
        forms.push(count.to_string());
    }
    forms
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn tape_marks_are_said_as_on_site() {
        let ratio = |top, bottom| Ratio::new(top, bottom).unwrap();
        for (inches, said) in [
            (ratio(9, 2), "cuatro pulgadas y media"),
            (ratio(5, 8), "cinco octavos de pulgada"),
            (ratio(1, 2), "media pulgada"),
            (ratio(1, 16), "un dieciseisavo de pulgada"),
            (ratio(3, 4), "tres cuartos de pulgada"),
            (ratio(1, 1), "una pulgada"),
            (ratio(21, 1), "veintiuna pulgadas"),
            (ratio(131, 4), "treinta y dos pulgadas y tres cuartos"),
            (ratio(36, 1), "tres pies"),
            (ratio(1011, 16), "cinco pies tres pulgadas y tres dieciseisavos"),
            (ratio(73, 2), "tres pies y media pulgada"),
            (ratio(253, 1), "veintiún pies una pulgada"),
        ] {
            assert_eq!(length_in_words(inches), said);
        }
        assert_eq!(read_length(ratio(780, 1)), "seis cinco pies");
        assert_eq!(say_count(70, false), "siete cero");
    }

    #[test]
    fn amounts_agree_with_their_unit() {
        let noun = |one: &str, many: &str, feminine| Noun {
            one: one.to_owned(),
            many: many.to_owned(),
            feminine,
        };
        let inches = noun("pulgada cuadrada", "pulgadas cuadradas", true);
        assert_eq!(amount("288", &inches), "doscientas ochenta y ocho pulgadas cuadradas");
        assert_eq!(amount("1", &inches), "una pulgada cuadrada");
        let metres = noun("metro", "metros", false);
        assert_eq!(amount("1.25", &metres), "uno punto dos cinco metros");
        assert_eq!(amount("31", &metres), "treinta y un metros");
        assert_eq!(amount("21000", &metres), "veintiún mil metros");
    }
}
