//! The checklists that ship: they read without problems, say what is asked of
//! them, and their measures come out as the published figures do.

use std::collections::BTreeSet;
use std::fs;

use chalkhand::domain::{
    Answer, Checklist, FactName, Facts, Known, Piece, PointKind, PointWhen, Profile, RowsFrom,
    Sheet,
};
use chalkhand::files::{JobFile, SHIPPED as SHIPPED_FILES, read_checklist, read_job, read_profile};
use chalkhand::measure::Value;
use chalkhand::roof;

const SHIPPED: [&str; 7] = [
    "start-of-day",
    "site-survey",
    "deck-intake",
    "ridge-slot",
    "baffles",
    "closing-inspection",
    "leak-visit",
];

fn checklist(path: &str) -> Checklist {
    let text = fs::read_to_string(path).unwrap();
    match read_checklist(&text, path, &roof::functions()) {
        Ok(checklist) => checklist,
        Err(problems) => panic!("{problems}"),
    }
}

pub(crate) fn shipped(id: &str) -> Checklist {
    checklist(&format!("checklists/{id}.toml"))
}

fn profile() -> Profile {
    let path = "packaging/demo-data/profile.toml";
    match read_profile(&fs::read_to_string(path).unwrap(), path) {
        Ok(profile) => profile,
        Err(problems) => panic!("{problems}"),
    }
}

fn job() -> JobFile {
    job_of("packaging/demo-data/job.toml")
}

fn job_of(path: &str) -> JobFile {
    match read_job(&fs::read_to_string(path).unwrap(), path) {
        Ok(job) => job,
        Err(problems) => panic!("{problems}"),
    }
}

fn demo_facts(checklists: &[&Checklist]) -> Facts {
    match job().facts(checklists) {
        Ok(facts) => facts,
        Err(problems) => panic!("{problems}"),
    }
}

/// A checklist with facts of a job and all that comes of them.
pub(crate) struct Found {
    list: Checklist,
    facts: Facts,
    profile: Profile,
    sheet: Sheet,
}

fn compute(list: Checklist, facts: Facts) -> Found {
    compute_with(list, facts, profile())
}

fn compute_with(list: Checklist, facts: Facts, profile: Profile) -> Found {
    let sheet = Sheet::compute(&list, &facts, Some(&profile), &roof::functions());
    Found { list, facts, profile, sheet }
}

impl Found {
    fn value(&self, name: &str, row: Option<u32>) -> Option<Value> {
        self.known().value(name, row)
    }

    fn known(&self) -> Known<'_> {
        let (checklist, facts) = (&self.list, &self.facts);
        Known { checklist, facts, profile: Some(&self.profile), sheet: &self.sheet }
    }

    pub(crate) fn number(&self, name: &str, row: Option<u32>) -> f64 {
        match self.value(name, row) {
            Some(Value::Quantity(quantity)) => quantity.value.to_f64(),
            other => panic!("{name} is {other:?}"),
        }
    }

    pub(crate) fn yes(&self, name: &str) -> bool {
        self.yes_in(name, None)
    }

    pub(crate) fn yes_in(&self, name: &str, row: Option<u32>) -> bool {
        match self.value(name, row) {
            Some(Value::YesNo(yes)) => yes,
            other => panic!("{name} {row:?} is {other:?}"),
        }
    }

    pub(crate) fn warnings(&self) -> Vec<String> {
        self.known().warnings(chalkhand::domain::Units::Us)
    }

    pub(crate) fn shown(&self, name: &str, row: Option<u32>) -> String {
        self.known().show(name, row, chalkhand::domain::Units::Us).unwrap()
    }

    /// The value in base units, to the thousandth the published tables give.
    pub(crate) fn is(&self, name: &str, row: Option<u32>, expected: f64) {
        let found = self.number(name, row);
        assert!((found - expected).abs() < 0.0006, "{name} {row:?}: {found}, not {expected}");
    }
}

/// The survey of the demo job with some answers changed.
pub(crate) fn changed(changes: &[(&str, &str)]) -> Found {
    changed_with(changes, &[])
}

