//! Who signs in to the pages, in which roles, and what each role may do. How
//! somebody proves who he is is not here.

use std::collections::BTreeSet;
use std::fmt;
use std::str::FromStr;

/// What somebody is to the company. A person may be several.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Role {
    /// Walks checklists.
    Installer,
    /// Reads the day log, releases hold points, accepts deviations.
    Foreman,
    /// Takes leak calls.
    Desk,
    /// Looks after checklists, profiles and people.
    Office,
}

impl Role {
    /// All of them, in the order they are shown.
    pub const ALL: [Self; 4] = [Self::Installer, Self::Foreman, Self::Desk, Self::Office];

    /// The word that jobs and the log use.
    #[must_use]
    pub fn word(self) -> &'static str {
        match self {
            Self::Installer => "installer",
            Self::Foreman => "foreman",
            Self::Desk => "desk",
            Self::Office => "office",
        }
    }
}

/// What can be done on the pages.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Right {
    /// Read jobs, sheets and records.
    Read,
    /// Walk a checklist, add notes and photos.
    Walk,
    /// Read the day log; release and accept, where the job names the person.
    Foreman,
    /// Open, plan and close leak calls.
    Desk,
    /// Adopt versions; invite people and end their sign-ins.
    Office,
}

impl Right {
    /// Who has it.
    #[must_use]
    pub fn roles(self) -> &'static [Role] {
        match self {
            Self::Read => &Role::ALL,
            Self::Walk => &[Role::Installer, Role::Foreman],
            Self::Foreman => &[Role::Foreman, Role::Office],
            Self::Desk => &[Role::Desk, Role::Foreman, Role::Office],
            Self::Office => &[Role::Office],
        }
    }
}

/// The roles of one person: at least one.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Roles(BTreeSet<Role>);

/// No role, or a word that is none.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("`{0}` is not one or more of installer, foreman, desk, office")]
pub struct NoRoles(String);

impl Roles {
    /// These; none where there are none.
    pub fn new(roles: impl IntoIterator<Item = Role>) -> Option<Self> {
        let roles: BTreeSet<Role> = roles.into_iter().collect();
        (!roles.is_empty()).then_some(Self(roles))
    }

    /// Every role.
    #[must_use]
    pub fn all() -> Self {
        Self(BTreeSet::from(Role::ALL))
    }

    /// Whether one of them has the right.
    #[must_use]
    pub fn may(&self, right: Right) -> bool {
        right.roles().iter().any(|role| self.0.contains(role))
    }

    /// In the order they are shown.
    pub fn iter(&self) -> impl Iterator<Item = Role> {
        self.0.iter().copied()
    }
}

impl fmt::Display for Roles {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        for (at, role) in self.iter().enumerate() {
            write!(f, "{}{}", if at == 0 { "" } else { " " }, role.word())?;
        }
        Ok(())
    }
}

impl FromStr for Roles {
    type Err = NoRoles;

    fn from_str(text: &str) -> Result<Self, NoRoles> {
        let role = |word: &str| Role::ALL.into_iter().find(|role| role.word() == word);
        let roles: Option<Vec<Role>> = text.split_whitespace().map(role).collect();
        roles.and_then(Self::new).ok_or_else(|| NoRoles(text.to_owned()))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_role_may_what_it_is_for() {
        let of = |text: &str| text.parse::<Roles>().unwrap();
        assert!(of("installer").may(Right::Walk) && !of("installer").may(Right::Foreman));
        assert!(!of("installer").may(Right::Desk) && !of("installer").may(Right::Office));
        assert!(of("foreman").may(Right::Foreman) && !of("foreman").may(Right::Office));
        assert!(of("desk").may(Right::Desk) && !of("desk").may(Right::Walk));
        assert!(!of("desk").may(Right::Foreman));
        assert!(of("office").may(Right::Office) && !of("office").may(Right::Walk));
        assert!(Role::ALL.iter().all(|role| of(role.word()).may(Right::Read)));
    }

    #[test]
    fn roles_read_back() {
        assert_eq!("office  installer".parse::<Roles>().unwrap().to_string(), "installer office");
        assert_eq!(Roles::all().to_string().parse(), Ok(Roles::all()));
        for wrong in ["", " ", "boss", "installer, foreman"] {
            assert_eq!(wrong.parse::<Roles>(), Err(NoRoles(wrong.to_owned())));
        }
    }
}
