//! The search along the tree, and beside it the model's own free hypothesis, in
//! one batch a step. It keeps the books; the model's steps come in as [`Steps`].

use std::collections::BTreeMap;

use super::{Tokens, Trie};

/// A model that can be asked what comes next.
pub trait Steps {
    /// What stopped the model.
    type Error;

    /// Forgets what was said and asks for the first token.
    ///
    /// # Errors
    /// When the model fails.
    fn begin(&mut self) -> Result<Row, Self::Error>;

    /// Goes on from rows of the last answer (`parents`), each with its next
    /// token; answers with one row for each.
    ///
    /// # Errors
    /// When the model fails.
    fn advance(&mut self, parents: &[usize], tokens: &[u32]) -> Result<Vec<Row>, Self::Error>;
}

/// The model's opinion on the next token.
pub struct Row {
    logits: Vec<f32>,
    total: f32,
    best: u32,
}

impl Row {
    /// Takes the model's raw numbers, one a token.
    pub fn new(logits: Vec<f32>) -> Row {
        let (mut best, mut top) = (0, f32::NEG_INFINITY);
        for (token, logit) in logits.iter().enumerate() {
            if top < *logit {
                (best, top) = (token, *logit);
            }
        }
        let sum: f32 = logits.iter().map(|logit| (logit - top).exp()).sum();
        let best = u32::try_from(best).unwrap_or(Tokens::END);
        Row { total: top + sum.ln(), logits, best }
    }

    /// The log-probability of a token, in nats.
    pub fn log_p(&self, token: u32) -> f32 {
        usize::try_from(token)
            .ok()
            .and_then(|token| self.logits.get(token))
            .map_or(f32::NEG_INFINITY, |logit| logit - self.total)
    }

    /// The likeliest token.
    pub fn best(&self) -> u32 {
        self.best
    }
}

/// How wide and how long the search goes.
#[derive(Clone, Debug)]
pub struct Search {
    /// Hypotheses kept at each step.
    pub width: usize,
    /// A hypothesis this far below a finished one is dropped, in nats. It bounds
    /// the distance that can be told between two meanings.
    pub margin: f32,
    /// A hypothesis this far below the leading one is dropped, in nats.
    pub lag: f32,
    /// The most tokens of a phrase.
    pub most_tokens: usize,
    /// The most tokens of the free hypothesis.
    pub most_free: usize,
}

impl Default for Search {
    fn default() -> Self {
        Search { width: 6, margin: 3.5, lag: 6.0, most_tokens: 24, most_free: 48 }
    }
}

/// One meaning that the search reached.
#[derive(Clone, Debug, PartialEq)]
pub struct Hit {
    /// The meaning's place in the tree.
    pub place: u32,
    /// The log-probability of all its forms together, in nats.
    pub log_p: f32,
    /// The log-probability of its likeliest form, in nats.
    pub best_log_p: f32,
    /// The likeliest form.
    pub tokens: Vec<u32>,
}

/// What a search found.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Found {
    /// The meanings reached, likeliest first.
    pub hits: Vec<Hit>,
    /// The free hypothesis, its end mark left out.
    pub free: Vec<u32>,
    /// The log-probability of the free hypothesis, in nats.
    pub free_log_p: f32,
    /// The tokens that were paid for in it, end mark included.
    pub free_count: usize,
}

#[derive(Clone)]
struct Path {
    log_p: f32,
    node: u32,
    tokens: Vec<u32>,
    closed: bool,
}

struct Next {
    path: Path,
    row: usize,
    token: u32,
}

struct Free {
    row: Option<usize>,
    tokens: Vec<u32>,
    log_p: f32,
    count: usize,
}

