//! One plane to scale: its outline, what stands on it, the stay-backs, the vent
//! runs and their slots, and the marks along the course. Not the course itself:
//! that is the close-up.

use crate::measure::{Ratio, System};

use super::super::{Edge, EdgeKind, Layout, Obstruction, Plane, Run};
use super::dimension::{self, Mark};
use super::geometry::{self, Bounds, Frame};
use super::lettering::{LINE, MARGIN, TEXT, WIDTH};
use super::page::{Page, across};
use super::svg::{Area, Canvas, Hold, INK, PAPER, RED, SHADE, Spot, Stroke, Text};
use super::{Drawn, places, words};

const OUTLINE: Stroke = Stroke::ink("outline", 1.1);
const OBSTRUCTION: Stroke = Stroke::ink("obstruction", 0.7);
const BUTT: Stroke = Stroke::ink("butt", 0.5);
const VENT: Stroke = Stroke::ink("vent", 0.3);
const SLOT: Stroke = Stroke { class: "slot", colour: RED, width: 0.25, dash: "" };
const LANE: Stroke = Stroke::ink("lane", 0.5);

/// A row of text above and below the picture.
const ROW: f64 = TEXT * LINE + 1.0;

/// A plane being drawn.
struct Picture<'a> {
    layout: &'a Layout,
    plane: &'a Plane,
    runs: Vec<(usize, &'a Run)>,
    frame: Frame,
    system: System,
}

/// Draws a plane with what lies on it.
pub(super) fn draw(layout: &Layout, plane: &Plane, system: System) -> Drawn {
    let runs = words::runs(layout, plane);
    let mut page = Page::new();
    let title = words::name(plane);
    page.heading(&title);
    north(&mut page, plane);
    if runs.is_empty() {
        page.sentence("No vent on this plane.");
    }
    let only_runs: Vec<&Run> = runs.iter().map(|(_, run)| *run).collect();
    let mut places = Vec::new();
    if let Some(bounds) = Bounds::of(plane, &only_runs, &layout.vent) {
        let room = (WIDTH - 2.0 * MARGIN - 16.0, if runs.is_empty() { 60.0 } else { 105.0 });
        if !runs.is_empty() {
            page.gap(ROW);
        }
        let frame = Frame::new(bounds, MARGIN + 4.0, page.y + ROW, room);
        let picture = Picture { layout, plane, runs: runs.clone(), frame, system };
        page.y = frame.area().bottom + ROW;
        picture.draw(&mut page);
        places = places::of(layout, plane, &picture.runs, &picture.frame);
    }
    page.gap(2.0);
    for sentence in shown(layout, plane, &runs, system) {
        page.sentence(&sentence);
    }
    if !runs.is_empty() {
        key(&mut page, layout, system);
    }
    page.gap(MARGIN);
    let description = described(layout, plane, &runs, system).join(" ");
    Drawn { title, description, height: page.y, body: page.canvas.into_body(), places }
}

/// The sentences under the picture.
fn shown(layout: &Layout, plane: &Plane, runs: &[(usize, &Run)], system: System) -> Vec<String> {
    let mut all = Vec::new();
    if let Some((_, run)) = runs.first() {
        let edge = words::edge(run.left_kind);
        all.push(format!(
            "Marks are from the plane's left edge ({edge}), at the height of the butt edge."
        ));
    }
    all.extend(runs.iter().map(|(number, run)| words::pieces(*number, run, system)));
    all.extend(words::left_out(layout, plane, system));
    all.extend(words::edges(plane));
    all.extend(words::obstructions(plane, system));
    all
}

/// Everything the picture shows, in sentences.
fn described(
    layout: &Layout,
    plane: &Plane,
    runs: &[(usize, &Run)],
    system: System,
) -> Vec<String> {
    let mut all = vec![format!("{}.", words::name(plane))];
    all.extend(words::north(&plane.faces).map(|(north, _)| north.to_owned()));
    match runs.first() {
        Some((_, run)) => all.push(words::butt(run.course, run.course_butt, system)),
        None => all.push("No vent on this plane.".to_owned()),
    }
    all.extend(runs.iter().map(|(number, run)| words::marks(*number, run, system)));
    all.extend(shown(layout, plane, runs, system));
    all
}

