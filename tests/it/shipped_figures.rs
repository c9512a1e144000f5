//! The figures of the shipped checklists against published ones, and what all of
//! them have in common: nothing asked in vain, stop lines that hold, answers
//! that can be told apart by ear.

use std::collections::{BTreeMap, BTreeSet};

use chalkhand::domain::{
    Answer, Checklist, Fact, FactKind, FactName, Facts, Known, Piece, PointKind, PointWhen,
    Profile, Sheet, parse_answer,
};
use chalkhand::files::{SHIPPED, read_profile};
use chalkhand::measure::Value;
use chalkhand::roof;

use crate::crew;

/// Lists this file looks at in full; the others have tests of their own.
const LISTS: [&str; 5] =
    ["start-of-day", "ridge-slot", "baffles", "closing-inspection", "leak-visit"];

/// A list's measures on the invented job with these facts; `name#2` in a row.
struct Reckoned {
    list: Checklist,
    facts: Facts,
    profile: Profile,
    sheet: Sheet,
}

fn reckon(id: &str, given: &[(&str, &str)]) -> Reckoned {
    reckon_with(id, given, crew::demo_profile())
}

fn reckon_with(id: &str, given: &[(&str, &str)], profile: Profile) -> Reckoned {
    let list = crew::shipped(id);
    let (_, mut facts) = crew::demo_job();
    for (name, text) in given {
        let (name, row) = match name.split_once('#') {
            Some((name, row)) => (name, Some(row.parse().unwrap())),
            None => (*name, None),
        };
        let kind = &list.fact(name).unwrap_or_else(|| panic!("{name}")).kind;
        let name = FactName { name: name.to_owned(), row };
        facts.set(name, parse_answer(text, kind).unwrap());
    }
    let sheet = Sheet::compute(&list, &facts, Some(&profile), &roof::functions());
    Reckoned { list, facts, profile, sheet }
}

impl Reckoned {
    fn value(&self, name: &str, row: Option<u32>) -> Value {
        let known = Known {
            checklist: &self.list,
            facts: &self.facts,
            profile: Some(&self.profile),
            sheet: &self.sheet,
        };
        known.value(name, row).unwrap_or_else(|| panic!("{name} {:?}", self.sheet.get(name, row)))
    }

    /// In base units: inches, square inches, degrees Rankine.
    fn number(&self, name: &str, row: Option<u32>) -> f64 {
        match self.value(name, row) {
            Value::Quantity(quantity) => quantity.value.to_f64(),
            other => panic!("{name} is {other:?}"),
        }
    }

    fn is(&self, name: &str, row: Option<u32>, expected: f64) {
        let found = self.number(name, row);
        assert!((found - expected).abs() < 0.0006, "{name} {row:?}: {found}, not {expected}");
    }

    fn yes(&self, name: &str) -> bool {
        self.value(name, None) == Value::YesNo(true)
    }

    fn fahrenheit(&self, name: &str) -> f64 {
        self.number(name, None) - 459.67
    }
}

/// The invented profile with one figure changed.
fn profile_with(line: &str, other: &str) -> Profile {
    let text = crew::PROFILE;
    assert_eq!(text.matches(line).count(), 1, "{line}");
    read_profile(&text.replace(line, other), "changed.toml").unwrap()
}

/// trade-facts 5.5 (computed; 29 CFR 1926.1053(b)): heights, foot out, and the
/// length for rails 3 ft above, in feet: one quarter of the working length.
#[test]
fn ladders_stand_at_a_quarter_of_the_working_length() {
    for id in ["start-of-day", "ridge-slot", "leak-visit"] {
        for (height, base, rail) in [
            ("8 ft", 2.066, 11.361),
            ("10 ft", 2.582, 13.426),
            ("12 ft", 3.098, 15.492),
            ("16 ft", 4.131, 19.623),
            ("18 ft", 4.648, 21.689),
        ] {
            let day = reckon(id, &[("eave_height", height)]);
            let feet = |name| day.number(name, None) / 12.0;
            assert!((feet("ladder_base") - base).abs() < 0.0006, "{id} {height}");
            assert!((feet("ladder_rail") - rail).abs() < 0.0006, "{id} {height}");
        }
        let list = crew::shipped(id);
        let title = &list.measure("ladder_base").unwrap().title;
        assert_eq!(title, "ladder foot out from under the eave edge");
    }
}

