//! Ed25519 keys (RFC 8032, 8037) and signatures over a text that lies beside
//! them (RFC 7515 appendix F). The bytes a key is made from come from outside.

use std::fmt;
use std::io::{self, Write as _};
use std::str::FromStr;

use base64::engine::GeneralPurpose;
use base64::prelude::{BASE64_URL_SAFE_NO_PAD, Engine as _};
use base64::write::EncoderWriter;
use ed25519_dalek::{Signature, Signer as _, SigningKey, StreamVerifier, VerifyingKey};

use super::{Hash, Json};

/// The SHA-256 thumbprint of a public key (RFC 7638), printed in 43 letters.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Fingerprint(Hash);

impl fmt::Display for Fingerprint {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&encode(self.0.bytes()))
    }
}

impl FromStr for Fingerprint {
    type Err = String;

    fn from_str(text: &str) -> Result<Self, String> {
        let bytes = decode(text).and_then(|bytes| bytes.try_into().ok());
        bytes.map(|bytes| Self(Hash::new(bytes))).ok_or_else(|| {
            format!("`{text}` is not a key's fingerprint of 43 letters, digits, `-` and `_`")
        })
    }
}

/// A device's public key.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct PublicKey(VerifyingKey);

impl PublicKey {
    /// Of its 32 bytes; none where they are no key, or one that would take any
    /// signature.
    #[must_use]
    pub fn of(bytes: &[u8; 32]) -> Option<Self> {
        let key = VerifyingKey::from_bytes(bytes).ok()?;
        (!key.is_weak()).then_some(Self(key))
    }

    /// Of the member `x` of its JWK.
    #[must_use]
    pub fn of_x(x: &str) -> Option<Self> {
        Self::of(&decode(x)?.try_into().ok()?)
    }

    /// As a JWK, with the members its thumbprint is made of and no others.
    #[must_use]
    pub fn jwk(&self) -> Json {
        Json::object([
            ("crv", "Ed25519".into()),
            ("kty", "OKP".into()),
            ("x", encode(self.0.as_bytes()).into()),
        ])
    }

    /// Its thumbprint.
    #[must_use]
    pub fn fingerprint(&self) -> Fingerprint {
        Fingerprint(Hash::of(text(&self.jwk()).as_bytes()))
    }
}

/// A device's key: what signs. It prints as its fingerprint.
pub struct DeviceKey(SigningKey);

impl fmt::Debug for DeviceKey {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "DeviceKey({}, secret)", self.public().fingerprint())
    }
}

impl DeviceKey {
    /// Of 32 random bytes.
    #[must_use]
    pub fn of(secret: &[u8; 32]) -> Self {
        Self(SigningKey::from_bytes(secret))
    }

    /// What others check with.
    #[must_use]
    pub fn public(&self) -> PublicKey {
        PublicKey(self.0.verifying_key())
    }

    /// The text of its file: the JWK with its secret member `d`, for the file alone.
    #[must_use]
    pub fn secret_text(&self) -> String {
        let public = encode(self.public().0.as_bytes());
        let secret = encode(self.0.as_bytes());
        format!("{{\"crv\":\"Ed25519\",\"d\":\"{secret}\",\"kty\":\"OKP\",\"x\":\"{public}\"}}\n")
    }

    /// Reads what `secret_text` gave; none where a letter of it differs.
    #[must_use]
    pub fn of_secret_text(text: &str) -> Option<Self> {
        let rest = text.strip_prefix("{\"crv\":\"Ed25519\",\"d\":\"")?;
        let (secret, _) = rest.split_once('"')?;
        let key = Self::of(&decode(secret)?.try_into().ok()?);
        (key.secret_text().trim_end() == text.trim_end()).then_some(key)
    }

    /// Signs a text that is not repeated in the signature.
    #[must_use]
    pub fn sign(&self, kind: Kind, payload: &str) -> Jws {
        let protected = encode(header(&self.public(), kind).as_bytes());
        let signature = self.0.sign(signed(&protected, payload).as_bytes());
        Jws { protected, signature: encode(&signature.to_bytes()) }
    }
}

/// What is signed, so that a signature over one is none over another.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Kind {
    /// A sealed record.
    Record,
    /// The head of a log.
    Head,
    /// A key that takes another one's place.
    Key,
    /// The list of files of a bundle.
    Bundle,
}

impl Kind {
    /// The header's `typ`.
    #[must_use]
    pub fn typ(self) -> &'static str {
        match self {
            Self::Record => "chalkhand-record+jws",
            Self::Head => "chalkhand-head+jws",
            Self::Key => "chalkhand-key+jws",
            Self::Bundle => "chalkhand-bundle+jws",
        }
    }
}

/// A signature beside its payload: the flattened JWS without `payload`.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Jws {
    /// The header, base64url.
    pub protected: String,
    /// The signature, base64url.
    pub signature: String,
}

impl Jws {
    /// As JSON.
    #[must_use]
    pub fn json(&self) -> Json {
        Json::object([
            ("protected", Json::text(&self.protected)),
            ("signature", Json::text(&self.signature)),
        ])
    }

    /// Reads what `json` gave, and no other member.
    #[must_use]
    pub fn read(json: &Json) -> Option<Self> {
        let text = |name| json.get(name).and_then(Json::as_text).map(str::to_owned);
        let read = Self { protected: text("protected")?, signature: text("signature")? };
        (read.json() == *json).then_some(read)
    }

