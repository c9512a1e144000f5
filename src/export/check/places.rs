//! Where the entries stand in the log that a signed head is of.

use crate::domain::merkle::Proofs;
use crate::domain::sealing::Head;
use crate::domain::{Hash, Json, SignedHead};

use super::entries::Read;
use super::{Part, Report};

/// What the places are looked up in.
pub(super) struct Places<'a> {
    head: Option<&'a Head>,
    /// The hashes that proofs are made of; none where they are damaged.
    nodes: Option<Vec<Hash>>,
}

impl<'a> Places<'a> {
    /// Of the log that the head was signed of, where that holds.
    pub(super) fn of(log: &Json, head: Option<&'a SignedHead>) -> Self {
        let nodes = log.get("nodes").and_then(Json::as_list);
        let read = |node: &Json| node.as_text()?.parse().ok();
        let nodes = nodes.and_then(|nodes| nodes.iter().map(read).collect());
        Self { head: head.map(|signed| &signed.head), nodes }
    }

    /// To look up one entry after another.
    pub(super) fn looked_up(&self) -> LookedUp<'_> {
        let known = self.head.zip(self.nodes.as_deref());
        let known = known.map(|(head, nodes)| (nodes, Proofs::new(head.root, head.size)));
        LookedUp { known, proof: Vec::new() }
    }

    /// Tells which entries have no place.
    pub(super) fn told(&self, report: &mut Report, all: &[&Read]) {
        let Some(head) = self.head else {
            let says = "without a head that holds, nothing shows that the entries are in the log";
            return report.add(Part::Places, false, None, says.to_owned());
        };
        if self.nodes.is_none() {
            let says = "the hashes that place the entries in the log are damaged".to_owned();
            return report.add(Part::Places, false, None, says);
        }
        // One that cannot be read was told already.
        let without = all.iter().filter_map(|read| match read {
            Ok((entry, false)) => Some(entry.seq),
            _ => None,
        });
        let says = |seq| format!("entry {seq} is not in the log that the head was signed of");
        let wrong = without.map(|seq| (Some(seq), says(seq))).collect();
        let right = format!("every entry has its place in the log of {} entries", head.size);
        report.all(Part::Places, wrong, right);
    }
}

/// Looks up one entry after another.
pub(super) struct LookedUp<'a> {
    known: Option<(&'a [Hash], Proofs)>,
    /// The proof of the last one, whose room the next one takes.
    proof: Vec<Hash>,
}

impl LookedUp<'_> {
    /// Whether the proof beside an entry shows that this leaf stands where it says.
    pub(super) fn has(&mut self, item: &Json, seq: u64, leaf: Hash) -> bool {
        let Some((nodes, proofs)) = &mut self.known else { return false };
        let Some(proof) = item.get("proof").and_then(Json::as_list) else { return false };
        self.proof.clear();
        for place in proof {
            let place = place.as_whole().and_then(|place| usize::try_from(place).ok());
            let Some(hash) = place.and_then(|place| nodes.get(place)) else { return false };
            self.proof.push(*hash);
        }
        seq.checked_sub(1).is_some_and(|index| proofs.include(index, &leaf, &self.proof))
    }
}
