//! What differs between two checklists or profiles, in plain sentences for a
//! foreman or an office person. What differs, and in which order it is told,
//! is decided in `domain::compare`.

use jiff::fmt::friendly::{Designator, Spacing, SpanPrinter};

use super::{blank, listing, words};
use crate::domain::compare::{
    Advice, Change, Content, Part, Raise, Thing, ThingKind, What, advice, compare, compare_profiles,
};
use crate::domain::{Bound, Checklist, Json, Point, PointKind, PointWhen, Profile, Units, Version};
use crate::measure::{Dimension, Quantity, Ratio, Value, exact_text};

/// One change, told.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Told {
    /// Thing and part, for programs: `step-tolerance`, `caution-added`.
    pub kind: String,
    /// Identifier or name of the thing.
    pub what: String,
    /// The sentence.
    pub sentence: String,
}

/// What differs between two checklists, and what is wrong with the version.
#[must_use]
pub fn checklists(old: &Checklist, new: &Checklist) -> Vec<Told> {
    let changes = compare(old, new);
    let title = |id: &str| {
        let step = new.step(id).or_else(|| old.step(id));
        step.map_or_else(|| format!("`{id}`"), |step| format!("\"{}\"", step.title))
    };
    let wrong = advice(old.version, new.version, &changes);
    told(&changes, &title, &new.id, wrong.map(|wrong| warning(wrong, old.version, new.version)))
}

/// What differs between two profiles, and what is wrong with the version.
#[must_use]
pub fn profiles(old: &Profile, new: &Profile) -> Vec<Told> {
    let changes = compare_profiles(old, new);
    let wrong = advice(old.version, new.version, &changes);
    let title = |id: &str| format!("`{id}`");
    told(&changes, &title, &new.id, wrong.map(|wrong| warning(wrong, old.version, new.version)))
}

/// The changes as JSON: a list of `{kind, what, sentence}`.
#[must_use]
pub fn json(told: &[Told]) -> Json {
    let one = |told: &Told| {
        Json::object([
            ("kind", Json::text(&told.kind)),
            ("what", Json::text(&told.what)),
            ("sentence", Json::text(&told.sentence)),
        ])
    };
    Json::List(told.iter().map(one).collect())
}

/// The title of a step by its identifier, quoted.
type Titles<'a> = &'a dyn Fn(&str) -> String;

fn told(changes: &[Change], title: Titles<'_>, id: &str, warning: Option<String>) -> Vec<Told> {
    let one = |change: &Change| Told {
        kind: kind(change),
        what: change.thing.id.clone(),
        sentence: ended(sentence(change, title)),
    };
    let warning = warning.map(|sentence| Told {
        kind: "version-warning".to_owned(),
        what: id.to_owned(),
        sentence,
    });
    changes.iter().map(one).chain(warning).collect()
}

fn kind(change: &Change) -> String {
    let (_, thing) = nouns(change.thing.kind);
    let what = match &change.what {
        What::Added { .. } => "added".to_owned(),
        What::LeftOut { .. } => "left-out".to_owned(),
        What::Moved { .. } => "moved".to_owned(),
        What::Changed { part, .. } => noun(*part).replace(' ', "-"),
    };
    format!("{thing}-{what}")
}

/// What a sentence and what a program calls a thing of that kind.
fn nouns(kind: ThingKind) -> (&'static str, &'static str) {
    match kind {
        ThingKind::Head => ("", "head"),
        ThingKind::Caution => ("Caution", "caution"),
        ThingKind::Fact => ("Fact", "fact"),
        ThingKind::Figure | ThingKind::Given => ("Figure", "figure"),
        ThingKind::Measure => ("Measure", "measure"),
        ThingKind::Table => ("Table of rows", "table"),
        ThingKind::Warning => ("Warning", "warning"),
        ThingKind::Step => ("Step", "step"),
        ThingKind::FollowUp => ("Follow-up", "follow-up"),
    }
}

/// What a part is called.
fn noun(part: Part) -> &'static str {
    match part {
        Part::Plain(noun, _) => noun,
        Part::Id => "identifier",
        Part::Say => "sentence",
        Part::Value => "value",
        Part::Cautions => "cautions",
        Part::Point => "point",
        Part::PointKind => "point's kind",
        Part::Role => "point's role",
        Part::When => "point's condition",
        Part::OffTarget => "point's steps",
        Part::Each => "rows",
        Part::OnlyIf => "condition",
        Part::Options => "options",
        Part::Wanted => "wanted answers",
        Part::Sources => "sources",
        Part::Tags => "tags",
    }
}

