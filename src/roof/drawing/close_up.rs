//! One course from close by, seen square to the roof: what to snap and where to
//! cut, measured up from the butt edge; then, as a picture of its own, the left ends
//! of its runs.

use crate::measure::{Ratio, System};

use super::super::{EdgeKind, Layout, Plane, Run};
use super::dimension::{self, Mark};
use super::geometry;
use super::lettering::{self, MARGIN, TEXT, WIDTH, Weight};
use super::page::{Page, across};
use super::svg::{Area, BLUE, Canvas, Hold, INK, PAPER, RED, SHADE, Spot, Stroke, Text};
use super::{Drawn, words};

const BUTT: Stroke = Stroke::ink("butt", 1.1);
const NEXT_BUTT: Stroke =
    Stroke { class: "next-butt", colour: INK, width: 0.8, dash: "6 1.6 1.2 1.6" };
const VENT: Stroke = Stroke::ink("vent", 0.35);
const NAIL_LINE: Stroke = Stroke { class: "nail-line", colour: BLUE, width: 1.2, dash: "9 3" };
const CUT: Stroke = Stroke { class: "cut", colour: RED, width: 1.6, dash: "" };
const HATCH: Stroke = Stroke { class: "hatch", colour: RED, width: 0.4, dash: "" };
const EDGE: Stroke = Stroke::ink("outline", 1.4);
const LEADER: Stroke = Stroke::ink("leader", 0.3);
const RULE: Stroke = Stroke::ink("rule", 0.5);

/// The picture's right side; the words follow.
const RIGHT: f64 = 66.0;
/// Where the words begin.
const WORDS: f64 = RIGHT + 16.0;
/// How high the picture is, in millimetres.
const HEIGHT: f64 = 104.0;
/// A left end longer than this is told in words only, in inches.
const LONGEST_END: f64 = 150.0;

/// The left end of a run.
#[derive(Clone, Copy, PartialEq)]
struct LeftEnd {
    kind: EdgeKind,
    vent: Ratio,
    slot: Ratio,
    /// How far the edge drifts to the right for an inch up the slope.
    drift: f64,
}

/// Runs that one close-up shows.
struct Course {
    number: u32,
    butt: Ratio,
    exposure: Ratio,
    planes: Vec<u32>,
    /// Left ends, with the runs that have them.
    ends: Vec<(LeftEnd, Vec<usize>)>,
}

/// Draws every different course once, and its left ends.
pub(super) fn draw(layout: &Layout, system: System) -> Vec<Drawn> {
    let courses = courses(layout);
    let both = |course: &Course| {
        [Some(heights(layout, course, system)), left_ends(layout, course, system)]
    };
    courses.iter().flat_map(both).flatten().collect()
}

fn courses(layout: &Layout) -> Vec<Course> {
    let mut all: Vec<Course> = Vec::new();
    for plane in &layout.planes {
        for (at, (number, run)) in words::runs(layout, plane).into_iter().enumerate() {
            let same = |course: &Course| {
                (course.number, course.butt, course.exposure)
                    == (run.course, run.course_butt, plane.exposure)
            };
            if !all.iter().any(same) {
                all.push(Course {
                    number: run.course,
                    butt: run.course_butt,
                    exposure: plane.exposure,
                    planes: Vec::new(),
                    ends: Vec::new(),
                });
            }
            let Some(found) = all.iter_mut().find(|course| same(course)) else { continue };
            if !found.planes.contains(&plane.number) {
                found.planes.push(plane.number);
            }
            let end = left_end(plane, run);
            match found.ends.iter_mut().find(|(known, _)| *known == end) {
                Some((_, runs)) => runs.push(number),
                None if at == 0 => found.ends.push((end, vec![number])),
                None => {}
            }
        }
    }
    all
}

fn left_end(plane: &Plane, run: &Run) -> LeftEnd {
    let crossings = geometry::crossings(&plane.edges, run.course_butt.to_f64());
    let left = run.left_at.to_f64();
    let nearest = crossings.iter().min_by(|a, b| (a.0 - left).abs().total_cmp(&(b.0 - left).abs()));
    LeftEnd {
        kind: run.left_kind,
        vent: run.vent_start,
        slot: run.slot_start,
        drift: nearest.map_or(0.0, |nearest| nearest.1.clamp(-3.0, 3.0)),
    }
}

fn heights(layout: &Layout, course: &Course, system: System) -> Drawn {
    let mut page = Page::new();
    let title = format!("Course {} close by, {}", course.number, words::planes(&course.planes));
    page.heading(&format!("Course {} close by", course.number));
    page.sentence(&format!("Of {}.", words::planes(&course.planes)));
    let butt = words::butt(course.number, course.butt, system);
    page.sentence(&butt);
    page.sentence("Seen square to the roof, to scale. Measure up from the butt edge:");
    page.gap(3.0);
    let levels = levels(layout, course);
    up_the_slope(&mut page, &levels, system);
    key(&mut page);
    let description = described(course, &levels, &butt, system);
    drawn(page, title, description)
}

