//! All measures of a job, computed exactly; rounding to the tape happens only
//! where a value is shown or becomes a target.

use std::collections::BTreeMap;

use crate::measure::{
    self, Dimension, EvalError, Functions, Quantity, Ratio, Rounding, Style, System, Unit, Value,
    Values,
};

use super::{Bound, Checklist, FactName, Facts, Measure, Piece, Profile, Units};

/// What a measure came to.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Computed {
    /// A value.
    Value(Value),
    /// These names are not known yet.
    Missing(Vec<String>),
    /// It cannot be computed, and why.
    Cannot(String),
}

/// The computed measures of one checklist on one job.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Sheet {
    computed: BTreeMap<FactName, Computed>,
    rows: BTreeMap<String, u32>,
}

/// Everything a name can mean on one job: facts, figures, measures.
#[derive(Clone, Copy, Debug)]
pub struct Known<'a> {
    /// The checklist that declares the names.
    pub checklist: &'a Checklist,
    /// Facts of the job.
    pub facts: &'a Facts,
    /// Figures of the product.
    pub profile: Option<&'a Profile>,
    /// Measures computed so far.
    pub sheet: &'a Sheet,
}

impl Sheet {
    /// Computes every measure, in the order of the checklist.
    #[must_use]
    pub fn compute(
        checklist: &Checklist,
        facts: &Facts,
        profile: Option<&Profile>,
        functions: &Functions,
    ) -> Self {
        let rows = checklist
            .tables
            .iter()
            .map(|table| (table.name.clone(), facts.count(&table.rows).unwrap_or(0)));
        let mut sheet = Self { computed: BTreeMap::new(), rows: rows.collect() };
        for measure in &checklist.measures {
            let rows = match measure.name.split_once('.') {
                Some((table, _)) => (1..=sheet.rows(table)).map(Some).collect(),
                None => vec![None],
            };
            for row in rows {
                let known = Known { checklist, facts, profile, sheet: &sheet };
                let computed = compute(measure, known, row, functions);
                sheet.computed.insert(FactName { name: measure.name.clone(), row }, computed);
            }
        }
        sheet
    }

    /// What this measure came to.
    #[must_use]
    pub fn get(&self, name: &str, row: Option<u32>) -> Option<&Computed> {
        self.computed.get(&FactName { name: name.to_owned(), row })
    }

    /// How many rows a table has.
    #[must_use]
    pub fn rows(&self, table: &str) -> u32 {
        self.rows.get(table).copied().unwrap_or(0)
    }

    /// All measures, by name and row.
    pub fn iter(&self) -> impl Iterator<Item = (&FactName, &Computed)> {
        self.computed.iter()
    }
}

fn compute(
    measure: &Measure,
    known: Known<'_>,
    row: Option<u32>,
    functions: &Functions,
) -> Computed {
    match measure.formula.eval(&InRow { known, row }, functions) {
        Ok(value) => Computed::Value(value),
        Err(EvalError::Missing(names)) => Computed::Missing(known.roots(names, row)),
        Err(EvalError::Cannot { message, .. }) => Computed::Cannot(message),
    }
}

impl Known<'_> {
    /// The value of a name, in a row where it has one.
    #[must_use]
    pub fn value(&self, name: &str, row: Option<u32>) -> Option<Value> {
        if let Some(figure) = name.strip_prefix("profile.") {
            return self.profile?.figures.get(figure).map(|(_, value)| value.clone());
        }
        let row = if name.contains('.') { Some(row?) } else { None };
        if let (Some(row), Some((_, "number"))) = (row, name.split_once('.')) {
            return Some(Value::Quantity(Quantity::count(row.into())));
        }
        match self.sheet.get(name, row) {
            Some(Computed::Value(value)) => Some(value.clone()),
            Some(_) => None,
            None => self.facts.get(name, row).cloned(),
        }
    }

    /// The facts and figures behind missing names.
    fn roots(&self, names: Vec<String>, row: Option<u32>) -> Vec<String> {
        let mut roots = Vec::new();
        for name in names {
            let row = if name.contains('.') { row } else { None };
            let table = name.split_once('.').filter(|_| row.is_none());
            if let Some(table) = table.and_then(|(table, _)| self.checklist.table(table)) {
                roots.push(table.rows.clone());
                continue;
            }
            match self.sheet.get(&name, row) {
                Some(Computed::Missing(more)) => roots.extend(more.iter().cloned()),
                _ => roots.push(name),
            }
        }
        roots.sort();
        roots.dedup();
        roots
    }

    /// A value as a person reads it, measures rounded in their safe direction.
    #[must_use]
    pub fn show(&self, name: &str, row: Option<u32>, units: Units) -> Option<String> {
        let value = self.value(name, row)?;
        let (bound, graduation) = self
            .checklist
            .measure(name)
            .map_or((Bound::Mark, Ratio::SIXTEENTH), |m| (m.bound, m.graduation));
        Some(show_value(&value, bound, graduation, units))
    }

    /// A template with its values put in.
    ///
    /// # Errors
    /// The facts and figures that are not known yet.
    pub fn fill(
        &self,
        pieces: &[Piece],
        row: Option<u32>,
        units: Units,
    ) -> Result<String, Vec<String>> {
        let (mut text, mut missing) = (String::new(), Vec::new());
        for piece in pieces {
            match piece {
                Piece::Words(words) => text.push_str(words),
                Piece::Name(name) => match self.show(name, row, units) {
                    Some(shown) => text.push_str(&shown),
                    None => missing.push(name.clone()),
                },
            }
        }
        if missing.is_empty() { Ok(text) } else { Err(self.roots(missing, row)) }
    }
}

