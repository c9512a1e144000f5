//! What the text of a sealed record claims was sealed, before it is read: the text
//! without the space between its parts and without its seal. That is the canonical text
//! where members stand in its order, the seal not first, and texts are escaped as it
//! does, which this program sees to. So the signature can be checked while the record is
//! still read. A claim proves nothing by itself: it counts where what was read has its
//! hash and its seal.

use memchr::memchr;

use super::gathered::Gathered;
use super::jws::{Checking, Jws, Kind, NotSigned};
use super::seal::Hashing;
use super::{Hash, PublicKey};

/// A claim, and what its signature came to.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Claim {
    seal: Jws,
    hash: Hash,
    signed: Result<PublicKey, NotSigned>,
}

impl Claim {
    /// That of a text; none where it is not UTF-8 or nothing like a seal is found in it.
    #[must_use]
    pub fn of(text: &[u8]) -> Option<Self> {
        let (before, seal, after) = apart(std::str::from_utf8(text).ok()?)?;
        let seal = read(seal)?;
        let (mut hashing, mut checking) = (Hashing::default(), seal.checking(Kind::Record));
        let mut both = Gathered::new(|piece: &[u8]| {
            hashing.add(piece);
            if let Ok(checking) = &mut checking {
                checking.add(piece);
            }
        });
        for part in [before, after] {
            dense(part.as_bytes(), &mut |piece| both.add(piece));
        }
        both.done();
        let signed = checking.and_then(Checking::done);
        Some(Self { seal, hash: hashing.hash(), signed })
    }

    /// Who signed it, or why nobody did; none where what was read has another hash or
    /// seal.
    #[must_use]
    pub fn signed(&self, hash: Hash, seal: &Jws) -> Option<Result<PublicKey, NotSigned>> {
        (self.hash == hash && self.seal == *seal).then_some(self.signed)
    }
}

/// What stands before the last thing that looks like a member called `seal`, without
/// the comma, its value, and what stands after it.
fn apart(text: &str) -> Option<(&str, &str, &str)> {
    let (before, value) = text.rmatch_indices("\"seal\"").find_map(|(at, name)| {
        let (before, rest) = text.split_at_checked(at)?;
        let value = rest.strip_prefix(name)?.trim_start_matches(SPACE).strip_prefix(':')?;
        Some((before.trim_end_matches(SPACE).strip_suffix(',')?, value))
    })?;
    let (value, after) = value.split_at_checked(value.find('}')?.checked_add(1)?)?;
    Some((before, value, after))
}

/// What may stand between the parts of a JSON text (RFC 8259 section 2).
const SPACE: [char; 4] = [' ', '\t', '\n', '\r'];

fn read(seal: &str) -> Option<Jws> {
    let mut text = Vec::new();
    dense(seal.as_bytes(), &mut |part| text.extend_from_slice(part));
    let (protected, signature) = std::str::from_utf8(&text)
        .ok()?
        .strip_prefix("{\"protected\":\"")?
        .strip_suffix("\"}")?
        .split_once("\",\"signature\":\"")?;
    Some(Jws { protected: protected.to_owned(), signature: signature.to_owned() })
}

/// Gives a JSON text on without the space between its parts.
fn dense(text: &[u8], give: &mut impl FnMut(&[u8])) {
    let mut rest = text;
    while let Some(quote) = memchr(b'"', rest) {
        let (between, quoted) = rest.split_at_checked(quote).unwrap_or((rest, &[]));
        bare(between, give);
        let (quoted, after) = quoted.split_at_checked(end(quoted)).unwrap_or((quoted, &[]));
        give(quoted);
        rest = after;
    }
    bare(rest, give);
}

/// Gives what stands between quoted texts on without its space.
fn bare(between: &[u8], give: &mut impl FnMut(&[u8])) {
    let mut rest = between.trim_ascii_start();
    while !rest.is_empty() {
        let end = rest.iter().position(u8::is_ascii_whitespace).unwrap_or(rest.len());
        let (part, after) = rest.split_at_checked(end).unwrap_or((rest, &[]));
        give(part);
        rest = after.trim_ascii_start();
    }
}

/// Where a text that begins with its quote is over: after the next one that no
/// backslash stands for.
fn end(quoted: &[u8]) -> usize {
    let mut end = 1;
    while let Some(next) = quoted.get(end..).and_then(|rest| memchr(b'"', rest)) {
        let before = quoted.iter().take(end + next).rev();
        end += next + 1;
        if before.take_while(|byte| **byte == b'\\').count() % 2 == 0 {
            return end;
        }
    }
    quoted.len()
}