/// trade-facts 5.13: bands under 91, 91 to 103, 103 to 115, above 115 degF; full
/// sun adds up to 15. A value on the border counts for the hotter band.
#[test]
fn heat_is_told_in_the_published_bands() {
    for (air, index, sun, felt, care, high, allows) in [
        ("85 degF", "90 degF", "cloud or shade", 90.0, false, false, true),
        ("85 degF", "91 degF", "cloud or shade", 91.0, true, false, true),
        ("90 degF", "102 degF", "cloud or shade", 102.0, true, false, true),
        ("90 degF", "103 degF", "cloud or shade", 103.0, true, true, true),
        ("90 degF", "114 degF", "cloud or shade", 114.0, true, true, true),
        ("90 degF", "115 degF", "cloud or shade", 115.0, true, true, false),
        ("75 degF", "75 degF", "full sun", 90.0, false, false, true),
        ("76 degF", "76 degF", "full sun", 91.0, true, false, true),
        ("85 degF", "88 degF", "full sun", 103.0, true, true, true),
        ("95 degF", "100 degF", "full sun", 115.0, true, true, false),
        // An index below the thermometer is no relief.
        ("95 degF", "90 degF", "cloud or shade", 95.0, true, false, true),
    ] {
        let given = [("air_temperature", air), ("heat_index", index), ("sun", sun)];
        let day = reckon("start-of-day", &given);
        assert!((day.fahrenheit("heat_felt") - felt).abs() < 1e-6, "{given:?}");
        assert_eq!(day.yes("heat_care"), care, "{given:?}");
        assert_eq!(day.yes("heat_high"), high, "{given:?}");
        assert_eq!(day.yes("heat_allows"), allows, "{given:?}");
    }
    // Where no index is asked, full sun does not reach the first band.
    let cool = reckon("start-of-day", &[("air_temperature", "69 degF"), ("sun", "full sun")]);
    assert!((cool.fahrenheit("heat_felt") - 84.0).abs() < 1e-6 && !cool.yes("heat_care"));
    for (degrees, cool, allows) in
        [("90 degF", true, true), ("91 degF", false, true), ("115 degF", false, false)]
    {
        let attic = reckon("baffles", &[("attic_temperature", degrees)]);
        assert_eq!(attic.yes("attic_cool"), cool, "{degrees}");
        assert_eq!(attic.yes("attic_allows"), allows, "{degrees}");
    }
}

/// trade-facts 5.14: 25 mph is common practice, no source. The stricter of it
/// and the profile stands.
#[test]
fn wind_stops_at_the_stricter_line() {
    let mph = |day: &Reckoned| day.number("wind_line", None) / 17.6;
    for (profile, line) in [("30 mph", 25.0), ("20 mph", 20.0)] {
        let profile = profile_with("\"30 mph\"", &format!("{profile:?}"));
        for (gust, allows) in [(line, true), (line + 1.0, false)] {
            let given = format!("{gust} mph");
            let day = reckon_with("start-of-day", &[("wind_speed", &given)], profile.clone());
            assert!((mph(&day) - line).abs() < 1e-6);
            assert_eq!(day.yes("wind_allows"), allows, "{gust} of {line}");
        }
    }
}

