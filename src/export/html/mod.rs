//! The install record, and in `sheet` the sheet, as one self-contained page for
//! screen and paper. A page fetches nothing, runs nothing, and every meaning is
//! in words: the blue and the red line only repeat what a heading says.

mod callbacks;
mod pictures;
mod sheet;
mod writer;

use crate::domain::{
    Computed, Due, Hash, Job, Note, PinKind, PointKind, PointStanding, Record, RecordFact,
    RecordStep, RecordWalk, WalkId,
};

use self::writer::{Html, Row};
use super::photos::{self, Previews};
use super::{callback, drawing, first_page, order, sheet_parts, sound, words};

pub use self::sheet::{Drawing, sheet};

/// The page without its photos.
#[must_use]
pub fn record(record: &Record, due: &[Due]) -> String {
    record_with_photos(record, due, &Previews::new(), None)
}

/// The sealed record of the same job, to compare by eye.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct SealedAs {
    /// SHA-256 of the record without its seal.
    pub hash: Hash,
    /// The key of the device that sealed it.
    pub key: String,
}

/// The page. What a leak call needs comes first; then every step, the figures,
/// and what all of it rests on. The previews become part of it.
#[must_use]
pub fn record_with_photos(
    record: &Record,
    due: &[Due],
    previews: &Previews,
    sealed: Option<&SealedAs>,
) -> String {
    let mut page = Html::default();
    head(&mut page, "Install record", &record.job, "");
    page.raw("<main>\n<section>\n");
    front(&mut page, record);
    computed(&mut page, record);
    open_matters(&mut page, record);
    callbacks::accepted(&mut page, record);
    page.raw("</section>\n");
    let parts = parts(record, due, previews);
    page.contents(&parts).add(&parts);
    page.raw("</main>\n<footer>\n<h2>What this record is not</h2>\n");
    page.element("<p>", words::IS_NOT, "</p>\n");
    seal(&mut page, sealed);
    page.raw("</footer>\n</body>\n</html>\n");
    page.into_string()
}

/// What follows what a leak call needs first.
fn parts(record: &Record, due: &[Due], previews: &Previews) -> Html {
    let mut parts = Html::default();
    some_steps(&mut parts, record, "Waterproofing steps", &order::waterproofing(record));
    let plates = drawing::plates(record);
    if !plates.is_empty() {
        parts.heading("The drawing");
    }
    sheet::drawings(&mut parts, &plates);
    parts.raw("<section>\n").heading("Every step, in order");
    parts
        .raw("<p>Each line is what now stands. A correction never replaces what was logged: what ");
    parts.raw("stood before is kept beside it. What was read back is what stands under Found; the time is that of the last yes.</p>\n");
    for walk in &record.walks {
        steps(&mut parts, record, walk);
    }
    parts.raw("</section>\n");
    pictures::photos(&mut parts, record, previews);
    notes(&mut parts, record);
    for (tag, heading) in [("material", "Materials and lots"), ("weather", "Weather")] {
        some_steps(&mut parts, record, heading, &order::tagged(record, tag));
    }
    callbacks::callbacks(&mut parts, record);
    dates(&mut parts, due);
    figures(&mut parts, record);
    cautions(&mut parts, record);
    foundations(&mut parts, record);
    listened(&mut parts, record);
    heard(&mut parts, record);
    parts
}

/// A page can be changed by anybody; the sealed record is named for comparison.
fn seal(page: &mut Html, sealed: Option<&SealedAs>) {
    let Some(SealedAs { hash, key }) = sealed else {
        page.raw("<p>This page has no seal: the PDF and the JSON of the record have one.</p>\n");
        return;
    };
    page.raw("<p>This page has no seal of its own. The PDF and the JSON of the same record have ");
    page.raw("one, and show these to compare:</p>\n<ul>\n<li>SHA-256 of the record without its ");
    page.element("seal: <span class=\"hash\">", &hash.to_string(), "</span></li>\n<li>Key of the ");
    page.element("device that sealed it: <span class=\"hash\">", key, "</span></li>\n</ul>\n");
}

/// A value for text and for quoted attributes of any page.
#[must_use]
pub fn escape(text: &str) -> String {
    Html::of(text).into_string()
}

