//! Numbers back into the words of the scale: the nearest word, so that a number an author typed reads the same way.

use std::collections::BTreeMap;

use crate::knowledge::{Scale, Strength};

/// The nearest strength word, by log-odds: 'usually'. Without words in the scale, per cent.
pub fn strength_word(probability: f64, scale: &Scale) -> String {
    let odds = |p: f64| (p / (1.0 - p).max(1e-9)).max(1e-9).ln();
    nearest(&scale.strengths, |word| (odds(word) - odds(probability)).abs())
        .unwrap_or_else(|| format!("{:.0} %", probability * 100.0))
}

/// The nearest rate word, by ratio: 'common'. Takes a probability a call. Without words, per thousand.
pub fn rate_word(probability: f64, scale: &Scale) -> String {
    let per_thousand = probability * 1000.0;
    nearest(&scale.rates, |word| (word / per_thousand.max(1e-9)).ln().abs())
        .unwrap_or_else(|| format!("{per_thousand:.1} in 1000"))
}

/// A strength in words; one with degrees says each.
pub fn strength_words(strength: &Strength, scale: &Scale) -> String {
    match strength {
        Strength::One(w) => strength_word(*w, scale),
        Strength::Each(some, much) => {
            format!("{}, much {}", strength_word(*some, scale), strength_word(*much, scale))
        }
        Strength::ByDegree(some, much) => {
            format!("some: {}; much: {}", strength_words(some, scale), strength_words(much, scale))
        }
    }
}

fn nearest(words: &BTreeMap<String, f64>, far: impl Fn(f64) -> f64) -> Option<String> {
    let by_distance = words.iter().min_by(|a, b| far(*a.1).total_cmp(&far(*b.1)).then(a.0.cmp(b.0)));
    by_distance.map(|(word, _)| word.clone())
}
