//! Air, runs, fastening and materials of the deck-mounted intake: the measures of
//! the shipped checklist against published figures and figures by hand.

use chalkhand::domain::{PointKind, PointWhen};

use crate::checklists::{changed, changed_with, shipped};

/// R806.2 as restated, at a ratio the official names: in2 = A * 144 / ratio, half
/// of it intake, at 9 in2/ft so many feet (trade-facts 1, computed).
#[test]
fn needs_at_the_ratios_of_the_code() {
    let rows = [
        ("600 ft2", 576.0, 288.0),
        ("900 ft2", 864.0, 432.0),
        ("1000 ft2", 960.0, 480.0),
        ("1200 ft2", 1152.0, 576.0),
        ("1500 ft2", 1440.0, 720.0),
        ("1640 ft2", 1574.4, 787.2),
        ("2000 ft2", 1920.0, 960.0),
        ("2413 ft2", 2316.48, 1158.24),
    ];
    for (area, at_150, at_300) in rows {
        let ratio = |ratio: &str| changed(&[("attic_area", area), ("vent_ratio", ratio)]);
        let (small, large) = (ratio("one to one hundred fifty"), ratio("one to three hundred"));
        small.is("required_nfa", None, at_150);
        large.is("required_nfa", None, at_300);
        large.is("intake_needed", None, at_300 / 2.0);
        large.is("exhaust_needed", None, at_300 / 2.0);
        large.is("exhaust_least", None, at_300 * 2.0 / 5.0);
    }
    // 1,640 ft2 at 1/300 and 9 in2/ft: 43.73 ft, 44 in whole feet; 2,000 at 1/150:
    // 106.67, 107. Exhaust at 18 in2/ft: 21.87, 22.
    let feet = |changes: &[(&str, &str)], name: &str, exact: f64, whole: &str| {
        let found = changed(changes);
        assert!((found.number(name, None) / 12.0 - exact).abs() < 0.005);
        assert_eq!(found.shown(name, None), whole);
    };
    let at_300 = ("vent_ratio", "one to three hundred");
    feet(&[("attic_area", "1640 ft2"), at_300], "intake_length", 43.73, "44'-0\"");
    let ridge = ("ridge_rating", "18 in2/ft");
    feet(&[("attic_area", "1640 ft2"), at_300, ridge], "exhaust_length", 21.87, "22'-0\"");
    let at_150 = ("vent_ratio", "one to one hundred fifty");
    feet(&[("attic_area", "2000 ft2"), at_150], "intake_length", 106.67, "107'-0\"");
    feet(&[("attic_area", "2000 ft2"), at_150, ridge], "exhaust_length", 53.33, "54'-0\"");
    feet(&[at_300], "intake_length", 32.0, "32'-0\"");
}