/// trade-facts 5.21: 40 degF, dry (from memory, common practice). The stricter of
/// it and the profile stands.
#[test]
fn membrane_waits_for_a_warm_and_dry_deck() {
    for (profile, line) in [("45 degF", 45), ("32 degF", 40)] {
        let profile = profile_with("\"45 degF\"", &format!("{profile:?}"));
        for (degrees, state, allows) in [
            (line, "all dry", true),
            (line - 1, "all dry", false),
            (line + 20, "wet or damp", false),
            (line + 20, "frost or ice", false),
        ] {
            let degrees = format!("{degrees} degF");
            let given = [("deck_temperature", degrees.as_str()), ("deck_state", state)];
            let day = reckon_with("start-of-day", &given, profile.clone());
            assert_eq!(day.yes("deck_allows_membrane"), allows, "{given:?}");
        }
    }
}

/// Common practice, no source: closed again an hour before rain or dark.
#[test]
fn an_open_roof_is_closed_before_rain_and_dark() {
    for (close, rain, light, before_rain, before_dark) in
        [("5", "6", "6", true, true), ("5", "5", "9", false, true), ("5", "60", "5", true, false)]
    {
        let given = [("hours_to_close", close), ("hours_to_rain", rain), ("hours_of_light", light)];
        let day = reckon("start-of-day", &given);
        assert_eq!(day.yes("rain_allows"), before_rain, "{given:?}");
        assert_eq!(day.yes("light_allows"), before_dark, "{given:?}");
    }
}

/// trade-facts 5.17 (40 CFR 745.83): at most 20 ft2 outside in all, housing from
/// before 1978; not known counts as old.
#[test]
fn old_paint_is_left_alone_above_the_exemption() {
    for (built, area, allows) in [
        ("older than that", "20 ft2", true),
        ("older than that", "21 ft2", false),
        ("nobody knows", "21 ft2", false),
        ("it is newer", "500 ft2", true),
    ] {
        let day = reckon("start-of-day", &[("house_built", built), ("paint_disturbed", area)]);
        assert_eq!(day.yes("paint_allows"), allows, "{built} {area}");
    }
}

/// One ridge of that slot length: its ends taken off by the invented profile.
fn one_ridge<'a>(length: &'a str, intake: &'a str) -> Vec<(&'a str, &'a str)> {
    vec![
        ("vent_ratio", "one to three hundred"),
        ("ridge_count", "1"),
        ("ridge.length#1", length),
        ("ridge.begin#1", "gable end"),
        ("ridge.finish#1", "gable end"),
        ("ridge.board#1", "0 in"),
        ("ridge_intake_area", intake),
        ("ridge_wind", "ordinary weather"),
    ]
}

/// trade-facts 1 (computed from IRC 2021 R806.2): 1,200 ft2 at 1/300 needs 576
/// in2, 230.4 of it at the ridge; 24 ft of slot at 12 in2/ft or 16 ft at 18 give
/// 288. 1,500 ft2 need 720: 20 ft at 18 and 30 ft of intake at 9 give 630 and
/// the ridge 57 % of it.
#[test]
fn the_ridge_gives_its_share_and_no_more() {
    let roof = reckon("ridge-slot", &one_ridge("26 ft", "288 in2"));
    roof.is("ridge.slot_length", Some(1), 24.0 * 12.0);
    roof.is("ridge_area_needed", None, 576.0);
    roof.is("ridge_area_least", None, 230.4);
    roof.is("ridge_delivered", None, 288.0);
    assert!(roof.yes("ridge_enough") && roof.yes("ridge_total_enough"));
    assert!(roof.yes("ridge_balanced"));
    let eighteen = || profile_with("\"12 in2/ft\"", "\"18 in2/ft\"");
    let roof = reckon_with("ridge-slot", &one_ridge("18 ft", "288 in2"), eighteen());
    roof.is("ridge_delivered", None, 288.0);
    // 19 ft of slot at 12 are 228 in2, less than 230.4.
    let short = reckon("ridge-slot", &one_ridge("21 ft", "400 in2"));
    assert!(!short.yes("ridge_enough"));
    let mut fails = one_ridge("22 ft", "270 in2");
    fails.push(("attic_area", "1500 ft2"));
    let roof = reckon_with("ridge-slot", &fails, eighteen());
    roof.is("ridge_area_needed", None, 720.0);
    roof.is("ridge_delivered", None, 360.0);
    assert!(!roof.yes("ridge_total_enough") && !roof.yes("ridge_balanced"));
    assert!(roof.yes("ridge_enough"));
    // It passes where the intake is 40 ft: 360 and 360.
    let mut passes = one_ridge("22 ft", "360 in2");
    passes.push(("attic_area", "1500 ft2"));
    let roof = reckon_with("ridge-slot", &passes, eighteen());
    assert!(roof.yes("ridge_total_enough") && roof.yes("ridge_balanced"));
    // A slot of 2 * 3/8 in is 9 in2 a foot (trade-facts 1: 0.75 in carries 9).
    let narrow = profile_with("\"7/8 in\"", "\"3/8 in\"");
    let roof = reckon_with("ridge-slot", &one_ridge("26 ft", "288 in2"), narrow);
    roof.is("ridge_delivered", None, 24.0 * 9.0);
}

