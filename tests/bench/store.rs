//! What the log costs over the engine alone: confirm → durable against a bare
//! insert of the same bytes, and finding a job against the bare query. The two
//! take turns in one run, so that the ratio does not depend on the disk's mood.
#![allow(clippy::unwrap_used, clippy::indexing_slicing, clippy::print_stdout, missing_docs)]
#![allow(clippy::cast_possible_truncation)]

use std::hint::black_box;
use std::path::Path;
use std::time::{Duration, Instant};

use chalkhand::domain::{Draft, Given, How, Job, Key, StepRef, Target, WalkId, What};
use chalkhand::measure::{Quantity, Ratio};
use chalkhand::store::Store;
use criterion::{Criterion, criterion_group, criterion_main};
use rusqlite::Connection;

fn draft(job: &str, key: String, what: What) -> Draft {
    Draft {
        job: job.to_owned(),
        walk: Some(WalkId::first("deck-intake")),
        at: "2026-11-25T08:15:09.042-05:00".parse().unwrap(),
        by: "Installer One".to_owned(),
        how: How::Keys,
        confirmed: Vec::new(),
        what,
        corrects: None,
        key: Key(key),
    }
}

fn answer(n: u64) -> Draft {
    let mark = Quantity::inches(Ratio::int(5));
    let step = StepRef { id: "read-nail-line".to_owned(), row: Some(1) };
    let target = Some(Target::Mark(mark, Quantity::inches(Ratio::ONE)));
    let given = Given::Measured(mark);
    draft(
        "J-1",
        n.to_string(),
        What::Answered { step, asked: "Read me the mark.".to_owned(), given, target, reason: None },
    )
}

/// The engine alone, set up as the log is.
fn bare(path: &Path, table: &str) -> Connection {
    let db = Connection::open(path).unwrap();
    db.pragma_update(None, "journal_mode", "wal").unwrap();
    db.pragma_update(None, "synchronous", "full").unwrap();
    db.execute_batch(table).unwrap();
    db
}

/// The text alone.
const TEXT: &str = "create table entry (seq integer primary key, body text not null)";

/// The row and the indexes of the log, without its triggers.
const ROW: &str = "create table entry (seq integer primary key, job text not null,
    at_ms integer not null, at_day text not null, key text not null unique, body text not null,
    sha256 text not null) strict;
    create index entry_by_job on entry (job, seq);
    create index entry_by_day on entry (at_day, job)";

fn insert_text(db: &Connection, seq: u64, body: &str) {
    let mut statement = db.prepare_cached("insert into entry values (?1, ?2)").unwrap();
    statement.execute(rusqlite::params![seq, body]).unwrap();
}

fn insert_row(db: &Connection, seq: u64, body: &str) {
    let sql = "insert into entry values (?1, 'J-1', 1, '2026-11-25', ?2, ?3, ?4)";
    let mut statement = db.prepare_cached(sql).unwrap();
    let hash = "0".repeat(64);
    statement.execute(rusqlite::params![seq, seq.to_string(), body, hash]).unwrap();
}

