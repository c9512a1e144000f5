//! What seals cost over bare SHA-256 of the same bytes, in turns in one run: to
//! check a record of 10,000 entries, as a call and as the program does it, to sign
//! it, one proof, and to make a record where the log has 20,000 entries. A check
//! also against the least it can be: to read the JSON, hash it, check one signature.
#![allow(clippy::unwrap_used, clippy::indexing_slicing, clippy::print_stdout, missing_docs)]
#![allow(clippy::cast_possible_truncation)]

use std::hint::black_box;
use std::path::Path;
use std::process::Command;
use std::time::{Duration, Instant};

use chalkhand::domain::jws::{Jws, Kind};
use chalkhand::domain::merkle::Tree;
use chalkhand::domain::{
    DeviceKey, Draft, How, Job, JobFile, Key, Standing, StepRef, Units, What, sealing,
};
use chalkhand::export::{check, json};
use chalkhand::store::Store;
use chalkhand::{files, roof};
use criterion::{Criterion, criterion_group, criterion_main};
use sha2::{Digest as _, Sha256};

fn draft(job: &str, n: u64, what: What) -> Draft {
    Draft {
        job: job.to_owned(),
        walk: Some(chalkhand::domain::WalkId::first("deck-intake")),
        at: "2026-11-25T08:15:09.042-05:00".parse().unwrap(),
        by: "Installer Example".to_owned(),
        how: How::Keys,
        confirmed: Vec::new(),
        what,
        corrects: None,
        key: Key(format!("{job}/{n}")),
    }
}

fn opened(number: &str) -> What {
    What::JobOpened(Job {
        number: number.to_owned(),
        address: "1 Example Lane".to_owned(),
        owner: "Owner Example".to_owned(),
        phone: "555-0100".to_owned(),
        time_zone: "America/New_York".to_owned(),
        code_edition: "invented".to_owned(),
        company: "Example Roofing".to_owned(),
        invented: true,
        units: Units::Us,
        people: Vec::new(),
        pins: Vec::new(),
    })
}

fn note(n: u64) -> What {
    let step = Some(StepRef { id: "read-nail-line".to_owned(), row: Some(1) });
    let text = format!("Course {n} was snapped again, the line had moved in the wind.");
    What::Noted { step, text, clip: None }
}

/// 20,000 entries in turn of two jobs, 500 at a time.
fn log() -> (tempfile::TempDir, Store) {
    let folder = tempfile::tempdir().unwrap();
    let mut store = Store::open(&folder.path().join("log.db")).unwrap();
    store.raw().pragma_update(None, "synchronous", "off").unwrap();
    for number in ["J-1", "J-2"] {
        store.open_job(&[draft(number, 0, opened(number))]).unwrap();
    }
    for n in 2..20_000 {
        let job = if n / 500 % 2 == 0 { "J-1" } else { "J-2" };
        store.append(&draft(job, n, note(n)), None).unwrap();
    }
    (folder, store)
}

fn in_turn<const N: usize>(times: u64, mut each: [&mut dyn FnMut(); N]) -> [Vec<Duration>; N] {
    let mut all = [const { Vec::new() }; N];
    for _ in 0..times {
        for (one, times) in each.iter_mut().zip(&mut all) {
            let start = Instant::now();
            one();
            times.push(start.elapsed());
        }
    }
    all.iter_mut().for_each(|times| times.sort());
    all
}

fn print(what: &str, ours: &[Duration], bare: &[Duration]) {
    let at = |times: &[Duration], of_1000: usize| times[(times.len() - 1) * of_1000 / 1000];
    let ratio = at(ours, 500).as_secs_f64() / at(bare, 500).as_secs_f64();
    println!(
        "{what}: p50 {:.3?} p99 {:.3?}; bare SHA-256 p50 {:.3?}; ratio of p50 {ratio:.1}",
        at(ours, 500),
        at(ours, 990),
        at(bare, 500),
    );
}

/// The least a check can be: the document as a tree, the SHA-256 and the signature of
/// what is sealed, one after the other.
fn bare_check(text: &[u8], payload: &str, seal: &Jws) {
    black_box(serde_json::from_slice::<serde_json::Value>(text).unwrap());
    black_box(Sha256::digest(payload));
    assert!(seal.check(Kind::Record, payload).is_ok());
}

