//! The roof's drawing on the desk's page: its parts as links, over the picture and
//! as a list, each leading to what lies there. Nothing is kept by following one.

use maud::{Markup, PreEscaped, html};

use super::address;
use super::desk_call::{Asked, Of};
use super::words::Words;
use crate::domain::desk::{Desk, rows};
use crate::export::drawing::{Part, Plate};

/// Where what lies at a part is shown, with what was said before kept.
fn address_of(number: &str, asked: &Asked, part: &Part) -> String {
    let (plane, run) = (part.plane.to_string(), part.run.map(|run| run.to_string()));
    let mut named = vec![("water", asked.water.as_str()), ("plane", &plane)];
    named.extend(run.as_deref().map(|run| ("run", run)));
    named.extend(part.edge.as_deref().map(|edge| ("edge", edge)));
    named.retain(|(_, value)| !value.trim().is_empty());
    let query = serde_urlencoded::to_string(named).unwrap_or_default();
    format!("/desk/{}?{query}#first", address::part(number))
}

/// Whether that is the place that is looked at: its row is one of the places, or
/// it is the edge that was asked for.
fn is_here(part: &Part, asked: &Asked, view: Option<&Desk>) -> bool {
    match part.row {
        Some((table, row)) => view.is_some_and(|view| {
            view.places.iter().any(|place| place.at.table == table && place.at.row == row)
        }),
        None => {
            part.edge.as_deref() == Some(asked.edge.trim())
                && asked.plane.trim() == part.plane.to_string()
        }
    }
}

/// The drawing, and a way to name each part on it.
pub(super) fn drawings(of: &Of<'_>, asked: &Asked, view: Option<&Desk>, words: Words) -> Markup {
    let number = &of.file.job.number;
    let is_named = |table: &str, row: u32| {
        of.drawn.iter().flat_map(|plate| &plate.parts).any(|part| part.row == Some((table, row)))
    };
    html! {
        @if !of.drawn.is_empty() {
            h2 id="drawing" { (words.t("desk.drawing")) }
            p { (words.t("desk.drawing-told")) }
            @for (table, label) in [("plane", "desk.plane"), ("run", "desk.run")] {
                @let known = rows(&of.record, table).unwrap_or(0);
                @let left: Vec<u32> = (1..=known).filter(|row| !is_named(table, *row)).collect();
                @if !left.is_empty() {
                    p.ways {
                        @for row in left {
                            a href={ "/desk/" (address::part(number)) "?" (table) "=" (row) "#first" } {
                                (words.t(label)) " " (row)
                            } " "
                        }
                    }
                }
            }
            @for plate in &of.drawn { (figure(plate, number, asked, view, words)) }
        }
    }
}

fn figure(plate: &Plate, number: &str, asked: &Asked, view: Option<&Desk>, words: Words) -> Markup {
    let (drawing, (width, height)) = (&plate.drawing, &plate.size);
    let here = |part: &Part| is_here(part, asked, view);
    html! {
        figure.drawing lang="en" {
            div.layers {
                (PreEscaped(&drawing.svg))
                @if !plate.parts.is_empty() {
                    svg.parts viewBox={ "0 0 " (width) " " (height) } role="group"
                        aria-label={ "Parts of " (drawing.title) } {
                        @for part in &plate.parts {
                            a href=(address_of(number, asked, part)) class=[here(part).then_some("here")]
                                aria-label=(part.name) aria-current=[here(part).then_some("true")] {
                                title { (part.name) }
                                polygon points=(part.points) {}
                            }
                        }
                    }
                }
            }
            @if !plate.parts.is_empty() {
                ul.ways {
                    @for part in &plate.parts {
                        li {
                            a href=(address_of(number, asked, part)) aria-current=[here(part).then_some("true")] {
                                (part.name)
                            }
                            @if here(part) { span lang=(words.language.code()) { " " (words.t("desk.here")) } }
                        }
                    }
                }
            }
            figcaption { strong { (drawing.title) } " " (drawing.description) }
        }
    }
}