    /// On one line, with its payload: `header.payload.signature`.
    #[must_use]
    pub fn compact(&self, payload: &str) -> String {
        format!("{}.{}.{}", self.protected, encode(payload.as_bytes()), self.signature)
    }

    /// Reads what `compact` gave: the signature and its payload.
    #[must_use]
    pub fn of_compact(text: &str) -> Option<(Self, String)> {
        let mut parts = text.split('.');
        let (protected, payload) = (parts.next()?.to_owned(), decode(parts.next()?)?);
        let signature = parts.next().filter(|_| parts.next().is_none())?.to_owned();
        Some((Self { protected, signature }, String::from_utf8(payload).ok()?))
    }

    /// Checks it against its payload and says which key made it.
    ///
    /// # Errors
    /// The header is not the one such a seal has, or the key did not sign this.
    pub fn check(&self, kind: Kind, payload: &str) -> Result<PublicKey, NotSigned> {
        let mut checking = self.checking(kind)?;
        checking.add(payload.as_bytes());
        checking.done()
    }

    /// The same for a payload that comes in pieces.
    ///
    /// # Errors
    /// The header is not the one such a seal has, or the signature is none, or one with
    /// a point of small order.
    pub fn checking(&self, kind: Kind) -> Result<Checking, NotSigned> {
        let key = self.claims(kind).ok_or(NotSigned::Header)?;
        let bytes = decode(&self.signature).and_then(|bytes| <[u8; 64]>::try_from(bytes).ok());
        let signature = Signature::from_bytes(&bytes.ok_or(NotSigned::Signature)?);
        // One signature for one text: neither of its points is of small order. The
        // key's was looked at when the key was read.
        let point = VerifyingKey::from_bytes(signature.r_bytes());
        let point = point.map_err(|_| NotSigned::Payload)?;
        let verifier = key.0.verify_stream(&signature).map_err(|_| NotSigned::Payload)?;
        if point.is_weak() {
            return Err(NotSigned::Payload);
        }
        let mut signed = Signed(verifier);
        signed.0.update(&self.protected);
        signed.0.update(".");
        Ok(Checking { key, text: EncoderWriter::new(signed, &BASE64_URL_SAFE_NO_PAD) })
    }

    /// The key in the header, where the header is to the letter the one this
    /// program writes for that key: so nothing in it can be read in two ways.
    fn claims(&self, kind: Kind) -> Option<PublicKey> {
        let found = String::from_utf8(decode(&self.protected)?).ok()?;
        let (_, rest) = found.split_once("\"x\":\"")?;
        let key = PublicKey::of_x(rest.split('"').next()?)?;
        (header(&key, kind) == found).then_some(key)
    }
}

/// A signature whose payload comes in pieces.
pub struct Checking {
    key: PublicKey,
    /// Takes the payload and gives its base64url on.
    text: EncoderWriter<'static, GeneralPurpose, Signed>,
}

impl fmt::Debug for Checking {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.debug_struct("Checking").field("key", &self.key).finish_non_exhaustive()
    }
}

impl Checking {
    /// The next piece of the payload.
    pub fn add(&mut self, piece: &[u8]) {
        // What it writes to takes everything.
        let _ = self.text.write_all(piece);
    }

    /// Says which key made it, after the last piece.
    ///
    /// # Errors
    /// The key did not sign this.
    pub fn done(mut self) -> Result<PublicKey, NotSigned> {
        let signed = self.text.finish().map_err(|_| NotSigned::Payload)?;
        let holds = signed.0.finalize_and_verify();
        holds.map(|()| self.key).map_err(|_| NotSigned::Payload)
    }
}

/// The signing input of RFC 7515 section 5.1, as it comes.
struct Signed(StreamVerifier);

impl io::Write for Signed {
    fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
        self.0.update(bytes);
        Ok(bytes.len())
    }

    fn flush(&mut self) -> io::Result<()> {
        Ok(())
    }
}

/// Why a signature does not hold.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
pub enum NotSigned {
    /// Another kind of signature, or none.
    #[error("its header is not that of such a seal")]
    Header,
    /// Not 64 bytes in base64url.
    #[error("its signature is damaged")]
    Signature,
    /// Something else was signed.
    #[error("it was not made over this text by the key it names")]
    Payload,
}

fn header(key: &PublicKey, kind: Kind) -> String {
    text(&Json::object([
        ("alg", "EdDSA".into()),
        ("jwk", key.jwk()),
        ("kid", Json::text(key.fingerprint())),
        ("typ", kind.typ().into()),
    ]))
}

/// The signing input of RFC 7515 section 5.1.
fn signed(protected: &str, payload: &str) -> String {
    let mut input = String::with_capacity(protected.len() + payload.len() / 3 * 4 + 8);
    input.push_str(protected);
    input.push('.');
    BASE64_URL_SAFE_NO_PAD.encode_string(payload, &mut input);
    input
}

/// The canonical text of what holds no numbers.
fn text(json: &Json) -> String {
    json.canonical().unwrap_or_default()
}

fn encode(bytes: &[u8]) -> String {
    BASE64_URL_SAFE_NO_PAD.encode(bytes)
}

fn decode(text: &str) -> Option<Vec<u8>> {
    BASE64_URL_SAFE_NO_PAD.decode(text).ok()
}
