//! The sheet's pictures: well-formed, to scale, with every figure in words, and
//! no text over another. `CHALKHAND_LOOK=FOLDER` writes them there to look at.

#[path = "roof_drawing/layouts.rs"]
mod layouts;
#[path = "roof_drawing/picture.rs"]
mod picture;

use chalkhand::measure::{Quantity, Ratio, Style, System, show};
use chalkhand::roof::{EdgeKind, Layout, Obstruction, Plate, plates, sheet};
use layouts::{inches, whole};
use picture::Picture;
use proptest::prelude::*;

/// How far a drawn line may be from where its length puts it, in millimetres.
const NEAR: f64 = 0.05;

fn tape(inches: Ratio, system: System) -> String {
    show(Quantity::inches(inches), &Style { system, ..Style::default() })
}

fn each_plate() -> Vec<(String, Plate)> {
    let mut all = Vec::new();
    for (name, layout) in layouts::all() {
        for (system, word) in [(System::Us, "us"), (System::Metric, "metric")] {
            for (at, plate) in plates(&layout, system).into_iter().enumerate() {
                all.push((format!("{name}-{word}-{at}"), plate));
            }
        }
    }
    all
}

fn near(drawn: f64, wanted: f64, what: &str) {
    assert!((drawn - wanted).abs() < NEAR, "{what}: drawn at {drawn}, belongs at {wanted}");
}

#[test]
fn plates_can_be_looked_at() {
    let Some(folder) = std::env::var_os("CHALKHAND_LOOK").map(std::path::PathBuf::from) else {
        return;
    };
    std::fs::create_dir_all(&folder).unwrap();
    for (name, plate) in each_plate() {
        std::fs::write(folder.join(format!("{name}.svg")), plate.svg).unwrap();
    }
    for (name, layout) in layouts::all() {
        let text = sheet(&layout, System::Us, "Job 2041, invented\n12 Example Lane");
        std::fs::write(folder.join(format!("sheet-{name}.svg")), text).unwrap();
    }
}

#[test]
fn plates_stand_alone_and_fetch_nothing() {
    for (name, plate) in each_plate() {
        let document = roxmltree::Document::parse(&plate.svg).unwrap();
        let root = document.root_element();
        assert_eq!(root.attribute("role"), Some("img"), "{name}");
        let size = |side: &str| root.attribute(side).unwrap().strip_suffix("mm").unwrap();
        let view = format!("0 0 {} {}", size("width"), size("height"));
        assert_eq!(root.attribute("viewBox"), Some(view.as_str()), "{name}");
        let child = |tag: &str| {
            let found = root.children().find(|child| child.tag_name().name() == tag);
            found.unwrap_or_else(|| panic!("{name} has no {tag}")).text().unwrap().to_owned()
        };
        assert_eq!(child("title"), plate.title);
        assert_eq!(child("desc"), plate.description);
        for node in document.descendants().filter(roxmltree::Node::is_element) {
            for attribute in node.attributes() {
                let name = attribute.name();
                let active = ["style", "href", "id"].contains(&name) || name.starts_with("on");
                assert!(!active, "{name} in {node:?}");
            }
            let tag = node.tag_name().name();
            assert!(
                ["svg", "title", "desc", "rect", "text", "tspan", "polyline", "polygon"]
                    .contains(&tag),
                "<{tag}> is nothing that a strict policy lets through"
            );
        }
    }
}

/// Python's own reader agrees that the sheet is well-formed.
#[test]
fn python_reads_the_sheet() {
    let Some(folder) = crate::outside::folder("the drawing read by Python's XML reader") else {
        return;
    };
    for (_, layout) in layouts::all() {
        let text = sheet(&layout, System::Us, "Job <2041> & \"more\"");
        let printed = crate::outside::run(&folder, "read_svg.py", &text);
        assert_eq!(printed.trim(), "svg Job <2041> & \"more\"");
    }
}

#[test]
fn no_text_lies_over_another_or_outside() {
    for (name, plate) in each_plate() {
        let collision = Picture::read(&plate.svg).collision();
        assert!(collision.is_none(), "{name}: {}", collision.unwrap());
    }
    for (name, layout) in layouts::all() {
        let text = sheet(&layout, System::Us, "Job 2041\n12 Example Lane");
        let collision = Picture::read(&text).collision();
        assert!(collision.is_none(), "sheet {name}: {}", collision.unwrap());
    }
}

