//! SHA-256 and the hash chain over a device's entries.

use std::fmt;

use sha2::{Digest, Sha256};

/// A SHA-256 digest, printed as 64 hexadecimal digits.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Hash([u8; 32]);

impl Hash {
    /// What the first entry of a device follows.
    pub const START: Self = Self([0; 32]);

    /// These 32 bytes.
    #[must_use]
    pub const fn new(bytes: [u8; 32]) -> Self {
        Self(bytes)
    }

    /// Of these bytes.
    #[must_use]
    pub fn of(bytes: &[u8]) -> Self {
        Self(Sha256::digest(bytes).into())
    }

    /// The 32 bytes.
    #[must_use]
    pub fn bytes(&self) -> &[u8; 32] {
        &self.0
    }

    /// The first twelve digits, enough to compare by eye.
    #[must_use]
    pub fn short(&self) -> String {
        self.to_string().chars().take(12).collect()
    }
}

/// The hash of bytes that come in pieces.
#[derive(Debug, Default)]
pub(super) struct Hashing(Sha256);

impl Hashing {
    /// The next piece.
    pub(super) fn add(&mut self, piece: &[u8]) {
        self.0.update(piece);
    }

    /// Of all of them.
    pub(super) fn hash(self) -> Hash {
        Hash(self.0.finalize().into())
    }
}

impl fmt::Display for Hash {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let digit = |half: u8| if half < 10 { b'0' + half } else { b'a' - 10 + half };
        let mut digits = [0; 64];
        for (two, byte) in digits.as_chunks_mut().0.iter_mut().zip(self.0) {
            *two = [digit(byte >> 4), digit(byte & 0xf)];
        }
        f.write_str(std::str::from_utf8(&digits).unwrap_or_default())
    }
}

impl fmt::Debug for Hash {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        fmt::Display::fmt(self, f)
    }
}

impl std::str::FromStr for Hash {
    type Err = String;

    fn from_str(text: &str) -> Result<Self, String> {
        const NONE: u8 = 0xf0;
        let wrong = || format!("`{text}` is not a SHA-256 digest of 64 hexadecimal digits");
        let half = |digit: u8| match digit {
            b'0'..=b'9' => digit - b'0',
            b'a'..=b'f' => digit - b'a' + 10,
            _ => NONE,
        };
        let digits: &[u8; 64] = text.as_bytes().try_into().map_err(|_| wrong())?;
        // All are looked at before one is judged: many at once, without a branch.
        let halves = digits.map(half);
        if halves.iter().fold(0, |all, half| all | half) & NONE != 0 {
            return Err(wrong());
        }
        let mut bytes = [0; 32];
        for (byte, [high, low]) in bytes.iter_mut().zip(halves.as_chunks().0) {
            *byte = high << 4 | low;
        }
        Ok(Self(bytes))
    }
}
