//! How the roof screen looks: four parts, each replaced whole when it changes.
//! The same for a page that is loaded and for what a socket pushes.

use axum::response::Response;
use maud::{Markup, html};

use super::super::foreign::{foreign, told};
use super::super::guard::Visitor;
use super::super::look;
use super::super::shell::{self, Part, token};
use super::super::walks::{
    Chalk, Command, EarState, EarTrouble, Field, Held, Shown, ShownEar, ShownStep,
};
use super::super::words::Words;
use super::{Which, photo};
use crate::domain::{Language, Role};

/// The whole page.
pub(super) fn page(
    visitor: &Visitor,
    which: &Which,
    shown: &Shown,
    refused: Option<&str>,
) -> Response {
    let words = visitor.words;
    let live = format!("{}/live", which.address());
    let id = uuid::Uuid::new_v4().to_string();
    let body = html! {
        div #roof data-live=(live) data-who=(visitor.name())
            data-lost=(words.t("roof.lost")) data-unsent=(words.t("roof.unsent"))
            data-sending=(words.t("roof.sending")) data-signed-out=(words.t("roof.signed-out")) {
            div #link role="status" { @if let Some(why) = refused { p.wrong { (why) } } }
            (voice(words, &shown.ear))
            (photo::unsent(words))
            (parts(visitor, which, shown, refused, &id))
        }
    };
    let title = shown.step.as_ref().map_or(&shown.checklist, |step| &step.title);
    let scripts = ["roof.css", "roof.js", "headset.js", "photo.js"];
    shell::page_with(visitor, Part::Jobs, title, &body, &scripts)
}

/// The parts. `id` names the answer that a form without a script sends, so that
/// a button touched twice is one answer.
pub(super) fn parts(
    visitor: &Visitor,
    which: &Which,
    shown: &Shown,
    refused: Option<&str>,
    id: &str,
) -> Markup {
    let words = visitor.words;
    // Where the checklist is in English on a page that is not.
    let lang = shown.untranslated.then(|| Language::default().code());
    let ask = Ask { visitor, words, which, shown, id, lang };
    html! {
        div #place data-part {
            p { strong lang=[lang] { (shown.checklist) }
                @if 1 < shown.nth { ", " (words.fill("roof.nth", &[("nth", &shown.nth.to_string())])) }
            }
            p { (words.fill("roof.job", &[("number", &shown.job), ("address", &shown.address)])) }
            @if shown.untranslated { p { (words.t("roof.untranslated")) } }
            @if let Some(step) = &shown.step {
                p.count { (words.fill("roof.step-of", &[
                    ("number", &step.number.to_string()),
                    ("of", &shown.of.to_string()),
                    ("open", &shown.open.to_string()),
                ])) }
            }
        }
        div #news data-part role="status" lang=[lang] {
            @if refused.is_none() { @for one in &shown.said { p { (one) } } }
        }
        div #ear data-part role="status" { (ear(words, &shown.ear, lang)) }
        section #question data-part data-question=(shown.question) { (ask.question()) }
        div #rest data-part { (ask.rest()) }
    }
}

/// Ways to put the phone on; the script shows them, and carries the sound.
fn voice(words: Words, ear: &ShownEar) -> Markup {
    html! {
        div #voice hidden data-refused=(words.t("roof.mic-refused"))
            data-insecure=(words.t("roof.mic-insecure"))
            data-blocks=(look::path("headset_blocks.js")) {
            @if ear.can_hear {
                button type="button" data-ear="hears" { (words.t("roof.by-voice")) }
            }
            button type="button" data-ear="speaks" { (words.t("roof.read-aloud")) }
            button type="button" data-ear="off" hidden { (words.t("roof.ear-off")) }
            progress #level max="60" value="0" hidden aria-label=(words.t("roof.level")) {}
        }
    }
}

