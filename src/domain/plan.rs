//! The steps of a walk in order, repeated for rows, left out where a step's
//! condition does not hold.

use crate::measure::{Functions, Value};

use super::sheet::InRow;
use super::{Known, Step, StepRef};

/// The plan as far as it is known. A step whose condition cannot be computed
/// yet stays in, and so does, once and without a row, a step that repeats for
/// rows nobody has counted yet: nothing is left out by accident.
#[must_use]
pub fn plan(known: Known<'_>, functions: &Functions) -> Vec<StepRef> {
    let mut plan = Vec::new();
    let steps = &known.checklist.steps;
    let mut at = 0;
    while let Some(step) = steps.get(at) {
        // Neighbours that repeat for the same rows are done row by row.
        let block: Vec<&Step> = match &step.each {
            None => vec![step],
            Some(each) => {
                steps.iter().skip(at).take_while(|s| s.each.as_ref() == Some(each)).collect()
            }
        };
        at += block.len();
        let rows = match &step.each {
            None => vec![None],
            Some(table) => rows(known, table),
        };
        for row in rows {
            for step in &block {
                if applies(step, known, row, functions) {
                    plan.push(StepRef { id: step.id.clone(), row });
                }
            }
        }
    }
    plan
}

fn applies(step: &Step, known: Known<'_>, row: Option<u32>, functions: &Functions) -> bool {
    step.only_if.as_ref().is_none_or(|condition| {
        condition.eval(&InRow { known, row }, functions) != Ok(Value::YesNo(false))
    })
}

fn rows(known: Known<'_>, table: &str) -> Vec<Option<u32>> {
    known.rows(table).map_or_else(|| vec![None], |rows| (1..=rows).map(Some).collect())
}
