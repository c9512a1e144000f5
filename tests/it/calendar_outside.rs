//! The calendar file in programs of others: `libical` with its own table of
//! what RFC 5545 and RFC 5546 allow, `khal`, and the calendar server `radicale`.

use std::path::{Path, PathBuf};
use std::process::Command;

use chalkhand::domain::Due;
use chalkhand::export::calendar::{Dates, For, calendar};

use super::{example, outside};

fn text(due: &[Due], what_for: For<'_>) -> String {
    let (job, zone) = (example::job(), example::zone());
    calendar(&[Dates { job: &job, zone: &zone, due }], what_for).unwrap()
}

const FROM: For<'_> = For::File(Some("mailto:office@example.com"));

/// A date in winter and one in summer; the second is cancelled.
fn dates() -> Vec<Due> {
    let mut due = example::due();
    due[0].start = "2027-01-15T09:00:00.000-05:00".parse().unwrap();
    due[1].cancelled_because = Some("sold".to_owned());
    due[1].sequence = 3;
    due
}

/// The program that reads with libical, and the folder it lies in.
pub(crate) fn libical() -> Option<(tempfile::TempDir, PathBuf)> {
    outside::folder("the calendar in libical")?;
    let folder = tempfile::tempdir().unwrap();
    let program = folder.path().join("read_ics");
    let source = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/it/outside/read_ics.c");
    let built = Command::new("gcc").arg("-o").arg(&program).arg(source).arg("-lical").status();
    assert!(built.unwrap().success(), "libical-dev is needed; packaging/test installs it");
    Some((folder, program))
}

/// Debian's libical 3.0.16 finds no fault by its own restriction table, and the
/// instants by the file's own VTIMEZONE.
#[test]
fn libical_finds_no_fault() {
    let Some((_folder, program)) = libical() else { return };
    let due = dates();
    let stands = format!("{} 20270115T140000Z 60 min, sequence 0, stands\n", due[0].uid);
    let cancelled = format!("{} 20270715T130000Z 60 min, sequence 3, cancelled\n", due[1].uid);
    for (text, expected) in [
        (text(&due, FROM), format!("faults 0\n{stands}{cancelled}")),
        (text(&due, For::File(None)), format!("faults 0\n{stands}{cancelled}")),
        (text(&due, For::Feed("Follow-ups")), format!("faults 0\n{stands}{cancelled}")),
        (text(&due[1..], FROM), format!("faults 0\n{cancelled}")),
    ] {
        assert_eq!(outside::run_program(&program, &text), expected, "{text}");
    }
    // The table is looked at: a METHOD without an ORGANIZER is a fault.
    let without = text(&due, FROM).replace("ORGANIZER:mailto:office@example.com\r\n", "");
    let found = outside::run_program(&program, &without);
    assert!(!found.starts_with("faults 0\n"), "{found}");
}

/// Debian's khal 0.10.5 imports the file and lists the dates at New York's time.
#[test]
fn khal_lists_the_dates() {
    let Some(folder) = outside::folder("the calendar in khal") else { return };
    let due = dates();
    let listed = outside::run(&folder, "khal.py", &text(&due, For::File(None)));
    let expected = [
        format!("2027-01-15 09:00 1h {} CONFIRMED", due[0].uid),
        format!("2027-07-15 09:00 1h {} CANCELLED", due[1].uid),
    ];
    assert_eq!(listed.trim().lines().collect::<Vec<_>>(), expected);
}

/// radicale 3.9.0 takes a date by PUT and gives it back, then the moved one in
/// its place, then the cancelled one.
#[test]
fn a_calendar_server_takes_changes() {
    let Some(folder) = outside::folder("the calendar on the server radicale") else { return };
    let mut due = dates();
    due.truncate(1);
    let first = text(&due, For::File(None));
    due[0].start = "2027-01-18T10:00:00.000-05:00".parse().unwrap();
    (due[0].sequence, due[0].moved_because) = (1, Some("snow".to_owned()));
    let moved = text(&due, For::File(None));
    (due[0].sequence, due[0].cancelled_because) = (2, Some("sold".to_owned()));
    let cancelled = text(&due, For::File(None));
    let texts = serde_json::to_string(&[first, moved, cancelled]).unwrap();
    let read = outside::run(&folder, "caldav.py", &texts);
    let read: serde_json::Value = serde_json::from_str(&read).unwrap();
    assert_eq!(read["files"], 1, "each takes the place of the one before");
    let expected = [
        (0, "CONFIRMED", "2027-01-15T09:00:00-05:00"),
        (1, "CONFIRMED", "2027-01-18T10:00:00-05:00"),
        (2, "CANCELLED", "2027-01-18T10:00:00-05:00"),
    ];
    for (found, (sequence, status, start)) in read["found"].as_array().unwrap().iter().zip(expected)
    {
        assert_eq!(found["same"], true, "{found}");
        assert_eq!(found["uid"], due[0].uid.as_str());
        assert_eq!(found["sequence"], sequence);
        assert_eq!(found["status"], status);
        assert_eq!(found["start"], start);
        assert_eq!(found["zones"][0], "America/New_York");
    }
}
