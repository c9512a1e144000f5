//! Computes a formula: the steps run on values. A value that is not known yet
//! goes through as `None`, so that all the missing names are found in one go.

use std::cmp::Ordering;
use std::ops::Range;

use super::super::{Dimension, MeasureError, Quantity, Ratio, Rounding};
use super::check::builtin_type;
use super::{
    Builtin, Comparison, EvalError, Fold, Formula, Function, Functions, Op, Type, Value, Values,
};

impl Formula {
    /// The value, exactly. Only the chosen branch of an `if` and the sides of
    /// `and` and `or` that decide need their names.
    ///
    /// # Errors
    /// When names are not known yet (all of them), or there is no exact result.
    pub fn eval(&self, values: &dyn Values, functions: &Functions) -> Result<Value, EvalError> {
        let mut machine = Machine {
            formula: self,
            values,
            functions,
            stack: Vec::with_capacity(8),
            missing: Vec::new(),
        };
        let mut next = 0;
        while let Some(step) = self.steps.get(next) {
            next = machine
                .step(&step.op, &step.at, next + 1)
                .map_err(|message| EvalError::Cannot { at: step.at.clone(), message })?;
        }
        match machine.stack.pop().flatten() {
            Some(value) if machine.missing.is_empty() => Ok(value),
            _ => Err(EvalError::Missing(machine.missing)),
        }
    }
}

struct Machine<'m> {
    formula: &'m Formula,
    values: &'m dyn Values,
    functions: &'m Functions,
    stack: Vec<Option<Value>>,
    missing: Vec<String>,
}

impl Machine<'_> {
    fn pop(&mut self) -> Option<Value> {
        self.stack.pop().flatten()
    }

    fn miss(&mut self, name: &str) {
        if !self.missing.iter().any(|known| known == name) {
            self.missing.push(name.to_owned());
        }
    }

    /// Runs one step and says which one is next.
    fn step(&mut self, op: &Op, at: &Range<usize>, next: usize) -> Result<usize, String> {
        let value = match op {
            Op::Push(value) => Some(value.clone()),
            Op::Load => {
                let name = self.formula.slice(at);
                let value = self.values.value(name);
                if value.is_none() {
                    self.miss(name);
                }
                value
            }
            Op::Negate => self.pop().map(|value| negated(&value)).transpose()?,
            Op::Not => self.pop().map(|v| yes_no(&v).map(|yes| Value::YesNo(!yes))).transpose()?,
            Op::Add => self.arithmetic(Quantity::plus)?,
            Op::Subtract => self.arithmetic(Quantity::minus)?,
            Op::Multiply => self.arithmetic(Quantity::times)?,
            Op::Divide => self.arithmetic(Quantity::over)?,
            Op::Compare(comparison) => match (self.pop(), self.pop()) {
                (Some(right), Some(left)) => Some(Value::YesNo(holds(*comparison, &left, &right)?)),
                _ => None,
            },
            Op::AndElse(end) | Op::OrElse(end) => {
                let decided_by = matches!(op, Op::OrElse(_));
                let decided = match self.stack.last() {
                    Some(Some(left)) => yes_no(left)? == decided_by,
                    _ => false,
                };
                return Ok(if decided { *end } else { next });
            }
            // The left side did not decide, so the right side does.
            Op::And | Op::Or => match (self.pop(), self.pop()) {
                (Some(right), Some(_)) => Some(Value::YesNo(yes_no(&right)?)),
                _ => None,
            },
            Op::If { other, end } => match self.pop() {
                Some(value) => return Ok(if yes_no(&value)? { next } else { *other }),
                None => {
                    self.stack.push(None);
                    return Ok(*end);
                }
            },
            Op::Jump(end) => return Ok(*end),
            Op::Merge => return Ok(next),
            Op::Builtin(builtin, count) => {
                self.taken(*count)?.map(|values| run_builtin(*builtin, &values)).transpose()?
            }
            Op::Call(count) => {
                let name = self.formula.slice(at);
                let function = self.functions.find(name);
                let function = function.ok_or_else(|| format!("no function named `{name}`"))?;
                self.taken(*count)?.map(|values| run_function(function, &values)).transpose()?
            }
            Op::Fold(fold, column, None) => {
                let (table, name) = self.formula.column_at(column);
                self.fold(*fold, column, self.values.column(table, name))?
            }
            Op::Fold(fold, column, Some(key)) => match self.pop() {
                Some(value) => self.fold(*fold, column, self.picked(column, key, &value))?,
                None => None,
            },
        };
        self.stack.push(value);
        Ok(next)
    }

    fn arithmetic(
        &mut self,
        run: fn(Quantity, Quantity) -> Result<Quantity, MeasureError>,
    ) -> Result<Option<Value>, String> {
        let (Some(right), Some(left)) = (self.pop(), self.pop()) else { return Ok(None) };
        let result = run(quantity(&left)?, quantity(&right)?).map_err(|error| error.to_string())?;
        Ok(Some(Value::Quantity(result)))
    }

    /// The last `count` values in the order they were written, if all are known.
    fn taken(&mut self, count: usize) -> Result<Option<Vec<Quantity>>, String> {
        let values = self.stack.split_off(self.stack.len().saturating_sub(count));
        values
            .iter()
            .map(|value| value.as_ref().map(quantity).transpose())
            .collect::<Result<Option<Vec<Quantity>>, String>>()
    }

    /// The values of a column in the rows where another one has this value.
    fn picked(&self, at: &Range<usize>, key: &Range<usize>, value: &Value) -> Option<Vec<Value>> {
        let (table, column) = self.formula.column_at(at);
        let (_, key) = self.formula.column_at(key);
        let keys = self.values.column(table, key)?;
        let rows = self.values.column(table, column)?.into_iter().zip(keys);
        Some(rows.filter(|(_, key)| key == value).map(|(row, _)| row).collect())
    }

    fn fold(
        &mut self,
        fold: Fold,
        at: &Range<usize>,
        rows: Option<Vec<Value>>,
    ) -> Result<Option<Value>, String> {
        let (table, column) = self.formula.column_at(at);
        let Some(rows) = rows else {
            self.miss(self.formula.slice(at));
            return Ok(None);
        };
        if fold == Fold::Rows {
            let count = i64::try_from(rows.len()).map_err(|error| error.to_string())?;
            return Ok(Some(Value::Quantity(Quantity::count(count))));
        }
        let mut rows = rows.iter();
        let Some(first) = rows.next() else {
            let zero = match self.values.column_type(table, column) {
                Some(Type::Quantity(dimension)) if fold == Fold::Sum => {
                    Some(Value::Quantity(Quantity::new(Ratio::ZERO, dimension)))
                }
                _ => None,
            };
            if zero.is_none() {
                self.miss(self.formula.slice(at));
            }
            return Ok(zero);
        };
        let mut result = quantity(first)?;
        for row in rows {
            let row = quantity(row)?;
            let fail = |error: MeasureError| error.to_string();
            result = match fold {
                Fold::Sum => result.plus(row).map_err(fail)?,
                _ => {
                    let less = row.compare(&result).map_err(fail)? == Ordering::Less;
                    if less == (fold == Fold::Least) { row } else { result }
                }
            };
        }
        Ok(Some(Value::Quantity(result)))
    }
}

