//! What is known about one job: facts by name, rows of facts by table, figures
//! of the product profile. Where they came from is the entries' business.

use std::collections::BTreeMap;

use crate::measure::{Dimension, Quantity, Type, Value};

/// What a person is asked for, and so how the answer is read.
#[derive(Clone, Debug, PartialEq, Eq, Hash)]
pub enum FactKind {
    /// A length, kept in inches.
    Length,
    /// An area, kept in square inches.
    Area,
    /// Rise over run.
    Pitch,
    /// A whole number, never negative.
    Count,
    /// A pure number.
    Number,
    /// A thermometer reading.
    Temperature,
    /// A speed, kept in inches a second.
    Speed,
    /// Net free area per length of vent.
    FreeAreaPerLength,
    /// One of these words.
    Choice(Vec<String>),
    /// Yes or no.
    YesNo,
    /// Free text.
    Text,
}

impl FactKind {
    /// The word checklist files and entries use.
    #[must_use]
    pub fn word(&self) -> &'static str {
        match self {
            Self::Length => "length",
            Self::Area => "area",
            Self::Pitch => "pitch",
            Self::Count => "count",
            Self::Number => "number",
            Self::Temperature => "temperature",
            Self::Speed => "speed",
            Self::FreeAreaPerLength => "free-area-per-length",
            Self::Choice(_) => "choice",
            Self::YesNo => "yes-no",
            Self::Text => "text",
        }
    }

    /// The dimension of a quantity of this kind; none for words.
    #[must_use]
    pub fn dimension(&self) -> Option<Dimension> {
        Some(match self {
            Self::Length => Dimension::LENGTH,
            Self::Area => Dimension::AREA,
            Self::Pitch => Dimension::PITCH,
            Self::Count | Self::Number => Dimension::NUMBER,
            Self::Temperature => Dimension::TEMPERATURE,
            Self::Speed => Dimension::SPEED,
            Self::FreeAreaPerLength => Dimension::FREE_AREA_PER_LENGTH,
            Self::Choice(_) | Self::YesNo | Self::Text => return None,
        })
    }

    /// The type a formula sees.
    #[must_use]
    pub fn formula_type(&self) -> Type {
        match (self, self.dimension()) {
            (_, Some(dimension)) => Type::Quantity(dimension),
            (Self::YesNo, None) => Type::YesNo,
            (_, None) => Type::Text,
        }
    }

    /// Whether a value is of this kind, counts whole and not negative, choices
    /// among those offered.
    #[must_use]
    pub fn admits(&self, value: &Value) -> bool {
        match (self, value) {
            (Self::Choice(options), Value::Text(text)) => options.contains(text),
            (Self::Text, Value::Text(_)) | (Self::YesNo, Value::YesNo(_)) => true,
            (Self::Count, Value::Quantity(q)) => {
                q.dimension == Dimension::NUMBER && q.value.is_integer() && 0 <= q.value.numerator()
            }
            (kind, Value::Quantity(q)) => kind.dimension() == Some(q.dimension),
            _ => false,
        }
    }
}

/// The name of a fact: `pitch`, or `run.length` in a row counted from 1.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct FactName {
    /// As formulas write it.
    pub name: String,
    /// The row, counted from 1, where the name is of a table's column.
    pub row: Option<u32>,
}

/// Values by name and row, found without writing the name down once more: a
/// sheet looks up thousands. The rows of a name are in order.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) struct ByName<V>(BTreeMap<String, Vec<(FactName, V)>>);

impl<V> Default for ByName<V> {
    fn default() -> Self {
        Self(BTreeMap::new())
    }
}

impl<V> ByName<V> {
    pub(super) fn get(&self, name: &str, row: Option<u32>) -> Option<&V> {
        let rows = self.0.get(name)?;
        let at = rows.binary_search_by_key(&row, |(name, _)| name.row).ok()?;
        rows.get(at).map(|(_, value)| value)
    }

    /// Whether there is one of that name, in whatever row.
    pub(super) fn has(&self, name: &str) -> bool {
        self.0.contains_key(name)
    }

    /// The newest value stands.
    pub(super) fn insert(&mut self, name: FactName, value: V) {
        let rows = match self.0.get_mut(&name.name) {
            Some(rows) => rows,
            None => self.0.entry(name.name.clone()).or_default(),
        };
        match rows.binary_search_by_key(&name.row, |(name, _)| name.row) {
            Ok(at) => {
                if let Some((_, known)) = rows.get_mut(at) {
                    *known = value;
                }
            }
            Err(at) => rows.insert(at, (name, value)),
        }
    }

    /// All of them, by name and row.
    pub(super) fn iter(&self) -> impl Iterator<Item = (&FactName, &V)> {
        self.0.values().flatten().map(|(name, value)| (name, value))
    }
}

/// Facts known so far.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Facts {
    known: ByName<Value>,
}

impl Facts {
    /// The value, where known.
    #[must_use]
    pub fn get(&self, name: &str, row: Option<u32>) -> Option<&Value> {
        self.known.get(name, row)
    }

    /// Learns a fact; the newest value stands.
    pub fn set(&mut self, name: FactName, value: Value) {
        self.known.insert(name, value);
    }

    /// All of them, by name and row.
    pub fn iter(&self) -> impl Iterator<Item = (&FactName, &Value)> {
        self.known.iter()
    }

    /// A count fact as a number of rows.
    #[must_use]
    pub fn count(&self, name: &str) -> Option<u32> {
        match self.get(name, None)? {
            Value::Quantity(Quantity { value, .. }) if value.is_integer() => {
                u32::try_from(value.numerator()).ok()
            }
            _ => None,
        }
    }
}

/// The user's own figures for one maker's product, from its printed
/// instructions. Names are without the `profile.` that formulas write.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Profile {
    /// Identifier, lower case with hyphens.
    pub id: String,
    /// Version of the figures.
    pub version: super::Version,
    /// What the product is.
    pub title: String,
    /// The printed instruction the figures were read from.
    pub source: String,
    /// Whether the product exists only as an example.
    pub invented: bool,
    /// Name to kind and value.
    pub figures: BTreeMap<String, (FactKind, Value)>,
    /// SHA-256 of the file.
    pub hash: super::Hash,
}