/// Follows the tree and the free hypothesis to their ends.
///
/// # Errors
/// When the model fails.
pub fn search<S: Steps>(model: &mut S, trie: &Trie, rules: &Search) -> Result<Found, S::Error> {
    let mut rows = vec![model.begin()?];
    let mut paths = vec![Path { log_p: 0.0, node: 0, tokens: Vec::new(), closed: false }];
    let mut free = Free { row: Some(0), tokens: Vec::new(), log_p: 0.0, count: 0 };
    let mut hits: BTreeMap<u32, Hit> = BTreeMap::new();
    loop {
        let mut next = Vec::new();
        for (at, path) in paths.iter().enumerate() {
            let Some(row) = rows.get(at) else { continue };
            grow(path, at, row, trie, &mut next, &mut hits);
        }
        let floor = hits.values().map(|hit| hit.best_log_p).fold(f32::NEG_INFINITY, f32::max);
        let lead = next.iter().map(|n| n.path.log_p).fold(f32::NEG_INFINITY, f32::max);
        let least = (floor - rules.margin).max(lead - rules.lag);
        next.retain(|n| least < n.path.log_p && n.path.tokens.len() <= rules.most_tokens);
        next.sort_by(|a, b| b.path.log_p.total_cmp(&a.path.log_p));
        next.truncate(rules.width);
        let mut parents: Vec<usize> = next.iter().map(|n| n.row).collect();
        let mut tokens: Vec<u32> = next.iter().map(|n| n.token).collect();
        free.step(&rows, rules.most_free);
        if let (Some(row), Some(token)) = (free.row, free.tokens.last()) {
            let shared = next.iter().position(|n| n.path.tokens == free.tokens);
            free.row = Some(shared.unwrap_or(next.len()));
            if shared.is_none() {
                parents.push(row);
                tokens.push(*token);
            }
        }
        if parents.is_empty() {
            break;
        }
        rows = model.advance(&parents, &tokens)?;
        paths = next.into_iter().map(|n| n.path).collect();
    }
    let mut hits: Vec<Hit> = hits.into_values().collect();
    hits.sort_by(|a, b| b.log_p.total_cmp(&a.log_p));
    Ok(Found { hits, free: free.tokens, free_log_p: free.log_p, free_count: free.count })
}

/// Follows the free hypothesis alone.
///
/// # Errors
/// When the model fails.
pub fn greedy<S: Steps>(model: &mut S, most: usize) -> Result<Found, S::Error> {
    let mut rows = vec![model.begin()?];
    let mut free = Free { row: Some(0), tokens: Vec::new(), log_p: 0.0, count: 0 };
    loop {
        free.step(&rows, most);
        let (Some(row), Some(token)) = (free.row, free.tokens.last()) else { break };
        rows = model.advance(&[row], &[*token])?;
        free.row = Some(0);
    }
    Ok(Found {
        hits: Vec::new(),
        free: free.tokens,
        free_log_p: free.log_p,
        free_count: free.count,
    })
}

impl Free {
    fn step(&mut self, rows: &[Row], most: usize) {
        let Some(row) = self.row.and_then(|at| rows.get(at)) else {
            self.row = None;
            return;
        };
        let token = row.best();
        self.log_p += row.log_p(token);
        self.count = self.count.saturating_add(1);
        if token == Tokens::END {
            self.row = None;
            return;
        }
        if most <= self.tokens.len() {
            self.row = None;
            return;
        }
        self.tokens.push(token);
    }
}

/// Ends a path where a phrase ends, and lets it go on.
fn grow(
    path: &Path,
    at: usize,
    row: &Row,
    trie: &Trie,
    next: &mut Vec<Next>,
    hits: &mut BTreeMap<u32, Hit>,
) {
    let mut go = |node: u32, token: u32, closed: bool| {
        let mut tokens = path.tokens.clone();
        tokens.push(token);
        let log_p = path.log_p + row.log_p(token);
        next.push(Next { path: Path { log_p, node, tokens, closed }, row: at, token });
    };
    if let Some(place) = trie.ends_at(path.node) {
        let log_p = path.log_p + row.log_p(Tokens::END);
        hits.entry(place)
            .and_modify(|hit| {
                hit.log_p = log_sum(hit.log_p, log_p);
                if hit.best_log_p < log_p {
                    hit.best_log_p = log_p;
                    hit.tokens.clone_from(&path.tokens);
                }
            })
            .or_insert_with(|| Hit {
                place,
                log_p,
                best_log_p: log_p,
                tokens: path.tokens.clone(),
            });
        if !path.closed {
            for closer in trie.closers() {
                go(path.node, *closer, true);
            }
        }
    }
    if !path.closed {
        for (token, node) in trie.after(path.node) {
            go(*node, *token, false);
        }
    }
}

/// The logarithm of a sum of two probabilities given as logarithms.
fn log_sum(a: f32, b: f32) -> f32 {
    let (high, low) = if a < b { (b, a) } else { (a, b) };
    if low == f32::NEG_INFINITY { high } else { high + (low - high).exp().ln_1p() }
}
