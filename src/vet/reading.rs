//! Whether entries can be read: steps that can be followed with tools in hand, and one word for one thing.
//!
//! Judged on the texts as written, so that a warning points at the very words.

use super::Judge;
use super::sentences::{further_action, late_condition, length};
use crate::diag::{Code, Diagnostic, FileId, Sources, Span};
use crate::knowledge::yaml::{self, Node, Value};
use crate::knowledge::{Knowledge, Texts};

/// More words than this are hard to follow with tools in hand.
const MOST_WORDS: usize = 20;

/// Keys that hold what the house says. What callers say, ids and names of sources are not its words.
const OURS: &[&str] = &[
    "title",
    "about",
    "text",
    "why",
    "asked",
    "ask",
    "read_back",
    "answer",
    "tells",
    "do",
    "expect",
    "hazard",
    "what_can_happen",
    "do_this",
    "what_it_does",
    "what_it_says",
    "when_wrong",
    "too_high",
    "too_low",
    "usual",
    "isolated_by",
    "start_paths",
];

pub(super) fn judge(judge: &mut Judge<'_>, texts: &Texts) {
    let knowledge = judge.knowledge;
    for (file, (path, _, _)) in texts.iter().enumerate() {
        let entry = path.contains('/') && !path.starts_with("words/");
        // A file that is no YAML has its own problem already.
        if let Some(node) = entry.then(|| yaml::parse(&knowledge.sources, FileId(file)).ok()).flatten() {
            read(&mut judge.problems, knowledge, &knowledge.sources, "", &node);
        }
    }
}

/// Judges the house's own words in one file.
pub(super) fn read(
    problems: &mut Vec<Diagnostic>,
    knowledge: &Knowledge,
    sources: &Sources,
    key: &str,
    node: &Node,
) {
    match &node.value {
        Value::Map(entries) => {
            for (name, value) in entries {
                let Value::Text(name) = &name.value else { continue };
                read(problems, knowledge, sources, name, value);
            }
        }
        Value::List(items) => items.iter().for_each(|item| read(problems, knowledge, sources, key, item)),
        Value::Text(text) if OURS.contains(&key) => {
            if key == "do" {
                problems.extend(step(text, node.span));
            }
            problems.extend(house_words(knowledge, sources, text, node.span));
        }
        _ => {}
    }
}

/// What is hard about a step.
fn step(text: &str, span: Span) -> Vec<Diagnostic> {
    let (words, sentences) = length(text);
    let mut found = Vec::new();
    let mut warn = |code, message: String, label: String, help: &str| {
        found.push(Diagnostic::warning(code, span, message).label(label).help(help.to_owned()));
    };
    let split = "split it into steps, each with what to expect";
    if words > MOST_WORDS {
        let message = format!("this step has {words} words; {MOST_WORDS} can be followed with tools in hand");
        warn(Code::HardToRead, message, "hard to follow".to_owned(), split);
    } else if sentences > 1 {
        let message = format!("this step has {sentences} sentences; a step is one action");
        warn(Code::HardToRead, message, "hard to follow".to_owned(), split);
    } else if let Some(verb) = further_action(text) {
        let message = format!("this step goes on to another action at '{verb}'; a step is one action");
        warn(Code::TwoActions, message, "more than one action".to_owned(), split);
    }
    if let Some(word) = late_condition(text) {
        let message = format!("this step says '{word}' behind its command");
        let help = "put the condition first, so that nobody acts before reading it: 'If …, do …'";
        warn(Code::LateCondition, message, "done before it is read".to_owned(), help);
    }
    found
}

/// Words for which the house has another.
fn house_words(knowledge: &Knowledge, sources: &Sources, text: &str, span: Span) -> Vec<Diagnostic> {
    let small = text.to_lowercase();
    let all = knowledge.house_words.iter();
    let unwanted = all.flat_map(|(house, others)| others.iter().map(move |other| (house, other)));
    let found = unwanted.filter(|(_, other)| stands_in(&small, other));
    found
        .map(|(house, other)| {
            Diagnostic::warning(
                Code::HouseWord,
                within(sources, span, other),
                format!("'{other}' is not the word of this house"),
            )
            .label(format!("'{house}' here"))
            .help(format!("write '{house}'; how callers say it belongs under `said:`"))
        })
        .collect()
}

/// Whether a word or phrase stands in a text as such, or with an s for more than one.
fn stands_in(text: &str, phrase: &str) -> bool {
    let part = |c: char| c.is_alphanumeric() || c == '-';
    text.match_indices(phrase).any(|(at, _)| {
        let after = text[at + phrase.len()..].strip_prefix('s').unwrap_or(&text[at + phrase.len()..]);
        !text[..at].ends_with(part) && !after.starts_with(part)
    })
}

/// The place of a phrase inside a longer text, where it is written in one piece.
fn within(sources: &Sources, span: Span, phrase: &str) -> Span {
    let written = sources.text(span.file).get(span.start..span.end).unwrap_or("");
    let at = written.to_ascii_lowercase().find(phrase);
    at.map_or(span, |at| Span { start: span.start + at, end: span.start + at + phrase.len(), ..span })
}

#[cfg(test)]
mod tests {
    use super::stands_in;

    #[test]
    fn a_word_counts_only_when_it_stands_alone() {
        assert!(stands_in("the free fall is large", "free fall"));
        assert!(stands_in("two preacts", "preact"));
        assert!(!stands_in("a loadcell-like thing", "loadcell"));
        assert!(!stands_in("counterweigh cells", "weigh cell"));
    }
}
