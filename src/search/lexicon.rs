//! Words that mean the same and words that say little, by their stems; kept with the index, so that a warm start reads
//! no YAML.

use std::collections::BTreeSet;
use std::ops::Range;

use serde::{Deserialize, Serialize};

use super::words::{analyzer, says_nothing, stems};
use crate::knowledge::Vocabulary;

/// The words of callers, made ready for comparing.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct Lexicon {
    groups: Vec<Vec<Named>>,
    little: BTreeSet<String>,
}

/// One way to call something.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub(super) struct Named {
    /// As written.
    pub(super) text: String,
    /// Its stems, without those that say nothing where others are left.
    pub(super) stems: Vec<String>,
    /// All of its stems, for finding it in what is typed.
    whole: Vec<String>,
}

impl Lexicon {
    /// Makes the words of the knowledge ready.
    pub fn of(vocabulary: &Vocabulary) -> Self {
        let mut analyzer = analyzer();
        let mut named = |text: &String| {
            let all = stems(&mut analyzer, text);
            let whole: Vec<String> = all.iter().map(|(stem, _)| stem.clone()).collect();
            let telling = all.into_iter().filter(|(_, at)| !says_nothing(&text[at.clone()]));
            let telling: Vec<String> = telling.map(|(stem, _)| stem).collect();
            let stems = if telling.is_empty() { whole.clone() } else { telling };
            Named { text: text.clone(), stems, whole }
        };
        let groups = vocabulary.same.iter().map(|group| group.iter().map(&mut named).collect()).collect();
        let little = vocabulary.says_little.iter().flat_map(|word| named(word).whole).collect();
        Self { groups, little }
    }

    /// Whether a stem is in every call.
    pub(super) fn says_little(&self, stem: &str) -> bool {
        self.little.contains(stem)
    }

    /// What stretches of some stems are also called: the book's word, and the single words of the same group.
    pub(super) fn same<'l>(&'l self, said: &[&str]) -> Vec<(Range<usize>, &'l Named)> {
        let mut all = Vec::new();
        for group in &self.groups {
            for (place, typed) in group.iter().enumerate() {
                let Some(at) = find(said, &typed.whole) else { continue };
                for (other, named) in group.iter().enumerate() {
                    let known = all.iter().any(|(_, known): &(_, &Named)| known.text == named.text);
                    let wanted = other == 0 || named.whole.len() == 1;
                    if other != place && wanted && !known && named.whole != typed.whole {
                        all.push((at.clone(), named));
                    }
                }
            }
        }
        all
    }
}

/// Where some stems stand one after another.
fn find(said: &[&str], wanted: &[String]) -> Option<Range<usize>> {
    if wanted.is_empty() || wanted.len() > said.len() {
        return None;
    }
    let start = said.windows(wanted.len()).position(|w| w.iter().zip(wanted).all(|(a, b)| a == b))?;
    Some(start..start + wanted.len())
}
