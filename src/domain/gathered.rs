//! Small pieces of a text, given on many at a time.

use std::fmt;

/// Bytes that are given on at once, about.
const ENOUGH: usize = 16 << 10;

/// Takes pieces and gives them on, in order.
pub(super) struct Gathered<T> {
    pieces: Vec<u8>,
    take: T,
}

impl<T: FnMut(&[u8])> Gathered<T> {
    /// Gives on to this.
    pub(super) fn new(take: T) -> Self {
        Self { pieces: Vec::with_capacity(2 * ENOUGH), take }
    }

    /// The next piece.
    pub(super) fn add(&mut self, piece: &[u8]) {
        self.pieces.extend_from_slice(piece);
        if ENOUGH <= self.pieces.len() {
            (self.take)(&self.pieces);
            self.pieces.clear();
        }
    }

    /// Gives on what is left.
    pub(super) fn done(mut self) {
        (self.take)(&self.pieces);
    }
}

impl<T: FnMut(&[u8])> fmt::Write for Gathered<T> {
    fn write_str(&mut self, piece: &str) -> fmt::Result {
        self.add(piece.as_bytes());
        Ok(())
    }
}
