//! Editing an entry: a splice at a known place, read again and compared. Comments and layout stay byte for byte outside of
//! what is changed; nothing is ever written out anew from what was understood.

use std::fmt;

use serde::{Deserialize, Serialize};

use super::yaml::{self, Node, Value};
use crate::diag::{Sources, harmless};

/// The longest text that is put into a file.
const LONGEST: usize = 2000;

/// Where in an entry: keys and places in lists, as `leads_to.1.strength`. In a list of groups a place may be named by the
/// value of its `id`, `finding` or `check`: `leads_to.fills-steadily-light.strength`.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
pub struct Place(Vec<String>);

impl Place {
    /// Takes a place apart at its dots.
    pub fn parse(text: &str) -> Option<Self> {
        let parts: Vec<String> = text.split('.').map(str::to_owned).collect();
        let plain = |part: &String| {
            !part.is_empty()
                && part.len() <= 64
                && part.chars().all(|c| c.is_ascii_alphanumeric() || c == '-' || c == '_')
        };
        (parts.len() <= 12 && parts.iter().all(plain)).then_some(Self(parts))
    }
}

impl fmt::Display for Place {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.0.join("."))
    }
}

/// What is put into a file.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(untagged)]
pub enum Scalar {
    /// A number.
    Number(f64),
    /// A text: a word of the scale, an id, what a caller says.
    Text(String),
}

impl Scalar {
    fn value(&self) -> Value {
        match self {
            Scalar::Number(number) => Value::Number(*number),
            Scalar::Text(text) => Value::Text(text.clone()),
        }
    }

    /// As it stands in a file: plain where every reader takes it for the same text, else in single quotes.
    pub(super) fn written(&self) -> Result<String, EditError> {
        match self {
            Scalar::Number(number) if number.is_finite() => Ok(format!("{number}")),
            Scalar::Number(_) => Err(EditError::Unfit("a number that is not finite".to_owned())),
            Scalar::Text(text) => {
                let clean = harmless(text);
                let odd = clean.trim() != *text
                    || clean.contains(['\n', '\r', '\t', '\u{2028}', '\u{2029}', '\u{85}']);
                if text.is_empty() || odd || text.len() > LONGEST {
                    return Err(EditError::Unfit(format!(
                        "'{}'",
                        clean.chars().take(80).collect::<String>()
                    )));
                }
                Ok(if is_plain(text) { text.clone() } else { format!("'{}'", text.replace('\'', "''")) })
            }
        }
    }
}

impl fmt::Display for Scalar {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Scalar::Number(number) => write!(f, "{number}"),
            Scalar::Text(text) => f.write_str(text),
        }
    }
}

/// Whether a text needs no quotes in a flow or a block: words that no reader takes for anything else.
fn is_plain(text: &str) -> bool {
    let letters = text.starts_with(|c: char| c.is_alphabetic());
    let plain = text.chars().all(|c| c.is_alphanumeric() || " -_/()".contains(c));
    let special = ["true", "false", "null", "yes", "no", "on", "off", "y", "n", "inf", "nan", "infinity"];
    letters && plain && !special.contains(&text.to_lowercase().as_str())
}

/// Why a file was left as it is.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum EditError {
    /// The text is no YAML.
    #[error("it cannot be read: {0}")]
    Unreadable(String),
    /// Nothing stands there.
    #[error("there is no '{0}' in it")]
    NoSuchPlace(String),
    /// Something else stands there than what can be changed so.
    #[error("'{place}' is {what} and cannot be changed so")]
    NotThatKind {
        /// Where.
        place: String,
        /// What stands there.
        what: &'static str,
    },
    /// What is to be put in cannot stand in a file.
    #[error("{0} cannot be put into a file")]
    Unfit(String),
    /// The splice would have changed more than it should; nothing was changed.
    #[error("changing '{0}' would have changed more than that; do it by hand")]
    WouldChangeMore(String),
}

/// What stands at a place, if it is a single value.
pub fn at(text: &str, place: &Place) -> Result<Option<Scalar>, EditError> {
    let root = parsed(text)?;
    Ok(find(&root, &place.0).and_then(|node| match &node.value {
        Value::Number(number) => Some(Scalar::Number(*number)),
        Value::Text(text) => Some(Scalar::Text(text.clone())),
        _ => None,
    }))
}

/// Whether the list at a place holds this item.
pub fn holds(text: &str, place: &Place, item: &Scalar) -> bool {
    let Ok(root) = parsed(text) else { return false };
    match find(&root, &place.0).map(|node| &node.value) {
        Some(Value::List(items)) => items.iter().any(|own| own.value == item.value()),
        _ => false,
    }
}

