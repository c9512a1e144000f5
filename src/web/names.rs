//! What checklists say, as the reader of a page reads it: names of checklists, steps
//! and rows, choices, questions, cautions. What is not translated is marked as it
//! stands in the checklist. The log keeps the original; nothing here reaches it.

use std::sync::Arc;

use super::foreign::foreign;
use super::log_words::LogWords;
use crate::config::Config;
use crate::domain::{Answer, Checklist, FactKind, Language, Piece, RowRef, StepRef, WalkId};
use crate::office::Translations;

/// A checklist as the job pins it, and as it is read.
#[derive(Clone, Debug)]
pub(super) struct Named {
    pinned: Arc<Checklist>,
    read: Arc<Checklist>,
    page: Language,
}

/// The checklists of a job.
pub(super) type Names = Vec<Named>;

/// Reads the checklists of one job after the other.
pub(super) struct Reader<'a> {
    translations: Translations<'a>,
    page: Language,
}

impl<'a> Reader<'a> {
    pub(super) fn of(config: &'a Config, page: Language) -> Self {
        Self { translations: Translations::into(config, page), page }
    }

    pub(super) fn names(&mut self, checklists: &[Arc<Checklist>]) -> Names {
        let named = |pinned: &Arc<Checklist>| Named {
            read: self.translations.of(pinned),
            pinned: Arc::clone(pinned),
            page: self.page,
        };
        checklists.iter().map(named).collect()
    }
}

/// The checklists of one job.
pub(super) fn names(config: &Config, page: Language, checklists: &[Arc<Checklist>]) -> Names {
    Reader::of(config, page).names(checklists)
}

impl Named {
    /// A text of the checklist, marked where it is not in the page's language.
    fn own(&self, text: &str) -> String {
        if self.read.language == self.page { text.to_owned() } else { foreign(text) }
    }

    /// The checklist as it is read.
    pub(super) fn read(&self) -> Arc<Checklist> {
        Arc::clone(&self.read)
    }

    pub(super) fn is_as_pinned(&self) -> bool {
        Arc::ptr_eq(&self.pinned, &self.read)
    }

    /// A sentence with its places filled, as it would be with the words it is read in;
    /// none where it is none of that step.
    fn retold(&self, step: &StepRef, said: &str) -> Option<String> {
        let (pinned, read) = (self.pinned.step(&step.id)?, self.read.step(&step.id)?);
        let found = filled(&pinned.say, said)?;
        let piece = |piece: &Piece| match piece {
            Piece::Words(words) => Some(words.clone()),
            Piece::Name(name) => {
                let (_, value) = found.iter().find(|(known, _)| known == name)?;
                Some(self.read.words.get(*value).map_or(*value, String::as_str).to_owned())
            }
        };
        read.say.iter().map(piece).collect()
    }
}

/// What stands in the places of a sentence; none where it is another sentence.
fn filled<'a>(pieces: &'a [Piece], said: &'a str) -> Option<Vec<(&'a str, &'a str)>> {
    let (mut rest, mut place, mut found) = (said, None, Vec::new());
    for piece in pieces {
        match (piece, place.take()) {
            (Piece::Words(words), None) => rest = rest.strip_prefix(words.as_str())?,
            (Piece::Words(words), Some(name)) => {
                let (value, after) = rest.split_once(words.as_str())?;
                found.push((name, value));
                rest = after;
            }
            (Piece::Name(name), None) => place = Some(name.as_str()),
            // Two places side by side cannot be told apart.
            (Piece::Name(_), Some(_)) => return None,
        }
    }
    match place {
        Some(name) => found.push((name, rest)),
        None if rest.is_empty() => {}
        None => return None,
    }
    Some(found)
}

impl<'a> LogWords<'a> {
    /// The same for what happened on that walk: a choice has the words of its
    /// checklist.
    pub(super) fn on(self, walk: Option<&WalkId>) -> Self {
        let at = walk.and_then(|walk| self.place(&walk.checklist));
        let names = at.and_then(|at| self.names.get(at..=at)).unwrap_or(self.names);
        Self { names, ..self }
    }

    fn place(self, checklist: &str) -> Option<usize> {
        self.names.iter().position(|named| named.pinned.id == checklist)
    }

