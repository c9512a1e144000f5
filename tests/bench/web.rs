//! What the pages cost over the engine alone: each asked for over the loopback of
//! the daemon as it is run, in turns with a bare SQLite reading the same rows. Then,
//! as plain figures: from the start to the first page, from an entry to another
//! screen, and the memory that open screens take.
#![allow(clippy::unwrap_used, clippy::indexing_slicing, clippy::print_stdout, missing_docs)]
#![allow(clippy::expect_used, clippy::panic, clippy::cast_possible_truncation)]

use std::fmt::Write as _;
use std::hint::black_box;
use std::io::{BufRead as _, BufReader, Read as _, Write as _};
use std::net::TcpStream;
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};
use std::thread::sleep;
use std::time::{Duration, Instant};

use chalkhand::domain::{At, Draft, Given, How, Job, Key, PinKind, StepRef, Units, WalkId, What};
use chalkhand::store::Store;
use criterion::{Criterion, criterion_group, criterion_main};
use jiff::ToSpan as _;
use jiff::tz::TimeZone;
use rusqlite::Connection;
use tungstenite::handshake::client::generate_key;
use tungstenite::{Message, WebSocket, http};

/// Steps of a job's walk.
const STEPS: u64 = 60;
/// Jobs of the day, and jobs among which the desk looks.
const JOBS_OF_DAY: u64 = 50;
const JOBS: u64 = 200;
/// Screens that are open at once, on so many walks.
const SCREENS: usize = 200;
const WALKS: usize = 20;

/// An invented checklist: every third step measures, the others are done.
fn checklist() -> String {
    let mut text = "id = \"sixty\"\nversion = \"1.0.0\"\ntitle = \"Sixty steps\"\n\
        yields_to = \"everything else\"\nsources = [\"invented for a measurement\"]\n\
        [cautions.eyes]\nsay = \"Glasses on before anything is cut.\"\n\
        source = \"invented for a measurement\"\n[measures]\nline = \"4 1/2 in\"\n"
        .to_owned();
    for n in 1..=STEPS {
        let answer = match n % 3 {
            0 => "answer = { measure = \"line\", tolerance = \"1/16 in\" }\n",
            _ => "",
        };
        write!(
            text,
            "[[step]]\nid = \"step-{n}\"\ntitle = \"Step {n} of the course\"\n\
             say = \"Snap the line {{line}} up from the butt edge of course {n}, and look along it.\"\n\
             why = \"A line that is off leaks where nobody sees it.\"\ncaution = [\"eyes\"]\n{answer}",
        )
        .unwrap();
    }
    text
}

/// The invented job that ships, which pins three shipped checklists and has
/// planes, vents and obstructions, with the sixty steps besides.
fn job_file(number: &str) -> String {
    let text = include_str!("../../packaging/demo-data/job.toml");
    let text = text.replace("EX-0001", number);
    text.replace("\"closing-inspection\"]", "\"closing-inspection\", \"sixty\"]")
}

fn number(n: u64) -> String {
    format!("EX-{n:04}")
}

struct Home(tempfile::TempDir);

impl Home {
    fn path(&self, name: &str) -> PathBuf {
        self.0.path().join(name)
    }

    fn command(&self, words: &[&str]) -> Command {
        let mut command = Command::new(env!("CARGO_BIN_EXE_chalkhand"));
        command.args(words).arg("--data").arg(self.path("data"));
        command.env_remove("CHALKHAND_DATA").env_remove("CHALKHAND_LOG");
        command.stdin(Stdio::null()).stdout(Stdio::piped());
        command
    }

    fn run(&self, words: &[&str]) {
        let ran = self.command(words).output().unwrap();
        assert!(ran.status.success(), "{words:?} {ran:?}");
    }

    fn log(&self) -> PathBuf {
        self.path("data/log.sqlite")
    }

