//! From text to words that can be compared: lower case, no accents, English stems. One analyzer for the index and
//! for queries, so that both always agree.

use std::ops::Range;

use tantivy::tokenizer::{
    AsciiFoldingFilter, Language, LowerCaser, RemoveLongFilter, SimpleTokenizer, Stemmer, TextAnalyzer,
    TokenStream,
};

use super::LONGEST_QUERY;
use super::lexicon::Lexicon;

/// The most words of a query that are looked for.
const MOST_WORDS: usize = 32;

/// Words that say nothing about a fault. 'Not', 'no', 'under', 'over' do, and stay.
pub(super) const STOP: &[&str] = &[
    "a", "about", "am", "an", "and", "any", "are", "as", "at", "be", "been", "but", "by", "can", "could",
    "did", "do", "does", "for", "from", "get", "gets", "getting", "got", "had", "has", "have", "he", "her",
    "his", "how", "i", "if", "in", "is", "it", "its", "just", "ll", "m", "me", "my", "of", "on", "or", "our",
    "ours", "please", "re", "s", "she", "so", "some", "t", "than", "that", "the", "their", "them", "then",
    "there", "these", "they", "this", "to", "us", "ve", "was", "we", "were", "what", "when", "which", "why",
    "will", "with", "would", "you", "your",
];

/// What a word that stands in every call counts.
const LITTLE: f32 = 0.25;

/// One word of a query.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Word {
    /// As typed.
    pub(super) typed: String,
    /// Its stem.
    pub(super) stem: String,
    /// Which word of the query it is.
    pub(super) position: usize,
    /// 1, less for a word that says little.
    pub(super) weight: f32,
}

/// What some words of a query are also called.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Same {
    /// The words that it stands for, by their place in [`Query::words`].
    pub(super) at: Vec<usize>,
    /// As typed.
    pub(super) typed: String,
    /// The other word for it.
    pub(super) text: String,
    /// The stems of the other word.
    pub(super) stems: Vec<String>,
}

/// A query taken apart.
#[derive(Debug, Clone, Default, PartialEq)]
pub(super) struct Query {
    /// The person's own words, each stem once.
    pub(super) words: Vec<Word>,
    /// Other words for them.
    pub(super) same: Vec<Same>,
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

/// The words of a text as they are, in lower case and without accents.
pub(super) fn plain_words(text: &str) -> Vec<String> {
    let mut plain = TextAnalyzer::builder(SimpleTokenizer::default())
        .filter(RemoveLongFilter::limit(40))
        .filter(LowerCaser)
        .filter(AsciiFoldingFilter)
        .build();
    let mut out = Vec::new();
    let mut stream = plain.token_stream(text);
    while let Some(token) = stream.next() {
        out.push(token.text.clone());
    }
    out
}

/// The stems of a text with the stretch of text that each came from.
pub(super) fn stems(analyzer: &mut TextAnalyzer, text: &str) -> Vec<(String, Range<usize>)> {
    let mut out = Vec::new();
    let mut stream = analyzer.token_stream(text);
    while let Some(token) = stream.next() {
        out.push((token.text.clone(), token.offset_from..token.offset_to));
    }
    out
}

/// Whether a word, as written, says nothing.
pub(super) fn says_nothing(word: &str) -> bool {
    STOP.contains(&word.to_lowercase().as_str())
}

/// Takes a query apart: bounded, stop words out unless nothing else is left, each stem once, words of the same
/// meaning beside them.
pub(super) fn query(text: &str, lexicon: &Lexicon) -> Query {
    let text: String = text.chars().take(LONGEST_QUERY).collect();
    let mut all: Vec<Word> = Vec::new();
    for (position, (stem, at)) in stems(&mut analyzer(), &text).into_iter().enumerate().take(MOST_WORDS) {
        let typed = crate::diag::harmless(&text[at]);
        let number = stem.chars().all(|c| c.is_ascii_digit());
        let weight = if number || lexicon.says_little(&stem) { LITTLE } else { 1.0 };
        all.push(Word { typed, stem, position, weight });
    }
    let mut words: Vec<Word> = Vec::new();
    let telling = |word: &&Word| !says_nothing(&word.typed);
    let left: Vec<Word> = all.iter().filter(telling).cloned().collect();
    for word in if left.is_empty() { &all } else { &left } {
        if words.iter().all(|k| k.stem != word.stem) {
            words.push(word.clone());
        }
    }
    let said: Vec<&str> = all.iter().map(|w| w.stem.as_str()).collect();
    let mut same = Vec::new();
    for (at, other) in lexicon.same(&said) {
        let typed: Vec<&str> = all[at.clone()].iter().map(|w| w.typed.as_str()).collect();
        let stands_for = |w: &Word| all[at.clone()].iter().any(|a| a.stem == w.stem);
        let places: Vec<usize> = (0..words.len()).filter(|i| stands_for(&words[*i])).collect();
        if !places.is_empty() {
            let (text, stems) = (other.text.clone(), other.stems.clone());
            same.push(Same { at: places, typed: typed.join(" "), text, stems });
        }
    }
    Query { words, same }
}
