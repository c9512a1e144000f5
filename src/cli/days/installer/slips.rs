//! What becomes of his words: mumbled, lost on the way, taken for others; and
//! the count of it.

use super::super::air::{decibels, muffled, samples};
use super::Installer;
use crate::daemon::Input;
use crate::domain::{How, Meaning};

impl Installer {
    /// A mouth full of nails, a turned head, a hand before the microphone.
    pub(super) fn mumbles(&mut self, speech: &mut Vec<f32>) -> String {
        self.tally.mumbled += 1;
        self.has_mishap();
        let part = speech.len() / 100 * self.rng.usize(20..45);
        let how = match self.rng.u32(0..4) {
            0 => {
                speech.drain(..part);
                "its beginning cut off"
            }
            1 => {
                speech.truncate(speech.len() - part);
                "its end cut off"
            }
            2 => {
                *speech = muffled(std::mem::take(speech));
                "muffled"
            }
            _ => "only low",
        };
        let gain = decibels(-8.0);
        speech.iter_mut().for_each(|sample| *sample *= gain);
        format!(" (mumbled, {how})")
    }

    /// The link breaks: the rest is lost and silence follows, or a piece out of
    /// the middle is missing.
    pub(super) fn loses(&mut self, speech: &mut Vec<f32>) -> Option<usize> {
        self.tally.links_lost += 1;
        self.has_mishap();
        let at = speech.len() / 100 * self.rng.usize(25..75);
        if self.rng.bool() {
            speech.truncate(at);
            return Some(self.rng.usize(800..3_000));
        }
        let to = (at + samples(self.rng.usize(150..500))).min(speech.len());
        speech.drain(at..to);
        Some(0)
    }

    /// Counts what was taken for something it was not.
    pub(super) fn took(&mut self, meaning: Option<&Meaning>, input: &Input) {
        let Input::Said { meaning: taken, how } = input else {
            let what = if *input == Input::Nothing { "heard nothing" } else { "was not clear" };
            return self.note(what.to_owned());
        };
        if let How::Voice(heard) = how {
            let (b, a, m) = (heard.b_milli, heard.a_milli, heard.m_milli);
            self.note(format!("heard \"{}\" (b {b} a {a} m {m} thousandths)", heard.words));
        }
        if meaning == Some(taken) || matches!(taken, Meaning::Words(_)) {
            return;
        }
        let confirms = matches!(
            taken,
            Meaning::StepDone
                | Meaning::Yes
                | Meaning::LogAsIs
                | Meaning::PhotoTaken
                | Meaning::Skip
                | Meaning::WasWrong
        );
        let in_window = self.clock.now().ms() <= self.open_until_ms;
        let (confirms, tally) = (u32::from(confirms), &mut self.tally);
        match meaning {
            None if in_window => {
                tally.taken += 1;
                tally.false_confirmations += confirms;
            }
            None => {
                tally.taken_outside += 1;
                tally.false_confirmations_outside += confirms;
            }
            Some(_) => {
                let number =
                    matches!(taken, Meaning::Length(_) | Meaning::Count(_) | Meaning::Choice(_));
                tally.misheard_numbers += u32::from(number);
                tally.misheard_commands += u32::from(!number);
                tally.misheard_confirmations += confirms;
            }
        }
    }

    /// Whether he was understood.
    pub(super) fn judges(&mut self, meant: &Meaning, input: &Input) {
        let understood = match input {
            Input::Said { meaning: Meaning::Words(_), .. } => matches!(meant, Meaning::Words(_)),
            Input::Said { meaning, .. } => meaning == meant,
            _ => false,
        };
        self.tally.understood += u32::from(understood);
        if *meant == Meaning::CallWord {
            self.tally.called += 1;
            self.tally.calls_understood += u32::from(understood);
        }
        // Every prompt that follows sets this back.
        self.unanswered += 1;
        if let Some(step) = self.step() {
            step.in_a_row = if understood { 0 } else { step.in_a_row + 1 };
            step.worst = step.worst.max(step.in_a_row);
        }
    }
}
