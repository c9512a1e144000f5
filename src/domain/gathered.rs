//! Small pieces of a text, given on many at a time.

use std::fmt;

/// Bytes that are gathered; a piece of as many is given on by itself.
const ENOUGH: usize = 16 << 10;

/// Takes pieces and gives them on, in order.
pub(super) struct Gathered<T> {
    pieces: Vec<u8>,
    take: T,
}

impl<T: FnMut(&[u8])> Gathered<T> {
    /// Gives on to this.
    pub(super) fn new(take: T) -> Self {
        Self { pieces: Vec::with_capacity(ENOUGH), take }
    }

    /// The next piece.
    pub(super) fn add(&mut self, piece: &[u8]) {
        if ENOUGH < self.pieces.len() + piece.len() {
            (self.take)(&self.pieces);
            self.pieces.clear();
        }
        match piece.len() {
            0..ENOUGH => self.pieces.extend_from_slice(piece),
            _ => (self.take)(piece),
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
