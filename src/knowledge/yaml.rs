//! The one place that knows the YAML reader: a text becomes a tree of values that remember where they stand.
//!
//! Everything read is bounded: size, depth, nodes, aliases. The tree has no anchors left; duplicate keys, values
//! that are not numbers and several documents in one file are refused here.

use serde::de::{self, Deserialize, Deserializer, MapAccess, SeqAccess, Visitor};
use serde_saphyr::Spanned;
use serde_saphyr::options::DuplicateKeyPolicy;
use std::fmt;
use std::io::Read;
use std::path::Path;

use crate::diag::{Code, Diagnostic, FileId, Sources, Span};

/// Largest file accepted, in bytes.
pub const LARGEST_FILE: usize = 1 << 20;
const DEEPEST: usize = 24;
const MOST_NODES: usize = 200_000;

/// A value and where it stands.
#[derive(Debug, Clone, PartialEq)]
pub struct Node {
    /// What it is.
    pub value: Value,
    /// Where it is.
    pub span: Span,
}

/// A YAML value.
#[derive(Debug, Clone, PartialEq)]
pub enum Value {
    /// Nothing, or `~`.
    Null,
    /// `true` or `false`.
    Bool(bool),
    /// Any number; always finite.
    Number(f64),
    /// A text.
    Text(String),
    /// A list.
    List(Vec<Node>),
    /// Keys and values in the order written; keys are texts and unique.
    Map(Vec<(Node, Node)>),
}

impl Value {
    /// What it is, in words for a message.
    pub fn noun(&self) -> &'static str {
        match self {
            Value::Null => "nothing",
            Value::Bool(_) => "true or false",
            Value::Number(_) => "a number",
            Value::Text(_) => "a text",
            Value::List(_) => "a list",
            Value::Map(_) => "a group of keys",
        }
    }
}

/// The tree as the reader gives it, before spans get their file.
struct Raw(Value2);

enum Value2 {
    Null,
    Bool(bool),
    Number(f64),
    Text(String),
    List(Vec<Spanned<Raw>>),
    Map(Vec<(Spanned<String>, Spanned<Raw>)>),
}

impl<'de> Deserialize<'de> for Raw {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        deserializer.deserialize_any(RawVisitor).map(Raw)
    }
}

struct RawVisitor;

impl<'de> Visitor<'de> for RawVisitor {
    type Value = Value2;

    fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("a value")
    }

    fn visit_unit<E: de::Error>(self) -> Result<Value2, E> {
        Ok(Value2::Null)
    }

    fn visit_none<E: de::Error>(self) -> Result<Value2, E> {
        Ok(Value2::Null)
    }

    fn visit_bool<E: de::Error>(self, v: bool) -> Result<Value2, E> {
        Ok(Value2::Bool(v))
    }

    fn visit_i64<E: de::Error>(self, v: i64) -> Result<Value2, E> {
        Ok(Value2::Number(v as f64))
    }

    fn visit_u64<E: de::Error>(self, v: u64) -> Result<Value2, E> {
        Ok(Value2::Number(v as f64))
    }

    fn visit_f64<E: de::Error>(self, v: f64) -> Result<Value2, E> {
        if v.is_finite() { Ok(Value2::Number(v)) } else { Err(E::custom("a number here must be finite")) }
    }

    fn visit_str<E: de::Error>(self, v: &str) -> Result<Value2, E> {
        Ok(Value2::Text(v.to_owned()))
    }

    fn visit_some<D: Deserializer<'de>>(self, deserializer: D) -> Result<Value2, D::Error> {
        deserializer.deserialize_any(RawVisitor)
    }

    fn visit_seq<A: SeqAccess<'de>>(self, mut seq: A) -> Result<Value2, A::Error> {
        let mut items = Vec::new();
        while let Some(item) = seq.next_element()? {
            items.push(item);
        }
        Ok(Value2::List(items))
    }

    fn visit_map<A: MapAccess<'de>>(self, mut map: A) -> Result<Value2, A::Error> {
        let mut entries = Vec::new();
        while let Some(entry) = map.next_entry()? {
            entries.push(entry);
        }
        Ok(Value2::Map(entries))
    }
}

/// Reads a file's text, never more than [`LARGEST_FILE`] allows; the error says why not.
pub fn read_text(file: &Path) -> Result<String, String> {
    let mut bytes = Vec::new();
    let open = std::fs::File::open(file).map_err(|e| not_read(&e))?;
    open.take(LARGEST_FILE as u64 + 1).read_to_end(&mut bytes).map_err(|e| not_read(&e))?;
    if bytes.len() > LARGEST_FILE {
        return Err(format!("this file is larger than {LARGEST_FILE} bytes"));
    }
    String::from_utf8(bytes).map_err(|_| "this file is not UTF-8 text".to_owned())
}

/// Why a file or folder cannot be read, as a person would say it.
pub fn not_read(error: &std::io::Error) -> String {
    match error.kind() {
        std::io::ErrorKind::NotFound => "there is no such file or folder".to_owned(),
        std::io::ErrorKind::IsADirectory => "this is a folder; a file is wanted".to_owned(),
        std::io::ErrorKind::PermissionDenied => "it may not be read".to_owned(),
        _ => error.to_string(),
    }
}