/// Geometry by hand: half a 1 1/2 in board at 6/12 is 3/4 * 1.118034 in down the
/// slope (slope factor: trade-facts 2). The slot stays back from each end.
#[test]
fn the_slot_lies_beside_the_ridge_board() {
    let mut given = one_ridge("16 ft", "400 in2");
    given.extend([("ridge.board#1", "1 1/2 in"), ("ridge.finish#1", "up against something")]);
    let roof = reckon("ridge-slot", &given);
    roof.is("ridge.slot_side", Some(1), 0.875 + 0.75 * 1.118_034);
    roof.is("ridge.slot_start", Some(1), 12.0);
    roof.is("ridge.slot_end", Some(1), 192.0 - 18.0);
    roof.is("ridge.slot_length", Some(1), 162.0);
    roof.is("ridge.vent_length", Some(1), 186.0);
    roof.is("ridge.pieces", Some(1), 4.0);
    assert_eq!(roof.value("ridge.side_fits", Some(1)), Value::YesNo(true));
    given.push(("ridge.board#1", "3 in"));
    let roof = reckon("ridge-slot", &given);
    assert_eq!(roof.value("ridge.side_fits", Some(1)), Value::YesNo(false));
    // A ridge that its ends take up altogether has no slot, not a negative one.
    let roof = reckon("ridge-slot", &one_ridge("3 ft", "400 in2"));
    roof.is("ridge.slot_length", Some(1), 12.0);
    let end = "ridge_end_stay_back = { kind = \"length\", value = ";
    let long = profile_with(&format!("{end}\"12 in\""), &format!("{end}\"24 in\""));
    let roof = reckon_with("ridge-slot", &one_ridge("3 ft", "400 in2"), long);
    roof.is("ridge.slot_length", Some(1), 0.0);
    roof.is("ridge.free_area", Some(1), 0.0);
    // Common practice, no source: deck, cover and 1/16 in, with the tolerance at
    // most 1/8 in below the deck.
    roof.is("ridge_blade", None, 0.8125);
}

