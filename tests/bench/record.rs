//! What the record costs over the engines alone: the PDF against typst on the
//! same template and files, warm and taking turns; and the memory it takes.
#![allow(clippy::unwrap_used, clippy::indexing_slicing, clippy::print_stdout, missing_docs)]

use std::collections::HashMap;
use std::hint::black_box;
use std::process::Command;
use std::time::{Duration, Instant};

use chalkhand::domain::Json;
use chalkhand::export::json;
use chalkhand::export::pdf::{self, Paper};
use criterion::{Criterion, criterion_group, criterion_main};
use typst::diag::{FileError, FileResult};
use typst::foundations::{Bytes, Datetime, Duration as Span};
use typst::syntax::{FileId, RootedPath, Source, VirtualPath, VirtualRoot};
use typst::text::{Font, FontBook};
use typst::utils::LazyHash;
use typst::{Library, LibraryExt, World};
use typst_kit::fonts::{self, FontStore};

fn tree(value: serde_json::Value) -> Json {
    match value {
        serde_json::Value::Null => Json::Null,
        serde_json::Value::Bool(yes) => Json::Bool(yes),
        serde_json::Value::Number(n) => Json::Number(n.as_f64().unwrap()),
        serde_json::Value::String(text) => Json::from(text),
        serde_json::Value::Array(items) => Json::List(items.into_iter().map(tree).collect()),
        serde_json::Value::Object(members) => {
            let members = members.into_iter().map(|(key, value)| (key, tree(value)));
            Json::Object(members.collect())
        }
    }
}

/// The kept example record, with its longest checklist walked again and again
/// until it fills some pages, and photos.
fn record(steps: usize, photos: u32) -> Json {
    let text = include_str!("../it/data/export/record.json");
    let mut json = tree(serde_json::from_str(text).unwrap());
    let Json::Object(members) = &mut json else { unreachable!() };
    let Some(Json::List(walks)) = members.get_mut("checklists") else { unreachable!() };
    let Some(Json::Object(walk)) = walks.last_mut() else { unreachable!() };
    let Some(Json::List(all)) = walk.get_mut("steps") else { unreachable!() };
    let most = steps.max(all.len());
    *all = all.iter().cycle().take(most).cloned().collect();
    let photo = |number: u32| {
        Json::object([
            ("line", Json::from(format!("Photo {number}"))),
            ("sha256", Json::from(format!("{number:064x}"))),
            ("preview_sha256", Json::from(format!("{number:064x}"))),
        ])
    };
    members.insert("photos", Json::List((1..=photos).map(photo).collect()));
    json
}

/// A gradient of 1280 by 960 as JPEG: what a preview weighs. Each has a comment of its
/// own, as no two photos are the same file.
fn preview(of: &str) -> Vec<u8> {
    let jpeg = include_bytes!("../it/data/preview.jpg");
    let length = u16::try_from(of.len() + 2).unwrap().to_be_bytes();
    [&jpeg[..2], &[0xff, 0xfe], &length, of.as_bytes(), &jpeg[2..]].concat()
}

/// Typst and nothing else.
struct Bare {
    library: LazyHash<Library>,
    fonts: FontStore,
    main: Source,
    files: HashMap<FileId, Bytes>,
}

fn id(path: &str) -> FileId {
    RootedPath::new(VirtualRoot::Project, VirtualPath::new(path).unwrap()).intern()
}

impl World for Bare {
    fn library(&self) -> &LazyHash<Library> {
        &self.library
    }
    fn book(&self) -> &LazyHash<FontBook> {
        self.fonts.book()
    }
    fn main(&self) -> FileId {
        self.main.id()
    }
    fn source(&self, id: FileId) -> FileResult<Source> {
        if id == self.main.id() { Ok(self.main.clone()) } else { Err(FileError::AccessDenied) }
    }
    fn file(&self, id: FileId) -> FileResult<Bytes> {
        self.files.get(&id).cloned().ok_or(FileError::AccessDenied)
    }
    fn font(&self, index: usize) -> Option<Font> {
        self.fonts.font(index)
    }
    fn today(&self, _: Option<Span>) -> Option<Datetime> {
        None
    }
}

