//! What a person typed after an option: words that have to be there, a day, a
//! fingerprint. What it is for is the command's business.

use std::path::Path;

use anyhow::{Context as _, bail};
use jiff::civil::Date;

use super::home::read_text;
use crate::domain::{Fingerprint, Json};
use crate::files;

/// Words that have to be there, without the blanks around them.
pub(super) fn needed(what: &str, name: &str, words: &str) -> anyhow::Result<String> {
    if words.trim().is_empty() {
        bail!("say {what}: {name} \"…\"");
    }
    Ok(words.trim().to_owned())
}

/// A calendar day.
pub(super) fn day(text: &str) -> anyhow::Result<Date> {
    text.parse().ok().with_context(|| format!("`{text}` is no day; write 2026-11-25"))
}

/// A fingerprint, or a file with what `chalkhand seal key` printed.
pub(super) fn fingerprint(text: &str) -> Result<Fingerprint, String> {
    let wrong = match text.parse() {
        Ok(fingerprint) => return Ok(fingerprint),
        Err(wrong) => wrong,
    };
    let path = Path::new(text);
    if !path.is_file() {
        return Err(format!("{wrong}; and there is no file of that name"));
    }
    let kept = read_text(path).map_err(|error| format!("{error:#}"))?;
    in_file(&kept).ok_or_else(|| {
        format!("no fingerprint stands in `{text}`: keep there what `chalkhand seal key` printed")
    })
}

/// The fingerprint alone, the line or the JSON member of that name. Earlier keys
/// stand in the same file under other names and are not taken.
fn in_file(text: &str) -> Option<Fingerprint> {
    let line = text.lines().find_map(|line| line.trim().strip_prefix("fingerprint"));
    let json = || files::read_json(text.as_bytes()).ok();
    let member = || json()?.get("fingerprint").and_then(Json::as_text).map(str::to_owned);
    let found = line.map(str::to_owned).or_else(member).unwrap_or_else(|| text.to_owned());
    found.trim().parse().ok()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::domain::DeviceKey;

    #[test]
    fn a_fingerprint_is_found_where_it_is_named() {
        let of = |seed: u8| DeviceKey::of(&[seed; 32]).public();
        let (key, print) = (of(1), of(1).fingerprint());
        let other = of(2).fingerprint();
        let jwk = key.jwk().canonical().unwrap_or_default();
        let texts = [
            format!(" {print}\n"),
            format!("fingerprint  {print}\npublic key   {jwk}\nbefore       {other}, since then\n"),
            format!("{{\"fingerprint\":\"{print}\",\"jwk\":{jwk},\"keys\":[\"{other}\"]}}"),
        ];
        for text in texts {
            assert_eq!(in_file(&text), Some(print), "{text}");
        }
        for text in ["", "fingerprint", "fingerprint abc", &jwk, &format!("{print} {other}")] {
            assert_eq!(in_file(text), None, "{text}");
        }
    }
}