/// The same with some figures of the product changed.
pub(crate) fn changed_with(changes: &[(&str, &str)], figures: &[(&str, &str)]) -> Found {
    let deck = shipped("deck-intake");
    let survey = shipped("site-survey");
    let mut facts = demo_facts(&[&survey, &deck, &shipped("closing-inspection")]);
    for (name, text) in changes {
        let (name, row) = match name.split_once('#') {
            Some((name, row)) => (name, Some(row.parse().unwrap())),
            None => (*name, None),
        };
        let kind = &deck.fact(name).unwrap().kind;
        let value = chalkhand::domain::parse_answer(text, kind).unwrap();
        facts.set(FactName { name: name.to_owned(), row }, value);
    }
    let mut profile = profile();
    for (name, text) in figures {
        let kind = deck.figures.iter().find(|figure| figure.name == *name).unwrap().kind.clone();
        let value = chalkhand::domain::parse_answer(text, &kind).unwrap();
        profile.figures.insert((*name).to_owned(), (kind, value));
    }
    compute_with(deck, facts, profile)
}

#[test]
fn shipped_checklists_read_and_say_enough() {
    let files: Vec<&str> = SHIPPED_FILES.iter().map(|(name, _)| *name).collect();
    assert_eq!(files, SHIPPED.map(|id| format!("{id}.toml")));
    for id in SHIPPED {
        let list = shipped(id);
        assert_eq!((list.id.as_str(), list.version.major), (id, 1));
        assert!(list.yields_to.contains("maker's printed instructions"), "{id}");
        for step in &list.steps {
            assert!(!step.why.is_empty(), "{id}: {} does not say why", step.id);
            assert!(!step.tags.is_empty(), "{id}: {} has no tags", step.id);
            let words: usize = step
                .say
                .iter()
                .map(|piece| match piece {
                    Piece::Words(words) => words.split_whitespace().count(),
                    Piece::Name(_) => 1,
                })
                .sum();
            assert!(words <= 36, "{id}: {} says {words} words on a roof", step.id);
        }
        for caution in &list.cautions {
            assert!(!caution.source.is_empty());
            let used = list.steps.iter().any(|step| step.cautions.contains(&caution.id));
            assert!(used, "{id}: caution {} bites nowhere", caution.id);
        }
        for measure in &list.measures {
            assert!(!measure.source.is_empty(), "{id}: {} rests on nothing", measure.name);
        }
    }
    let closing = shipped("closing-inspection");
    let told: Vec<&str> = closing.follow_ups.iter().map(|known| known.id.as_str()).collect();
    let expected = "first-rain permit-inspection first-month season first-year warranty retention";
    assert_eq!(told.join(" "), expected);
    for follow_up in &closing.follow_ups {
        let ends = matches!(follow_up.id.as_str(), "warranty" | "retention");
        assert_eq!(follow_up.fixed, ends, "{}: only ends of terms stay on their day", follow_up.id);
        assert!(follow_up.who.is_some(), "{}: somebody looks after it", follow_up.id);
    }
}

