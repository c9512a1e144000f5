//! The invented crew's clock. It moves when the crew works, so that what the
//! record says about time is a day's work and not a minute's.

use std::cell::Cell;
use std::rc::Rc;

use anyhow::Context;
use jiff::civil::time;
use jiff::tz::TimeZone;
use jiff::{Span, Timestamp, ToSpan};

use crate::daemon;
use crate::domain::At;

/// A clock that stands still until time is said to pass.
#[derive(Clone, Debug)]
pub(in crate::cli) struct Clock {
    zone: TimeZone,
    now: Rc<Cell<Timestamp>>,
}

impl Clock {
    /// Yesterday, half past seven in the morning: whatever the crew does then
    /// is over by now.
    pub(in crate::cli) fn yesterday(zone: TimeZone) -> anyhow::Result<Self> {
        let begun = || {
            let yesterday = daemon::now(&zone).date().checked_sub(1.day()).ok()?;
            let begun = yesterday.to_datetime(time(7, 30, 0, 0));
            Some(begun.to_zoned_datetime(zone.clone()).ok()?.timestamp())
        };
        let begun = begun().context("the machine's clock is at the end of time")?;
        Ok(Self { now: Rc::new(Cell::new(begun)), zone })
    }

    pub(in crate::cli) fn now(&self) -> At {
        At::new(self.now.get(), &self.zone)
    }

    /// So many seconds of work.
    pub(in crate::cli) fn pass_s(&self, seconds: u32) {
        self.pass_ms(u64::from(seconds) * 1_000);
    }

    /// So many milliseconds of talk.
    pub(in crate::cli) fn pass_ms(&self, ms: u64) {
        let span = Span::new().milliseconds(i64::try_from(ms).unwrap_or(0));
        let now = self.now.get();
        self.now.set(now.checked_add(span).unwrap_or(now));
    }
}
