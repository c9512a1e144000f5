//! Checks the types of a formula without any values: the steps run on types.

use std::ops::Range;

use super::super::{Dimension, MeasureError};
use super::{
    BUILTINS, Builtin, Comparison, FOLDS, Fold, Formula, FormulaError, Functions, Op, Scope, Type,
    nearest,
};

/// `None` stands for a part that already has an error: nothing more is said of it.
type Known = Option<Type>;

impl Formula {
    /// The type of the result.
    ///
    /// # Errors
    /// When names are unknown or dimensions do not go together: all that is wrong.
    pub fn check(
        &self,
        scope: &dyn Scope,
        functions: &Functions,
    ) -> Result<Type, Vec<FormulaError>> {
        let mut checker =
            Checker { formula: self, scope, functions, stack: Vec::new(), errors: Vec::new() };
        for step in &self.steps {
            let result = checker.step(&step.op, &step.at);
            checker.stack.push(match result {
                Ok(Effect::Push(known)) => known,
                Ok(Effect::Nothing) => continue,
                Err(error) => {
                    checker.errors.push(error);
                    None
                }
            });
        }
        match (checker.pop(), checker.errors.is_empty()) {
            (Some(result), true) => Ok(result),
            _ => Err(checker.errors),
        }
    }
}

struct Checker<'c> {
    formula: &'c Formula,
    scope: &'c dyn Scope,
    functions: &'c Functions,
    stack: Vec<Known>,
    errors: Vec<FormulaError>,
}

enum Effect {
    Push(Known),
    Nothing,
}