/// trade-facts 3 (computed): 48 in at 6 in with both ends are 9 nails. FEMA P-499
/// (trade-facts 1.19): with storm wind 3 to 6 in apart; the stricter stands.
#[test]
fn storm_wind_brings_the_fasteners_together() {
    let mut given = one_ridge("4 ft", "400 in2");
    let roof = reckon("ridge-slot", &given);
    roof.is("ridge.vent_length", Some(1), 48.0);
    roof.is("ridge_spacing", None, 8.0);
    roof.is("ridge.fasteners", Some(1), 14.0);
    assert!(roof.yes("ridge_rain_suits"));
    given.push(("ridge_wind", "storm wind"));
    let roof = reckon("ridge-slot", &given);
    roof.is("ridge_spacing", None, 6.0);
    roof.is("ridge.fasteners", Some(1), 2.0 * 9.0);
    // trade-facts 1.18: in high wind a vent that resists wind-driven rain.
    assert!(!roof.yes("ridge_rain_suits"));
    let tested = reckon_with("ridge-slot", &given, profile_with("value = false", "value = true"));
    assert!(tested.yes("ridge_rain_suits"));
    let close = profile_with("value = \"8 in\"", "value = \"4 in\"");
    reckon_with("ridge-slot", &given, close).is("ridge_spacing", None, 4.0);
    for (pitch, suits) in [("2/12", false), ("3/12", true), ("12/12", true), ("13/12", false)] {
        given.push(("pitch", pitch));
        assert_eq!(reckon("ridge-slot", &given).yes("ridge_pitch_suits"), suits, "{pitch}");
    }
}

/// trade-facts 1.8 (IRC R806.3) and 1.10 (DOE/NREL SWS 401882): 1 in clear, top
/// 6 in above the insulation. By hand at 6/12, heel 4, depth 14: the underside of
/// the deck is 14 + 6 + 1.118034 high at (21.118034 - 4) * 2 = 34.236 in, 38.277
/// in up the slope; over the wall 4 - 1.118034 in stay for the dam.
#[test]
fn baffles_reach_above_the_insulation() {
    let attic = reckon("baffles", &[]);
    attic.is("baffle_to", None, 38.277);
    attic.is("dam_most", None, 2.882);
    // 8/12, heel 6, depth 10: (16 + 1.201850 - 6) * 1.5 * 1.201850 in.
    let steep = [("pitch", "8/12"), ("heel_height", "6 in"), ("insulation_depth", "10 in")];
    let attic = reckon("baffles", &steep);
    attic.is("baffle_to", None, (16.0 + 1.201_850 - 6.0) * 1.5 * 1.201_850);
    attic.is("dam_most", None, 6.0 - 1.201_850);
    reckon("baffles", &[("heel_height", "1 in")]).is("dam_most", None, 0.0);
    for (gap, rise, wide, high) in [
        ("1 in", "6 in", true, true),
        ("15/16 in", "6 in", false, true),
        ("1 in", "5 15/16 in", true, false),
    ] {
        let given = [
            ("run_count", "1"),
            ("run.bays#1", "12"),
            ("run.air_gap#1", gap),
            ("run.baffle_rise#1", rise),
        ];
        let attic = reckon("baffles", &given);
        attic.is("run.baffles", Some(1), 12.0);
        assert_eq!(attic.value("run.gap_enough", Some(1)), Value::YesNo(wide), "{gap}");
        assert_eq!(attic.value("run.rise_enough", Some(1)), Value::YesNo(high), "{rise}");
    }
}

/// trade-facts 6.9 (AAMA 501.2): 5 min for each 5 ft; 6.10 (ASTM E1105): 15 min.
/// Both are written for windows and walls; on a roof common practice, no source.
#[test]
fn hoses_run_as_long_as_the_standards_say() {
    for (width, minutes) in [("1 ft", 5.0), ("5 ft", 5.0), ("61 in", 10.0), ("12 ft", 15.0)] {
        let given = [("zone_count", "1"), ("zone.width#1", width)];
        reckon("leak-visit", &given).is("zone.minutes", Some(1), minutes);
    }
    reckon("leak-visit", &[]).is("soak_minutes", None, 15.0);
    let soak = crew::shipped("leak-visit");
    assert_eq!(soak.step("soak").unwrap().least_s, Some(15 * 60));
    // The closing inspection waits as long as it says.
    let closing = reckon("closing-inspection", &[]);
    closing.is("hose_minutes", None, 5.0);
    for (step, places) in [("hose-below", 1), ("hose-ends", 2), ("hose-above", 1)] {
        let least = closing.list.step(step).unwrap().least_s;
        assert_eq!(least, Some(places * 5 * 60), "{step}");
    }
    for (outcomes, wet) in
        [(["stayed dry", "stayed dry"], 0.0), (["stayed dry", "water came in"], 1.0)]
    {
        let given =
            [("zone_count", "2"), ("zone.outcome#1", outcomes[0]), ("zone.outcome#2", outcomes[1])];
        reckon("leak-visit", &given).is("zones_wet", None, wet);
    }
}

