//! What the log says of hearing checks and of when the ear was open.

use chalkhand::domain::{
    Because, Checked, Draft, EarOpen, Entry, Hash, HearingCheck, How, Keeps, Key, Standing, Trust,
    Verdict, WalkId, What, chain,
};
use chalkhand::export::sound;

use crate::crew::at;

fn check(noise: i32, speech: i32) -> HearingCheck {
    let verdict = |trust, because| Verdict { trust, because };
    HearingCheck {
        source: "a headset".to_owned(),
        noise_tenth_dbfs: noise,
        speech_tenth_dbfs: speech,
        phrases: Vec::new(),
        commands: verdict(Trust::Trusted, Because::Clear),
        numbers: verdict(Trust::Repeats, Because::Again),
    }
}

fn log(all: Vec<(i64, &str, What)>) -> Vec<Entry> {
    let mut entries: Vec<Entry> = Vec::new();
    for (ms, by, what) in all {
        let previous = entries.last().map_or(Hash::START, |entry| entry.hash);
        let seq = entries.len() as u64 + 1;
        let draft = Draft {
            job: "EX-0001".to_owned(),
            walk: Some(WalkId::first("practice")),
            at: at(ms),
            by: by.to_owned(),
            how: How::Program,
            confirmed: Vec::new(),
            what,
            corrects: None,
            key: Key(format!("{seq}")),
        };
        entries.push(chain::link(draft, seq, previous).unwrap().0);
    }
    entries
}

fn opened(check: Option<u64>) -> What {
    What::EarOpened { source: "a headset".to_owned(), keeps: Keeps::Notes, check }
}

const HOUR: i64 = 3_600_000;

#[test]
fn the_latest_check_of_each_person_stands() {
    let checked = |noise| What::HearingChecked(Box::new(check(noise, -300)));
    let entries = log(vec![
        (0, "One", checked(-600)),
        (HOUR, "Two", checked(-500)),
        (2 * HOUR, "One", checked(-400)),
    ]);
    let standing = Standing::of(&entries);
    let of = |by: &str| standing.hearing[by].check.noise_tenth_dbfs;
    assert_eq!((of("One"), of("Two")), (-400, -500));
    assert!(standing.walks.is_empty(), "a check begins no walk");
    let within = |by, hours_later: i64, hours| {
        standing.checked_within(by, at(hours_later * HOUR), hours).map(|checked| checked.seq)
    };
    assert_eq!(within("One", 14, 12), Some(3));
    assert_eq!(within("Two", 13, 12), Some(2));
    assert_eq!(within("Two", 14, 12), None, "too old");
    assert_eq!(within("One", 1, 12), None, "a clock was set back");
    assert_eq!(within("Three", 3, 12), None);
}

#[test]
fn what_a_check_says_ends_where_it_gets_louder() {
    for (checked, now, voice, outgrown) in [
        (-600, -540, -300, false),
        (-600, -539, -300, true),
        (-600, -900, -300, false),
        // Louder, and still 30 dB below the voice.
        (-900, -600, -300, false),
        (-900, -599, -300, true),
        // Loud already when it was checked.
        (-350, -300, -250, false),
        (-350, -280, -250, true),
    ] {
        assert_eq!(check(checked, voice).is_outgrown(now), outgrown, "{checked} {now} {voice}");
    }
    assert!(check(-450, -251).is_noisy() && !check(-450, -250).is_noisy());
}

#[test]
fn one_line_a_person_says_when_the_ear_was_open() {
    let entries = log(vec![
        (0, "One", What::HearingChecked(Box::new(check(-600, -300)))),
        (HOUR, "One", opened(Some(1))),
        (HOUR, "Two", opened(None)),
        (2 * HOUR, "One", What::EarClosed),
        (3 * HOUR, "One", opened(Some(1))),
    ]);
    let standing = Standing::of(&entries);
    let spans: Vec<_> = standing.ears.iter().map(|ear| (ear.seq, ear.closed)).collect();
    assert_eq!(spans, [(2, Some(at(2 * HOUR))), (3, None), (5, None)]);
    let checks: Vec<Checked> = standing.hearing.values().cloned().collect();
    let lines = sound::by_person(&standing.ears, &checks);
    assert_eq!(
        lines,
        [
            "Sound was listened to for One: 1970-01-01 01:00 to 02:00, from a headset, hearing \
             check 1970-01-01 00:00 (entry 1): commands trusted, numbers trusted with repeats (a \
             phrase was heard only when read again); 1970-01-01 03:00 until the program stopped, \
             which it could not log, from a headset, hearing check 1970-01-01 00:00 (entry 1): \
             commands trusted, numbers trusted with repeats (a phrase was heard only when read \
             again); kept of it: clips of spoken notes, nothing else.",
            "Sound was listened to for Two: 1970-01-01 01:00 until the program stopped, which it \
             could not log, from a headset, voice was not checked; kept of it: clips of spoken \
             notes, nothing else.",
        ]
    );
    assert!(sound::by_person(&[] as &[EarOpen], &[]).is_empty());
    let found = sound::checked(&check(-613, -5));
    assert!(found.ends_with("noise -61.3 dBFS, voice -0.5 dBFS, from a headset"), "{found}");
}
