//! The only place that inflects words and rounds numbers for people.

use crate::safety::Exposure;
use crate::units::Unit;
use crate::walk::UNLIKELY;
use crate::weights::Pattern;

/// '1 fill', '3 fills', 'no fills'.
pub fn count(n: usize, one: &str, many: &str) -> String {
    match n {
        0 => format!("no {many}"),
        1 => format!("1 {one}"),
        _ => format!("{n} {many}"),
    }
}

/// 'a', 'a and b', 'a, b and c'.
pub fn and<S: AsRef<str>>(items: &[S]) -> String {
    listed(items, "and")
}

/// 'a', 'a or b', 'a, b or c'.
pub fn or<S: AsRef<str>>(items: &[S]) -> String {
    listed(items, "or")
}

fn listed<S: AsRef<str>>(items: &[S], joint: &str) -> String {
    match items {
        [] => String::new(),
        [one] => one.as_ref().to_owned(),
        [first @ .., last] => {
            let first: Vec<&str> = first.iter().map(AsRef::as_ref).collect();
            format!("{} {joint} {}", first.join(", "), last.as_ref())
        }
    }
}

/// 'under a minute', 'about 4 minutes', 'about 1½ hours', 'about 3 days'.
pub fn minutes(minutes: f64) -> String {
    let halves = |n: f64| (n * 2.0).round() / 2.0;
    let about = |n: f64, one: &str, many: &str| {
        let whole = n.trunc() as u64;
        match (whole, n.fract() > 0.0) {
            (1, false) => format!("about {one}"),
            (_, false) => format!("about {whole} {many}"),
            (0, true) => format!("about half {one}"),
            (_, true) => format!("about {whole}½ {many}"),
        }
    };
    if minutes < 0.75 {
        "under a minute".to_owned()
    } else if minutes < 10.0 {
        about(minutes.round(), "a minute", "minutes")
    } else if minutes < 57.5 {
        about((minutes / 5.0).round() * 5.0, "a minute", "minutes")
    } else if minutes < 60.0 * 36.0 {
        about(halves(minutes / 60.0), "an hour", "hours")
    } else {
        about(halves(minutes / 1440.0), "a day", "days")
    }
}

/// 'about 6 in 10 calls like this'; under 1 in 20 'unlikely'.
pub fn likelihood(probability: f64) -> String {
    let short = likely(probability);
    if short.starts_with("about") { format!("{short} calls like this") } else { short }
}

/// 'about 6 in 10', 'nearly certain', 'unlikely': for beside a bar.
pub fn likely(probability: f64) -> String {
    if probability < UNLIKELY {
        "unlikely".to_owned()
    } else if probability < 0.075 {
        "about 1 in 20".to_owned()
    } else if probability < 0.95 {
        format!("about {} in 10", (probability * 10.0).round().clamp(1.0, 9.0))
    } else {
        "nearly certain".to_owned()
    }
}

/// A number as a person would say it: to the step of the instrument if known, else to three digits.
pub fn rounded(value: f64, step: Option<f64>) -> String {
    if !value.is_finite() {
        return "not measured".to_owned();
    }
    let places = match step {
        Some(step) if step > 0.0 => places_of(step),
        _ if value == 0.0 => 0,
        _ => (2 - value.abs().log10().floor() as i32).clamp(0, 6) as usize,
    };
    let text = format!("{value:.places$}");
    let text = if step.is_none() && text.contains('.') {
        text.trim_end_matches('0').trim_end_matches('.').to_owned()
    } else {
        text
    };
    if text.trim_start_matches('-').chars().all(|c| c == '0' || c == '.') {
        text.trim_start_matches('-').to_owned()
    } else {
        text.replace('-', "\u{2212}")
    }
}

/// Decimals that a step needs: 0.1 needs one, 0.25 two, 5 none.
fn places_of(step: f64) -> usize {
    (0..6)
        .find(|p| {
            let scaled = step * 10f64.powi(*p);
            (scaled - scaled.round()).abs() < 1e-6
        })
        .unwrap_or(6) as usize
}

/// A size given in base units, in a unit: '2.9 g'.
pub fn size(base: f64, unit: &Unit, step: Option<f64>) -> String {
    format!("{} {}", rounded(unit.from_base(base), step), unit.name)
}

/// A number that is already in a unit: '247.1 g'.
pub fn number_with_unit(number: f64, unit: &str) -> String {
    format!("{} {unit}", rounded(number, Some(0.01)).trim_end_matches('0').trim_end_matches('.'))
}

/// With its sign: '+2.9', '−2.9', '0'.
pub fn signed(value: f64, step: Option<f64>) -> String {
    let text = rounded(value, step);
    let zero = text.chars().all(|c| c == '0' || c == '.');
    if value > 0.0 && !zero { format!("+{text}") } else { text }
}

/// A whole number with a comma before each three digits: '6,120,000'.
pub fn thousands(value: f64) -> String {
    let digits = format!("{:.0}", value.abs());
    let mut grouped = String::new();
    for (place, digit) in digits.chars().enumerate() {
        if place > 0 && (digits.len() - place).is_multiple_of(3) {
            grouped.push(',');
        }
        grouped.push(digit);
    }
    if value <= -0.5 { format!("−{grouped}") } else { grouped }
}

