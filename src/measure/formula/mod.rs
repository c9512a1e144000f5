//! Formulas: text in, a checked type and an exact value out.
//!
//! A formula is parsed once into a list of steps for a small stack machine, so
//! neither checking, evaluating nor dropping one recurses. There are no loops
//! and no user functions: every formula ends.

mod check;
mod eval;
mod lexer;
mod order;
mod parser;

use std::ops::Range;

use super::{Dimension, MeasureError, Quantity, RowFunction};

pub use order::in_order;

/// The longest formula, in bytes.
const LONGEST: usize = 2000;
/// The deepest nesting of brackets, calls, `if` and signs.
const DEEPEST: usize = 32;

/// What a formula gives.
#[derive(Clone, Copy, PartialEq, Eq, Hash, Debug)]
pub enum Type {
    /// A quantity of this dimension.
    Quantity(Dimension),
    /// A yes or a no.
    YesNo,
    /// A text, such as a choice.
    Text,
}

impl Type {
    /// The name with its article: "a length", "a yes or no", "a text".
    pub fn name(self) -> String {
        match self {
            Self::Quantity(dimension) => dimension.name(),
            Self::YesNo => "a yes or no".to_owned(),
            Self::Text => "a text".to_owned(),
        }
    }
}

/// What a formula was computed to be, or what a name stands for.
#[derive(Clone, PartialEq, Eq, Debug)]
pub enum Value {
    /// A quantity.
    Quantity(Quantity),
    /// A yes or a no.
    YesNo(bool),
    /// A text, such as a choice.
    Text(String),
}

impl Value {
    /// The type of the value.
    pub fn type_of(&self) -> Type {
        match self {
            Self::Quantity(quantity) => Type::Quantity(quantity.dimension),
            Self::YesNo(_) => Type::YesNo,
            Self::Text(_) => Type::Text,
        }
    }
}

/// What is wrong with a formula, and which bytes of it are.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("{message}")]
pub struct FormulaError {
    /// The bytes of the formula that are wrong.
    pub at: Range<usize>,
    /// What is wrong and what to write, in plain words.
    pub message: String,
}

/// Why a formula has no value.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum EvalError {
    /// Names that are not known yet, each once, in the order of the formula.
    #[error("not known yet: {}", .0.join(", "))]
    Missing(Vec<String>),
    /// No exact result, such as after a division by zero.
    #[error("{message}")]
    Cannot {
        /// The bytes of the formula that failed.
        at: Range<usize>,
        /// Why, in plain words.
        message: String,
    },
}

/// The types of the names that a formula may use.
pub trait Scope {
    /// The type of a fact or measure.
    fn type_of(&self, name: &str) -> Option<Type>;
    /// The type of a column of a table.
    fn column(&self, table: &str, column: &str) -> Option<Type>;
    /// All names, for suggestions.
    fn names(&self) -> Vec<String>;
}

/// The values of the names that a formula uses; `None` means not known yet.
pub trait Values {
    /// The value of a fact or measure.
    fn value(&self, name: &str) -> Option<Value>;
    /// One value for each row of a table.
    fn column(&self, table: &str, column: &str) -> Option<Vec<Value>>;
    /// The type of a column, which makes the sum of no rows a zero. Without it
    /// such a sum counts as not known yet.
    fn column_type(&self, _table: &str, _column: &str) -> Option<Type> {
        None
    }
}

/// The trade functions that a formula may call.
#[derive(Clone, Debug, Default)]
pub struct Functions {
    single: Vec<Function>,
    rows: Vec<RowFunction>,
}

/// One trade function.
#[derive(Clone, Debug)]
pub struct Function {
    /// The name in formulas.
    pub name: &'static str,
    /// The dimensions of the values it takes.
    pub takes: &'static [Dimension],
    /// The dimension of its result.
    pub gives: Dimension,
    /// Computes the result; called only with as many values as it takes, each
    /// of its dimension.
    pub run: fn(&[Quantity]) -> Result<Quantity, MeasureError>,
}

