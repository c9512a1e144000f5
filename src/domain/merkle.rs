//! The Merkle tree over a device's entries (RFC 6962 section 2.1): its root at
//! any size, proofs that an entry is in it and that an older tree begins a newer
//! one, and how such proofs are checked. Knows nothing of entries or signatures.

use sha2::{Digest, Sha256};

use super::Hash;

/// The hash of a leaf: of 0x00 and these bytes.
#[must_use]
pub fn leaf(bytes: &[u8]) -> Hash {
    Hash::new(Sha256::new_with_prefix([0]).chain_update(bytes).finalize().into())
}

/// The hash of an inner node: of 0x01 and the hashes below it.
#[must_use]
pub fn node(left: &Hash, right: &Hash) -> Hash {
    let hasher = Sha256::new_with_prefix([1]).chain_update(left.bytes());
    Hash::new(hasher.chain_update(right.bytes()).finalize().into())
}

/// A tree of some leaves, with the hash of every complete part of it.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Tree {
    /// By height: `levels[k][n]` is over the leaves from `n * 2^k` up to the next.
    levels: Vec<Vec<Hash>>,
}

impl Tree {
    /// Of the hashes of its leaves, in order.
    #[must_use]
    pub fn of(leaves: Vec<Hash>) -> Self {
        let mut levels = vec![leaves];
        while let Some(below) = levels.last().filter(|below| 1 < below.len()) {
            let pairs = below.chunks_exact(2).filter_map(|pair| match pair {
                [left, right] => Some(node(left, right)),
                _ => None,
            });
            let above = pairs.collect();
            levels.push(above);
        }
        Self { levels }
    }

    /// How many leaves it has.
    #[must_use]
    pub fn size(&self) -> u64 {
        self.levels.first().map_or(0, |leaves| leaves.len() as u64)
    }

    /// The leaf at that place, counted from 0.
    #[must_use]
    pub fn leaf(&self, index: u64) -> Option<Hash> {
        self.levels.first()?.get(usize::try_from(index).ok()?).copied()
    }

    /// The root over the first so many leaves; none where there are fewer.
    #[must_use]
    pub fn root(&self, size: u64) -> Option<Hash> {
        match size {
            0 => Some(Hash::of(b"")),
            _ => self.over(0, size),
        }
    }

    /// Proof that the leaf at `index`, counted from 0, is in the tree of the first
    /// `size` leaves: hashes from the leaf's neighbour upwards.
    #[must_use]
    pub fn inclusion(&self, index: u64, size: u64) -> Option<Vec<Hash>> {
        if size <= index || self.size() < size {
            return None;
        }
        let (mut from, mut len, mut path) = (0, size, Vec::new());
        while 1 < len {
            let left = split(len);
            if index < from + left {
                path.push(self.over(from + left, len - left)?);
                len = left;
            } else {
                path.push(self.over(from, left)?);
                (from, len) = (from + left, len - left);
            }
        }
        path.reverse();
        Some(path)
    }

    /// Proof that the tree of the first `first` leaves begins that of the first
    /// `second`.
    #[must_use]
    pub fn consistency(&self, first: u64, second: u64) -> Option<Vec<Hash>> {
        if second < first || self.size() < second {
            return None;
        }
        if first == 0 || first == second {
            return Some(Vec::new());
        }
        let (mut from, mut len, mut path) = (0, second, Vec::new());
        // Where `first` ends inside the part looked at; it is whole once they meet.
        while from + len != first {
            let left = split(len);
            if first <= from + left {
                path.push(self.over(from + left, len - left)?);
                len = left;
            } else {
                path.push(self.over(from, left)?);
                (from, len) = (from + left, len - left);
            }
        }
        // The checker knows the old root, so it is not said again.
        if 0 < from {
            path.push(self.over(from, len)?);
        }
        path.reverse();
        Some(path)
    }

    /// The hash over `len` leaves, at least one, from a place that a part of that
    /// size begins at.
    fn over(&self, from: u64, len: u64) -> Option<Hash> {
        if len.is_power_of_two() {
            let height = len.trailing_zeros();
            let level = self.levels.get(usize::try_from(height).ok()?)?;
            return level.get(usize::try_from(from >> height).ok()?).copied();
        }
        if len == 0 {
            return None;
        }
        let left = split(len);
        Some(node(&self.over(from, left)?, &self.over(from + left, len - left)?))
    }
}