    /// Jobs of one day, each with sixty entries on it: its walk stands at the last step.
    fn new() -> (Self, At) {
        let home = Self(tempfile::tempdir().unwrap());
        std::fs::write(home.path("sixty.toml"), checklist()).unwrap();
        let profile =
            Path::new(env!("CARGO_MANIFEST_DIR")).join("packaging/demo-data/profile.toml");
        home.run(&["checklist", "adopt", profile.to_str().unwrap()]);
        home.run(&["checklist", "adopt", home.path("sixty.toml").to_str().unwrap()]);
        for n in 1..=JOBS_OF_DAY {
            std::fs::write(home.path("job.toml"), job_file(&number(n))).unwrap();
            home.run(&["job", "open", home.path("job.toml").to_str().unwrap()]);
        }
        let mut store = Store::open(&home.log()).unwrap();
        store.raw().pragma_update(None, "synchronous", "off").unwrap();
        let opened = store.entries(&number(1), 0).unwrap()[0].draft.at;
        // On the day after, so that the day holds these entries and no other.
        let zone = TimeZone::get("America/New_York").unwrap();
        let day = At::new(opened.instant() + 24.hours(), &zone);
        let (version, hash) = store.versions(PinKind::Checklist, "sixty").unwrap()[0];
        for job in (1..=JOBS_OF_DAY).map(number) {
            let begun = What::WalkBegun { version, hash };
            store.append(&draft(&job, day, 0, begun), None).unwrap();
            for n in 1..STEPS {
                let step = StepRef { id: format!("step-{n}"), row: None };
                let asked = format!("Snap the line 4 1/2 in up from the butt edge of course {n}.");
                let given = Given::Done;
                let what = What::Answered { step, asked, given, target: None, reason: None };
                store.append(&draft(&job, day, n, what), None).unwrap();
            }
        }
        (home, day)
    }

    /// As many more, with nothing in them, for the desk to look among.
    fn more_jobs(&self, at: At) {
        let mut store = Store::open(&self.log()).unwrap();
        store.raw().pragma_update(None, "synchronous", "off").unwrap();
        for n in JOBS_OF_DAY + 1..=JOBS {
            let what = What::JobOpened(Job {
                number: number(n),
                address: format!("{n} Example Lane, Sampletown"),
                owner: format!("Owner{n} Example"),
                phone: format!("555-01{n:04}"),
                time_zone: "America/New_York".to_owned(),
                code_edition: "invented".to_owned(),
                company: "Example Roofing Company".to_owned(),
                invented: true,
                units: Units::Us,
                people: Vec::new(),
                pins: Vec::new(),
            });
            store.open_job(&[Draft { walk: None, ..draft(&number(n), at, 0, what) }]).unwrap();
        }
    }
}

fn draft(job: &str, at: At, n: u64, what: What) -> Draft {
    Draft {
        job: job.to_owned(),
        walk: Some(WalkId::first("sixty")),
        at,
        by: "Installer Example".to_owned(),
        how: How::Keys,
        confirmed: Vec::new(),
        what,
        corrects: None,
        key: Key(format!("{job}/{n}")),
    }
}

/// The daemon, and whoever is signed in.
struct Daemon {
    child: Child,
    host: String,
    cookie: String,
    stream: Option<BufReader<TcpStream>>,
}

