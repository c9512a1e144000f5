//! A sealed record in which one entry follows another than the one before, and
//! everything else holds: hashes, places and seal were made of it as it is. Each link
//! is seen by itself.

use chalkhand::domain::merkle::{self, Tree};
use chalkhand::domain::{Hash, chain, sealing};
use chalkhand::export::check::Part;
use chalkhand::export::{self, check, json};
use chalkhand::{files, roof};

use super::example;
use crate::sealed::key;

/// What is told of a record whose entry at that place follows another one.
fn told(broken: Option<usize>) -> check::Report {
    let (mut previous, mut leaves, mut own) = (Hash::START, Vec::new(), Vec::new());
    for (place, entry) in example::entries().into_iter().enumerate() {
        let before = match broken {
            Some(broken) if broken == place => Hash::of(b"the last entry of another log"),
            _ => previous,
        };
        let (entry, text) = chain::link(entry.draft, entry.seq, before).unwrap();
        previous = entry.hash;
        leaves.push(merkle::leaf(text.as_bytes()));
        own.push(entry);
    }
    let (file, tree) = (example::file(own), Tree::of(leaves));
    let record = export::json::record(&file.record(&roof::functions()), &example::due());
    let now = example::at("18:00:00.000");
    let sealed = sealing::sealed(record, &file.entries, &tree, now, &[], &key(1)).unwrap();
    check::record(files::read_json(json::pretty(&sealed.json).as_bytes()).unwrap())
}

#[test]
fn each_link_is_seen_by_itself() {
    assert!(told(None).holds());
    let entries = example::entries();
    for (place, entry) in entries.iter().enumerate().skip(1) {
        let report = told(Some(place));
        let wrong: Vec<_> = report.findings.iter().filter(|f| !f.holds()).collect();
        assert!(!report.holds() && wrong.len() == 1, "{place}: {wrong:?}");
        assert_eq!((wrong[0].part, wrong[0].seq), (Part::Entries, Some(entry.seq)), "{place}");
        assert!(wrong[0].says.contains("does not follow the entry before it"), "{wrong:?}");
    }
}