/// The left ends of the runs of a course; none where it has none.
fn left_ends(layout: &Layout, course: &Course, system: System) -> Option<Drawn> {
    let mut page = Page::new();
    for (at, (end, runs)) in course.ends.iter().enumerate() {
        page.gap(if at == 0 { 0.0 } else { 4.0 });
        along_the_course(&mut page, layout, course, (*end, runs), system);
    }
    key(&mut page);
    page.key("shaded: no vent here, stay back", |canvas, area| {
        canvas.shade(&area.corners(), SHADE, "sample");
    });
    let planes = words::planes(&course.planes);
    let ends: Vec<_> = course.ends.iter().map(|(end, _)| end_words(*end, system)).collect();
    let title = format!("Left ends on course {}, {planes}", course.number);
    let description = format!(
        "Left ends of the runs on course {} of {planes}, seen square to the roof. {}",
        course.number,
        ends.join(" ")
    );
    (!ends.is_empty()).then(|| drawn(page, title, description))
}

fn drawn(mut page: Page, title: String, description: String) -> Drawn {
    page.gap(MARGIN);
    Drawn { title, description, height: page.y, body: page.canvas.into_body(), places: Vec::new() }
}

/// What is at a height above the butt edge.
#[derive(Clone)]
struct Level {
    up: Ratio,
    words: String,
    line: Stroke,
    chalk: bool,
}

fn levels(layout: &Layout, course: &Course) -> Vec<Level> {
    let vent = &layout.vent;
    let level = |up, words: &str, line: Stroke| Level {
        up,
        words: words.to_owned(),
        line,
        chalk: line.colour != INK,
    };
    let next = format!("butt edge of course {}", course.number.saturating_add(1));
    let mut all = vec![
        level(Ratio::ZERO, &format!("butt edge of course {}", course.number), BUTT),
        level(vent.vent_low, "vent, low edge", VENT),
        level(vent.nail_line, "nail line: snap blue", NAIL_LINE),
        level(vent.slot_low, "cut: snap red, slot low", CUT),
        level(course.exposure, &next, NEXT_BUTT),
        level(vent.slot_high, "cut: snap red, slot high", CUT),
        level(vent.vent_high, "vent, high edge", VENT),
    ];
    all.sort_by_key(|level| level.up);
    all
}

/// The lines across the course, with their words beside them.
fn up_the_slope(page: &mut Page, levels: &[Level], system: System) {
    let ups = || levels.iter().map(|level| level.up.to_f64());
    let (low, high) = (ups().fold(0.0, f64::min), ups().fold(0.0, f64::max));
    let range = if 0.01 < high - low { high - low } else { 1.0 };
    let scale = HEIGHT / range;
    let labels: Vec<Vec<String>> = levels
        .iter()
        .map(|level| lettering::wrap(&level.words, TEXT, Weight::Plain, WIDTH - MARGIN - WORDS))
        .collect();
    let heights: Vec<f64> = labels.iter().map(|lines| label_height(lines.len())).collect();
    let top = page.y + heights.last().copied().unwrap_or_default() / 2.0;
    let y = |up: f64| top + (high - up) * scale;
    let wanted: Vec<f64> = ups().map(y).collect();
    let tops = spread(&wanted, &heights, page.y);
    let canvas = &mut page.canvas;
    slot(canvas, levels, y);
    for level in levels {
        let y = y(level.up.to_f64());
        let (from, to) = ((MARGIN, y), (RIGHT, y));
        if level.chalk {
            canvas.chalk(from, to, &level.line);
        } else {
            canvas.line(from, to, &level.line);
        }
    }
    rule(canvas, y(low), y(high), &wanted);
    let mut bottom = y(low);
    for (((level, lines), at), (top, height)) in
        levels.iter().zip(&labels).zip(&wanted).zip(tops.iter().zip(&heights))
    {
        label(canvas, &words::tape(level.up, system), lines, *at, *top);
        bottom = bottom.max(top + height);
    }
    down(page, y(0.0), bottom);
}

/// The slot between its cut lines.
fn slot(canvas: &mut Canvas, levels: &[Level], y: impl Fn(f64) -> f64) {
    let cuts: Vec<f64> = levels
        .iter()
        .filter(|one| one.line.class == CUT.class)
        .map(|one| one.up.to_f64())
        .collect();
    if let [low, high] = cuts.as_slice() {
        let area = Area { left: MARGIN, top: y(*high), right: RIGHT, bottom: y(*low) };
        canvas.hatch(&area, 3.2, &HATCH);
    }
}

