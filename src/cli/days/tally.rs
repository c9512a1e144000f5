//! Counters of a day, of many days, and the text of the report.

use serde::{Deserialize, Serialize};

/// What happened at one step until it was settled.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub(in crate::cli) struct StepTally {
    pub(super) questions: u32,
    /// How many times in a row he was not understood just now, and at most.
    #[serde(skip)]
    pub(super) in_a_row: u32,
    pub(super) worst: u32,
    pub(super) touched: bool,
    /// Something went wrong on his side: a mumble, a lost link, a slip.
    pub(super) mishap: bool,
    pub(super) our_ms: u64,
    pub(super) his_ms: u64,
}

/// What happened in one walk or in many.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub(in crate::cli) struct Tally {
    pub(super) steps: Vec<StepTally>,
    pub(in crate::cli) entries: usize,
    /// Things the installer said to the daemon, and how many were understood.
    pub(super) said: u32,
    pub(super) understood: u32,
    /// Call words among them.
    pub(super) called: u32,
    pub(super) calls_understood: u32,
    pub(super) mumbled: u32,
    pub(super) links_lost: u32,
    pub(super) typed: u32,
    /// Sentences that were not for the daemon.
    pub(super) chatter: u32,
    /// Noise alone that was taken for speech.
    pub(super) noises: u32,
    /// Chatter and noise taken for something: in the window, and outside of it.
    pub(super) taken: u32,
    pub(super) taken_outside: u32,
    /// Of these, what can log at once or opens the log's mouth.
    pub(super) false_confirmations: u32,
    pub(super) false_confirmations_outside: u32,
    /// Own words taken for others.
    pub(super) misheard_numbers: u32,
    pub(super) misheard_commands: u32,
    pub(super) misheard_confirmations: u32,
    /// Read-backs that were not what he had said, and that he refused.
    pub(super) caught_misheard: u32,
    pub(super) caught_chatter: u32,
    /// Read-backs of what he had said wrong himself.
    pub(super) caught_slips: u32,
    pub(super) careless: u32,
    pub(super) off_target: u32,
    pub(super) corrected: u32,
    pub(super) skipped: u32,
    pub(super) holds: u32,
}

impl Tally {
    pub(in crate::cli) fn add(&mut self, other: &Tally) {
        self.steps.extend(other.steps.iter().cloned());
        self.entries += other.entries;
        for (to, from) in self.counters().into_iter().zip(other.clone().counters()) {
            *to += *from;
        }
    }

    fn counters(&mut self) -> [&mut u32; 24] {
        [
            &mut self.said,
            &mut self.understood,
            &mut self.called,
            &mut self.calls_understood,
            &mut self.mumbled,
            &mut self.links_lost,
            &mut self.typed,
            &mut self.chatter,
            &mut self.noises,
            &mut self.taken,
            &mut self.taken_outside,
            &mut self.false_confirmations,
            &mut self.false_confirmations_outside,
            &mut self.misheard_numbers,
            &mut self.misheard_commands,
            &mut self.misheard_confirmations,
            &mut self.caught_misheard,
            &mut self.caught_chatter,
            &mut self.caught_slips,
            &mut self.careless,
            &mut self.off_target,
            &mut self.corrected,
            &mut self.skipped,
            &mut self.holds,
        ]
    }

    /// The report, `harmful` of the sentences taken having made a wrong entry.
    pub(in crate::cli) fn lines(&self, harmful: usize) -> Vec<String> {
        let questions = self.steps.iter().map(|step| u64::from(step.questions));
        let ours = self.steps.iter().map(|step| step.our_ms);
        let his = self.steps.iter().map(|step| step.his_ms);
        let seconds = |(half, most): (u64, u64)| {
            format!(
                "median {}.{} s, p95 {}.{} s",
                half / 1000,
                half % 1000 / 100,
                most / 1000,
                most % 1000 / 100
            )
        };
        let (half, most) = percentiles(questions);
        let clean: Vec<&StepTally> = self.steps.iter().filter(|step| !step.mishap).collect();
        let all: Vec<&StepTally> = self.steps.iter().collect();
        let heard = self.taken + self.taken_outside;
        let Tally { said, understood, chatter, noises, .. } = self;
        vec![
            format!("steps settled: {}", self.steps.len()),
            format!("questions a step: median {half}, p95 {most}"),
            format!("our talk a step: {}", seconds(percentiles(ours))),
            format!("his talk a step: {}", seconds(percentiles(his))),
            format!(
                "call words after the window: {}, understood {}",
                self.called, self.calls_understood
            ),
            format!("settled by voice: {}", shares(&all)),
            format!("  without a mishap of his own: {}", shares(&clean)),
            format!(
                "said to it: {said}, understood {understood} ({} mumbled, {} times the link was lost, {} touched)",
                self.mumbled, self.links_lost, self.typed
            ),
            format!(
                "misheard: {} numbers and choices, {} commands, of them {} taken for a confirmation",
                self.misheard_numbers, self.misheard_commands, self.misheard_confirmations
            ),
            format!(
                "refused at the read-back: {} misheard, {} out of chatter, {} said wrong by himself",
                self.caught_misheard, self.caught_chatter, self.caught_slips
            ),
            format!(
                "chatter: {chatter} sentences, and {noises} times noise alone sounded like speech; taken for something: \
                 {heard} ({} in the window), harmful {harmful}",
                self.taken
            ),
            format!(
                "false confirmations: {} in the window, {} outside of it (not acted on)",
                self.false_confirmations, self.false_confirmations_outside
            ),
            format!(
                "his day: {} off target on purpose, {} corrected afterwards, {} left out, {} hold points",
                self.off_target, self.corrected, self.skipped, self.holds
            ),
        ]
    }
}

/// How many steps needed one try, two, more, or touch.
fn shares(steps: &[&StepTally]) -> String {
    let share = |is: &dyn Fn(&StepTally) -> bool| {
        let count = steps.iter().filter(|step| is(step)).count();
        let tenths = count * 1_000 / steps.len().max(1);
        format!("{}.{} %", tenths / 10, tenths % 10)
    };
    format!(
        "first try {}, second {}, later {}; touch {}",
        share(&|step| !step.touched && step.worst == 0),
        share(&|step| !step.touched && step.worst == 1),
        share(&|step| !step.touched && 1 < step.worst),
        share(&|step| step.touched)
    )
}

/// The middle and the 95th of a hundred.
fn percentiles(values: impl Iterator<Item = u64>) -> (u64, u64) {
    let mut values: Vec<u64> = values.collect();
    values.sort_unstable();
    let at =
        |share: usize| values.get((values.len() * share / 100).min(values.len().saturating_sub(1)));
    (at(50).copied().unwrap_or(0), at(95).copied().unwrap_or(0))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn days_add_up() {
        let mut one = Tally { said: 3, holds: 1, entries: 2, ..Tally::default() };
        one.steps.push(StepTally { questions: 2, worst: 1, ..StepTally::default() });
        let mut all = Tally::default();
        (0..3).for_each(|_| all.add(&one));
        assert_eq!((all.said, all.holds, all.entries, all.steps.len()), (9, 3, 6, 3));
        let text = all.lines(0).join("\n");
        assert!(text.contains("first try 0.0 %, second 100.0 %"), "{text}");
        assert!(text.contains("questions a step: median 2, p95 2"), "{text}");
    }

    #[test]
    fn percentiles_are_the_values_at_their_places() {
        assert_eq!(percentiles(1..=100), (51, 96));
        assert_eq!(percentiles(std::iter::empty()), (0, 0));
    }
}
