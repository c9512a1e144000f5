//! Sealed records checked by programs of others: the very steps that the README
//! tells a stranger, with Python `rfc8785`, `jwcrypto` and `hashlib`; a PDF whose
//! attachment `pypdf` wrote.

use std::path::{Path, PathBuf};
use std::process::{Command, Output};

use chalkhand::domain::Json;
use chalkhand::export::check;
use chalkhand::files;

use crate::outside;
use crate::program::{Home, repository};

/// The script of the README, to the letter.
fn script(home: &Home) -> PathBuf {
    let readme = std::fs::read_to_string(repository("README.md")).unwrap();
    let section = readme.split("## Check this record yourself").nth(1).expect("the section");
    let code = section.split("```python\n").nth(1).expect("its script").split("```").next();
    assert!(section.contains("pip install rfc8785 jwcrypto"));
    home.write("check.py", code.unwrap())
}

fn python(folder: &Path, script: &Path, more: &[&str]) -> Output {
    Command::new(folder.join("py/bin/python")).arg(script).args(more).output().unwrap()
}

fn worked() -> (Home, String, String) {
    let home = Home::with_job();
    // Another job between, so that its entries are passed over.
    let other = Home::job_file().replace("EX-0001", "EX-0002");
    let walk = ["walk", "EX-0001", "deck-intake", "--by", "Installer Example", "--keys", "--mute"];
    home.typed(walk, "done\nfit to work\nyes\nnote\nwindy \u{1f600} \u{e4} \"q\"\nyes\n").well();
    let path = home.write("other.toml", &other);
    home.run(["job", "open", path.to_str().unwrap()]).well();
    home.typed(walk, "65\nyes\nskip\nno need\nyes\n").well();
    let path = home.path("record.json").to_str().unwrap().to_owned();
    home.run(["record", "EX-0001", "-o", &path]).well();
    let key = home.run(["seal", "key", "--json"]).well();
    let key: serde_json::Value = serde_json::from_str(&key).unwrap();
    let print = key["fingerprint"].as_str().unwrap().to_owned();
    (home, path, print)
}

fn member<'a>(json: &'a mut Json, path: &[&str]) -> &'a mut Json {
    path.iter().fold(json, |json, name| match json {
        Json::Object(members) => members.get_mut(name).unwrap(),
        Json::List(items) => &mut items[name.parse::<usize>().unwrap()],
        _ => panic!("nothing at {name}"),
    })
}

#[test]
fn the_readmes_steps_check_a_record() {
    let Some(folder) = outside::folder("a record by the README's steps") else { return };
    let (home, path, print) = worked();
    let script = script(&home);
    let ran = python(&folder, &script, &[&path, &print]);
    assert!(ran.status.success(), "{}", String::from_utf8_lossy(&ran.stderr));
    let said = String::from_utf8(ran.stdout).unwrap();
    let text = std::fs::read_to_string(&path).unwrap();
    let mut record = files::read_json(text.as_bytes()).unwrap();
    let size = member(&mut record, &["log", "head", "tree_size"]).as_whole().unwrap();
    let Json::List(entries) = member(&mut record, &["log", "entries"]) else { panic!() };
    let entries = i64::try_from(entries.len()).unwrap();
    let (hash, holds) = said.trim().split_once('\n').unwrap();
    assert_eq!(holds, format!("holds: {entries} entries of a log of {size}"));
    // The hash that this program prints, and that is on the first page.
    let ours = check::record(record.clone()).hash.unwrap();
    assert_eq!(hash, format!("record hash {ours}"));
    assert!(entries < size, "entries of another job lie between");
    // What the script has to refuse, each by another of its checks.
    let other = "kPrK_qmxVWaYVA9wwBF6Iuo3vVzz7TxHCTwXBygrS4k";
    let ran = python(&folder, &script, &[&path, other]);
    assert!(String::from_utf8_lossy(&ran.stderr).contains("signed by another key"));
    let changes: [(&[&str], Json); 4] = [
        (&["is_not"], "a changed word".into()),
        (&["log", "head", "tree_size"], Json::whole(3)),
        (&["log", "entries", "5", "entry", "by"], "Somebody Else".into()),
        (&["log", "nodes", "0"], Json::text(chalkhand::domain::Hash::of(b"x"))),
    ];
    for (place, value) in changes {
        let mut changed = record.clone();
        *member(&mut changed, place) = value;
        let spoilt = home.write("spoilt.json", &changed.canonical().unwrap());
        let ran = python(&folder, &script, &[spoilt.to_str().unwrap(), &print]);
        assert!(!ran.status.success(), "{place:?} was changed");
    }
}

