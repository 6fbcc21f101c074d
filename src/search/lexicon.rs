//! Words that mean the same and words that say little, by their stems, and how every word is spelled; kept with the index, so that a warm start reads
//! no YAML.

use std::collections::BTreeSet;
use std::ops::Range;

use super::Doc;
use super::words::{analyzer, plain_words, says_nothing, stems};
use crate::knowledge::Vocabulary;

/// The words of callers, made ready for comparing.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Lexicon {
    groups: Vec<Vec<Named>>,
    little: BTreeSet<String>,
    /// Every longer word of the book as it is spelled, in order, a blank between.
    spelled: String,
}

/// One way to call something.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
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
    pub fn of(vocabulary: &Vocabulary, docs: &[Doc]) -> Self {
        let mut analyzer = analyzer();
        let mut named = |text: &String| {
            let all = stems(&mut analyzer, text);
            let whole: Vec<String> = all.iter().map(|(stem, _)| stem.clone()).collect();
            let telling = all.into_iter().filter(|(_, at)| !says_nothing(&text[at.clone()]));
            let telling: Vec<String> = telling.map(|(stem, _)| stem).collect();
            let stems = if telling.is_empty() { whole.clone() } else { telling };
            // Tabs and line ends part things when it is written.
            Named { text: text.replace(['\t', '\n'], " "), stems, whole }
        };
        let groups = vocabulary.same.iter().map(|group| group.iter().map(&mut named).collect()).collect();
        let little = vocabulary.says_little.iter().flat_map(|word| named(word).whole).collect();
        let texts = docs.iter().flat_map(|doc| &doc.texts).map(|(_, text)| text);
        let spelled = texts.chain(vocabulary.same.iter().flatten()).flat_map(|text| plain_words(text));
        let spelled: BTreeSet<String> = spelled.filter(|word| slips(word) > 0).collect();
        Self { groups, little, spelled: spelled.into_iter().collect::<Vec<_>>().join(" ") }
    }

    /// As text, one line a thing; [`Lexicon::read`] gives the same again.
    pub(super) fn written(&self) -> String {
        let little: Vec<&str> = self.little.iter().map(String::as_str).collect();
        let mut lines = vec![little.join(" "), self.spelled.clone()];
        for group in &self.groups {
            let one = |n: &Named| [n.text.clone(), n.stems.join(" "), n.whole.join(" ")].join("\t");
            lines.push(group.iter().map(one).collect::<Vec<_>>().join("\t"));
        }
        lines.join("\n")
    }

    /// Reads what [`Lexicon::written`] gave.
    pub(super) fn read(text: &str) -> Option<Self> {
        let list = |text: &str| text.split(' ').filter(|w| !w.is_empty()).map(str::to_owned).collect();
        let mut lines = text.split('\n');
        let little = lines.next()?.split(' ').map(str::to_owned).collect();
        let spelled = lines.next()?.to_owned();
        let group = |line: &str| {
            let parts: Vec<&str> = line.split('\t').collect();
            let named = |n: &[&str]| match n {
                [text, stems, whole] => {
                    Named { text: (*text).to_owned(), stems: list(stems), whole: list(whole) }
                }
                _ => Named::default(),
            };
            parts.chunks(3).map(named).collect()
        };
        Some(Self { groups: lines.map(group).collect(), little, spelled })
    }

    /// Whether a stem is in every call.
    pub(super) fn says_little(&self, stem: &str) -> bool {
        self.little.contains(stem)
    }

    /// The stems of the words that a word of nobody's may have been meant for: nearest in spelling, the same letter first.
    pub(super) fn meant(&self, typed: &str) -> Vec<String> {
        let typed = plain_words(typed).concat();
        let most = slips(&typed);
        let Some(first) = typed.chars().next().filter(|_| most > 0) else { return Vec::new() };
        let alike = self.spelled.split(' ').filter(|word| word.starts_with(first));
        let near =
            alike.map(|word| (strsim::osa_distance(word, &typed), word)).filter(|(far, _)| *far <= most);
        let near: Vec<(usize, &str)> = near.collect();
        let nearest = near.iter().map(|(far, _)| *far).min();
        let nearest = near.into_iter().filter(|(far, _)| Some(*far) == nearest);
        let mut analyzer = analyzer();
        let stems: BTreeSet<String> =
            nearest.flat_map(|(_, word)| stems(&mut analyzer, word)).map(|(stem, _)| stem).collect();
        stems.into_iter().collect()
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

/// How many letters of a word may be wrong: one from four letters on, two from eight; none in a number or a code.
fn slips(word: &str) -> usize {
    match word.chars().count() {
        _ if word.chars().any(|c| c.is_ascii_digit()) => 0,
        0..=3 => 0,
        4..=7 => 1,
        _ => 2,
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
