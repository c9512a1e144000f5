//! The members of a JSON object: sorted by name, each name once. Kept as one list,
//! since a record has many small objects that are read far more often than changed.

use ecow::EcoString;

use super::Json;

/// The name of a member. Short ones, as nearly all are, cost no allocation.
pub type Name = EcoString;

/// So many members are few.
const MOST_FEW: usize = 16;

/// Names and their values, in Rust's order of the names.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Members(Box<[(Name, Json)]>);

impl Members {
    /// How many there are.
    #[must_use]
    pub fn len(&self) -> usize {
        self.0.len()
    }

    /// Whether there are none.
    #[must_use]
    pub fn is_empty(&self) -> bool {
        self.0.is_empty()
    }

    /// Puts a member in its place and gives the value that had its name before.
    pub fn insert(&mut self, name: impl Into<Name>, value: Json) -> Option<Json> {
        let name = name.into();
        match self.place(&name) {
            Ok(at) => self.0.get_mut(at).map(|(_, there)| std::mem::replace(there, value)),
            Err(at) => {
                self.change(|members| members.insert(at, (name, value)));
                None
            }
        }
    }

    /// The value of that name.
    #[must_use]
    pub fn get(&self, name: &str) -> Option<&Json> {
        // Among few it is found sooner by its length than by halves.
        let at = match self.len() {
            0..=MOST_FEW => self.0.iter().position(|(there, _)| there == name)?,
            _ => self.place(name).ok()?,
        };
        self.0.get(at).map(|(_, value)| value)
    }

    /// The value of that name, to change it.
    pub fn get_mut(&mut self, name: &str) -> Option<&mut Json> {
        let at = self.place(name).ok()?;
        self.0.get_mut(at).map(|(_, value)| value)
    }

    /// Whether there is one of that name.
    #[must_use]
    pub fn contains_key(&self, name: &str) -> bool {
        self.get(name).is_some()
    }

    /// Takes the member of that name out.
    pub fn remove(&mut self, name: &str) -> Option<Json> {
        let at = self.place(name).ok()?;
        Some(self.change(|members| members.remove(at).1))
    }

    /// All of them, in order.
    pub fn iter(&self) -> impl ExactSizeIterator<Item = (&str, &Json)> + Clone {
        self.0.iter().map(|(name, value)| (name.as_str(), value))
    }

    /// Their names, in order.
    pub fn keys(&self) -> impl ExactSizeIterator<Item = &str> + Clone {
        self.0.iter().map(|(name, _)| name.as_str())
    }

    /// Their values, in order of the names.
    pub fn values(&self) -> impl ExactSizeIterator<Item = &Json> + Clone {
        self.0.iter().map(|(_, value)| value)
    }

    /// Their values, to change them.
    pub fn values_mut(&mut self) -> impl Iterator<Item = &mut Json> {
        self.0.iter_mut().map(|(_, value)| value)
    }

    /// Adds members or takes them away.
    fn change<T>(&mut self, change: impl FnOnce(&mut Vec<(Name, Json)>) -> T) -> T {
        let mut members = std::mem::take(&mut self.0).into_vec();
        let came = change(&mut members);
        self.0 = members.into();
        came
    }

    /// Where the member of that name stands, or would.
    fn place(&self, name: &str) -> Result<usize, usize> {
        self.0.binary_search_by(|(there, _)| there.as_str().cmp(name))
    }
}

/// Of two members of one name the later one counts.
impl<N: Into<Name>> FromIterator<(N, Json)> for Members {
    fn from_iter<I: IntoIterator<Item = (N, Json)>>(members: I) -> Self {
        let mut all: Vec<(Name, Json)> =
            members.into_iter().map(|(name, value)| (name.into(), value)).collect();
        // Most come in order.
        if !all.array_windows().all(|[(one, _), (next, _)]| one < next) {
            all.sort_by(|(a, _), (b, _)| a.cmp(b));
            all.dedup_by(|later, kept| {
                let same = later.0 == kept.0;
                if same {
                    std::mem::swap(later, kept);
                }
                same
            });
        }
        Self(all.into())
    }
}

impl<N: Into<Name>, const COUNT: usize> From<[(N, Json); COUNT]> for Members {
    fn from(members: [(N, Json); COUNT]) -> Self {
        members.into_iter().collect()
    }
}

/// Those that follow take the place of those that are there.
impl<N: Into<Name>> Extend<(N, Json)> for Members {
    fn extend<I: IntoIterator<Item = (N, Json)>>(&mut self, members: I) {
        let there = std::mem::take(self).into_iter();
        *self =
            there.chain(members.into_iter().map(|(name, value)| (name.into(), value))).collect();
    }
}

impl IntoIterator for Members {
    type Item = (Name, Json);
    type IntoIter = std::vec::IntoIter<(Name, Json)>;

    fn into_iter(self) -> Self::IntoIter {
        self.0.into_vec().into_iter()
    }
}