impl Functions {
    /// No functions.
    pub fn new() -> Self {
        Self::default()
    }

    /// The same functions and one more.
    #[must_use]
    pub fn with(mut self, function: Function) -> Self {
        self.single.push(function);
        self
    }

    /// The same functions and one more that gives rows.
    #[must_use]
    pub fn with_rows(mut self, function: RowFunction) -> Self {
        self.rows.push(function);
        self
    }

    /// The function of this name that gives rows.
    #[must_use]
    pub fn rows(&self, name: &str) -> Option<&RowFunction> {
        self.rows.iter().find(|function| function.name == name)
    }

    /// The names of the functions that give rows.
    pub fn row_names(&self) -> impl Iterator<Item = &'static str> {
        self.rows.iter().map(|function| function.name)
    }

    /// The names of the functions.
    pub fn names(&self) -> impl Iterator<Item = &'static str> {
        self.single.iter().map(|function| function.name)
    }

    fn find(&self, name: &str) -> Option<&Function> {
        self.single.iter().find(|function| function.name == name)
    }
}

/// A formula that has been read.
#[derive(Clone, Debug)]
pub struct Formula {
    text: String,
    steps: Vec<Step>,
}

/// One step of the stack machine and the bytes it was read from.
#[derive(Clone, Debug)]
struct Step {
    op: Op,
    at: Range<usize>,
}

#[derive(Clone, Debug)]
enum Op {
    Push(Value),
    /// Pushes the value of the name at `Step::at`.
    Load,
    Negate,
    Not,
    Add,
    Subtract,
    Multiply,
    Divide,
    Compare(Comparison),
    /// Looks at the left side; jumps past the matching `And` when it is no.
    AndElse(usize),
    And,
    /// Looks at the left side; jumps past the matching `Or` when it is yes.
    OrElse(usize),
    Or,
    /// Takes the condition; jumps to `other` on no, and to `end` when not known.
    If {
        other: usize,
        end: usize,
    },
    Jump(usize),
    /// The end of both branches of an `if`; only checking stops here.
    Merge,
    Builtin(Builtin, usize),
    /// Calls the trade function named at `Step::at` with so many values.
    Call(usize),
    /// Folds the column whose full name stands at these bytes; with a second
    /// column only the rows where that one equals the value on top.
    Fold(Fold, Range<usize>, Option<Range<usize>>),
}

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Comparison {
    Less,
    LessOrEqual,
    Greater,
    GreaterOrEqual,
    Equal,
    NotEqual,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Builtin {
    Min,
    Max,
    Ceil,
    Floor,
    RoundTo,
    RoundUpTo,
    RoundDownTo,
    Abs,
    Sqrt,
}

const BUILTINS: [(&str, Builtin); 9] = [
    ("min", Builtin::Min),
    ("max", Builtin::Max),
    ("ceil", Builtin::Ceil),
    ("floor", Builtin::Floor),
    ("round_to", Builtin::RoundTo),
    ("round_up_to", Builtin::RoundUpTo),
    ("round_down_to", Builtin::RoundDownTo),
    ("abs", Builtin::Abs),
    ("sqrt", Builtin::Sqrt),
];

impl Builtin {
    fn named(name: &str) -> Option<Self> {
        BUILTINS.iter().find(|(known, _)| *known == name).map(|(_, builtin)| *builtin)
    }

    fn name(self) -> &'static str {
        BUILTINS.iter().find(|(_, builtin)| *builtin == self).map_or("", |(name, _)| name)
    }
}

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Fold {
    Sum,
    Least,
    Greatest,
    Rows,
}

const FOLDS: [(&str, Fold); 4] = [
    ("sum", Fold::Sum),
    ("least", Fold::Least),
    ("greatest", Fold::Greatest),
    ("rows", Fold::Rows),
];

impl Fold {
    fn named(name: &str) -> Option<Self> {
        FOLDS.iter().find(|(known, _)| *known == name).map(|(_, fold)| *fold)
    }
}

