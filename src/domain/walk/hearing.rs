//! Which spoken answers a walk takes, by the hearing check of the person who
//! walks. Answers by touch and keys are no business of this file.

use super::super::{Meaning, Trust};
use super::{Action, Doubt, Prompt, State, Walk};

/// Whether a hearing check says which spoken answers count.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Hearing {
    /// The latest of this person on this job does; where there is none, no spoken
    /// answer counts.
    Checked,
    /// Voice was not checked, and whoever walks was told so.
    NotChecked,
}

impl Walk {
    /// Why this is not taken by voice; none where it is.
    pub(super) fn doubt(&self, meaning: &Meaning) -> Option<Doubt> {
        if matches!(self.state, State::Idle | State::Saving { .. } | State::Finished)
            || self.setting.hearing == Hearing::NotChecked
        {
            return None;
        }
        // Words where no words are asked for may be a number written out.
        let dictating = matches!(self.state, State::Dictating { .. });
        let number = match meaning {
            Meaning::Length(_) | Meaning::Count(_) => true,
            Meaning::Words(_) => !dictating,
            _ => false,
        };
        if !number && !meaning.confirms() {
            return None;
        }
        let Some(checked) = self.standing.hearing.get(&self.setting.by) else {
            return Some(Doubt::NotChecked);
        };
        let check = &checked.check;
        let verdict = if number { check.numbers } else { check.commands };
        if verdict.trust == Trust::Not {
            Some(Doubt::NotHeardWell)
        } else if self.noise_tenth_dbfs.is_some_and(|noise| check.is_outgrown(noise)) {
            Some(Doubt::Louder)
        } else {
            None
        }
    }

    /// Nothing is taken: the question stands, and is answered by touch or keys.
    pub(super) fn refuse(&mut self, doubt: Doubt, out: &mut Vec<Action>) {
        let told = Some((self.current().cloned(), doubt));
        let again = self.doubted == told;
        self.doubted = told;
        out.push(Action::Say(Prompt::NotTrusted { doubt, again }));
        self.listen(out);
    }
}
