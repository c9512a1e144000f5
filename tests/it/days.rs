//! Simulated days, a piece of one: the invented installer talks through the real
//! recogniser, and nothing that he did not mean is in the log.

use crate::program::{Home, models_are_there};

/// The first number on the line that begins so.
fn number(out: &str, line: &str) -> usize {
    let rest = out.lines().find_map(|l| l.strip_prefix(line)).unwrap_or_else(|| panic!("{out}"));
    let digits = rest.trim_start().split(|c: char| !c.is_ascii_digit()).next().unwrap();
    digits.parse().unwrap_or_else(|_| panic!("no number after `{line}`: {rest}"))
}

#[test]
fn a_day_in_noise_leaves_no_wrong_entry() {
    if !models_are_there() {
        return;
    }
    let home = Home::new();
    let keep = home.path("kept");
    let keep = keep.to_str().unwrap();
    let ran = home.run(["hearing", "--days", "2", "--steps", "12", "--keep", keep]);
    // Progress is told where it takes long.
    assert_eq!(ran.code, 0, "{}{}", ran.out, ran.err);
    let out = ran.out;
    assert_eq!(number(&out, "wrong entries:"), 0, "{out}");
    assert_eq!(number(&out, "walks:"), 2);
    assert!(10 <= number(&out, "entries compared:"), "{out}");
    assert!(16 <= number(&out, "steps settled:"), "{out}");
    let said = number(&out, "said to it:");
    let line = out.lines().find(|line| line.starts_with("said to it:")).unwrap();
    let understood = line.split("understood ").nth(1).unwrap().split(' ').next().unwrap();
    let understood: usize = understood.parse().unwrap();
    assert!(30 < said && said < 600, "{out}");
    assert!(said / 2 < understood && understood <= said, "{out}");
    assert!(0 < number(&out, "chatter:"), "{out}");
    // What went on can be read and heard again.
    for seed in ["walk-00001", "walk-00002"] {
        let folder = home.path("kept").join(seed);
        let words = std::fs::read_to_string(folder.join("words.txt")).unwrap();
        for part in ["all of it synthetic", "  says   ", "  crew   ", "  hears  "] {
            assert!(words.contains(part), "`{part}` is missing in:\n{words}");
        }
        assert!(folder.join("0001.wav").is_file() && folder.join("log.sqlite").is_file());
    }
}

/// The comparison is made: what was meant is changed, and the entry is told.
#[test]
fn a_wrong_entry_is_found_told_and_fails() {
    if !models_are_there() {
        return;
    }
    let home = Home::new();
    let keep = home.path("kept");
    let words = ["hearing", "--days", "1", "--steps", "2", "--spoil", "--keep"];
    let ran = home.run(words.into_iter().chain([keep.to_str().unwrap()]));
    assert_eq!(ran.code, 1, "{}{}", ran.out, ran.err);
    assert!(ran.err.contains("are not what was meant"), "{}", ran.err);
    assert!(1 <= number(&ran.out, "wrong entries:"), "{}", ran.out);
    for part in ["WRONG, seed 1: entry", "meant: ", ".wav said", "kept in "] {
        assert!(ran.out.contains(part), "`{part}` is missing in:\n{}", ran.out);
    }
}
