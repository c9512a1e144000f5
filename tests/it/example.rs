//! One invented job, built by linking real drafts: corrections, an off-target
//! reading with its reason, a step left out, a hold point released, another one
//! waiting, notes, and text that tries to be markup.

use std::sync::Arc;

use chalkhand::domain::{
    Answer, At, Bound, Caution, Checklist, Computes, Draft, Due, Entry, Fact, FactKind, FactName,
    FollowUp, Given, Hash, Heard, How, Job, JobFile, Key, Known, Measure, Person, Piece, Pin,
    PinKind, Point, PointKind, PointWhen, Profile, RowsFrom, Sheet, Standing, Step, StepRef, Table,
    Target, Units, Version, WalkId, What, Working, chain, schedule,
};
use chalkhand::measure::{Dimension, Formula, Quantity, Ratio, Value, parse_quantity};
use chalkhand::roof;
use jiff::tz::TimeZone;

pub(crate) const HOSTILE: &str =
    "<script>alert('x')</script> & \"quoted\"; a, b \\ c\nsecond line 🏠 \u{202e}drawkcab";

pub(crate) fn zone() -> TimeZone {
    TimeZone::get("America/New_York").unwrap()
}

/// A clock reading on the first day of the work.
pub(crate) fn at(clock: &str) -> At {
    format!("2026-10-15T{clock}-04:00").parse().unwrap()
}

pub(crate) fn length(text: &str) -> Quantity {
    parse_quantity(text, Dimension::LENGTH).unwrap()
}

fn fact(name: &str, kind: FactKind, ask: &str) -> Fact {
    Fact { name: name.to_owned(), kind, ask: ask.to_owned(), from: None, to: None, default: None }
}

fn measure(name: &str, title: &str, formula: &str, kind: FactKind, bound: Bound) -> Measure {
    Measure {
        name: name.to_owned(),
        title: title.to_owned(),
        group: String::new(),
        formula: Formula::parse(formula).unwrap(),
        kind,
        bound,
        graduation: Ratio::SIXTEENTH,
        source: match formula.contains("profile.") {
            true => "figures of the profile".to_owned(),
            false => "IRC 2021 R806.2".to_owned(),
        },
        first_page: bound == Bound::Minimum,
    }
}

fn step(id: &str, title: &str, say: &str, answer: Answer) -> Step {
    let pieces = say.split('{').enumerate().flat_map(|(at, part)| match part.split_once('}') {
        Some((name, words)) if 0 < at => {
            vec![Piece::Name(name.to_owned()), Piece::Words(words.to_owned())]
        }
        _ => vec![Piece::Words(part.to_owned())],
    });
    Step {
        id: id.to_owned(),
        each: None,
        title: title.to_owned(),
        say: pieces.collect(),
        why: String::new(),
        answer,
        only_if: None,
        cautions: Vec::new(),
        photos: 0,
        point: None,
        tags: Vec::new(),
        least_s: None,
    }
}

fn read(measure: &str) -> Answer {
    Answer::Measure { measure: measure.to_owned(), tolerance: length("1/16 in") }
}

fn asks(name: &str) -> Answer {
    Answer::Fact { fact: name.to_owned() }
}

fn follow_up(id: &str, after: &str, title: &str, checklist: Option<&str>) -> FollowUp {
    FollowUp {
        id: id.to_owned(),
        after: after.parse().unwrap(),
        checklist: checklist.map(str::to_owned),
        title: title.to_owned(),
        lasts_min: 60,
        repeats: None,
        who: None,
        fixed: false,
    }
}

fn caution(id: &str, say: &str, source: &str) -> Caution {
    Caution { id: id.to_owned(), say: say.to_owned(), source: source.to_owned() }
}

pub(crate) fn survey() -> Checklist {
    let steps = vec![
        step("pitch", "Pitch", "Read the pitch from the gauge.", asks("pitch")),
        step("attic", "Attic floor", "Measure the attic floor area.", asks("attic_area")),
        step("runs", "Vent runs", "Count the runs.", asks("run_count")),
    ];
    Checklist {
        id: "site-survey".to_owned(),
        version: Version { major: 1, minor: 0, patch: 0 },
        title: "Survey of the roof and the attic".to_owned(),
        yields_to: "the local code and its official".to_owned(),
        sources: vec!["common practice, no source".to_owned()],
        cautions: Vec::new(),
        facts: vec![
            fact("pitch", FactKind::Pitch, "What is the pitch, rise in twelve?"),
            fact("attic_area", FactKind::Area, "What is the attic floor area?"),
            fact("run_count", FactKind::Count, "How many vent runs will there be?"),
        ],
        figures: Vec::new(),
        measures: Vec::new(),
        tables: Vec::new(),
        order: Vec::new(),
        warnings: Vec::new(),
        steps,
        repeats: None,
        follow_ups: Vec::new(),
        hash: Hash::of(b"survey file"),
        language: Default::default(),
        words: Default::default(),
    }
}

