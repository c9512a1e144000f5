//! The document of the HTTP interface: it is what is served, all of it and nothing
//! else; answers fit it; and a program that reads it tests the whole interface.

use std::collections::{BTreeMap, BTreeSet};
use std::path::Path;
use std::process::Command;

use base64::prelude::{BASE64_STANDARD, Engine as _};
use chalkhand::domain::{PointKind, Right, Roles};
use percent_encoding::{NON_ALPHANUMERIC, utf8_percent_encode};
use serde_json::{Value, json};

use crate::api::{Program, Told, ask, key};
use crate::bundle::worked;
use crate::day_pages::{reach, skip};
use crate::outside;
use crate::pages::{invited, office};
use crate::photos::begun;
use crate::program::{Home, repository};
use crate::serve::Daemon;

/// One operation of the document, with requests made of its own examples.
struct Operation {
    method: String,
    path: String,
    said: Value,
}

fn document(daemon: &Daemon) -> Value {
    let told = ask(daemon, "GET", "/api/openapi.json", "", "");
    assert_eq!((told.status, told.media()), (200, "application/json"));
    told.json()
}

fn operations(document: &Value) -> Vec<Operation> {
    let mut all = Vec::new();
    for (path, item) in document["paths"].as_object().unwrap() {
        for (method, said) in item.as_object().unwrap() {
            let (method, path) = (method.to_uppercase(), path.clone());
            all.push(Operation { method, path, said: said.clone() });
        }
    }
    all
}

impl Operation {
    fn name(&self) -> String {
        format!("{} {}", self.method, self.path)
    }

    /// Its path with the examples in it, its headers and its body.
    fn request(&self) -> (String, String, Vec<u8>) {
        let (mut path, mut query, mut headers) = (self.path.clone(), Vec::new(), String::new());
        let none = Vec::new();
        for parameter in self.said["parameters"].as_array().unwrap_or(&none) {
            let (name, place) = (parameter["name"].as_str().unwrap(), &parameter["in"]);
            let example = &parameter["example"];
            assert!(!example.is_null(), "{}: {name} has no example", self.name());
            let example = example.as_str().map_or_else(|| example.to_string(), str::to_owned);
            match place.as_str().unwrap() {
                "path" => path = path.replace(&format!("{{{name}}}"), &example),
                "query" => {
                    let example = utf8_percent_encode(&example, NON_ALPHANUMERIC);
                    query.push(format!("{name}={example}"));
                }
                "header" => headers.push_str(&format!("{name}: {example}\r\n")),
                other => panic!("{other}"),
            }
        }
        if !query.is_empty() {
            path = format!("{path}?{}", query.join("&"));
        }
        if self.said["requestBody"].is_null() {
            return (path, headers, Vec::new());
        }
        let (media, body) = self.body();
        headers.push_str(&format!("Content-Type: {media}\r\n"));
        (path, headers, body)
    }

    /// The example of its body: JSON, or the bytes of a file as a `data:` address has
    /// them (RFC 2397).
    fn body(&self) -> (&str, Vec<u8>) {
        let content = self.said["requestBody"]["content"].as_object().unwrap();
        let found = content.iter().find_map(|(media, said)| {
            if let Some(example) = said.get("example") {
                return Some((media.as_str(), example.to_string().into_bytes()));
            }
            let (_, example) = said.get("examples")?.as_object().unwrap().iter().next().unwrap();
            let data = example["externalValue"].as_str().unwrap();
            let data = data.strip_prefix(&format!("data:{media};base64,")).unwrap();
            Some((media.as_str(), BASE64_STANDARD.decode(data).unwrap()))
        });
        found.unwrap_or_else(|| panic!("{} has no example of its body", self.name()))
    }

    fn sent_by(&self, program: &Program<'_>) -> Told {
        let (path, headers, body) = self.request();
        program.ask(&self.method, &path, &headers, body)
    }
}