/// Everything before the body; `css` comes after what all pages have.
fn head(page: &mut Html, kind: &'static str, job: &Job, css: &'static str) {
    page.raw("<!DOCTYPE html>\n<html lang=\"en\">\n<head>\n<meta charset=\"utf-8\">\n");
    page.raw("<meta name=\"viewport\" content=\"width=device-width, initial-scale=1\">\n");
    // Whatever a value might smuggle in, the page may load and run nothing.
    page.raw("<meta http-equiv=\"Content-Security-Policy\" content=\"default-src 'none'; ");
    page.raw("style-src 'unsafe-inline'; img-src data:\">\n<title>");
    page.raw(kind)
        .raw(", job ")
        .text(&job.number)
        .raw(", ")
        .text(&job.address)
        .raw("</title>\n<style>\n");
    page.raw(include_str!("record.css")).raw(css);
    page.raw("@page { @bottom-left { font: 8pt sans-serif; content: ");
    let invented = if job.invented { ", INVENTED EXAMPLE" } else { "" };
    page.css_string(&format!("{kind}, job {}{invented}", job.number));
    page.raw("; } }\n</style>\n</head>\n<body>\n");
}

fn front(page: &mut Html, record: &Record) {
    let job = &record.job;
    if job.invented {
        page.element("<p class=\"invented\">", words::INVENTED, "</p>\n");
    }
    if let Some(unfinished) = first_page::unfinished(record) {
        page.element("<p class=\"invented\">", &unfinished, "</p>\n");
    }
    page.raw("<p class=\"kind\">Install record, job ").text(&job.number).raw("</p>\n");
    page.element("<h1>", &job.address, "</h1>\n");
    page.raw("<hr class=\"snapped\">\n<dl class=\"facts\">\n");
    let mut done = Html::default();
    for (at, walk) in record.walks.iter().enumerate() {
        done.raw(if at == 0 { "" } else { "\n" }).text(&order::walk_title(walk));
        done.raw("<span class=\"more\">, ").add(&walked(walk)).raw("</span>");
    }
    pair(page, "What was done, and when", &done);
    pair(page, "Product", &product(record));
    let who = first_page::who(record);
    let who = if who.is_empty() { "nobody yet".to_owned() } else { who.join("\n") };
    pair(page, "Owner and phone", &Html::of(&format!("{}, {}", job.owner, job.phone)));
    let begun = record.walks.iter().any(|walk| walk.begun.is_some());
    let by = if begun { "Installed by" } else { "To be installed by" };
    pair(page, by, &Html::of(&job.company));
    pair(page, "Who logged it", &Html::of(&who));
    let times = format!("\ntimes are the clock at the address, {}", job.time_zone);
    let mut code = Html::of(&job.code_edition);
    code.element("<span class=\"more\">", &times, "</span>");
    let points = first_page::points(record);
    if !points.is_empty() {
        pair(page, "Hold and witness points", &Html::of(&points.join("\n")));
    }
    let calls = record.callbacks.len();
    if 0 < calls {
        let open = record.callbacks.iter().filter(|one| one.standing.closed.is_none()).count();
        let mut html = Html::default();
        html.raw("<a href=\"#calls\">").text(&format!("{calls} after the install, {open} open"));
        pair(page, "Leak calls", html.raw("</a>"));
    }
    pair(page, "Code edition in force there", &code);
    page.raw("</dl>\n");
}

/// The measures that a checklist puts first, as on the first page of the PDF.
fn computed(page: &mut Html, record: &Record) {
    let units = record.job.units;
    let first = record.walks.iter().flat_map(|walk| &walk.measures);
    let first = first.filter(|m| m.first_page && matches!(m.computed, Computed::Value(_)));
    let rows: Vec<Row> = first
        .map(|m| {
            let line = order::measure_line(&order::tables(record), m);
            Row::Cells(vec![Html::of(&line), Html::of(&words::measure(m, units))])
        })
        .collect();
    if !rows.is_empty() {
        page.raw("<h2>What was computed, as the plan</h2>\n");
        page.table("two", &["Measure", "Value"], &rows);
        if let Some(assumed) = first_page::assumed(record) {
            page.element("<p>", &assumed, "</p>\n");
        }
    }
}

