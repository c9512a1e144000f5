//! `chalkhand seal` as a person runs it: the key's file, heads of days, a log that
//! was cut or rewritten, and checking a record on a machine that has nothing else.

use std::fs;
use std::os::unix::fs::PermissionsExt as _;
use std::path::PathBuf;

use chalkhand::domain::jws::Kind;
use chalkhand::domain::{DeviceKey, Json};
use chalkhand::export::pdf::Paper;
use chalkhand::files;
use chalkhand::store::{KeyError, KeyFile};

use crate::program::Home;

const WALK: [&str; 7] =
    ["walk", "EX-0001", "deck-intake", "--by", "Installer Example", "--keys", "--mute"];
const SOME: &str = "done\nfit to work\nyes\n65\nyes\nnote\nit is windy\nyes\n";

fn worked() -> Home {
    let home = Home::with_job();
    home.typed(WALK, SOME).well();
    home
}

fn record(home: &Home) -> PathBuf {
    let path = home.path("record.json");
    home.run(["record", "EX-0001", "-o", path.to_str().unwrap()]).well();
    path
}

fn fingerprint(home: &Home) -> String {
    let told = home.run(["seal", "key"]).well();
    let line = told.lines().find(|line| line.starts_with("fingerprint")).unwrap();
    line.split_whitespace().nth(1).unwrap().to_owned()
}

fn check(home: &Home, more: &[&str]) -> crate::program::Ran {
    let path = home.path("record.json");
    home.run([&["seal", "check", path.to_str().unwrap()], more].concat())
}

fn log(home: &Home, change: &str) {
    let db = rusqlite::Connection::open(home.path("data/log.sqlite")).unwrap();
    db.execute_batch(change).unwrap();
}

#[test]
fn a_record_is_sealed_and_checked() {
    let home = worked();
    let path = record(&home);
    let print = fingerprint(&home);
    let told = check(&home, &[]).well();
    assert!(told.contains(&format!("signed by {print}; this machine's log is sealed")), "{told}");
    assert!(!told.contains("DOES NOT HOLD"), "{told}");
    let told = check(&home, &["--key", &print]).well();
    assert!(told.contains("the key that was expected"), "{told}");
    let json: serde_json::Value = serde_json::from_str(&check(&home, &["--json"]).well()).unwrap();
    assert_eq!((&json["holds"], &json["key"]), (&true.into(), &print.as_str().into()));
    // One word changed.
    let text = fs::read_to_string(&path).unwrap();
    assert!(text.contains("it is windy"));
    fs::write(&path, text.replace("it is windy", "it is calm")).unwrap();
    let ran = check(&home, &[]);
    assert!(ran.out.contains("DOES NOT HOLD   seal: the seal does not hold"), "{}", ran.out);
    let error = ran.fails(1);
    assert!(error.contains("does not hold: see from entry "), "{error}");
}

/// Pages of another version are neither held nor broken, and the last sentence
/// does not say that the record does not hold.
#[test]
fn pages_of_another_version_are_not_compared() {
    let home = worked();
    let text = fs::read_to_string(record(&home)).unwrap();
    let key = fs::read_to_string(home.path("data/device.key")).unwrap();
    let key = DeviceKey::of_secret_text(&key).unwrap();
    let Json::Object(mut members) = files::read_json(text.as_bytes()).unwrap() else { panic!() };
    members.remove("seal");
    members.insert("made_by", "chalkhand 0.0.1".into());
    let payload = Json::Object(members.clone()).canonical().unwrap();
    members.insert("seal", key.sign(Kind::Record, &payload).json());
    let old = Json::Object(members);
    let text = chalkhand::export::json::pretty(&old);
    let pdf = chalkhand::export::pdf::record(&text, &old, |_| None, Paper::Letter).unwrap();
    let path = home.path("old.pdf");
    fs::write(&path, pdf).unwrap();
    let path = path.to_str().unwrap();
    let ran = home.run(["seal", "check", path]);
    assert!(ran.out.contains("NOT COMPARED    pages: chalkhand 0.0.1 made them"), "{}", ran.out);
    assert!(!ran.out.contains("DOES NOT HOLD"), "{}", ran.out);
    let error = ran.fails(1);
    assert!(error.contains("holds, and its pages were not compared"), "{error}");
    let json = home.run(["seal", "check", path, "--json"]).out;
    let json: serde_json::Value = serde_json::from_str(&json).unwrap();
    let of = |part: &str| {
        let all = json["findings"].as_array().unwrap();
        all.iter().find(|finding| finding["part"] == part).unwrap()["state"].clone()
    };
    assert_eq!((of("pages"), of("seal")), ("not compared".into(), "holds".into()));
    // Another key is another matter.
    let other = DeviceKey::of(&[7; 32]).public().fingerprint().to_string();
    let error = home.run(["seal", "check", path, "--key", &other]).fails(1);
    assert!(error.contains("does not hold; do not rely on it"), "{error}");
}