/// The conditions of 1/300 by edition (R806.2 as quoted, trade-facts 1.3 to 1.6):
/// one of two in 2012 and 2015, both since 2018; the first bites in zones 6 to 8
/// only; low vents at the eave or cornice, since 2018 in the bottom third.
#[test]
fn the_ratio_follows_the_edition() {
    // Edition, zone, retarder, the slope counts as eave, exhaust in feet → ratio.
    let rows = [
        ("IRC 2021", "5", "no", "no", "24 ft", 300),
        ("IRC 2021", "6", "no", "no", "24 ft", 150),
        ("IRC 2021", "6", "yes", "no", "24 ft", 300),
        ("IRC 2018", "7", "yes", "no", "24 ft", 300),
        ("IRC 2024", "8", "no", "no", "24 ft", 150),
        ("IBC 2021", "5", "no", "no", "24 ft", 300),
        // 40 percent of 576 is 230.4: 19 ft at 12 in2/ft is 228, 20 ft is 240.
        ("IRC 2021", "5", "no", "no", "19 ft", 150),
        ("IRC 2021", "5", "no", "no", "20 ft", 300),
        ("IRC 2015", "5", "no", "no", "24 ft", 150),
        ("IRC 2015", "5", "no", "yes", "24 ft", 300),
        ("IRC 2012", "6", "yes", "no", "24 ft", 300),
        ("IRC 2012", "6", "yes", "no", "19 ft", 300),
        ("IRC 2012", "5", "yes", "no", "24 ft", 150),
        ("IRC 2012", "5", "yes", "yes", "19 ft", 150),
    ];
    for (edition, zone, retarder, eave, exhaust, ratio) in rows {
        let found = changed(&[
            ("code_edition", edition),
            ("climate_zone", zone),
            ("warm_side_retarder", retarder),
            ("slope_vent_counts", eave),
            ("vent.length#1", exhaust),
        ]);
        let found = found.number("space.ratio", Some(1));
        assert!((found - f64::from(ratio)).abs() < 1e-9, "{edition} {zone} {exhaust}: {found}");
    }
    // Where no plane over the space takes a vent nothing low counts, whatever the
    // figures of the job as a whole; where one does, they do not matter.
    let deep = [("plane.insulation_depth#1", "30 in"), ("plane.insulation_depth#2", "30 in")];
    let found = changed(&deep);
    assert!(found.yes("slot_in_band"), "by the job's own figures");
    found.is("space.ratio", Some(1), 150.0);
    changed(&deep[..1]).is("space.ratio", Some(1), 300.0);
    let job_only = changed(&[
        ("insulation_depth", "30 in"),
        ("plane.insulation_depth#1", "14 in"),
        ("plane.insulation_depth#2", "14 in"),
    ]);
    assert!(!job_only.yes("slot_in_band"));
    job_only.is("space.ratio", Some(1), 300.0);
}

/// Openings with screens and louvers over their factor (table in the trade press,
/// the same set in USDA handbooks from memory; trade-facts 1.14).
#[test]
fn existing_vents_are_counted_by_rating_or_opening() {
    let factors = [
        ("quarter inch cloth", 1.0),
        ("eighth inch screen", 1.25),
        ("insect screen", 2.0),
        ("louvers and quarter inch", 2.0),
        ("louvers and eighth inch", 2.25),
        ("louvers and insect screen", 3.0),
    ];
    for (cover, factor) in factors {
        let found = changed(&[
            ("vent.kind#1", "box vents"),
            ("vent.length#1", "0 in"),
            ("vent.pieces#1", "4"),
            ("vent.opening_each#1", "144 in2"),
            ("vent.cover#1", cover),
        ]);
        found.is("exhaust_delivered", None, 4.0 * 144.0 / factor);
    }
    let rated = changed(&[
        ("vent.kind#1", "box vents"),
        ("vent.length#1", "0 in"),
        ("vent.pieces#1", "6"),
        ("vent.area_each#1", "50 in2"),
        ("vent.opening_each#1", "144 in2"),
    ]);
    rated.is("exhaust_delivered", None, 300.0);
    // What is closed, lies elsewhere or is no upper vent counts for nothing.
    for change in [
        ("vent.stays#1", "no"),
        ("vent.place#1", "neither"),
        ("vent.kind#1", "power fan"),
        ("vent.kind#1", "gable vents"),
    ] {
        changed(&[change]).is("exhaust_delivered", None, 0.0);
    }
    let soffit = [
        ("vent.kind#2", "soffit vents"),
        ("vent.place#2", "bottom third"),
        ("vent.stays#2", "yes"),
        ("vent.pieces#2", "0"),
        ("vent.length#2", "10 ft"),
        ("vent.rating#2", "9 in2/ft"),
    ];
    // R806.3: 14 in of insulation at a 4 in heel leave no inch of air.
    changed(&soffit).is("space.low_existing", Some(1), 0.0);
    for open in [("vent.open_path#2", "yes"), ("baffles", "yes"), ("insulation_depth", "2 in")] {
        let mut open_path = soffit.to_vec();
        open_path.push(open);
        let found = changed(&open_path);
        found.is("space.low_existing", Some(1), 90.0);
        found.is("space.to_lay", Some(1), 288.0 - 90.0);
    }
    let mixed = changed(&[("vent.stays#2", "yes")]);
    assert!(!mixed.yes("exhaust_suits"), "the gable vents stay open beside the ridge vent");
    mixed.is("exhaust_kinds", None, 2.0);
}