fn product(record: &Record) -> Html {
    let mut product = Html::default();
    match &record.profile {
        Some(profile) => {
            let invented = if profile.invented { " (invented)" } else { "" };
            product.text(&format!("{}{invented}", profile.title));
            let from = format!("\nits figures, version {}: {}", profile.version, profile.source);
            product.element("<span class=\"more\">", &from, "</span>");
        }
        None => {
            product.raw("no product profile");
        }
    }
    for (title, notes) in order::lots(record) {
        let note = |note: &Note| format!("“{}” ({}, entry {})", note.text, how(note), note.seq);
        let noted = match notes.as_slice() {
            [] => "no lot number is noted".to_owned(),
            notes => notes.iter().copied().map(note).collect::<Vec<_>>().join("; "),
        };
        product.element("<span class=\"more\">", &format!("\n{title}: {noted}"), "</span>");
    }
    product
}

fn walked(walk: &RecordWalk) -> Html {
    let mut html = Html::default();
    match walk.begun {
        Some(begun) => html.raw("begun ").time(begun),
        None => html.raw("not begun"),
    };
    match (walk.begun, walk.ended) {
        (_, Some(ended)) => html.raw(", ended ").time(ended),
        (Some(_), None) => html.raw(", not finished"),
        (None, None) => &mut html,
    };
    html
}

fn pair(page: &mut Html, name: &'static str, value: &Html) {
    page.raw("<div><dt>").raw(name).raw("</dt><dd>").add(value).raw("</dd></div>\n");
}

fn open_matters(page: &mut Html, record: &Record) {
    page.raw("<h2>Deviations and open matters</h2>\n<hr class=\"cut\">\n");
    if let Some(amiss) = photos::all_amiss(record) {
        page.element("<p><strong>", &amiss, "</strong></p>\n");
    }
    if let Some(reused) = first_page::reused(record) {
        page.element("<p><strong>", &reused, "</strong></p>\n");
    }
    if let Some(stands) = first_page::stands(record) {
        page.element("<p>", &stands, "</p>\n");
    }
    if record.attention.is_empty() && !record.deviations.is_empty() {
        page.raw("<p>None is open: every deviation was accepted, as told below.</p>\n");
    } else if record.attention.is_empty() && first_page::unfinished(record).is_some() {
        page.raw("<p>Nothing is open among what was logged; what is under way stands above.</p>\n");
    } else if record.attention.is_empty() {
        page.raw("<p>None: every step that was asked stands on its target, nothing was left ");
        page.raw("out, no hold point waits and no photo that a step asks for is missing.</p>\n");
    } else {
        matters(page, record);
    }
    let warnings = sheet_parts::warnings(record);
    if !warnings.is_empty() {
        page.raw("<h2>Warnings of the sheet</h2>\n<ul>\n");
        for warning in warnings {
            page.element("<li>", warning, "</li>\n");
        }
        page.raw("</ul>\n");
    }
}

fn matters(page: &mut Html, record: &Record) {
    page.raw("<ul>\n");
    for need in &record.attention {
        let title = order::title_in(record, need);
        page.element("<li><strong>", words::about(&need.about), ":</strong> ");
        page.text(&words::after_about(need, title.as_deref()));
        if let Some(behind) = order::behind(record, need, false) {
            page.raw(" ").text(&behind);
        }
        page.raw("</li>\n");
    }
    page.raw("</ul>\n");
}

/// Some steps under a heading of their own.
fn some_steps(page: &mut Html, record: &Record, heading: &'static str, steps: &[&RecordStep]) {
    if steps.is_empty() {
        return;
    }
    page.raw("<section>\n").heading(heading);
    let row = |step: &RecordStep| {
        let mut name = Html::of(&step.title);
        if let Some(point) = &step.point {
            name.raw("<p class=\"said\">").add(&reached(point)).raw("</p>");
        }
        let mut cells = vec![name];
        cells.extend(standing(record, step));
        Row::Cells(cells)
    };
    page.table("steps", STEP_HEADINGS, &step_rows(steps, row)).raw("</section>\n");
}

/// A row a step, and one for open ones that follow each other.
fn step_rows(steps: &[&RecordStep], row: impl Fn(&RecordStep) -> Row) -> Vec<Row> {
    let together = steps.chunk_by(|one, next| is_bare(one) && is_bare(next));
    let rows = together.map(|steps| match steps {
        [step] => row(step),
        open => open_row(open),
    });
    rows.collect()
}

