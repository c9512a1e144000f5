//! RFC 8785 canonical JSON against the RFC's own vectors and against Python
//! `rfc8785` 0.1.4.

use chalkhand::domain::{Hash, Json, NotFinite};
use proptest::prelude::*;
use proptest::strategy::ValueTree as _;
use proptest::test_runner::TestRunner;

use super::outside;

fn text(s: &str) -> Json {
    Json::text(s)
}

/// RFC 8785 section 3.2.4: the sample's bytes, recalled and equal to what
/// `rfc8785` 0.1.4 gives.
#[test]
fn the_rfcs_sample_has_the_rfcs_bytes() {
    let numbers = [
        "333333333.33333329".parse().unwrap(),
        1e30,
        4.50,
        2e-3,
        0.000_000_000_000_000_000_000_000_001,
    ];
    let json = Json::object([
        ("numbers", Json::List(numbers.map(Json::Number).into())),
        ("string", text("\u{20ac}$\u{f}\nA'B\"\\\\\"/")),
        ("literals", Json::from(vec![Json::Null, Json::Bool(true), Json::Bool(false)])),
    ]);
    let bytes = json.canonical().unwrap();
    let hex: String = bytes.bytes().map(|byte| format!("{byte:02x}")).collect();
    assert_eq!(
        hex,
        "7b226c69746572616c73223a5b6e756c6c2c747275652c66616c73655d2c226e756d62657273223a5b3333\
         333333333333332e333333333333332c31652b33302c342e352c302e3030322c31652d32375d2c22737472\
         696e67223a22e282ac245c75303030665c6e4127425c225c5c5c5c5c222f227d"
    );
    assert_eq!(bytes.len(), 118);
    assert_eq!(
        Hash::of(bytes.as_bytes()).to_string(),
        "2d5e01a318d0f0879ab568c4be289c8b1f64ef8921a53c6277d5e069978baacb"
    );
}

/// RFC 8785 section 3.2.3: keys by UTF-16 code units.
#[test]
fn keys_are_sorted_by_utf_16_code_units() {
    let order = ["\r", "1", "\u{80}", "\u{f6}", "\u{20ac}", "\u{1f600}", "\u{fb33}"];
    let members = order.iter().map(|key| ((*key).to_owned(), Json::Null));
    let json = Json::Object(members.collect());
    let expected = order.map(|key| format!("{}:null", text(key).canonical().unwrap()));
    assert_eq!(json.canonical().unwrap(), format!("{{{}}}", expected.join(",")));
}

/// RFC 8785 Appendix B, as computed with `rfc8785` 0.1.4; about half the rows
/// stand in other public tests too. Not finite: from memory.
#[test]
fn numbers_are_written_as_appendix_b_has_them() {
    let table: [(u64, &str); 14] = [
        (0x0000_0000_0000_0000, "0"),
        (0x8000_0000_0000_0000, "0"),
        (0x0000_0000_0000_0001, "5e-324"),
        (0x7fef_ffff_ffff_ffff, "1.7976931348623157e+308"),
        (0x4340_0000_0000_0000, "9007199254740992"),
        (0x4430_0000_0000_0000, "295147905179352830000"),
        (0x44b5_2d02_c7e1_4af6, "1e+23"),
        (0x444b_1ae4_d6e2_ef4f, "999999999999999900000"),
        (0x444b_1ae4_d6e2_ef50, "1e+21"),
        (0x3eb0_c6f7_a0b5_ed8d, "0.000001"),
        (0x3eb0_c6f7_a0b5_ed8c, "9.999999999999997e-7"),
        (0x41b3_de43_5555_5555, "333333333.3333333"),
        (0xbecb_f647_612f_3696, "-0.0000033333333333333333"),
        (0x4314_3ff3_c1cb_0959, "1424953923781206.2"),
    ];
    for (bits, expected) in table {
        let number = Json::Number(f64::from_bits(bits));
        assert_eq!(number.canonical().as_deref(), Ok(expected), "{bits:016x}");
    }
    for number in [f64::NAN, f64::INFINITY, f64::NEG_INFINITY] {
        assert_eq!(Json::Number(number).canonical(), Err(NotFinite));
    }
}

fn tree() -> impl Strategy<Value = Json> {
    let finite = any::<f64>().prop_filter("finite", |n| n.is_finite());
    let whole = any::<i32>().prop_map(f64::from);
    let leaf = prop_oneof![
        Just(Json::Null),
        any::<bool>().prop_map(Json::Bool),
        finite.prop_map(Json::Number),
        whole.prop_map(Json::Number),
        any::<String>().prop_map(Json::from),
        "[\\x00-\\x1f\"\\\\/\u{7f}\u{2028}]{0,8}".prop_map(Json::from),
    ];
    leaf.prop_recursive(4, 40, 6, |inner| {
        let list = prop::collection::vec(inner.clone(), 0..6).prop_map(Json::from);
        let object = prop::collection::btree_map(any::<String>(), inner, 0..6);
        prop_oneof![list, object.prop_map(|members| Json::Object(members.into_iter().collect()))]
    })
}

fn same(json: &Json, read: &serde_json::Value) -> bool {
    use serde_json::Value;
    match (json, read) {
        (Json::Null, Value::Null) => true,
        (Json::Bool(a), Value::Bool(b)) => a == b,
        // `serde_json` may read a bit beside; the digits are held exactly below.
        (Json::Number(_), Value::Number(_)) => true,
        (Json::Text(a), Value::String(b)) => a == b,
        (Json::List(a), Value::Array(b)) => {
            a.len() == b.len() && a.iter().zip(b).all(|(a, b)| same(a, b))
        }
        (Json::Object(a), Value::Object(b)) => {
            a.len() == b.len() && a.iter().all(|(k, a)| b.get(k).is_some_and(|b| same(a, b)))
        }
        _ => false,
    }
}

proptest! {
    /// The canonical text is JSON and means the same: read by `serde_json`.
    #[test]
    fn canonical_text_reads_back_as_the_same_tree(json in tree()) {
        let text = json.canonical().unwrap();
        let read: serde_json::Value = serde_json::from_str(&text).unwrap();
        prop_assert!(same(&json, &read), "{text}");
    }
}

proptest! {
    /// Rust's own reader, which rounds correctly, finds the same double in what
    /// was written for one number.
    #[test]
    fn numbers_read_back_exactly(n in any::<f64>().prop_filter("finite", |n| n.is_finite())) {
        let text = Json::Number(n).canonical().unwrap();
        prop_assert_eq!(text.parse::<f64>().unwrap(), n);
    }
}

/// 2,000 random trees have the bytes Python `rfc8785` 0.1.4 gives.
#[test]
fn random_trees_have_the_bytes_of_another_program() {
    let Some(folder) = outside::folder("canonical JSON against Python rfc8785") else { return };
    let mut runner = TestRunner::deterministic();
    let trees = std::iter::repeat_with(|| tree().new_tree(&mut runner).unwrap().current());
    let ours: Vec<String> = trees.take(2_000).map(|json| json.canonical().unwrap()).collect();
    // Escaped line ends keep one tree on one line; that the text reads back as
    // the tree it came from is held above, without Python.
    let theirs = outside::run(&folder, "canonical.py", &(ours.join("\n") + "\n"));
    let theirs: Vec<&str> = theirs.split_terminator('\n').collect();
    assert_eq!(theirs.len(), ours.len());
    for (ours, theirs) in ours.iter().zip(theirs) {
        assert_eq!(ours, theirs);
    }
}