/// Every figure, fact and measure is used, so that nobody is asked in vain.
#[test]
fn nothing_is_asked_in_vain() {
    let deck = shipped("deck-intake");
    let survey = shipped("site-survey");
    let mut used: Vec<String> = Vec::new();
    for list in [&deck, &survey] {
        for measure in &list.measures {
            used.extend(measure.formula.names().map(|(name, _)| name.to_owned()));
            used.extend(measure.formula.columns().map(|(t, c, _)| format!("{t}.{c}")));
        }
        for step in &list.steps {
            used.extend(step.say.iter().filter_map(|piece| match piece {
                Piece::Name(name) => Some(name.clone()),
                Piece::Words(_) => None,
            }));
            used.extend(step.only_if.iter().flat_map(|f| f.names().map(|(n, _)| n.to_owned())));
        }
        used.extend(list.tables.iter().filter_map(|t| t.counted_by()).map(str::to_owned));
        let defaults = list.facts.iter().chain(&list.figures).filter_map(|f| f.default.as_ref());
        used.extend(defaults.flat_map(|formula| formula.uses()));
        for warning in &list.warnings {
            used.extend(warning.when.uses());
        }
        for table in &list.tables {
            let RowsFrom::Computed { function, with, .. } = &table.rows else { continue };
            used.extend(with.iter().flat_map(|(_, formula)| formula.uses()));
            let functions = roof::functions();
            for shape in functions.rows(function).unwrap().reads {
                let columns = shape.columns.iter().map(|c| format!("{}.{}", shape.name, c.name));
                used.extend(columns);
            }
        }
    }
    for figure in &deck.figures {
        let name = format!("profile.{}", figure.name);
        assert!(used.contains(&name), "{name} is used nowhere");
        match profile().figures.remove(&figure.name) {
            Some((kind, _)) => assert_eq!(kind, figure.kind, "{name}"),
            None => assert!(figure.default.is_some(), "{name} is not in the profile"),
        }
    }
    let lists: Vec<Checklist> =
        SHIPPED_FILES.iter().map(|(file, _)| shipped(file.trim_end_matches(".toml"))).collect();
    for name in profile().figures.keys() {
        let asked = lists.iter().flat_map(|list| &list.figures).any(|figure| figure.name == *name);
        assert!(asked, "nobody asks for {name}");
    }
    for fact in deck.facts.iter().chain(&survey.facts) {
        assert!(used.contains(&fact.name), "fact {} is used nowhere", fact.name);
    }
    // What the install rests on is asked in the survey or during the install.
    for fact in &deck.facts {
        let asked = |list: &Checklist| {
            list.steps.iter().any(|step| step.answer == Answer::Fact { fact: fact.name.clone() })
        };
        // A joint can be measured only once the course is known; the install asks
        // where the run starts instead.
        let later = fact.name == "plane.joint_at";
        let asked = asked(&survey) || asked(&deck) || later || fact.default.is_some();
        assert!(asked, "nobody asks for {}", fact.name);
    }
}

/// Computed bands up the slope (geometry; IRC R806.2, R806.3, R905.1.2):
/// 6/12, run 168 in, overhang 16, heel 4, insulation 14: clear from 42.749,
/// bottom third to 74.536, ice barrier to 44.721 in.
#[test]
fn bands_of_the_demo_job() {
    let known = changed(&[]);
    known.is("clear_from", None, 42.749);
    known.is("bottom_third_to", None, 74.536);
    known.is("ice_barrier_to", None, 44.721);
    known.is("slot_from", None, 44.721);
    assert!(known.yes("slot_in_band"));
    // 8/12, run 144, no overhang, heel 6, insulation 14: 16.589, 50.478, and
    // 28.844 which the steep rule lifts to 36.
    let steep = [
        ("pitch", "8/12"),
        ("roof_run", "144 in"),
        ("overhang", "0 in"),
        ("heel_height", "6 in"),
        ("insulation_depth", "14 in"),
    ];
    let known = changed(&steep);
    known.is("clear_from", None, 16.589);
    known.is("bottom_third_to", None, 50.478);
    known.is("ice_barrier_to", None, 36.0);
    let mut plain = steep.to_vec();
    plain.push(("ice_barrier", "two feet inside the wall"));
    changed(&plain).is("ice_barrier_to", None, 28.844);
    plain.push(("ice_barrier", "none"));
    changed(&plain).is("ice_barrier_to", None, 0.0);
    // 24 in overhang, 6 in wall and 24 in inside at 6/12: 60.374, and 60.4 in a
    // published worked example.
    let wall = [("barrier_wall", "6 in"), ("overhang", "24 in")];
    changed(&wall).is("ice_barrier_to", None, 60.374);
    // 3/12, run 120, overhang 18, heel 3 1/2, insulation 15: clear from 70.220,
    // bottom third to 50.164: no course is in the band.
    let flat = changed(&[
        ("pitch", "3/12"),
        ("roof_run", "120 in"),
        ("overhang", "18 in"),
        ("heel_height", "3 1/2 in"),
        ("insulation_depth", "15 in"),
    ]);
    flat.is("clear_from", None, 70.220);
    flat.is("bottom_third_to", None, 50.164);
    assert!(!flat.yes("slot_in_band"));
}