/// `chalkhand seal check FILE`, from its start to its end.
fn program(file: &Path) {
    let mut command = Command::new(env!("CARGO_BIN_EXE_chalkhand"));
    let done = command.args(["seal", "check"]).arg(file).output().unwrap();
    assert!(done.status.success(), "{done:?}");
}

fn seal(c: &mut Criterion) {
    let (folder, store) = log();
    let key = DeviceKey::of(&[1; 32]);
    let entries = store.entries("J-1", 0).unwrap();
    let standing = Standing::of(&entries);
    let job = standing.job.clone().unwrap();
    let file = JobFile { job, checklists: Vec::new(), profile: None, entries, standing };
    let functions = roof::functions();
    let now = file.entries[0].draft.at;
    let make = || {
        let record = json::record(&file.record(&functions), &[]);
        let tree = Tree::of(store.leaves().unwrap());
        sealing::sealed(record, &file.entries, &tree, now, &[], &key).unwrap()
    };
    let sealed = make();
    let text = json::pretty(&sealed.json).into_bytes();
    let checked = || check::record(files::read_json(black_box(&text)).unwrap());
    assert!(checked().holds());
    let (entries, mib) = (file.entries.len(), text.len() as f64 / f64::from(1 << 20));
    println!("a record of {entries} entries, {mib:.1} MiB");

    let [ours, bare] = in_turn(
        40,
        [
            &mut || {
                black_box(checked());
            },
            &mut || {
                black_box(Sha256::digest(&text));
            },
        ],
    );
    print(&format!("check a record of {entries} entries"), &ours, &bare);

    let payload = sealing::payload(&sealed.json).unwrap();
    let jws = sealed.json.get("seal").and_then(Jws::read).unwrap();
    let file = folder.path().join("record.json");
    std::fs::write(&file, &text).unwrap();
    let [ours, least] =
        in_turn(40, [&mut || program(&file), &mut || bare_check(&text, &payload, &jws)]);
    println!(
        "chalkhand seal check of them: best {:.1?} p50 {:.1?}; bare parse, SHA-256 and signature \
         best {:.1?}; ratio of best {:.2}",
        ours[0],
        ours[20],
        least[0],
        ours[0].as_secs_f64() / least[0].as_secs_f64(),
    );
    let [ours, bare] = in_turn(
        40,
        [&mut || drop(black_box(key.sign(Kind::Record, &payload))), &mut || {
            black_box(Sha256::digest(&payload));
        }],
    );
    print("sign it", &ours, &bare);

    let tree = Tree::of(store.leaves().unwrap());
    let proof = tree.inclusion(7_777, tree.size()).unwrap();
    let same: Vec<u8> = proof.iter().flat_map(|hash| *hash.bytes()).collect();
    let [ours, bare] = in_turn(
        4_000,
        [&mut || drop(black_box(tree.inclusion(black_box(7_777), tree.size()))), &mut || {
            black_box(Sha256::digest(&same));
        }],
    );
    print(&format!("one proof among {} entries", tree.size()), &ours, &bare);

    let bodies: String = {
        let mut statement = store.raw().prepare("select body from entry").unwrap();
        statement.query_map([], |row| row.get::<_, String>(0)).unwrap().flatten().collect()
    };
    let [leaves, whole, bare] = in_turn(
        20,
        [
            &mut || {
                black_box(Tree::of(store.leaves().unwrap()));
            },
            &mut || {
                black_box(make());
            },
            &mut || {
                black_box(Sha256::digest(&bodies));
            },
        ],
    );
    print(&format!("the tree of a log of {} entries", tree.size()), &leaves, &bare);
    print(&format!("a sealed record of {entries} of them"), &whole, &bare);

    c.bench_function("check 10,000 entries", |b| b.iter(checked));
    c.bench_function("sign 10,000 entries", |b| b.iter(|| key.sign(Kind::Record, &payload)));
    c.bench_function("one proof", |b| b.iter(|| tree.inclusion(black_box(7_777), tree.size())));
}

criterion_group!(benches, seal);
criterion_main!(benches);