/// Nothing is set up there, and nothing is made.
#[test]
fn a_record_is_checked_on_a_machine_that_has_nothing() {
    let home = worked();
    let (path, print) = (record(&home), fingerprint(&home));
    let empty = Home::new();
    let run =
        |more: &[&str]| empty.run([&["seal", "check", path.to_str().unwrap()], more].concat());
    let told = run(&[]).well();
    let compare = format!("signed by {print}: compare with the fingerprint the company gave you");
    assert!(told.contains(&compare) && told.contains("NOT COMPARED    key: "), "{told}");
    assert!(told.contains("holds only if that fingerprint is the company's"), "{told}");
    let page = empty.write("record.html", "\n<!DOCTYPE html>");
    let error = empty.run(["seal", "check", page.to_str().unwrap()]).fails(1);
    assert!(error.contains("is a page and has no seal: check the .pdf or the .json"), "{error}");
    run(&["--key", &print]).well();
    assert!(!empty.path("data").exists(), "a check leaves nothing behind");
    let other = DeviceKey::of(&[7; 32]).public().fingerprint().to_string();
    let ran = run(&["--key", &other]);
    assert!(ran.out.contains("not by the expected key"), "{}", ran.out);
    ran.fails(1);
    run(&["--key", "abc"]).fails(2);
    let mut command = empty.command(["seal", "check", path.to_str().unwrap()]);
    let homeless = command.env_clear().output().unwrap();
    assert!(homeless.status.success());
    let mut bare = std::process::Command::new(env!("CARGO_BIN_EXE_chalkhand"));
    let bare = bare.args(["seal", "check"]).arg(&path).env_clear().output().unwrap();
    assert!(bare.status.success(), "{}", String::from_utf8_lossy(&bare.stderr));
    for (name, text) in [("no.json", "no"), ("no.pdf", "%PDF-1.7 no")] {
        let file = empty.write(name, text);
        let error = empty.run(["seal", "check", file.to_str().unwrap()]).fails(1);
        assert!(error.contains("was not checked"), "{error}");
    }
    empty.run(["seal", "check", "nowhere.json"]).fails(1);
}

