//! The install record: a job's entries folded into what now stands, together
//! with everything it rests on. How it looks is the business of `export`.

use std::collections::{BTreeMap, BTreeSet};
use std::sync::Arc;

use crate::measure::{Functions, Quantity, RowsInput, Value};

use super::rests::{self, Need};
use super::{
    Attention, Bound, Cautions, Checked, Checklist, Computed, Deviation, DeviationKind, EarOpen,
    Entry, FactKind, FactName, Facts, Hash, Job, Known, Note, Photo, PointStanding, Profile,
    RecordCallback, Rows, RowsFrom, SaidTaken, Settled, Sheet, Standing, StepRef, Table, Units,
    WalkId, What, attention, plan,
};

/// Everything known of one job: what it pins and what was logged.
#[derive(Clone, Debug)]
pub struct JobFile {
    /// The job as opened.
    pub job: Job,
    /// The pinned checklists, in the order they are walked.
    pub checklists: Vec<Arc<Checklist>>,
    /// The pinned profile.
    pub profile: Option<Arc<Profile>>,
    /// The job's entries, in order.
    pub entries: Vec<Entry>,
    /// What they fold into.
    pub standing: Standing,
}

/// An install record.
#[derive(Clone, Debug)]
pub struct Record {
    /// The job.
    pub job: Job,
    /// Facts with their questions.
    pub facts: Vec<RecordFact>,
    /// The pinned profile.
    pub profile: Option<Arc<Profile>>,
    /// The walks of each pinned checklist in order; one that is not begun where it
    /// was never walked.
    pub walks: Vec<RecordWalk>,
    /// Notes, in order.
    pub notes: Vec<Note>,
    /// Photos that are kept, in order.
    pub photos: Vec<RecordPhoto>,
    /// What needs attention: deviations that somebody accepted are not among it.
    pub attention: Vec<Attention>,
    /// Every deviation that stands, accepted or not.
    pub deviations: Vec<Deviation>,
    /// Leak calls, in order.
    pub callbacks: Vec<RecordCallback>,
    /// When the ear was open, in order.
    pub ears: Vec<EarOpen>,
    /// Hearing checks, in order.
    pub checks: Vec<Checked>,
    /// The last entry of the job and its hash.
    pub head: Option<(u64, Hash)>,
    /// When it was logged: the record is as of then.
    pub last_at: Option<super::At>,
}

/// A photo that is kept, with the name of its step.
#[derive(Clone, Debug)]
pub struct RecordPhoto {
    /// The photo.
    pub photo: Photo,
    /// Of which walk.
    pub walk: Option<WalkId>,
    /// At which of its steps.
    pub step: Option<StepRef>,
    /// The step's name, with the row where it repeats.
    pub title: Option<String>,
    /// When it was kept.
    pub at: super::At,
    /// By whom.
    pub by: String,
    /// The entry.
    pub seq: u64,
    /// What of its file lies on this machine, where somebody looked.
    pub file: Option<PhotoFile>,
}

/// What of a photo's file lies on a machine.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum PhotoFile {
    /// As it was kept.
    Whole,
    /// Nothing.
    Missing,
    /// Something else than was kept.
    Changed,
}

impl PhotoFile {
    /// All of them.
    pub const ALL: [Self; 3] = [Self::Whole, Self::Missing, Self::Changed];

    /// The word a record uses.
    #[must_use]
    pub fn word(self) -> &'static str {
        match self {
            Self::Whole => "whole",
            Self::Missing => "missing",
            Self::Changed => "changed",
        }
    }
}

/// A fact of the job, or a figure that the profile does not give.
#[derive(Clone, Debug)]
pub struct RecordFact {
    /// Its name and row.
    pub name: FactName,
    /// The question it answers.
    pub ask: String,
    /// The value.
    pub value: Value,
    /// Whether nobody gave it and the checklist's default was taken.
    pub assumed: bool,
    /// Whether that default follows from what was given alone.
    pub follows: bool,
}

/// One walk in a record.
#[derive(Clone, Debug)]
pub struct RecordWalk {
    /// Which walk.
    pub id: WalkId,
    /// The pinned checklist.
    pub checklist: Arc<Checklist>,
    /// When it was begun and ended, where it was.
    pub begun: Option<super::At>,
    /// When its last step was settled.
    pub ended: Option<super::At>,
    /// Measures in the order of the checklist, then columns of computed rows.
    pub measures: Vec<RecordMeasure>,
    /// How many rows each table has, a plain number.
    pub rows: BTreeMap<String, Computed>,
    /// What computed rows were computed from, by the name of the function: what a
    /// drawing is made of.
    pub inputs: Vec<(String, RowsInput)>,
    /// What does not add up, in sentences.
    pub warnings: Vec<String>,
    /// Steps, in order.
    pub steps: Vec<RecordStep>,
}

