//! Which parts a thing of a checklist or profile has: one line a field. Each
//! struct is taken apart in full, so that a field nobody compares does not
//! compile. Both sides of a comparison give the same parts in the same order.

use crate::domain::{
    Answer, Caution, Checklist, Fact, FactKind, FollowUp, Measure, Point, Profile, Repeat,
    RepeatEnd, RowsFrom, Step, Table, Warning,
};
use crate::measure::{Formula, Quantity, Value};

use super::{Content, Part, Weight};

/// The parts of a thing.
pub(super) type Parts = Vec<(Part, Content)>;

/// Something of which there are many, known by an identifier.
pub(super) trait Item {
    /// Identifier or name.
    fn id(&self) -> &str;
    /// Title; empty where such things have none.
    fn title(&self) -> &str;
    /// What matters most about it when it comes or goes.
    fn gist(&self) -> Content;
    /// All that can differ.
    fn parts(&self) -> Parts;
}

/// A figure of a profile: name, kind, value.
pub(super) struct Given(pub(super) String, pub(super) FactKind, pub(super) Value);

fn plain(noun: &'static str, weight: Weight, content: Content) -> (Part, Content) {
    (Part::Plain(noun, weight), content)
}

fn words(text: &str) -> Content {
    Content::Words(text.to_owned())
}

fn name(text: &str) -> Content {
    Content::Name(text.to_owned())
}

fn formula(formula: &Formula) -> Content {
    Content::Formula(formula.text().to_owned())
}

fn list(words: &[String]) -> Content {
    Content::List(words.to_vec())
}

fn maybe<T>(value: Option<&T>, content: impl FnOnce(&T) -> Content) -> Content {
    value.map_or(Content::Nothing, content)
}

fn amount(quantity: &Quantity) -> Content {
    Content::Amount(*quantity)
}

/// The head of a checklist. Its cautions, facts, steps and so on are items;
/// the hash follows from all of it.
pub(super) fn checklist(of: &Checklist) -> Parts {
    let Checklist {
        id,
        version,
        title,
        yields_to,
        sources,
        cautions: _,
        facts: _,
        figures: _,
        measures: _,
        tables: _,
        order: _,
        warnings: _,
        steps: _,
        repeats,
        follow_ups: _,
        hash: _,
        language: _,
        words: _,
    } = of;
    vec![
        plain("statement of what wins over the checklist", Weight::WORDING, words(yields_to)),
        plain("title", Weight::WORDING, words(title)),
        (Part::Sources, list(sources)),
        plain("repetition", Weight::PROOF, maybe(repeats.as_ref(), |r| name(r.word()))),
        (Part::Id, name(id)),
        plain("version", Weight::NONE, Content::Version(*version)),
    ]
}

/// The head of a profile.
pub(super) fn profile(of: &Profile) -> Parts {
    let Profile { id, version, title, source, invented, figures: _, hash: _ } = of;
    vec![
        plain("mark as invented", Weight::FIGURE, Content::Flag(*invented)),
        plain("title", Weight::WORDING, words(title)),
        plain("source", Weight::WORDING, words(source)),
        (Part::Id, name(id)),
        plain("version", Weight::NONE, Content::Version(*version)),
    ]
}

impl Item for Given {
    fn id(&self) -> &str {
        &self.0
    }

    fn title(&self) -> &str {
        ""
    }

    fn gist(&self) -> Content {
        Content::Value(self.2.clone())
    }

    fn parts(&self) -> Parts {
        let Self(_, kind, value) = self;
        vec![
            (Part::Value, Content::Value(value.clone())),
            plain("kind", Weight::FIGURE, Content::Kind(kind.clone())),
        ]
    }
}

impl Item for Caution {
    fn id(&self) -> &str {
        &self.id
    }

    fn title(&self) -> &str {
        ""
    }

    fn gist(&self) -> Content {
        words(&self.say)
    }