/// The tape held up the slope: zero at the butt edge, a crow's foot at each mark.
fn rule(canvas: &mut Canvas, low: f64, high: f64, marks: &[f64]) {
    let x = RIGHT + 4.0;
    canvas.line((x, low), (x, high), &RULE);
    for y in marks {
        canvas.polyline(&[(x - 3.0, y - 1.4), (x, *y), (x - 3.0, y + 1.4)], &RULE);
    }
}

/// A figure, its words below, and the line that leads to its mark.
fn label(canvas: &mut Canvas, figure: &str, lines: &[String], mark_y: f64, top: f64) {
    let height = label_height(lines.len());
    let middle = top + height / 2.0;
    let x = RIGHT + 4.0;
    canvas.polyline(&[(x, mark_y), (x + 8.0, middle), (x + 11.0, middle)], &LEADER);
    let mut y = top + TEXT * 1.1;
    canvas.text(&Text::new("", (WORDS, y)).figure(figure).size(TEXT * 1.15));
    for line in lines {
        y += TEXT * 1.15;
        canvas.text(&Text::new(line, (WORDS, y)));
    }
}

fn label_height(lines: usize) -> f64 {
    let lines = u32::try_from(lines).map_or(1.0, f64::from);
    TEXT * (1.6 + 1.15 * lines)
}

/// Tops of labels as near to `wanted` as their heights let them be. `wanted`
/// goes up the plate, no label starts above `ceiling`.
fn spread(wanted: &[f64], heights: &[f64], ceiling: f64) -> Vec<f64> {
    let mut tops = Vec::new();
    let mut free = f64::INFINITY;
    for (at, height) in wanted.iter().zip(heights) {
        let top = (at - height / 2.0).min(free - height);
        tops.push(top);
        free = top;
    }
    let mut taken = ceiling;
    for (top, height) in tops.iter_mut().zip(heights).rev() {
        *top = top.max(taken);
        taken = *top + height;
    }
    tops
}

/// Which way the eave is.
fn down(page: &mut Page, butt: f64, bottom: f64) {
    let x = MARGIN + 4.0;
    let arrow = Stroke::ink("down", 0.8);
    let y = butt + 3.0;
    page.canvas.polyline(&[(x, y), (x, y + 8.0)], &arrow);
    page.canvas.polyline(&[(x - 2.0, y + 5.0), (x, y + 8.0), (x + 2.0, y + 5.0)], &arrow);
    let text = Text::new("down to the eave", (x + 4.0, y + 8.0));
    page.canvas.text(&text);
    page.y = bottom.max(y + 8.0 + TEXT * 0.4);
}

/// The left end of a run along the course.
fn along_the_course(
    page: &mut Page,
    layout: &Layout,
    course: &Course,
    (end, runs): (LeftEnd, &[usize]),
    system: System,
) {
    let edge = words::edge(end.kind);
    page.heading(&format!("Left end of {}, at the {edge}", words::numbered("run", runs)));
    page.sentence(&end_words(end, system));
    let (vent, slot) = (end.vent.to_f64(), end.slot.to_f64());
    if !(0.0 <= vent && vent < slot && slot <= LONGEST_END) {
        return;
    }
    let figures = &layout.vent;
    let heights = [figures.vent_low, figures.slot_low, figures.slot_high, figures.vent_high];
    let [vent_low, slot_low, slot_high, vent_high] = heights.map(Ratio::to_f64);
    let exposure = course.exposure.to_f64();
    let high = vent_high.max(exposure).max(slot_high);
    let low = vent_low.min(slot_low).min(0.0);
    let beyond = (slot * 0.3).max(4.0);
    let lean = (end.drift * high).min(0.0).abs().max((end.drift * low).max(0.0));
    let room = WIDTH - 2.0 * MARGIN - 4.0;
    let scale = (room / (lean + slot + beyond)).min(64.0 / (high - low).max(0.01));
    page.gap(4.0);
    let zero = MARGIN + 2.0 + lean * scale;
    let right = zero + (slot + beyond) * scale;
    let top = page.y;
    let place = |along: f64, up: f64| -> Spot { (zero + along * scale, top + (high - up) * scale) };
    let canvas = &mut page.canvas;
    let outer = (end.drift * high, high);
    shade_stay_back(canvas, [outer, (end.drift * low, low)], vent, &place);
    let butt = place(0.0, 0.0);
    let next = place(end.drift * exposure, exposure);
    let body = [place(vent, vent_high), place(vent, vent_low)];
    let [upper, lower] = body;
    canvas.shade(&[upper, (right, upper.1), (right, lower.1), lower], PAPER, "paper");
    let cut = Area {
        left: place(slot, 0.0).0,
        top: place(0.0, slot_high).1,
        right,
        bottom: place(0.0, slot_low).1,
    };
    canvas.hatch(&cut, 2.6, &HATCH);
    canvas.line(butt, (right, butt.1), &BUTT);
    canvas.line(next, (right, next.1), &NEXT_BUTT);
    canvas.polyline(&[(right, upper.1), upper, lower, (right, lower.1)], &VENT);
    let cut_line = [
        (cut.right, cut.top),
        (cut.left, cut.top),
        (cut.left, cut.bottom),
        (cut.right, cut.bottom),
    ];
    canvas.polyline(&cut_line, &Stroke { width: 1.1, ..CUT });
    let nail = place(vent, figures.nail_line.to_f64());
    canvas.line(nail, (right, nail.1), &Stroke { width: 0.9, ..NAIL_LINE });
    canvas.line(place(outer.0, high), place(end.drift * low, low), &EDGE);
    let bottom = place(0.0, low).1;
    let picture = Area { left: MARGIN, top, right: WIDTH - MARGIN, bottom };
    names(canvas, edge, upper.0, &cut, &picture);
    page.y = bottom;
    let marks = [("vent starts", end.vent), ("slot starts", end.slot)].map(|(what, at)| Mark {
        zero,
        at: place(at.to_f64(), 0.0).0,
        from_y: butt.1,
        words: what.to_owned(),
        figure: words::tape(at, system),
    });
    page.y = dimension::levels(&mut page.canvas, &marks, page.y);
}