pub(crate) fn intake() -> Checklist {
    let each = |mut step: Step| {
        step.each = Some("run".to_owned());
        step
    };
    let mut look = step("look-inside", "Look inside", "Look from the attic.", Answer::Done);
    look.photos = 2;
    let mut line = each(step(
        "nail-line",
        "Nail line",
        "Snap the nail line {nail_line} up from the butt edge. Read me the mark.",
        read("nail_line"),
    ));
    line.tags = vec!["layout".to_owned()];
    let mut cut = each(step(
        "cut",
        "Cut",
        "Glasses on. Cut from {run.slot_start} to {run.slot_end}.",
        Answer::Done,
    ));
    cut.cautions = vec!["eyes".to_owned()];
    cut.least_s = Some(120);
    cut.point =
        Some(Point { kind: PointKind::Hold, role: "foreman".to_owned(), when: PointWhen::Always });
    let mut nails = each(step(
        "nails",
        "Nails",
        "Count the nails in each piece.",
        Answer::Count { measure: Some("nails_per_piece".to_owned()) },
    ));
    nails.tags = vec!["fastening".to_owned()];
    let mut membrane = each(step(
        "membrane",
        "Membrane at the end",
        "Lap the membrane {membrane_past} past the vent.",
        read("membrane_past"),
    ));
    membrane.tags = vec!["waterproofing".to_owned()];
    membrane.photos = 1;
    let mut sealed = step(
        "seal",
        "Shingles sealed",
        "Are the shingles over the vent sealed?",
        Answer::Choice {
            options: vec!["by hand".to_owned(), "by the sun".to_owned(), "not yet".to_owned()],
            wanted: vec!["by hand".to_owned(), "by the sun".to_owned()],
        },
    );
    sealed.tags = vec!["waterproofing".to_owned()];
    let mut hose = step("hose", "Hose test", "Low to high, one zone at a time.", Answer::Done);
    hose.tags = vec!["waterproofing".to_owned()];
    let number = FactKind::Count;
    Checklist {
        id: "deck-intake".to_owned(),
        version: Version { major: 1, minor: 2, patch: 0 },
        title: "Deck-mounted intake vent on a shingle roof".to_owned(),
        yields_to: "the maker's printed instructions, the local code and its official, and \
                    licensed practice"
            .to_owned(),
        sources: vec!["IRC 2021 R806.2".to_owned(), "common practice, no source".to_owned()],
        cautions: vec![
            caution(
                "falls",
                "Six feet up or more: guardrail, net or harness, tied off.",
                "29 CFR 1926.501(b)(13)",
            ),
            caution("eyes", "Eye protection on: granules fly.", "29 CFR 1926.102(a)"),
        ],
        facts: vec![
            fact("insulation", FactKind::Length, "How deep will the insulation be?"),
            fact("dry", FactKind::YesNo, "Is the deck dry?"),
            fact("run.available", FactKind::Length, "How long is the eave of this run?"),
        ],
        figures: vec![fact("piece_length", FactKind::Length, "How long is one piece?")],
        measures: vec![
            measure(
                "area_needed",
                "net free area needed, intake and exhaust",
                "attic_area / 300",
                FactKind::Area,
                Bound::Minimum,
            ),
            measure(
                "nail_line",
                "secondary nail line, up from the butt edge",
                "profile.nail_line",
                FactKind::Length,
                Bound::Mark,
            ),
            measure(
                "membrane_past",
                "membrane past the vent",
                "profile.membrane_past",
                FactKind::Length,
                Bound::Minimum,
            ),
            measure("nails_per_piece", "nails in one piece", "12", number.clone(), Bound::Minimum),
            measure(
                "run.pieces",
                "pieces",
                "floor((run.available - 36 in) / profile.piece_length)",
                number.clone(),
                Bound::Mark,
            ),
            measure(
                "run.slot_start",
                "slot starts, from the reference edge",
                "24 in",
                FactKind::Length,
                Bound::Mark,
            ),
            measure(
                "run.slot_end",
                "slot ends, from the reference edge",
                "12 in + run.pieces * profile.piece_length",
                FactKind::Length,
                Bound::Mark,
            ),
            measure("pieces", "pieces", "sum(run.pieces)", number.clone(), Bound::Minimum),
            measure(
                "heel",
                "heel height left over",
                "heel_height - insulation",
                FactKind::Length,
                Bound::Maximum,
            ),
        ],
        tables: vec![Table {
            name: "run".to_owned(),
            title: "Run".to_owned(),
            rows: RowsFrom::Counted("run_count".to_owned()),
        }],
        order: (0..9).map(Computes::Measure).collect(),
        warnings: Vec::new(),
        steps: vec![look, line, cut, nails, membrane, sealed, hose],
        repeats: None,
        follow_ups: vec![
            follow_up(
                "first-month",
                "P30D",
                "Look at the vents after the first month",
                Some("closing-inspection"),
            ),
            follow_up("first-year", "P9M", "Look at the vents in their first summer", None),
        ],
        hash: Hash::of(b"intake file"),
        language: Default::default(),
        words: Default::default(),
    }
}