impl Checker<'_> {
    fn pop(&mut self) -> Known {
        self.stack.pop().flatten()
    }

    /// Takes the last `count` types, in the order they were written.
    fn pop_many(&mut self, count: usize) -> Vec<Known> {
        self.stack.split_off(self.stack.len().saturating_sub(count))
    }

    fn step(&mut self, op: &Op, at: &Range<usize>) -> Result<Effect, FormulaError> {
        let wrong = |message: String| FormulaError::new(at.clone(), message);
        let dimensions = |error: MeasureError| FormulaError::new(at.clone(), error.to_string());
        let known = match op {
            Op::Push(value) => Some(value.type_of()),
            Op::Load => Some(self.load(at)?),
            Op::Negate => match self.pop() {
                Some(Type::Quantity(dimension)) if dimension.is_reading() => {
                    return Err(wrong("cannot change the sign of a temperature".to_owned()));
                }
                Some(Type::Quantity(dimension)) => Some(Type::Quantity(dimension)),
                Some(other) => return Err(wrong(format!("cannot negate {}", other.name()))),
                None => None,
            },
            Op::Not => self.pop().map(|found| yes_no(found, "`not`", at)).transpose()?,
            Op::Add | Op::Subtract | Op::Multiply | Op::Divide => {
                let (right, left) = (self.pop(), self.pop());
                let (Some(left), Some(right)) = (left, right) else {
                    return Ok(Effect::Push(None));
                };
                let (left, right) = both_quantities(left, right, at)?;
                let result = match op {
                    Op::Add => left.plus(right),
                    Op::Subtract => left.minus(right),
                    Op::Multiply => left.times(right),
                    _ => left.over(right),
                };
                Some(Type::Quantity(result.map_err(dimensions)?))
            }
            Op::Compare(comparison) => {
                let (right, left) = (self.pop(), self.pop());
                if let (Some(left), Some(right)) = (left, right) {
                    comparable(*comparison, left, right, at)?;
                }
                Some(Type::YesNo)
            }
            Op::And | Op::Or => {
                let word = if matches!(op, Op::And) { "`and`" } else { "`or`" };
                let (right, left) = (self.pop(), self.pop());
                for side in [left, right].into_iter().flatten() {
                    yes_no(side, word, at)?;
                }
                Some(Type::YesNo)
            }
            Op::AndElse(_) | Op::OrElse(_) | Op::Jump(_) => return Ok(Effect::Nothing),
            Op::If { .. } => {
                if let Some(found) = self.pop()
                    && let Err(error) = yes_no(found, "`if`", at)
                {
                    self.errors.push(error);
                }
                return Ok(Effect::Nothing);
            }
            Op::Merge => match (self.pop(), self.pop()) {
                (Some(other), Some(then)) if other != then => {
                    return Err(wrong(format!(
                        "`then` gives {} but `else` gives {}",
                        then.name(),
                        other.name()
                    )));
                }
                (other, then) => then.or(other),
            },
            Op::Builtin(builtin, count) => {
                let values = self.pop_many(*count);
                self.builtin(*builtin, &values, at)?
            }
            Op::Call(count) => {
                let values = self.pop_many(*count);
                self.call(&values, at)?
            }
            Op::Fold(fold, column, key) => {
                if let Some(key) = key {
                    let value = self.stack.pop().flatten();
                    self.key(column, key, value)?;
                }
                Some(self.fold(*fold, column, at)?)
            }
        };
        Ok(Effect::Push(known))
    }

    fn load(&self, at: &Range<usize>) -> Result<Type, FormulaError> {
        let name = self.formula.slice(at);
        self.scope.type_of(name).ok_or_else(|| {
            let names = self.scope.names();
            let hint = suggestion(name, names.iter().map(String::as_str));
            FormulaError::new(at.clone(), format!("no fact or measure named `{name}`{hint}"))
        })
    }

    fn builtin(
        &self,
        builtin: Builtin,
        values: &[Known],
        at: &Range<usize>,
    ) -> Result<Known, FormulaError> {
        let wrong = |message: String| FormulaError::new(at.clone(), message);
        let name = builtin.name();
        let mut found = Vec::with_capacity(values.len());
        for value in values.iter().flatten() {
            let Type::Quantity(dimension) = value else {
                return Err(wrong(format!("`{name}` takes quantities, not {}", value.name())));
            };
            found.push(*dimension);
        }
        let Some(first) = found.first().copied() else { return Ok(None) };
        if found.len() != values.len() {
            return Ok(None);
        }
        builtin_type(builtin, first, found.get(1..).unwrap_or(&[]))
            .map(|dimension| Some(Type::Quantity(dimension)))
            .map_err(|error| wrong(error.to_string()))
    }

    fn call(&self, values: &[Known], at: &Range<usize>) -> Result<Known, FormulaError> {
        let wrong = |message: String| FormulaError::new(at.clone(), message);
        let name = self.formula.slice(at);
        let Some(function) = self.functions.find(name) else {
            let builtins = BUILTINS.iter().map(|(name, _)| *name);
            let folds = FOLDS.iter().map(|(name, _)| *name);
            let hint = suggestion(name, self.functions.names().chain(builtins).chain(folds));
            return Err(wrong(format!("no function named `{name}`{hint}")));
        };
        if values.len() != function.takes.len() {
            let takes: Vec<String> = function.takes.iter().map(|d| d.name()).collect();
            return Err(wrong(format!(
                "`{name}` takes {} value(s) ({}), found {}",
                function.takes.len(),
                takes.join(", "),
                values.len()
            )));
        }
        for (number, (value, takes)) in values.iter().zip(function.takes).enumerate() {
            if let Some(value) = value
                && *value != Type::Quantity(*takes)
            {
                return Err(wrong(format!(
                    "value {} of `{name}` must be {}, not {}",
                    number + 1,
                    takes.name(),
                    value.name()
                )));
            }
        }
        Ok(Some(Type::Quantity(function.gives)))
    }

    /// The column that picks rows is of the folded table, and of the type it is
    /// compared with.
    fn key(
        &self,
        at_column: &Range<usize>,
        at_key: &Range<usize>,
        value: Known,
    ) -> Result<(), FormulaError> {
        let wrong = |message| Err(FormulaError::new(at_key.clone(), message));
        let (table, _) = self.formula.column_at(at_column);
        let (key_table, column) = self.formula.column_at(at_key);
        if key_table != table {
            return wrong(format!("rows of `{table}` are picked by one of its own columns"));
        }
        let Some(found) = self.scope.column(table, column) else {
            return wrong(format!("no column `{column}` in a table `{table}`"));
        };
        match value {
            Some(value) if value != found => {
                wrong(format!("this is {}, compared with {}", found.name(), value.name()))
            }
            _ => Ok(()),
        }
    }

    fn fold(
        &self,
        fold: Fold,
        at_column: &Range<usize>,
        at: &Range<usize>,
    ) -> Result<Type, FormulaError> {
        let (table, column) = self.formula.column_at(at_column);
        let Some(found) = self.scope.column(table, column) else {
            let full = self.formula.slice(at_column);
            let names = self.scope.names();
            let hint = suggestion(full, names.iter().map(String::as_str));
            return Err(FormulaError::new(
                at_column.clone(),
                format!("no column `{column}` in a table `{table}`{hint}"),
            ));
        };
        match (fold, found) {
            (Fold::Rows, _) => Ok(Type::Quantity(Dimension::NUMBER)),
            (Fold::Sum, Type::Quantity(dimension)) => dimension
                .plus(dimension)
                .map(Type::Quantity)
                .map_err(|error| FormulaError::new(at.clone(), error.to_string())),
            (_, Type::Quantity(dimension)) => Ok(Type::Quantity(dimension)),
            (_, other) => Err(FormulaError::new(
                at_column.clone(),
                format!("only `rows` works on {}; this takes quantities", other.name()),
            )),
        }
    }
}