/// A measure with what it came to.
#[derive(Clone, Debug)]
pub struct RecordMeasure {
    /// Its name and row.
    pub name: FactName,
    /// What it is.
    pub title: String,
    /// The heading it stands under on the sheet; may be empty.
    pub group: String,
    /// As a person reads it; none where it cannot be computed.
    pub shown: Option<String>,
    /// What it came to.
    pub computed: Computed,
    /// How it is computed.
    pub formula: String,
    /// What its value is.
    pub kind: FactKind,
    /// Which way it is rounded where it is shown.
    pub bound: Bound,
    /// Surveyed facts and `profile.` figures it rests on, however far back.
    pub facts: Vec<String>,
    /// Where the rule comes from.
    pub source: String,
    /// Whether it stands on the first page of the record.
    pub first_page: bool,
}

/// A step with what stands of it.
#[derive(Clone, Debug)]
pub struct RecordStep {
    /// Which.
    pub at: StepRef,
    /// Its name, with the row where it repeats.
    pub title: String,
    /// What was said: as it was asked, or as it would be asked now where it is
    /// not answered; none where facts are missing.
    pub text: Option<String>,
    /// Words to find it by.
    pub tags: Vec<String>,
    /// How it was settled.
    pub settled: Option<Settled>,
    /// How it was settled before it was corrected, oldest first.
    pub corrected: Vec<Settled>,
    /// The cautions given with it.
    pub cautioned: Cautions,
    /// How many photos it asks for.
    pub photos_asked: u32,
    /// How many somebody says were taken.
    pub photos_taken: u32,
    /// Each time that somebody said so.
    pub photos_said: Vec<SaidTaken>,
    /// How many are kept at it.
    pub photos_kept: u32,
    /// Its inspection point, once reached.
    pub point: Option<PointStanding>,
}

impl Record {
    /// The walks that are visits after a leak call.
    #[must_use]
    pub fn visits(&self) -> BTreeSet<&WalkId> {
        let visits = self.callbacks.iter().flat_map(|callback| &callback.standing.visits);
        visits.map(|(walk, _)| walk).collect()
    }

    /// Entries with a deviation that nobody has accepted yet.
    #[must_use]
    pub fn open_deviations(&self) -> BTreeSet<u64> {
        let open = self.deviations.iter().filter(|deviation| deviation.accepted.is_none());
        open.filter_map(|deviation| deviation.need.seq).collect()
    }
}

impl JobFile {
    /// The pinned checklist of this identifier.
    #[must_use]
    pub fn checklist(&self, id: &str) -> Option<&Arc<Checklist>> {
        self.checklists.iter().find(|checklist| checklist.id == id)
    }

    /// The sheet of one checklist.
    #[must_use]
    pub fn sheet(&self, checklist: &Checklist, functions: &Functions) -> Sheet {
        let (facts, profile) = (&self.standing.facts, self.profile.as_deref());
        Sheet::compute_for(self.job.units, checklist, facts, profile, functions)
    }

    /// The install record.
    #[must_use]
    pub fn record(&self, functions: &Functions) -> Record {
        self.record_of(functions, |_, _| true)
    }

    /// The record with the newest walk of each checklist alone: what a sheet is
    /// made of, whose figures are those of now.
    #[must_use]
    pub fn record_of_now(&self, functions: &Functions) -> Record {
        self.record_of(functions, |place, of| place + 1 == of)
    }

    /// What of the record needs attention, without all the rest of it.
    #[must_use]
    pub fn attention(&self, functions: &Functions) -> Vec<Attention> {
        let needs = self.looked_through(functions, |_, _| true, |_, _, _, _, _| ());
        self.open(needs).0
    }

