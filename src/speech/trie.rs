//! Everything that may be said at a step, as one tree over tokens. Built once a
//! grammar and then only read.

use std::collections::HashMap;

use super::{Grammar, Meaning, Tokens};

/// Why no tree could be built.
#[derive(Debug, PartialEq, Eq, thiserror::Error)]
pub enum TrieError {
    /// Nothing may be said.
    #[error("nothing may be said at this step; give it a command, a number or a choice")]
    Empty,
    /// A phrase has a letter that the recogniser does not know.
    #[error("the recogniser cannot spell \"{0}\"; put it in other words")]
    CannotSpell(String),
}

/// The tree. Node 0 is its root.
pub struct Trie {
    /// Where each node's edges begin in `edges`; one more entry than nodes.
    starts: Vec<u32>,
    /// Token and the node it leads to, sorted by token inside a node.
    edges: Vec<(u32, u32)>,
    /// The meaning that ends at each node, as its place in `meanings`.
    ends: Vec<Option<u32>>,
    meanings: Vec<Meaning>,
    closers: Vec<u32>,
}

impl Trie {
    /// Spells every form of the grammar and builds the tree.
    ///
    /// # Errors
    /// When nothing may be said, or a phrase cannot be spelled.
    pub fn new(grammar: &Grammar, tokens: &Tokens) -> Result<Trie, TrieError> {
        let mut words: HashMap<String, Vec<u32>> = HashMap::new();
        let mut places: HashMap<Meaning, u32> = HashMap::new();
        let mut meanings = Vec::new();
        let mut spelled: Vec<(Vec<u32>, u32)> = Vec::new();
        for (meaning, form) in grammar.forms() {
            let place = *places.entry(meaning.clone()).or_insert_with(|| {
                meanings.push(meaning);
                u32::try_from(meanings.len().saturating_sub(1)).unwrap_or(u32::MAX)
            });
            let mut path = Vec::new();
            for word in form.split_whitespace() {
                if let Some(known) = words.get(word) {
                    path.extend_from_slice(known);
                    continue;
                }
                let Some(new) = tokens.spell_word(word) else {
                    return Err(TrieError::CannotSpell(form));
                };
                path.extend_from_slice(&new);
                words.insert(word.to_owned(), new);
            }
            if !path.is_empty() {
                spelled.push((path, place));
            }
        }
        if spelled.is_empty() {
            return Err(TrieError::Empty);
        }
        // A stable sort: of two meanings with the same words the first stays first.
        spelled.sort_by(|a, b| a.0.cmp(&b.0));
        spelled.dedup_by(|later, first| later.0 == first.0);
        let closers = [".", "!", "?", ","].iter().filter_map(|mark| tokens.piece(mark)).collect();
        let mut trie =
            Trie { starts: vec![0], edges: Vec::new(), ends: vec![None], meanings, closers };
        trie.grow(&spelled);
        Ok(trie)
    }

    /// Builds the tree level by level, so that each node's edges lie together.
    fn grow(&mut self, spelled: &[(Vec<u32>, u32)]) {
        let mut level = vec![spelled];
        let mut depth = 0;
        while !level.is_empty() {
            let mut next = Vec::new();
            let first_node = self.starts.len().saturating_sub(1);
            for (offset, group) in level.iter().enumerate() {
                let deeper = group.iter().position(|(path, _)| depth < path.len());
                if let Some((_, place)) = group.first().filter(|(path, _)| path.len() == depth)
                    && let Some(end) = self.ends.get_mut(first_node.saturating_add(offset))
                {
                    *end = Some(*place);
                }
                let rest = deeper.and_then(|at| group.get(at..)).unwrap_or_default();
                for same in rest.chunk_by(|(a, _), (b, _)| a.get(depth) == b.get(depth)) {
                    let Some(token) = same.first().and_then(|(path, _)| path.get(depth)) else {
                        continue;
                    };
                    let node = u32::try_from(self.ends.len()).unwrap_or(u32::MAX);
                    self.edges.push((*token, node));
                    self.ends.push(None);
                    next.push(same);
                }
                self.starts.push(u32::try_from(self.edges.len()).unwrap_or(u32::MAX));
            }
            level = next;
            depth = depth.saturating_add(1);
        }
    }

    /// What may follow a node: token and next node.
    pub fn after(&self, node: u32) -> &[(u32, u32)] {
        let bound = |node: u32| {
            usize::try_from(node).ok().and_then(|node| self.starts.get(node)).copied().unwrap_or(0)
        };
        let range = (usize::try_from(bound(node)), usize::try_from(bound(node.saturating_add(1))));
        let (Ok(from), Ok(to)) = range else { return &[] };
        self.edges.get(from..to).unwrap_or_default()
    }

    /// The meaning of the words that end at a node, as its place.
    pub fn ends_at(&self, node: u32) -> Option<u32> {
        usize::try_from(node).ok().and_then(|node| self.ends.get(node)).copied().flatten()
    }

    /// The meaning at a place.
    pub fn meaning(&self, place: u32) -> Option<&Meaning> {
        usize::try_from(place).ok().and_then(|place| self.meanings.get(place))
    }

    /// The marks that may close a phrase.
    pub fn closers(&self) -> &[u32] {
        &self.closers
    }

    /// How many nodes the tree has.
    pub fn nodes(&self) -> usize {
        self.ends.len()
    }
}
