//! Checks by programs of others, pinned in a folder that `CHALKHAND_OUTSIDE`
//! names: a virtual environment `py/` and `node_modules/`. Without it the tests
//! that need one say so and check by other means.

use std::io::Write as _;
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};

/// The folder with the outside programs; prints why a check is left out.
#[expect(clippy::print_stderr, reason = "a check that was left out has to be seen")]
pub(crate) fn folder(check: &str) -> Option<PathBuf> {
    let folder = std::env::var_os("CHALKHAND_OUTSIDE").map(PathBuf::from);
    if folder.is_none() {
        eprintln!(
            "left out: {check}; CHALKHAND_OUTSIDE names no folder with py/ and node_modules/"
        );
    }
    folder
}

/// Runs a script of `tests/it/outside/` on a text and gives what it printed.
pub(crate) fn run(folder: &Path, script: &str, input: &str) -> String {
    let path = PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("tests/it/outside").join(script);
    let program = match script.ends_with(".py") {
        true => folder.join("py/bin/python"),
        false => PathBuf::from("node"),
    };
    let mut command = Command::new(program);
    command.arg(path).env("CHALKHAND_OUTSIDE", folder);
    fed(command, script, input)
}

/// Runs a program on a text and gives what it printed.
pub(crate) fn run_program(program: &Path, input: &str) -> String {
    fed(Command::new(program), &program.display().to_string(), input)
}

fn fed(mut command: Command, name: &str, input: &str) -> String {
    let mut child = command.stdin(Stdio::piped()).stdout(Stdio::piped()).spawn().unwrap();
    let mut stdin = child.stdin.take().unwrap();
    let text = input.to_owned();
    let feed = std::thread::spawn(move || stdin.write_all(text.as_bytes()).unwrap());
    let out = child.wait_with_output().unwrap();
    feed.join().unwrap();
    assert!(out.status.success(), "{name} failed: {}", String::from_utf8_lossy(&out.stdout));
    String::from_utf8(out.stdout).unwrap()
}