/// The numbers of an entry that a lesson may find off, with where they stand: rates, strengths, hits, false alarms, leaks,
/// what works. Words that stand for numbers are among them.
pub fn numbers(text: &str) -> Vec<(Place, Scalar)> {
    let mut found = Vec::new();
    if let Ok(root) = parsed(text) {
        gather(&root, &mut Vec::new(), &mut found);
    }
    found
}

/// Keys under which a number of the model stands.
const NUMBERED: &[&str] = &[
    "machines",
    "after",
    "strength",
    "hit",
    "false_alarm",
    "leak",
    "works",
    "usual",
    "minutes",
    "held_minutes",
];

fn gather(node: &Node, own: &mut Vec<String>, found: &mut Vec<(Place, Scalar)>) {
    let below: Vec<(String, &Node)> = match &node.value {
        Value::Map(entries) => entries
            .iter()
            .filter_map(|(key, value)| match &key.value {
                Value::Text(key) => Some((key.clone(), value)),
                _ => None,
            })
            .collect(),
        Value::List(items) => {
            items.iter().enumerate().map(|(place, item)| (name_in(place, item), item)).collect()
        }
        Value::Number(number) if named_number(own) => {
            found.push((Place(own.clone()), Scalar::Number(*number)));
            return;
        }
        Value::Text(text) if named_number(own) => {
            found.push((Place(own.clone()), Scalar::Text(text.clone())));
            return;
        }
        _ => return,
    };
    for (part, value) in below {
        own.push(part);
        gather(value, own, found);
        own.pop();
    }
}

fn named_number(own: &[String]) -> bool {
    let is = |part: &String| NUMBERED.contains(&part.as_str());
    let last = own.last().is_some_and(|part| is(part) && part != "machines" && part != "after");
    last || own.iter().rev().nth(1).is_some_and(|part| part == "machines" || part == "after")
}

/// A group in a list goes by what names it, where something does.
fn name_in(place: usize, item: &Node) -> String {
    let Value::Map(entries) = &item.value else { return place.to_string() };
    let name = entries.iter().find_map(|(key, value)| match (&key.value, &value.value) {
        (Value::Text(key), Value::Text(name)) if ["id", "finding"].contains(&key.as_str()) => {
            Some(name.clone())
        }
        _ => None,
    });
    name.unwrap_or_else(|| place.to_string())
}

/// The text with the single value at a place changed. Where the last key does not stand there yet, it is added to its group.
pub fn set(text: &str, place: &Place, to: &Scalar) -> Result<String, EditError> {
    let root = parsed(text)?;
    let written = to.written()?;
    if let Some(node) = find(&root, &place.0) {
        if matches!(node.value, Value::List(_) | Value::Map(_)) {
            let what = node.value.noun();
            return Err(EditError::NotThatKind { place: place.to_string(), what });
        }
        let edited = spliced(text, node.span.start, node.span.end, &written);
        let expected = with(&root, &resolved(&root, &place.0), &|node| node.value = to.value());
        return sure(edited, &expected, place);
    }
    let missing = || EditError::NoSuchPlace(place.to_string());
    let (key, above) = place.0.split_last().ok_or_else(missing)?;
    let group = find(&root, above).ok_or_else(missing)?;
    let Value::Map(entries) = &group.value else { return Err(missing()) };
    let last = entries.last().ok_or_else(missing)?;
    let flow = text[group.span.start..].starts_with('{');
    let (end, between) = after(text, &last.1, flow, last.0.span.start);
    let edited = spliced(text, end, end, &format!("{between}{key}: {written}"));
    let expected = with(&root, &resolved(&root, above), &|node| {
        if let Value::Map(entries) = &mut node.value {
            let blank = |value| Node { value, span: group.span };
            entries.push((blank(Value::Text(key.clone())), blank(to.value())));
        }
    });
    sure(edited, &expected, place)
}