fn quantity(value: &Value) -> Result<Quantity, String> {
    match value {
        Value::Quantity(quantity) => Ok(*quantity),
        other => Err(format!("cannot compute with {}", other.type_of().name())),
    }
}

fn yes_no(value: &Value) -> Result<bool, String> {
    match value {
        Value::YesNo(yes) => Ok(*yes),
        other => Err(format!("a yes or no is needed, not {}", other.type_of().name())),
    }
}

fn negated(value: &Value) -> Result<Value, String> {
    let quantity = quantity(value)?;
    if quantity.dimension.is_reading() {
        return Err("cannot change the sign of a temperature".to_owned());
    }
    Ok(Value::Quantity(Quantity::new(quantity.value.neg(), quantity.dimension)))
}

fn holds(comparison: Comparison, left: &Value, right: &Value) -> Result<bool, String> {
    let order = match (left, right) {
        (Value::Quantity(left), Value::Quantity(right)) => {
            left.compare(right).map_err(|error| error.to_string())?
        }
        (Value::YesNo(left), Value::YesNo(right)) => left.cmp(right),
        (Value::Text(left), Value::Text(right)) => left.cmp(right),
        _ => {
            return Err(format!(
                "cannot compare {} with {}",
                left.type_of().name(),
                right.type_of().name()
            ));
        }
    };
    Ok(match comparison {
        Comparison::Less => order.is_lt(),
        Comparison::LessOrEqual => order.is_le(),
        Comparison::Greater => order.is_gt(),
        Comparison::GreaterOrEqual => order.is_ge(),
        Comparison::Equal => order.is_eq(),
        Comparison::NotEqual => order.is_ne(),
    })
}

fn run_builtin(builtin: Builtin, values: &[Quantity]) -> Result<Value, String> {
    compute_builtin(builtin, values).map(Value::Quantity).map_err(|error| error.to_string())
}

fn compute_builtin(builtin: Builtin, values: &[Quantity]) -> Result<Quantity, MeasureError> {
    let Some((first, others)) = values.split_first() else {
        return Err(MeasureError::NotPossible("a value is missing".to_owned()));
    };
    let dimensions: Vec<Dimension> = others.iter().map(|other| other.dimension).collect();
    let dimension = builtin_type(builtin, first.dimension, &dimensions)?;
    let step = others.first().map_or(Ratio::ONE, |step| step.value);
    let all = values.iter().map(|value| value.value);
    let value = match builtin {
        Builtin::Min => all.min().unwrap_or(first.value),
        Builtin::Max => all.max().unwrap_or(first.value),
        Builtin::Ceil | Builtin::RoundUpTo => first.value.round_to(step, Rounding::Up)?,
        Builtin::Floor | Builtin::RoundDownTo => first.value.round_to(step, Rounding::Down)?,
        Builtin::RoundTo => first.value.round_to(step, Rounding::Nearest)?,
        Builtin::Abs => first.value.abs(),
        Builtin::Sqrt => first.value.sqrt()?,
    };
    Ok(Quantity::new(value, dimension))
}

fn run_function(function: &Function, values: &[Quantity]) -> Result<Value, String> {
    let name = function.name;
    if values.len() != function.takes.len() {
        return Err(format!("`{name}` takes {} value(s)", function.takes.len()));
    }
    for (value, takes) in values.iter().zip(function.takes) {
        if value.dimension != *takes {
            return Err(format!("`{name}` needs {}, not {}", takes.name(), value.dimension.name()));
        }
    }
    (function.run)(values).map(Value::Quantity).map_err(|error| format!("`{name}`: {error}"))
}
