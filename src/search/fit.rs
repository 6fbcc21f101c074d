//! How well one text of an entry fits a query, and by which of its words.

use tantivy::tokenizer::TextAnalyzer;

use super::words::{Query, Word, says_nothing, stems};
use super::{Matched, Part};

/// What a hit through another word for the same counts.
pub(super) const SAME: f64 = 0.85;
/// What a hit with a slip counts.
pub(super) const SLIP: f64 = 0.7;
/// How much it counts that a text says little besides what is sought.
const TO_THE_POINT: f64 = 0.45;
/// What words count that stand in other texts of the entry than the best.
const ELSEWHERE: f64 = 0.4;

/// A query with what its words are worth in this index.
pub(super) struct Sought {
    pub(super) query: Query,
    /// What each word is worth: more when few entries have it.
    pub(super) weights: Vec<f64>,
    /// The stems that each may have been meant for, where no entry has the word as it is.
    pub(super) meant: Vec<Vec<String>>,
}

/// By which way a word of the query is in a text.
#[derive(Debug, Clone, Copy, PartialEq)]
enum Way {
    Exact,
    Slip,
    /// By another word for it, by place in [`Query::same`].
    Same(usize),
}

/// The close look at one entry.
pub(super) struct Closeness<'a> {
    sought: &'a Sought,
    analyzer: &'a mut TextAnalyzer,
    best: Option<(f64, Matched)>,
    anywhere: Vec<f64>,
}

impl<'a> Closeness<'a> {
    pub(super) fn new(sought: &'a Sought, analyzer: &'a mut TextAnalyzer) -> Self {
        Self { anywhere: vec![0.0; sought.query.words.len()], sought, analyzer, best: None }
    }

    /// Looks at one text of the entry.
    pub(super) fn look(&mut self, part: Part, text: &str) {
        let all = stems(self.analyzer, text);
        let telling = all.iter().filter(|(_, at)| !says_nothing(&text[at.clone()])).count().max(1);
        let all: Vec<&str> = all.iter().map(|(stem, _)| stem.as_str()).collect();
        let ways: Vec<Option<(f64, Way)>> =
            (0..self.sought.query.words.len()).map(|i| self.way(i, &all)).collect();
        let sum: f64 =
            ways.iter().zip(&self.sought.weights).map(|(way, w)| way.map_or(0.0, |(f, _)| f) * w).sum();
        for (most, way) in self.anywhere.iter_mut().zip(&ways) {
            *most = most.max(way.map_or(0.0, |(fit, _)| fit));
        }
        let held = ways.iter().flatten().count().min(telling) as f64 / telling as f64;
        let fits = part_weight(part) * self.share(sum) * (1.0 - TO_THE_POINT + TO_THE_POINT * held);
        if sum > 0.0 && fits > self.best.as_ref().map_or(0.0, |(most, _)| *most) {
            self.best = Some((fits, self.matched(part, text, &ways)));
        }
    }

    /// How well the entry fits, from 0 to about 1.4, and the text that fits best.
    pub(super) fn best(&mut self) -> Option<(f64, Matched)> {
        let anywhere: f64 = self.anywhere.iter().zip(&self.sought.weights).map(|(fit, w)| fit * w).sum();
        let (fits, matched) = self.best.take()?;
        Some((fits + ELSEWHERE * self.share(anywhere), matched))
    }

    /// A sum over words as a share of the whole query.
    fn share(&self, sum: f64) -> f64 {
        let whole: f64 = self.sought.weights.iter().sum();
        (sum / whole.max(f64::MIN_POSITIVE)).min(1.0)
    }

    /// The best way in which a word of the query is in a text.
    fn way(&self, place: usize, text: &[&str]) -> Option<(f64, Way)> {
        let word: &Word = &self.sought.query.words[place];
        if text.contains(&word.stem.as_str()) {
            return Some((1.0, Way::Exact));
        }
        if self.sought.meant[place].iter().any(|stem| text.contains(&stem.as_str())) {
            return Some((SLIP, Way::Slip));
        }
        let same = self.sought.query.same.iter().enumerate().filter(|(_, same)| same.at.contains(&place));
        let shares = same.map(|(i, same)| {
            let held = same.stems.iter().filter(|stem| text.contains(&stem.as_str())).count();
            // Half of 'in-flight allowance' is another allowance.
            let share = held as f64 / same.stems.len().max(1) as f64;
            (SAME * share * share, Way::Same(i))
        });
        shares.filter(|(fit, _)| *fit > 0.0).max_by(|a, b| a.0.total_cmp(&b.0))
    }

    fn matched(&self, part: Part, text: &str, ways: &[Option<(f64, Way)>]) -> Matched {
        let mut matched =
            Matched { part, text: text.to_owned(), words: Vec::new(), same: Vec::new(), slips: Vec::new() };
        for (word, way) in self.sought.query.words.iter().zip(ways) {
            let Some((_, way)) = way else { continue };
            matched.words.push(word.typed.clone());
            match way {
                Way::Exact => {}
                Way::Slip => matched.slips.push(word.typed.clone()),
                Way::Same(i) => {
                    let same = &self.sought.query.same[*i];
                    let pair = (same.typed.clone(), same.text.clone());
                    if !matched.same.contains(&pair) {
                        matched.same.push(pair);
                    }
                }
            }
        }
        matched
    }
}

/// What a text is worth for finding its entry.
fn part_weight(part: Part) -> f64 {
    match part {
        Part::Said => 1.0,
        Part::Title => 0.95,
        Part::Name => 0.85,
        Part::Asks | Part::Answer | Part::About => 0.75,
    }
}