    fn named(self, checklist: &str) -> Option<&'a Named> {
        self.names.get(self.place(checklist)?)
    }

    /// The name of a step, with its row where it repeats.
    pub(super) fn step_of(self, checklist: &str, step: &StepRef) -> Option<String> {
        let named = self.named(checklist)?;
        let title = named.read.title_of(step);
        Some(if named.read.step(&step.id).is_some() { named.own(&title) } else { title })
    }

    /// The same, or what the log calls it.
    pub(super) fn step(self, walk: &WalkId, step: &StepRef) -> String {
        self.step_of(&walk.checklist, step).unwrap_or_else(|| step.to_string())
    }

    /// The name of a walk's checklist, with which time it is where it is not the first.
    pub(super) fn walk(self, walk: &WalkId) -> String {
        let Some(named) = self.named(&walk.checklist) else { return walk.to_string() };
        let title = named.own(&named.read.title);
        match walk.nth {
            1 => title,
            nth => self.fill("log.nth-walk", &[("title", &title), ("nth", &nth)]),
        }
    }

    /// A row of the plan.
    pub(super) fn row(self, at: &RowRef) -> String {
        if self.is_english() {
            return at.to_string();
        }
        for named in self.names {
            if let Some(table) = named.read.table(&at.table) {
                return format!("{} {}", named.own(&table.title), at.row);
            }
        }
        foreign(&at.to_string())
    }

    /// A choice, or another text that a value has.
    pub(super) fn choice(self, text: &str) -> String {
        let words = self.names.iter().find_map(|named| named.read.words.get(text));
        match (words, self.names) {
            (Some(words), _) => words.clone(),
            // Whoever typed it did so in a language that nobody knows.
            (None, names) if self.is_choice(names, text) => foreign(text),
            _ => text.to_owned(),
        }
    }

    fn is_choice(self, names: &[Named], text: &str) -> bool {
        let has = |options: &[String]| options.iter().any(|option| option == text);
        let is_of = |list: &Checklist| {
            let steps = list
                .steps
                .iter()
                .any(|step| matches!(&step.answer, Answer::Choice { options, .. } if has(options)));
            let kinds = list.facts.iter().map(|fact| &fact.kind);
            steps || kinds.into_iter().any(|kind| matches!(kind, FactKind::Choice(of) if has(of)))
        };
        names.iter().any(|named| named.read.language != named.page && is_of(&named.read))
    }

    /// The question that a fact answers; `table.column` for a column.
    pub(super) fn question(self, name: &str) -> Option<String> {
        let asked = |named: &Named| Some(named.own(&named.read.fact(name)?.ask));
        self.names.iter().find_map(asked)
    }

    /// A caution as it was said, in the reader's words where it is one of these.
    pub(super) fn caution(self, said: &str) -> String {
        for named in self.names {
            let at = named.pinned.cautions.iter().position(|caution| caution.say == said);
            if let Some(caution) = at.and_then(|at| named.read.cautions.get(at)) {
                return named.own(&caution.say);
            }
        }
        said.to_owned()
    }

    /// What a step said, in the reader's words where it was said in the checklist's.
    pub(super) fn said_at(self, walk: &WalkId, step: Option<&StepRef>, said: &str) -> String {
        let named =
            self.named(&walk.checklist).filter(|named| named.read.language != Language::default());
        match (named, step) {
            (Some(named), Some(step)) => {
                named.retold(step, said).unwrap_or_else(|| said.to_owned())
            }
            _ if self.is_english() => said.to_owned(),
            _ => foreign(said),
        }
    }

    /// What a date is: of a checklist in the reader's words, else as it was typed.
    pub(super) fn date(self, title: &str) -> String {
        for named in self.names {
            for (at, pinned) in named.pinned.follow_ups.iter().enumerate() {
                let Some(rest) = title.strip_prefix(&pinned.title) else { continue };
                let Some(read) = named.read.follow_ups.get(at) else { continue };
                // One of several says which.
                let Some(nth) = which(rest) else { continue };
                // A translation may leave titles of dates out.
                let is_own = self.is_english() || read.title != pinned.title;
                let title = if is_own { read.title.clone() } else { foreign(&read.title) };
                return match nth {
                    None => title,
                    Some((n, of)) => {
                        self.fill("log.one-of", &[("title", &title), ("n", &n), ("of", &of)])
                    }
                };
            }
        }
        title.to_owned()
    }
}

/// Which of how many the end of a date's title says; none where it is another title.
fn which(rest: &str) -> Option<Option<(u32, u32)>> {
    if rest.is_empty() {
        return Some(None);
    }
    let (n, of) = rest.strip_prefix(" (")?.strip_suffix(')')?.split_once(" of ")?;
    Some(Some((n.parse().ok()?, of.parse().ok()?)))
}