pub(crate) fn profile() -> Profile {
    let figure = |name: &str, text: &str| {
        (name.to_owned(), (FactKind::Length, Value::Quantity(length(text))))
    };
    Profile {
        id: "example-vent".to_owned(),
        version: Version { major: 1, minor: 0, patch: 1 },
        title: "Example deck vent, 4 ft pieces".to_owned(),
        source: "Invented instruction sheet, edition 3".to_owned(),
        invented: true,
        figures: [
            figure("piece_length", "48 in"),
            figure("nail_line", "4 1/2 in"),
            figure("membrane_past", "6 in"),
        ]
        .into(),
        hash: Hash::of(b"profile file"),
    }
}

pub(crate) fn job() -> Job {
    let person = |name: &str, role: &str| Person {
        name: name.to_owned(),
        role: role.to_owned(),
        language: None,
    };
    let pin = |kind, id: &str, version, hash| Pin { kind, id: id.to_owned(), version, hash };
    let (survey, intake, profile) = (survey(), intake(), profile());
    Job {
        number: "2026-014".to_owned(),
        address: "12 Example Lane, Sampleton, Nowhere".to_owned(),
        owner: "O. Householder".to_owned(),
        phone: "555-0100".to_owned(),
        time_zone: "America/New_York".to_owned(),
        code_edition: "IRC 2021 with local amendments, as the official says".to_owned(),
        company: "Example Roofing; Sons, & Co.".to_owned(),
        invented: true,
        units: Units::Us,
        people: vec![
            person("A. Installer", "installer"),
            person("B. Helper", "installer"),
            person("F. Foreman", "foreman"),
        ],
        pins: vec![
            pin(PinKind::Checklist, &survey.id, survey.version, survey.hash),
            pin(PinKind::Checklist, &intake.id, intake.version, intake.hash),
            pin(PinKind::Profile, &profile.id, profile.version, profile.hash),
        ],
    }
}

/// A log that links each draft to the one before.
pub(crate) struct Log {
    pub(crate) job: String,
    pub(crate) entries: Vec<Entry>,
}

impl Log {
    pub(crate) fn add(
        &mut self,
        walk: Option<&str>,
        clock: &str,
        by: &str,
        how: How,
        mut what: What,
    ) {
        let step = what.step().cloned();
        if let What::Answered { step, asked, .. } = &mut what {
            *asked = self.asks(walk.unwrap(), step);
        }
        let settles = matches!(what, What::Answered { .. } | What::Skipped { .. });
        let before = self.entries.iter().rev().find(|entry| {
            settles
                && entry.draft.walk == walk.map(WalkId::first)
                && matches!(entry.draft.what, What::Answered { .. } | What::Skipped { .. })
                && entry.draft.what.step().cloned() == step
        });
        let draft = Draft {
            job: self.job.clone(),
            walk: walk.map(WalkId::first),
            at: at(clock),
            by: by.to_owned(),
            confirmed: confirmed(&how, &what, clock),
            how,
            corrects: before.map(|entry| entry.seq),
            what,
            key: Key(format!("{}-{}", self.job, self.entries.len())),
        };
        let seq = self.entries.len() as u64 + 1;
        let previous = self.entries.last().map_or(Hash::START, |entry| entry.hash);
        let (entry, _) = chain::link(draft, seq, previous).unwrap();
        self.entries.push(entry);
    }
}