    /// Goes through the walks that are wanted, by their place among those of a
    /// checklist, and says what needs attention. Each is given with its checklist,
    /// what is known, its plan, and whether it is the newest.
    fn looked_through(
        &self,
        functions: &Functions,
        wanted: impl Fn(usize, usize) -> bool,
        mut walk: impl FnMut(&WalkId, &Arc<Checklist>, Known<'_>, Vec<StepRef>, bool),
    ) -> Vec<Attention> {
        let mut needs = Vec::new();
        for (at, checklist) in self.checklists.iter().enumerate() {
            let mut ids: Vec<WalkId> =
                self.standing.walks_of(&checklist.id).map(|(id, _)| id.clone()).collect();
            let begun = |list: &Arc<Checklist>| self.standing.walks_of(&list.id).next().is_some();
            if ids.is_empty() {
                let later = self.checklists.iter().skip(at + 1);
                if later.into_iter().any(begun) {
                    needs.push(attention::not_begun(checklist));
                }
                ids.push(WalkId::first(&checklist.id));
            }
            for (place, id) in ids.iter().enumerate() {
                if !wanted(place, ids.len()) {
                    continue;
                }
                let next = ids.get(place + 1);
                let then = self.facts_of(id, next);
                let facts = then.as_ref().unwrap_or(&self.standing.facts);
                let (units, profile) = (self.job.units, self.profile.as_deref());
                let sheet = Sheet::compute_for(units, checklist, facts, profile, functions);
                let known = Known { checklist, facts, profile, sheet: &sheet };
                let plan = plan::plan(known, functions);
                let (standing, entries) = (&self.standing, &self.entries);
                needs.extend(attention::of_walk(id, known, units, &plan, standing, entries));
                walk(id, checklist, known, plan, next.is_none());
            }
        }
        needs
    }

    /// What of it is open, and the deviations among all of it.
    fn open(&self, mut needs: Vec<Attention>) -> (Vec<Attention>, Vec<Deviation>) {
        let deviations = self.deviations(&needs);
        needs.retain(|need| !deviations.iter().any(|d| d.accepted.is_some() && d.need == *need));
        (needs, deviations)
    }

    fn record_of(&self, functions: &Functions, wanted: impl Fn(usize, usize) -> bool) -> Record {
        let (mut walks, mut assumed) = (Vec::new(), BTreeMap::new());
        let needs = self.looked_through(functions, wanted, |id, checklist, known, plan, newest| {
            if newest {
                assumed.extend(defaults(known));
            }
            walks.push(self.walk(id, checklist, known, plan, functions));
        });
        let (needs, deviations) = self.open(needs);
        let callbacks = self.standing.callbacks.values();
        Record {
            job: self.job.clone(),
            facts: self.facts(assumed),
            profile: self.profile.clone(),
            walks,
            notes: self.standing.notes.clone(),
            photos: self.photos(),
            attention: needs,
            deviations,
            callbacks: callbacks.map(|one| RecordCallback::of(one, &self.entries)).collect(),
            ears: self.standing.ears.clone(),
            checks: self.checks(),
            head: self.entries.last().map(|entry| (entry.seq, entry.hash)),
            last_at: self.entries.last().map(|entry| entry.draft.at),
        }
    }

    /// The facts that a walk goes by, where these are not the newest ones. What
    /// the next walk of its checklist says does not reach back to it; nor, once
    /// it has ended, what a further walk of any checklist says: another day has
    /// another weather.
    fn facts_of(&self, id: &WalkId, next: Option<&WalkId>) -> Option<Facts> {
        let begun = |walk: &WalkId| {
            let is = |entry: &&Entry| {
                entry.draft.walk.as_ref() == Some(walk)
                    && matches!(entry.draft.what, What::WalkBegun { .. })
            };
            self.entries.iter().find(is).map(|entry| entry.seq)
        };
        let ended = self.standing.walks.get(id).is_some_and(|walk| walk.ended.is_some());
        let is_end = |entry: &&Entry| {
            entry.draft.walk.as_ref() == Some(id) && entry.draft.what == What::WalkEnded
        };
        let end = self.entries.iter().rev().find(is_end).filter(|_| ended).map(|entry| entry.seq);
        let further = self.standing.walks.keys().filter(|walk| 1 < walk.nth);
        let later: Vec<&WalkId> =
            further.filter(|walk| end.is_some_and(|end| begun(walk) > Some(end))).collect();
        let cut = next.and_then(begun);
        if later.is_empty() && cut.is_none() {
            return None;
        }
        let counts = |entry: &&Entry| {
            cut.is_none_or(|cut| entry.seq < cut)
                && !entry.draft.walk.as_ref().is_some_and(|walk| later.contains(&walk))
        };
        Some(Standing::of(self.entries.iter().filter(counts)).facts)
    }

    /// The deviations among what needs attention, with who accepted them.
    fn deviations(&self, needs: &[Attention]) -> Vec<Deviation> {
        let found = needs.iter().filter_map(|need| {
            let kind = DeviationKind::of(&need.about)?;
            let accepted = self.standing.acceptance(need.seq?, kind).cloned();
            Some(Deviation { need: need.clone(), accepted })
        });
        found.collect()
    }

    /// Every hearing check on this job.
    #[must_use]
    pub fn checks(&self) -> Vec<Checked> {
        self.entries.iter().filter_map(Checked::of).collect()
    }

    fn photos(&self) -> Vec<RecordPhoto> {
        let photos = self.standing.photos.iter().map(|kept| {
            let list = kept.walk.as_ref().and_then(|id| self.checklist(&id.checklist));
            RecordPhoto {
                photo: kept.photo.clone(),
                walk: kept.walk.clone(),
                step: kept.step.clone(),
                title: list.zip(kept.step.as_ref()).map(|(list, at)| list.title_of(at)),
                at: kept.at,
                by: kept.by.clone(),
                seq: kept.seq,
                file: None,
            }
        });
        photos.collect()
    }

    /// Facts that somebody gave, then defaults that stand for those nobody gave.
    fn facts(&self, assumed: BTreeMap<FactName, Value>) -> Vec<RecordFact> {
        let ask = |name: &FactName| {
            let fact = self.checklists.iter().find_map(|list| asked(list, &name.name));
            fact.map(|fact| fact.ask.clone()).unwrap_or_default()
        };
        let given = self.standing.facts.iter().map(|(name, value)| RecordFact {
            name: name.clone(),
            ask: ask(name),
            value: value.clone(),
            assumed: false,
            follows: false,
        });
        let mut facts: Vec<RecordFact> = given.collect();
        let given = |name: &FactName| self.standing.facts.get(&name.name, name.row).is_some();
        let assumed = assumed.into_iter().filter(|(name, _)| !given(name));
        facts.extend(assumed.map(|(name, value)| RecordFact {
            ask: ask(&name),
            follows: self.follows(&name.name, name.row, MOST_DEEP),
            name,
            value,
            assumed: true,
        }));
        facts
    }

    /// Whether the value taken for something nobody gave comes from others, all of
    /// them given: for the pitch of a plane that of the roof.
    fn follows(&self, name: &str, row: Option<u32>, deep: usize) -> bool {
        let Some(deep) = deep.checked_sub(1) else { return false };
        let formula = self.checklists.iter().find_map(|list| {
            let computed = list.measure(name).map(|measure| &measure.formula);
            computed.or_else(|| asked(list, name)?.default.as_ref())
        });
        let Some(formula) = formula else { return false };
        let mut names = formula.names().map(|(name, _)| name).peekable();
        let given = |name: &str| match name.strip_prefix("profile.") {
            Some(figure) => {
                self.profile.as_ref().is_some_and(|known| known.figures.contains_key(figure))
            }
            None => self.standing.facts.get(name, row.filter(|_| name.contains('.'))).is_some(),
        };
        names.peek().is_some() && names.all(|name| given(name) || self.follows(name, row, deep))
    }

    fn walk(
        &self,
        id: &WalkId,
        checklist: &Arc<Checklist>,
        known: Known<'_>,
        plan: Vec<StepRef>,
        functions: &Functions,
    ) -> RecordWalk {
        let stood = self.standing.walks.get(id);
        let mut steps: Vec<RecordStep> =
            plan.into_iter().map(|at| self.step(id, known, at)).collect();
        // A step that was settled stays in the record even where the plan no
        // longer asks it.
        let settled = stood.into_iter().flat_map(|walk| walk.steps.keys());
        for at in settled {
            if steps.iter().all(|step| step.at != *at) {
                steps.push(self.step(id, known, at.clone()));
            }
        }
        let mut measures = Vec::new();
        for measure in &checklist.measures {
            let facts = rests::facts(known, functions, rests::needs(&measure.formula));
            let named = known.sheet.iter().filter(|(name, _)| name.name == measure.name);
            measures.extend(named.map(|(name, computed)| RecordMeasure {
                name: name.clone(),
                title: measure.title.clone(),
                group: measure.group.clone(),
                shown: known.show(&name.name, name.row, self.job.units),
                computed: computed.clone(),
                formula: measure.formula.text().to_owned(),
                kind: measure.kind.clone(),
                bound: measure.bound,
                facts: facts.clone(),
                source: measure.source.clone(),
                first_page: measure.first_page,
            }));
        }
        for table in &checklist.tables {
            measures.extend(columns(known, functions, table, self.job.units));
        }
        let rows = checklist.tables.iter().map(|table| (table.name.clone(), rows(known, table)));
        RecordWalk {
            warnings: known.warnings(self.job.units),
            id: id.clone(),
            checklist: Arc::clone(checklist),
            begun: stood.and_then(|walk| walk.begun).map(|(at, ..)| at),
            ended: stood.and_then(|walk| walk.ended),
            measures,
            rows: rows.collect(),
            inputs: checklist.tables.iter().filter_map(|table| input(known, table)).collect(),
            steps,
        }
    }

    fn step(&self, id: &WalkId, known: Known<'_>, at: StepRef) -> RecordStep {
        let step = known.checklist.step(&at.id);
        let stood = self.standing.step(id, &at).cloned().unwrap_or_default();
        let asked = stood.settled.as_ref().and_then(|settled| settled.asked.clone());
        let photos_taken = stood.said_taken();
        RecordStep {
            title: known.checklist.title_of(&at),
            text: asked.or_else(|| {
                step.and_then(|step| known.fill(&step.say, at.row, self.job.units).ok())
            }),
            tags: step.map(|step| step.tags.clone()).unwrap_or_default(),
            settled: stood.settled,
            corrected: stood.corrected,
            cautioned: stood.cautioned.unwrap_or_default(),
            photos_asked: step.map_or(0, |step| step.photos),
            photos_taken,
            photos_said: stood.photos_said,
            photos_kept: stood.photos_kept,
            point: stood.point,
            at,
        }
    }
}

/// Facts behind facts behind facts: none follows from so many.
const MOST_DEEP: usize = 8;

/// The fact or figure of that name.
fn asked<'a>(checklist: &'a Checklist, name: &str) -> Option<&'a super::Fact> {
    match name.strip_prefix("profile.") {
        Some(figure) => checklist.figures.iter().find(|known| known.name == figure),
        None => checklist.fact(name),
    }
}

