//! The numbers that a decision may hang on, and the same network with one of them a little lower or higher.
//!
//! A rate is halved or doubled; what circumstances add to it stays. A strength goes to the next word of the scale, and where it
//! is no word of the scale, or the scale ends, by one in log-odds; the further degrees of a link keep their ratio to the first.

use std::collections::BTreeSet;

use super::book::Book;
use super::mind::Thought;
use crate::belief::{Cause, Finding, Network, NetworkError, Parent};
use crate::knowledge::{FindingKind, Knowledge};

/// So many of the likeliest causes are looked at.
const LIKELIEST: usize = 5;
/// No rate is doubled past this.
const MOST: f64 = 0.98;

/// A number of the network.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub(super) enum Number {
    /// The rate of a cause, by index.
    Rate(usize),
    /// The strength of a link: the finding, and the place among its parents.
    Strength(usize, usize),
}

/// Which way a number goes.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub(super) enum Way {
    Lower,
    Higher,
}

/// The rates of the likeliest causes and every strength on the way from them to what they bring about.
pub(super) fn numbers(book: &Book<'_, '_>, thought: &Thought) -> Vec<Number> {
    let network = &book.desk.model.network;
    let mut parents: BTreeSet<Parent> =
        thought.ranked(book).into_iter().take(LIKELIEST).map(Parent::Cause).collect();
    let mut numbers: BTreeSet<Number> = parents
        .iter()
        .filter_map(|parent| match parent {
            Parent::Cause(cause) => Some(Number::Rate(*cause)),
            Parent::Finding(_) => None,
        })
        .collect();
    // Parents stand before their children, so one pass meets everything below.
    for (index, finding) in network.findings().iter().enumerate() {
        let reached = finding.parents.iter().enumerate().filter(|(_, link)| parents.contains(&link.parent));
        let reached: Vec<Number> = reached.map(|(place, _)| Number::Strength(index, place)).collect();
        if !reached.is_empty() {
            parents.insert(Parent::Finding(index));
            numbers.extend(reached);
        }
    }
    numbers.into_iter().collect()
}

/// Where an author finds a number: the entry, as `kind/id`, and the field in it.
pub(super) fn place(book: &Book<'_, '_>, number: Number) -> (String, String) {
    let model = &book.desk.model;
    let cause = |cause: usize| format!("cause/{}", model.causes[cause]);
    match number {
        Number::Rate(index) => (cause(index), format!("machines.{}", book.desk.view.machine.id)),
        Number::Strength(finding, place) => {
            let entry = match model.network.findings()[finding].parents[place].parent {
                Parent::Cause(index) => cause(index),
                Parent::Finding(index) => {
                    let kind = match book.desk.view.findings[index].kind {
                        FindingKind::Symptom => "symptom",
                        FindingKind::Condition => "condition",
                    };
                    format!("{kind}/{}", model.findings[index])
                }
            };
            (entry, format!("leads_to.{}", model.findings[finding]))
        }
    }
}

/// The network with one number moved.
pub(super) fn nudged(book: &Book<'_, '_>, number: Number, way: Way) -> Result<Network, NetworkError> {
    let network = &book.desk.model.network;
    let mut causes: Vec<Cause> = network.causes().to_vec();
    let mut findings: Vec<Finding> = network.findings().to_vec();
    match number {
        Number::Rate(cause) => {
            let base = &mut causes[cause].base;
            *base = match way {
                Way::Lower => *base / 2.0,
                Way::Higher => (*base * 2.0).min(MOST.max(*base)),
            };
        }
        Number::Strength(finding, place) => {
            let words = words(book.desk.knowledge);
            for row in &mut findings[finding].parents[place].strength {
                *row = one_word(&words, row, way);
            }
        }
    }
    Network::new(network.circumstances().to_vec(), causes, findings)
}

/// The strengths that the scale has words for, the weakest first.
fn words(knowledge: &Knowledge) -> Vec<f64> {
    let mut words: Vec<f64> = knowledge.scale.strengths.values().copied().collect();
    words.sort_by(f64::total_cmp);
    words.dedup();
    words
}

/// A row of strengths, one a degree, moved by one word; falling as before.
fn one_word(words: &[f64], row: &[f64], way: Way) -> Vec<f64> {
    let Some(&first) = row.first().filter(|first| **first > 0.0) else { return row.to_vec() };
    let at = words.iter().position(|word| (word - first).abs() < 1e-9);
    let next = at.and_then(|at| match way {
        Way::Lower => words.get(at.checked_sub(1)?),
        Way::Higher => words.get(at + 1),
    });
    let moved = next.copied().unwrap_or_else(|| by_log_odds(first, way));
    row.iter().map(|strength| (strength / first * moved).min(1.0)).collect()
}

/// A probability with one more or one less in log-odds; what is certain counts as nearly so.
fn by_log_odds(p: f64, way: Way) -> f64 {
    let p = p.clamp(1e-6, 1.0 - 1e-6);
    let step = if way == Way::Higher { 1.0f64 } else { -1.0 };
    let odds = p / (1.0 - p) * step.exp();
    odds / (1.0 + odds)
}

#[cfg(test)]
mod tests {
    use super::*;

    const WORDS: [f64; 5] = [0.08, 0.3, 0.6, 0.85, 0.98];

    #[test]
    fn a_word_goes_to_its_neighbour_and_degrees_keep_their_ratio() {
        assert_eq!(one_word(&WORDS, &[0.6], Way::Higher), [0.85]);
        assert_eq!(one_word(&WORDS, &[0.6, 0.3], Way::Lower), [0.3, 0.15]);
    }

    #[test]
    fn past_the_ends_of_the_scale_and_between_its_words_it_goes_by_log_odds() {
        for (strength, way) in
            [(0.98, Way::Higher), (0.08, Way::Lower), (0.5, Way::Higher), (1.0, Way::Lower)]
        {
            let moved = one_word(&WORDS, &[strength], way)[0];
            assert!(moved > 0.0 && moved < 1.0 && (moved > strength) == (way == Way::Higher), "{strength}");
        }
        let moved = one_word(&WORDS, &[0.5], Way::Higher)[0];
        assert!((moved - 1.0 / (1.0 + (-1.0f64).exp())).abs() < 1e-12);
        assert_eq!(one_word(&WORDS, &[0.0], Way::Higher), [0.0], "what never happens has no word");
    }
}
