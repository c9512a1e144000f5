//! What the text of a record claims of its seal, checked while it is read: it is what
//! was read or it is not taken, and the check comes to the same with it as without.

use base64::prelude::{BASE64_URL_SAFE_NO_PAD, Engine as _};
use chalkhand::domain::jws::{Jws, Kind, NotSigned};
use chalkhand::domain::{Claim, Hash, Json, Members, PublicKey, Sealed, sealing};
use chalkhand::export::check::{self, InTurn};
use chalkhand::export::json::pretty;
use chalkhand::files;
use ed25519_dalek::{Signature, Verifier as _, VerifyingKey};
use proptest::prelude::*;

use crate::sealed::{key, sealed_by};

fn seal_of(json: &Json) -> Jws {
    Jws::read(json.get("seal").unwrap()).unwrap()
}

/// Who signed what the text claims, where it is what was read.
fn taken(text: &str, json: &Json) -> Option<Result<bool, NotSigned>> {
    let hash = Hash::of(sealing::payload(json).unwrap().as_bytes());
    assert_eq!(sealing::payload_hash(json), Ok(hash));
    let signed = Claim::of(text.as_bytes())?.signed(hash, &seal_of(json))?;
    Some(signed.map(|by| by == key(1).public()))
}

#[test]
fn the_claim_of_a_record_is_taken() {
    let Sealed { json, .. } = sealed_by(&key(1));
    for text in [pretty(&json), json.canonical().unwrap()] {
        assert_eq!(taken(&text, &json), Some(Ok(true)));
    }
    // Its seal first, as another program may put it: it holds, by the longer way.
    let rest = sealing::payload(&json).unwrap();
    let seal = json.get("seal").unwrap().canonical().unwrap();
    let text = format!("{{\"seal\":{seal},{}", rest.strip_prefix('{').unwrap());
    assert_eq!(taken(&text, &json), None);
    let (read, report) = check::text(text.as_bytes(), files::read_json, &InTurn).unwrap();
    assert_eq!((report.holds(), read), (true, json));
}

#[test]
fn a_claim_of_another_record_is_not_taken() {
    let Sealed { json, hash, .. } = sealed_by(&key(1));
    let claim = Claim::of(pretty(&json).as_bytes()).unwrap();
    assert_eq!(claim.signed(hash, &seal_of(&json)), Some(Ok(key(1).public())));
    assert_eq!(claim.signed(Hash::of(b"another"), &seal_of(&json)), None);
    let other = seal_of(&sealed_by(&key(2)).json);
    assert_eq!(claim.signed(hash, &other), None);
    // The seal of another record: what it claims is what was read, and does not hold.
    let mut stolen = json;
    let Json::Object(members) = &mut stolen else { panic!() };
    members.insert("seal", key(1).sign(Kind::Record, "{}").json());
    assert_eq!(taken(&pretty(&stolen), &stolen), Some(Err(NotSigned::Payload)));
}

/// One letter of the text changed, wherever it stands: with the claim the check comes
/// to the same as without.
#[test]
fn no_claim_covers_a_changed_letter() {
    let text = pretty(&sealed_by(&key(1)).json);
    let (mut read, mut held) = (0, 0);
    for at in (0..text.len()).step_by(97).chain(text.len() - 1_500..text.len()) {
        let mut changed = text.clone().into_bytes();
        changed[at] = if changed[at] == b'7' { b' ' } else { b'7' };
        let checked = check::text(&changed, files::read_json, &InTurn);
        let Ok((json, report)) = checked else { continue };
        read += 1;
        held += u32::from(report.holds());
        let same = Some(&json) == files::read_json(text.as_bytes()).ok().as_ref();
        assert!(!report.holds() || same, "{at}");
        assert_eq!(report, check::record(json), "{at}");
    }
    assert!(500 < read && held < 10, "{read} could be read, {held} held");
}

/// A point of small order in a signature: made by RFC 8032's sample code with a
/// neutral R for the key of the seed 01…01. Its owner could let one such signature
/// stand for any text.
#[test]
fn a_signature_with_a_point_of_small_order_is_none() {
    let whole = key(1).sign(Kind::Record, "{}");
    let made =
        "AQAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAACriGvpCorWEK6i8lOwA6j_H-1dv_dyCHBS7rLtbUHrAA";
    let small = Jws { protected: whole.protected.clone(), signature: made.to_owned() };
    assert!(whole.check(Kind::Record, "{}").is_ok());
    assert_eq!(small.check(Kind::Record, "{}"), Err(NotSigned::Payload));
    // By the equation alone it would hold.
    let bytes = |text: &str| BASE64_URL_SAFE_NO_PAD.decode(text).unwrap();
    let x = key(1).public().jwk().get("x").unwrap().as_text().unwrap().to_owned();
    let by = VerifyingKey::from_bytes(&bytes(&x).try_into().unwrap()).unwrap();
    let signed = format!("{}.{}", small.protected, BASE64_URL_SAFE_NO_PAD.encode("{}"));
    let signature = Signature::from_slice(&bytes(&small.signature)).unwrap();
    assert!(by.verify(signed.as_bytes(), &signature).is_ok());
}

