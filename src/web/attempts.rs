//! How often somebody may try: passphrases and codes, and pages at all. Pure:
//! the time comes in.

use std::collections::HashMap;
use std::net::IpAddr;

/// Wrong tries before anybody has to wait.
const FREE_TRIES: u32 = 5;
/// The first wait, in milliseconds; it doubles with each wrong try.
const FIRST_WAIT_MS: i64 = 15_000;
const LONGEST_WAIT_MS: i64 = 15 * 60_000;
/// After this time without a wrong try, earlier ones are forgotten.
const FORGOTTEN_MS: i64 = 60 * 60_000;
/// Pages an address may ask for at once, and again each second.
const MOST_PAGES: f64 = 400.0;
const PAGES_A_SECOND: f64 = 60.0;
/// Names and addresses remembered; nobody fills the memory with them.
const MOST_KNOWN: usize = 10_000;

#[derive(Clone, Copy, Debug, Default)]
struct Wrong {
    tries: u32,
    last_ms: i64,
}

impl Wrong {
    fn wait_ms(self, now_ms: i64) -> i64 {
        let doubled = self.tries.saturating_sub(FREE_TRIES);
        if self.tries < FREE_TRIES {
            return 0;
        }
        let wait = FIRST_WAIT_MS.saturating_mul(1_i64.checked_shl(doubled).unwrap_or(i64::MAX));
        let until = self.last_ms.saturating_add(wait.min(LONGEST_WAIT_MS));
        // A clock that went back lets nobody wait longer than that.
        until.saturating_sub(now_ms).clamp(0, LONGEST_WAIT_MS)
    }
}

/// Wrong tries by who and from where, pages by where from.
#[derive(Debug, Default)]
pub(super) struct Attempts {
    wrong: HashMap<String, Wrong>,
    pages: HashMap<IpAddr, (f64, i64)>,
}

impl Attempts {
    /// For how long none of these may try, in milliseconds.
    pub(super) fn wait_ms(&self, who: &[&str], now_ms: i64) -> i64 {
        let waits = who.iter().filter_map(|who| self.wrong.get(*who));
        waits.map(|wrong| wrong.wait_ms(now_ms)).max().unwrap_or(0)
    }

    /// A wrong try of all of these.
    pub(super) fn was_wrong(&mut self, who: &[&str], now_ms: i64) {
        self.wrong.retain(|_, wrong| now_ms < wrong.last_ms.saturating_add(FORGOTTEN_MS));
        for who in who {
            if self.wrong.len() < MOST_KNOWN || self.wrong.contains_key(*who) {
                let wrong = self.wrong.entry((*who).to_owned()).or_default();
                *wrong = Wrong { tries: wrong.tries.saturating_add(1), last_ms: now_ms };
            }
        }
    }

    /// A right try of these: what was wrong before is forgotten.
    pub(super) fn was_right(&mut self, who: &[&str]) {
        for who in who {
            self.wrong.remove(*who);
        }
    }

    /// Whether this address may have one more page now.
    pub(super) fn page(&mut self, from: IpAddr, now_ms: i64) -> bool {
        if MOST_KNOWN <= self.pages.len() {
            self.pages.retain(|_, (_, last_ms)| now_ms < last_ms.saturating_add(60_000));
        }
        let (left, last_ms) = self.pages.entry(from).or_insert((MOST_PAGES, now_ms));
        let passed_ms = i32::try_from(now_ms.saturating_sub(*last_ms).max(0)).unwrap_or(i32::MAX);
        let left_now = (*left + f64::from(passed_ms) / 1_000.0 * PAGES_A_SECOND).min(MOST_PAGES);
        let may = 1.0 <= left_now;
        (*left, *last_ms) = (if may { left_now - 1.0 } else { left_now }, now_ms);
        may
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn waits_double_and_end() {
        let mut attempts = Attempts::default();
        for n in 0..5 {
            assert_eq!(attempts.wait_ms(&["a", "1.2.3.4"], n), 0);
            attempts.was_wrong(&["a", "1.2.3.4"], n);
        }
        assert_eq!(attempts.wait_ms(&["a"], 4), 15_000);
        assert_eq!(attempts.wait_ms(&["b", "1.2.3.4"], 4), 15_000, "the address waits as well");
        assert_eq!(attempts.wait_ms(&["b", "1.2.3.5"], 4), 0);
        attempts.was_wrong(&["a"], 20_000);
        assert_eq!(attempts.wait_ms(&["a"], 20_000), 30_000);
        for n in 0..100 {
            attempts.was_wrong(&["a"], 20_000 + n);
        }
        assert_eq!(attempts.wait_ms(&["a"], 20_099), 900_000);
        // The clock was put back.
        assert_eq!(attempts.wait_ms(&["a"], -90_000_000), 900_000);
        attempts.was_right(&["a"]);
        assert_eq!(attempts.wait_ms(&["a"], 20_099), 0);
        attempts.was_wrong(&["b"], 20_000 + FORGOTTEN_MS);
        assert_eq!(attempts.wrong.len(), 1, "old tries are forgotten");
    }

    #[test]
    fn nobody_asks_without_end() {
        let mut attempts = Attempts::default();
        let from: IpAddr = [10, 0, 0, 1].into();
        let many = (0..1_000).filter(|_| attempts.page(from, 0)).count();
        assert_eq!(many, 400);
        assert!(attempts.page([10, 0, 0, 2].into(), 0));
        assert_eq!((0..1_000).filter(|_| attempts.page(from, 1_000)).count(), 60);
        assert_eq!((0..1_000).filter(|_| attempts.page(from, 500)).count(), 0, "back in time");
    }
}