/// Worked example of trade-facts 1 (computed): 1,500 ft2 at 1/300 needs 720 in2;
/// 20 ft of ridge at 18 in2/ft give 360, 30 ft of intake at 9 in2/ft 270: together
/// 630, and twice the weaker 540. With 40 ft of intake 360 and 360 pass.
#[test]
fn a_worked_example_fails_and_passes() {
    let base = [
        ("attic_area", "1500 ft2"),
        ("vent_ratio", "one to three hundred"),
        ("vent.length#1", "20 ft"),
        ("vent.rating#1", "18 in2/ft"),
    ];
    // The chimney far above the vent.
    let out = [
        ("plane.vented#2", "no"),
        ("obstruction.low#1", "12 ft"),
        ("obstruction.high#1", "14 ft"),
        ("shingle_width", "0 in"),
    ];
    let mut short = base.to_vec();
    // One plane with room for 30 ft: 33 ft less 18 in at each end.
    short.push(("plane.eave#1", "33 ft"));
    short.extend(out);
    let found = changed(&short);
    found.is("space.required", Some(1), 720.0);
    found.is("exhaust_delivered", None, 360.0);
    found.is("intake_delivered", None, 270.0);
    found.is("vent_delivered", None, 630.0);
    found.is("space.effective", Some(1), 540.0);
    assert!(!found.yes("intake_enough") && !found.yes("vent_enough"));
    found.is("space.more_vent", Some(1), 120.0);
    let mut enough = short.clone();
    enough.push(("plane.eave#1", "43 ft"));
    let found = changed(&enough);
    found.is("intake_delivered", None, 360.0);
    assert!(found.yes("intake_enough") && found.yes("vent_enough"));
    assert!(found.yes("exhaust_balanced"));
}

/// R806.2: the shares above and below are of the needed area, and the whole of
/// it is needed besides: 40 percent above and 50 below is 90.
#[test]
fn intake_and_exhaust_together_are_no_less_than_the_code_asks() {
    // 240 in2 of exhaust leave 336 of 576 for the intake, not 288.
    let known = changed(&[("vent.length#1", "20 ft")]);
    known.is("space.to_lay", Some(1), 336.0);
    known.is("intake_to_lay", None, 336.0);
    assert!(known.yes("intake_enough") && known.yes("exhaust_enough") && known.yes("vent_enough"));
    // More exhaust than half: as much intake is laid to match it.
    changed(&[("vent.length#1", "26 ft")]).is("space.to_lay", Some(1), 312.0);
    // Two spaces, each on its own: the second has no exhaust.
    let two = changed(&[("space_count", "2"), ("space.area#2", "300 ft2")]);
    two.is("space.required", Some(1), 576.0);
    two.is("space.ratio", Some(2), 150.0);
    two.is("space.required", Some(2), 288.0);
    two.is("required_nfa", None, 864.0);
    assert!(!two.yes("exhaust_enough") && !two.yes("intake_enough"));
    // Each step stops the work where its measure says no, and only there.
    let deck = shipped("deck-intake");
    for (step, condition) in [
        ("too-little-intake", "not intake_enough"),
        ("too-little-exhaust", "not exhaust_enough"),
        ("too-little-in-all", "not vent_enough"),
        ("exhaust-unsuitable", "not exhaust_suits"),
        ("outside-the-band", "not slot_in_band"),
        ("too-flat", "pitch < least_pitch"),
        ("no-run", "run_total < 1"),
        ("nail-too-short", "not nail_reaches"),
    ] {
        let step = deck.step(step).unwrap();
        assert_eq!(step.only_if.as_ref().unwrap().text(), condition);
        let point = step.point.as_ref().unwrap();
        assert_eq!((point.kind, &point.when), (PointKind::Hold, &PointWhen::Always));
    }
}

