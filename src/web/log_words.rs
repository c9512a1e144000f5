//! Sentences of the log in the language of whoever reads the page: what happened,
//! what needs attention. In English they are those of the record, which a test holds
//! them to; the record itself stays as it is.

#[cfg(test)]
mod alike;
mod dates;
mod desk;

use super::names::Named;
use super::words::Words;
use crate::domain::{
    About, Acceptance, Attention, Because, Call, Checked, Comparison, DeviationKind, EarOpen,
    FactName, Finding, Given, HearingCheck, How, Keeps, NamedStep, Photo, PinKind, PointKind,
    RowRef, StepRef, Target, Trust, Units, Verdict, Warranty, What,
};
use crate::export::words::{self as told, bare, day_and_clock, one_line};
use crate::export::{callback, sound};
use crate::measure::Value;

/// The words and units of one reader, and the checklists of the job as they are read.
/// What is in another language is marked in the sentences (`foreign`).
#[derive(Clone, Copy, Debug)]
pub(super) struct LogWords<'a> {
    pub(super) words: Words,
    pub(super) units: Units,
    pub(super) names: &'a [Named],
}

impl<'a> LogWords<'a> {
    /// The same with the names of a job.
    pub(super) fn with<'b>(self, names: &'b [Named]) -> LogWords<'b> {
        LogWords { words: self.words, units: self.units, names }
    }

    /// Whether it is the language of checklists, and of the record.
    pub(super) fn is_english(self) -> bool {
        self.words.is_english()
    }

    fn t(self, key: &'static str) -> &'static str {
        self.words.t(key)
    }

    /// The role as a job names it, in the reader's words where pages know it.
    pub(super) fn role(self, role: &str) -> String {
        self.words.role(role)
    }

    /// A text that is in English whoever reads it.
    fn kept_english(self, text: &str) -> String {
        self.words.kept_english(text)
    }

    fn value(self, value: &Value) -> String {
        match value {
            Value::Text(text) => self.choice(text),
            Value::YesNo(yes) => self.t(if *yes { "log.yes" } else { "log.no" }).to_owned(),
            Value::Quantity(_) => told::value(value, self.units),
        }
    }

    pub(super) fn fill(self, key: &'static str, places: &[(&str, &dyn ToString)]) -> String {
        self.words.filled(key, places)
    }

    fn step_ref(self, step: &StepRef) -> String {
        match step.row {
            Some(row) => self.fill("log.step-row", &[("step", &step.id), ("row", &row)]),
            None => step.id.clone(),
        }
    }

    fn all(self, texts: &[String]) -> String {
        texts.join(self.t("log.and"))
    }

    /// How something was conveyed.
    pub(super) fn how(self, how: &How) -> String {
        let key = match how {
            How::Voice(heard) => return self.fill("log.by-voice", &[("words", &heard.words)]),
            How::Keys => "log.typed",
            How::Touch => "log.by-touch",
            How::Command => "log.by-command",
            How::File => "log.in-a-file",
            How::Program => "log.by-program",
            How::Http => "log.by-http",
        };
        self.t(key).to_owned()
    }

    fn given(self, given: &Given) -> String {
        match given {
            Given::Done => self.t("log.done").to_owned(),
            Given::Noted(text) => self.fill("log.quoted", &[("text", text)]),
            Given::Chosen(option) => self.choice(option),
            Given::Fact(_, known) => self.value(known),
            Given::Measured(_) | Given::Counted(_) => told::given(given, self.units),
        }
    }

    /// What a step asked for.
    pub(super) fn target(self, target: &Target) -> String {
        let quantity = |q| told::quantity(q, self.units);
        match target {
            Target::Mark(mark, tolerance) => {
                let places: [(&str, &dyn ToString); 2] =
                    [("mark", &quantity(*mark)), ("tolerance", &quantity(*tolerance))];
                self.fill("log.mark", &places)
            }
            Target::AtLeast(n) => self.fill("log.at-least", &[("n", n)]),
            Target::OneOf(options) => {
                let options: Vec<String> = options.iter().map(|one| self.choice(one)).collect();
                options.join(self.t("log.or"))
            }
        }
    }

    fn comparison(self, comparison: &Comparison) -> String {
        let quantity = |q| told::quantity(q, self.units);
        match comparison {
            Comparison::On => self.t("log.on-target").to_owned(),
            Comparison::Above(by) => self.fill("log.above", &[("by", &quantity(*by))]),
            Comparison::Below(by) => self.fill("log.below", &[("by", &quantity(*by))]),
            Comparison::TooFew(few) => self.fill("log.too-few", &[("n", few)]),
            Comparison::NotWanted => self.t("log.not-wanted").to_owned(),
        }
    }

    fn answered(self, given: &Given, target: Option<&Target>, reason: Option<&str>) -> String {
        let mut text = self.given(given);
        if let Some(target) = target {
            text.push_str(", ");
            text.push_str(&self.comparison(&target.compare(given)));
        }
        if let Some(reason) = reason {
            text.push_str(&self.fill("log.with-reason", &[("reason", &reason)]));
        }
        text
    }

    /// What kind of thing needs attention, in two or three words.
    pub(super) fn about(self, about: &About) -> &'static str {
        self.t(match about {
            About::HoldWaiting { .. } => "log.about-hold",
            About::OffTarget { .. } => "log.about-off",
            About::AskedOtherwise { .. } => "log.about-asked",
            About::Skipped { .. } => "log.about-skipped",
            About::NotBegun => "log.about-not-begun",
            About::PhotosMissing { .. } => "log.about-photos",
            About::TooFast { .. } => "log.about-fast",
            About::ClockJump { .. } => "log.about-clock",
            About::Unfinished { .. } => "log.about-open",
            About::NewerAdopted { .. } => "log.about-newer",
        })
    }

    /// What needs attention and what to do about it, in one sentence.
    pub(super) fn attention(self, need: &Attention, title: Option<&str>) -> String {
        format!("{}: {}", self.about(&need.about), self.after_about(need, title))
    }

    /// The same without its kind; `title` is the
    /// name of the step.
    pub(super) fn after_about(self, need: &Attention, title: Option<&str>) -> String {
        let walk = &need.walk;
        let step = match (title, &need.step) {
            (Some(title), _) => self.fill("log.quoted", &[("text", &title)]),
            (None, Some(step)) => self.fill("log.the-step", &[("step", &self.step_ref(step))]),
            (None, None) => self.fill("log.the-checklist", &[("walk", walk)]),
        };
        match &need.about {
            About::HoldWaiting { role, since } => self.fill(
                "log.hold-waits",
                &[("step", &step), ("role", &self.role(role)), ("since", &day_and_clock(*since))],
            ),
            About::OffTarget { reason: Some(reason) } => {
                self.fill("log.off-reason", &[("step", &step), ("reason", &bare(reason))])
            }
            About::OffTarget { reason: None } => self.fill("log.off", &[("step", &step)]),
            About::AskedOtherwise { asked, now } => {
                let said = |text| one_line(&self.said_at(walk, need.step.as_ref(), text));
                let (asked, now) = (said(asked), said(now));
                self.fill("log.asked", &[("step", &step), ("asked", &asked), ("now", &now)])
            }
            About::NotBegun => self.fill("log.not-begun", &[("walk", walk)]),
            About::Skipped { reason } => {
                self.fill("log.skipped-needs", &[("step", &step), ("reason", &bare(reason))])
            }
            About::PhotosMissing { asked, taken } => {
                let key = match (asked, taken) {
                    (1, _) => "log.photo-missing",
                    (_, 1) => "log.photos-missing-one",
                    _ => "log.photos-missing",
                };
                self.fill(key, &[("step", &step), ("asked", asked), ("taken", taken)])
            }
            About::TooFast { took_s, least_s } => {
                self.fill("log.too-fast", &[("step", &step), ("took", took_s), ("least", least_s)])
            }
            About::ClockJump { back_s } => {
                self.fill("log.clock-back", &[("back", back_s), ("step", &step)])
            }
            About::Unfinished { open, overtaken } => {
                let key = if *open == 1 { "log.one-open" } else { "log.some-open" };
                let open = self.fill(key, &[("open", open), ("walk", walk)]);
                let then = if *overtaken { "log.open-overtaken" } else { "log.open-finish" };
                format!("{open}; {}.", self.t(then))
            }
            About::NewerAdopted { pinned, newest } => {
                self.fill("log.newer", &[("pinned", pinned), ("walk", walk), ("newest", newest)])
            }
        }
    }

    /// What happened, in one line; `title` is the name of the step. Of a photo without
    /// where its file lies.
    pub(super) fn what(self, what: &What, title: Option<&str>) -> String {
        let own = what.step().map(|step| self.step_ref(step));
        let step = title.map(str::to_owned).or(own).unwrap_or_default();
        let of_step = |key| self.fill(key, &[("step", &step)]);
        match what {
            What::JobOpened(job) => {
                let n = job.pins.len();
                let key = if n == 1 { "log.opened-one" } else { "log.opened" };
                self.fill(key, &[("n", &n)])
            }
            What::FactGiven(name, known) => {
                let (name, value) = (self.fact_name(name), self.value(known));
                // A question ends as one.
                let colon = if name.ends_with('?') { "" } else { ":" };
                format!("{name}{colon} {value}")
            }
            What::Pinned(pin) => {
                let kind = self.t(match pin.kind {
                    PinKind::Checklist => "log.a-checklist",
                    PinKind::Profile => "log.a-profile",
                });
                let places: [(&str, &dyn ToString); 3] =
                    [("kind", &kind), ("id", &pin.id), ("version", &pin.version)];
                self.fill("log.pinned", &places)
            }
            What::WalkBegun { version, .. } => self.fill("log.walk-begun", &[("version", version)]),
            What::Paused => self.t("log.paused").to_owned(),
            What::Resumed => self.t("log.resumed").to_owned(),
            What::WalkEnded => self.t("log.walk-ended").to_owned(),
            What::Answered { given, target, reason, .. } => {
                format!("{step}: {}", self.answered(given, target.as_ref(), reason.as_deref()))
            }
            What::Skipped { reason, .. } => {
                self.fill("log.skipped", &[("step", &step), ("reason", reason)])
            }
            What::Cautioned { said, spoken, .. } => {
                let said: Vec<String> = said.iter().map(|one| self.caution(one)).collect();
                let key = match spoken {
                    Some(true) => "log.cautioned-by-voice",
                    Some(false) => "log.cautioned-on-screen",
                    None => "log.cautioned",
                };
                self.fill(key, &[("step", &step), ("said", &said.join(" "))])
            }
            What::HearingChecked(check) => {
                self.fill("log.hearing-check", &[("found", &self.checked(check))])
            }
            What::EarOpened { source, keeps, check } => {
                let check = if check.is_some() { "" } else { self.t("log.not-checked-part") };
                let keeps = self.keeps(*keeps);
                self.fill(
                    "log.listened",
                    &[("source", source), ("check", &check), ("keeps", &keeps)],
                )
            }
            What::EarClosed => self.t("log.ear-closed").to_owned(),
            What::Noted { text, .. } if step.is_empty() => self.fill("log.note", &[("text", text)]),
            What::Noted { text, .. } => {
                self.fill("log.note-at", &[("step", &step), ("text", text)])
            }
            What::PhotoTaken { .. } => of_step("log.photo-said"),
            What::PhotoKept { .. } if step.is_empty() => self.t("log.photo-kept").to_owned(),
            What::PhotoKept { .. } => of_step("log.photo-kept-at"),
            What::PointReached { kind, role, .. } => {
                let key = match kind {
                    PointKind::Hold => "log.hold-reached",
                    PointKind::Witness => "log.witness-reached",
                };
                self.fill(key, &[("step", &step), ("role", &self.role(role))])
            }
            What::Released { role, .. } => {
                self.fill("log.released", &[("step", &step), ("role", &self.role(role))])
            }
            What::Accepted { entry, kinds, role, reason, .. } => {
                let kinds: Vec<String> = kinds.iter().map(|k| self.kind(*k).to_owned()).collect();
                self.fill(
                    "log.accepted",
                    &[
                        ("step", &step),
                        ("entry", entry),
                        ("role", &self.role(role)),
                        ("kinds", &self.all(&kinds)),
                        ("reason", reason),
                    ],
                )
            }
            What::CallbackOpened(call) => self.call_opened(call),
            What::CallbackVisited { id, visit } => {
                self.fill("log.call-visit", &[("id", id), ("walk", visit)])
            }
            What::CallbackClosed(finding) => self.fill(
                "log.call-closed",
                &[("id", &finding.id), ("finding", &self.finding(finding))],
            ),
            What::FollowUpIssued { start, title, sequence, .. } => {
                let key = if *sequence == 0 { "log.date-given" } else { "log.date-changed" };
                let title = self.date(title);
                self.fill(key, &[("when", &day_and_clock(*start)), ("title", &title)])
            }
            What::FollowUpMoved { uid, start, reason, .. } => self.fill(
                "log.date-moved",
                &[("uid", uid), ("when", &day_and_clock(*start)), ("reason", reason)],
            ),
            What::FollowUpCancelled { uid, reason, .. } => {
                self.fill("log.date-cancelled", &[("uid", uid), ("reason", reason)])
            }
            What::FollowUpAdded { start, title, callback, .. } => {
                let title = self.date_of(*callback, title);
                self.fill("log.date-added", &[("when", &day_and_clock(*start)), ("title", &title)])
            }
            What::PersonSet { name, roles } => {
                let roles: Vec<&str> =
                    roles.iter().map(|role| super::role(self.words, role)).collect();
                self.fill("log.person-set", &[("name", name), ("roles", &roles.join(", "))])
            }
            What::PersonLeft { name } => self.fill("log.person-left", &[("name", name)]),
            What::SignedIn { device } => self.fill("log.signed-in", &[("device", device)]),
            What::SignInEnded { name, device } => {
                self.fill("log.sign-in-ended", &[("name", name), ("device", device)])
            }
            What::KeyMade { name, called } => {
                self.fill("log.key-made", &[("called", called), ("name", name)])
            }
            What::KeyEnded { name, called } => {
                self.fill("log.key-ended", &[("called", called), ("name", name)])
            }
        }
    }

    fn kind(self, kind: DeviationKind) -> &'static str {
        self.t(match kind {
            DeviationKind::OffTarget => "log.kind-off",
            DeviationKind::Skipped => "log.kind-skipped",
            DeviationKind::TooFast => "log.kind-fast",
            DeviationKind::PhotosMissing => "log.kind-photos",
        })
    }

    fn call_opened(self, call: &Call) -> String {
        self.fill(
            "log.call-opened",
            &[
                ("id", &call.id),
                ("water", &self.water(call)),
                ("reported", &call.reported),
                ("caller", &callback::caller(call)),
            ],
        )
    }

    /// A finding in one sentence.
    pub(super) fn finding(self, finding: &Finding) -> String {
        let mut text = self.fill("log.found", &[("found", &finding.found)]);
        for (key, part) in [("log.cause", &finding.cause), ("log.was-done", &finding.done)] {
            if let Some(part) = part {
                text.push_str(&self.fill(key, &[("text", part)]));
            }
        }
        if !finding.steps.is_empty() {
            let steps: Vec<String> = finding.steps.iter().map(|one| self.found_at(one)).collect();
            text.push_str(&self.fill("log.goes-back", &[("steps", &steps.join(", "))]));
        }
        if let Some(why) = &finding.visit_left_open {
            text.push_str(&self.fill("log.left-open", &[("why", why)]));
        }
        let warranty = match finding.warranty {
            Warranty::Under => "log.warranty",
            Warranty::Outside => "log.no-warranty",
            Warranty::Undecided => "log.warranty-open",
        };
        format!("{text}; {}", self.t(warranty))
    }

    /// A step that a finding goes back to; in English as the record has it.
    fn found_at(self, named: &NamedStep) -> String {
        let title = self.step_of(&named.checklist, &named.step).filter(|_| !self.is_english());
        title.map_or_else(|| named.to_string(), |title| format!("{title} ({})", named.checklist))
    }

    /// What a fact is called: in English as the record has it, else by its question.
    fn fact_name(self, name: &FactName) -> String {
        let told = told::fact_name(name);
        if self.is_english() {
            return told;
        }
        let Some(question) = self.question(&name.name) else { return self.kept_english(&told) };
        let table = name.name.split_once('.').map(|(table, _)| table.to_owned());
        match (table, name.row) {
            (Some(table), Some(row)) => {
                format!("{}, {question}", self.row(&RowRef { table, row }))
            }
            _ => question,
        }
    }

    /// Who accepted a deviation, when and why.
    pub(super) fn accepted(self, one: &Acceptance) -> String {
        self.fill(
            "log.accepted-by",
            &[
                ("by", &one.by),
                ("role", &self.role(&one.role)),
                ("when", &day_and_clock(one.at)),
                ("entry", &one.seq),
                ("reason", &one.reason),
            ],
        )
    }

    /// Pixels, and what the camera's clock said.
    pub(super) fn size(self, photo: &Photo) -> String {
        let (width, height) = (photo.width_px, photo.height_px);
        let taken = photo
            .taken
            .as_ref()
            .map(|taken| self.fill("log.photo-taken", &[("when", &taken.replacen('T', " ", 1))]));
        let pixels = self.fill("log.pixels", &[("width", &width), ("height", &height)]);
        format!("{pixels}{}", taken.unwrap_or_default())
    }

    fn keeps(self, keeps: Keeps) -> &'static str {
        self.t(match keeps {
            Keeps::Notes => "log.keeps-notes",
            Keeps::All => "log.keeps-all",
            Keeps::Nothing => "log.keeps-nothing",
        })
    }

    /// What a hearing check found, in one line.
    fn checked(self, check: &HearingCheck) -> String {
        self.fill(
            "log.checked",
            &[
                ("verdicts", &self.verdicts(check)),
                ("noise", &sound::dbfs(check.noise_tenth_dbfs)),
                ("voice", &sound::dbfs(check.speech_tenth_dbfs)),
                ("source", &check.source),
            ],
        )
    }

    fn verdicts(self, check: &HearingCheck) -> String {
        let (commands, numbers) = (self.verdict(check.commands), self.verdict(check.numbers));
        self.fill("log.verdicts", &[("commands", &commands), ("numbers", &numbers)])
    }

    fn verdict(self, verdict: Verdict) -> String {
        let trust = self.t(match verdict.trust {
            Trust::Trusted => "log.trusted",
            Trust::Repeats => "log.with-repeats",
            Trust::Not => "log.not-trusted",
        });
        let because = match verdict.because {
            Because::Clear => return trust.to_owned(),
            Because::Barely => "log.barely",
            Because::Again => "log.read-again",
            Because::Missed => "log.missed",
            Because::Mistaken => "log.mistaken",
        };
        format!("{trust} ({})", self.t(because))
    }

    /// One line for each person the ear was open for.
    pub(super) fn ears(self, ears: &[EarOpen], checks: &[Checked]) -> Vec<String> {
        sound::each_person(ears)
            .map(|(by, own)| {
                let spans: Vec<String> = own.iter().map(|ear| self.span(ear, checks)).collect();
                let mut kept: Vec<&str> = own.iter().map(|ear| self.keeps(ear.keeps)).collect();
                kept.dedup();
                let kept = kept.join(self.t("log.then"));
                let spans = spans.join("; ");
                self.fill("log.ears", &[("by", &by), ("spans", &spans), ("kept", &kept)])
            })
            .collect()
    }

    fn span(self, ear: &EarOpen, checks: &[Checked]) -> String {
        let until = match ear.closed {
            Some(closed) if closed.date() == ear.opened.date() => {
                self.fill("log.until", &[("when", &closed.clock())])
            }
            Some(closed) => self.fill("log.until", &[("when", &day_and_clock(closed))]),
            None => self.t("log.until-stopped").to_owned(),
        };
        let found = |seq| checks.iter().find(|check| check.seq == seq);
        let checked = match ear.check.map(|seq| (seq, found(seq))) {
            None => self.t("log.not-checked").to_owned(),
            Some((seq, None)) => self.fill("log.check-entry", &[("entry", &seq)]),
            Some((seq, Some(Checked { at, check, .. }))) => {
                let (at, found) = (day_and_clock(*at), self.verdicts(check));
                self.fill("log.check-told", &[("when", &at), ("entry", &seq), ("found", &found)])
            }
        };
        self.fill(
            "log.span",
            &[
                ("from", &day_and_clock(ear.opened)),
                ("until", &until),
                ("source", &ear.source),
                ("checked", &checked),
            ],
        )
    }
}
