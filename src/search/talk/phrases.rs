//! A caller's text as stems, and phrases found in it: articles are skipped, one other word may stand between.

use std::ops::Range;

use super::super::words::analyzer;
use super::super::{LONGEST_QUERY, words};

/// Words that phrases do without.
const SKIPPED: &[&str] = &[
    "the", "is", "really", "very", "quite", "a", "an", "our", "my", "your", "their", "has", "have", "had",
    "been", "just", "s", "t", "ve", "re", "ll", "d", "m",
];
/// How many other words may stand between two words of a phrase.
const BETWEEN: usize = 1;

/// One word or number.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Token {
    /// Lower case, as written.
    pub(super) text: String,
    /// Its stem; the text itself for a number.
    pub(super) stem: String,
    /// The figure, if it is one; a sign before it is kept.
    pub(super) number: Option<f64>,
    /// Where it stands.
    at: Range<usize>,
    /// Which clause it is of.
    pub(super) clause: usize,
}

/// A stretch of tokens.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Found {
    pub(super) start: usize,
    /// One past the last.
    pub(super) end: usize,
}

impl Found {
    pub(super) fn length(&self) -> usize {
        self.end - self.start
    }

    pub(super) fn overlaps(&self, other: &Found) -> bool {
        self.start < other.end && other.start < self.end
    }
}

/// A text taken apart.
#[derive(Debug, Clone, Default)]
pub(super) struct Text {
    whole: String,
    pub(super) tokens: Vec<Token>,
}

impl Text {
    /// Takes a text apart; bounded as a query is.
    pub(super) fn of(text: &str) -> Self {
        let whole: String = crate::diag::harmless(text).chars().take(LONGEST_QUERY).collect();
        let mut tokens = Vec::new();
        let mut clause = 0;
        let mut chars = whole.char_indices().peekable();
        let mut analyzer = analyzer();
        while let Some((start, first)) = chars.next() {
            let figure = first.is_ascii_digit();
            let more = |c: char, last: char, next: Option<char>| {
                let digits = last.is_ascii_digit() && next.is_some_and(|n| n.is_ascii_digit());
                let of_figure = c.is_ascii_digit() || (matches!(c, '.' | ',') && digits);
                if figure { of_figure } else { c.is_alphabetic() }
            };
            if first.is_alphanumeric() {
                let (mut end, mut last) = (start + first.len_utf8(), first);
                while let Some(&(at, c)) = chars.peek() {
                    let next = whole[at + c.len_utf8()..].chars().next();
                    if !more(c, last, next) {
                        break;
                    }
                    (end, last) = (at + c.len_utf8(), c);
                    chars.next();
                }
                let text = whole[start..end].to_lowercase();
                let number = figure.then(|| text.replace(',', ".").parse().ok()).flatten();
                let stem = words::stems(&mut analyzer, &text).into_iter().next().map(|(stem, _)| stem);
                let stem = stem.unwrap_or_else(|| text.clone());
                tokens.push(Token { stem, number, at: start..end, clause, text });
            } else if first == '%' {
                tokens.push(Token {
                    text: "%".into(),
                    stem: "%".into(),
                    number: None,
                    at: start..start + 1,
                    clause,
                });
            } else if ",.;:!?()\n".contains(first) {
                clause += 1;
            }
        }
        Self { whole, tokens }
    }

    /// The caller's own words of a stretch.
    pub(super) fn said(&self, found: &Found) -> String {
        let tokens = &self.tokens[found.start..found.end.min(self.tokens.len())];
        match (tokens.first(), tokens.last()) {
            (Some(first), Some(last)) => self.whole[first.at.start..last.at.end].to_owned(),
            _ => String::new(),
        }
    }

    /// Where a phrase stands first.
    pub(super) fn find(&self, phrase: &str) -> Option<Found> {
        self.find_all(phrase).into_iter().next()
    }

    /// Every place where a phrase stands.
    pub(super) fn find_all(&self, phrase: &str) -> Vec<Found> {
        let wanted: Vec<String> =
            telling(&Text::of(phrase)).into_iter().map(|(_, t)| t.stem.clone()).collect();
        let here = telling(self);
        (0..here.len()).filter_map(|start| at(&here, start, &wanted)).collect()
    }

    /// The same stretch from one of some words that stands shortly before it or in it, in the same clause.
    pub(super) fn reaching_back_to(&self, words: &[String], found: &Found, reach: usize) -> Option<Found> {
        let clause = self.tokens[found.start].clause;
        let one = |at: &usize| self.tokens[*at].clause == clause && words.contains(&self.tokens[*at].text);
        let at = (found.start.saturating_sub(reach)..found.end).find(one)?;
        Some(Found { start: at.min(found.start), end: found.end })
    }

    /// Whether two places are of one clause.
    pub(super) fn together(&self, a: usize, b: usize) -> bool {
        self.tokens.get(a).map(|t| t.clause) == self.tokens.get(b).map(|t| t.clause)
    }

    /// A stretch with the time that follows it: 'worked for' with its 'months'.
    pub(super) fn with_time(&self, found: &Found, times: &[String]) -> Found {
        let end = self.last_of(times, found.end, found.end + BETWEEN + 1).unwrap_or(found.end);
        Found { start: found.start, end }
    }

    /// One past the last of some words between two places, going on only while the next is near.
    pub(super) fn last_of(&self, words: &[String], from: usize, to: usize) -> Option<usize> {
        let clause = self.tokens.get(from)?.clause;
        let is_time = |t: &Token| words.iter().any(|w| *w == t.text || t.text.strip_suffix('s') == Some(w));
        let mut end: Option<usize> = None;
        for (place, token) in self.tokens.iter().enumerate().take(to.min(self.tokens.len())).skip(from) {
            if token.clause != clause || end.is_some_and(|end| place > end + 1) {
                break;
            }
            if is_time(token) {
                end = Some(place + 1);
            }
        }
        end
    }
}

fn telling(text: &Text) -> Vec<(usize, &Token)> {
    text.tokens.iter().enumerate().filter(|(_, t)| !SKIPPED.contains(&t.text.as_str())).collect()
}

/// The phrase that begins at one of the telling words.
fn at(here: &[(usize, &Token)], start: usize, wanted: &[String]) -> Option<Found> {
    let mut place = start;
    for (nth, stem) in wanted.iter().enumerate() {
        let last = if nth == 0 { place } else { place + BETWEEN };
        place = (place..=last).find(|p| {
            here.get(*p).is_some_and(|(_, t)| t.stem == *stem && t.clause == here[start].1.clause)
        })? + 1;
    }
    (!wanted.is_empty()).then(|| Found { start: here[start].0, end: here[place - 1].0 + 1 })
}