/// What is heard and understood.
fn ear(words: Words, ear: &ShownEar, lang: Option<&str>) -> Markup {
    let told = match ear.state {
        EarState::Off => None,
        EarState::Speaks => Some(words.t("roof.ear-speaks").to_owned()),
        EarState::Checking => Some(words.t("roof.ear-checking").to_owned()),
        EarState::Hears => Some(words.fill(
            "roof.ear-hears",
            &[("seconds", &ear.window_s.to_string()), ("call", &ear.call_word)],
        )),
    };
    html! {
        @if let Some(told) = told { p { (told) } }
        @if let Some(read) = &ear.read { p.read lang=[lang] { (read) } }
        @match &ear.trouble {
            Some(EarTrouble::Silent) => p { (words.t("roof.ear-silent")) },
            Some(EarTrouble::CheckedElsewhere) => p { (words.t("roof.ear-elsewhere")) },
            Some(EarTrouble::TooLoud) => p { (words.t("roof.ear-too-loud")) },
            Some(EarTrouble::SoundLost { ms }) => p {
                (words.fill("roof.ear-sound-lost", &[("ms", &ms.to_string())]))
            },
            Some(EarTrouble::Other(why)) => p lang="en" { (why) },
            None => {}
        }
        @if let Some(heard) = &ear.heard {
            p.heard {
                @let places = [("words", heard.words.as_str())];
                @if heard.taken { (words.fill("roof.heard", &places)) }
                @else if heard.words.is_empty() { (words.t("roof.not-heard")) }
                @else { (words.fill("roof.perhaps", &places)) }
            }
        }
    }
}

/// What is asked, and how it is answered.
struct Ask<'a> {
    visitor: &'a Visitor,
    words: Words,
    which: &'a Which,
    shown: &'a Shown,
    id: &'a str,
    lang: Option<&'static str>,
}