/// Reads one YAML document.
#[expect(clippy::result_large_err, reason = "one problem a file, and never on a hot path")]
pub fn parse(sources: &Sources, file: FileId) -> Result<Node, Diagnostic> {
    parse_of_people(sources, file, &[])
}

/// Stands for the escape character in a veiled text.
const VEILED_ESCAPE: char = '\u{202d}';

/// A person's text with control characters that no YAML reader lets pass changed for stand-ins that are as
/// harmful, so that they can be judged in their place. Lines and columns stay.
pub fn veiled(text: &str) -> String {
    let veil = |(i, c): (usize, char)| match c {
        '\u{1b}' => VEILED_ESCAPE,
        '\r' => c,
        '\u{feff}' if i == 0 => c,
        c if crate::diag::is_harmful(c) => '\u{202e}',
        c => c,
    };
    text.char_indices().map(veil).collect()
}

/// Reads one YAML document in which people's own words stand under some keys: what could play tricks on a
/// terminal is taken out there, and refused anywhere else.
#[expect(clippy::result_large_err, reason = "one problem a file, and never on a hot path")]
pub fn parse_of_people(sources: &Sources, file: FileId, free_text: &[&str]) -> Result<Node, Diagnostic> {
    let text = sources.text(file);
    let whole = Span { file, start: 0, end: text.len().min(1) };
    if text.len() > LARGEST_FILE {
        let message = format!("this file has {} bytes; at most {LARGEST_FILE} are read", text.len());
        return Err(Diagnostic::error(Code::TooBig, whole, message));
    }
    if text.trim().is_empty() {
        return Err(Diagnostic::error(Code::Syntax, whole, "this file is empty")
            .help("start from the template of its kind in knowledge/examples/".to_owned()));
    }
    let spanned: Spanned<Raw> =
        serde_saphyr::from_str_with_options(text, options()).map_err(|e| refused(file, text, &e))?;
    let mut node = place(spanned, file);
    tame(&mut node, free_text, false);
    match control_character(&node) {
        Some(problem) => Err(problem),
        None => Ok(node),
    }
}

fn options() -> serde_saphyr::Options {
    let within = serde_saphyr::budget! {
        max_depth: DEEPEST,
        max_nodes: MOST_NODES,
        max_events: 4 * MOST_NODES,
        max_aliases: 16,
        max_anchors: 16,
        max_documents: 2,
    };
    serde_saphyr::options! {
        budget: within,
        duplicate_keys: DuplicateKeyPolicy::Error,
        strict_booleans: true,
    }
}

fn place<T>(spanned: Spanned<T>, file: FileId) -> Node
where
    T: Into<Raw>,
{
    let at = spanned.referenced.span();
    let start = at.byte_offset().unwrap_or(0) as usize;
    let end = start + at.byte_len().unwrap_or(0) as usize;
    let raw: Raw = spanned.value.into();
    let value = match raw.0 {
        Value2::Null => Value::Null,
        Value2::Bool(v) => Value::Bool(v),
        Value2::Number(v) => Value::Number(v),
        Value2::Text(v) => Value::Text(v),
        Value2::List(items) => Value::List(items.into_iter().map(|item| place(item, file)).collect()),
        Value2::Map(entries) => Value::Map(
            entries.into_iter().map(|(key, value)| (place(key, file), place(value, file))).collect(),
        ),
    };
    Node { value, span: Span { file, start, end } }
}

impl From<String> for Raw {
    fn from(text: String) -> Self {
        Raw(Value2::Text(text))
    }
}

/// The reader's own refusals, in our words where a word of ours helps.
fn refused(file: FileId, text: &str, error: &serde_saphyr::Error) -> Diagnostic {
    use serde_saphyr::Error as E;
    let at = error.location();
    // Syntax errors know their line and column only.
    let start =
        at.and_then(|l| l.span().byte_offset().map(|b| b as usize).or_else(|| byte_at(text, l))).unwrap_or(0);
    let len = at.and_then(|l| l.span().byte_len()).unwrap_or(1).max(1) as usize;
    let span = Span { file, start: start.min(text.len()), end: (start + len).min(text.len()) };
    let plain = error.without_snippet();
    let words = crate::diag::harmless(plain.to_string().lines().next().unwrap_or("unreadable"));
    // The place is said by the span, once.
    let words = words.rfind(" at line ").map_or(words.as_str(), |end| &words[..end]);
    match plain {
        E::DuplicateMappingKey { key, .. } => {
            let key = crate::diag::harmless(key.as_deref().unwrap_or("?"));
            Diagnostic::error(Code::DuplicateKey, span, format!("'{key}' stands twice in this group"))
                .help("keep one of them".to_owned())
        }
        E::Budget { .. } | E::AliasReplayLimitExceeded { .. } | E::AliasExpansionLimitExceeded { .. } => {
            too_big(span, words)
        }
        _ if words.contains("budget") || words.contains("depth") || words.contains("recursion") => {
            too_big(span, words)
        }
        E::MultipleDocuments { .. } => {
            Diagnostic::error(Code::Syntax, span, "more than one document in this file".to_owned())
                .help("one entry a file; take the line `---` out".to_owned())
        }
        _ if words.contains("non-finite") => {
            let figure = text.get(span.start..span.end).unwrap_or("this");
            let message = format!("'{figure}' is not a number that can be measured");
            Diagnostic::error(Code::BadValue, span, message)
        }
        _ => Diagnostic::error(Code::Syntax, span, format!("this is not YAML: {words}")).help(
            "look for a bracket, quote or colon that is missing or one too many, here or above".to_owned(),
        ),
    }
}

