//! Every shipped checklist is walked from its first step to its last: on a fair
//! day with all answers on target, and on a foul one on which every stop line is
//! crossed; and by keys through the program itself.

use std::collections::BTreeSet;

use chalkhand::domain::walk::{Event, ExpectAnswer};
use chalkhand::domain::{
    Answer, Bound, Comparison, FactName, Facts, Given, How, Meaning, PointKind, PointWhen, StepRef,
    Units, What, parse_answer, shown,
};
use chalkhand::files::SHIPPED;
use chalkhand::measure::{Ratio, Value};

use crate::crew::{self, World};
use crate::program::Home;

/// What is read off on a fair day, beside what the invented job knows; in rows
/// the same for each row.
const FAIR: &[(&str, &str)] = &[
    ("wind_speed", "10 mph"),
    ("air_temperature", "72 degF"),
    ("heat_index", "72 degF"),
    ("sun", "full sun"),
    ("deck_temperature", "60 degF"),
    ("deck_state", "all dry"),
    ("hours_to_rain", "48"),
    ("hours_to_close", "5"),
    ("hours_of_light", "9"),
    ("house_built", "it is newer"),
    ("ridge_intake_area", "400 in2"),
    ("vent_ratio", "one to three hundred"),
    ("ridge_wind", "ordinary weather"),
    ("ridge_count", "2"),
    ("ridge.length", "16 ft"),
    ("ridge.begin", "gable end"),
    ("ridge.finish", "up against something"),
    ("ridge.board", "1 1/2 in"),
    ("attic_temperature", "80 degF"),
    ("run_count", "2"),
    ("plane.eave", "34 ft"),
    ("plane.slope_length", "17 ft"),
    ("run.bays", "9"),
    ("run.air_gap", "1 1/4 in"),
    ("run.baffle_rise", "7 in"),
    ("leak_test", "with the hose"),
    ("zone_count", "2"),
    ("zone.width", "8 ft"),
    ("zone.outcome", "stayed dry"),
    ("leak_finding", "flashing elsewhere"),
    ("leak_repair", "right away"),
];

/// What differs on a foul day, every stop line crossed.
const FOUL: &[(&str, &str)] = &[
    ("wind_speed", "26 mph"),
    ("air_temperature", "95 degF"),
    ("heat_index", "100 degF"),
    ("deck_temperature", "44 degF"),
    ("deck_state", "frost or ice"),
    ("hours_to_rain", "5"),
    ("hours_of_light", "5"),
    ("house_built", "nobody knows"),
    ("paint_disturbed", "21 ft2"),
    ("ridge_wind", "storm wind"),
    ("ridge_intake_area", "20 in2"),
    ("ridge.length", "5 ft"),
    ("ridge.board", "2 1/2 in"),
    ("attic_temperature", "120 degF"),
    ("run.air_gap", "3/4 in"),
    ("run.baffle_rise", "5 in"),
    ("zone.outcome", "water came in"),
    ("leak_finding", "not found"),
    ("leak_repair", "another day"),
];

/// What differs on one list's foul day only.
fn foul_of(id: &str) -> &'static [(&'static str, &'static str)] {
    match id {
        "start-of-day" => &[("pitch", "9/12")],
        "ridge-slot" => &[("pitch", "2/12"), ("air_temperature", "30 degF")],
        _ => &[],
    }
}

pub(crate) struct Crew {
    world: World,
    job: Facts,
    foul: bool,
    /// What was typed, cut where a hold point stopped the work.
    pub(crate) typed: Vec<String>,
    /// Steps that were settled off their target or held.
    held: BTreeSet<String>,
}

impl Crew {
    pub(crate) fn new(id: &str, foul: bool) -> Self {
        let (_, job) = crew::demo_job();
        let list = crew::shipped(id);
        let mut facts = job.clone();
        // The survey comes before; what a list asks itself is not known yet.
        if foul {
            for (name, text) in foul_of(id) {
                if let Some(fact) = list.fact(name) {
                    facts.set(crew::fact(name, None), parse_answer(text, &fact.kind).unwrap());
                }
            }
        }
        // What the official applies, the survey has asked.
        let ratio = list.fact("vent_ratio").filter(|_| !foul && id == "ridge-slot");
        if let Some((fact, (name, text))) = ratio.zip(FAIR.iter().find(|f| f.0 == "vent_ratio")) {
            facts.set(crew::fact(name, None), parse_answer(text, &fact.kind).unwrap());
        }
        let world = World::new(list, Some(crew::demo_profile()), &facts);
        Self { world, job: facts, foul, typed: vec![String::new()], held: BTreeSet::new() }
    }