/// Course by hand: the slot opens at (course - 1) * exposure - past edge + 5 in.
/// On the border it goes one course up (common practice, no source).
#[test]
fn the_slot_opens_above_the_border() {
    let known = changed(&[]);
    // (44.721 + 0.75 - 5) / 5.625 = 7.195: course 9, butt edge at 44.25.
    known.is("course", None, 9.0);
    known.is("course_butt", None, 44.25);
    known.is("slot_opens_at", None, 49.25);
    known.is("slot_closes_at", None, 50.75);
    // Numbers that put the slot's lower edge right on the border: at 9/12 the
    // slope is 5/4 of the level, so clear from 3.5 * 5/4 = 4.375 in, and with
    // the 5/8 in border 5 in, where course 1 opens: it goes one course up.
    let border = [
        ("ice_barrier", "none"),
        ("heel_height", "24 in"),
        ("insulation_depth", "0 in"),
        ("shingle_past_edge", "0 in"),
        ("exposure", "5 in"),
        ("overhang", "3 1/2 in"),
        ("wall_thickness", "3 in"),
        ("slot_above_barrier", "no"),
        ("pitch", "9/12"),
    ];
    let known = changed(&border);
    known.is("clear_from", None, 4.375);
    known.is("course", None, 2.0);
    known.is("slot_opens_at", None, 10.0);
    for (pitch, exposure) in [("4/12", "5 in"), ("6/12", "5 5/8 in"), ("9/12", "6 in")] {
        let known = changed(&[("pitch", pitch), ("exposure", exposure)]);
        let (from, opens) = (known.number("slot_from", None), known.number("slot_opens_at", None));
        let exposure = known.number("exposure", None);
        let from = from + known.number("border", None);
        assert!(from < opens && opens <= from + exposure + 1e-6, "{pitch}: {from} {opens}");
    }
}

/// A reading that is logged as on target keeps the slot between its borders:
/// the course may be off by its tolerance, the line of the slot by its own, and
/// the mark that is said is rounded to the tape, at most half a graduation
/// (computed; that the border is kept is common practice, no source).
#[test]
fn the_border_is_no_less_than_the_readings_may_be_off() {
    let deck = shipped("deck-intake");
    let tolerance = |id: &str| match &deck.step(id).unwrap().answer {
        Answer::Measure { tolerance, .. } => tolerance.value.to_f64(),
        other => panic!("{id}: {other:?}"),
    };
    let measure = deck.measures.iter().find(|m| m.name == "course_butt").unwrap();
    let rounding = measure.graduation.to_f64() / 2.0;
    for line in ["read-slot-low", "read-slot-high"] {
        let off = tolerance("course") + tolerance(line) + rounding;
        assert!(off <= changed(&[]).number("border", None) + 1e-9, "{line}: {off}");
    }
    let off = tolerance("course") + tolerance("read-slot-low") + rounding;
    let (mut inside, mut outside) = (0, 0);
    for sixteenths in 0..200 {
        let depth = format!("{sixteenths}/16 in");
        let known = changed(&[("insulation_depth", &depth), ("ice_barrier", "none")]);
        let opens = known.number("slot_opens_at", None) - off;
        assert!(known.number("slot_from", None) <= opens, "{depth}: opens at {opens}");
        let closes = known.number("slot_closes_at", None) + off;
        if known.yes("slot_in_band") {
            assert!(closes <= known.number("bottom_third_to", None), "{depth}: closes at {closes}");
            inside += 1;
        }
    }
    // A narrow attic has no room for the border above the slot.
    for run in 60..168 {
        let run = format!("{run} in");
        let known = changed(&[("roof_run", &run), ("ice_barrier", "none")]);
        let closes = known.number("slot_closes_at", None) + off;
        if known.yes("slot_in_band") {
            assert!(closes <= known.number("bottom_third_to", None), "{run}: closes at {closes}");
        } else {
            outside += 1;
        }
    }
    assert!(0 < inside && 0 < outside, "{inside} {outside}");
}