fn too_big(span: Span, words: &str) -> Diagnostic {
    let lower = words.to_lowercase();
    let what = match () {
        () if lower.contains("alias") || lower.contains("anchor") => "uses too many aliases",
        () if lower.contains("depth") || lower.contains("recursion") => "is nested too deep",
        () => "has too many values",
    };
    Diagnostic::error(Code::TooBig, span, format!("this file {what} to be an entry"))
        .label("no further than here")
        .help("write it out plainly: no aliases, and groups as in knowledge/examples/".to_owned())
}

/// The byte at a line and a column, both from one, columns in characters.
fn byte_at(text: &str, at: serde_saphyr::Location) -> Option<usize> {
    let before = (at.line() as usize).checked_sub(1)?;
    let start: usize = text.split_inclusive('\n').take(before).map(str::len).sum();
    let column = (at.column() as usize).saturating_sub(1);
    Some(start + text.get(start..)?.chars().take(column).map(char::len_utf8).sum::<usize>())
}

/// Takes out of free text what could play tricks on a terminal, keys of a group of names included.
fn tame(node: &mut Node, free_text: &[&str], free: bool) {
    match &mut node.value {
        Value::Text(text) if free => {
            *text = crate::diag::harmless(&text.replace(VEILED_ESCAPE, "\u{1b}"));
        }
        Value::List(items) => items.iter_mut().for_each(|item| tame(item, free_text, free)),
        Value::Map(entries) => {
            for (key, value) in entries {
                tame(key, free_text, free);
                let named = matches!(&key.value, Value::Text(name) if free_text.contains(&name.as_str()));
                tame(value, free_text, free || named);
            }
        }
        _ => {}
    }
}

/// The first text that holds characters which could play tricks on a terminal.
fn control_character(node: &Node) -> Option<Diagnostic> {
    match &node.value {
        Value::Text(text) if text.chars().any(crate::diag::is_harmful) => Some(
            Diagnostic::error(
                Code::ControlCharacters,
                node.span,
                "this text holds control characters or terminal escapes",
            )
            .help("type it again without them".to_owned()),
        ),
        Value::List(items) => items.iter().find_map(control_character),
        Value::Map(entries) => {
            entries.iter().find_map(|(k, v)| control_character(k).or_else(|| control_character(v)))
        }
        _ => None,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[expect(clippy::result_large_err, reason = "as in `parse`")]
    fn read(text: &str) -> Result<Node, Diagnostic> {
        let mut sources = Sources::default();
        let file = sources.add("t.yaml", text);
        parse(&sources, file)
    }

    #[test]
    fn values_remember_where_they_stand() {
        let text = "a: ü\nlist: [1, .5, yes, true, 2026-11-25]\n";
        let Value::Map(entries) = read(text).unwrap().value else { panic!() };
        let Value::List(items) = &entries[1].1.value else { panic!() };
        assert_eq!(&text[items[1].span.start..items[1].span.end], ".5");
        assert_eq!(items[2].value, Value::Text("yes".into()));
        assert_eq!(items[3].value, Value::Bool(true));
        assert!(matches!(items[4].value, Value::Text(_)));
    }

    #[test]
    fn hostile_files_are_refused_by_name() {
        let bomb = format!(
            "a: &a [x,x,x,x,x,x,x,x,x,x]\n{}",
            ('b'..'k')
                .fold((String::new(), 'a'), |(text, before), c| {
                    (format!("{text}{c}: &{c} [{}]\n", vec![format!("*{before}"); 10].join(",")), c)
                })
                .0
        );
        for (text, code) in [
            ("a: 1\na: 2\n", Code::DuplicateKey),
            (bomb.as_str(), Code::TooBig),
            (&format!("a: {}", "[".repeat(100_000)), Code::TooBig),
            (&format!("a: {}x{}", "[".repeat(40), "]".repeat(40)), Code::TooBig),
            (&"x".repeat(LARGEST_FILE + 1), Code::TooBig),
            ("a: .nan\n", Code::BadValue),
            ("a: [1, 2\nb: 3\n", Code::Syntax),
            ("a: 1\n---\nb: 2\n", Code::Syntax),
            ("a: \"\\e[31mred\"\n", Code::ControlCharacters),
            ("", Code::Syntax),
        ] {
            let problem = read(text).expect_err(&text.chars().take(40).collect::<String>());
            assert_eq!(
                problem.code,
                code,
                "{:?}: {}",
                text.chars().take(30).collect::<String>(),
                problem.message
            );
        }
    }
}