fn ids() -> impl Iterator<Item = &'static str> {
    SHIPPED.iter().map(|(name, _)| name.trim_end_matches(".toml"))
}

/// A job merges what its checklists ask for: a name means one thing.
#[test]
fn shared_facts_mean_the_same() {
    let mut known: BTreeMap<String, (&str, Fact)> = BTreeMap::new();
    let mut shared = 0;
    for id in ids() {
        let list = crew::shipped(id);
        let figures = list.figures.iter().map(|f| (format!("profile.{}", f.name), f));
        for (name, fact) in list.facts.iter().map(|f| (f.name.clone(), f)).chain(figures) {
            let (first, other) = known.entry(name.clone()).or_insert((id, fact.clone()));
            let same = (&other.kind, other.from, other.to) == (&fact.kind, fact.from, fact.to);
            assert!(same, "{name} differs in {first} and {id}");
            shared += usize::from(*first != id);
        }
    }
    assert!(20 < shared, "{shared}");
}

/// Every fact, figure and measure is used, and every fact is asked by the list
/// itself or by the survey.
#[test]
fn nothing_is_asked_or_reckoned_in_vain() {
    let survey = crew::shipped("site-survey");
    for id in LISTS {
        let list = crew::shipped(id);
        let mut used: BTreeSet<String> =
            list.tables.iter().filter_map(|t| t.counted_by()).map(str::to_owned).collect();
        for formula in list
            .measures
            .iter()
            .map(|m| &m.formula)
            .chain(list.steps.iter().filter_map(|step| step.only_if.as_ref()))
        {
            used.extend(formula.names().map(|(name, _)| name.to_owned()));
            used.extend(formula.columns().map(|(table, column, _)| format!("{table}.{column}")));
        }
        for step in &list.steps {
            used.extend(step.say.iter().filter_map(|piece| match piece {
                Piece::Name(name) => Some(name.clone()),
                Piece::Words(_) => None,
            }));
            match &step.answer {
                Answer::Measure { measure, .. } | Answer::Count { measure: Some(measure) } => {
                    used.insert(measure.clone());
                }
                _ => {}
            }
        }
        let asks = |list: &Checklist, name: &str| {
            list.steps
                .iter()
                .any(|step| matches!(&step.answer, Answer::Fact { fact } if fact == name))
        };
        for fact in &list.facts {
            assert!(used.contains(&fact.name), "{id}: fact {} is used nowhere", fact.name);
            let asked = asks(&list, &fact.name) || asks(&survey, &fact.name);
            let asked = asked || fact.default.is_some();
            assert!(asked, "{id}: nobody asks for {}", fact.name);
        }
        for measure in &list.measures {
            assert!(used.contains(&measure.name), "{id}: {} is used nowhere", measure.name);
        }
        for figure in &list.figures {
            let name = format!("profile.{}", figure.name);
            assert!(used.contains(&name), "{id}: {name} is used nowhere");
            let ranged = figure.kind.dimension().is_none() || figure.from.is_some();
            assert!(ranged && !figure.ask.is_empty(), "{id}: {name} has no believable range");
            let (kind, _) = &crew::demo_profile().figures[&figure.name];
            assert_eq!(*kind, figure.kind, "{name}");
        }
    }
}