/// The text with one more item at the end of the list at a place. Where the entry has no such list yet, it gets one.
pub fn add(text: &str, place: &Place, item: &Scalar) -> Result<String, EditError> {
    let root = parsed(text)?;
    let written = item.written()?;
    let Some(node) = find(&root, &place.0) else {
        let [key] = place.0.as_slice() else { return Err(EditError::NoSuchPlace(place.to_string())) };
        let edited = format!("{}{key}: [{written}]\n", ended(text));
        let add = |node: &mut Node| {
            if let Value::Map(entries) = &mut node.value {
                let blank = |value| Node { value, span: root.span };
                let list = blank(Value::List(vec![blank(item.value())]));
                entries.push((blank(Value::Text(key.clone())), list));
            }
        };
        return sure(edited, &with(&root, &[], &add), place);
    };
    let Value::List(items) = &node.value else {
        let what = node.value.noun();
        return Err(EditError::NotThatKind { place: place.to_string(), what });
    };
    let flow = text[node.span.start..].starts_with('[');
    let edited = match items.last() {
        Some(last) if flow => {
            let (end, between) = after(text, last, true, last.span.start);
            spliced(text, end, end, &format!("{between}{written}"))
        }
        Some(last) => {
            let dash = text[..last.span.start].rfind('-').unwrap_or(last.span.start);
            let (end, between) = after(text, last, false, dash);
            spliced(text, end, end, &format!("{between}- {written}"))
        }
        None if flow => spliced(text, node.span.start + 1, node.span.start + 1, &written),
        None => return Err(EditError::NoSuchPlace(place.to_string())),
    };
    let push = |node: &mut Node| {
        if let Value::List(items) = &mut node.value {
            items.push(Node { value: item.value(), span: node.span });
        }
    };
    sure(edited, &with(&root, &resolved(&root, &place.0), &push), place)
}

fn parsed(text: &str) -> Result<Node, EditError> {
    let mut sources = Sources::default();
    let file = sources.add("entry", text);
    yaml::parse(&sources, file).map_err(|problem| EditError::Unreadable(problem.message))
}

fn spliced(text: &str, start: usize, end: usize, with: &str) -> String {
    format!("{}{with}{}", &text[..start], &text[end..])
}

fn ended(text: &str) -> String {
    if text.ends_with('\n') { text.to_owned() } else { format!("{text}\n") }
}

/// Where the next item goes after the last one, and what stands between them.
fn after(text: &str, last: &Node, flow: bool, first: usize) -> (usize, String) {
    let end = end_of(text, last);
    if flow {
        return (end, ", ".to_owned());
    }
    // A block goes on in a line of its own, under the first of its kind, behind any remark on the line.
    let line = text[end..].find('\n').map_or(text.len(), |place| end + place);
    let begin = text[..first].rfind('\n').map_or(0, |place| place + 1);
    (line, format!("\n{}", " ".repeat(first - begin)))
}

/// Where a value ends; groups and lists in brackets end behind their bracket, others where their last value does.
fn end_of(text: &str, node: &Node) -> usize {
    let bracket = text[node.span.start.min(text.len())..].chars().next();
    match &node.value {
        Value::List(items) if bracket != Some('[') => {
            items.last().map_or(node.span.end, |last| end_of(text, last))
        }
        Value::Map(entries) if bracket != Some('{') => {
            entries.last().map_or(node.span.end, |last| end_of(text, &last.1))
        }
        Value::List(items) => {
            closed(text, items.last().map_or(node.span.start + 1, |last| end_of(text, last)), ']')
        }
        Value::Map(entries) => {
            closed(text, entries.last().map_or(node.span.start + 1, |last| end_of(text, &last.1)), '}')
        }
        _ => node.span.end,
    }
}

/// Behind the closing bracket that comes next; remarks in between are passed over.
fn closed(text: &str, from: usize, bracket: char) -> usize {
    let mut remark = false;
    for (place, c) in text[from..].char_indices() {
        match c {
            '\n' => remark = false,
            '#' => remark = true,
            c if c == bracket && !remark => return from + place + c.len_utf8(),
            _ => {}
        }
    }
    from
}

/// The node at a place.
fn find<'n>(root: &'n Node, parts: &[String]) -> Option<&'n Node> {
    parts.iter().try_fold(root, |node, part| match &node.value {
        Value::Map(entries) => {
            entries.iter().find(|(key, _)| key.value == Value::Text(part.clone())).map(|(_, value)| value)
        }
        Value::List(items) => items.get(index(items, part)?),
        _ => None,
    })
}

/// A place in a list, by number or by what names the group there.
fn index(items: &[Node], part: &str) -> Option<usize> {
    let named = |node: &Node| {
        let Value::Map(entries) = &node.value else { return node.value == Value::Text(part.to_owned()) };
        entries.iter().any(|(key, value)| {
            let names =
                ["id", "finding", "check"].iter().any(|name| key.value == Value::Text((*name).to_owned()));
            names && value.value == Value::Text(part.to_owned())
        })
    };
    part.parse().ok().or_else(|| items.iter().position(named))
}