/// Texts that were sealed, with parts left out, copied and put in: nothing panics, and
/// what is taken is what the longer way comes to.
#[test]
fn what_is_taken_is_what_was_read() {
    let mut random = fastrand::Rng::with_seed(7);
    let parts =
        ["\"seal\"", "\"seal\": {", ",", ":", "{", "}", "\"", "\\", " ", "\n", "7", "\"b\": "];
    let members =
        Members::from([("a", "one \"seal\" \\ {".into()), ("z", Json::from(vec!["seal".into()]))]);
    let payload = sealing::payload(&Json::Object(members.clone())).unwrap();
    let mut sealed = members;
    sealed.insert("seal", key(1).sign(Kind::Record, &payload).json());
    let text = pretty(&Json::Object(sealed));
    let (mut taken, mut refused) = (0, 0);
    for _ in 0..20_000 {
        let mut text = text.clone();
        for _ in 0..random.usize(0..3) {
            let (from, to) = (random.usize(0..text.len()), random.usize(0..text.len()));
            let (from, to) = (from.min(to), from.max(to).min(from.min(to) + 9));
            match random.u8(0..3) {
                0 => text.replace_range(from..to, ""),
                1 => text.insert_str(from, random.choice(parts).unwrap()),
                _ => text.insert_str(to, &text.clone()[from..to]),
            }
        }
        let claim = Claim::of(text.as_bytes());
        let Ok(json) = files::read_json(text.as_bytes()) else { continue };
        let Some(seal) = json.get("seal").and_then(Jws::read) else { continue };
        let slow = sealing::check(&json, &seal, Kind::Record);
        assert_eq!(slow, seal.check(Kind::Record, &sealing::payload(&json).unwrap()));
        match claim.and_then(|claim| claim.signed(sealing::payload_hash(&json).unwrap(), &seal)) {
            Some(signed) => {
                taken += 1;
                assert_eq!(signed, slow, "{text}");
            }
            None => refused += 1,
        }
    }
    assert!(5_000 < taken && 10 < refused, "{taken} taken, {refused} refused");
}

/// The points of small order: the library's list (curve25519-dalek, `EIGHT_TORSION`; the
/// encodings from memory). Such a key would take any signature.
#[test]
fn a_weak_key_is_none() {
    let eighth = [
        "c7176a703d4dd84fba3c0b760d10670f2a2053fa2c39ccc64ec7fd7792ac037a",
        "26e8958fc2b227b045c3f489f2ef98f0d5dfac05d3c63339b13802886d53fc05",
    ];
    let two = format!("ec{}7f", "ff".repeat(30));
    let (one, four) = (format!("01{}", "00".repeat(31)), "00".repeat(32));
    for text in eighth.into_iter().chain([two.as_str(), &one, &four]) {
        for sign in [0, 0x80] {
            let mut bytes = *text.parse::<Hash>().unwrap().bytes();
            bytes[31] |= sign;
            let Ok(known) = VerifyingKey::from_bytes(&bytes) else { continue };
            assert!(known.is_weak(), "{text}");
            assert!(PublicKey::of(&bytes).is_none(), "{text}");
        }
        assert!(VerifyingKey::from_bytes(text.parse::<Hash>().unwrap().bytes()).is_ok(), "{text}");
    }
}

/// Any JSON of whole numbers; texts with what has to be escaped.
fn json() -> impl Strategy<Value = Json> {
    let text = "[ a:,{}\\[\\]\"\\\\/\n\t\u{1}\u{e9}\u{1f600}]{0,12}";
    let leaf = prop_oneof![
        Just(Json::Null),
        Just("seal".into()),
        Just("say \"seal\": {} or ,\"seal\":".into()),
        any::<bool>().prop_map(Json::Bool),
        any::<u32>().prop_map(Json::from),
        text.prop_map(Json::from),
    ];
    leaf.prop_recursive(4, 40, 6, move |inner| {
        prop_oneof![
            prop::collection::vec(inner.clone(), 0..6).prop_map(Json::from),
            prop::collection::vec((text, inner), 0..6)
                .prop_map(|members| Json::Object(members.into_iter().collect())),
        ]
    })
}

proptest! {
    /// Whatever a record holds, its text claims what was sealed.
    #[test]
    fn any_record_claims_what_was_sealed(before in json(), after in json()) {
        let members = Members::from([("a", before), ("z", after)]);
        let payload = sealing::payload(&Json::Object(members.clone())).unwrap();
        let mut members = members;
        members.insert("seal", key(1).sign(Kind::Record, &payload).json());
        let json = Json::Object(members);
        for text in [pretty(&json), json.canonical().unwrap()] {
            prop_assert_eq!(taken(&text, &json), Some(Ok(true)), "{}", text);
        }
    }

    /// In pieces or whole, a signature is over the same.
    #[test]
    fn a_signature_is_over_all_pieces(pieces in prop::collection::vec("[a-z\u{e9}]{0,900}", 0..6)) {
        let whole = pieces.concat();
        let seal = key(1).sign(Kind::Head, &whole);
        let mut checking = seal.checking(Kind::Head).unwrap();
        pieces.iter().for_each(|piece| checking.add(piece.as_bytes()));
        prop_assert_eq!(checking.done(), Ok(key(1).public()));
        let mut other = seal.checking(Kind::Head).unwrap();
        other.add(whole.as_bytes());
        other.add(b".");
        prop_assert_eq!(other.done(), Err(NotSigned::Payload));
    }
}