/// Who may what, written down once more: an operation that is not here fails.
fn rights() -> BTreeMap<&'static str, Right> {
    use Right::{Desk, Foreman, Office, Read, Walk};
    BTreeMap::from([
        ("getHealth", Office),
        ("getYou", Read),
        ("listPeople", Office),
        ("listJobs", Read),
        ("openJob", Office),
        ("getJob", Read),
        ("getSheet", Read),
        ("listEntries", Read),
        ("getSealedRecord", Read),
        ("getRecordPages", Read),
        ("getRecordPage", Read),
        ("getDates", Read),
        ("listPhotos", Read),
        ("addPhoto", Walk),
        ("getPhoto", Read),
        ("getClip", Read),
        ("getDay", Foreman),
        ("release", Foreman),
        ("accept", Foreman),
        ("witness", Foreman),
        ("findJob", Desk),
        ("listAllCalls", Desk),
        ("listCalls", Desk),
        ("openCall", Desk),
        ("getCall", Desk),
        ("closeCall", Desk),
        ("listLibrary", Read),
        ("getVersion", Read),
        ("getVersionText", Read),
        ("getChanges", Read),
        ("checkText", Office),
        ("getWalk", Walk),
        ("takeUpWalk", Walk),
        ("answerWalk", Walk),
    ])
}

/// Whoever has one of two rights.
const ALSO: [(&str, Right); 1] = [("addPhoto", Right::Foreman)];

#[test]
fn each_role_may_what_it_is_for_and_nobody_else() {
    let home = begun();
    let daemon = Daemon::start(&home);
    let mut office = office(&daemon);
    let all = operations(&document(&daemon));
    let rights = rights();
    assert_eq!(all.len(), rights.len() + 1, "the document itself is for everybody");
    let nobody = Program { daemon: &daemon, key: "chalkhand_none".to_owned() };
    for role in ["installer", "foreman", "desk", "office"] {
        let name = format!("Some {role}");
        invited(&mut office, &name, &[role]);
        let program = key(&mut office, &name);
        let roles: Roles = role.parse().unwrap();
        for operation in &all {
            let id = operation.said["operationId"].as_str().unwrap();
            if id == "getDocument" {
                continue;
            }
            let right = *rights.get(id).unwrap_or_else(|| panic!("{id} is of no right"));
            let status = operation.sent_by(&program).status;
            let also = ALSO.iter().any(|(of, right)| *of == id && roles.may(*right));
            let may = also || roles.may(right);
            assert_eq!(status != 403, may, "{role} {}: {status}", operation.name());
            assert_ne!(status, 401, "{role} {}", operation.name());
            let answers = &operation.said["responses"];
            assert!(!answers[status.to_string()].is_null(), "{} {status}", operation.name());
            if role == "office" {
                assert_eq!(operation.sent_by(&nobody).status, 401, "{}", operation.name());
                let (path, headers, body) = operation.request();
                let told = ask(&daemon, &operation.method, &path, &headers, &body);
                assert_eq!(told.status, 401, "{}", operation.name());
            }
        }
    }
}

/// A handler that is described and not routed, one that is routed and not described, a
/// method that is not told: none of them is there.
#[test]
fn every_route_stands_in_the_document_and_the_reverse() {
    let home = begun();
    let daemon = Daemon::start(&home);
    let mut office = office(&daemon);
    let program = key(&mut office, "Office Example");
    let all = operations(&document(&daemon));
    let served: BTreeSet<String> = all.iter().map(Operation::name).collect();
    let mut described = BTreeSet::new();
    let mut files = vec![repository("src/web/api")];
    while let Some(path) = files.pop() {
        if path.is_dir() {
            files.extend(std::fs::read_dir(path).unwrap().map(|entry| entry.unwrap().path()));
            continue;
        }
        let text = std::fs::read_to_string(&path).unwrap();
        for way in [".route(", ".nest(", ".route_service(", "MethodRouter"] {
            let way = text
                .lines()
                .filter(|line| !line.contains("UtoipaMethodRouterExt"))
                .any(|line| line.contains(way));
            assert!(!way, "{}: a route without a description", path.display());
        }
        for rest in text.split("#[utoipa::path(").skip(1) {
            let method = rest.trim_start().split(',').next().unwrap().to_uppercase();
            let (_, path) = rest.split_once("path = \"").unwrap();
            described.insert(format!("{method} {}", path.split('"').next().unwrap()));
        }
    }
    assert_eq!(described, served);
    // No other file of the pages serves something there.
    for file in std::fs::read_dir(repository("src/web")).unwrap() {
        let path = file.unwrap().path();
        if path.extension().is_some_and(|end| end == "rs") {
            let text = std::fs::read_to_string(&path).unwrap();
            assert!(!text.contains("route(\"/api"), "{}", path.display());
        }
    }

    let mut paths: BTreeMap<&str, BTreeSet<&str>> = BTreeMap::new();
    for operation in &all {
        paths.entry(&operation.path).or_default().insert(&operation.method);
    }
    for operation in &all {
        let (path, ..) = operation.request();
        let takes = &paths[operation.path.as_str()];
        for method in ["GET", "POST", "PUT", "PATCH", "DELETE"] {
            let told = program.ask(method, &path, "", "");
            assert_eq!(told.status == 405, !takes.contains(method), "{method} {path}: {told:?}");
            if told.status == 405 {
                let allowed = told.headers["allow"].split(',').map(str::trim);
                let allowed: BTreeSet<&str> = allowed.filter(|method| *method != "HEAD").collect();
                assert_eq!(&allowed, takes, "{path}");
            }
        }
    }
}