/// The same place with every part of a list as a number.
fn resolved(root: &Node, parts: &[String]) -> Vec<String> {
    let mut node = Some(root);
    let step = |part: &String| {
        let number = match node.map(|node| &node.value) {
            Some(Value::List(items)) => index(items, part).map(|index| index.to_string()),
            _ => None,
        };
        let own = number.unwrap_or_else(|| part.clone());
        node = node.and_then(|node| find(node, std::slice::from_ref(&own)));
        own
    };
    parts.iter().map(step).collect()
}

/// The tree with one node changed.
fn with(root: &Node, parts: &[String], change: &dyn Fn(&mut Node)) -> Node {
    let mut root = root.clone();
    let found = parts.iter().try_fold(&mut root, |node, part| match &mut node.value {
        Value::Map(entries) => {
            entries.iter_mut().find(|(key, _)| key.value == Value::Text(part.clone())).map(|(_, value)| value)
        }
        Value::List(items) => part.parse().ok().and_then(|index: usize| items.get_mut(index)),
        _ => None,
    });
    if let Some(node) = found {
        change(node);
    }
    root
}

/// Reads the edited text again: it must be the old tree with the one change, and nothing else.
fn sure(edited: String, expected: &Node, place: &Place) -> Result<String, EditError> {
    let again = parsed(&edited).map_err(|_| EditError::WouldChangeMore(place.to_string()))?;
    if same(&again, expected) { Ok(edited) } else { Err(EditError::WouldChangeMore(place.to_string())) }
}

fn same(one: &Node, other: &Node) -> bool {
    match (&one.value, &other.value) {
        (Value::List(one), Value::List(other)) => {
            one.len() == other.len() && one.iter().zip(other).all(|(one, other)| same(one, other))
        }
        (Value::Map(one), Value::Map(other)) => {
            let pair = |((k, v), (l, w)): (&(Node, Node), &(Node, Node))| same(k, l) && same(v, w);
            one.len() == other.len() && one.iter().zip(other).all(pair)
        }
        (one, other) => one == other,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn place(text: &str) -> Place {
        Place::parse(text).unwrap()
    }

    #[test]
    fn only_what_is_changed_changes() {
        let text = "title: A   # remark\nmachines: {single: common, two: 45}   # of two\nleads_to:\n  - {finding: light, strength: usually}\n  # why\n  - finding: wide\n    strength: .3 # guess\nsaid: [one, 'two, three']\n";
        let rate = set(text, &place("machines.two"), &Scalar::Number(21.5)).unwrap();
        assert_eq!(rate, text.replace("two: 45", "two: 21.5"));
        let word = set(text, &place("leads_to.wide.strength"), &Scalar::Text("often".into())).unwrap();
        assert_eq!(word, text.replace(".3 # guess", "often # guess"));
        let said = add(text, &place("said"), &Scalar::Text("it's short: 5 g".into())).unwrap();
        assert_eq!(said, text.replace("three']", "three', 'it''s short: 5 g']"));
        let new = set(text, &place("leads_to.wide.note"), &Scalar::Number(1.0)).unwrap();
        assert_eq!(new, text.replace(".3 # guess", ".3 # guess\n    note: 1"));
        let other = add(text, &place("was"), &Scalar::Text("old".into())).unwrap();
        assert_eq!(other, format!("{text}was: [old]\n"));
    }

    #[test]
    fn what_could_be_taken_for_something_else_is_quoted_and_what_cannot_stand_there_is_refused() {
        for text in
            ["no", "true", "5 g", "a: b", "# not a remark", "it's", "- dash", "{", "a, b", "*x", "null"]
        {
            let edited = set("title: A\n", &place("title"), &Scalar::Text(text.to_owned())).unwrap();
            assert_eq!(
                at(&edited, &place("title")).unwrap(),
                Some(Scalar::Text(text.to_owned())),
                "{edited}"
            );
        }
        for text in ["", "a\nb", "a\u{1b}[31m", " a"] {
            let refused = set("title: A\n", &place("title"), &Scalar::Text(text.to_owned()));
            assert!(matches!(refused, Err(EditError::Unfit(_))), "{text:?}");
        }
        assert!(matches!(
            set("a: [1]\n", &place("a"), &Scalar::Number(1.0)),
            Err(EditError::NotThatKind { .. })
        ));
        assert!(matches!(set("a: 1\n", &place("b.c"), &Scalar::Number(1.0)), Err(EditError::NoSuchPlace(_))));
    }
}