    /// Walks to the end.
    pub(crate) fn walk(&mut self) {
        self.event(Event::Begin);
        for _ in 0..2_000 {
            if self.world.left {
                return;
            }
            self.event(Event::Spoken);
            if self.world.walk.is_held() {
                let at = self.world.walk.current().unwrap().id.clone();
                self.held.insert(at);
                self.typed.push(String::new());
                assert_ne!(self.world.release(), 0, "held, and nothing waits");
                let unread = self.world.unread();
                self.event(Event::Others(unread));
                continue;
            }
            let at = self.world.walk.current().unwrap().clone();
            let (meaning, typed) = self.answer(&at);
            let line = self.typed.last_mut().unwrap();
            line.push_str(&typed);
            line.push('\n');
            self.world.now_ms += 3_000;
            self.event(Event::Said { meaning, how: How::Keys });
        }
        panic!("{} does not end", self.world.checklist.id);
    }

    fn event(&mut self, event: Event) {
        self.world.event(event);
    }

    fn answer(&self, at: &StepRef) -> (Meaning, String) {
        let expect = self.world.walk.expect();
        for (meaning, typed) in [
            (Meaning::StepDone, "done"),
            (Meaning::Yes, "yes"),
            (Meaning::LogAsIs, "log it as it is"),
        ] {
            if expect.commands.contains(&meaning) {
                return (meaning, typed.to_owned());
            }
        }
        if expect.answer == ExpectAnswer::Words {
            return said("seen and written down");
        }
        assert_ne!(expect.answer, ExpectAnswer::None, "{at} cannot be told or answered");
        let list = self.world.checklist.clone();
        match &list.step(&at.id).unwrap().answer {
            Answer::Choice { options, wanted } => {
                let unwanted = options.iter().find(|option| !wanted.contains(option));
                let good = wanted.first().or(options.first());
                said(if self.foul { unwanted.or(good) } else { good }.unwrap())
            }
            Answer::Measure { measure, .. } => {
                let shown = self.world.reckon(|known, _| {
                    let Some(Value::Quantity(q)) = known.value(measure, at.row) else {
                        panic!("{measure} is not known")
                    };
                    let of = list.measure(measure);
                    let of =
                        of.map_or((Bound::Mark, Ratio::SIXTEENTH), |m| (m.bound, m.graduation));
                    let mark = Value::Quantity(shown::to_tape(q, of.0, of.1));
                    shown::show_value(&mark, of.0, of.1, Units::Us)
                });
                // Far from any mark there is.
                said(if self.foul { "19'-0\"" } else { &shown })
            }
            Answer::Count { measure: Some(measure) } if !self.foul => {
                let least = self.world.reckon(|known, _| known.value(measure, at.row));
                let Some(Value::Quantity(q)) = least else { panic!("{measure} is not known") };
                said(&q.value.ceil().to_string())
            }
            Answer::Count { .. } => said("0"),
            Answer::Fact { fact } => said(&self.fact(fact, at)),
            other => panic!("{at}: {other:?}"),
        }
    }

    fn fact(&self, name: &str, at: &StepRef) -> String {
        let of = |table: &[(&str, &str)]| {
            let found = table.iter().find(|(known, _)| *known == name);
            found.map(|(_, text)| (*text).to_owned())
        };
        let id = self.world.checklist.id.as_str();
        let foul = self.foul.then(|| of(foul_of(id)).or_else(|| of(FOUL))).flatten();
        if let Some(text) = foul.or_else(|| of(FAIR)) {
            return text;
        }
        let row = at.row.filter(|_| name.contains('.'));
        let known =
            self.job.iter().find(|(known, _)| **known == FactName { name: name.to_owned(), row });
        // What the job does not say stands as the checklist's default.
        let default = self.world.reckon(|known, _| known.value(name, row));
        let value = known.map(|(_, value)| value.clone()).or(default);
        let Some(value) = value else { panic!("nobody knows {name}") };
        let bound = Bound::Mark;
        shown::show_value(&value, bound, Ratio::SIXTEENTH, Units::Us)
    }

    /// Steps asked and settled, in order.
    fn settled(&self) -> Vec<String> {
        let step = |what: &What| match what {
            What::Answered { step, .. } => Some(step.id.clone()),
            _ => None,
        };
        self.world.log.iter().filter_map(|entry| step(&entry.draft.what)).collect()
    }

    fn off_target(&self) -> usize {
        let off = |what: &What| match what {
            What::Answered { given, target: Some(target), .. } => {
                target.compare(given) != Comparison::On
            }
            _ => false,
        };
        self.world.log.iter().filter(|entry| off(&entry.draft.what)).count()
    }
}

fn said(text: &str) -> (Meaning, String) {
    (Meaning::Words(text.to_owned()), text.to_owned())
}

fn ids() -> impl Iterator<Item = &'static str> {
    SHIPPED.iter().map(|(name, _)| name.trim_end_matches(".toml"))
}

