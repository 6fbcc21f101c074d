//! The id of a case: a safe file name on every system, sortable, and easy to say on the phone.

use std::fmt;

use super::error::StoreError;

/// Longest id accepted.
const LONGEST: usize = 64;
/// Names that some systems keep for devices, whatever ending follows.
const DEVICES: &[&str] = &["con", "prn", "aux", "nul"];

/// The id of a case.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct CaseId(String);

impl CaseId {
    /// Takes a text as an id if it makes a safe file name: lower-case letters, figures and inner hyphens.
    pub fn parse(text: &str) -> Result<Self, StoreError> {
        let edge = |c: char| c.is_ascii_lowercase() || c.is_ascii_digit();
        let port = ["com", "lpt"].iter().any(|p| text.strip_prefix(p).is_some_and(|n| n.len() == 1));
        let good = text.len() <= LONGEST
            && text.starts_with(edge)
            && text.ends_with(edge)
            && text.chars().all(|c| edge(c) || c == '-')
            && !port
            && !DEVICES.contains(&text);
        if good {
            return Ok(Self(text.to_owned()));
        }
        let clean: String = crate::diag::harmless(text).chars().take(LONGEST).collect();
        Err(StoreError::BadId(clean))
    }

    /// The `n`-th case of a day, as `2026-11-25-001`; ids of one day sort in order up to the 999th.
    pub fn of_day(day: jiff::civil::Date, n: usize) -> Self {
        Self(format!("{day}-{n:03}"))
    }

    /// The id as text.
    pub fn as_str(&self) -> &str {
        &self.0
    }
}

impl fmt::Display for CaseId {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.0)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn ids_never_lead_out_of_the_folder() {
        for good in ["2026-11-25-001", "a", "larkmoor-3", "1"] {
            assert!(CaseId::parse(good).is_ok(), "{good}");
        }
        let long = "a".repeat(65);
        for bad in [
            "", "..", "../a", "a/b", "a\\b", "/a", "a.b", "A", "-a", "a-", "ä", "a b", "nul", "com1", "a\0",
            &long,
        ] {
            assert!(CaseId::parse(bad).is_err(), "{bad}");
        }
        assert!(!CaseId::parse("\u{1b}[31mx").unwrap_err().to_string().contains('\u{1b}'));
    }
}
