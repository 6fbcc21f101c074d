//! Names of things: one newtype an idea, so that a check's id cannot stand where a cause's is wanted.
//!
//! An id is lower-case words joined by hyphens, at most 64 characters, and for entries it is the file's stem.

use std::fmt;

use serde::{Deserialize, Serialize};

/// Longest id accepted.
pub const LONGEST: usize = 64;

/// Whether a text has the form of an id: `a-z`, `0-9` and single hyphens, starting with a letter.
pub fn well_formed(text: &str) -> bool {
    text.len() <= LONGEST
        && text.starts_with(|c: char| c.is_ascii_lowercase())
        && !text.ends_with('-')
        && !text.contains("--")
        && text.chars().all(|c| c.is_ascii_lowercase() || c.is_ascii_digit() || c == '-')
}

/// The words of a text that an id can be made of: lower-case letters and figures.
pub fn words_of(text: &str) -> impl Iterator<Item = String> + '_ {
    let words = text.split(|c: char| !c.is_ascii_alphanumeric()).filter(|word| !word.is_empty());
    words.map(str::to_ascii_lowercase)
}

macro_rules! ids {
    ($($(#[$doc:meta])* $name:ident),+ $(,)?) => {$(
        $(#[$doc])*
        #[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
        #[serde(transparent)]
        pub struct $name(String);

        impl $name {
            /// Takes a name as it stands; whether it names anything is for the knowledge to say.
            pub fn new(text: impl Into<String>) -> Self {
                Self(text.into())
            }

            /// The name as text.
            pub fn as_str(&self) -> &str {
                &self.0
            }
        }

        impl fmt::Display for $name {
            fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                f.write_str(&self.0)
            }
        }

        impl From<&str> for $name {
            fn from(text: &str) -> Self {
                Self(text.to_owned())
            }
        }

        impl std::borrow::Borrow<str> for $name {
            fn borrow(&self) -> &str {
                &self.0
            }
        }
    )+};
}

ids! {
    /// A family of machines.
    MachineId,
    /// Something that happened before and raises some causes.
    CircumstanceId,
    /// Something wrong that can be put right.
    CauseId,
    /// A symptom or a condition: a true state of the machine.
    FindingId,
    /// A question, a measurement or a test.
    CheckId,
    /// One answer that a check can have.
    OutcomeId,
    /// What puts a cause right.
    RemedyId,
    /// A rule on what fills may weigh.
    RuleId,
    /// What a visit taught.
    LessonId,
    /// A hazard said plainly.
    CautionId,
    /// A place on a machine.
    PlaceId,
    /// An option that a machine may have fitted.
    OptionId,
    /// A setting of a machine.
    SettingId,
    /// A lamp or a reading of a machine.
    SignId,
    /// A tool or thing that a check needs.
    ToolId,
    /// A person in a case.
    PersonId,
    /// A checklist.
    ListId,
    /// An item of a checklist.
    ItemId,
}

/// The names nearest to a mistyped one, best first, at most three.
pub fn nearest<'a>(wanted: &str, known: impl IntoIterator<Item = &'a str>) -> Vec<&'a str> {
    let wanted: String = wanted.chars().take(LONGEST).collect();
    let limit = (wanted.chars().count() / 3).max(2);
    let mut near: Vec<(usize, &str)> = known
        .into_iter()
        .map(|name| (strsim::damerau_levenshtein(&wanted, name), name))
        .filter(|(distance, name)| *distance <= limit || (wanted.len() > 3 && name.contains(wanted.as_str())))
        .collect();
    near.sort_unstable();
    near.dedup();
    near.into_iter().take(3).map(|(_, name)| name).collect()
}

/// 'did you mean …?' or nothing.
pub fn did_you_mean<'a>(wanted: &str, known: impl IntoIterator<Item = &'a str>) -> Option<String> {
    let near = nearest(wanted, known);
    (!near.is_empty()).then(|| format!("did you mean {}?", near.join(" or ")))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn ids_are_lower_case_words_joined_by_hyphens() {
        for good in ["a", "fills-steadily-light", "m4", "step-2"] {
            assert!(well_formed(good), "{good}");
        }
        for bad in ["", "A", "-a", "a-", "a--b", "a b", "ä", "../a", "4m", &"a".repeat(65)] {
            assert!(!well_formed(bad), "{bad}");
        }
    }

    #[test]
    fn a_slip_of_the_finger_finds_its_name() {
        let known = ["fills-steadily-light", "fills-steadily-heavy", "draught"];
        assert_eq!(nearest("fills-stedily-light", known)[0], "fills-steadily-light");
        assert_eq!(nearest("drauht", known), ["draught"]);
        assert!(nearest("zzz", known).is_empty());
    }
}