/// A change of the document is seen before it is released; `UPDATE=1` keeps the new one.
#[test]
fn the_document_is_the_one_that_was_read() {
    let daemon_home = Home::new();
    let daemon = Daemon::start(&daemon_home);
    let told = ask(&daemon, "GET", "/api/openapi.json", "", "");
    let found = String::from_utf8(told.bytes).unwrap();
    let path = repository("tests/it/data/openapi.json");
    if std::env::var_os("UPDATE").is_some() {
        std::fs::write(&path, &found).unwrap();
    }
    let kept = std::fs::read_to_string(path).unwrap_or_default();
    for (at, (kept, found)) in kept.lines().zip(found.lines()).enumerate() {
        assert_eq!(kept, found, "line {}; UPDATE=1 keeps the new document", at + 1);
    }
    assert_eq!(kept.len(), found.len(), "it is longer or shorter; UPDATE=1 keeps it");
}

/// The people of the invented job and a day's work: what there is to be read and decided.
fn busy() -> Home {
    let home = worked();
    skip(&home, "shingles-over#1", "ran out");
    reach(&home, "cut#1", PointKind::Hold);
    reach(&home, "cut#2", PointKind::Witness);
    let open = ["callback", "open", "EX-0001", "--by", "Desk Example", "--caller", "Owner Example"];
    home.run([&open[..], &["--where", "above the stairs", "--run", "1"]].concat()).well();
    home
}

#[test]
fn answers_fit_the_document() {
    let Some(folder) = outside::folder("answers held against the document") else { return };
    let home = busy();
    let day = [
        "calendar",
        "add",
        "EX-0001",
        "--on",
        "2026-12-14",
        "--title",
        "Look once more",
        "--by",
        "Office Example",
    ];
    home.run(day).well();
    let daemon = Daemon::start(&home);
    let mut office = office(&daemon);
    invited(&mut office, "Foreman Example", &["foreman", "installer"]);
    let (program, foreman) =
        (key(&mut office, "Office Example"), key(&mut office, "Foreman Example"));
    let document = document(&daemon);
    let all = operations(&document);
    let mut answers = Vec::new();
    let mut add = |method: &str, path: &str, told: &Told| {
        answers.push(json!({
            "method": method, "path": path, "status": told.status, "media": told.media(),
            "body": String::from_utf8_lossy(&told.bytes),
        }));
    };
    let find = |id: &str| all.iter().find(|one| one.said["operationId"] == id).unwrap();
    // What is taken up, or kept, is there to be read.
    for (id, status) in [("takeUpWalk", 200), ("getWalk", 200), ("addPhoto", 201)] {
        let operation = find(id);
        let told = operation.sent_by(&foreman);
        assert_eq!(told.status, status, "{}", told.json());
        add(&operation.method, &operation.path, &told);
    }
    for operation in &all {
        let id = operation.said["operationId"].as_str().unwrap();
        let told = operation.sent_by(&program);
        if operation.method == "GET" && id != "getWalk" {
            assert_eq!(told.status, 200, "{id}: {:?}", String::from_utf8_lossy(&told.bytes));
        }
        add(&operation.method, &operation.path, &told);
        let (path, headers, _) = operation.request();
        if operation.method == "POST" {
            add("POST", &operation.path, &program.ask("POST", &path, &headers, "{"));
            add("POST", &operation.path, &program.ask("POST", &path, &headers, "[]"));
            add("POST", &operation.path, &program.ask("POST", &path, "", "{}"));
        }
    }
    let job = "/api/v1/jobs/EX-0001";
    let skipped = foreman.get(job).json()["deviations"].as_array().unwrap().clone();
    let skipped =
        skipped.iter().find(|one| one["kind"] == "left-out").unwrap()["entry_seq"].clone();
    let release = json!({ "walk": "deck-intake", "step": "cut#1", "role": "foreman" });
    let witness = json!({ "walk": "deck-intake", "step": "cut#2" });
    let call =
        find("openCall").said["requestBody"]["content"]["application/json"]["example"].clone();
    let finding = json!({ "found": "a nail", "warranty": "under", "steps": [{ "checklist": "deck-intake", "step": "shingles-over#1" }] });
    for (path, below, body) in [
        ("releases", "releases", release),
        ("acceptances", "acceptances", json!({ "entry": skipped, "reason": "it is sound" })),
        ("witnessings", "witnessings", witness),
        ("calls", "calls", call),
        ("calls/{id}/finding", "calls/1/finding", finding),
    ] {
        let told = foreman.change(
            &format!("{job}/{below}"),
            &format!("name-of-this-{path:_<16}").replace(['/', '{', '}'], "_"),
            &body,
        );
        assert_eq!(told.status, 201, "{path}: {}", told.json());
        add("POST", &format!("/api/v1/jobs/{{number}}/{path}"), &told);
    }
    for id in ["getJob", "listEntries", "getCall", "listCalls", "getDay", "getSealedRecord"] {
        let operation = find(id);
        let (path, headers, _) = operation.request();
        let path = path.replace("limit=50", "limit=500").split("?date").next().unwrap().to_owned();
        let path = path.replace("open=true", "open=false");
        add("GET", &operation.path, &foreman.ask("GET", &path, &headers, ""));
    }
    let count = answers.len();
    let asked = json!({ "document": document, "answers": answers }).to_string();
    let told = run(&folder, "api.py", &asked);
    assert_eq!(told.trim(), format!("{count} answers fit"), "{told}");
}