#[test]
fn the_key_is_its_owners_alone() {
    let home = Home::new();
    home.run(["job", "list"]).well();
    let path = home.path("data/device.key");
    let mode = || fs::metadata(&path).unwrap().permissions().mode() & 0o777;
    assert_eq!(mode(), 0o600, "made at the first start");
    let kept = fs::read_to_string(&path).unwrap();
    let secret = kept.split("\"d\":\"").nth(1).unwrap().split('"').next().unwrap();
    let said = [
        home.run(["seal", "key"]).well(),
        home.run(["seal", "key", "--json"]).well(),
        home.run(["doctor"]).out,
    ];
    assert!(said.iter().all(|said| !said.contains(secret)), "the secret is printed");
    let db = fs::read(home.path("data/log.sqlite")).unwrap();
    assert!(!db.windows(secret.len()).any(|part| part == secret.as_bytes()));
    assert_eq!(fs::read_to_string(&path).unwrap(), kept, "never written again");
    // What others can read is refused, and so is what is damaged or another's.
    fs::set_permissions(&path, fs::Permissions::from_mode(0o640)).unwrap();
    let error = home.run(["seal", "key"]).fails(1);
    assert!(error.contains("can be read by others (mode 640)"), "{error}");
    fs::set_permissions(&path, fs::Permissions::from_mode(0o600)).unwrap();
    for wrong in [kept.replace(secret, "AAAA"), String::new(), "x".repeat(10_000)] {
        fs::write(&path, wrong).unwrap();
        let error = home.run(["seal", "key"]).fails(1);
        assert!(error.contains("is damaged"), "{error}");
        assert!(!error.contains(secret), "{error}");
    }
    fs::write(&path, DeviceKey::of(&[7; 32]).secret_text()).unwrap();
    let error = home.run(["seal", "key"]).fails(1);
    assert!(error.contains("is not the key this log is sealed with"), "{error}");
    fs::remove_file(&path).unwrap();
    let error = home.run(["seal", "key"]).fails(1);
    assert!(error.contains("is missing: put it back from the backup"), "{error}");
    assert!(!path.exists(), "no other key is made in its place");
    // Work goes on without it.
    home.run(["job", "list"]).well();
    fs::write(&path, &kept).unwrap();
    fs::set_permissions(&path, fs::Permissions::from_mode(0o600)).unwrap();
    home.run(["seal", "key"]).well();
}

#[test]
fn a_key_is_never_overwritten() {
    let folder = tempfile::tempdir().unwrap();
    let file = KeyFile::of(folder.path());
    assert!(file.read().unwrap().is_none());
    let key = file.make().unwrap();
    assert!(matches!(file.make(), Err(KeyError::Exists { .. })));
    let again = file.read().unwrap().unwrap();
    assert_eq!(again.public(), key.public());
    let names: Vec<_> = fs::read_dir(folder.path()).unwrap().flatten().collect();
    assert_eq!(names.len(), 1, "nothing half-written stays behind: {names:?}");
    let other = tempfile::tempdir().unwrap();
    let second = KeyFile::of(other.path()).make().unwrap();
    assert_ne!(second.public(), key.public(), "each device has its own");
    assert!(KeyFile::of(&folder.path().join("nowhere")).make().is_err());
}

/// Two programs that start at once on a new folder end up with one key.
#[test]
fn two_first_starts_make_one_key() {
    let home = Home::new();
    let prints: Vec<String> = std::thread::scope(|scope| {
        let runs: Vec<_> = (0..6).map(|_| scope.spawn(|| fingerprint(&home))).collect();
        runs.into_iter().map(|run| run.join().unwrap()).collect()
    });
    assert!(prints.iter().all(|print| *print == prints[0]), "{prints:?}");
}

#[test]
fn a_replaced_key_is_announced_and_old_seals_stand() {
    let home = worked();
    let (old_path, first) = (record(&home), fingerprint(&home));
    let kept = home.path("old.json");
    fs::rename(old_path, &kept).unwrap();
    let replace = ["seal", "key", "--replace", "the laptop was sold", "--by", "Office Example"];
    home.run(&replace[..4]).fails(2);
    let told = home.run(replace).well();
    assert!(told.contains(&format!("before       {first}, since ")), "{told}");
    let second = fingerprint(&home);
    assert_ne!(first, second);
    let beside = home.path(&format!("data/device-{first}.key"));
    assert_eq!(fs::metadata(&beside).unwrap().permissions().mode() & 0o777, 0o600);
    let told = home.run(["seal", "check", kept.to_str().unwrap()]).well();
    assert!(told.contains("this machine's log was sealed with it before"), "{told}");
    // The new record carries the announcement: who knows the old key is led on.
    record(&home);
    let told = check(&home, &["--key", &first]).well();
    let led = format!("signed by {second}, which took the place of the expected key {first}");
    assert!(told.contains(&led), "{told}");
    // A third one without the second at hand is not vouched for by it.
    fs::remove_file(home.path("data/device.key")).unwrap();
    home.run(replace).well();
    record(&home);
    let ran = check(&home, &["--key", &first]);
    assert!(ran.out.contains("not by the expected key"), "{}", ran.out);
    ran.fails(1);
    check(&home, &["--key", &fingerprint(&home)]).well();
}