/// Whatever has a target stops the work for somebody when it is off; a step that
/// says who decides is a hold point that always holds.
#[test]
fn every_wrong_answer_stops_somebody() {
    for id in LISTS {
        let list = crew::shipped(id);
        for (place, step) in list.steps.iter().enumerate() {
            let has_target = match &step.answer {
                Answer::Choice { wanted, .. } => !wanted.is_empty(),
                Answer::Measure { .. } | Answer::Count { measure: Some(_) } => true,
                _ => false,
            };
            let held = list.steps.iter().skip(place).any(|later| {
                later.point.as_ref().is_some_and(|point| {
                    point.kind == PointKind::Hold
                        && matches!(&point.when, PointWhen::OffTarget(of) if of.contains(&step.id))
                })
            });
            assert!(!has_target || held, "{id}: {} off target stops nobody", step.id);
            let says: String = said(&step.say);
            let decides = says.contains("The foreman decides");
            let holds = step.point.as_ref().is_some_and(|point| point.kind == PointKind::Hold);
            assert!(!decides || holds, "{id}: {} leaves it to nobody", step.id);
        }
    }
}

fn said(pieces: &[Piece]) -> String {
    pieces
        .iter()
        .map(|piece| match piece {
            Piece::Words(words) => words.as_str(),
            Piece::Name(_) => "so much",
        })
        .collect()
}

/// Answers are told apart by ear in noise: another first letter each, no number
/// words, which the recogniser writes as figures, no yes and no, no command. The
/// question names them.
#[test]
fn answers_are_told_apart_by_ear() {
    let numbers = [
        "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten", "for", "to",
    ];
    for id in LISTS {
        let list = crew::shipped(id);
        for step in &list.steps {
            let options = match &step.answer {
                Answer::Choice { options, .. } => options,
                Answer::Fact { fact } => match &list.fact(fact).unwrap().kind {
                    FactKind::Choice(options) if fact != "vent_ratio" => options,
                    FactKind::YesNo => panic!("{id}: {} is answered yes or no", step.id),
                    _ => continue,
                },
                _ => continue,
            };
            let says = said(&step.say).to_lowercase();
            let first: BTreeSet<char> = options.iter().filter_map(|o| o.chars().next()).collect();
            assert_eq!(first.len(), options.len(), "{id}: {}: {options:?}", step.id);
            for option in options {
                assert!(says.contains(option.as_str()), "{id}: {} does not name {option}", step.id);
                let words: Vec<&str> = option.split([' ', '-']).collect();
                assert!(words.len() <= 4, "{id}: {option}");
                let number = |word: &&str| numbers.contains(word) && *word != "to";
                assert!(!words.iter().any(number), "{id}: {option} has a number in it");
                assert!(!["yes", "no"].contains(&words[0]), "{id}: {option}");
                let commands = chalkhand::speech::Grammar::all_commands().commands;
                let mut phrases = commands.iter().flat_map(|c| chalkhand::speech::phrases_for(c));
                assert!(!phrases.any(|phrase| phrase == option), "{id}: {option} is a command");
            }
        }
    }
}

/// Spoken sentences are short; the few longer ones are counted.
#[test]
fn sentences_are_short() {
    let words = |text: &str| text.split_whitespace().count();
    for id in LISTS {
        let list = crew::shipped(id);
        let says: Vec<String> = list.steps.iter().map(|step| said(&step.say)).collect();
        for (step, says) in list.steps.iter().zip(&says) {
            assert!(words(says) <= 24, "{id}: {} says {} words", step.id, words(says));
            assert!(words(&step.title) <= 5, "{id}: {}", step.title);
            assert!(words(&step.why) <= 20 && step.why.ends_with('.'), "{id}: {}", step.why);
            assert_eq!(step.why.matches(". ").count(), 0, "{id}: {}", step.why);
        }
        let short = says.iter().filter(|says| words(says) <= 20).count();
        assert!(says.len() * 9 <= short * 10, "{id}: {short} of {} are short", says.len());
        for caution in &list.cautions {
            assert!(words(&caution.say) <= 24, "{id}: {} is long", caution.id);
        }
    }
}

