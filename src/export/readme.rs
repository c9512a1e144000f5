//! The text that tells whoever opens a bundle what each file is and how to check
//! it without this program.

use crate::domain::Record;

use super::page::Page;
use super::words;

/// `README.txt` of a bundle with these files beside it; `missing` are those that had no
/// whole file.
#[must_use]
pub fn bundle<'a>(
    record: &Record,
    files: impl Iterator<Item = &'a String>,
    missing: impl Iterator<Item = &'a String>,
) -> String {
    let job = &record.job;
    let mut page = Page::default();
    page.paragraph(0, &format!("Job {}, {}", job.number, job.address));
    if job.invented {
        page.blank();
        page.paragraph(0, words::INVENTED);
    }
    page.blank();
    page.paragraph(0, words::IS_NOT);
    page.heading("What is here");
    let mut text = page.into_string();
    let files: Vec<&str> = files.map(String::as_str).collect();
    for (name, what) in WHAT {
        if files.iter().any(|file| file.starts_with(name)) {
            text.push_str(&format!("{name:<16} {what}\n"));
        }
    }
    text.push_str(CHECK);
    if files.iter().any(|file| file.starts_with("clips/")) {
        text.push_str(CLIPS);
    }
    text.push_str(SIGNED);
    let missing: String = missing.map(|path| format!("  {path}\n")).collect();
    if !missing.is_empty() {
        text.push_str(&format!("{NOT_HERE}{missing}"));
    }
    text
}

const WHAT: [(&str, &str); 12] = [
    ("record.html", "the install record to read and print in any browser; this page has no seal"),
    ("record.pdf", "the record as one document, sealed"),
    ("record.json", "the same sealed record for programs"),
    (
        "entries.csv",
        "everything that was logged, in order, as a table; confirmed: the yes to what was read back",
    ),
    (
        "steps.csv",
        "every step as it stands now, as a table; photos kept, and files of those that are gone",
    ),
    ("materials.csv", "the materials that were worked out, as a table"),
    ("entries.jsonl", "the log of this job to the letter: one entry a line"),
    ("photos/", "photos as they are kept; the long number in a name is the file's SHA-256"),
    ("previews/", "the smaller pictures that record.html shows, named in the same way"),
    ("clips/", "sound of spoken notes; the long number is the SHA-256 of the samples"),
    ("checklists/", "the procedures that were followed, to the letter; profiles/: the product"),
    ("follow-ups.ics", "dates after the job, for any calendar"),
];

const CHECK: &str = r#"manifest.json    every file here but itself, with its SHA-256 and size in bytes,
                 signed by the device

In the tables, a cell of words that begins with = + - @, a tab, a return or an
apostrophe has one more apostrophe in front, so that no spreadsheet takes it for a
formula.

How to check it
---------------

Nothing but public tools is needed; each command is for a terminal in this folder.

The files are those that manifest.json lists (prints OK for each):

  python3 -c "import json;[print(f['sha256']+'  '+f['path']) for f in json.load(open('manifest.json'))['files']]" | sha256sum -c

An entry has the SHA-256 of its line without the line end; for line 3:

  sed -n 3p entries.jsonl | tr -d '\n' | sha256sum

It stands in entries.csv as entry_sha256. Each entry holds, as "previous", the
SHA-256 of the entry before it in the log of that device, which may be of another
job: where the numbers "seq" of two lines follow one another, the second line's
"previous" is the first one's SHA-256. The last one is chain_head in record.json.

A photo has the SHA-256 in its name:

  sha256sum photos/*
"#;

const CLIPS: &str = "
A clip has the SHA-256 of its samples, which begin at byte 45:

  tail -c +45 clips/FILE.wav | sha256sum
";

const NOT_HERE: &str = "
Not here
--------

These files, named by an entry, were missing on the device or were not what was kept
when this was written, so the numbers of files have gaps:

";

const SIGNED: &str = r#"
A pinned checklist or product profile has the SHA-256 in record.json under "pins".

Hashes show that nothing here was changed since it was written, not who wrote it.
record.json, which is also inside record.pdf, is signed by the device that logged
it: compare "device" under "log" with the fingerprint that the company gave you by
another way. `chalkhand seal check record.json` checks it; how to do so with public
tools alone stands in chalkhand's README, "Check this record yourself". manifest.json is
signed in the same way ("seal"), over its canonical JSON without that member.
`chalkhand import` checks all of it at once. None of this shows that what was logged
is true.
"#;