/// The dimension that a builtin gives; evaluation asks here too.
pub(super) fn builtin_type(
    builtin: Builtin,
    first: Dimension,
    others: &[Dimension],
) -> Result<Dimension, MeasureError> {
    let refuse = |message: String| Err(MeasureError::Dimensions(message));
    match builtin {
        Builtin::Min | Builtin::Max => {
            others.iter().try_for_each(|other| first.compare(*other))?;
            Ok(first)
        }
        Builtin::Ceil | Builtin::Floor if first != Dimension::NUMBER => refuse(format!(
            "`{}` takes a plain number, not {}; round a quantity with `round_up_to(x, step)`",
            builtin.name(),
            first.name()
        )),
        Builtin::Ceil | Builtin::Floor => Ok(first),
        Builtin::Abs | Builtin::RoundTo | Builtin::RoundUpTo | Builtin::RoundDownTo
            if first.is_reading() =>
        {
            refuse(format!("`{}` does not work on a temperature", builtin.name()))
        }
        Builtin::RoundTo | Builtin::RoundUpTo | Builtin::RoundDownTo => {
            let step = others.first().copied().unwrap_or(Dimension::NUMBER);
            if step != first {
                return refuse(format!(
                    "`{}` needs a step that is {}, not {}",
                    builtin.name(),
                    first.name(),
                    step.name()
                ));
            }
            Ok(first)
        }
        Builtin::Abs => Ok(first),
        Builtin::Sqrt => first.root(),
    }
}

fn suggestion<'n>(name: &str, known: impl Iterator<Item = &'n str>) -> String {
    nearest(name, known).map_or_else(String::new, |near| format!("; did you mean `{near}`?"))
}

fn yes_no(found: Type, by: &str, at: &Range<usize>) -> Result<Type, FormulaError> {
    match found {
        Type::YesNo => Ok(Type::YesNo),
        other => Err(FormulaError::new(
            at.clone(),
            format!("{by} needs a yes or no, not {}; compare it with something", other.name()),
        )),
    }
}

fn both_quantities(
    left: Type,
    right: Type,
    at: &Range<usize>,
) -> Result<(Dimension, Dimension), FormulaError> {
    match (left, right) {
        (Type::Quantity(left), Type::Quantity(right)) => Ok((left, right)),
        (Type::Quantity(_), other) | (other, _) => {
            Err(FormulaError::new(at.clone(), format!("cannot compute with {}", other.name())))
        }
    }
}

fn comparable(
    comparison: Comparison,
    left: Type,
    right: Type,
    at: &Range<usize>,
) -> Result<(), FormulaError> {
    let wrong = |message: String| Err(FormulaError::new(at.clone(), message));
    match (left, right) {
        (Type::Quantity(left), Type::Quantity(right)) => {
            left.compare(right).map_err(|error| FormulaError::new(at.clone(), error.to_string()))
        }
        _ if left != right => {
            wrong(format!("cannot compare {} with {}", left.name(), right.name()))
        }
        _ if matches!(comparison, Comparison::Equal | Comparison::NotEqual) => Ok(()),
        _ => wrong(format!("{} is not more or less than another; use `==` or `!=`", left.name())),
    }
}
