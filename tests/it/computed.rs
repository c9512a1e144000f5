//! Defaults, rows that a function computes, and warnings: with a trade and a
//! function of the test's own, since the engine knows no trade.

use std::fs;

use chalkhand::domain::{
    Checklist, Computed, FactName, Facts, Known, Profile, Rows, Sheet, StepRef, Units,
    parse_answer, plan,
};
use chalkhand::files::{read_checklist, read_profile};
use chalkhand::measure::{
    Column, Dimension, Functions, Quantity, Ratio, Row, RowFunction, RowsInput, RowsOutput,
    TableShape, Type, Value,
};

const LENGTH: Type = Type::Quantity(Dimension::LENGTH);
const NUMBER: Type = Type::Quantity(Dimension::NUMBER);

fn quantity(row: &Row, name: &str) -> Quantity {
    match row.get(name) {
        Some(Value::Quantity(quantity)) => *quantity,
        other => panic!("{name}: {other:?}"),
    }
}

/// A band of whole tiles for each wall that is high enough; refuses giants.
fn bands(input: &RowsInput) -> Result<RowsOutput, String> {
    let tile = quantity(&input.values, "tile");
    let mut output = RowsOutput::default();
    for (number, wall) in (1..).zip(&input.tables["wall"]) {
        let height = quantity(wall, "height");
        if Ratio::int(1200) < height.value {
            return Err(format!("wall {number} is hardly a wall"));
        }
        let rows = height.over(tile).unwrap().value.floor();
        if rows == 0 {
            output.notes.push(format!("Wall {number} takes no tile."));
            continue;
        }
        output.rows.push(Row::from([
            ("wall", Value::Quantity(Quantity::count(number))),
            ("rows", Value::Quantity(Quantity::count(i64::try_from(rows).unwrap()))),
            ("start", Value::Quantity(Quantity::inches(Ratio::ONE))),
        ]));
    }
    Ok(output)
}

pub(crate) fn functions() -> Functions {
    const TAKES: [Column; 2] = [Column::needed("tile", LENGTH), Column::optional("spare", LENGTH)];
    const WALL: [Column; 2] = [Column::needed("height", LENGTH), Column::optional("width", LENGTH)];
    const GIVES: [Column; 3] = [
        Column::needed("wall", NUMBER),
        Column::needed("rows", NUMBER),
        Column::needed("start", LENGTH),
    ];
    Functions::new().with_rows(RowFunction {
        name: "tile_bands",
        takes: &TAKES,
        reads: &[
            TableShape { name: "wall", needed: true, columns: &WALL },
            TableShape { name: "window", needed: false, columns: &[] },
        ],
        gives: &GIVES,
        run: bands,
    })
}

pub(crate) fn text() -> String {
    fs::read_to_string("tests/it/data/tile-rows.toml").unwrap()
}

fn read(text: &str) -> Result<Checklist, String> {
    read_checklist(text, "tiles.toml", &functions()).map_err(|problems| problems.to_string())
}

pub(crate) fn profile(figures: &str) -> Profile {
    let head = "id = \"tile\"\nversion = \"1.0.0\"\ntitle = \"Tile\"\nsource = \"invented\"\n\
                invented = true\n[figures]\ntile = { kind = \"length\", value = \"4 in\" }\n";
    read_profile(&format!("{head}{figures}"), "tile.toml").unwrap()
}

struct Job {
    list: Checklist,
    facts: Facts,
    profile: Profile,
    sheet: Sheet,
}

/// Facts as `name value`, or `name#row value`.
fn job(facts: &[&str], figures: &str) -> Job {
    job_of(&text(), facts, figures)
}

fn job_of(text: &str, facts: &[&str], figures: &str) -> Job {
    let list = read(text).unwrap();
    let mut known = Facts::default();
    for fact in facts {
        let (name, value) = fact.split_once(' ').unwrap();
        let (name, row) = match name.split_once('#') {
            Some((name, row)) => (name, Some(row.parse().unwrap())),
            None => (name, None),
        };
        let value = parse_answer(value, &list.fact(name).unwrap().kind).unwrap();
        known.set(FactName { name: name.to_owned(), row }, value);
    }
    let profile = profile(figures);
    let sheet = Sheet::compute(&list, &known, Some(&profile), &functions());
    Job { list, facts: known, profile, sheet }
}