/// Big enough at arm's length on paper, and on a phone 360 CSS pixels wide.
#[test]
fn the_smallest_type_is_big() {
    for (name, plate) in each_plate() {
        let picture = Picture::read(&plate.svg);
        for words in &picture.texts {
            assert!(3.2 <= words.size, "{name}: {} mm", words.size);
            let on_a_phone = words.size / picture.width * 360.0;
            assert!(12.0 <= on_a_phone, "{name}: {on_a_phone} px: {}", words.text);
        }
    }
}

/// Every line of a plane lies where the lengths put it, along and up alike.
#[test]
fn planes_are_to_scale() {
    for (name, layout) in layouts::all() {
        for (plane, plate) in layout.planes.iter().zip(plates(&layout, System::Us)) {
            let picture = Picture::read(&plate.svg);
            // The first edge of every plane here is its eave, from (0, 0).
            let outline = picture.of("outline");
            let (zero, end) = (outline[0][0], outline[0][1]);
            let scale = (end.0 - zero.0) / plane.edges[0].to.along.to_f64();
            let x = |along: Ratio| zero.0 + along.to_f64() * scale;
            let y = |up: Ratio| zero.1 - up.to_f64() * scale;
            assert_eq!(outline.len(), plane.edges.len(), "{name}");
            for (edge, drawn) in plane.edges.iter().zip(&outline) {
                near(drawn[0].0, x(edge.from.along), "edge along");
                near(drawn[0].1, y(edge.from.up), "edge up");
            }
            for (one, drawn) in plane.obstructions.iter().zip(picture.of("obstruction")) {
                near(drawn[0].0, x(one.left), "obstruction left");
                near(drawn[0].1, y(one.high), "obstruction high");
                near(drawn[2].0, x(one.right), "obstruction right");
                near(drawn[2].1, y(one.low), "obstruction low");
            }
            let runs: Vec<_> = layout.runs.iter().filter(|run| run.plane == plane.number).collect();
            let (vents, slots) = (picture.of("vent"), picture.of("slot"));
            let marks = picture.of("witness");
            assert_eq!((vents.len(), slots.len()), (runs.len(), runs.len()), "{name}");
            for (at, run) in runs.iter().enumerate() {
                let along = |end: Ratio| x(run.left_at.plus(end).unwrap());
                let up = |height: Ratio| y(run.course_butt.plus(height).unwrap());
                near(vents[at][0].0, along(run.vent_start), "vent start");
                near(vents[at][0].1, up(layout.vent.vent_high), "vent high");
                near(vents[at][2].0, along(run.vent_end), "vent end");
                near(vents[at][2].1, up(layout.vent.vent_low), "vent low");
                near(slots[at][0].0, along(run.slot_start), "slot start");
                near(slots[at][0].1, up(layout.vent.slot_high), "slot high");
                near(slots[at][2].0, along(run.slot_end), "slot end");
                near(slots[at][2].1, up(layout.vent.slot_low), "slot low");
                let ends = [run.vent_start, run.slot_start, run.slot_end, run.vent_end];
                for (mark, end) in marks[at * 4..].iter().zip(ends) {
                    near(mark[0].0, along(end), "mark");
                    near(mark[0].1, up(Ratio::ZERO), "mark at the butt edge");
                }
            }
        }
    }
}

/// Stay-backs are shaded inside the outline and as wide as they are.
#[test]
fn stay_backs_are_to_scale() {
    let layout = layouts::sixty_feet();
    let picture = Picture::read(&plates(&layout, System::Us)[0].svg);
    let eave = picture.of("outline")[0];
    let scale = (eave[1].0 - eave[0].0) / 720.0;
    let bands = picture.of("stay-back");
    assert_eq!(bands.len(), 2, "one at each rake");
    for band in bands {
        let xs = || band.iter().map(|point| point.0);
        let (low, high) = (xs().fold(f64::MAX, f64::min), xs().fold(f64::MIN, f64::max));
        near(high - low, 18.0 * scale, "width of a stay-back");
    }
    let triangle = Picture::read(&plates(&layouts::hips(), System::Us)[0].svg);
    let top = triangle.of("outline")[1][1].1;
    for (x, y) in triangle.of("stay-back").concat() {
        assert!(top - NEAR <= y, "a stay-back leaves the hip's end at {x}, {y}");
    }
}

