//! The chain of sums: each line of a record ends in a sum over itself and the sum of the line before. A line that was
//! changed, taken out or put in no longer fits. This shows accident, not forgery: whoever wants to can work the sums
//! out anew.

use std::hash::Hasher;

/// What stands between a line's own words and its sum.
const MARK: &str = ",\"sum\":\"";
/// Hexadecimal digits of a sum (FNV-1a, 64 bits).
const DIGITS: usize = 16;

/// The sum of a line's own words, given the sum before.
fn sum(before: &str, own: &str) -> String {
    let mut hasher = fnv::FnvHasher::default();
    hasher.write(before.as_bytes());
    hasher.write(own.as_bytes());
    format!("{:016x}", hasher.finish())
}

/// A JSON object with its sum as last key, and the sum.
pub(super) fn sealed(before: &str, object: &str) -> (String, String) {
    let own = object.strip_suffix('}').unwrap_or(object);
    let sum = sum(before, own);
    (format!("{own}{MARK}{sum}\"}}"), sum)
}

/// A line taken apart: the sum that it bears, and whether it is the one that its words and the line before give.
pub(super) fn opened(before: &str, line: &str) -> Option<(String, bool)> {
    let inner = line.strip_suffix("\"}")?;
    let at = inner.len().checked_sub(DIGITS)?;
    let (own, borne) = (inner.get(..at)?.strip_suffix(MARK)?, inner.get(at..)?);
    borne.chars().all(|c| c.is_ascii_hexdigit()).then(|| (borne.to_owned(), borne == sum(before, own)))
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn a_sealed_line_is_still_an_object_and_opens_again() {
        let (line, sum) = sealed("", r#"{"n":1}"#);
        assert_eq!(serde_json::from_str::<serde_json::Value>(&line).unwrap()["sum"], sum.as_str());
        assert_eq!(opened("", &line), Some((sum.clone(), true)));
        assert_eq!(opened("other", &line), Some((sum, false)));
        assert_eq!(opened("", r#"{"n":1}"#), None);
    }

    proptest! {
        #[test]
        fn any_letter_changed_shows(text in "[a-z ]{1,40}", place in 0usize..60, letter in "[A-Z]") {
            let object = format!("{{\"text\":\"{text}\"}}");
            let (line, _) = sealed("0123456789abcdef", &object);
            let place = place % object.len();
            let mut changed = line.clone();
            changed.replace_range(place..=place, &letter);
            prop_assert!(opened("0123456789abcdef", &changed).is_none_or(|(_, fits)| !fits));
        }
    }
}