impl Drop for Daemon {
    fn drop(&mut self) {
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

impl Daemon {
    /// Started; with how long it took until its first page was there.
    fn start(home: &Home) -> (Self, Duration, Option<String>) {
        let begun = Instant::now();
        let mut child = home.command(&["serve", "--port", "0"]).spawn().unwrap();
        let mut lines = BufReader::new(child.stdout.take().unwrap()).lines().map_while(Result::ok);
        let host = lines.next().unwrap();
        let host = host.split("://").nth(1).unwrap().trim_end_matches('/').to_owned();
        let mut daemon = Self { child, host, cookie: String::new(), stream: None };
        let (status, _, _) = daemon.get("/sign-in");
        let took = begun.elapsed();
        assert_eq!(status, 200);
        let code = lines.next().and_then(|line| Some(line.split_once("code=")?.1.to_owned()));
        // It goes on to speak, and nobody may stop listening.
        std::thread::spawn(move || lines.for_each(drop));
        (daemon, took, code)
    }

    fn join(&mut self, code: &str, name: &str) {
        let fields = [
            ("code", code),
            ("name", name),
            ("passphrase", "ladder first"),
            ("units", "us"),
            ("language", "en"),
            ("device", "bench"),
        ];
        let body = serde_urlencoded::to_string(fields).unwrap();
        let (host, length) = (self.host.clone(), body.len());
        let (status, head, _) = self.ask(&format!(
            "POST /join HTTP/1.1\r\nHost: {host}\r\nOrigin: http://{host}\r\nContent-Length: {length}\r\n\
             Content-Type: application/x-www-form-urlencoded\r\n\r\n{body}"
        ));
        assert_eq!(status, 303, "{head}");
        let (_, cookie) = head.split_once("set-cookie: ").unwrap();
        self.cookie = cookie.split(';').next().unwrap().to_owned();
    }

    fn get(&mut self, path: &str) -> (u32, String, Vec<u8>) {
        let (host, cookie) = (&self.host, &self.cookie);
        self.ask(&format!(
            "GET {path} HTTP/1.1\r\nHost: {host}\r\nAccept: text/html\r\nCookie: {cookie}\r\n\r\n"
        ))
    }

    /// One request on a connection that stays open.
    fn ask(&mut self, request: &str) -> (u32, String, Vec<u8>) {
        let stream = self.stream.get_or_insert_with(|| {
            let stream = TcpStream::connect(&self.host).unwrap();
            stream.set_nodelay(true).unwrap();
            BufReader::new(stream)
        });
        stream.get_mut().write_all(request.as_bytes()).unwrap();
        let mut head = String::new();
        while !head.ends_with("\r\n\r\n") {
            assert_ne!(stream.read_line(&mut head).unwrap(), 0, "{head}");
        }
        let status = head.split(' ').nth(1).unwrap().parse().unwrap();
        let length = head.split_once("content-length: ").map(|(_, rest)| rest);
        let length = length.map_or(0, |rest| rest.lines().next().unwrap().parse().unwrap());
        let mut body = vec![0; length];
        stream.read_exact(&mut body).unwrap();
        (status, head, body)
    }

    fn page(&mut self, path: &str) -> Vec<u8> {
        let (status, head, body) = self.get(path);
        assert_eq!(status, 200, "{path} {head}");
        body
    }

    fn socket(&self, path: &str) -> WebSocket<TcpStream> {
        let host = &self.host;
        let request = http::Request::builder()
            .uri(format!("ws://{host}{path}/live"))
            .header("Host", host)
            .header("Origin", format!("http://{host}"))
            .header("Cookie", &self.cookie)
            .header("Connection", "Upgrade")
            .header("Upgrade", "websocket")
            .header("Sec-WebSocket-Version", "13")
            .header("Sec-WebSocket-Key", generate_key());
        let stream = TcpStream::connect(host).unwrap();
        stream.set_nodelay(true).unwrap();
        stream.set_read_timeout(Some(Duration::from_secs(20))).unwrap();
        tungstenite::client(request.body(()).unwrap(), stream).unwrap().0
    }

    /// Resident memory, in KiB.
    fn resident_kib(&self) -> u64 {
        let status = std::fs::read_to_string(format!("/proc/{}/status", self.child.id())).unwrap();
        let (_, rest) = status.split_once("VmRSS:").unwrap();
        rest.split_whitespace().next().unwrap().parse().unwrap()
    }
}

/// How the walk stands, as the socket tells it next.
fn shown(socket: &mut WebSocket<TcpStream>) -> serde_json::Value {
    loop {
        if let Message::Text(text) = socket.read().unwrap() {
            let told: serde_json::Value = serde_json::from_str(text.as_str()).unwrap();
            if told["kind"] == "shown" {
                return told["shown"].clone();
            }
        }
    }
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

fn print(what: &str, bytes: usize, ours: &[Duration], bare: &[Duration]) {
    let p50 = |times: &[Duration]| times[times.len() / 2];
    let ratio = p50(ours).as_secs_f64() / p50(bare).as_secs_f64();
    println!(
        "{what}: {:.1} kB, best {:.2?} p50 {:.2?}; bare SQLite p50 {:.3?}; ratio of p50 {ratio:.1}",
        bytes as f64 / 1000.0,
        ours[0],
        p50(ours),
        p50(bare),
    );
}

/// The rows a page of these jobs follows from: their entries and what they pin.
fn bare_rows(db: &Connection, jobs: &[String]) {
    let mut entries = db.prepare_cached("select * from entry where job = ?1 order by seq").unwrap();
    let mut adopted = db.prepare_cached("select body from adopted").unwrap();
    for job in jobs {
        let rows = entries.query_map([job], |row| row.get::<_, String>("body")).unwrap();
        rows.for_each(|body| drop(black_box(body.unwrap())));
        let rows = adopted.query_map([], |row| row.get::<_, String>(0)).unwrap();
        rows.for_each(|body| drop(black_box(body.unwrap())));
    }
}

fn bare_find(db: &Connection) {
    let sql = "select number, address, owner, phone, opened_on from job_words
               where job_words match '\"example\"* \"19\"*' order by rowid desc limit 30";
    let mut statement = db.prepare_cached(sql).unwrap();
    let rows = statement.query_map([], |row| {
        Ok([0, 1, 2, 3, 4].map(|column| row.get::<_, String>(column).unwrap()))
    });
    assert!(0 < rows.unwrap().map(Result::unwrap).map(black_box).count());
}

fn pages(c: &mut Criterion) {
    let (home, at) = Home::new();
    let (mut daemon, _, code) = Daemon::start(&home);
    daemon.join(&code.unwrap(), "Office Example");
    let db = Connection::open(home.log()).unwrap();
    let one = [number(1)];
    let (job, roof) = (format!("/job/{}", one[0]), format!("/roof/{}/sixty", one[0]));
    let day = format!("/day/{}", at.date());
    let all: Vec<String> = (1..=JOBS_OF_DAY).map(number).collect();
    for (what, path, jobs) in [
        ("roof page of a job of 60 steps", &roof, &one[..]),
        ("job page of a job of 60 steps", &job, &one[..]),
        ("day of 50 jobs and 3,000 entries", &day, &all[..]),
    ] {
        let bytes = daemon.page(path).len();
        let [ours, bare] =
            in_turn(40, [&mut || drop(black_box(daemon.page(path))), &mut || bare_rows(&db, jobs)]);
        print(what, bytes, &ours, &bare);
    }
    home.more_jobs(at);
    let search = "/desk?q=example+19";
    let bytes = daemon.page(search).len();
    let [ours, bare] =
        in_turn(40, [&mut || drop(black_box(daemon.page(search))), &mut || bare_find(&db)]);
    print("desk search over 200 jobs", bytes, &ours, &bare);

    figures(&home, &mut daemon, at);
    // An address may ask for 60 pages a second; criterion would ask for more.
    let mut spaced = |path: &str, iters: u64| {
        let mut took = Duration::ZERO;
        for _ in 0..iters {
            sleep(Duration::from_millis(20));
            let start = Instant::now();
            drop(black_box(daemon.page(path)));
            took += start.elapsed();
        }
        took
    };
    let mut group = c.benchmark_group("pages");
    group.sample_size(10);
    group.bench_function("roof page", |b| b.iter_custom(|iters| spaced(&roof, iters)));
    group.bench_function("bare rows of one job", |b| b.iter(|| bare_rows(&db, &one)));
    group.finish();
}

/// What has a bound of its own and no engine to be compared with.
fn figures(home: &Home, daemon: &mut Daemon, at: At) {
    // A walk asks once it is begun; the first screen is taken with it.
    let path = |n: usize| format!("/roof/{}/sixty", number(n as u64 + 1));
    for n in 0..WALKS {
        daemon.page(&path(n));
    }
    let (before, mut asks) = (daemon.resident_kib(), String::new());
    let mut screens = Vec::new();
    for n in 0..SCREENS {
        // No faster than an address may ask.
        sleep(Duration::from_millis(20));
        let mut socket = daemon.socket(&path(n % WALKS));
        let shown = shown(&mut socket);
        if n == 0 {
            asks = shown["question"].as_str().unwrap().to_owned();
        }
        screens.push(socket);
    }
    let grew = daemon.resident_kib().saturating_sub(before);
    println!("{SCREENS} open screens on {WALKS} walks: memory grew by {:.1} MB", grew as f64 / 1e3);

    // Two screens of one walk: what one sends, the other sees.
    let (sender, other) = screens.split_at_mut(WALKS);
    let (sender, other) = (&mut sender[0], &mut other[0]);
    let mut times = Vec::new();
    for n in 0..20 {
        // Work is interrupted and goes on: one entry each.
        let (pauses, meaning) = if n % 2 == 0 { (true, "pause") } else { (false, "resume") };
        let answer = serde_json::json!({
            "kind": "answer", "id": format!("a{n}"), "question": asks, "meaning": meaning,
        });
        let start = Instant::now();
        sender.send(Message::text(answer.to_string())).unwrap();
        let mut now = shown(other);
        while now["paused"] != pauses {
            now = shown(other);
        }
        times.push(start.elapsed());
        asks = now["question"].as_str().unwrap().to_owned();
    }
    times.sort();
    println!(
        "sent at one screen, logged and seen on another of the same walk: p50 {:.1?} worst {:.1?}",
        times[times.len() / 2],
        times[times.len() - 1],
    );
    // What another program logs, the walks look for: here the last step of each job.
    let mut store = Store::open(&home.log()).unwrap();
    let mut times = Vec::new();
    for (n, screen) in screens.iter_mut().enumerate().take(WALKS).skip(1) {
        sleep(Duration::from_millis(37 * n as u64));
        let step = StepRef { id: format!("step-{STEPS}"), row: None };
        let asked = "Snap the last line 4 1/2 in up.".to_owned();
        let what = What::Answered { step, asked, given: Given::Done, target: None, reason: None };
        let entry = draft(&number(n as u64 + 1), at, STEPS, what);
        let start = Instant::now();
        store.append(&entry, None).unwrap();
        while shown(screen)["finished"].is_null() {}
        times.push(start.elapsed());
    }
    times.sort();
    println!(
        "logged by another program and seen on a screen: p50 {:.1?} worst {:.1?}",
        times[times.len() / 2],
        times[times.len() - 1],
    );
    drop(screens);

    let mut starts: Vec<Duration> = (0..5).map(|_| Daemon::start(home).1).collect();
    starts.sort();
    println!(
        "start of the program to its first page: best {:.1?} p50 {:.1?}",
        starts[0], starts[2]
    );
}

criterion_group!(benches, pages);
criterion_main!(benches);