/// Common practice, no source: start 18 in from the edge, slot 6 in further, 6 in
/// cover at each end, nails 1/2 in below the cut; 48 in pieces with 9 nails.
#[test]
fn runs_of_the_demo_job() {
    let known = changed(&[]);
    for (row, start) in [(Some(1), 18.6875), (Some(2), 18.0)] {
        known.is("run.pieces", row, 4.0);
        known.is("run.vent_start", row, start);
        known.is("run.slot_start", row, start + 6.0);
        known.is("run.vent_end", row, start + 192.0);
        known.is("run.slot_end", row, start + 192.0 - 6.0);
        known.is("run.free_area", row, 144.0);
        known.is("run.nails", row, 36.0);
        known.is("run.field_cut", row, 0.0);
        known.is("run.course", row, 9.0);
        // 7 in of membrane, 2 1/2 in of underlayment, the starter 2 1/2 in back.
        known.is("run.membrane_to", row, start + 192.0 + 7.0);
        known.is("run.underlayment_to", row, start + 192.0 + 9.5);
        known.is("run.starter_to", row, start + 192.0 + 7.0);
    }
    // The first run starts in the middle of a shingle: 38 3/8 - 39 3/8 / 2.
    let joint = known.number("plane.joint_at", Some(1)) - known.number("shingle_width", None) / 2.0;
    assert!((known.number("run.vent_start", Some(1)) - joint).abs() < 1e-9);
    known.is("run_total", None, 2.0);
    known.is("pieces", None, 8.0);
    known.is("nails", None, 72.0);
    known.is("slot_width", None, 1.5);
    let below = known.number("slot_low", None) - known.number("nail_line", None);
    assert!((below - 0.5).abs() < 1e-9, "nails stay half an inch below the cut");
}

/// Materials by hand: 8 pieces and 10 percent are 8.8, so 9, one pack of ten;
/// 2 runs lifted over 192 + 2 * 9.5 in are 10.7 shingles of 39 3/8 in, 11, in two
/// courses 22, with waste 25; nails 72 + 22 * 4.
#[test]
fn materials_of_the_demo_job() {
    let known = changed(&[]);
    known.is("pieces_to_buy", None, 9.0);
    known.is("packs", None, 1.0);
    known.is("shingles_lifted", None, 22.0);
    known.is("shingles_to_buy", None, 25.0);
    known.is("nails_through", None, 160.0);
    known.is("nail_packs", None, 2.0);
    known.is("membrane_length", None, 2.0 * 2.0 * 13.0 * 1.1);
    changed(&[("waste_percent", "0")]).is("pieces_to_buy", None, 8.0);
}

/// R905.2.5: 3/4 in into the deck or through it where it is thinner; how far
/// through is common practice, no source: 1/8 in. Vent 3/4, one shingle 1/4.
#[test]
fn nails_reach_into_the_deck_or_through_it() {
    changed(&[]).is("nail_least", None, 0.75 + 0.25 + 0.625);
    changed(&[("deck_thickness", "3/4 in")]).is("nail_least", None, 1.75);
    let thick = changed(&[("deck_thickness", "2 in"), ("shingle_thickness", "1/2 in")]);
    thick.is("nail_least", None, 0.75 + 0.5 + 0.75);
    assert!(thick.yes("nail_reaches"), "2 in is 2 in");
}

/// The slot opens inside the gable wall (geometry): a rake that stands out 24 in,
/// a wall of 6 in and the border of 5/8 in put the slot 30 5/8 in from the rake,
/// so the vent 24 5/8 in; the 18 in of the profile hold where that is less.
#[test]
fn the_slot_opens_inside_the_gable_wall() {
    let plain = ("shingle_width", "0 in");
    changed(&[plain]).is("run.vent_start", Some(1), 18.0);
    let far = changed(&[plain, ("rake_overhang", "24 in")]);
    far.is("run.vent_start", Some(1), 24.625);
    far.is("run.slot_start", Some(1), 30.625);
}