const STEP_HEADINGS: &[&str] = &["Step", "Asked for", "Found", "When", "By whom, and how"];

fn steps(page: &mut Html, record: &Record, walk: &RecordWalk) {
    let checklist = &walk.checklist;
    page.raw("<h3>").text(&order::walk_title(walk));
    page.text(&format!(", version {}", checklist.version)).raw("</h3>\n");
    page.raw("<p>").add(&walked(walk)).raw("</p>\n");
    if walk.begun.is_none() {
        return;
    }
    let all: Vec<&RecordStep> = walk.steps.iter().collect();
    page.table("steps", STEP_HEADINGS, &step_rows(&all, |step| step_row(record, &walk.id, step)));
}

/// What nobody has come to yet says nothing but its name.
fn is_bare(step: &RecordStep) -> bool {
    let photos = step.photos_taken.max(step.photos_kept);
    step.settled.is_none() && step.point.is_none() && step.corrected.is_empty() && photos == 0
}

/// Open steps that follow each other.
fn open_row(open: &[&RecordStep]) -> Row {
    let titles: Vec<&str> = open.iter().map(|step| step.title.as_str()).collect();
    let mut name = Html::of(&format!("{} steps", open.len()));
    name.element("<p class=\"said\">", &titles.join("; "), "</p>");
    let rest = [Html::default(), Html::of("open: not logged"), Html::default(), Html::default()];
    Row::Cells([name].into_iter().chain(rest).collect())
}

fn step_row(record: &Record, walk: &WalkId, step: &RecordStep) -> Row {
    let mut name = Html::of(&step.title);
    if let Some(text) = &step.text {
        name.element("<p class=\"said\">", text, "</p>");
    }
    if !step.cautioned.said.is_empty() {
        name.element("<p class=\"said\">", words::cautions_given(step.cautioned.spoken), ": ");
        name.element("", &step.cautioned.said.join(" "), "</p>");
    }
    if let Some(point) = &step.point {
        name.raw("<p class=\"said\">").add(&reached(point)).raw("</p>");
    }
    if let Some(counted) = photos::counted(record, walk, step) {
        name.element("<p class=\"said\">", &counted, "</p>");
    }
    let mut cells = vec![name];
    cells.extend(standing(record, step));
    Row::Cells(cells)
}

/// An inspection point and what became of it.
fn reached(point: &PointStanding) -> Html {
    let mut html = Html::default();
    match (point.kind, &point.released) {
        (PointKind::Hold, Some(release)) => {
            html.raw("Hold point for the ").text(&point.role).raw(": reached ");
            html.time(point.reached).raw(", ").text(&first_page::released(release)).raw(".")
        }
        (PointKind::Hold, None) => {
            html.raw("Hold point for the ").text(&point.role).raw(": reached ");
            html.time(point.reached).raw(", not released.")
        }
        (PointKind::Witness, _) => {
            html.raw("Witness point for the ").text(&point.role).raw(": reached ");
            html.time(point.reached).raw("; nothing here says that anybody looked.")
        }
    };
    html
}

/// Asked for, found, when, by whom: what stands of a step and what stood before.
fn standing(record: &Record, step: &RecordStep) -> [Html; 4] {
    let units = record.job.units;
    let Some(settled) = &step.settled else {
        return [Html::default(), Html::of("open: not logged"), Html::default(), Html::default()];
    };
    let mut found = Html::of(&words::outcome(&settled.outcome, units));
    for accepted in order::accepted(record, step) {
        found.element("<p class=\"said\">", &callback::it_was(accepted), ".</p>");
    }
    for before in step.corrected.iter().rev() {
        found.raw("<p class=\"was\">Corrected. Before: ");
        found.text(&words::outcome(&before.outcome, units));
        let (by, how, seq) = (&before.by, words::conveyed(before), before.seq);
        found.raw(" (").time(before.at).text(&format!(", {by}, {how}, entry {seq})")).raw("</p>");
    }
    let mut when = Html::default();
    when.time(settled.at).text(&format!("\nentry {}", settled.seq));
    let by = format!("{}, {}", settled.by, words::conveyed(settled));
    [Html::of(&words::asked_for(&settled.outcome, units)), found, when, Html::of(&by)]
}

fn how(note: &Note) -> &'static str {
    if note.spoken { "spoken, an unverified transcript" } else { "typed" }
}

