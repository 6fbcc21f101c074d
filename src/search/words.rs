//! From text to words that can be compared: lower case, no accents, English stems. One analyzer for the index and
//! for queries, so that both always agree.

use tantivy::tokenizer::{
    AsciiFoldingFilter, Language, LowerCaser, RemoveLongFilter, SimpleTokenizer, Stemmer, TextAnalyzer,
    TokenStream,
};

use super::LONGEST_QUERY;

/// The most words of a query that are looked for.
const MOST_WORDS: usize = 32;

/// Words that say nothing about a fault. 'All', 'every', 'not', 'no', 'under', 'over' do, and stay.
const STOP: &[&str] = &[
    "a", "about", "am", "an", "and", "any", "are", "as", "at", "be", "been", "but", "by", "can", "could",
    "did", "do", "does", "for", "from", "get", "gets", "getting", "got", "had", "has", "have", "he", "her",
    "his", "how", "i", "if", "in", "is", "it", "its", "just", "ll", "me", "my", "of", "on", "or", "our",
    "please", "re", "s", "she", "so", "some", "t", "than", "that", "the", "their", "them", "then", "there",
    "these", "they", "this", "to", "us", "ve", "was", "we", "were", "what", "when", "which", "why", "will",
    "with", "would", "you", "your",
];

/// Trade words that mean the same; a hit through them counts less than the person's own word.
const SAME: &[(&str, &str)] = &[
    ("free fall", "in-flight allowance"),
    ("preact", "in-flight allowance"),
    ("overshoot", "in-flight allowance"),
    ("bulk", "coarse feed"),
    ("dribble", "fine feed"),
    ("underweight", "light"),
    ("overweight", "heavy"),
    ("loadcell", "load cell"),
    ("scales", "scale"),
    ("pouch", "bag"),
    ("sack", "bag"),
    ("vibrator", "tray drive"),
];
/// What a hit through a word of the same meaning counts.
const SAME_WEIGHT: f32 = 0.7;

/// One word of a query.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Word {
    /// As typed.
    pub(super) typed: String,
    /// Its stem.
    pub(super) stem: String,
    /// Which word of the query it is.
    pub(super) position: usize,
    /// 1, less for a word of the same meaning.
    pub(super) weight: f32,
}

impl Word {
    /// How many letters may be wrong: one from four letters on, two from eight; none in a number or a code.
    pub(super) fn slips(&self) -> u8 {
        match self.stem.chars().count() {
            _ if self.stem.chars().any(|c| c.is_ascii_digit()) => 0,
            0..=3 => 0,
            4..=7 => 1,
            _ => 2,
        }
    }
}

/// The analyzer, registered under one name on every index.
pub(super) fn analyzer() -> TextAnalyzer {
    TextAnalyzer::builder(SimpleTokenizer::default())
        .filter(RemoveLongFilter::limit(40))
        .filter(LowerCaser)
        .filter(AsciiFoldingFilter)
        .filter(Stemmer::new(Language::English))
        .build()
}

/// The stems of a text with the stretch of text that each came from.
pub(super) fn stems(analyzer: &mut TextAnalyzer, text: &str) -> Vec<(String, std::ops::Range<usize>)> {
    let mut out = Vec::new();
    let mut stream = analyzer.token_stream(text);
    while let Some(token) = stream.next() {
        out.push((token.text.clone(), token.offset_from..token.offset_to));
    }
    out
}

/// The words of a query: bounded, stop words out unless nothing else is left, each stem once, words of the same
/// meaning added.
pub(super) fn query_words(query: &str) -> Vec<Word> {
    let query: String = query.chars().take(LONGEST_QUERY).collect();
    let mut analyzer = analyzer();
    let mut all: Vec<Word> = Vec::new();
    for (position, (stem, at)) in stems(&mut analyzer, &query).into_iter().enumerate().take(MOST_WORDS) {
        let typed = crate::diag::harmless(&query[at]);
        all.push(Word { typed, stem, position, weight: 1.0 });
    }
    let also = same_meaning(&mut analyzer, &all);
    let says_something = |word: &Word| !STOP.contains(&word.typed.to_lowercase().as_str());
    let mut words: Vec<Word> = all.iter().filter(|w| says_something(w)).cloned().collect();
    if words.is_empty() {
        words = all;
    }
    let mut kept: Vec<Word> = Vec::new();
    for word in words.into_iter().chain(also) {
        if kept.iter().all(|k| k.stem != word.stem) {
            kept.push(word);
        }
    }
    kept
}

fn same_meaning(analyzer: &mut TextAnalyzer, words: &[Word]) -> Vec<Word> {
    let mut also = Vec::new();
    for (said, meant) in SAME {
        let said: Vec<_> = stems(analyzer, said).into_iter().map(|(stem, _)| stem).collect();
        let found = words.windows(said.len()).find(|w| w.iter().map(|w| &w.stem).eq(said.iter()));
        let Some(found) = found else { continue };
        let typed: Vec<_> = found.iter().map(|w| w.typed.as_str()).collect();
        for (stem, at) in stems(analyzer, meant) {
            // 'in' of 'in-flight' would fit everything.
            if !STOP.contains(&&meant[at]) {
                let position = found[0].position;
                also.push(Word { typed: typed.join(" "), stem, position, weight: SAME_WEIGHT });
            }
        }
    }
    also
}