/// Stopped between the announcement and the new file: the next start ends it.
#[test]
fn an_interrupted_replacement_is_ended() {
    let home = worked();
    let data = home.path("data");
    home.run(["seal", "key", "--replace", "lost", "--by", "Office Example"]).well();
    let second = fingerprint(&home);
    let first = fs::read_dir(&data)
        .unwrap()
        .flatten()
        .find(|entry| entry.file_name().to_string_lossy().starts_with("device-"));
    // As it was before the last rename.
    fs::rename(data.join("device.key"), data.join(format!(".device.key.{second}.part"))).unwrap();
    fs::copy(first.unwrap().path(), data.join("device.key")).unwrap();
    assert_eq!(fingerprint(&home), second);
}

#[test]
fn a_day_has_a_head_and_the_log_is_held_against_it() {
    let home = worked();
    let today = home.run(["seal", "day"]).well();
    assert_eq!(home.run(["seal", "day"]).well(), today, "made once");
    let kept = home.write("head.txt", &format!("From: office\n\n{today}\nregards\n"));
    let since = || home.run(["seal", "since", kept.to_str().unwrap()]);
    let told = since().well();
    assert!(told.contains("the log holds") && told.contains("; 0 were added since"), "{told}");
    home.typed(WALK, "note\nstill windy\nyes\n").well();
    let told = since().well();
    assert!(told.contains("unchanged and in order; "), "{told}");
    assert!(!told.contains("; 0 were added"), "{told}");
    let more = home.run(["seal", "day"]).well();
    assert_ne!(more, today, "the day reaches further now");
    since().well();
    let none = home.run(["seal", "day", "1999-01-01"]).fails(1);
    assert!(none.contains("nothing was logged on 1999-01-01"), "{none}");
    home.run(["seal", "day", "soon"]).fails(1);
    let stranger = Home::with_job();
    let error = stranger.run(["seal", "since", kept.to_str().unwrap()]).fails(1);
    assert!(error.contains("this log was never sealed by it"), "{error}");
    let json: serde_json::Value =
        serde_json::from_str(&home.run(["seal", "since", kept.to_str().unwrap(), "--json"]).well())
            .unwrap();
    assert!(!json["proof"].as_array().unwrap().is_empty(), "{json}");
    assert_ne!(json["first"]["tree_size"], json["second"]["tree_size"]);
}

/// What the chain alone cannot show: its end was cut off, or all of it was made
/// anew.
#[test]
fn a_cut_or_rewritten_log_is_seen() {
    let home = worked();
    let record = record(&home);
    let head = home.run(["seal", "day", "--json"]).well();
    let head = home.write("head.json", &head);
    let since = |path: &PathBuf| home.run(["seal", "since", path.to_str().unwrap()]);
    let db = rusqlite::Connection::open(home.path("data/log.sqlite")).unwrap();
    let count = |sql: &str| db.query_row(sql, [], |row| row.get::<_, u64>(0)).unwrap();
    let was = count("select count(*) from entry");
    log(
        &home,
        "drop trigger entry_is_never_deleted;
         delete from entry where seq > (select max(seq) - 2 from entry)",
    );
    home.run(["day"]).well();
    let ran = since(&head);
    let cut = format!("it had {was} entries and now it has {}: entries {}", was - 2, was - 1);
    assert!(ran.out.contains("the log was cut") && ran.out.contains(&cut), "{}", ran.out);
    ran.fails(1);
    // Its own kept heads show it too, where those are still there.
    let doctor = home.run(["doctor"]);
    assert!(doctor.out.contains("the log was cut"), "{}", doctor.out);
    doctor.fails(1);
    // Others took their place: as many as before, and the chain holds.
    home.typed(WALK, "note\nall is well\nyes\nnote\nnothing to see\nyes\nnote\nmore\nyes\n").well();
    assert!(was <= count("select count(*) from entry"));
    for (kept, words) in [(&head, "the log was rewritten"), (&record, "is the first of the record")]
    {
        let ran = since(kept);
        assert!(ran.out.contains(words), "{}", ran.out);
        ran.fails(1);
    }
    // Changed in place, the chain names the entry itself.
    log(
        &home,
        "drop trigger entry_is_never_updated;
         update entry set body = replace(body, 'IRC 2021', 'IRC 1999') where seq = 4",
    );
    let error = since(&head).fails(3);
    assert!(error.contains("entry 4 was changed"), "{error}");
    let path = home.path("r.json");
    let error = home.run(["record", "EX-0001", "-o", path.to_str().unwrap()]).fails(3);
    assert!(error.contains("entry 4 was changed"), "{error}");
    assert!(!path.exists(), "nothing is sealed");
}

