//! The two halves of a check side by side, each on a thread. What is checked is
//! `export::check`'s matter.

use std::panic::resume_unwind;
use std::thread;

use crate::export::check::Hands;

/// Side by side.
#[derive(Clone, Copy, Debug)]
pub(in super::super) struct Beside;

impl Hands for Beside {
    fn both<A: Send, B: Send>(
        &self,
        one: impl FnOnce() -> A + Send,
        other: impl FnOnce() -> B + Send,
    ) -> (A, B) {
        thread::scope(|scope| {
            let one = scope.spawn(one);
            let other = other();
            // Half a check is none.
            (one.join().unwrap_or_else(|panic| resume_unwind(panic)), other)
        })
    }
}