fn run(folder: &Path, script: &str, input: &str) -> String {
    let script = repository("tests/it/outside").join(script);
    let python = folder.join("api/bin/python");
    assert!(python.is_file(), "{} is missing: packaging/test makes it", python.display());
    let input_file = tempfile::NamedTempFile::new().unwrap();
    std::fs::write(input_file.path(), input).unwrap();
    let stdin = std::fs::File::open(input_file.path()).unwrap();
    let out = Command::new(python).arg(script).stdin(stdin).output().unwrap();
    assert!(out.status.success(), "{}", String::from_utf8_lossy(&out.stderr));
    String::from_utf8(out.stdout).unwrap()
}

/// schemathesis reads the document and makes requests of it, sound ones and others, the
/// same ones each time. Which statuses it takes beside its own is in `schemathesis.toml`.
#[test]
fn a_program_that_reads_the_document_finds_nothing_wrong() {
    let Some(folder) = outside::folder("the interface tested by schemathesis") else { return };
    let home = busy();
    let daemon = Daemon::start(&home);
    let mut office = office(&daemon);
    let program = key(&mut office, "Office Example");
    let here = tempfile::tempdir().unwrap();
    let document = here.path().join("openapi.json");
    std::fs::write(&document, ask(&daemon, "GET", "/api/openapi.json", "", "").bytes).unwrap();
    let schemathesis = folder.join("api/bin/st");
    assert!(
        schemathesis.is_file(),
        "{} is missing: packaging/test makes it",
        schemathesis.display()
    );
    let settings = repository("tests/it/outside/schemathesis.toml");
    let out = Command::new(schemathesis)
        .current_dir(here.path())
        .args(["--config-file", settings.to_str().unwrap(), "run", document.to_str().unwrap()])
        .args(["--url", &format!("http://{}", daemon.page)])
        .args(["-H", &format!("Authorization: Bearer {}", program.key)])
        .args(["--phases", "examples,coverage,fuzzing,stateful", "--max-examples", "4"])
        .args(["--generation-deterministic", "--continue-on-failure", "--no-color"])
        // Below what one address may ask for.
        .args(["--rate-limit", "55/s", "--checks", "all"])
        .output()
        .unwrap();
    let told = String::from_utf8_lossy(&out.stdout);
    assert!(out.status.success(), "{told}\n{}", String::from_utf8_lossy(&out.stderr));
    let tested = document_size(&document);
    assert!(told.contains(&format!("Tested: {tested}")), "every operation is tested: {told}");
    for phase in ["Examples", "Coverage", "Fuzzing", "Stateful"] {
        assert!(told.contains(&format!("✅ {phase}")), "{phase}: {told}");
    }
}

fn document_size(path: &Path) -> usize {
    let text = std::fs::read_to_string(path).unwrap();
    operations(&serde_json::from_str(&text).unwrap()).len()
}