fn notes(page: &mut Html, record: &Record) {
    page.raw("<section>\n").heading("Notes");
    if record.notes.is_empty() {
        page.raw("<p>None was taken, but for answers that are notes: they stand with their steps.</p>\n</section>\n");
        return;
    }
    let rows: Vec<Row> = record
        .notes
        .iter()
        .map(|note| {
            let mut when = Html::default();
            when.time(note.at).text(&format!("\nentry {}", note.seq));
            let kind = how(note);
            let place = note.step.as_ref().map(|(checklist, step)| {
                let walk = record.walks.iter().find(|walk| walk.id == *checklist);
                walk.map_or_else(|| words::step_ref(step), |walk| walk.checklist.title_of(step))
            });
            let by = match place {
                Some(place) => format!("{}, {kind}, at “{place}”", note.by),
                None => format!("{}, {kind}", note.by),
            };
            let mut by = Html::of(&by);
            if let Some(clip) = &note.clip {
                by.element("<p class=\"said\">", &sound::clip(clip), "</p>");
            }
            Row::Cells(vec![when, Html::of(&note.text), by])
        })
        .collect();
    page.table("notes", &["When", "Note", "By whom, and how"], &rows).raw("</section>\n");
}

fn dates(page: &mut Html, due: &[Due]) {
    if due.is_empty() {
        return;
    }
    page.raw("<section>\n").heading("All dates after the job");
    let rows: Vec<Row> = due
        .iter()
        .map(|due| {
            let mut start = Html::default();
            start.time(due.start);
            let walk = due.checklist.as_ref();
            let walk = walk.map_or("no checklist".to_owned(), |id| format!("checklist {id}"));
            let mut given = Html::of(&format!("{walk}; given out "));
            given.time(due.issued);
            if 0 < due.sequence {
                given.text(&format!(", changed {} times", due.sequence));
            }
            let stands = words::due_stands(due);
            if !stands.is_empty() {
                given.text(&format!("; {stands}"));
            }
            Row::Cells(vec![start, Html::of(&due.title), given])
        })
        .collect();
    page.table("dates", &["When", "What", "What is walked, and since when it is planned"], &rows);
    page.raw("</section>\n");
}

fn figures(page: &mut Html, record: &Record) {
    let units = record.job.units;
    page.raw("<section class=\"page\">\n").heading("Facts surveyed on this job");
    let tables = order::tables(record);
    let row = |fact: &RecordFact| {
        let mut value = Html::of(&words::value(&fact.value, units));
        value.raw(match (fact.assumed, fact.follows) {
            (false, _) => "",
            (true, true) => " (nobody gave it: taken from other answers)",
            (true, false) => " (assumed: nobody gave it)",
        });
        Row::Cells(vec![Html::of(&words::question(fact, &tables)), value])
    };
    let rows: Vec<Row> = order::facts(record).into_iter().map(row).collect();
    page.table("two", &["Question", "Answer that stands"], &rows);
    if let Some(profile) = &record.profile {
        page.heading("Figures of the product");
        page.raw("<p>From ").text(&profile.source).raw("</p>\n");
        let rows: Vec<Row> = profile
            .figures
            .iter()
            .map(|(name, (_, value))| {
                let name = name.replace('_', " ");
                Row::Cells(vec![Html::of(&name), Html::of(&words::value(value, units))])
            })
            .collect();
        page.table("two", &["Figure", "Value"], &rows);
    }
    for walk in record.walks.iter().filter(|walk| !walk.measures.is_empty()) {
        page.heading(&format!("Measures: {}", order::walk_title(walk)));
        let mut rows = Vec::new();
        for (group, measures) in order::measures(walk) {
            rows.extend(group.map(Row::Group));
            for measure in measures {
                rows.push(Row::Cells(vec![
                    Html::of(&measure.title),
                    Html::of(&words::measure(measure, units)),
                    Html::of(&measure.formula),
                    Html::of(&measure.source),
                ]));
            }
        }
        page.table("measures", &["Measure", "Value", "How it is computed", "Source"], &rows);
    }
    page.raw("</section>\n");
}