/// A share from 0 to 1 in per cent: '12 %', 'under 1 %'.
pub fn percent(share: f64) -> String {
    let hundred = share * 100.0;
    if hundred > 0.0 && hundred < 1.0 {
        "under 1 %".to_owned()
    } else if hundred > 99.0 && hundred < 100.0 {
        "over 99 %".to_owned()
    } else {
        format!("{} %", hundred.round())
    }
}

/// First letter large, a full stop at the end.
pub fn sentence(text: &str) -> String {
    let text = sentence_start(text.trim());
    let stop = if text.is_empty() || text.ends_with(['.', '!', '?', '…']) { "" } else { "." };
    format!("{text}{stop}")
}

/// First letter large: for the start of a line.
pub fn sentence_start(text: &str) -> String {
    let mut chars = text.chars();
    chars.next().map_or_else(String::new, |first| format!("{}{}", first.to_uppercase(), chars.as_str()))
}

/// First letter small, no full stop: for inside a sentence. Words in capitals stay.
pub fn clause(text: &str) -> String {
    let text = text.trim().trim_end_matches('.');
    let mut chars = text.chars();
    let Some(first) = chars.next() else { return String::new() };
    let rest = chars.as_str();
    let capital_word = rest.chars().next().is_some_and(|c| c.is_uppercase() || c.is_ascii_digit());
    if capital_word { text.to_owned() } else { format!("{}{rest}", first.to_lowercase()) }
}

/// [`clause`] with a full stop: for after a colon.
pub fn clause_stop(text: &str) -> String {
    let text = text.trim();
    let clause = clause(text);
    let stop = text.chars().last().filter(|c| matches!(c, '!' | '?' | '…'));
    if stop.is_some() { clause } else { format!("{clause}.") }
}

/// What a run shows, as a noun.
pub fn pattern(pattern: Pattern) -> &'static str {
    match pattern {
        Pattern::Light => "light fills",
        Pattern::Heavy => "heavy fills",
        Pattern::Wide => "more scatter than usual",
        Pattern::Drift => "a drift",
        Pattern::Step => "a sudden change",
        Pattern::Wave => "a slow swing",
        Pattern::SeeSaw => "a see-saw",
        Pattern::TwoGroups => "two groups",
        Pattern::StraysLight => "single fills far too light",
        Pattern::StraysHeavy => "single fills far too heavy",
        Pattern::StartUp => "a start that differs",
    }
}

/// Where the body is, in words that follow 'where you are:'.
pub fn exposure(exposure: Exposure) -> &'static str {
    match exposure {
        Exposure::Outside => "outside the guards",
        Exposure::Running => "outside the closed guards while it runs",
        Exposure::AtScale => "hands at the scale",
        Exposure::Inside => "inside the guards",
        Exposure::Energised => "within reach of live parts",
        Exposure::Lifting => "at a load that is lifted",
        Exposure::Height => "off the ground",
        Exposure::Hot => "at hot parts",
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn likelihood_is_said_as_people_count() {
        assert_eq!(likelihood(0.58), "about 6 in 10 calls like this");
        assert_eq!(likelihood(0.06), "about 1 in 20 calls like this");
        assert_eq!(likelihood(0.0499), "unlikely");
        assert_eq!(likelihood(0.99), "nearly certain");
        assert_eq!(likely(0.94), "about 9 in 10");
    }

    #[test]
    fn minutes_are_rounded_as_people_say_them() {
        for (m, says) in [
            (0.5, "under a minute"),
            (1.0, "about a minute"),
            (4.2, "about 4 minutes"),
            (13.0, "about 15 minutes"),
            (60.0, "about an hour"),
            (88.0, "about 1½ hours"),
            (150.0, "about 2½ hours"),
            (4320.0, "about 3 days"),
        ] {
            assert_eq!(minutes(m), says);
        }
    }

    #[test]
    fn numbers_keep_the_decimals_that_the_instrument_shows() {
        assert_eq!(rounded(247.04, Some(0.1)), "247.0");
        assert_eq!(rounded(-2.876, Some(0.1)), "\u{2212}2.9");
        assert_eq!(rounded(-0.04, Some(0.1)), "0.0");
        assert_eq!(rounded(247.04, None), "247");
        assert_eq!(rounded(0.125, None), "0.125");
        assert_eq!(rounded(f64::NAN, None), "not measured");
        assert_eq!(signed(2.0, None), "+2");
        assert_eq!(signed(0.0, Some(0.1)), "0.0");
    }

    #[test]
    fn lists_read_aloud() {
        assert_eq!(and(&["a", "b", "c"]), "a, b and c");
        assert_eq!(or(&["a", "b"]), "a or b");
        assert_eq!(count(1, "entry", "entries"), "1 entry");
        assert_eq!(clause("The flap can move."), "the flap can move");
        assert_eq!(clause("ESD mat."), "ESD mat");
    }
}