/// What does not add up is told, and only then.
#[test]
fn warnings_are_told_where_they_are_due() {
    let told = |changes: &[(&str, &str)]| changed(changes).warnings().join("\n");
    let quiet = told(&[]);
    for (changes, words) in [
        (vec![("vent.length#1", "10 ft")], "STOP."),
        (vec![("vent.length#1", "10 ft")], "not 1/300: too little exhaust near the ridge"),
        (vec![("vent.stays#1", "no")], "no exhaust that counts"),
        (vec![("vent.stays#2", "yes")], "exhaust of 2 kinds stays open"),
        (vec![("climate_zone", "7")], "no retarder on the warm side"),
        (vec![("code_edition", "IRC 2015")], "speaks of vents at the eave or cornice"),
        (vec![("pitch", "3/12")], "two layers of underlayment"),
        (vec![("roof_run", "24 ft")], "measure again"),
        (vec![("insulation_depth", "34 in")], "Plane 1 takes no vent"),
        (vec![("insulation_depth", "34 in")], "No run can be laid"),
        (vec![("vent.space#1", "3")], "there are only 1"),
        (vec![("vent.length#1", "30 ft")], "more than half of"),
        (vec![("vent.place#1", "bottom third")], "They count for nothing there"),
    ] {
        assert!(told(&changes).contains(words), "{changes:?}: {words}\n{}", told(&changes));
        assert!(!quiet.contains(words), "{quiet}");
    }
}

/// A plane that has the job's own figures is reckoned as the job is, whatever
/// they are: the two sets of formulas say the same.
#[test]
fn planes_and_the_job_are_reckoned_alike() {
    let pairs = [
        ("clear_from", "plane.clear_from"),
        ("inside_wall", "plane.inside_wall"),
        ("ice_barrier_to", "plane.ice_barrier_to"),
        ("slot_from", "plane.slot_from"),
        ("bottom_third_to", "plane.slot_to"),
        ("course", "plane.course"),
        ("course_butt", "plane.course_butt"),
        ("insulation_most", "plane.insulation_most"),
    ];
    let (mut inside, mut outside) = (0, 0);
    for run in 60..168 {
        let run = format!("{run} in");
        for more in [
            vec![("ice_barrier", "none")],
            vec![("baffles", "yes")],
            vec![("pitch", "9/12")],
            // The wall reaches further in than the barrier.
            vec![("wall_thickness", "24 in"), ("ice_barrier", "none")],
            vec![("slot_above_barrier", "no")],
        ] {
            let mut changes = more.clone();
            changes.push(("roof_run", &run));
            let found = changed(&changes);
            for (job, plane) in pairs {
                let of_job = found.number(job, None);
                found.is(plane, Some(1), of_job);
            }
            let fits = found.yes("slot_in_band");
            assert_eq!(found.yes_in("plane.slot_in_band", Some(1)), fits, "{run} {more:?}");
            if fits { inside += 1 } else { outside += 1 }
        }
    }
    assert!(0 < inside && 0 < outside, "{inside} {outside}");
}

/// Geometry: no insulation in the way, a wall of 12 in behind a 16 in overhang at
/// 6/12: the slot opens from 28 * 1.118034 = 31.305 in.
#[test]
fn the_slot_opens_inside_the_wall() {
    let thin = [("heel_height", "24 in"), ("insulation_depth", "2 in"), ("ice_barrier", "none")];
    let mut thick = thin.to_vec();
    thick.push(("wall_thickness", "12 in"));
    let found = changed(&thick);
    found.is("clear_from", None, 17.889);
    found.is("slot_from", None, 31.305);
}