fn cautions(page: &mut Html, record: &Record) {
    let mut rows = Vec::new();
    // Each checklist once, however often it was walked.
    for walk in record.walks.iter().filter(|walk| walk.id.nth == 1) {
        if !walk.checklist.cautions.is_empty() {
            rows.push(Row::Group(walk.checklist.title.clone()));
        }
        for caution in &walk.checklist.cautions {
            let given = order::given_before(record, &walk.id.checklist, caution);
            rows.push(Row::Cells(vec![
                Html::of(&caution.say),
                Html::of(&format!("{}; {given}", caution.source)),
            ]));
        }
    }
    if !rows.is_empty() {
        page.raw("<section>\n").heading("Cautions given");
        page.element("<p>", words::CAUTIONS_SAY, "</p>\n");
        page.table("cautions", &["Caution", "Source, and before which steps it was given"], &rows);
        page.raw("</section>\n");
    }
}

fn foundations(page: &mut Html, record: &Record) {
    page.raw("<section>\n").heading("What this record rests on").raw("<ul>\n");
    page.element("<li>Code edition: ", &record.job.code_edition, "</li>\n");
    for walk in record.walks.iter().filter(|walk| walk.id.nth == 1) {
        let checklist = &walk.checklist;
        page.raw("<li>").text(&checklist.title).raw(" yields to ").text(&checklist.yields_to);
        page.raw(". Sources: ").text(&checklist.sources.join("; ")).raw("</li>\n");
    }
    page.raw("</ul>\n");
    let rows: Vec<Row> = record
        .job
        .pins
        .iter()
        .map(|pin| {
            let kind = if pin.kind == PinKind::Checklist { "Checklist" } else { "Product profile" };
            let mut hash = Html::default();
            hash.element("<span class=\"hash\">", &pin.hash.to_string(), "</span>");
            let name = format!("{kind} {}", pin.id);
            Row::Cells(vec![Html::of(&name), Html::of(&pin.version.to_string()), hash])
        })
        .collect();
    page.table("pins", &["Pinned", "Version", "SHA-256 of the file"], &rows);
    match record.head {
        Some((seq, hash)) => {
            page.raw("<p>Last entry of this job: ").text(&seq.to_string());
            page.raw(". Each entry carries the hash of the one before it; the last has SHA-256 ");
            page.element("<span class=\"hash\">", &hash.to_string(), "</span>.</p>\n");
        }
        None => {
            page.raw("<p>No entry has been logged for this job.</p>\n");
        }
    }
    page.raw("</section>\n");
}

fn listened(page: &mut Html, record: &Record) {
    let lines = sound::by_person(&record.ears, &record.checks);
    if lines.is_empty() {
        return;
    }
    page.raw("<section>\n").heading("When sound was listened to, and what was kept of it");
    page.raw("<ul>\n");
    for line in &lines {
        page.element("<li>", line, "</li>\n");
    }
    page.raw("</ul>\n<p>A clip is named by the SHA-256 of its samples; a note with a clip says ");
    page.raw("where it is. Of all other sound only hashes are kept.</p>\n</section>\n");
}

fn heard(page: &mut Html, record: &Record) {
    let mut rows = Vec::new();
    for told in order::conveyed(record) {
        for (at, heard) in
            told.how.iter().enumerate().filter_map(|(at, how)| Some((at, how.heard()?)))
        {
            let title = if at == 0 { told.title.as_str() } else { "then" };
            let mut sound = Html::default();
            sound.element("<span class=\"hash\">", &heard.sound.to_string(), "</span>");
            let mut cells = vec![
                Html::of(&format!("{title} (entry {})", told.seq)),
                Html::of(&format!("“{}”", heard.words)),
                Html::of(&heard.b_milli.to_string()),
            ];
            cells.extend([heard.a_milli, heard.m_milli].map(|milli| match heard.is_dictated() {
                true => Html::of("–"),
                false => Html::of(&milli.to_string()),
            }));
            cells.push(sound);
            rows.push(Row::Cells(cells));
        }
    }
    if rows.is_empty() {
        return;
    }
    page.raw("<section>\n").heading("How the spoken answers were heard");
    page.raw("<p>").raw(words::HEARD_SAYS).raw(" The hash is of the sound as recorded.</p>\n");
    let headings = &[
        "Step",
        "Heard as",
        "Fit",
        "Beside free speech",
        "To the next meaning",
        "SHA-256 of the sound",
    ];
    page.table("heard", headings, &rows).raw("</section>\n");
}
