//! What the desk sees after a leak call, as text and as JSON
//! (`chalkhand-callback/1`). The order is `domain::desk`'s.

use crate::domain::desk::{Desk, DeskStep, Place, Rank, WhyPlace, WhyStep};
use crate::domain::{At, DeviationKind, Due, Json, Record};

use super::callback::{accepted, call, caller, deviation, finding, stands, water};
use super::json::{follow_up, list, needed, object};
use super::page::Page;
use super::{order, photos, words};

/// Why a step stands where it stands, before its own reasons.
#[must_use]
pub fn rank(rank: Rank) -> &'static str {
    match rank {
        Rank::AmissHere => "look first: something is amiss, at the place",
        Rank::AmissWhole => "look early: something is amiss, on the whole roof",
        Rank::Here => "at the place, and it stands as asked",
        Rank::AmissElsewhere => "elsewhere, but something is amiss",
        Rank::Whole => "of the whole roof, and it stands as asked",
        Rank::Elsewhere => "elsewhere, and it stands as asked",
    }
}

/// How the order was made, when it could not go by the place.
const NO_PLACE: &str = "Nothing the caller said matches a row of the plan, and no row was named: \
every row counts alike. Name one with --plane or --run at the next call, or look at the drawing of \
the sheet.";

/// What the view is not.
pub const IS_NOT: &str = "It says what was logged and where to look first. It finds no cause: a \
deviation may have nothing to do with the water, and a step that stands as asked may have.";

/// For a terminal.
#[must_use]
pub fn text(record: &Record, desk: &Desk, due: &[Due], now: At) -> String {
    let (job, units, of) = (&record.job, record.job.units, &desk.callback.call);
    let mut page = Page::default();
    page.paragraph(0, &format!("CALLBACK {} of job {}, {}", of.id, job.number, job.address));
    if job.invented {
        page.paragraph(0, words::INVENTED);
    }
    page.paragraph(0, &format!("Owner {}, {}", job.owner, job.phone));
    page.paragraph(0, &format!("Reported {} by {}", of.reported, caller(of)));
    page.heading("Where water was said to come in");
    page.item(2, &water(of));
    for place in &desk.places {
        page.item(2, &format!("{}: {}", place.at, because(place)));
    }
    if desk.places.is_empty() {
        page.paragraph(2, NO_PLACE);
    }
    page.heading("Waterproofing steps, those to look at first before the others");
    if desk.steps.is_empty() {
        page.paragraph(2, "None: no checklist walked on this job has steps that keep water out.");
    }
    let mut last = None;
    for step in &desk.steps {
        if last != Some(step.rank) {
            page.paragraph(2, &sentence(rank(step.rank)));
            last = Some(step.rank);
        }
        let title = name(step);
        page.item(4, &format!("{title}: {} [{}]", stands(&step.step, units), why(step)));
    }
    page.heading("Deviations");
    for (here, one) in &desk.deviations {
        let line = words::numbered(&one.need, order::title_in(record, &one.need).as_deref());
        let line = match &one.accepted {
            None => line,
            Some(acceptance) => format!("{line} Since then {}.", accepted(acceptance)),
        };
        page.item(2, &format!("{}{line}", at_place(*here)));
    }
    if desk.deviations.is_empty() {
        page.paragraph(2, "None.");
    }
    if !desk.open.is_empty() {
        page.heading("Other open matters");
    }
    for (here, need) in &desk.open {
        let line = words::attention(need, order::title_in(record, need).as_deref());
        page.item(2, &format!("{}{line}", at_place(*here)));
    }
    page.heading("Photos of these steps, as somebody said they were taken or kept them");
    if let Some(amiss) = photos::all_amiss(record) {
        page.paragraph(2, &amiss);
    }
    let photos = desk
        .steps
        .iter()
        .filter_map(|step| Some((step, photos::counted(record, &step.walk, &step.step)?)));
    let photos: Vec<_> = photos.collect();
    for (step, counted) in &photos {
        page.item(2, &format!("{}. {counted}", name(step)));
    }
    if photos.is_empty() {
        page.paragraph(2, "None was asked for.");
    }
    page.heading("Who was there on the days of these steps, and the weather");
    for day in &desk.days {
        let people = day.people.iter().map(|by| order::with_roles(record, by)).collect::<Vec<_>>();
        page.item(2, &format!("{}: {}", day.date, people.join(", ")));
        for (walk, step) in &day.told {
            page.item(6, &format!("{} ({walk}): {}", step.title, stands(step, units)));
        }
        if day.told.is_empty() {
            page.paragraph(6, "No step of that day says what the weather was.");
        }
    }
    if desk.days.is_empty() {
        page.paragraph(2, "None of these steps was logged.");
    }
    page.heading("What was promised");
    for due in due {
        let when = if due.start.ms() < now.ms() { "past" } else { "to come" };
        page.item(2, &format!("{} ({when})", words::due(due)));
    }
    if due.is_empty() {
        page.paragraph(2, "No date was given out.");
    }
    calls(&mut page, desk);
    page.blank();
    page.paragraph(0, IS_NOT);
    page.into_string()
}