/// Whether the proof shows that `leaf` stands at `index` in the tree of that size
/// and root (RFC 9162 section 2.1.3.2).
#[must_use]
pub fn includes(root: &Hash, size: u64, index: u64, leaf: &Hash, proof: &[Hash]) -> bool {
    Proofs::new(*root, size).include(index, leaf, proof)
}

/// Checks one proof after another against the same root. Where the way up meets
/// that of the last one that held, with the same hash and the same rest of the
/// proof, what follows is the same and is not computed again.
#[derive(Clone, Debug)]
pub struct Proofs {
    root: Hash,
    size: u64,
    /// The way of the last proof that held, and that proof: before its n-th hash.
    way: Vec<Stop>,
    proof: Vec<Hash>,
}

/// A part of the tree on the way from a leaf to the root, and its hash.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
struct Stop {
    height: u32,
    at: u64,
    hash: Hash,
}

impl Proofs {
    /// Against that root over so many leaves.
    #[must_use]
    pub fn new(root: Hash, size: u64) -> Self {
        Self { root, size, way: Vec::new(), proof: Vec::new() }
    }

    /// Whether the proof shows that `leaf` stands at `index` (RFC 9162 section
    /// 2.1.3.2).
    #[must_use]
    pub fn include(&mut self, index: u64, leaf: &Hash, proof: &[Hash]) -> bool {
        let Some(mut last) = self.size.checked_sub(1).filter(|last| index <= *last) else {
            return false;
        };
        let mut stop = Stop { height: 0, at: index, hash: *leaf };
        let mut way = Vec::with_capacity(proof.len());
        let mut rest = proof.iter();
        let mut before = self.way.iter().zip(0..).peekable();
        while let Some(beside) = rest.as_slice().first() {
            while before.next_if(|(known, _)| known.height < stop.height).is_some() {}
            if let Some((known, used)) = before.peek()
                && **known == stop
                && self.proof.get(*used..) == Some(rest.as_slice())
            {
                // The way of the last one leads on from here.
                let used = *used;
                self.way.splice(..used, way);
                self.proof.splice(..used, proof.iter().take(proof.len() - rest.len()).copied());
                return true;
            }
            if last == 0 {
                return false;
            }
            way.push(stop);
            if stop.at & 1 == 1 || stop.at == last {
                stop.hash = node(beside, &stop.hash);
                while stop.at & 1 == 0 && stop.at != 0 {
                    (stop.at, last, stop.height) = (stop.at >> 1, last >> 1, stop.height + 1);
                }
            } else {
                stop.hash = node(&stop.hash, beside);
            }
            (stop.at, last, stop.height) = (stop.at >> 1, last >> 1, stop.height + 1);
            rest.next();
        }
        let holds = last == 0 && stop.hash == self.root;
        if holds {
            (self.way, self.proof) = (way, proof.to_vec());
        }
        holds
    }
}

/// Whether the proof shows that the tree of size and root `first` begins the one
/// of size and root `second` (RFC 9162 section 2.1.4.2).
#[must_use]
pub fn extends(first: (u64, &Hash), second: (u64, &Hash), proof: &[Hash]) -> bool {
    let ((old, old_root), (new, new_root)) = (first, second);
    if old == new {
        return proof.is_empty() && old_root == new_root;
    }
    if old == 0 {
        return proof.is_empty() && *old_root == Hash::of(b"");
    }
    if new < old {
        return false;
    }
    let (mut at, mut last) = (old - 1, new - 1);
    while at & 1 == 1 {
        (at, last) = (at >> 1, last >> 1);
    }
    let mut rest = proof.iter();
    let start = if old.is_power_of_two() { Some(old_root) } else { rest.next() };
    let Some(start) = start else { return false };
    let (mut old_hash, mut new_hash) = (*start, *start);
    for beside in rest {
        if last == 0 {
            return false;
        }
        if at & 1 == 1 || at == last {
            old_hash = node(beside, &old_hash);
            new_hash = node(beside, &new_hash);
            while at & 1 == 0 && at != 0 {
                (at, last) = (at >> 1, last >> 1);
            }
        } else {
            new_hash = node(&new_hash, beside);
        }
        (at, last) = (at >> 1, last >> 1);
    }
    last == 0 && old_hash == *old_root && new_hash == *new_root
}

/// The largest power of two below `len`, which is at least 2.
fn split(len: u64) -> u64 {
    1 << (len - 1).ilog2()
}