/// What hurts is told before it can: on the way up, into the attic, at the saw
/// and the nailer; the structure is never cut.
#[test]
fn cautions_stand_where_they_bite() {
    for (id, step, caution) in [
        ("start-of-day", "thunder", "storm"),
        ("start-of-day", "wind", "wind"),
        ("start-of-day", "heat-care", "heat"),
        ("start-of-day", "old-insulation", "asbestos"),
        ("start-of-day", "under-deck", "wiring"),
        ("start-of-day", "old-paint", "paint"),
        ("start-of-day", "wear", "eyes"),
        ("start-of-day", "wear", "noise"),
        ("start-of-day", "nailers", "nailer"),
        ("start-of-day", "saw", "saw"),
        ("start-of-day", "power-lines", "lines"),
        ("start-of-day", "ladder-length", "ladder"),
        ("start-of-day", "tied-off", "falls"),
        ("ridge-slot", "tied-off", "falls"),
        ("ridge-slot", "edge-nailing", "diaphragm"),
        ("ridge-slot", "blade", "structure"),
        ("ridge-slot", "cut", "saw"),
        ("ridge-slot", "cut", "structure"),
        ("ridge-slot", "fasten", "nailer"),
        ("baffles", "hatch-look", "asbestos"),
        ("baffles", "way-in", "attic"),
        ("baffles", "ducts", "chimney"),
        ("baffles", "baffles", "wiring"),
        ("leak-visit", "ladder", "ladder"),
        ("leak-visit", "tied-off", "falls"),
        ("leak-visit", "zone-hose", "gravity"),
        ("closing-inspection", "hose-told", "gravity"),
        ("closing-inspection", "safe-access", "falls"),
    ] {
        let list = crew::shipped(id);
        let cautions = &list.step(step).unwrap().cautions;
        assert!(cautions.iter().any(|known| known == caution), "{id}: {step}: {caution}");
    }
    let at = |list: &Checklist, id: &str| {
        list.steps.iter().position(|step| step.id == id).unwrap_or_else(|| panic!("{id}"))
    };
    for (id, order) in [
        (
            "start-of-day",
            &["thunder", "wind", "power-lines", "ladder-foot", "tied-off", "deck"][..],
        ),
        (
            "ridge-slot",
            &[
                "look-inside",
                "power-lines",
                "ladder",
                "tied-off",
                "footing",
                "enough-air",
                "caps-off",
                "read-far-side",
                "look-under",
                "blade",
                "clear-to-cut",
                "cut",
                "edge-renailed",
                "lay-vent",
                "storm-screws",
                "fasten",
                "caps-on",
            ],
        ),
        (
            "baffles",
            &[
                "hatch-look",
                "heat",
                "way-in",
                "cables",
                "dam",
                "baffles",
                "daylight",
                "covered",
                "insulation-back",
                "tops-free",
            ],
        ),
        // ASTM E2128's order as restated (trade-facts 6.8): documents, history,
        // where, look, test, finding, repair.
        (
            "leak-visit",
            &[
                "record-read",
                "first-seen",
                "inside-marks",
                "attic-signs",
                "vent-look",
                "hose-ready",
                "zone-hose",
                "finding",
                "repair-plan",
                "accepted",
            ],
        ),
        (
            "closing-inspection",
            &[
                "deck-dry",
                "hose-below",
                "hose-ends",
                "hose-above",
                "after-hose",
                "magnet",
                "release",
            ],
        ),
    ] {
        let list = crew::shipped(id);
        for pair in order.windows(2) {
            assert!(at(&list, pair[0]) < at(&list, pair[1]), "{id}: {} after {}", pair[0], pair[1]);
        }
    }
}
