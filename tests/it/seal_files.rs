//! A sealed record out of a PDF, and hostile files: an error, never a panic.

use std::io::Write as _;

use chalkhand::export::check;
use chalkhand::files::{self, Unread};
use flate2::Compression;
use flate2::write::ZlibEncoder;
use proptest::prelude::*;
use proptest::strategy::ValueTree as _;
use proptest::test_runner::TestRunner;

/// A stream with its dictionary.
fn stream(dict: &str, bytes: &[u8]) -> Vec<u8> {
    let head = format!("<< {dict} /Length {} >>\nstream\n", bytes.len());
    [head.as_bytes(), bytes, b"\nendstream"].concat()
}

/// A PDF of these objects, numbered from 1, with its table (ISO 32000-1 section 7.5).
fn pdf(objects: &[Vec<u8>]) -> Vec<u8> {
    let mut out = b"%PDF-1.7\n".to_vec();
    let mut table = String::new();
    for (at, object) in objects.iter().enumerate() {
        table.push_str(&format!("{:010} 00000 n \n", out.len()));
        out.extend(format!("{} 0 obj\n", at + 1).bytes());
        out.extend(object);
        out.extend(b"\nendobj\n");
    }
    let (start, size) = (out.len(), objects.len() + 1);
    out.extend(format!("xref\n0 {size}\n0000000000 65535 f \n{table}").bytes());
    out.extend(
        format!("trailer\n<< /Size {size} /Root 1 0 R >>\nstartxref\n{start}\n%%EOF\n").bytes(),
    );
    out
}

/// A page, and these entries of the tree of attachments; objects follow from 4 on.
fn with_names(names: &str, more: &[Vec<u8>]) -> Vec<u8> {
    let catalog = format!("<< /Type /Catalog /Pages 2 0 R /Names << /EmbeddedFiles {names} >> >>");
    let mut objects = vec![
        catalog.into_bytes(),
        b"<< /Type /Pages /Kids [3 0 R] /Count 1 >>".to_vec(),
        b"<< /Type /Page /Parent 2 0 R /MediaBox [0 0 612 792] >>".to_vec(),
    ];
    objects.extend(more.iter().cloned());
    pdf(&objects)
}

fn specification(name: &str, stream: u32) -> Vec<u8> {
    let file = format!("<< /F {stream} 0 R >>");
    format!("<< /Type /Filespec /F ({name}) /UF ({name}) /EF {file} >>").into_bytes()
}

fn deflated(bytes: &[u8]) -> Vec<u8> {
    let mut encoder = ZlibEncoder::new(Vec::new(), Compression::best());
    encoder.write_all(bytes).unwrap();
    encoder.finish().unwrap()
}

fn record() -> Vec<u8> {
    let (file, tree) = crate::sealed::logged();
    let json = chalkhand::export::json::record(
        &file.record(&chalkhand::roof::functions()),
        &crate::example::due(),
    );
    let now = crate::example::at("18:00:00.000");
    let key = crate::sealed::key(1);
    let sealed =
        chalkhand::domain::sealing::sealed(json, &file.entries, &tree, now, &[], &key).unwrap();
    chalkhand::export::json::pretty(&sealed.json).into_bytes()
}

#[test]
fn the_attached_record_is_found() {
    let record = record();
    let plain = specification("record.json", 5);
    let utf_16: String =
        "\u{feff}record.json".encode_utf16().map(|unit| format!("{unit:04x}")).collect();
    let wide = format!("<< /Type /Filespec /UF <{utf_16}> /EF << /F 5 0 R >> >>").into_bytes();
    let other = specification("photo.json", 5);
    for (what, file) in [
        ("plain", with_names("<< /Names [(a) 4 0 R] >>", &[plain.clone(), stream("", &record)])),
        (
            "deflated",
            with_names(
                "<< /Names [(a) 4 0 R] >>",
                &[plain.clone(), stream("/Filter /FlateDecode", &deflated(&record))],
            ),
        ),
        (
            "a name in UTF-16, a list of one filter",
            with_names(
                "<< /Names [(a) 4 0 R] >>",
                &[wide, stream("/Filter [/FlateDecode]", &deflated(&record))],
            ),
        ),
        (
            "a tree of two levels beside another attachment",
            with_names(
                "<< /Kids [6 0 R 7 0 R] >>",
                &[
                    plain.clone(),
                    stream("", &record),
                    b"<< /Limits [(a) (a)] /Names [(a) 8 0 R] >>".to_vec(),
                    b"<< /Limits [(b) (b)] /Names [(b) 4 0 R] >>".to_vec(),
                    other,
                ],
            ),
        ),
    ] {
        let found = files::attached_record(file).unwrap_or_else(|error| panic!("{what}: {error}"));
        assert_eq!(found, record, "{what}");
        assert!(check::record(files::read_json(&found).unwrap()).holds());
    }
}