/// A thing at the beginning of a sentence.
fn label(thing: &Thing) -> String {
    let (noun, _) = nouns(thing.kind);
    match thing.kind {
        ThingKind::Step | ThingKind::FollowUp => format!("{noun} \"{}\"", thing.title),
        _ if thing.title.is_empty() => format!("{noun} `{}`", thing.id),
        _ => format!("{noun} `{}` ({})", thing.id, thing.title),
    }
}

/// A thing after which another comes.
fn mention(thing: &Thing) -> String {
    match thing.kind {
        ThingKind::Step | ThingKind::FollowUp => format!("\"{}\"", thing.title),
        _ => format!("`{}`", thing.id),
    }
}

/// The sentence, without what ends it.
fn sentence(change: &Change, title: Titles<'_>) -> String {
    let label = label(&change.thing);
    let place = |after: &Option<Thing>| match after {
        Some(thing) => format!("after {}", mention(thing)),
        None => "first".to_owned(),
    };
    match &change.what {
        What::Added { after, gist } => match (change.thing.kind, gist) {
            (ThingKind::Step, Content::Point(with)) => {
                let with = point(with, title);
                format!("{label} is new, {}, with a {with}", place(after))
            }
            (ThingKind::Step, _) => format!("{label} is new, {}", place(after)),
            (ThingKind::Figure, asks) => {
                let asks = content(asks, title);
                format!("{label} is new, the product profile has to give it: {asks}")
            }
            (_, Content::Nothing) => format!("{label} is new"),
            (_, gist) => format!("{label} is new: {}", content(gist, title)),
        },
        What::LeftOut { gist } => match gist {
            Content::Point(with) => {
                format!("{label} is left out, and with it its {}", point(with, title))
            }
            Content::Nothing => format!("{label} is left out"),
            gist => format!("{label} is left out; it was: {}", content(gist, title)),
        },
        What::Moved { from, to } => {
            format!("{label} is moved: it came {}, now it comes {}", place(from), place(to))
        }
        What::Changed { part, old, new } => {
            changed(change.thing.kind, &label, *part, old, new, title)
        }
    }
}

fn changed(
    kind: ThingKind,
    label: &str,
    part: Part,
    old: &Content,
    new: &Content,
    title: Titles<'_>,
) -> String {
    use Content::{Name, Nothing, Words};
    let (was, now) = (content(old, title), content(new, title));
    match (part, old, new) {
        (Part::Id, ..) => format!("These are two different ones: {was} and {now}"),
        (Part::Value, ..) => format!("{label}: was {was}, now {now}"),
        (Part::Cautions, Nothing, Words(id)) => format!("{label} now says the caution `{id}` too"),
        (Part::Cautions, Words(id), Nothing) => {
            format!("{label} no longer says the caution `{id}`")
        }
        (Part::Point, Nothing, _) => format!("{label} has a new {now}"),
        (Part::Point, _, Nothing) => format!("{label} has lost its {was}"),
        (Part::PointKind, ..) => format!("{label}: its point was a {was}, now it is a {now}"),
        (Part::Role, Words(was), Words(now)) => {
            format!("{label}: its point was for the {was}, now it is for the {now}")
        }
        (Part::When, ..) => format!("{label}: its point applied {was}, now it applies {now}"),
        (Part::OffTarget, Nothing, Words(id)) => {
            format!("{label}: its point now applies too when {} is off target", title(id))
        }
        (Part::OffTarget, Words(id), Nothing) => {
            format!("{label}: its point no longer applies when {} is off target", title(id))
        }
        (Part::Each, Nothing, Name(_)) => format!("{label} was done once, now for each {now}"),
        (Part::Each, Name(_), Nothing) => format!("{label} was done for each {was}, now once"),
        (Part::Each, ..) => format!("{label} was done for each {was}, now for each {now}"),
        (Part::OnlyIf, Nothing, _) => format!("{label} was always asked, now only if {now}"),
        (Part::OnlyIf, _, Nothing) => format!("{label} was asked only if {was}, now always"),
        (Part::OnlyIf, ..) => format!("{label} was asked only if {was}, now only if {now}"),
        (Part::Options, Nothing, _) => format!("{label} can now be answered {now} too"),
        (Part::Options, _, Nothing) => format!("{label} can no longer be answered {was}"),
        (Part::Wanted, Nothing, _) => format!("{label}: the answer {now} is now wanted too"),
        (Part::Wanted, _, Nothing) => format!("{label}: the answer {was} is no longer wanted"),
        (Part::Sources, Nothing, _) => format!("A source is new: {now}"),
        (Part::Sources, _, Nothing) => format!("A source is dropped: {was}"),
        (Part::Tags, Nothing, Words(tag)) => format!("{label} is now found by `{tag}` too"),
        (Part::Tags, Words(tag), Nothing) => format!("{label} is no longer found by `{tag}`"),
        (Part::Wanted, ..) => format!("{label}: the wanted answer was {was}, now {now}"),
        (part, Content::List(_), _) if kind == ThingKind::Head => {
            format!("The order of the {} was {was}, now {now}", noun(part))
        }
        (part, Content::List(_), _) => {
            format!("{label}: the order of the {} was {was}, now {now}", noun(part))
        }
        (part, ..) if kind == ThingKind::Head => {
            format!("The {} was {was}, now {now}", noun(part))
        }
        (part, ..) => format!("{label}: the {} was {was}, now {now}", noun(part)),
    }
}