impl Job {
    fn known(&self) -> Known<'_> {
        let (checklist, facts) = (&self.list, &self.facts);
        Known { checklist, facts, profile: Some(&self.profile), sheet: &self.sheet }
    }

    fn shown(&self, name: &str, row: Option<u32>) -> Option<String> {
        self.known().show(name, row, Units::Us)
    }
}

#[test]
fn defaults_stand_until_somebody_says_otherwise() {
    let plain = job(&["wall.height#1 8 ft"], "");
    assert_eq!(plain.shown("joint", None).unwrap(), "1/8\"", "the figure's own default");
    assert_eq!(plain.shown("bond", None).unwrap(), "stack");
    assert_eq!(plain.shown("wall.width", Some(1)).unwrap(), "16'-0\"");
    assert_eq!(plain.shown("wall_count", None).unwrap(), "1");
    let figure = "joint_usual = { kind = \"length\", value = \"1/2 in\" }\n";
    let given = job(&["wall.height#1 8 ft"], figure);
    assert_eq!(given.shown("joint", None).unwrap(), "1/2\"", "the profile's figure wins");
    assert_eq!(given.shown("bond", None).unwrap(), "running", "a default follows another");
    let said = job(&["wall.height#1 8 ft", "joint 3/16 in", "bond running"], figure);
    assert_eq!(said.shown("joint", None).unwrap(), "3/16\"", "what was surveyed wins");
    assert_eq!(said.shown("bond", None).unwrap(), "running");
    assert_eq!(said.sheet.get("joint", None), None, "no default is computed beside it");
}

#[test]
fn rows_are_computed_and_walked() {
    let two = job(
        &[
            "wall_count 3",
            "wall.height#1 8 ft",
            "wall.height#2 1 in",
            "wall.height#3 3 ft",
            "joint 0 in",
        ],
        "",
    );
    assert_eq!(two.known().rows("band"), Some(2), "the second wall is too low");
    assert_eq!(two.shown("band.wall", Some(2)).unwrap(), "3");
    assert_eq!(two.shown("band.rows", Some(1)).unwrap(), "24");
    assert_eq!(two.shown("band.end", Some(2)).unwrap(), "3'-1\"");
    assert_eq!(two.shown("covered", None).unwrap(), "11'-0\"");
    let steps: Vec<String> =
        plan::plan(two.known(), &functions()).iter().map(StepRef::to_string).collect();
    assert_eq!(steps, ["joint", "line#1", "count#1", "line#2", "count#2"]);
    assert_eq!(
        two.known().warnings(Units::Us),
        ["Wall 2 is 2\" wide.", "Wall 2 takes no tile."],
        "warnings of the file, then notes of the function"
    );
    // No rows at all: sums are zero, and the warning says so.
    let none = job(&["wall.height#1 1 in"], "");
    assert_eq!(none.known().rows("band"), Some(0));
    assert_eq!(none.shown("tiles_high", None).unwrap(), "0");
    assert!(none.known().warnings(Units::Us).contains(&"Only 0 rows in all.".to_owned()));
}

#[test]
fn what_is_missing_is_named() {
    let nothing = job(&[], "");
    let missing = vec!["wall.height".to_owned()];
    assert_eq!(nothing.sheet.rows("band"), Some(&Rows::Missing(missing.clone())));
    assert_eq!(nothing.sheet.get("covered", None), Some(&Computed::Missing(missing)));
    assert_eq!(nothing.known().rows("band"), None);
    assert!(nothing.known().warnings(Units::Us).is_empty(), "nothing is known, nothing is wrong");
    // Steps for rows that nobody knows yet stay in the plan, once.
    let steps: Vec<String> =
        plan::plan(nothing.known(), &functions()).iter().map(StepRef::to_string).collect();
    assert_eq!(steps, ["joint", "line", "count"]);
}