/// Heights above the butt edge, back from the close-up's first picture.
#[test]
fn the_close_up_is_to_scale() {
    for (name, layout) in layouts::all() {
        for plate in &close_ups(&layout, System::Us, "close by") {
            let picture = Picture::read(&plate.svg);
            let first = |class: &str, at: usize| picture.of(class)[at][0].1;
            let butt = first("butt", 0);
            let vent = &layout.vent;
            let scale = (butt - first("vent", 1)) / vent.vent_high.to_f64();
            let up = |height: Ratio| butt - height.to_f64() * scale;
            near(first("vent", 0), up(vent.vent_low), "vent low");
            near(first("nail-line", 0), up(vent.nail_line), "nail line");
            near(first("cut", 0), up(vent.slot_low), "slot low");
            near(first("cut", 1), up(vent.slot_high), "slot high");
            near(first("next-butt", 0), up(layout.planes[0].exposure), "next butt");
            assert!(6.0 < scale, "{name}: an inch is only {scale} mm");
            for (x, y) in picture.of("hatch").concat() {
                assert!(
                    (up(vent.slot_high) - NEAR..=up(vent.slot_low) + NEAR).contains(&y),
                    "hatch at {x}, {y}"
                );
            }
        }
    }
}

/// The left end: plane's edge, vent and slot at one scale.
#[test]
fn the_left_end_is_to_scale() {
    let layout = layouts::hips();
    let plate = &close_ups(&layout, System::Us, "Left ends")[0];
    let picture = Picture::read(&plate.svg);
    let edges = picture.of("outline");
    assert_eq!(edges.len(), 2, "the hip and the valley each have their own end");
    let marks = picture.of("witness");
    let zero = picture.of("zero");
    let scale = (marks[0][0].0 - zero[0][0].0) / 18.0;
    near(marks[1][0].0, zero[0][0].0 + 24.0 * scale, "slot start");
    // The hip drifts 168 in for 188 in up.
    let (high, low) = (edges[0][0], edges[0][1]);
    near(high.0 - low.0, (low.1 - high.1) * 168.0 / 188.0, "the hip's slant");
}

#[test]
fn every_figure_and_word_is_there() {
    for (name, layout) in layouts::all() {
        for system in [System::Us, System::Metric] {
            let all = plates(&layout, system);
            for (plane, plate) in layout.planes.iter().zip(&all) {
                plane_says_it_all(name, &layout, plane, plate, system);
            }
            for plate in &close_ups(&layout, system, "close by") {
                close_up_says_it_all(&layout, plate, system);
            }
            for plate in &close_ups(&layout, system, "Left ends") {
                left_ends_say_it_all(plate, system);
            }
        }
    }
}

fn flat(text: &str) -> String {
    text.split_whitespace().collect::<Vec<_>>().join(" ")
}

fn says(text: &str, words: &str, plate: &Plate) {
    assert!(flat(text).contains(words), "{}: `{words}` is missing in\n{text}", plate.title);
}

fn plane_says_it_all(
    name: &str,
    layout: &Layout,
    plane: &chalkhand::roof::Plane,
    plate: &Plate,
    system: System,
) {
    let text = Picture::read(&plate.svg).text();
    for text in [&text, &plate.description] {
        says(text, &format!("Plane {}", plane.number), plate);
        for one in &plane.obstructions {
            says(&text.to_lowercase(), &one.kind, plate);
        }
    }
    for edge in &plane.edges {
        let word = format!("{:?}", edge.kind).to_lowercase();
        // Once at the line itself, once in the sentence.
        assert!(2 <= flat(&text).matches(&word).count(), "{name}: {word} in\n{text}");
    }
    let runs: Vec<_> = layout.runs.iter().filter(|run| run.plane == plane.number).collect();
    for run in &runs {
        for text in [&text, &plate.description] {
            for (what, end) in [
                ("vent starts", run.vent_start),
                ("slot starts", run.slot_start),
                ("slot ends", run.slot_end),
                ("vent ends", run.vent_end),
            ] {
                says(text, &format!("{what} {}", tape(end, system)), plate);
            }
            says(text, &tape(run.course_butt, system), plate);
            let cut = tape(run.field_cut.unwrap(), system);
            says(text, &format!("1 piece cut to {cut}, in the middle"), plate);
        }
        says(&text, &format!("stay back {}", tape(layout.vent.stay_back, system)), plate);
    }
    for one in layout.left_out.iter().filter(|one| one.plane == plane.number) {
        says(&text, &one.why, plate);
        says(&plate.description, &one.why, plate);
    }
    assert_eq!(runs.is_empty(), flat(&text).contains("No vent on this plane."));
}

