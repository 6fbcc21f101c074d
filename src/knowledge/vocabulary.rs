//! The words of callers, as data: which words mean the same, which say little, and which phrases tell of history.
//! Read from `words/synonyms.yaml` and `words/talk.yaml`; what is done with them is for `search`. The house's own
//! words stand in `words/house.yaml`; `vet` holds entries to them.

use std::collections::BTreeMap;

use super::fields::{Fields, Reader};
use super::yaml::Node;

/// The words of callers.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Vocabulary {
    /// Groups of words that mean the same; the book's own stands first.
    pub same: Vec<Vec<String>>,
    /// Words that are in every call and tell entries apart badly.
    pub says_little: Vec<String>,
    /// Phrases that tell of history, time and amounts.
    pub talk: TalkWords,
}

/// Phrases of callers that tell when, how often and how much.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct TalkWords {
    /// Words that begin a 'since when': since, after, from.
    pub began: Vec<String>,
    /// Words that take back what follows them: not, never.
    pub denied: Vec<String>,
    /// Words for times: Monday, yesterday, weeks.
    pub times: Vec<String>,
    /// It has never been right.
    pub never_right: Vec<String>,
    /// It was right once.
    pub was_right: Vec<String>,
    /// It comes and goes.
    pub at_times: Vec<String>,
    /// It is there all the time.
    pub always: Vec<String>,
    /// When it happens, each in the book's words with what callers say.
    pub when: Vec<(String, Vec<String>)>,
    /// Words that stand before or after what a fill lacks.
    pub lighter: Vec<String>,
    /// Words that stand before or after what a fill has too much.
    pub heavier: Vec<String>,
    /// Words between an amount and the target.
    pub target: Vec<String>,
    /// Words before what the machine shows.
    pub shown: Vec<String>,
    /// Words before what another scale says.
    pub weighed: Vec<String>,
    /// Numbers in words.
    pub numbers: BTreeMap<String, f64>,
}

/// The house's word for a thing, and the words that it takes the place of, in small letters.
pub(super) fn house(reader: &mut Reader<'_>, node: &Node) -> BTreeMap<String, Vec<String>> {
    let Some(fields) = Fields::open(reader, node) else { return BTreeMap::new() };
    let entries = fields.entries().iter();
    let others = |reader: &mut Reader<'_>, list: &Node| -> Option<Vec<String>> {
        let items = reader.list(list)?;
        Some(items.iter().filter_map(|n| reader.text(n)).map(|text| text.to_lowercase()).collect())
    };
    entries.filter_map(|(key, list)| Some((reader.text(key)?, others(reader, list)?))).collect()
}

/// Groups of words that mean the same, and words that say little.
pub(super) fn synonyms(reader: &mut Reader<'_>, vocabulary: &mut Vocabulary, node: &Node) {
    let Some(mut fields) = Fields::open(reader, node) else { return };
    for group in fields.list(reader, "same") {
        let words = reader.list(group).unwrap_or(&[]);
        let words: Vec<String> = words.iter().filter_map(|n| reader.text(n)).collect();
        if words.len() > 1 {
            vocabulary.same.push(words);
        }
    }
    vocabulary.says_little = fields.texts(reader, "says_little");
    fields.close(reader);
}

/// Phrases that tell of history, time and amounts.
pub(super) fn talk(reader: &mut Reader<'_>, vocabulary: &mut Vocabulary, node: &Node) {
    let Some(mut fields) = Fields::open(reader, node) else { return };
    let when = fields.list(reader, "when");
    let numbers = fields.get("numbers").and_then(|n| Fields::open(reader, n));
    vocabulary.talk = TalkWords {
        began: fields.texts(reader, "began"),
        denied: fields.texts(reader, "denied"),
        times: fields.texts(reader, "times"),
        never_right: fields.texts(reader, "never_right"),
        was_right: fields.texts(reader, "was_right"),
        at_times: fields.texts(reader, "at_times"),
        always: fields.texts(reader, "always"),
        when: when.iter().filter_map(|n| at_a_time(reader, n)).collect(),
        lighter: fields.texts(reader, "lighter"),
        heavier: fields.texts(reader, "heavier"),
        target: fields.texts(reader, "target"),
        shown: fields.texts(reader, "shown"),
        weighed: fields.texts(reader, "weighed"),
        numbers: numbers
            .map(|group| {
                let pairs = group.entries().iter();
                pairs.filter_map(|(k, v)| Some((reader.text(k)?, reader.number(v, 0.0, 1e6)?))).collect()
            })
            .unwrap_or_default(),
    };
    fields.close(reader);
}

fn at_a_time(reader: &mut Reader<'_>, node: &Node) -> Option<(String, Vec<String>)> {
    let mut fields = Fields::open(reader, node)?;
    let says = fields.text(reader, "says");
    let said = fields.texts(reader, "said");
    fields.close(reader);
    Some((says?, said))
}