/// Where north is: words and an arrow, only where the plane's facing says it.
fn north(page: &mut Page, plane: &Plane) {
    let Some((north, turn)) = words::north(&plane.faces) else { return };
    let before = page.y;
    page.sentence(north);
    let (middle_x, middle_y) = (WIDTH - MARGIN - 6.0, before + 0.5 * TEXT);
    let (sin, cos) = f64::to_radians(turn).sin_cos();
    let turned = |across: f64, up: f64| -> Spot {
        (middle_x + across * cos + up * sin, middle_y + across * sin - up * cos)
    };
    let arrow = Stroke::ink("north", 0.8);
    page.canvas.polyline(&[turned(0.0, -5.0), turned(0.0, 5.0)], &arrow);
    page.canvas.polyline(&[turned(-2.0, 2.0), turned(0.0, 5.0), turned(2.0, 2.0)], &arrow);
}

impl Picture<'_> {
    fn draw(&self, page: &mut Page) {
        self.stay_backs(&mut page.canvas);
        for edge in &self.plane.edges {
            let (from, to) = (geometry::spot(edge.from), geometry::spot(edge.to));
            page.canvas.line(self.frame.place(from), self.frame.place(to), &OUTLINE);
        }
        for one in &self.plane.obstructions {
            self.obstruction(&mut page.canvas, one);
        }
        self.courses(&mut page.canvas);
        for (_, run) in &self.runs {
            self.run(&mut page.canvas, run);
        }
        let marks = self.marks();
        for mark in &marks {
            page.canvas.keep_off((mark.at, mark.from_y), (mark.at, page.y));
            page.canvas.keep_off((mark.zero, mark.from_y), (mark.zero, page.y));
        }
        self.height(page);
        self.names(&mut page.canvas);
        if !marks.is_empty() {
            page.y = dimension::levels(&mut page.canvas, &marks, page.y);
        }
    }

    /// Shades where the vent may not come: beside the sloping edges and beside
    /// what stands on the plane.
    fn stay_backs(&self, canvas: &mut Canvas) {
        let vent = &self.layout.vent;
        let outline: Vec<Spot> =
            self.plane.edges.iter().map(|edge| geometry::spot(edge.from)).collect();
        let mut shade = |band: &[Spot]| {
            let band = geometry::inside_of(&outline, band);
            let band: Vec<Spot> = band.iter().map(|spot| self.frame.place(*spot)).collect();
            if 2 < band.len() {
                canvas.shade(&band, SHADE, "stay-back");
            }
        };
        for edge in self.plane.edges.iter().filter(|edge| edge.from.up != edge.to.up) {
            let (from, to) = (geometry::spot(edge.from), geometry::spot(edge.to));
            let inward =
                if from.1 < to.1 { -1.0 } else { 1.0 } * vent.stays_back_from(edge.kind).to_f64();
            shade(&[from, to, (to.0 + inward, to.1), (from.0 + inward, from.1)]);
        }
        let aside = vent.obstruction_stay_back.to_f64();
        for one in &self.plane.obstructions {
            let (left, right) = (one.left.to_f64() - aside, one.right.to_f64() + aside);
            let (low, high) = (one.low.to_f64() - aside, one.high.to_f64() + aside);
            shade(&[(left, low), (right, low), (right, high), (left, high)]);
        }
    }

    fn obstruction(&self, canvas: &mut Canvas, one: &Obstruction) {
        let area = self.frame.rectangle(
            (one.left.to_f64(), one.right.to_f64()),
            (one.low.to_f64(), one.high.to_f64()),
        );
        canvas.shape(&area.corners(), PAPER, &OBSTRUCTION);
        let Area { left, top, right, bottom } = area;
        canvas.keep_off((left, top), (right, top));
        canvas.keep_off((left, bottom), (right, bottom));
        canvas.keep_off((left, top), (left, bottom));
        canvas.keep_off((right, top), (right, bottom));
    }

    /// The butt edge of the course, from the plane's left edge to its right.
    fn courses(&self, canvas: &mut Canvas) {
        let mut drawn: Vec<Ratio> = Vec::new();
        for (_, run) in &self.runs {
            if drawn.contains(&run.course_butt) {
                continue;
            }
            drawn.push(run.course_butt);
            let up = run.course_butt.to_f64();
            let right = geometry::crossings(&self.plane.edges, up).last().map(|last| last.0);
            let right = right.unwrap_or_else(|| run.left_at.to_f64() + run.vent_end.to_f64());
            let from = self.frame.place((run.left_at.to_f64(), up));
            canvas.line(from, self.frame.place((right, up)), &BUTT);
        }
    }

    fn run(&self, canvas: &mut Canvas, run: &Run) {
        let vent = &self.layout.vent;
        let butt = run.course_butt.to_f64();
        let along = |end: Ratio| run.left_at.to_f64() + end.to_f64();
        let up = |height: Ratio| butt + height.to_f64();
        let outline = self.frame.rectangle(
            (along(run.vent_start), along(run.vent_end)),
            (up(vent.vent_low), up(vent.vent_high)),
        );
        canvas.shape(&outline.corners(), PAPER, &VENT);
        canvas.keep_off((outline.left, outline.top), (outline.right, outline.top));
        let slot = self.frame.rectangle(
            (along(run.slot_start), along(run.slot_end)),
            (up(vent.slot_low), up(vent.slot_high)),
        );
        canvas.shape(&slot.corners(), RED, &SLOT);
        let middle = slot.top.midpoint(slot.bottom);
        canvas.keep_off((slot.left, middle), (slot.right, middle));
    }

    fn marks(&self) -> Vec<Mark> {
        let several = 1 < self.runs.len();
        let mut marks = Vec::new();
        for (number, run) in &self.runs {
            let zero = self.frame.x(run.left_at.to_f64());
            let from_y = self.frame.y(run.course_butt.to_f64());
            let ends = [
                ("vent starts", run.vent_start),
                ("slot starts", run.slot_start),
                ("slot ends", run.slot_end),
                ("vent ends", run.vent_end),
            ];
            marks.extend(ends.map(|(what, end)| Mark {
                zero,
                at: self.frame.x(run.left_at.to_f64() + end.to_f64()),
                from_y,
                words: if several { format!("run {number}: {what}") } else { what.to_owned() },
                figure: words::tape(end, self.system),
            }));
        }
        marks
    }

    /// How far up the butt edge is: beside the picture, its words above.
    fn height(&self, page: &mut Page) {
        let Some((_, run)) = self.runs.first() else { return };
        let area = self.frame.area();
        let x = area.right + 6.0;
        let up = run.course_butt.to_f64();
        let (deck, butt) = (self.frame.y(0.0), self.frame.y(up));
        let figure = format!("{} up", words::tape(run.course_butt, self.system));
        let text_y = area.top - ROW - 0.3 * TEXT;
        let text = Text::new(&format!("butt edge, course {}:", run.course), (0.0, text_y));
        let text = text.figure(&figure);
        let text = if MARGIN <= x + 2.0 - text.width() {
            Text { at: (x + 2.0, text_y), hold: Hold::Right, ..text }
        } else {
            Text { at: (MARGIN, text_y), ..text }
        };
        page.canvas.line((x, text_y + 2.5), (x, deck), &LANE);
        page.canvas.line((x - 3.0, deck), (x + 2.0, deck), &LANE);
        page.canvas.line((x - 3.0, butt), (x + 2.0, butt), &LANE);
        for (y, back) in [(deck, -2.4), (butt, 2.4)] {
            page.canvas.polyline(&[(x - 1.5, y + back), (x, y), (x + 1.5, y + back)], &LANE);
        }
        if text.area().right <= WIDTH - MARGIN {
            page.canvas.text_over_lines(&text);
        }
    }

    fn names(&self, canvas: &mut Canvas) {
        for edge in &self.plane.edges {
            let choices = self.edge_choices(edge);
            canvas.place_or_break_lines(&choices, &self.surroundings());
        }
        for one in &self.plane.obstructions {
            canvas.place_or_break_lines(&self.obstruction_choices(one), &self.surroundings());
        }
        if self.runs.is_empty() {
            return;
        }
        if 1 < self.runs.len() {
            for (number, run) in &self.runs {
                let choices = self.run_choices(*number, run);
                canvas.place_or_break_lines(&choices, &self.surroundings());
            }
        }
    }

    fn surroundings(&self) -> Area {
        let area = self.frame.area();
        Area {
            left: MARGIN,
            top: area.top - ROW,
            right: area.right.max(WIDTH - MARGIN - 12.0),
            bottom: area.bottom + ROW,
        }
    }

    fn edge_choices(&self, edge: &Edge) -> Vec<Text> {
        let (from, to) = (geometry::spot(edge.from), geometry::spot(edge.to));
        let (from, to) = (self.frame.place(from), self.frame.place(to));
        let name = words::edge(edge.kind);
        let level = edge.from.up == edge.to.up;
        let low = level && edge.from.along <= edge.to.along;
        let long = if edge.kind == EdgeKind::Eave { "eave (deck edge)" } else { name };
        let mut choices = Vec::new();
        for name in [long, name] {
            for part in [0.5, 0.6, 0.4, 0.7, 0.3, 0.8, 0.2, 0.9, 0.1] {
                let (x, y) = (from.0 + (to.0 - from.0) * part, from.1 + (to.1 - from.1) * part);
                let middle = y + 0.3 * TEXT;
                let text = |x, y, hold| Text::new(name, (x, y)).hold(hold);
                if level && low {
                    choices.push(text(x, y + TEXT * 1.05, Hold::Middle));
                    choices.push(text(x, y - 2.6, Hold::Middle));
                } else if level {
                    choices.push(text(x, y - 2.6, Hold::Middle));
                    choices.push(text(x, y + TEXT * 1.05, Hold::Middle));
                } else {
                    let right_side = edge.from.up < edge.to.up;
                    let (out, into, gap) = if right_side {
                        (Hold::Left, Hold::Right, 2.0)
                    } else {
                        (Hold::Right, Hold::Left, -2.0)
                    };
                    for away in [1.0, 2.0, 3.5] {
                        choices.push(text(x + gap * away, middle, out));
                        choices.push(text(x - gap * away, middle, into));
                    }
                }
            }
        }
        choices
    }

    fn obstruction_choices(&self, one: &Obstruction) -> Vec<Text> {
        let area = self.frame.rectangle(
            (one.left.to_f64(), one.right.to_f64()),
            (one.low.to_f64(), one.high.to_f64()),
        );
        let (x, y) = (area.left.midpoint(area.right), area.top.midpoint(area.bottom));
        let mut choices = Vec::new();
        for name in [one.kind.clone(), format!("{} {}", one.kind, one.number)] {
            let text = |x, y, hold| Text::new(&name, (x, y)).hold(hold);
            choices.push(text(x, y + 0.3 * TEXT, Hold::Middle));
            choices.push(text(x, area.top - 2.0, Hold::Middle));
            choices.push(text(area.right + 1.5, y + 0.3 * TEXT, Hold::Left));
            choices.push(text(area.left - 1.5, y + 0.3 * TEXT, Hold::Right));
            choices.push(text(area.right + 1.5, area.top - 2.0, Hold::Left));
            choices.push(text(area.left - 1.5, area.top - 2.0, Hold::Right));
            choices.push(text(x, area.bottom + TEXT * 1.1, Hold::Middle));
        }
        choices
    }

    fn run_choices(&self, number: usize, run: &Run) -> Vec<Text> {
        let start = self.frame.x(run.left_at.to_f64() + run.vent_start.to_f64());
        let end = self.frame.x(run.left_at.to_f64() + run.vent_end.to_f64());
        let top = run.course_butt.to_f64() + self.layout.vent.vent_high.to_f64();
        let top = self.frame.y(top);
        let butt = self.frame.y(run.course_butt.to_f64());
        let mut choices = Vec::new();
        for name in [format!("run {number}"), number.to_string()] {
            for y in [top - 2.2, butt + TEXT, top - 5.0, top - 9.0] {
                for part in [0.5, 0.3, 0.7, 0.2, 0.8] {
                    let at = (start + (end - start) * part, y);
                    choices.push(Text::new("", at).figure(&name).hold(Hold::Middle));
                }
            }
        }
        choices
    }
}

/// What the lines and shades mean, in words.
fn key(page: &mut Page, layout: &Layout, system: System) {
    page.gap(3.0);
    page.key("filled bar: the slot to cut", |canvas, area| {
        let (from, to) = across(area);
        let bar = Area { left: from.0, right: to.0, top: from.1 - 1.0, bottom: to.1 + 1.0 };
        canvas.shape(&bar.corners(), RED, &Stroke { class: "sample", ..SLOT });
    });
    page.key("thin outline: the vent", |canvas, area| {
        canvas.shape(&area.corners(), PAPER, &Stroke { class: "sample", ..VENT });
    });
    page.key(&words::stay_back(layout, system), |canvas, area| {
        let edge = Stroke { class: "sample", colour: INK, width: 0.2, dash: "" };
        canvas.shape(&area.corners(), SHADE, &edge);
    });
}