    fn parts(&self) -> Parts {
        let Self { id: _, say, source } = self;
        vec![
            plain("wording", Weight::CAUTION, words(say)),
            plain("source", Weight::WORDING, words(source)),
        ]
    }
}

impl Item for Fact {
    fn id(&self) -> &str {
        &self.name
    }

    fn title(&self) -> &str {
        ""
    }

    fn gist(&self) -> Content {
        words(&self.ask)
    }

    fn parts(&self) -> Parts {
        let Self { name: _, kind, ask, from, to, default } = self;
        vec![
            plain("kind", Weight::FIGURE, Content::Kind(kind.clone())),
            plain("least believable value", Weight::RANGE, maybe(from.as_ref(), amount)),
            plain("greatest believable value", Weight::RANGE, maybe(to.as_ref(), amount)),
            plain("default", Weight::FIGURE, maybe(default.as_ref(), formula)),
            plain("question", Weight::WORDING, words(ask)),
        ]
    }
}

impl Item for Measure {
    fn id(&self) -> &str {
        &self.name
    }

    fn title(&self) -> &str {
        &self.title
    }

    fn gist(&self) -> Content {
        formula(&self.formula)
    }

    fn parts(&self) -> Parts {
        let Self {
            name: _,
            title,
            group,
            formula: rule,
            kind,
            bound,
            graduation,
            source,
            first_page,
        } = self;
        vec![
            plain("formula", Weight::FIGURE, formula(rule)),
            plain("kind", Weight::FIGURE, Content::Kind(kind.clone())),
            plain("rounding", Weight::FIGURE, Content::Bound(*bound)),
            plain("graduation", Weight::FIGURE, amount(&Quantity::inches(*graduation))),
            plain("heading on the sheet", Weight::WORDING, words(group)),
            plain("title", Weight::WORDING, words(title)),
            plain("source", Weight::WORDING, words(source)),
            plain(
                "on the first page of the record",
                Weight::WORDING,
                words(if *first_page { "yes" } else { "" }),
            ),
        ]
    }
}

impl Item for Table {
    fn id(&self) -> &str {
        &self.name
    }

    fn title(&self) -> &str {
        &self.title
    }

    fn gist(&self) -> Content {
        Content::Nothing
    }

    fn parts(&self) -> Parts {
        let Self { name: _, title, rows } = self;
        let mut parts = match rows {
            RowsFrom::Counted(fact) => vec![
                plain("fact that counts them", Weight::MEANING, name(fact)),
                plain("function that computes them", Weight::MEANING, Content::Nothing),
                plain("values it is given", Weight::FIGURE, Content::List(Vec::new())),
                plain("titles of its columns", Weight::WORDING, Content::List(Vec::new())),
                plain("source", Weight::WORDING, Content::Nothing),
            ],
            RowsFrom::Computed { function, with, columns, source } => {
                let given = with.iter().map(|(key, formula)| format!("{key} = {}", formula.text()));
                let titles = columns.iter().map(|c| format!("{}: {}", c.name, c.title));
                vec![
                    plain("fact that counts them", Weight::MEANING, Content::Nothing),
                    plain("function that computes them", Weight::MEANING, name(function)),
                    plain("values it is given", Weight::FIGURE, Content::List(given.collect())),
                    plain(
                        "titles of its columns",
                        Weight::WORDING,
                        Content::List(titles.collect()),
                    ),
                    plain("source", Weight::WORDING, words(source)),
                ]
            }
        };
        parts.push(plain("name of one row", Weight::WORDING, words(title)));
        parts
    }
}

impl Item for Warning {
    fn id(&self) -> &str {
        &self.id
    }

    fn title(&self) -> &str {
        ""
    }

    fn gist(&self) -> Content {
        Content::Said(self.say.clone())
    }

    fn parts(&self) -> Parts {
        let Self { id: _, each, when, say, source } = self;
        vec![
            plain("condition", Weight::FIGURE, formula(when)),
            (Part::Each, maybe(each.as_ref(), |each| name(each))),
            (Part::Say, Content::Said(say.clone())),
            plain("source", Weight::WORDING, words(source)),
        ]
    }
}

