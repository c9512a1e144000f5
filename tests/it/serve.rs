//! The daemon as a process: watched folders, health, an orderly end.

use std::io::{BufRead as _, BufReader, Read as _, Write as _};
use std::net::TcpStream;
use std::process::{Child, ChildStdout, Command};
use std::sync::mpsc::{Receiver, channel};
use std::time::Duration;

use crate::program::{Home, repository};

pub(crate) struct Daemon {
    child: Child,
    lines: Receiver<String>,
    pub(crate) page: String,
}

impl Daemon {
    pub(crate) fn start(home: &Home) -> Self {
        Self::listening(home, "127.0.0.1")
    }

    /// At that address of the machine.
    pub(crate) fn listening(home: &Home, address: &str) -> Self {
        let words = ["serve", "--port", "0", "--listen", address];
        Self::of(home.command(words))
    }

    /// By this command.
    pub(crate) fn of(mut command: Command) -> Self {
        let mut child = command.spawn().unwrap();
        let lines = lines(child.stdout.take().unwrap());
        let first = lines.recv_timeout(Duration::from_secs(20)).expect("the daemon speaks");
        let page = first.split("://").nth(1).unwrap().trim_end_matches('/').to_owned();
        Self { child, lines, page }
    }

    /// Waits for a line that holds all of these parts.
    pub(crate) fn says(&self, parts: &[&str]) -> String {
        let mut seen = String::new();
        loop {
            let Ok(line) = self.lines.recv_timeout(Duration::from_secs(10)) else {
                panic!("no line with {parts:?} in:\n{seen}");
            };
            seen.push_str(&line);
            seen.push('\n');
            if parts.iter().all(|part| seen.contains(part)) {
                return seen;
            }
        }
    }

    pub(crate) fn get(&self, path: &str) -> String {
        self.get_with(path, "")
    }

    /// With these header lines, each with its end.
    pub(crate) fn get_with(&self, path: &str, headers: &str) -> String {
        self.ask("GET", path, headers, "")
    }

    pub(crate) fn ask(&self, method: &str, path: &str, headers: &str, body: &str) -> String {
        self.raw(&format!(
            "{method} {path} HTTP/1.1\r\nHost: {}\r\n{headers}Connection: close\r\n\r\n{body}",
            self.page
        ))
    }

    /// Exactly this request.
    pub(crate) fn raw(&self, request: &str) -> String {
        let mut stream = TcpStream::connect(&self.page).unwrap();
        stream.write_all(request.as_bytes()).unwrap();
        let mut answer = String::new();
        stream.read_to_string(&mut answer).unwrap();
        answer
    }
}

impl Drop for Daemon {
    fn drop(&mut self) {
        // It may have ended already.
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

fn lines(out: ChildStdout) -> Receiver<String> {
    let (to, lines) = channel();
    std::thread::spawn(move || {
        for line in BufReader::new(out).lines().map_while(Result::ok) {
            if to.send(line).is_err() {
                return;
            }
        }
    });
    lines
}

#[test]
fn good_files_are_offered_changed_ones_refused_broken_ones_told() {
    let home = Home::with_job();
    let daemon = Daemon::start(&home);
    let shipped = std::fs::read_to_string(repository("checklists/deck-intake.toml")).unwrap();
    daemon.says(&["watching"]);

    let newer = shipped.replace("version = \"1.3.0\"", "version = \"1.4.0\"");
    std::fs::write(home.path("data/checklists/deck-intake.toml"), &newer).unwrap();
    daemon.says(&["deck-intake 1.4.0: offered", "chalkhand checklist adopt"]);

    let changed = format!("{shipped}# changed\n");
    std::fs::write(home.path("data/checklists/deck-intake.toml"), changed).unwrap();
    daemon.says(&["deck-intake 1.3.0: refused", "give the changed file a new version"]);

    std::fs::write(home.path("data/checklists/deck-intake.toml"), "id = \"deck").unwrap();
    daemon.says(&["broken", "deck-intake.toml:1:"]);

    // The last good version stays in use.
    let list = home.run(["checklist", "list"]).well();
    assert!(list.contains("deck-intake              1.3.0"), "{list}");
    assert!(list.contains("broken"), "{list}");
    assert!(home.run(["job", "show", "EX-0001"]).well().contains("deck-intake@1.3.0"));

    let health = daemon.get("/health");
    assert!(health.starts_with("HTTP/1.1 200"), "{health}");
    assert!(health.contains("\"verdict\":\"broken\""), "{health}");
    assert!(daemon.get("/nosuch").starts_with("HTTP/1.1 404"));
}

#[test]
fn it_ends_in_order_and_says_so() {
    let home = Home::new();
    let mut daemon = Daemon::start(&home);
    daemon.says(&["watching"]);
    let pid = daemon.child.id().to_string();
    let killed = std::process::Command::new("kill").args(["-TERM", &pid]).status().unwrap();
    assert!(killed.success());
    daemon.says(&["everything that was logged is on the disk"]);
    assert_eq!(daemon.child.wait().unwrap().code(), Some(0));
}

#[test]
fn a_taken_port_is_named() {
    let home = Home::new();
    let daemon = Daemon::start(&home);
    let port = daemon.page.rsplit(':').next().unwrap();
    let err = home.run(["serve", "--port", port]).fails(1);
    assert!(err.contains("is taken") && err.contains("--port"), "{err}");
}