/// Names the edge, the stay-back, the vent and the slot where there is room
/// inside `picture`.
fn names(canvas: &mut Canvas, edge: &str, vent_x: f64, cut: &Area, picture: &Area) {
    let column = |x: f64, hold: Hold, words: &str| -> Vec<Text> {
        let line = |line: f64| (x, picture.top + TEXT * (1.2 + 1.3 * line));
        let lines = [0.0, 1.0, 2.0, 3.0, 4.0, 5.0, 6.0, 7.0, 8.0];
        lines.map(|at| Text::new(words, line(at)).hold(hold)).to_vec()
    };
    canvas.place(&column(vent_x - 2.0, Hold::Right, edge), picture);
    canvas.place(&column(vent_x - 2.0, Hold::Right, "stay back"), picture);
    canvas.place(&column(vent_x + 3.0, Hold::Left, "vent"), picture);
    canvas.place(&[Text::new("slot", (cut.left, cut.top - 2.4))], picture);
}

/// Shades from the plane's edge to where the vent starts.
fn shade_stay_back(
    canvas: &mut Canvas,
    edge: [Spot; 2],
    vent: f64,
    place: &impl Fn(f64, f64) -> Spot,
) {
    let [(high_along, high), (low_along, low)] = edge;
    let band =
        [place(high_along, high), place(vent, high), place(vent, low), place(low_along, low)];
    canvas.shade(&band, SHADE, "stay-back");
}

fn end_words(end: LeftEnd, system: System) -> String {
    let past = match end.slot.minus(end.vent) {
        Ok(past) if Ratio::ZERO < past => {
            format!(" The vent covers the slot by {}.", words::tape(past, system))
        }
        _ => String::new(),
    };
    format!(
        "Vent starts {} from the {}, slot starts {}.{past}",
        words::tape(end.vent, system),
        words::edge(end.kind),
        words::tape(end.slot, system)
    )
}

fn described(course: &Course, levels: &[Level], butt: &str, system: System) -> String {
    let figures: Vec<_> = levels
        .iter()
        .map(|level| format!("{} {}", words::tape(level.up, system), level.words))
        .collect();
    format!(
        "Course {} of {}, seen square to the roof. {butt} Up from the butt edge: {}.",
        course.number,
        words::planes(&course.planes),
        figures.join("; ")
    )
}

/// What each line is, in words.
fn key(page: &mut Page) {
    page.gap(4.0);
    for (words, line) in [
        ("chalk blue, long dashes: snap, nail here", NAIL_LINE),
        ("chalk red, heavy: snap, then cut", CUT),
        ("dash and dot: next course's butt edge", NEXT_BUTT),
        ("thin: the vent's outline", VENT),
    ] {
        page.key(words, |canvas, area| {
            let (from, to) = across(area);
            canvas.polyline(&[from, to], &Stroke { class: "sample", ..line });
        });
    }
    page.key("hatched: the slot", |canvas, area| {
        canvas.hatch(area, 2.6, &Stroke { class: "sample", ..HATCH });
    });
}