impl Log {
    /// The words a step is asked in by what is known so far.
    fn asks(&self, walk: &str, at: &StepRef) -> String {
        let lists = [survey(), intake()];
        let checklist = lists.iter().find(|list| list.id == walk).unwrap();
        let (facts, profile) = (Standing::of(&self.entries).facts, profile());
        let functions = chalkhand::roof::functions();
        let sheet = Sheet::compute(checklist, &facts, Some(&profile), &functions);
        let known = Known { checklist, facts: &facts, profile: Some(&profile), sheet: &sheet };
        let say = &checklist.step(&at.id).unwrap().say;
        known.fill(say, at.row, Units::Us).unwrap_or_default()
    }
}

/// What a walk has confirmed: what says more than that a step is done is read back.
fn confirmed(how: &How, what: &What, clock: &str) -> Vec<How> {
    let says: &[&str] = match what {
        What::Answered { given: Given::Done, .. } => &[],
        What::Answered { reason: None, .. } | What::Skipped { .. } | What::Noted { .. } => &["yes"],
        What::Answered { reason: Some(reason), .. } => &["yes", "log it as it is", reason, "yes"],
        _ => &[],
    };
    let says = says.iter().enumerate().map(|(at, words)| match how {
        How::Voice(heard) => How::Voice(Heard {
            words: (*words).to_owned(),
            // Nobody says the same sound twice.
            sound: Hash::of(format!("{words} at {clock}, {at}").as_bytes()),
            ..heard.clone()
        }),
        other => other.clone(),
    });
    says.collect()
}

pub(crate) fn heard(words: &str) -> How {
    How::Voice(Heard {
        words: words.to_owned(),
        b_milli: -212,
        a_milli: -35,
        m_milli: 1_480,
        sound: Hash::of(words.as_bytes()),
    })
}

fn at_row(id: &str, row: u32) -> StepRef {
    StepRef { id: id.to_owned(), row: Some(row) }
}

fn once(id: &str) -> StepRef {
    StepRef { id: id.to_owned(), row: None }
}

fn answered(step: StepRef, given: Given, target: Option<Target>, reason: Option<&str>) -> What {
    // The log fills in the words the step is asked in.
    let asked = String::new();
    What::Answered { step, asked, given, target, reason: reason.map(str::to_owned) }
}

fn mark(text: &str) -> Option<Target> {
    Some(Target::Mark(length(text), length("1/16 in")))
}