fn close_up_says_it_all(layout: &Layout, plate: &Plate, system: System) {
    let text = Picture::read(&plate.svg).text();
    let vent = &layout.vent;
    let exposure = layout.planes[0].exposure;
    for (height, words) in [
        (vent.nail_line, "nail line: snap blue"),
        (vent.slot_low, "cut: snap red, slot low"),
        (vent.slot_high, "cut: snap red, slot high"),
        (vent.vent_low, "vent, low edge"),
        (vent.vent_high, "vent, high edge"),
        (exposure, "butt edge of course 10"),
        (Ratio::ZERO, "butt edge of course 9"),
    ] {
        let words = format!("{} {words}", tape(height, system));
        says(&text, &words, plate);
        says(&plate.description, &words, plate);
    }
    for words in ["down to the eave", "hatched: the slot", "long dashes", "dash and dot", "thin"] {
        says(&text, words, plate);
    }
}

fn left_ends_say_it_all(plate: &Plate, system: System) {
    let text = Picture::read(&plate.svg).text();
    let covers = format!("covers the slot by {}", tape(whole(6), system));
    says(&plate.description, &covers, plate);
    let key = ["shaded: no vent here", "hatched: the slot", "long dashes", "dash and dot", "thin"];
    for words in key.into_iter().chain(["vent starts", "slot starts", covers.as_str()]) {
        says(&text, words, plate);
    }
}

/// The plates whose titles have these words.
fn close_ups(layout: &Layout, system: System, words: &str) -> Vec<Plate> {
    let mut all = plates(layout, system);
    all.retain(|plate| plate.title.contains(words));
    assert!(!all.is_empty(), "no {words}");
    all
}

/// No two lines of the close-up look the same without colour.
#[test]
fn lines_differ_in_black_and_white() {
    let plate = &plates(&layouts::gable_roof(), System::Us)[3];
    let document = roxmltree::Document::parse(&plate.svg).unwrap();
    let mut looks = std::collections::BTreeMap::new();
    for class in ["butt", "next-butt", "nail-line", "cut", "vent"] {
        let line = document.descendants().find(|node| node.attribute("class") == Some(class));
        let line = line.unwrap();
        let look = (line.attribute("stroke-width"), line.attribute("stroke-dasharray"));
        assert_eq!(looks.insert(look, class), None, "{class} looks like another");
    }
}

#[test]
fn north_is_said_only_where_the_facing_tells_it() {
    let all = [
        ("south", "North is up the slope."),
        ("north", "North is down the slope, behind you."),
        ("East", "North is to the right."),
        ("west", "North is to the left."),
        ("south-east", "North is up the slope and to the right."),
        ("southwest", "North is up the slope and to the left."),
        ("north east", "North is down the slope and to the right."),
        ("northwest", "North is down the slope and to the left."),
    ];
    let mut layout = layouts::sixty_feet();
    for (faces, north) in all {
        layout.planes[0].faces = faces.to_owned();
        let plate = &plates(&layout, System::Us)[0];
        says(&Picture::read(&plate.svg).text(), north, plate);
        says(&plate.description, north, plate);
    }
    for faces in ["", "the lake"] {
        layout.planes[0].faces = faces.to_owned();
        assert!(!plates(&layout, System::Us)[0].svg.contains("North"));
    }
}

/// Four short runs on a long plane leave no room for their marks, yet each run
/// is numbered where it lies.
#[test]
fn several_runs_are_numbered() {
    let plate = &plates(&layouts::four_runs(), System::Us)[0];
    let picture = Picture::read(&plate.svg);
    for (number, vent) in (1..).zip(picture.of("vent")) {
        let (left, right) = (vent[0].0, vent[2].0);
        let names = [format!("run {number}"), format!("{number}")];
        let named = picture
            .texts
            .iter()
            .any(|words| names.contains(&words.text) && left < words.right && words.left < right);
        assert!(named, "run {number} has no number in\n{}", picture.text());
    }
}

#[test]
fn the_same_course_is_drawn_once() {
    let all = plates(&layouts::gable_roof(), System::Us);
    assert_eq!(all.len(), 5, "three planes, one course and its left ends");
    assert_eq!(all[3].title, "Course 9 close by, planes 1 and 2");
    assert_eq!(all[4].title, "Left ends on course 9, planes 1 and 2");
    let mut other = layouts::gable_roof();
    other.runs[1].course_butt = inches(711, 16);
    assert_eq!(plates(&other, System::Us).len(), 7, "another height is another course");
}

#[test]
fn both_systems_draw_the_same_lines() {
    for (name, layout) in layouts::all() {
        for (us, metric) in plates(&layout, System::Us).iter().zip(plates(&layout, System::Metric))
        {
            let (us, metric) = (Picture::read(&us.svg), Picture::read(&metric.svg));
            for class in ["vent", "slot", "nail-line"] {
                let flat = |picture: &Picture| -> Vec<f64> {
                    picture.of(class).concat().iter().map(|point| point.0).collect()
                };
                assert_eq!(flat(&us), flat(&metric), "{name} {class}");
            }
        }
    }
}