/// Blade below the shoe: what the shoe rides on, the deck and at most 1/8 in
/// (common practice, no source). 1/4 + 1/2 + 1/16 in; with a reading 1/16 in
/// over it is 1/8 in below the deck.
#[test]
fn the_blade_reaches_through_the_deck_and_no_deeper() {
    changed(&[]).is("blade_depth", None, 0.8125);
    changed(&[("cover_thickness", "0 in")]).is("blade_depth", None, 0.5625);
    let deck = shipped("deck-intake");
    let Answer::Measure { tolerance, .. } = &deck.step("blade").unwrap().answer else {
        panic!("the depth of the blade is read off")
    };
    let below = changed(&[]).number("blade_depth", None) + tolerance.value.to_f64() - 0.75;
    assert!(below <= 0.125 + 1e-9, "{below} in below the deck");
}

/// What is done on the roof comes after the ladder and the fall protection, and
/// the look under the marks after the marks and before the cut.
#[test]
fn steps_are_in_a_safe_order() {
    let deck = shipped("deck-intake");
    let at = |id: &str| deck.steps.iter().position(|step| step.id == id).expect(id);
    for pair in [
        "power-lines",
        "ladder",
        "tied-off",
        "footing",
        "course",
        "read-slot-low",
        "read-slot-high",
        "read-slot-start",
        "read-slot-end",
        "look-under",
        "blade",
        "clear-to-cut",
        "cut",
    ]
    .windows(2)
    {
        assert!(at(pair[0]) < at(pair[1]), "{} comes after {}", pair[0], pair[1]);
    }
    // Who is sent into the attic is told how to move there.
    for (list, ids) in [
        ("site-survey", &["air-path", "heel", "insulation", "roof-run"][..]),
        ("deck-intake", &["look-inside", "look-under"]),
        ("closing-inspection", &["attic-light", "attic-clear", "hose-ready"]),
    ] {
        let list = shipped(list);
        for id in ids {
            assert!(list.step(id).unwrap().cautions.contains(&"attic".to_owned()), "{id}");
        }
    }
}

/// Where the answers to a question are few, the question names them all.
#[test]
fn questions_name_their_answers() {
    for id in SHIPPED {
        for step in shipped(id).steps {
            let Answer::Choice { options, .. } = &step.answer else { continue };
            let said: String = step
                .say
                .iter()
                .map(|piece| match piece {
                    Piece::Words(words) => words.to_lowercase(),
                    Piece::Name(name) => name.clone(),
                })
                .collect();
            for option in options {
                let last = option.rsplit(' ').next().unwrap();
                assert!(said.contains(last), "{id}: {} does not name {option}", step.id);
            }
        }
    }
}

/// Ladder at one quarter of its working length (29 CFR 1926.1053(b)(5)(i)),
/// rails 3 ft above: at 10 ft 2.582 ft out and 13.426 ft long.
#[test]
fn ladder_of_the_demo_job() {
    let survey = shipped("site-survey");
    let facts = demo_facts(&[&survey, &shipped("deck-intake"), &shipped("closing-inspection")]);
    let known = compute(survey, facts);
    assert!((known.number("ladder_working", None) / 12.0 - 10.328).abs() < 0.0005);
    assert!((known.number("ladder_base", None) / 12.0 - 2.582).abs() < 0.0005);
    assert!((known.number("ladder_rail", None) / 12.0 - 13.426).abs() < 0.0005);
    // Both lists say in the same words from where the foot is measured.
    let title = |list: &Checklist| {
        list.measures.iter().find(|m| m.name == "ladder_base").unwrap().title.clone()
    };
    assert_eq!(title(&known.list), "ladder foot out from under the eave edge");
    assert_eq!(title(&known.list), title(&shipped("deck-intake")));
    let deck = changed(&[]);
    for name in ["ladder_base", "ladder_rail"] {
        deck.is(name, None, known.number(name, None));
    }
}

