//! The recogniser's own alphabet: text to token numbers and back. The table's
//! bytes come from outside.

use std::collections::HashMap;

/// Marks the beginning of a word inside the table.
const WORD_MARK: &str = "\u{2581}";
/// Tokens 3 to 258 stand for raw bytes. They spell any text in a way the model
/// was never taught, so text never becomes them.
const RAW_BYTES: std::ops::RangeInclusive<usize> = 3..=258;
/// The tokens that no text has.
const SPECIAL: usize = 3;

/// What can be wrong with the table.
#[derive(Debug, thiserror::Error)]
pub enum TokenError {
    /// The table stops inside an entry.
    #[error("the token table is cut short at byte {0}; run packaging/models again")]
    CutShort(usize),
    /// The table is too small to be one.
    #[error("the token table holds {0} tokens; run packaging/models again")]
    TooSmall(usize),
}

/// The token table.
pub struct Tokens {
    pieces: Vec<Vec<u8>>,
    numbers: HashMap<String, u32>,
}

impl Tokens {
    /// The token that begins every utterance.
    pub const BEGIN: u32 = 1;
    /// The token that ends every utterance.
    pub const END: u32 = 2;

    /// Reads the table: one length-prefixed piece after another.
    ///
    /// # Errors
    /// When it is cut short or far too small.
    pub fn read(bytes: &[u8]) -> Result<Tokens, TokenError> {
        let mut pieces: Vec<Vec<u8>> = Vec::new();
        let mut numbers = HashMap::new();
        let mut at = 0_usize;
        while let Some(&first) = bytes.get(at) {
            let cut_short = TokenError::CutShort(at);
            at = at.saturating_add(1);
            let mut length = usize::from(first);
            if 128 <= length {
                let Some(&high) = bytes.get(at) else { return Err(cut_short) };
                length = usize::from(high).saturating_mul(128).saturating_add(length - 128);
                at = at.saturating_add(1);
            }
            let end = at.saturating_add(length);
            let Some(piece) = bytes.get(at..end) else { return Err(cut_short) };
            at = end;
            let number = pieces.len();
            if SPECIAL <= number
                && !RAW_BYTES.contains(&number)
                && let Ok(text) = std::str::from_utf8(piece)
                && let Ok(number) = u32::try_from(number)
            {
                numbers.entry(text.to_owned()).or_insert(number);
            }
            pieces.push(piece.to_vec());
        }
        if pieces.len() <= *RAW_BYTES.end() {
            return Err(TokenError::TooSmall(pieces.len()));
        }
        Ok(Tokens { pieces, numbers })
    }

    /// How many tokens there are.
    pub fn count(&self) -> usize {
        self.pieces.len()
    }

    /// Spells text in tokens; None when a letter is not in the table.
    pub fn spell(&self, text: &str) -> Option<Vec<u32>> {
        // No piece reaches over a word's beginning, so words are spelled alone.
        let mut spelled = Vec::new();
        for word in text.split(' ') {
            spelled.extend(self.spell_word(word)?);
        }
        Some(spelled)
    }

    /// Joins the pair with the lowest number until no pair is in the table, as
    /// the model's own training did.
    pub(super) fn spell_word(&self, word: &str) -> Option<Vec<u32>> {
        let mut pieces: Vec<String> =
            std::iter::once(WORD_MARK.to_owned()).chain(word.chars().map(String::from)).collect();
        loop {
            let best = pieces
                .iter()
                .zip(pieces.iter().skip(1))
                .enumerate()
                .filter_map(|(at, (left, right))| {
                    let joined = format!("{left}{right}");
                    self.numbers.get(&joined).map(|number| (*number, at, joined))
                })
                .min();
            let Some((_, at, joined)) = best else { break };
            if let Some(piece) = pieces.get_mut(at) {
                *piece = joined;
            }
            pieces.remove(at.saturating_add(1));
        }
        pieces.iter().map(|piece| self.numbers.get(piece).copied()).collect()
    }

    /// The number of one whole piece, as it stands in the table.
    pub fn piece(&self, text: &str) -> Option<u32> {
        self.numbers.get(text).copied()
    }

    /// Tokens as text.
    pub fn text(&self, tokens: &[u32]) -> String {
        let mut bytes = Vec::new();
        for token in tokens {
            if let Some(piece) = usize::try_from(*token)
                .ok()
                .filter(|token| SPECIAL <= *token)
                .and_then(|token| self.pieces.get(token))
            {
                bytes.extend_from_slice(piece);
            }
        }
        String::from_utf8_lossy(&bytes).replace(WORD_MARK, " ").trim().to_owned()
    }
}