#[test]
fn a_name_cannot_become_markup() {
    let mut layout = layouts::gable_roof();
    layout.planes[0].faces = "</title><script>alert(1)</script>\u{1}\u{202e}".to_owned();
    layout.planes[0].obstructions[0].kind = "\"><a href='x'>&".to_owned();
    for plate in plates(&layout, System::Us) {
        assert!(!plate.svg.contains("<script") && !plate.svg.contains("<a "));
        assert!(roxmltree::Document::parse(&plate.svg).is_ok());
        assert!(!plate.svg.contains(['\u{1}', '\u{202e}']));
    }
}

/// Layouts such as a roof may have.
fn believable() -> impl Strategy<Value = Layout> {
    let runs = proptest::collection::vec((1_i64..200, 40_i64..500), 0..5);
    let things = proptest::collection::vec((0_i64..700, 1_i64..80, 0_i64..200, 1_i64..80), 0..4);
    (60_i64..900, 30_i64..400, 0_i64..200, runs, things).prop_map(
        |(eave, slope, cut, runs, things)| {
            let mut layout = layouts::hips();
            let right = (eave - cut).max(cut + 1);
            let edge = [
                (0, 0, EdgeKind::Eave),
                (eave, 0, EdgeKind::Valley),
                (right, slope, EdgeKind::Ridge),
                (cut, slope, EdgeKind::Hip),
            ];
            let mut plane = layouts::plane(1, "south", &edge);
            let mut start = 0;
            layout.runs.clear();
            for (gap, length) in runs {
                start += gap;
                layout.runs.push(layouts::run(
                    &plane,
                    (EdgeKind::Hip, whole(cut / 4)),
                    start,
                    start + length,
                ));
                start += length;
            }
            for (number, (left, width, low, height)) in (1..).zip(things) {
                plane.obstructions.push(Obstruction {
                    number,
                    kind: "skylight".to_owned(),
                    left: whole(left),
                    right: whole(left + width),
                    low: whole(low),
                    high: whole(low + height),
                });
            }
            layout.planes = vec![plane];
            layout
        },
    )
}

/// Any length at all, from nothing to far past every roof.
fn any_length() -> impl Strategy<Value = Ratio> {
    prop_oneof![
        (-9_000_i64..9_000).prop_map(whole),
        (any::<i64>(), 1_i64..i64::MAX).prop_map(|(n, d)| inches(n.into(), d.into())),
        Just(inches(i128::MAX, 1)),
        Just(inches(1, i128::MAX)),
        Just(Ratio::ZERO),
    ]
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(96))]

    #[test]
    fn believable_layouts_have_no_collision(layout in believable()) {
        for plate in plates(&layout, System::Us) {
            let collision = Picture::read(&plate.svg).collision();
            prop_assert!(collision.is_none(), "{}: {}", plate.title, collision.unwrap());
        }
    }

    #[test]
    fn nothing_panics_and_all_is_the_same_twice(
        lengths in proptest::collection::vec(any_length(), 40),
        kind in any::<String>(),
        faces in any::<String>(),
        course in any::<u32>(),
    ) {
        let mut layout = layouts::four_runs();
        let mut next = lengths.iter().cycle().copied();
        let mut take = || next.next().unwrap();
        for edge in &mut layout.planes[0].edges {
            edge.to.along = take();
            edge.from.up = take();
        }
        layout.planes[0].faces = faces;
        layout.planes[0].exposure = take();
        for one in &mut layout.planes[0].obstructions {
            one.kind.clone_from(&kind);
            (one.left, one.right, one.low, one.high) = (take(), take(), take(), take());
        }
        for run in &mut layout.runs {
            run.course = course;
            (run.left_at, run.vent_start, run.vent_end) = (take(), take(), take());
            (run.slot_start, run.slot_end, run.course_butt) = (take(), take(), take());
        }
        (layout.vent.vent_low, layout.vent.vent_high) = (take(), take());
        (layout.vent.slot_low, layout.vent.slot_high) = (take(), take());
        layout.vent.stay_back = take();
        layout.vent.rake_back = layout.vent.stay_back;
        for system in [System::Us, System::Metric] {
            let once = plates(&layout, system);
            for plate in &once {
                prop_assert!(roxmltree::Document::parse(&plate.svg).is_ok());
            }
            prop_assert_eq!(once, plates(&layout, system));
            let whole = sheet(&layout, system, &kind);
            prop_assert!(roxmltree::Document::parse(&whole).is_ok());
        }
    }
}