#[test]
fn points_hold_where_the_list_says() {
    let deck = shipped("deck-intake");
    let cut = deck.step("cut").unwrap().point.clone().unwrap();
    assert_eq!((cut.kind, cut.role.as_str()), (PointKind::Hold, "foreman"));
    // Whatever line the saw follows, off target it stops for the foreman.
    let PointWhen::OffTarget(causes) = &cut.when else { panic!("{:?}", cut.when) };
    for line in
        ["read-nail-line", "read-slot-low", "read-slot-high", "read-slot-start", "read-slot-end"]
    {
        assert!(causes.iter().any(|cause| cause == line), "{line} is not among {causes:?}");
    }
    let cover = deck.step("underlayment").unwrap().point.clone().unwrap();
    assert_eq!((cover.kind, cover.when), (PointKind::Witness, PointWhen::Always));
    // Every answer that can go wrong in the survey stops the work.
    let survey = shipped("site-survey");
    for step in &survey.steps {
        if matches!(&step.answer, Answer::Choice { wanted, .. } if !wanted.is_empty()) {
            let held = survey.steps.iter().any(|later| {
                later.point.as_ref().is_some_and(|point| {
                    let causes = match &point.when {
                        PointWhen::OffTarget(causes) => causes.contains(&step.id),
                        _ => false,
                    };
                    point.kind == PointKind::Hold && causes
                })
            });
            assert!(held, "{} off target stops nobody", step.id);
        }
    }
    let once = |list: &Checklist| list.steps.iter().filter(|s| s.each.is_none()).count();
    assert!(once(&survey) <= 45 && once(&deck) <= 30, "{} {}", once(&survey), once(&deck));
}

/// The engine knows no trade: a checklist of another one, with its own functions
/// (none), reads and computes.
#[test]
fn another_trade() {
    let path = "tests/it/data/deck-ledger.toml";
    let text = fs::read_to_string(path).unwrap();
    let ledger = read_checklist(&text, path, &chalkhand::measure::Functions::new());
    let ledger = ledger.unwrap_or_else(|problems| panic!("{problems}"));
    assert_eq!(ledger.measures.len(), 2);
    let lags = ledger.steps.iter().find(|step| step.id == "lags").unwrap();
    let said: Vec<String> = lags
        .say
        .iter()
        .map(|piece| match piece {
            Piece::Words(words) => words.clone(),
            Piece::Name(name) => format!("<{name}>"),
        })
        .collect();
    assert_eq!(said.concat(), "How many lags? { At least <lags>. }");
}

/// The demo data say that they are invented and name no real place or number.
#[test]
fn demo_data_are_marked() {
    let job = job();
    assert!(job.job.invented && profile().invented);
    // 555-0100 to 555-0199 are kept for fiction (North American Numbering
    // Plan, from memory).
    assert!(job.job.phone.starts_with("555-01"));
    let pinned: Vec<&str> = job.checklists.iter().map(|wanted| wanted.id.as_str()).collect();
    assert_eq!(pinned, ["site-survey", "deck-intake", "closing-inspection"]);
    assert_eq!(job.profile.as_ref().unwrap().id, profile().id);

    // With all checklists it is the same job.
    let whole = job_of("packaging/demo-data/whole.toml");
    assert_eq!(whole.job, job.job);
    assert_eq!(whole.profile, job.profile);
    let pinned: BTreeSet<&str> = whole.checklists.iter().map(|wanted| wanted.id.as_str()).collect();
    let all: BTreeSet<&str> =
        SHIPPED_FILES.iter().map(|(file, _)| file.trim_end_matches(".toml")).collect();
    assert_eq!(pinned, all);
    assert_eq!(whole.checklists.len(), all.len());
}