#[test]
fn a_function_that_refuses_is_told() {
    let giant = job(&["wall.height#1 200 ft"], "");
    let why = "wall 1 is hardly a wall".to_owned();
    assert_eq!(giant.sheet.rows("band"), Some(&Rows::Cannot(why.clone())));
    assert_eq!(giant.sheet.get("covered", None), Some(&Computed::Cannot(why.clone())));
    assert_eq!(giant.known().warnings(Units::Us), std::slice::from_ref(&why));
    // Through rows and a fold over them too.
    let measure = "[each.wall.measures.done]\nformula = \"sum(band.rows where band.wall == \
                   wall.number)\"\n[each.band]\n";
    let text = text().replacen("[each.band]\n", measure, 1);
    let text = text.replacen("[measures]\n", "[measures]\nall_done = \"sum(wall.done)\"\n", 1);
    let giant = job_of(&text, &["wall.height#1 200 ft"], "");
    assert_eq!(giant.sheet.get("all_done", None), Some(&Computed::Cannot(why)));
}

#[test]
fn counts_are_bounded() {
    let many = job(&["wall_count 4000000000", "wall.height#1 8 ft"], "");
    assert_eq!(many.known().rows("wall"), Some(chalkhand::domain::MOST_ROWS));
}

/// Each edit of the file, and a piece of the complaint it has to bring.
#[test]
fn mistakes_are_told_where_they_are() {
    let edits = [
        ("from = \"tile_bands\"", "from = \"tile_band\"", "did you mean `tile_bands`"),
        ("tile = \"profile.tile + joint\"", "", "needs `tile`, a length"),
        (
            "tile = \"profile.tile + joint\"",
            "tile = \"3\"",
            "`tile` is a length, not a plain number",
        ),
        ("tile = \"profile.tile + joint\"", "tille = \"joint\"", "takes no `tille`"),
        ("start = \"band starts above", "begin = \"band", "gives no column `begin`"),
        ("[each.wall]", "[each.fence]", "reads the table `wall`, which this checklist does not"),
        (
            "facts.height]\nkind = \"length\"",
            "facts.height]\nkind = \"count\"",
            "reads `wall.height` as a length; here it is a plain number",
        ),
        (
            "default = \"profile.joint_usual\"",
            "default = \"3\"",
            "default of `joint` has to be a length",
        ),
        (
            "default = \"profile.joint_usual\"",
            "default = \"covered\"",
            "use each other in a circle",
        ),
        ("then 'stack'", "then 'stuck'", "`bond` is never `stuck`"),
        (
            "default = \"1\"",
            "default = \"'one'\"",
            "default of `wall_count` has to be a plain number",
        ),
        (
            "when = \"tiles_high < 4\"",
            "when = \"tiles_high\"",
            "`when` has to come out as yes or no",
        ),
        (
            "sum(band.rows)\"",
            "sum(band.rows where wall.height == joint)\"",
            "picked by one of its own columns",
        ),
        (
            "sum(band.rows)\"",
            "sum(band.rows where band.wall == joint)\"",
            "this is a plain number, compared with a length",
        ),
        ("sum(band.rows)\"", "sum(band.rows where band.hall == wall_count)\"", "no column `hall`"),
        ("Only {tiles_high}", "Only {tile_high}", "did you mean `tiles_high`"),
        ("id = \"narrow\"", "id = \"few\"", "a warning `few` is given already"),
        ("rows = \"wall_count\"", "", "`rows`"),
        ("rows = \"wall_count\"", "rows = \"wall_count\"\nfrom = \"tile_bands\"", "not both"),
        ("measure = \"band.start\"", "measure = \"band.stop\"", "no measure is named `band.stop`"),
        ("count = \"band.rows\"", "count = \"band.start\"", "not a number"),
    ];
    for (from, to, complaint) in edits {
        assert!(text().contains(from), "{from}");
        let told = read(&text().replacen(from, to, 1)).unwrap_err();
        assert!(told.contains(complaint), "{from} -> {to}:\n{told}");
    }
    read(&text()).unwrap();
}

/// A measure may rest on rows and rows on a measure, but not on each other.
#[test]
fn circles_through_rows_are_told() {
    let around = text().replacen(
        "profile.tile + joint\"\n[each.band.columns]",
        "profile.tile + covered\"\n[each.band.columns]",
        1,
    );
    let told = read(&around).unwrap_err();
    assert!(told.contains("use each other in a circle: covered → band → covered"), "{told}");
}
