//! What the README shows is what the program makes: the job file to fill in, and
//! the drawings of the invented job. `UPDATE=1` writes them anew.

use std::fs;

use crate::program::{Home, repository};

fn kept(path: &str, found: &str) {
    let path = repository(path);
    if std::env::var_os("UPDATE").is_some() {
        fs::write(&path, found).unwrap();
    }
    let written = fs::read_to_string(&path).unwrap_or_default();
    assert_eq!(written, found, "{}: UPDATE=1 writes it anew", path.display());
}

/// Every key of the survey and the install, with its question, unit and default.
#[test]
fn the_job_file_to_fill_in_has_every_key() {
    let home = Home::new();
    let lists = ["site-survey", "deck-intake", "closing-inspection"];
    let blank =
        home.run(["job", "blank", lists[0], lists[1], lists[2], "--profile", "my-vent"]).well();
    kept("packaging/demo-data/blank-job.toml", &blank);
    for list in lists {
        let list = crate::crew::shipped(list);
        let counts: Vec<&str> = list.tables.iter().filter_map(|t| t.counted_by()).collect();
        for fact in &list.facts {
            if counts.contains(&fact.name.as_str()) {
                continue;
            }
            let key = fact.name.rsplit('.').next().unwrap();
            assert!(
                blank.contains(&format!("\n{key} = ")) || blank.contains(&format!("# {key} = ")),
                "{}",
                fact.name
            );
            assert!(blank.contains(&fact.ask), "{}", fact.ask);
        }
    }
}

/// Filled in where it has to be, it opens, and the sheet knows its course.
#[test]
fn a_filled_in_job_file_opens() {
    let home = Home::new();
    let profile = repository("packaging/demo-data/profile.toml");
    home.run(["checklist", "adopt", profile.to_str().unwrap()]).well();
    let blank = home
        .run(["job", "blank", "site-survey", "deck-intake", "--profile", "example-vent"])
        .well();
    let values = [
        ("number = \"\"", "number = \"FILLED-1\""),
        ("address = \"\"", "address = \"2 Example Lane\""),
        ("owner = \"\"", "owner = \"Owner Example\""),
        ("phone = \"\"", "phone = \"555-0101\""),
        ("company = \"\"", "company = \"Example Roofing Company\""),
        ("time_zone = \"\"", "time_zone = \"America/Chicago\""),
        ("code_edition = \"\"", "code_edition = \"IRC 2018\""),
        ("eave_height = \"\"", "eave_height = \"10 ft\""),
        ("climate_zone = 0", "climate_zone = 4"),
        ("\npitch = \"\"", "\npitch = \"4/12\""),
        ("\noverhang = \"\"", "\noverhang = \"12 in\""),
        ("\nroof_run = \"\"", "\nroof_run = \"13 ft\""),
        ("\nexposure = \"\"", "\nexposure = \"5 in\""),
        ("\nshingle_past_edge = \"\"", "\nshingle_past_edge = \"1/2 in\""),
        ("\ndeck_thickness = \"\"", "\ndeck_thickness = \"15/32 in\""),
        ("\ncover_thickness = \"\"", "\ncover_thickness = \"0 in\""),
        ("\nheel_height = \"\"", "\nheel_height = \"4 in\""),
        ("\ninsulation_depth = \"\"", "\ninsulation_depth = \"14 in\""),
        ("\nattic_area = \"\"", "\nattic_area = \"900 ft2\""),
        ("\nair_temperature = \"\"", "\nair_temperature = \"60 degF\""),
    ];
    let mut filled = blank;
    for (empty, value) in values {
        assert!(filled.contains(empty), "{empty}:\n{filled}");
        filled = filled.replacen(empty, value, 1);
    }
    filled.push_str("[[facts.plane]]\neave = \"40 ft\"\nslope_length = \"15 ft\"\n");
    let path = home.path("filled.toml");
    fs::write(&path, filled).unwrap();
    home.run(["job", "open", path.to_str().unwrap()]).well();
    let sheet = home.run(["sheet", "FILLED-1", "--json"]).well();
    let sheet: serde_json::Value = serde_json::from_str(&sheet).unwrap();
    // Trade-facts 2.7 (computed): 4/12, run 156, overhang 12, heel 4, insulation 14:
    // clear from 47.605, bottom third to 59.029, ice barrier to 37.947.
    for (name, inches) in
        [("clear_from", 47.605), ("bottom_third_to", 59.029), ("ice_barrier_to", 37.947)]
    {
        let found = sheet["measures"][name]["value"].as_f64().unwrap();
        assert!((found - inches).abs() < 0.0006, "{name}: {found}");
    }
    // By hand: floor((47.605 + 5/8 + 1/2 - 5) / 5) + 2 = 10; 40 ft less 18 in at
    // each end are 37 ft, nine whole pieces and one of a foot.
    let run = &sheet["runs"][0];
    assert_eq!((run["course"].as_u64(), run["plane"].as_u64()), (Some(10), Some(1)));
    assert_eq!((run["pieces"].as_u64(), run["field_cut"].as_u64()), (Some(10), Some(12)));
    assert_eq!((run["vent_start"].as_u64(), run["vent_end"].as_u64()), (Some(18), Some(462)));
    let warnings = sheet["warnings"].to_string();
    assert!(warnings.contains("has no exhaust that counts"), "{warnings}");
}