#[test]
fn keys_and_heads_are_added_only() {
    let home = worked();
    home.run(["seal", "day"]).well();
    let db = rusqlite::Connection::open(home.path("data/log.sqlite")).unwrap();
    let key = "into device_key select number";
    for (sql, trigger) in [
        ("update device_key set x = 'x'".to_owned(), "device_key_is_never_updated"),
        ("delete from device_key".to_owned(), "device_key_is_never_deleted"),
        (
            format!("insert or replace {key} + 1, fingerprint, x, since_at, 'x' from device_key"),
            "device_key_is_never_replaced",
        ),
        (
            format!("insert {key} + 2, 'new', x, since_at, 'x' from device_key"),
            "device_key_follows_the_last",
        ),
        ("update day_head set jws = 'x'".to_owned(), "day_head_is_never_updated"),
        ("delete from day_head".to_owned(), "day_head_is_never_deleted"),
        (
            "insert or replace into day_head select day, tree_size, root_sha256, 'x' from day_head"
                .to_owned(),
            "day_head_is_never_replaced",
        ),
    ] {
        let refused = db.execute(&sql, []).expect_err(&sql).to_string();
        assert!(refused.contains("never") || refused.contains("without a gap"), "{sql}: {refused}");
        let without = db.unchecked_transaction().unwrap();
        without.execute_batch(&format!("drop trigger {trigger}")).unwrap();
        assert_ne!(without.execute(&sql, []).unwrap(), 0, "{trigger} is not what refuses {sql}");
        without.rollback().unwrap();
    }
}

/// What the tree is made of is held against the chain on the way.
#[test]
fn no_tree_is_made_of_a_broken_chain() {
    use chalkhand::domain::{Hash, merkle};
    let (_folder, mut store) = crate::store::fresh();
    for n in 1..=5 {
        store.append(&crate::drafts::note("J-1", &n.to_string()), None).unwrap();
    }
    let bodies: Vec<String> = {
        let mut all = store.raw().prepare("select body from entry order by seq").unwrap();
        all.query_map([], |row| row.get(0)).unwrap().flatten().collect()
    };
    let leaves: Vec<Hash> = bodies.iter().map(|body| merkle::leaf(body.as_bytes())).collect();
    assert_eq!(store.leaves().unwrap(), leaves);
    let triggers = "drop trigger entry_is_never_updated; drop trigger entry_is_never_deleted";
    store.raw().execute_batch(triggers).unwrap();
    let other = bodies[2].replace("note 3", "note 9");
    let hash = Hash::of(other.as_bytes());
    for (change, words) in [
        (format!("update entry set body = '{other}' where seq = 3"), "entry 3 was changed"),
        (
            format!("update entry set body = '{other}', sha256 = '{hash}' where seq = 3"),
            "entry 4 does not follow",
        ),
        ("delete from entry where seq = 3".to_owned(), "entry 3 is missing"),
    ] {
        let tried = store.raw().unchecked_transaction().unwrap();
        tried.execute_batch(&change).unwrap();
        let error = format!("{:#}", anyhow::Error::from(store.leaves().unwrap_err()));
        assert!(error.contains(words), "{error}");
        tried.rollback().unwrap();
    }
    store.leaves().unwrap();
}