impl Ask<'_> {
    /// A text of the checklist inside a sentence of the page.
    fn own(&self, text: &str) -> String {
        if self.lang.is_some() { foreign(text) } else { text.to_owned() }
    }

    fn question(&self) -> Markup {
        let (words, shown) = (self.words, self.shown);
        let said = shown.ask.as_deref().unwrap_or_default();
        match (shown.asks, &shown.step) {
            ("step", Some(step)) => self.step(step),
            ("read-back" | "words-back" | "off-target", _) => html! {
                h1 tabindex="-1" {
                    @if shown.asks == "off-target" { (words.t("roof.off-target")) }
                    @else { (words.t("roof.right")) }
                }
                p.ask lang=[self.lang] { (said) }
                (self.buttons(&["yes", "no", "measure-again", "log-as-is"], "two"))
                (self.about())
            },
            ("reason" | "skip-reason" | "note", _) => html! {
                h1 tabindex="-1" { (said) }
                (self.about())
                (self.field())
            },
            ("held", _) => html! {
                h1 tabindex="-1" { (words.t("roof.held")) }
                @if let Some(Held { role, since }) = &shown.held {
                    @let known = Role::ALL.into_iter().find(|known| known.word() == role);
                    @let role = known.map_or(role.as_str(), |role| super::super::role(words, role));
                    p.ask { (words.fill("roof.held-told", &[("role", role), ("since", since)])) }
                }
                p lang=[self.lang] { (said) }
                p { a.again href=(self.which.address()) { (words.t("roof.look-again")) } }
            },
            ("ended", _) => html! {
                h1 tabindex="-1" { (words.t("roof.finished")) }
                @let count = shown.finished.unwrap_or_default();
                p.ask {
                    @if count == 0 { (words.t("roof.no-deviation")) }
                    @else { (words.fill("roof.deviations", &[("count", &count.to_string())])) }
                }
                form method="post" action={ (self.which.address()) "/again" } {
                    (token(self.visitor))
                    button.again { (words.t("roof.again")) }
                }
            },
            // Paused, not saved, or facts are missing.
            (asks, _) => html! {
                h1 tabindex="-1" {
                    @if asks == "paused" { (words.t("roof.paused")) } @else { (words.t("roof.stuck")) }
                }
                p.ask lang=[self.lang] { (said) }
                (self.buttons(&["resume", "repeat"], "one"))
                (self.about())
            },
        }
    }

    fn step(&self, step: &ShownStep) -> Markup {
        let (words, shown) = (self.words, self.shown);
        html! {
            @if !step.cautions.is_empty() {
                div.caution {
                    strong { (words.t("roof.caution")) }
                    @for caution in &step.cautions { p lang=[self.lang] { (caution) } }
                }
            }
            h1 tabindex="-1" lang=[self.lang] { (step.title) }
            @match step.chalk {
                Some(Chalk::Layout) => p.chalk.layout { (words.t("roof.layout")) },
                Some(Chalk::Cut) => p.chalk.cut { (words.t("roof.cut")) },
                None => {}
            }
            p.text lang=[self.lang] { (step.text.as_deref().unwrap_or_default()) }
            @if 0 < step.photos_left {
                p { (words.fill("roof.photos", &[("count", &step.photos_left.to_string())])) }
                (photo::form(self.visitor, self.which, shown, step, self.id))
                (self.buttons(&["photo-taken"], "photo"))
            }
            (self.field())
            (self.buttons(&["step-done"], "one"))
        }
    }

    /// The step an answer in between is about.
    fn about(&self) -> Markup {
        html! {
            @if let Some(step) = &self.shown.step {
                div.about lang=[self.lang] {
                    p { strong { (step.title) } }
                    @if let Some(text) = &step.text { p { (text) } }
                }
            }
        }
    }

    fn form(&self, class: &str, body: &Markup) -> Markup {
        html! {
            form.answer.(class) method="post" action={ (self.which.address()) "/answer" } {
                (token(self.visitor))
                input type="hidden" name="id" value=(self.id);
                input type="hidden" name="question" value=(self.shown.question);
                (body)
            }
        }
    }

    /// Those of these commands that make sense now, in this order.
    fn buttons(&self, wanted: &[&str], class: &str) -> Markup {
        let find = |meaning: &&str| self.shown.commands.iter().find(|one| one.meaning == *meaning);
        let found: Vec<&Command> = wanted.iter().filter_map(find).collect();
        if found.is_empty() {
            return html! {};
        }
        self.form(
            class,
            &html! {
                @for one in found {
                    button name="meaning" value=(one.meaning) lang=[self.lang] { (one.words) }
                }
            },
        )
    }

    fn field(&self) -> Markup {
        let words = self.words;
        match &self.shown.answer {
            Field::None => html! {},
            Field::Choice { options } => self.form("choices", &html! {
                fieldset {
                    legend { (words.t("roof.choose")) }
                    @for (place, option) in options.iter().enumerate() {
                        button name="meaning" value={ "choice " (place) } lang=[self.lang] { (option) }
                    }
                }
            }),
            Field::Length { from, to, metric: true, .. } => self.form("number", &html! {
                (self.typed(words.t("roof.millimetres"), Some((from, to))))
                (pad(words, &Pad { point: true, ..Pad::default() }))
                button name="meaning" value="millimetres" { (words.t("roof.enter")) }
            }),
            Field::Length { from, to, fractions, feet, metric: false } => {
                let keys = Pad { fractions: *fractions, feet: *feet, inches: true, point: false };
                self.form("number", &html! {
                    (self.typed(words.t("roof.mark"), Some((from, to))))
                    (pad(words, &keys))
                    button name="meaning" value="length" { (words.t("roof.enter")) }
                })
            }
            Field::Count { from, to, unit } => {
                let label = match unit.as_str() {
                    "" => words.t("roof.number").to_owned(),
                    unit => words.fill("roof.number-in", &[("unit", unit)]),
                };
                self.form("number", &html! {
                    (self.typed(&label, Some((&from.to_string(), &to.to_string()))))
                    (pad(words, &Pad { point: true, ..Pad::default() }))
                    button name="meaning" value="count" { (words.t("roof.enter")) }
                })
            }
            Field::Words => self.form("words", &html! {
                label for="value" { (words.t("roof.own-words")) }
                textarea #value name="value" rows="3" maxlength="1000" required {}
                button name="meaning" value="words" { (words.t("roof.enter")) }
            }),
        }
    }

    fn typed(&self, label: &str, between: Option<(&str, &str)>) -> Markup {
        html! {
            label for="value" { (label) }
            input #value name="value" autocomplete="off" required
                aria-describedby=[between.map(|_| "between")];
            @if let Some((from, to)) = between {
                p #between .told { (self.words.fill("roof.between", &[("from", from), ("to", to)])) }
            }
        }
    }

    /// Everything that is not the question.
    fn rest(&self) -> Markup {
        let (words, shown) = (self.words, self.shown);
        let main =
            ["step-done", "photo-taken", "yes", "no", "measure-again", "log-as-is", "repeat"];
        let aside = |one: &&Command| {
            let asked = shown.paused && one.meaning == "resume";
            !main.contains(&one.meaning) && !asked
        };
        let others: Vec<&str> =
            shown.commands.iter().filter(aside).map(|one| one.meaning).collect();
        html! {
            @if !others.is_empty() {
                h2 { (words.t("roof.also")) }
                (self.buttons(&others, "also"))
            }
            @if let Some(step) = &shown.step {
                @if !step.why.is_empty() {
                    details { summary { (words.t("roof.why")) } p lang=[self.lang] { (step.why) } }
                }
                @if shown.asks != "step" || step.photos_left == 0 {
                    details {
                        summary { (words.t("photo.more")) }
                        (photo::form(self.visitor, self.which, shown, step, self.id))
                    }
                }
                @if let Some(next) = &step.next {
                    p { (told(&words.fill("roof.next", &[("title", &self.own(next))]))) }
                }
            }
            p.logged {
                @if let Some(last) = &shown.logged {
                    @let seq = last.seq.to_string();
                    @let title = self.own(&last.title);
                    @let places = [
                        ("at", last.at.as_str()), ("by", &last.by), ("seq", &seq), ("title", &title),
                    ];
                    @if last.by == self.visitor.name() { (told(&words.fill("roof.logged", &places))) }
                    @else { (told(&words.fill("roof.logged-by", &places))) }
                } @else { (words.t("roof.nothing-logged")) }
            }
        }
    }
}