impl Formula {
    /// The text the formula was read from.
    pub fn text(&self) -> &str {
        &self.text
    }

    /// The names of facts and measures used, with their bytes; a name used
    /// twice comes twice. Columns inside table folds are not among them.
    pub fn names(&self) -> impl Iterator<Item = (&str, Range<usize>)> {
        self.steps
            .iter()
            .filter(|step| matches!(step.op, Op::Load))
            .map(|step| (self.slice(&step.at), step.at.clone()))
    }

    /// The columns used in table folds, as `(table, column, bytes)`.
    pub fn columns(&self) -> impl Iterator<Item = (&str, &str, Range<usize>)> {
        let folds = self.steps.iter().filter_map(|step| match &step.op {
            Op::Fold(_, column, key) => Some([Some(column), key.as_ref()]),
            _ => None,
        });
        folds.flatten().flatten().map(|at| {
            let (table, column) = self.column_at(at);
            (table, column, at.clone())
        })
    }

    /// The texts it may come out as; those it only compares with are not among
    /// them.
    pub fn result_texts(&self) -> impl Iterator<Item = &str> {
        let compares =
            |at: usize| matches!(self.steps.get(at), Some(Step { op: Op::Compare(_), .. }));
        let loads = |at: usize| matches!(self.steps.get(at), Some(Step { op: Op::Load, .. }));
        self.steps.iter().enumerate().filter_map(move |(at, step)| match &step.op {
            Op::Push(Value::Text(text))
                if !(compares(at + 1) || loads(at + 1) && compares(at + 2)) =>
            {
                Some(text.as_str())
            }
            _ => None,
        })
    }

    /// Everything it uses: names, and columns as `table.column`.
    #[must_use]
    pub fn uses(&self) -> Vec<String> {
        let names = self.names().map(|(name, _)| name.to_owned());
        names.chain(self.columns().map(|(table, column, _)| format!("{table}.{column}"))).collect()
    }

    fn slice(&self, at: &Range<usize>) -> &str {
        self.text.get(at.clone()).unwrap_or("")
    }

    fn column_at(&self, at: &Range<usize>) -> (&str, &str) {
        self.slice(at).rsplit_once('.').unwrap_or((self.slice(at), ""))
    }
}

impl FormulaError {
    fn new(at: Range<usize>, message: impl Into<String>) -> Self {
        Self { at, message: message.into() }
    }
}

/// The known name most like `name`, when it is near enough to be a slip.
fn nearest<'n>(name: &str, known: impl Iterator<Item = &'n str>) -> Option<&'n str> {
    let limit = 1 + name.len() / 5;
    known
        .filter(|other| other.len().abs_diff(name.len()) <= limit)
        .map(|other| (distance(name.as_bytes(), other.as_bytes()), other))
        .filter(|(distance, _)| *distance <= limit)
        .min()
        .map(|(_, other)| other)
}

/// How many letters to add, drop, change or swap with a neighbour.
fn distance(a: &[u8], b: &[u8]) -> usize {
    let mut before: Vec<usize> = Vec::new();
    let mut row: Vec<usize> = (0..=b.len()).collect();
    let cell = |row: &[usize], i: usize| row.get(i).copied().unwrap_or(usize::MAX / 2);
    for (i, letter) in a.iter().enumerate() {
        let mut next = vec![i + 1];
        for (j, other) in b.iter().enumerate() {
            let mut best = (cell(&row, j) + usize::from(letter != other))
                .min(cell(&row, j + 1) + 1)
                .min(cell(&next, j) + 1);
            let swapped =
                0 < i && 0 < j && a.get(i - 1) == Some(other) && b.get(j - 1) == Some(letter);
            if swapped {
                best = best.min(cell(&before, j - 1) + 1);
            }
            next.push(best);
        }
        before = std::mem::replace(&mut row, next);
    }
    row.last().copied().unwrap_or(0)
}