fn calls(page: &mut Page, desk: &Desk) {
    page.heading("Visits and the finding");
    for (walk, visited) in &desk.callback.visits {
        page.item(2, &format!("{} by {}: {walk}", words::day_and_clock(visited.at), visited.by));
    }
    match &desk.callback.closed {
        Some((found, closed)) => {
            let when = words::day_and_clock(closed.at);
            page.item(2, &format!("Closed {when} by {}; {}.", closed.by, finding(found)));
        }
        None => page.paragraph(2, "It is open."),
    }
    for other in &desk.others {
        let state = match &other.closed {
            None => "open".to_owned(),
            Some((found, _)) => finding(found),
        };
        let (id, reported) = (other.call.id, other.call.reported);
        page.item(2, &format!("Call {id}, {reported}: {}; {state}", water(&other.call)));
    }
}

/// The same as JSON.
#[must_use]
pub fn json(record: &Record, desk: &Desk, due: &[Due]) -> Json {
    let units = record.job.units;
    let steps = desk.steps.iter().map(|step| {
        Json::object([
            ("walk", Json::text(&step.walk)),
            ("step", Json::text(&step.step.at)),
            ("title", Json::text(&step.step.title)),
            ("rank", Json::text(rank(step.rank))),
            ("because", list(step.because.iter().map(|why| Json::from(reason(why))))),
            ("stands", Json::from(stands(&step.step, units))),
            ("photos_asked", Json::from(step.step.photos_asked)),
            ("photos_said_taken", Json::from(step.step.photos_taken)),
        ])
    });
    let placed = |here: bool, json: Json| match json {
        Json::Object(mut members) => {
            members.insert("at_place", Json::Bool(here));
            Json::Object(members)
        }
        other => other,
    };
    let deviations = desk.deviations.iter().map(|(here, d)| placed(*here, deviation(record, d)));
    let open = desk.open.iter().map(|(here, need)| placed(*here, needed(record, need, false)));
    let days = desk.days.iter().map(|day| {
        let told = day.told.iter().map(|(walk, step)| {
            Json::object([
                ("walk", Json::text(walk)),
                ("step", Json::text(&step.at)),
                ("title", Json::text(&step.title)),
                ("stands", Json::from(stands(step, units))),
            ])
        });
        Json::object([
            ("date", Json::text(day.date)),
            ("people", list(day.people.iter().map(|by| Json::from(order::with_roles(record, by))))),
            ("told", list(told)),
        ])
    });
    let places = desk.places.iter().map(|place| {
        Json::object([
            ("table", Json::text(&place.at.table)),
            ("row", Json::from(place.at.row)),
            ("because", Json::from(because(place))),
        ])
    });
    object(vec![
        ("format", "chalkhand-callback/1".into()),
        ("is_not", IS_NOT.into()),
        ("invented", Json::Bool(record.job.invented)),
        ("job", Json::text(&record.job.number)),
        ("address", Json::text(&record.job.address)),
        ("callback", object(call(&desk.callback.call, &desk.callback.opened))),
        ("open", Json::Bool(desk.callback.closed.is_none())),
        ("places", list(places)),
        ("waterproofing", list(steps)),
        ("deviations", list(deviations)),
        ("attention", list(open)),
        ("days", list(days)),
        ("promised", list(due.iter().map(follow_up))),
    ])
}

/// Why a step stands where it stands.
#[must_use]
pub fn why(step: &DeskStep) -> String {
    if step.because.is_empty() {
        return "stands as asked".to_owned();
    }
    step.because.iter().map(reason).collect::<Vec<_>>().join("; ")
}

/// One reason why a step stands where it stands.
#[must_use]
pub fn reason(why: &WhyStep) -> String {
    match why {
        WhyStep::Deviates { kind, accepted_by } => {
            let what = match kind {
                DeviationKind::OffTarget => "off target",
                DeviationKind::Skipped => "left out",
                DeviationKind::TooFast => "confirmed too fast",
                DeviationKind::PhotosMissing => "photos missing",
            };
            match accepted_by {
                None => format!("{what}, and nobody accepted it"),
                Some(by) => format!("{what}, accepted by {by}"),
            }
        }
        WhyStep::AskedOtherwise => "facts were changed after it was answered".to_owned(),
        WhyStep::NotLogged => "not logged".to_owned(),
        WhyStep::Corrected => "its entry was corrected".to_owned(),
        WhyStep::AtPlace(row) => format!("at the place: {row}"),
        WhyStep::Elsewhere(row) => format!("elsewhere: {row}"),
        WhyStep::WholeRoof => "of the whole roof".to_owned(),
    }
}

/// Why a row of the plan is a place of the call.
#[must_use]
pub fn because(place: &Place) -> String {
    let at = &place.at;
    match &place.because {
        WhyPlace::Named => format!("{at} was named at the call"),
        WhyPlace::Said => format!("the caller said “{at}”"),
        WhyPlace::SaidAs { words, column } => {
            let column = column.replace('_', " ");
            format!("the caller said “{words}”, and on the plan that is {at} ({column})")
        }
        WhyPlace::Under(on) => format!("{on} is on {at}"),
        WhyPlace::On(base) => format!("{at} lies on {base}"),
    }
}

fn name(step: &DeskStep) -> String {
    format!("{} ({})", step.step.title, step.walk)
}

fn at_place(here: bool) -> &'static str {
    if here { "At the place. " } else { "" }
}

fn sentence(text: &str) -> String {
    let mut letters = text.chars();
    letters
        .next()
        .map_or_else(String::new, |first| format!("{}{}:", first.to_uppercase(), letters.as_str()))
}