/// The plates of the invented job that the README shows.
#[test]
fn the_drawings_of_the_readme() {
    let home = Home::with_job();
    home.run(["sheet", "EX-0001", "-o", home.path("x.html").to_str().unwrap()]).well();
    let page = fs::read_to_string(home.path("x.html")).unwrap();
    let plates: Vec<&str> =
        page.split("<svg ").skip(1).map(|rest| rest.split_once("</svg>").unwrap().0).collect();
    assert_eq!(plates.len(), 4, "two planes, one course and its left ends");
    for (name, plate) in [("plane", plates[0]), ("course", plates[2])] {
        let svg = format!("<svg {plate}</svg>\n");
        kept(&format!("packaging/demo-data/{name}.svg"), &svg);
    }
}

/// Every picture is there, is small, and says in words what it shows.
#[test]
fn the_pictures_of_the_readme() {
    let text = fs::read_to_string(repository("README.md")).unwrap();
    let mut shown = 0;
    for image in text.split("<img ").skip(1).filter_map(|rest| rest.split('>').next()) {
        let of = |name: &str| image.split(&format!("{name}=\"")).nth(1)?.split('"').next();
        let path = repository(of("src").unwrap());
        let bytes = fs::read(&path).unwrap_or_else(|error| panic!("{}: {error}", path.display()));
        assert!(bytes.len() <= 120 << 10, "{} has {} bytes", path.display(), bytes.len());
        assert!(60 < of("alt").unwrap_or_default().len(), "{image} says too little");
        shown += usize::from(path.starts_with(repository("packaging/pictures")));
    }
    let kept = fs::read_dir(repository("packaging/pictures")).unwrap().count();
    assert_eq!((shown, kept), (3, 3));
}

/// Facts that cannot be right are told when the job is opened, and on the sheet.
#[test]
fn impossible_roofs_are_told_with_the_fact_and_the_reason() {
    let edits = [
        ("left = \"20 ft\"", "left = \"40 ft\"", "obstruction 1"),
        ("along = \"37 ft\"\nup = \"17 ft\"", "along = \"-9 ft\"\nup = \"17 ft\"", "plane 2"),
        ("plane = 1\nkind = \"chimney\"", "plane = 9\nkind = \"chimney\"", "obstruction 1"),
    ];
    for (find, put, fact) in edits {
        let home = Home::new();
        let profile = repository("packaging/demo-data/profile.toml");
        home.run(["checklist", "adopt", profile.to_str().unwrap()]).well();
        let text = Home::job_file();
        assert!(text.contains(find), "{find}");
        let path = home.write("job.toml", &text.replacen(find, put, 1));
        let out = home.run(["job", "open", path.to_str().unwrap()]).well();
        let told = out.lines().find(|line| line.starts_with("  ! "));
        let told = told.unwrap_or_else(|| panic!("{put}: {out}"));
        assert!(told.contains(fact), "{told}");
        let sheet = home.run(["sheet", "EX-0001", "--json"]).well();
        let sheet: serde_json::Value = serde_json::from_str(&sheet).unwrap();
        let why = told.trim_start_matches("  ! ");
        assert!(sheet["warnings"].as_array().unwrap().iter().any(|w| w == why), "{why}");
    }
    let home = Home::new();
    let path = home.write("job.toml", &Home::job_file().replacen("\"16 in\"", "\"-1 in\"", 1));
    let err = home.run(["job", "open", path.to_str().unwrap()]).fails(1);
    assert!(err.contains("`overhang` is not believable below 0 in"), "{err}");
}

/// A metric job is told in millimetres and square centimetres throughout.
#[test]
fn notes_of_a_metric_job_are_metric() {
    let text = Home::job_file().replacen("units = \"us\"", "units = \"metric\"", 1);
    // A shorter plane, so that something is missing and something is left out.
    let text = text.replacen("eave = \"34 ft\"", "eave = \"28 ft\"", 1);
    let home = Home::with_job_file(&text);
    let sheet = home.run(["sheet", "EX-0001", "--json"]).well();
    let sheet: serde_json::Value = serde_json::from_str(&sheet).unwrap();
    let warnings: Vec<&str> =
        sheet["warnings"].as_array().unwrap().iter().map(|w| w.as_str().unwrap()).collect();
    let of_layout = warnings.iter().filter(|w| w.starts_with("Plane 1") || w.starts_with("Space"));
    assert!(0 < of_layout.clone().count(), "{warnings:?}");
    assert!(of_layout.clone().any(|w| w.contains(" mm") || w.contains(" m ")), "{warnings:?}");
    let svg = home.path("x.svg");
    home.run(["sheet", "EX-0001", "-o", svg.to_str().unwrap()]).well();
    let drawing = fs::read_to_string(svg).unwrap().replace('\u{a0}', " ");
    for text in of_layout.copied().chain([drawing.as_str()]) {
        assert!(!text.contains("'-") && !text.contains(" in2"), "{text}");
    }
}