/// IRC R905.2.2: no shingles under 2/12, so no vent in them, wherever the slot is.
#[test]
fn a_plane_that_is_too_flat_takes_no_vent() {
    let flat = [
        ("plane.pitch#1", "1.5/12"),
        ("plane.heel_height#1", "24 in"),
        ("plane.insulation_depth#1", "2 in"),
        ("plane.roof_run#1", "60 ft"),
        ("ice_barrier", "none"),
    ];
    let found = changed(&flat);
    assert!(found.yes_in("plane.slot_in_band", Some(1)));
    assert!(!found.yes_in("plane.usable", Some(1)) && found.yes_in("plane.usable", Some(2)));
}

/// R806.2 as quoted: the balance of the area comes from below. Soffit vents that
/// bring half of what 1/300 needs do, some that bring less do not.
#[test]
fn a_few_soffit_vents_are_no_balance() {
    let with_soffit = |length: &str| {
        changed(&[
            ("plane.insulation_depth#1", "30 in"),
            ("plane.insulation_depth#2", "30 in"),
            ("vent.kind#2", "soffit vents"),
            ("vent.place#2", "bottom third"),
            ("vent.open_path#2", "yes"),
            ("vent.stays#2", "yes"),
            ("vent.pieces#2", "0"),
            ("vent.length#2", length),
            ("vent.rating#2", "9 in2/ft"),
        ])
    };
    // 288 in2 at 9 in2/ft are 32 ft.
    with_soffit("31 ft").is("space.ratio", Some(1), 150.0);
    with_soffit("32 ft").is("space.ratio", Some(1), 300.0);
}

/// Only the deck is cut: 8 in on centre and 6 in thick leave 2 in clear, less than
/// a slot of 2 1/2 in (R802.7.1 and R802.10.4 as quoted).
#[test]
fn the_slot_is_no_wider_than_the_members_leave() {
    let close = [("member_spacing", "8 in"), ("member_width", "6 in")];
    let wide = [("slot_high", "7 1/2 in")];
    let found = changed_with(&close, &wide);
    found.is("slot_width", None, 2.0);
    assert!(found.warnings().iter().any(|w| w.contains("wider than the clear space")));
    changed_with(&[], &wide).is("slot_width", None, 2.5);
}

/// (168 + 16) * 1.118034 = 205.718 in up the slope; 6 in either way may be the tape.
#[test]
fn a_slope_that_does_not_fit_is_told() {
    let told = |slope: &str| {
        let found = changed(&[("plane.slope_length#1", slope)]);
        found.warnings().iter().any(|w| w.starts_with("Plane 1: its run"))
    };
    assert!(!told("17 ft 7 1/2 in") && told("17 ft 8 in"));
    assert!(!told("16 ft 8 in") && told("16 ft 7 in"));
}

/// Where the instructions and the code disagree the sheet says so and takes the
/// stricter (IRC R905.2.2, R806.3, R905.2.5).
#[test]
fn the_stricter_of_instructions_and_code_is_taken() {
    let cases = [
        ("least_pitch", "4/12", "1/12", "least_pitch", 4.0 / 12.0, 2.0 / 12.0, "allow a pitch of"),
        ("air_space", "2 in", "1/2 in", "air_space", 2.0, 1.0, "of air over the insulation"),
        ("nail_into_deck", "1 in", "1/2 in", "nail_least", 2.0, 1.75, "into the deck, the code"),
    ];
    // A thick deck, so that the nail need not go through.
    let deck = [("deck_thickness", "2 in")];
    for (figure, strict, lax, measure, stricter, by_code, words) in cases {
        let found = changed_with(&deck, &[(figure, strict)]);
        found.is(measure, None, stricter);
        assert!(!found.warnings().join(" ").contains(words), "{figure}");
        let found = changed_with(&deck, &[(figure, lax)]);
        found.is(measure, None, by_code);
        assert!(found.warnings().join(" ").contains(words), "{figure}");
    }
}