#[test]
fn a_pdf_without_exactly_one_record_says_so() {
    let spec = || specification("record.json", 5);
    let body = stream("", b"{}");
    let zeros = deflated(&vec![b' '; files::LARGEST_SEALED + 1]);
    assert!(zeros.len() < 100_000, "a small file that unpacks to a large one");
    let one = "<< /Names [(a) 4 0 R] >>";
    let kids = "<< /Kids [4 0 R] >>";
    for (file, error) in [
        (b"%PDF-1.7\n".to_vec(), Unread::NotPdf),
        (b"".to_vec(), Unread::NotPdf),
        (with_names("<< >>", &[]), Unread::Attachments(0)),
        (with_names("null", &[]), Unread::Attachments(0)),
        (with_names(one, &[specification("record.txt", 5), body.clone()]), Unread::Attachments(0)),
        (
            with_names("<< /Names [(a) 4 0 R (b) 4 0 R] >>", &[spec(), body.clone()]),
            Unread::Attachments(2),
        ),
        (with_names(one, &[spec(), stream("/Filter /LZWDecode", b"x")]), Unread::Packed),
        (with_names(one, &[spec(), stream("/Filter /FlateDecode", b"no")]), Unread::Packed),
        (with_names(one, &[spec(), stream("/Filter /FlateDecode", &zeros)]), Unread::TooLarge),
        // A tree that holds itself.
        (with_names(kids, &[b"<< /Kids [4 0 R 4 0 R 4 0 R] >>".to_vec()]), Unread::Attachments(0)),
    ] {
        assert_eq!(files::attached_record(file).map(|_| ()), Err(error));
    }
    let large = vec![b'%'; files::LARGEST_SEALED + 1];
    assert_eq!(files::attached_record(large), Err(Unread::TooLarge));
}

/// How many inputs the fuzz tries; `CHALKHAND_FUZZ_INPUTS` says otherwise.
fn inputs() -> u32 {
    let set = std::env::var("CHALKHAND_FUZZ_INPUTS").ok().and_then(|n| n.parse().ok());
    set.unwrap_or(4_000)
}

/// What can be done to bytes: cut, repeat, overwrite, nest.
fn spoilt() -> impl Strategy<Value = Vec<(u8, prop::sample::Index, u8)>> {
    prop::collection::vec((0_u8..6, any::<prop::sample::Index>(), any::<u8>()), 1..6)
}

fn spoil(bytes: &mut Vec<u8>, how: &[(u8, prop::sample::Index, u8)]) {
    for (what, place, byte) in how {
        if bytes.is_empty() {
            return;
        }
        let at = place.index(bytes.len());
        match what {
            0 => bytes.truncate(at),
            1 => bytes[at] = *byte,
            2 => drop(bytes.remove(at)),
            3 => bytes.insert(at, *byte),
            4 => {
                let copy: Vec<u8> = bytes[at..].iter().take(usize::from(*byte)).copied().collect();
                bytes.splice(at..at, copy);
            }
            _ => drop(bytes.splice(at..at, b"[<<{(".repeat(usize::from(*byte)))),
        }
    }
}

/// A sealed record, a head and a PDF, spoilt: they are refused, or hold nothing.
#[test]
fn nothing_panics_on_spoilt_files() {
    let json = record();
    let spec = specification("record.json", 5);
    let small = with_names(
        "<< /Names [(a) 4 0 R] >>",
        &[spec, stream("/Filter /FlateDecode", &deflated(&json[..2_000]))],
    );
    let mut runner = TestRunner::deterministic();
    let (mut read, mut packed) = (0, 0);
    for n in 0..inputs() {
        let how = spoilt().new_tree(&mut runner).unwrap().current();
        if n % 4 == 0 {
            let mut bytes = json.clone();
            spoil(&mut bytes, &how);
            if let Ok(document) = files::read_json(&bytes) {
                read += 1;
                let report = check::record(document);
                assert!(!report.holds() || files::read_json(&json) == files::read_json(&bytes));
            }
        } else {
            let mut bytes = small.clone();
            spoil(&mut bytes, &how);
            packed += u32::from(files::attached_record(bytes.clone()).is_ok());
            files::read_head(&bytes).ok();
        }
    }
    assert!(0 < read && 0 < packed, "some are still read: {read}, {packed}");
}

/// Nested deeper than a reader's stack, or in a way that keeps it busy for minutes:
/// the program says so and goes on.
#[test]
fn a_deeply_nested_pdf_is_an_error() {
    let home = crate::program::Home::new();
    for (open, times) in [("[", 200_000), ("<< /A ", 200_000), ("<< /Kids [ << /Names ", 20_000)] {
        let deep = open.repeat(times);
        let inside = with_names(&format!("<< /Names [(a) {deep} ] >>"), &[]);
        let beside = with_names("<< /Names [(a) 4 0 R] >>", &[deep.into_bytes()]);
        for file in [inside, beside] {
            let path = home.path("deep.pdf");
            std::fs::write(&path, file).unwrap();
            let error = home.run(["seal", "check", path.to_str().unwrap()]).fails(1);
            assert!(error.contains("was not checked: it is not a PDF that can be read"), "{error}");
        }
    }
    // What is wrong with one that can be read is told from there too.
    let path = home.path("empty.pdf");
    std::fs::write(&path, with_names("<< >>", &[])).unwrap();
    let error = home.run(["seal", "check", path.to_str().unwrap()]).fails(1);
    assert!(error.contains("it has 0 attachments `record.json`"), "{error}");
}

/// A tree takes many times its text, so values are counted, not bytes alone.
#[test]
fn more_values_than_any_record_has_are_refused() {
    let many = |count: usize| format!("[{}0]", "0,".repeat(count));
    assert!(files::read_json(many(100_000).as_bytes()).is_ok());
    let why = files::read_json(many(3_100_000).as_bytes()).unwrap_err().to_string();
    assert!(why.contains("more than 3000000 values"), "{why}");
}