pub(crate) fn entries() -> Vec<Entry> {
    let mut log = Log { job: job().number, entries: Vec::new() };
    let (survey, intake) = (Some("site-survey"), Some("deck-intake"));
    let (a, b, f) = ("A. Installer", "B. Helper", "F. Foreman");
    let quantity =
        |text: &str, dimension| Value::Quantity(parse_quantity(text, dimension).unwrap());
    let named = |name: &str, row| FactName { name: name.to_owned(), row };
    log.add(None, "07:00:00.000", f, How::Command, What::JobOpened(job()));
    let deep = Value::Quantity(length("13 3/32 in"));
    log.add(None, "07:00:01.000", f, How::File, What::FactGiven(named("insulation", None), deep));
    for (row, long) in [(1, "24 ft 6 in"), (2, "18 ft")] {
        let what =
            What::FactGiven(named("run.available", Some(row)), Value::Quantity(length(long)));
        log.add(None, "07:00:02.000", f, How::File, what);
    }
    let dry = What::FactGiven(named("dry", None), Value::YesNo(true));
    log.add(None, "07:00:03.000", f, How::File, dry);
    for (walk, list, clock) in [
        (survey, super::example::survey(), "07:30:00.000"),
        (intake, super::example::intake(), "08:05:00.000"),
    ] {
        let begun = What::WalkBegun { version: list.version, hash: list.hash };
        log.add(walk, clock, a, How::Program, begun);
        if walk == survey {
            for (id, name, value, words, clock) in [
                ("pitch", "pitch", quantity("6:12", Dimension::PITCH), "six", "07:34:10.000"),
                ("attic", "attic_area", quantity("1640 ft2", Dimension::AREA), "", "07:41:00.000"),
                ("runs", "run_count", Value::Quantity(Quantity::count(2)), "two", "07:43:30.000"),
            ] {
                let given = Given::Fact(named(name, None), value);
                let how = if words.is_empty() { How::Keys } else { heard(words) };
                log.add(walk, clock, a, how, answered(once(id), given, None, None));
            }
            log.add(walk, "07:43:31.000", a, How::Program, What::WalkEnded);
        }
    }
    let done = |log: &mut Log, clock: &str, by: &str, step: StepRef| {
        log.add(intake, clock, by, heard("step done"), answered(step, Given::Done, None, None));
    };
    done(&mut log, "08:20:00.000", a, once("look-inside"));
    log.add(
        intake,
        "08:20:30.000",
        a,
        heard("photo taken"),
        What::PhotoTaken { step: once("look-inside") },
    );
    let read = |text: &str| Given::Measured(length(text));
    let line = at_row("nail-line", 1);
    let first = answered(line.clone(), read("5 1/2 in"), mark("4 1/2 in"), Some("misread"));
    log.add(intake, "08:31:00.000", a, heard("five and a half inches"), first);
    let second = answered(line, read("4 1/2 in"), mark("4 1/2 in"), None);
    log.add(intake, "08:33:12.000", a, heard("four and a half inches"), second);
    hold(&mut log, "08:34:00.000", a, at_row("cut", 1));
    let release = What::Released { step: at_row("cut", 1), role: "foreman".to_owned() };
    log.add(intake, "08:47:20.000", f, How::Keys, release);
    let said = vec!["Eye protection on: granules fly.".to_owned()];
    let cautioned = What::Cautioned { step: at_row("cut", 1), said, spoken: Some(true) };
    log.add(intake, "08:47:30.000", a, How::Program, cautioned);
    done(&mut log, "08:48:05.000", a, at_row("cut", 1));
    let count =
        |step, n, reason| answered(step, Given::Counted(n), Some(Target::AtLeast(12)), reason);
    let few = count(at_row("nails", 1), 11, Some("the last one sits in a knot"));
    log.add(intake, "09:20:00.000", b, heard("eleven"), few);
    let lap = answered(at_row("membrane", 1), read("6 1/4 in"), mark("6 in"), Some(HOSTILE));
    log.add(intake, "09:41:00.000", a, How::Keys, lap);
    log.add(intake, "09:42:00.000", a, How::Keys, What::PhotoTaken { step: at_row("membrane", 1) });
    let note =
        What::Noted { step: Some(at_row("membrane", 1)), text: HOSTILE.to_owned(), clip: None };
    log.add(intake, "09:43:00.000", b, heard("take a note"), note);
    let line = answered(at_row("nail-line", 2), read("4 9/16 in"), mark("4 1/2 in"), None);
    log.add(intake, "10:02:00.000", a, heard("four and nine sixteenths"), line);
    hold(&mut log, "10:04:00.000", a, at_row("cut", 2));
    let pause = What::Paused;
    log.add(intake, "10:05:00.000", a, heard("pause here"), pause);
    log.add(intake, "10:30:00.000", a, heard("go on"), What::Resumed);
    let skip = What::Skipped { step: once("hose"), reason: "no water on site".to_owned() };
    log.add(intake, "10:31:00.000", a, How::Keys, skip);
    let chosen = Given::Chosen("not yet".to_owned());
    let wanted = Target::OneOf(vec!["by hand".to_owned(), "by the sun".to_owned()]);
    let sealed = answered(once("seal"), chosen, Some(wanted), Some("too cold today"));
    log.add(intake, "10:30:30.000", a, heard("not yet"), sealed);
    let text = "Owner asked about the gutter.".to_owned();
    let note = What::Noted { step: None, text, clip: None };
    log.add(None, "10:40:00.000", f, How::Keys, note);
    log.entries
}

fn hold(log: &mut Log, clock: &str, by: &str, step: StepRef) {
    let what = What::PointReached { step, kind: PointKind::Hold, role: "foreman".to_owned() };
    log.add(Some("deck-intake"), clock, by, How::Program, what);
}

/// The job file of those entries.
pub(crate) fn file(entries: Vec<Entry>) -> JobFile {
    JobFile {
        job: job(),
        checklists: vec![Arc::new(survey()), Arc::new(intake())],
        profile: Some(Arc::new(profile())),
        standing: Standing::of(&entries),
        entries,
    }
}

pub(crate) fn record() -> chalkhand::domain::Record {
    file(entries()).record(&roof::functions())
}

/// A standing in which the install has ended at that time.
pub(crate) fn ended(end: At) -> Standing {
    let mut standing = Standing::of(&entries());
    standing.walks.get_mut(&WalkId::first("deck-intake")).unwrap().ended = Some(end);
    standing
}

/// Dates after the job, as first given out.
pub(crate) fn due() -> Vec<Due> {
    let end = at("16:20:00.000");
    schedule::due(&job(), &[&intake()], &ended(end), &zone(), end, &Working::every_day())
}
