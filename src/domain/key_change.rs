//! The announcement that a device's key takes another one's place: signed by the
//! new key, and by the old one where it was still at hand.

use super::jws::{Jws, Kind};
use super::{At, DeviceKey, Fingerprint, Hash, Json, PublicKey};

/// A key that took another one's place.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct KeyChange {
    /// The new key.
    pub key: PublicKey,
    /// The old one.
    pub replaces: Fingerprint,
    /// When.
    pub at: At,
    /// Who replaced it.
    pub by: String,
    /// Why.
    pub why: String,
    /// How many entries the log had.
    pub size: u64,
    /// The root of the tree over them.
    pub root: Hash,
}

impl KeyChange {
    fn json(&self) -> Json {
        Json::object([
            ("format", "chalkhand-key/1".into()),
            ("key", self.key.jwk()),
            ("device", Json::text(self.key.fingerprint())),
            ("replaces", Json::text(self.replaces)),
            ("at", Json::text(self.at)),
            ("by", Json::text(&self.by)),
            ("why", Json::text(&self.why)),
            ("tree_size", Json::whole(self.size)),
            ("root_sha256", Json::text(self.root)),
        ])
    }

    /// Announces it. `key` is the new one; the old one signs too where it is there.
    #[must_use]
    pub fn announce(&self, key: &DeviceKey, old: Option<&DeviceKey>) -> Json {
        let mut json = self.json();
        let text = json.canonical().unwrap_or_default();
        if let Json::Object(members) = &mut json {
            members.insert("seal", key.sign(Kind::Key, &text).json());
            if let Some(old) = old {
                let seal = old.sign(Kind::Key, &text).json();
                members.insert("seal_of_replaced", seal);
            }
        }
        json
    }

    /// Reads what `announce` gave, checked, and says whether the old key signed it
    /// too; none where anything in it does not hold.
    #[must_use]
    pub fn read(json: &Json) -> Option<(Self, bool)> {
        let text = |name: &str| json.get(name).and_then(Json::as_text);
        let x = json.get("key")?.get("x")?.as_text()?;
        let read = Self {
            key: PublicKey::of_x(x)?,
            replaces: text("replaces")?.parse().ok()?,
            at: text("at")?.parse().ok()?,
            by: text("by")?.to_owned(),
            why: text("why")?.to_owned(),
            size: u64::try_from(json.get("tree_size")?.as_whole()?).ok()?,
            root: text("root_sha256")?.parse().ok()?,
        };
        let own = read.json();
        let payload = own.canonical().ok()?;
        let seal = Jws::read(json.get("seal")?)?;
        let key = seal.check(Kind::Key, &payload).ok()?;
        let mut whole = own;
        let Json::Object(members) = &mut whole else { return None };
        members.insert("seal", seal.json());
        let by_old = match json.get("seal_of_replaced") {
            None => false,
            Some(old) => {
                let seal = Jws::read(old)?;
                members.insert("seal_of_replaced", seal.json());
                seal.check(Kind::Key, &payload).ok()?.fingerprint() == read.replaces
            }
        };
        let fine = key == read.key && whole == *json;
        (fine && (by_old || json.get("seal_of_replaced").is_none())).then_some((read, by_old))
    }
}
