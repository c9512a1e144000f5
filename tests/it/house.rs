//! The rules of the house: imports point inward as the table in DEVELOPERS.md
//! says, no test file is forgotten, the change log knows the version, the top
//! level holds what was agreed.

use std::collections::BTreeMap;
use std::fs;
use std::path::{Path, PathBuf};

fn top() -> &'static Path {
    Path::new(env!("CARGO_MANIFEST_DIR"))
}

/// Module → modules it may import, from the table under "What may import what".
fn table() -> BTreeMap<String, Vec<String>> {
    let text = fs::read_to_string(top().join("DEVELOPERS.md")).unwrap();
    let section = text.split("## What may import what").nth(1).expect("the table's heading");
    let section = section.split("\n## ").next().unwrap();
    let rows = section.lines().filter(|line| line.starts_with("| `"));
    let names = |cell: &str| -> Vec<String> {
        cell.split('`').skip(1).step_by(2).map(str::to_owned).collect()
    };
    rows.map(|row| {
        let mut cells = row.trim_matches('|').split('|');
        let module = names(cells.next().unwrap()).remove(0);
        (module, names(cells.next().unwrap()))
    })
    .collect()
}

fn sources(folder: &Path, into: &mut Vec<PathBuf>) {
    for entry in fs::read_dir(folder).unwrap() {
        let path = entry.unwrap().path();
        if path.is_dir() {
            sources(&path, into);
        } else if path.extension().is_some_and(|ending| ending == "rs") {
            into.push(path);
        }
    }
}

fn module_of(path: &Path) -> String {
    let inside = path.strip_prefix(top().join("src")).unwrap();
    let first = inside.components().next().unwrap().as_os_str().to_string_lossy().into_owned();
    first.trim_end_matches(".rs").to_owned()
}

/// What a source file imports from the crate that the table does not allow.
fn forbidden(module: &str, text: &str, table: &BTreeMap<String, Vec<String>>) -> Vec<String> {
    let allowed = &table[module];
    let used = text.split("crate::").skip(1).map(|rest| {
        let end = rest.find(|c: char| !c.is_alphanumeric() && c != '_').unwrap_or(rest.len());
        rest[..end].to_owned()
    });
    used.filter(|name| name != module && !allowed.contains(name)).collect()
}

#[test]
fn imports_point_inward() {
    let table = table();
    let mut files = Vec::new();
    sources(&top().join("src"), &mut files);
    assert!(40 < files.len(), "the sources were found");
    let mut seen = 0;
    for path in files {
        let module = module_of(&path);
        if matches!(module.as_str(), "lib" | "main") {
            continue;
        }
        assert!(table.contains_key(&module), "{module} is missing in the table of DEVELOPERS.md");
        let text = fs::read_to_string(&path).unwrap();
        seen += text.matches("crate::").count();
        let wrong = forbidden(&module, &text, &table);
        assert!(wrong.is_empty(), "{} may not use crate::{}", path.display(), wrong.join(", "));
    }
    assert!(50 < seen, "imports were found");
}

#[test]
fn the_import_test_sees_what_is_forbidden() {
    let table = table();
    assert_eq!(forbidden("domain", "use crate::store::Store;", &table), ["store"]);
    assert_eq!(forbidden("measure", "use crate::domain::At;", &table), ["domain"]);
    assert!(forbidden("cli", "use crate::store::Store;", &table).is_empty());
}

/// The pure core reads no clock, no disk, no network and starts no thread.
#[test]
fn the_core_does_no_input_or_output() {
    let mut files = Vec::new();
    for module in
        ["measure", "domain", "roof", "speech", "sound", "photo", "export", "bundle", "files"]
    {
        sources(&top().join("src").join(module), &mut files);
    }
    for path in files {
        let text = fs::read_to_string(&path).unwrap();
        let code = text.split("#[cfg(test)]").next().unwrap();
        for word in
            ["std::fs", "std::net", "std::process", "std::thread", "std::env::", "Instant::now"]
        {
            assert!(!code.contains(word), "{} uses {word}", path.display());
        }
    }
}

#[test]
fn every_test_file_is_declared() {
    let declared = fs::read_to_string(top().join("tests/it/main.rs")).unwrap();
    for file in fs::read_dir(top().join("tests/it")).unwrap() {
        let path = file.unwrap().path();
        if path.extension().is_none_or(|ending| ending != "rs") {
            continue;
        }
        let name = path.file_stem().unwrap().to_string_lossy().into_owned();
        assert!(
            name == "main" || declared.contains(&format!("mod {name};")),
            "tests/it/{name}.rs is not declared in tests/it/main.rs"
        );
    }
}

#[test]
fn the_change_log_knows_this_version() {
    let text = fs::read_to_string(top().join("packaging/CHANGELOG.md")).unwrap();
    let heading = format!("## {}", env!("CARGO_PKG_VERSION"));
    assert!(text.contains(&heading), "packaging/CHANGELOG.md has no `{heading}`");
}

#[test]
fn the_top_level_holds_what_was_agreed() {
    let agreed = [
        "Cargo.toml",
        "Cargo.lock",
        "README.md",
        "DEVELOPERS.md",
        "LICENSE",
        "src",
        "checklists",
        "migrations",
        "tests",
        "packaging",
    ];
    for entry in fs::read_dir(top()).unwrap() {
        let name = entry.unwrap().file_name().to_string_lossy().into_owned();
        // Cargo's own folder is there when nobody moved it out of the checkout.
        let fine = name.starts_with('.') || name == "target" || agreed.contains(&name.as_str());
        assert!(fine, "`{name}` does not belong on the top level");
    }
}

#[test]
fn no_file_is_longer_than_a_reader() {
    let mut files = Vec::new();
    sources(&top().join("src"), &mut files);
    sources(&top().join("tests"), &mut files);
    for path in files {
        let lines = fs::read_to_string(&path).unwrap().lines().count();
        assert!(lines <= 700, "{} has {lines} lines: split it", path.display());
    }
}