/// Rounds a quantity of inches to the tape in the direction that is safe.
#[must_use]
pub fn to_tape(q: Quantity, bound: Bound, graduation: Ratio) -> Quantity {
    if q.dimension != Dimension::LENGTH {
        return q;
    }
    let rounded = q.value.round_to(graduation, rounding(bound));
    rounded.map_or(q, |value| Quantity::new(value, q.dimension))
}

fn rounding(bound: Bound) -> Rounding {
    match bound {
        Bound::Minimum => Rounding::Up,
        Bound::Maximum => Rounding::Down,
        Bound::Mark => Rounding::Nearest,
    }
}

/// A value as a person reads it: lengths in tape notation, net free area in
/// square inches, floors in square feet.
#[must_use]
pub fn show_value(value: &Value, bound: Bound, graduation: Ratio, units: Units) -> String {
    let q = match value {
        Value::YesNo(yes) => return (if *yes { "yes" } else { "no" }).to_owned(),
        Value::Text(text) => return text.clone(),
        Value::Quantity(q) => *q,
    };
    let us = units == Units::Us;
    let rounding = rounding(bound);
    match q.dimension {
        Dimension::LENGTH => {
            let system = if us { System::Us } else { System::Metric };
            measure::show(q, &Style { system, graduation, rounding })
        }
        Dimension::AREA if !us => {
            let big = Ratio::int(15_500) <= q.value.abs();
            let (unit, decimals) =
                if big { (Unit::SquareMetre, 2) } else { (Unit::SquareCentimetre, 0) };
            measure::show_in(q, unit, decimals, rounding)
        }
        Dimension::AREA => {
            let floor = Ratio::int(14_400) <= q.value.abs();
            let (unit, decimals) =
                if floor { (Unit::SquareFoot, 1) } else { (Unit::SquareInch, 1) };
            measure::show_in(q, unit, decimals, rounding)
        }
        Dimension::FREE_AREA_PER_LENGTH => measure::show_in(
            q,
            if us { Unit::SquareInchPerFoot } else { Unit::SquareCentimetrePerMetre },
            2,
            rounding,
        ),
        Dimension::TEMPERATURE => measure::show_in(
            q,
            if us { Unit::DegreeFahrenheit } else { Unit::DegreeCelsius },
            0,
            rounding,
        ),
        Dimension::SPEED => measure::show_in(
            q,
            if us { Unit::MilePerHour } else { Unit::KilometrePerHour },
            0,
            rounding,
        ),
        Dimension::NUMBER if !q.value.is_integer() => {
            let cut = q.value.round_to(Ratio::HUNDREDTH, rounding).unwrap_or(q.value);
            format!("{:.2}", cut.to_f64())
        }
        _ => measure::exact_text(q),
    }
}

/// The names a formula sees from one row, or from none.
#[derive(Clone, Copy, Debug)]
pub struct InRow<'a> {
    /// Everything that is known.
    pub known: Known<'a>,
    /// The row, counted from 1.
    pub row: Option<u32>,
}

impl Values for InRow<'_> {
    fn value(&self, name: &str) -> Option<Value> {
        self.known.value(name, self.row)
    }

    fn column(&self, table: &str, column: &str) -> Option<Vec<Value>> {
        let declared = self.known.checklist.table(table)?;
        let rows = self.known.facts.count(&declared.rows)?;
        let name = format!("{table}.{column}");
        (1..=rows).map(|row| self.known.value(&name, Some(row))).collect()
    }
}