/// The defaults that stand for facts nobody gave and figures no profile has.
fn defaults(known: Known<'_>) -> BTreeMap<FactName, Value> {
    let computed = known.sheet.iter().filter_map(|(name, computed)| match computed {
        Computed::Value(value) => Some((name, value)),
        _ => None,
    });
    let facts = computed.filter(|(name, _)| asked(known.checklist, &name.name).is_some());
    facts.map(|(name, value)| (name.clone(), value.clone())).collect()
}

/// The function that computes a table, and what it was given.
fn input(known: Known<'_>, table: &Table) -> Option<(String, RowsInput)> {
    match (&table.rows, known.sheet.rows(&table.name)) {
        (RowsFrom::Computed { function, .. }, Some(Rows::Known { input, .. })) => {
            Some((function.clone(), input.clone()))
        }
        _ => None,
    }
}

/// How many rows a table has.
fn rows(known: Known<'_>, table: &Table) -> Computed {
    match (known.rows(&table.name), known.sheet.rows(&table.name)) {
        (Some(count), _) => Computed::Value(Value::Quantity(Quantity::count(count.into()))),
        (None, Some(Rows::Cannot(why))) => Computed::Cannot(why.clone()),
        _ => Computed::Missing(known.missing_rows(&table.name)),
    }
}

/// The columns of computed rows, row by row.
fn columns(
    known: Known<'_>,
    functions: &Functions,
    table: &Table,
    units: Units,
) -> Vec<RecordMeasure> {
    let RowsFrom::Computed { function, columns, source, .. } = &table.rows else {
        return Vec::new();
    };
    let facts = rests::facts(known, functions, vec![Need::Rows(table.name.clone())]);
    let rows = 1..=known.rows(&table.name).unwrap_or(0);
    let cells = rows.flat_map(|row| columns.iter().map(move |column| (row, column)));
    let found = cells.filter_map(|(row, column)| {
        let name = FactName { name: format!("{}.{}", table.name, column.name), row: Some(row) };
        let computed = known.sheet.get(&name.name, name.row)?.clone();
        Some(RecordMeasure {
            title: column.title.clone(),
            group: String::new(),
            shown: known.show(&name.name, name.row, units),
            computed,
            formula: format!("{function}(…)"),
            kind: column.kind.clone(),
            bound: Bound::Mark,
            facts: facts.clone(),
            source: source.clone(),
            first_page: false,
            name,
        })
    });
    found.collect()
}