/// Which keys a pad has.
#[derive(Default)]
struct Pad {
    fractions: bool,
    feet: bool,
    inches: bool,
    point: bool,
}

/// Big keys for gloves; the script shows them.
fn pad(words: Words, keys: &Pad) -> Markup {
    const DIGITS: [&str; 9] = ["1", "2", "3", "4", "5", "6", "7", "8", "9"];
    let families = [
        (4, words.t("roof.quarters")),
        (8, words.t("roof.eighths")),
        (16, words.t("roof.sixteenths")),
    ];
    html! {
        div.pad hidden data-inches[keys.inches] {
            div.digits {
                @for digit in DIGITS { button type="button" data-key=(digit) { (digit) } }
                button type="button" data-key="erase" { (words.t("roof.erase")) }
                button type="button" data-key="0" { "0" }
                @if keys.feet { button type="button" data-key="feet" { (words.t("roof.feet")) } }
                @else if keys.point { button type="button" data-key="." { "." } }
                @else { button type="button" data-key="clear" { (words.t("roof.clear")) } }
            }
            @if keys.fractions {
                div.fractions role="group" aria-label=(words.t("roof.fraction")) {
                    button type="button" data-key="1/2" { "1/2" }
                    @for (of, name) in families {
                        button type="button" data-family=(of) aria-expanded="false" { (name) }
                    }
                    @for (of, _) in families {
                        div.family hidden data-of=(of) {
                            @for part in (1..of).step_by(2) {
                                @let mark = format!("{part}/{of}");
                                button type="button" data-key=(mark) { (mark) }
                            }
                        }
                    }
                }
            }
        }
    }
}