fn median(mut times: Vec<Duration>) -> f64 {
    times.sort();
    times[times.len() / 2].as_secs_f64() * 1000.0
}

/// Set for a process that makes the long record and nothing else.
const ALONE: &str = "CHALKHAND_BENCH_ALONE";
const LONG: (usize, u32) = (400, 80);

/// The most memory this process has held.
fn peak() -> String {
    let status = std::fs::read_to_string("/proc/self/status").unwrap();
    let peak = status.lines().find(|line| line.starts_with("VmHWM")).unwrap();
    peak.trim_start_matches("VmHWM:").trim().to_owned()
}

/// The long record made by a process of its own, as the program makes it.
fn long_record() {
    let json = record(LONG.0, LONG.1);
    let text = json::pretty(&json);
    black_box(pdf::record(&text, &json, |of| Some(preview(of)), Paper::Letter).unwrap());
    println!("  peak of resident memory of a process that makes it: {}", peak());
}

fn pages(_: &mut Criterion) {
    if std::env::var_os(ALONE).is_some() {
        return long_record();
    }
    for (steps, photos) in [(20, 6), LONG] {
        let json = record(steps, photos);
        let text = json::pretty(&json);
        let made = || {
            let made = pdf::record(&text, &json, |of| Some(preview(of)), Paper::Letter);
            made.unwrap()
        };
        let sources = pdf::sources(&text, &json, |of| Some(preview(of)), Paper::Letter).unwrap();
        let mut fonts = FontStore::new();
        fonts.extend(fonts::embedded());
        let emoji = Font::iter(Bytes::new(epaint_default_fonts::NOTO_EMOJI_REGULAR));
        fonts.extend(emoji.map(|font| (font.clone(), font.info().clone())));
        let bare = Bare {
            library: LazyHash::new(Library::default()),
            fonts,
            main: Source::new(id("/record.typ"), sources.template.to_owned()),
            files: sources
                .files
                .into_iter()
                .map(|(path, bytes)| (id(&path), Bytes::new(bytes)))
                .collect(),
        };
        let alone = || {
            let document = typst::compile(&bare).output.unwrap();
            let made_at = Datetime::from_ymd_hms(2026, 11, 25, 8, 0, 0).unwrap();
            let options = typst_pdf::PdfOptions {
                timestamp: Some(typst_pdf::Timestamp::new_utc(made_at)),
                standards: typst_pdf::PdfStandards::new(&[
                    typst_pdf::PdfStandard::A_3b,
                    typst_pdf::PdfStandard::Ua_1,
                ])
                .unwrap(),
                ..typst_pdf::PdfOptions::default()
            };
            let made = typst_pdf::pdf(&document, &options).unwrap();
            typst::comemo::evict(0);
            made
        };
        black_box((made(), alone()));
        let (mut ours, mut theirs, mut bytes) = (Vec::new(), Vec::new(), 0);
        for _ in 0..9 {
            let started = Instant::now();
            bytes = black_box(made()).len();
            ours.push(started.elapsed());
            let started = Instant::now();
            black_box(alone());
            theirs.push(started.elapsed());
        }
        let (ours, theirs) = (median(ours), median(theirs));
        println!(
            "record as PDF, {steps} steps, {photos} photos: {ours:.0} ms, {:.1} MB; typst alone \
             {theirs:.0} ms, ratio {:.2}",
            f64::from(u32::try_from(bytes / 1000).unwrap()) / 1000.0,
            ours / theirs
        );
        let started = Instant::now();
        black_box(json::pretty(&json));
        println!("  its JSON as text: {:.1} ms", started.elapsed().as_secs_f64() * 1000.0);
    }
    println!("  peak of resident memory here, where all is held twice: {}", peak());
    let mut process = Command::new(std::env::current_exe().unwrap());
    assert!(process.arg("--bench").env(ALONE, "yes").status().unwrap().success());
}

criterion_group!(benches, pages);
criterion_main!(benches);
