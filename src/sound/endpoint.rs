//! Where speech begins and ends, from one probability and one level per 32 ms
//! chunk. It holds no samples and no model: it counts chunks.

/// The rules, in chunks of 32 ms.
#[derive(Clone, Debug)]
pub struct Endpoints {
    /// Speech may begin at this probability.
    pub begins_at: f32,
    /// Speech goes on down to this probability.
    pub goes_on_at: f32,
    /// Kept before the first speech chunk.
    pub pre_roll: u64,
    /// Kept after the last speech chunk.
    pub post_roll: u64,
    /// Speech chunks that make a segment; fewer is a click.
    pub least: u64,
    /// Quiet chunks that end a segment.
    pub hangover: u64,
    /// Speech is cut here.
    pub most: u64,
}

impl Default for Endpoints {
    fn default() -> Self {
        Endpoints {
            begins_at: 0.5,
            goes_on_at: 0.3,
            pre_roll: 10,
            post_roll: 8,
            least: 4,
            hangover: 16,
            most: 375,
        }
    }
}

/// A stretch of speech, in chunks counted from the start of the stream.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Spoken {
    /// The first chunk to keep, pre-roll included.
    pub from: u64,
    /// One past the last chunk to keep, post-roll included.
    pub to: u64,
    /// The level of the site before it, in decibels below full scale.
    pub noise_dbfs: f32,
    /// The talker went on past the longest segment.
    pub cut: bool,
}

/// Follows a stream of chunks and says when a stretch of speech has ended.
#[derive(Clone, Debug)]
pub struct Endpointer {
    rules: Endpoints,
    at: u64,
    /// No segment reaches back before this chunk.
    free_from: u64,
    state: State,
    noise_dbfs: Option<f32>,
}

#[derive(Clone, Copy, Debug)]
enum State {
    Quiet,
    Speech { first: u64, last: u64, spoken: u64 },
}

impl Endpointer {
    /// Begins at the start of a stream.
    pub fn new(rules: Endpoints) -> Endpointer {
        Endpointer { rules, at: 0, free_from: 0, state: State::Quiet, noise_dbfs: None }
    }

    /// The level of the site between speech, in decibels below full scale; None
    /// until a quiet chunk was heard.
    pub fn noise_dbfs(&self) -> Option<f32> {
        self.noise_dbfs
    }

    /// Whether someone is speaking now.
    pub fn in_speech(&self) -> bool {
        matches!(self.state, State::Speech { .. })
    }

    /// The earliest chunk a coming segment may still ask for.
    pub fn keep_from(&self) -> u64 {
        let first = match self.state {
            State::Quiet => self.at,
            State::Speech { first, .. } => first,
        };
        first.saturating_sub(self.rules.pre_roll).max(self.free_from)
    }

    /// Takes the next chunk; gives a stretch of speech when one has ended.
    pub fn push(&mut self, probability: f32, level_dbfs: f32) -> Option<Spoken> {
        let now = self.at;
        self.at = self.at.saturating_add(1);
        match self.state {
            State::Quiet if self.rules.begins_at <= probability => {
                self.state = State::Speech { first: now, last: now, spoken: 1 };
                None
            }
            State::Quiet => {
                self.follow_noise(level_dbfs);
                None
            }
            State::Speech { first, last, spoken } => {
                let goes_on = self.rules.goes_on_at <= probability;
                let (last, spoken) =
                    if goes_on { (now, spoken.saturating_add(1)) } else { (last, spoken) };
                let cut = self.rules.most <= now.saturating_sub(first);
                if self.rules.hangover <= now.saturating_sub(last) || cut {
                    return self.end(first, last, spoken, cut);
                }
                self.state = State::Speech { first, last, spoken };
                None
            }
        }
    }

    /// Ends the stream; gives the stretch that was still open.
    pub fn finish(&mut self) -> Option<Spoken> {
        match self.state {
            State::Quiet => None,
            State::Speech { first, last, spoken } => self.end(first, last, spoken, false),
        }
    }

    /// Drops an open stretch, as when the listener was told to stop.
    pub fn drop_open(&mut self) {
        self.state = State::Quiet;
        self.free_from = self.at;
    }

    fn end(&mut self, first: u64, last: u64, spoken: u64, cut: bool) -> Option<Spoken> {
        self.state = State::Quiet;
        if spoken < self.rules.least {
            return None;
        }
        let from = first.saturating_sub(self.rules.pre_roll).max(self.free_from);
        let to = last.saturating_add(1).saturating_add(self.rules.post_roll).min(self.at);
        self.free_from = to;
        Some(Spoken { from, to, noise_dbfs: self.noise_dbfs.unwrap_or(level_floor()), cut })
    }

    /// Falls at once and rises slowly, so that one bang is not the noise floor.
    fn follow_noise(&mut self, level_dbfs: f32) {
        let known = self.noise_dbfs.unwrap_or(level_dbfs);
        let rate = if level_dbfs < known { 0.2 } else { 0.03 };
        self.noise_dbfs = Some(known + rate * (level_dbfs - known));
    }
}

/// What is said of the noise before any quiet was heard.
fn level_floor() -> f32 {
    -100.0
}