/// The script finds an entry that is not where the head says, sealed again by the
/// device's own key.
#[test]
fn the_readmes_steps_find_an_entry_that_is_not_in_the_log() {
    let Some(folder) = outside::folder("an entry not in the log, by the README's steps") else {
        return;
    };
    let (home, path, print) = worked();
    let script = script(&home);
    let text = std::fs::read_to_string(&path).unwrap();
    let mut record = files::read_json(text.as_bytes()).unwrap();
    let by = ["log", "entries", "5", "entry", "by"];
    *member(&mut record, &by) = "Somebody Else".into();
    let entry = member(&mut record, &by[..4]).canonical().unwrap();
    let hash = chalkhand::domain::Hash::of(entry.as_bytes());
    *member(&mut record, &["log", "entries", "5", "sha256"]) = Json::text(hash);
    let Json::Object(members) = &mut record else { panic!() };
    members.remove("seal");
    let key = std::fs::read_to_string(home.path("data/device.key")).unwrap();
    let key = chalkhand::domain::DeviceKey::of_secret_text(&key).unwrap();
    let payload = record.canonical().unwrap();
    let seal = key.sign(chalkhand::domain::jws::Kind::Record, &payload).json();
    let Json::Object(members) = &mut record else { panic!() };
    members.insert("seal", seal);
    let forged = home.write("forged.json", &record.canonical().unwrap());
    let ran = python(&folder, &script, &[forged.to_str().unwrap(), &print]);
    let error = String::from_utf8_lossy(&ran.stderr);
    assert!(error.contains("is not in the log that was signed"), "{error}");
    let ours = home.run(["seal", "check", forged.to_str().unwrap()]);
    assert!(ours.out.contains("is not in the log that the head was signed of"), "{}", ours.out);
    ours.fails(1);
}

/// The file of the key is a JWK that others read; its thumbprint is theirs too.
#[test]
fn the_key_is_a_key_to_others() {
    let Some(folder) = outside::folder("the device key by jwcrypto") else { return };
    let (home, _, print) = worked();
    let script = home.write(
        "key.py",
        "import sys\nfrom jwcrypto import jwk\n\
         print(jwk.JWK.from_json(open(sys.argv[1]).read()).thumbprint())\n",
    );
    let file = home.path("data/device.key");
    let ran = python(&folder, &script, &[file.to_str().unwrap()]);
    assert_eq!(String::from_utf8(ran.stdout).unwrap().trim(), print);
}

#[test]
fn a_record_in_a_pdf_of_another_program_is_checked() {
    let Some(folder) = outside::folder("a PDF whose attachment pypdf wrote") else { return };
    let (home, path, print) = worked();
    let script = home.write(
        "attach.py",
        "import sys\nfrom pypdf import PdfWriter\nwriter = PdfWriter()\n\
         writer.add_blank_page(612, 792)\n\
         writer.add_attachment('record.json', open(sys.argv[1], 'rb').read())\n\
         writer.add_attachment('photo.txt', b'not a record')\n\
         writer.write(sys.argv[2])\n",
    );
    let pdf = home.path("record.pdf").to_str().unwrap().to_owned();
    let ran = python(&folder, &script, &[&path, &pdf]);
    assert!(ran.status.success(), "{}", String::from_utf8_lossy(&ran.stderr));
    // The record holds; pages of another program are told apart from its own.
    let told = home.run(["seal", "check", &pdf, "--key", &print]).out;
    assert!(told.contains("the key that was expected"), "{told}");
    let wrong: Vec<&str> = told.lines().filter(|line| line.starts_with("DOES NOT")).collect();
    assert!(wrong.len() == 1 && wrong[0].contains("pages:"), "{told}");
    let text = std::fs::read_to_string(&path).unwrap();
    let spoilt = home.write("spoilt.json", &text.replacen("windy", "rainy", 1));
    let ran = python(&folder, &script, &[spoilt.to_str().unwrap(), &pdf]);
    assert!(ran.status.success());
    home.run(["seal", "check", &pdf]).fails(1);
}