/// What a part holds, within a sentence.
fn content(content: &Content, title: Titles<'_>) -> String {
    let quoted = |text: &str| format!("“{text}”");
    match content {
        Content::Nothing => "none".to_owned(),
        Content::Words(text) if text.is_empty() => "none".to_owned(),
        Content::Words(text) => quoted(text),
        Content::Name(name) | Content::Formula(name) => format!("`{name}`"),
        Content::Said(pieces) => quoted(&blank::template(pieces)),
        // The only list that is told when it is empty is the one of wanted answers.
        Content::List(words) if words.is_empty() => "any".to_owned(),
        Content::List(words) => {
            words.iter().map(|word| quoted(word)).collect::<Vec<_>>().join(", ")
        }
        Content::Number(many) => many.to_string(),
        Content::Seconds(s) if 60 <= *s && s % 60 == 0 => format!("{} min", s / 60),
        Content::Seconds(s) => format!("{s} s"),
        Content::Minutes(min) => format!("{min} min"),
        Content::Span(span) => SpanPrinter::new()
            .designator(Designator::Verbose)
            .spacing(Spacing::BetweenUnitsAndDesignators)
            .span_to_string(&span.0),
        Content::Amount(quantity) | Content::Value(Value::Quantity(quantity)) => amount(*quantity),
        Content::Value(Value::Text(text)) => quoted(text),
        Content::Value(value) => words::value(value, Units::Us),
        Content::Bound(Bound::Minimum) => "up, as a least value".to_owned(),
        Content::Bound(Bound::Maximum) => "down, as a greatest value".to_owned(),
        Content::Bound(Bound::Mark) => "to the nearest mark".to_owned(),
        Content::Kind(kind) => kind.word().to_owned(),
        Content::Answer(answer) => quoted(&listing::answer(answer)),
        Content::Point(with) => point(with, title),
        Content::PointKind(kind) => point_kind(*kind).to_owned(),
        Content::When(when) => applies(when, title),
        Content::Version(version) => version.to_string(),
        Content::Flag(yes) => (if *yes { "yes" } else { "no" }).to_owned(),
    }
}

/// Inches below a foot as on a drawing, everything else as on the sheet.
fn amount(quantity: Quantity) -> String {
    let short = quantity.dimension == Dimension::LENGTH && quantity.value.abs() < Ratio::int(12);
    if short { exact_text(quantity) } else { words::quantity(quantity, Units::Us) }
}

fn point_kind(kind: PointKind) -> &'static str {
    match kind {
        PointKind::Hold => "hold point",
        PointKind::Witness => "witness point",
    }
}

fn point(point: &Point, title: Titles<'_>) -> String {
    let text = format!("{} for the {}", point_kind(point.kind), point.role);
    match &point.when {
        PointWhen::Always => text,
        when => format!("{text}, {}", applies(when, title)),
    }
}

fn applies(when: &PointWhen, title: Titles<'_>) -> String {
    match when {
        PointWhen::Always => "always".to_owned(),
        PointWhen::OffTarget(ids) => {
            let titles = ids.iter().map(|id| title(id)).collect::<Vec<_>>();
            format!("when {} is off target", titles.join(" or "))
        }
        PointWhen::Skipped(id) => format!("when {} was skipped", title(id)),
    }
}

/// Ends a sentence, unless what it quotes at its end has ended it.
fn ended(sentence: String) -> String {
    let over = [".”", "?”", "!”"].iter().any(|end| sentence.ends_with(end));
    if over { sentence } else { sentence + "." }
}

fn warning(wrong: Advice, old: Version, new: Version) -> String {
    let why = |part: Raise| match part {
        Raise::Major => "a step means something else, or something is gone",
        Raise::Minor => "something was added",
        Raise::Patch => "only wording differs, if it still means the same",
    };
    match wrong {
        Advice::NotRaised { part, to } => format!(
            "WARNING: the version is still {new} although the content differs: {}. Raise it to {to}.",
            why(part)
        ),
        Advice::RaisedTooLittle { part, to } => format!(
            "WARNING: the version was raised from {old} to {new} only, but {}. Raise it to {to}.",
            why(part)
        ),
        Advice::Lower => format!(
            "WARNING: the version fell from {old} to {new}. Name the older one first, or raise it."
        ),
    }
}
