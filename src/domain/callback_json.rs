//! Leak calls and acceptances as JSON and back: the inner part of `entry_json`.

use super::Json;
use super::callback::{Call, Finding, NamedStep, RowRef, Warranty};
use super::deviation::DeviationKind;
use super::entry_json::{Fields, NotAnEntry};

pub(super) fn call(call: &Call) -> Json {
    let rows = call
        .rows
        .iter()
        .map(|at| Json::object([("table", Json::text(&at.table)), ("row", Json::from(at.row))]));
    Json::object([
        ("id", Json::from(call.id)),
        ("reported", Json::text(call.reported)),
        ("water", Json::text(&call.water)),
        ("rows", Json::List(rows.collect())),
        ("edge", option(call.edge.as_ref())),
        ("caller", Json::text(&call.caller)),
        ("phone", option(call.phone.as_ref())),
    ])
}

pub(super) fn finding(finding: &Finding) -> Json {
    let steps = finding.steps.iter().map(|named| {
        Json::object([
            ("checklist", Json::text(&named.checklist)),
            ("step", Json::text(&named.step)),
        ])
    });
    Json::object([
        ("id", Json::from(finding.id)),
        ("found", Json::text(&finding.found)),
        ("cause", option(finding.cause.as_ref())),
        ("done", option(finding.done.as_ref())),
        ("steps", Json::List(steps.collect())),
        ("warranty", finding.warranty.word().into()),
        ("visit_left_open", option(finding.visit_left_open.as_ref())),
    ])
}

pub(super) fn kinds(kinds: &[DeviationKind]) -> Json {
    Json::List(kinds.iter().map(|kind| kind.word().into()).collect())
}

fn option(text: Option<&String>) -> Json {
    text.map_or(Json::Null, Json::text)
}

impl Fields<'_> {
    pub(super) fn call(&self) -> Result<Call, NotAnEntry> {
        Ok(Call {
            id: self.whole("id")?,
            reported: self.parsed("reported")?,
            water: self.text("water")?,
            rows: self.each("rows", |row| {
                Ok(RowRef { table: row.text("table")?, row: row.whole("row")? })
            })?,
            edge: self.text_if_there("edge")?,
            caller: self.text("caller")?,
            phone: self.text_if_there("phone")?,
        })
    }

    pub(super) fn finding(&self) -> Result<Finding, NotAnEntry> {
        Ok(Finding {
            id: self.whole("id")?,
            found: self.text("found")?,
            cause: self.text_if_there("cause")?,
            done: self.text_if_there("done")?,
            steps: self.each("steps", |named| {
                Ok(NamedStep { checklist: named.text("checklist")?, step: named.parsed("step")? })
            })?,
            warranty: self.one_of("warranty", &Warranty::ALL, Warranty::word)?,
            visit_left_open: self.text_if_there("visit_left_open")?,
        })
    }

    pub(super) fn kinds(&self, field: &str) -> Result<Vec<DeviationKind>, NotAnEntry> {
        let kind = |word: &String| DeviationKind::ALL.into_iter().find(|k| k.word() == word);
        let words = self.texts(field)?;
        words.iter().map(kind).collect::<Option<_>>().ok_or_else(|| self.wrong(field))
    }
}