impl Item for Step {
    fn id(&self) -> &str {
        &self.id
    }

    fn title(&self) -> &str {
        &self.title
    }

    fn gist(&self) -> Content {
        maybe(self.point.as_ref(), |point| Content::Point(point.clone()))
    }

    fn parts(&self) -> Parts {
        let Self {
            id: _,
            each,
            title,
            say,
            why,
            answer,
            only_if,
            cautions,
            photos,
            point,
            tags,
            least_s,
        } = self;
        vec![
            (Part::Cautions, list(cautions)),
            (Part::Point, maybe(point.as_ref(), |point| Content::Point(point.clone()))),
            plain("answer", Weight::MEANING, Content::Answer(answer.clone())),
            (Part::OnlyIf, maybe(only_if.as_ref(), formula)),
            (Part::Each, maybe(each.as_ref(), |each| name(each))),
            plain("number of photos", Weight::PROOF, Content::Number(*photos)),
            plain("least time", Weight::PROOF, maybe(least_s.as_ref(), |s| Content::Seconds(*s))),
            (Part::Say, Content::Said(say.clone())),
            plain("reason", Weight::WORDING, words(why)),
            plain("title", Weight::WORDING, words(title)),
            (Part::Tags, list(tags)),
        ]
    }
}

impl Item for FollowUp {
    fn id(&self) -> &str {
        &self.id
    }

    fn title(&self) -> &str {
        &self.title
    }

    fn gist(&self) -> Content {
        Content::Nothing
    }

    fn parts(&self) -> Parts {
        let Self { id: _, after, checklist, title, lasts_min, repeats, who, fixed } = self;
        let every = |repeat: &Repeat| Content::Span(repeat.every.fieldwise());
        let ends = |repeat: &Repeat| match repeat.ends {
            RepeatEnd::Times(times) => Content::Number(times),
            RepeatEnd::Until(until) => Content::Span(until.fieldwise()),
        };
        vec![
            plain("time after the job", Weight::PROOF, Content::Span(after.fieldwise())),
            plain("checklist", Weight::PROOF, maybe(checklist.as_ref(), |id| name(id))),
            plain("time from one to the next", Weight::PROOF, maybe(repeats.as_ref(), every)),
            plain("end of coming back", Weight::PROOF, maybe(repeats.as_ref(), ends)),
            plain("mark as fixed", Weight::PROOF, Content::Flag(*fixed)),
            plain("role", Weight::WORDING, maybe(who.as_ref(), |who| words(who))),
            plain("length", Weight::WORDING, Content::Minutes(*lasts_min)),
            plain("title", Weight::WORDING, words(title)),
        ]
    }
}

/// The parts of an inspection point.
pub(super) fn point(of: &Point) -> Parts {
    let Point { kind, role, when } = of;
    vec![
        (Part::PointKind, Content::PointKind(*kind)),
        (Part::Role, words(role)),
        (Part::When, Content::When(when.clone())),
    ]
}

/// The parts of an answer; answers of one kind have the same.
pub(super) fn answer(of: &Answer) -> Parts {
    match of {
        Answer::Done | Answer::Note => Vec::new(),
        Answer::Measure { measure, tolerance } => vec![
            plain("tolerance", Weight::FIGURE, amount(tolerance)),
            plain("measure it is compared with", Weight::FIGURE, name(measure)),
        ],
        Answer::Count { measure } => {
            let least = maybe(measure.as_ref(), |measure| name(measure));
            vec![plain("least number", Weight::FIGURE, least)]
        }
        Answer::Choice { options, wanted } => {
            vec![(Part::Wanted, list(wanted)), (Part::Options, list(options))]
        }
        Answer::Fact { fact } => vec![plain("fact it asks", Weight::FIGURE, name(fact))],
    }
}