/// Times in turn, sorted.
fn in_turn<const N: usize>(times: u64, mut each: [&mut dyn FnMut(u64); N]) -> [Vec<Duration>; N] {
    let mut all = [const { Vec::new() }; N];
    for n in 0..times {
        for (one, times) in each.iter_mut().zip(&mut all) {
            let start = Instant::now();
            one(n);
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
        "{what}: p50 {:.3?} p99 {:.3?}; bare p50 {:.3?} p99 {:.3?}; ratio of p50 {ratio:.2}",
        at(ours, 500),
        at(ours, 990),
        at(bare, 500),
        at(bare, 990),
    );
}

fn append(c: &mut Criterion) {
    let folder = tempfile::tempdir().unwrap();
    let mut store = Store::open(&folder.path().join("log.db")).unwrap();
    store.append(&answer(0), None).unwrap();
    let body: String =
        store.raw().query_row("select body from entry", [], |row| row.get(0)).unwrap();
    let text = bare(&folder.path().join("text.db"), TEXT);
    let row = bare(&folder.path().join("row.db"), ROW);
    let mut seq = 0;
    // Without waiting for the disk first: what the processor does.
    for synchronous in ["off", "full"] {
        for db in [store.raw(), &text, &row] {
            db.pragma_update(None, "synchronous", synchronous).unwrap();
        }
        let first = seq + 1;
        let [ours, text, row] = in_turn(
            2_000,
            [
                &mut |n| drop(store.append(&answer(first + n), Some(first + n)).unwrap()),
                &mut |n| insert_text(&text, first + n, &body),
                &mut |n| insert_row(&row, first + n, &body),
            ],
        );
        seq += 2_000;
        print(&format!("append, synchronous {synchronous}, against the text alone"), &ours, &text);
        print(&format!("append, synchronous {synchronous}, against the same row"), &ours, &row);
    }
    let mut n = seq;
    c.bench_function("append", |b| {
        b.iter(|| {
            n += 1;
            store.append(&answer(n), None).unwrap()
        });
    });
    let mut n = seq;
    c.bench_function("append, bare", |b| {
        b.iter(|| {
            n += 1;
            insert_text(&text, n, &body);
        });
    });
}

fn street(n: u64) -> String {
    let names = ["Example", "Sample", "Specimen", "Pattern", "Model", "Instance", "Invented"];
    let kinds = ["Street", "Road", "Lane", "Avenue", "Court"];
    let name = names[(n % 7) as usize];
    format!("{} {name}{} {}, Town{}", n % 997, n % 131, kinds[(n % 5) as usize], n % 211)
}

fn job(n: u64) -> Job {
    Job {
        number: format!("J-{n:06}"),
        address: street(n),
        owner: format!("Owner{} Family{}", n % 503, n % 3001),
        phone: format!("555-01{n:06}"),
        time_zone: "America/New_York".to_owned(),
        code_edition: "invented".to_owned(),
        company: "Example Roofing".to_owned(),
        invented: true,
        units: chalkhand::domain::Units::Us,
        people: Vec::new(),
        pins: Vec::new(),
    }
}

fn find_bare(db: &Connection, query: &str) -> usize {
    let sql = "select number, address, owner, phone, opened_on from job_words
               where job_words match ?1 order by rowid desc limit 50";
    let mut statement = db.prepare_cached(sql).unwrap();
    let rows = statement.query_map([query], |row| {
        Ok([0, 1, 2, 3, 4].map(|column| row.get::<_, String>(column).unwrap()))
    });
    rows.unwrap().map(Result::unwrap).map(black_box).count()
}

/// `CHALKHAND_JOBS` jobs, 100,000 where it is not set.
fn find(c: &mut Criterion) {
    let jobs = std::env::var("CHALKHAND_JOBS").map_or(100_000, |n| n.parse().unwrap());
    let folder = tempfile::tempdir().unwrap();
    let mut store = Store::open(&folder.path().join("log.db")).unwrap();
    // Only while the jobs are made.
    store.raw().pragma_update(None, "synchronous", "off").unwrap();
    for n in 0..jobs {
        let job = job(n);
        store
            .open_job(&[draft(&job.number, job.number.clone(), What::JobOpened(job.clone()))])
            .unwrap();
    }
    let address = |n: u64| street(n * 7919 % jobs);
    let kinds: [(&str, &dyn Fn(u64) -> String); 4] = [
        ("full address", &address),
        ("street and town", &|n| format!("Model{} Town{}", n % 131, n % 211)),
        ("prefix", &|n| format!("fam owner{}", n % 503)),
        ("phone", &|n| format!("555-01{:06}", n * 7919 % jobs)),
    ];
    for (kind, words) in kinds {
        let words: Vec<String> = (0..1_000).map(words).collect();
        // The same query, made before the clock starts.
        let queries = words.iter().map(|words| {
            let terms: Vec<_> = words.split(' ').map(|word| format!("\"{word}\"*")).collect();
            let digits: String = words.chars().filter(char::is_ascii_digit).collect();
            match kind {
                "phone" => format!("({}) OR phone_digits : \"{digits}\"*", terms.join(" ")),
                _ => terms.join(" "),
            }
        });
        let queries: Vec<String> = queries.collect();
        let mut found = [0, 0];
        let [ours, bare] = &mut found;
        let [ours, bare] = in_turn(
            1_000,
            [
                &mut |n| {
                    let words: Vec<String> =
                        words[n as usize].split(' ').map(str::to_owned).collect();
                    *ours += black_box(store.find(&words, 50).unwrap()).len();
                },
                &mut |n| *bare += find_bare(store.raw(), &queries[n as usize]),
            ],
        );
        assert_eq!(found[0], found[1], "{kind}: both find the same");
        print(&format!("find among {jobs} jobs by {kind}, {} found", found[0]), &ours, &bare);
    }
    let words = ["12".to_owned(), "example".to_owned()];
    c.bench_function("find", |b| b.iter(|| store.find(&words, 50).unwrap()));
    c.bench_function("find, bare", |b| b.iter(|| find_bare(store.raw(), "\"12\"* \"example\"*")));
}

criterion_group!(benches, append, find);
criterion_main!(benches);
