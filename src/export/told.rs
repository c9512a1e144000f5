//! Members of a record whose words are made for a person. Another version of the
//! program may word the same thing otherwise, so the check of a sealed record has
//! to know them: each is a line of this list, and they are made here alone.

use crate::domain::Json;

macro_rules! told {
    ($($(#[$doc:meta])* $variant:ident = $name:literal,)*) => {
        /// A member with words made for a person.
        #[derive(Clone, Copy, Debug, PartialEq, Eq)]
        pub(super) enum Told {
            $($(#[$doc])* $variant,)*
        }

        impl Told {
            const ALL: &[Self] = &[$(Self::$variant),*];

            /// Its name.
            pub(super) fn name(self) -> &'static str {
                match self {
                    $(Self::$variant => $name,)*
                }
            }
        }
    };
}

told! {
    /// What stands in a line of a list or a table.
    Line = "line",
    /// Several of them.
    Lines = "lines",
    /// A value as a person reads it.
    Shown = "shown",
    /// What needs attention.
    Sentence = "sentence",
    /// What a step asked for.
    AskedFor = "asked_for",
    /// What confirmed an answer.
    ConfirmedShown = "confirmed_shown",
    /// How cautions were given.
    CautionsGiven = "cautions_given",
    /// Who accepted a deviation.
    AcceptedShown = "accepted_shown",
    /// What was asked for and found, who logged it, and whether it stands open.
    LoggedShown = "logged_shown",
    /// The same in a few words, with whether somebody accepted it.
    Briefly = "briefly",
    /// How and before which steps a caution was given.
    GivenBefore = "given_before",
    /// Where water came in.
    WaterShown = "water_shown",
    /// Who called.
    CallerShown = "caller_shown",
    /// What was found.
    FoundShown = "found_shown",
}

impl Told {
    /// Whether a member of that name is one of them.
    pub(super) fn is(name: &str) -> bool {
        Self::ALL.iter().any(|told| told.name() == name)
    }

    /// The member with these words.
    pub(super) fn member(self, words: String) -> (&'static str, Json) {
        (self.name(), Json::from(words))
    }

    /// Puts the member into an object that exists already.
    pub(super) fn put(self, json: &mut Json, words: String) {
        if let Json::Object(members) = json {
            members.insert(self.name(), Json::from(words));
        }
    }
}