/// The lists whose every step is reached on a fair or a foul day.
const WHOLE: [&str; 5] =
    ["start-of-day", "ridge-slot", "baffles", "closing-inspection", "leak-visit"];

#[test]
fn each_is_walked_from_the_first_step_to_the_last() {
    for id in ids() {
        let mut fair = Crew::new(id, false);
        fair.walk();
        let steps = fair.settled();
        let list = &fair.world.checklist;
        assert_eq!(steps.first(), list.steps.first().map(|step| &step.id), "{id}");
        assert_eq!(steps.last(), list.steps.last().map(|step| &step.id), "{id}");
        assert_eq!(fair.off_target(), 0, "{id}: on a fair day all is on target");
        let always: Vec<&str> = list
            .steps
            .iter()
            .filter(|step| {
                let point = step.point.as_ref();
                step.only_if.is_none()
                    && point.is_some_and(|point| {
                        point.kind == PointKind::Hold && point.when == PointWhen::Always
                    })
            })
            .map(|step| step.id.as_str())
            .collect();
        for held in &fair.held {
            let fair_hold = always.contains(&held.as_str()) || held == "repair-may-begin";
            assert!(fair_hold, "{id}: {held} stops the work on a fair day");
        }
    }
}

#[test]
fn each_step_is_reached_and_each_stop_line_stops() {
    for id in WHOLE {
        let (mut fair, mut foul) = (Crew::new(id, false), Crew::new(id, true));
        fair.walk();
        foul.walk();
        let reached: BTreeSet<String> = fair.settled().into_iter().chain(foul.settled()).collect();
        let list = crew::shipped(id);
        for step in &list.steps {
            assert!(reached.contains(&step.id), "{id}: {} is never reached", step.id);
            // A foul day crosses every line there is.
            let stops = step.tags.iter().any(|tag| tag == "stop") && step.only_if.is_some();
            assert!(!stops || foul.held.contains(&step.id), "{id}: {} stops nobody", step.id);
            // A hold stops where it always holds, or where a cause of it was asked.
            let point = step.point.as_ref().filter(|point| point.kind == PointKind::Hold);
            let settled = foul.settled();
            let due = point.is_some_and(|point| match &point.when {
                PointWhen::OffTarget(causes) => causes.iter().any(|of| settled.contains(of)),
                _ => true,
            });
            if due && settled.contains(&step.id) {
                assert!(foul.held.contains(&step.id), "{id}: {} is not held", step.id);
            }
        }
    }
}

/// The program itself, with lines typed: to the end of every shipped list.
#[test]
fn each_is_walked_by_keys_through_the_program() {
    let home = Home::new();
    let profile = home.write("profile.toml", crew::PROFILE);
    home.run(["checklist", "adopt", profile.to_str().unwrap()]).well();
    let names: Vec<String> = ids().map(|id| format!("{id:?}")).collect();
    let job: Vec<String> = Home::job_file()
        .lines()
        .map(|line| match line.starts_with("checklists =") {
            true => format!("checklists = [{}]", names.join(", ")),
            false => line.to_owned(),
        })
        .collect();
    let path = home.write("job.toml", &job.join("\n"));
    home.run(["job", "open", path.to_str().unwrap()]).well();
    for id in ids() {
        let mut crew = Crew::new(id, false);
        crew.walk();
        let walk = ["walk", "EX-0001", id, "--by", "Installer Example", "--keys", "--mute"];
        let mut out = String::new();
        for lines in &crew.typed {
            out = home.typed(walk, lines).well();
            for line in out.lines().filter(|line| line.contains("chalkhand release ")) {
                let step = line.split_whitespace().skip_while(|w| *w != "EX-0001").nth(1).unwrap();
                let role = line.split("--role ").nth(1).unwrap().trim();
                let words = ["release", "EX-0001", step, "--by", "Foreman Example", "--role", role];
                home.run(words).well();
            }
        }
        assert!(out.contains("that was the last step"), "{id}: {out}");
    }
    assert!(home.run(["doctor"]).out.contains("the chain holds"));
}

/// What was given on a fair day is logged as it was given.
#[test]
fn facts_of_the_day_are_logged() {
    let mut crew = Crew::new("start-of-day", false);
    crew.walk();
    let given: BTreeSet<String> = crew
        .world
        .log
        .iter()
        .filter_map(|entry| match &entry.draft.what {
            What::Answered { given: Given::Fact(name, _), .. } => Some(name.name.clone()),
            _ => None,
        })
        .collect();
    for name in ["wind_speed", "air_temperature", "deck_temperature", "deck_state"] {
        assert!(given.contains(name), "{name}");
    }
    for name in ["hours_to_rain", "hours_to_close", "hours_of_light", "heat_index", "sun"] {
        assert!(given.contains(name), "{name}");
    }
}
