//! Takes a group of keys apart: what must be there, what may be there, and what nobody asked for.
//!
//! Problems are collected, never thrown, so that one run names them all. A getter that fails has pushed its
//! problem and gives `None`.

use super::model::{At, Scale};
use super::yaml::{Node, Value};
use crate::diag::{Code, Diagnostic, Sources, Span};
use crate::ids;
use crate::units::{Kind, Quantity, Unit};

/// What every getter needs: the texts, the words that stand for numbers, and where problems go.
pub struct Reader<'a> {
    /// The texts read so far.
    pub sources: &'a Sources,
    /// Words that stand for numbers.
    pub scale: &'a Scale,
    /// Problems found.
    pub problems: Vec<Diagnostic>,
}

impl<'a> Reader<'a> {
    /// A reader without problems yet.
    pub fn new(sources: &'a Sources, scale: &'a Scale) -> Self {
        Self { sources, scale, problems: Vec::new() }
    }

    /// Keeps a problem.
    pub fn push(&mut self, problem: Diagnostic) {
        self.problems.push(problem);
    }

    /// A value of the wrong type.
    fn wrong(&mut self, node: &Node, wanted: &str) {
        let message = format!("{wanted} is wanted here, and this is {}", node.value.noun());
        let help = match (wanted, &node.value) {
            ("true or false", _) => Some("write true or false, without quotes"),
            ("a list", Value::Null) => Some("write [] if there is none, or take the key out"),
            ("a list", _) => Some("put it in brackets: [one, two]"),
            ("a text", Value::Bool(_)) => Some("put the word in quotes"),
            _ => None,
        };
        self.push(
            Diagnostic::error(Code::WrongType, node.span, message)
                .label(format!("not {wanted}"))
                .help(help.map(str::to_owned)),
        );
    }

    /// A text; a number is taken as it was written.
    pub fn text(&mut self, node: &Node) -> Option<String> {
        match &node.value {
            Value::Text(text) if text.trim().is_empty() => {
                self.push(Diagnostic::error(Code::WrongType, node.span, "this text is empty"));
                None
            }
            Value::Text(text) => Some(text.trim().to_owned()),
            Value::Number(_) => {
                Some(self.sources.text(node.span.file)[node.span.start..node.span.end].to_owned())
            }
            _ => {
                self.wrong(node, "a text");
                None
            }
        }
    }

    /// A finite number within a range.
    pub fn number(&mut self, node: &Node, low: f64, high: f64) -> Option<f64> {
        let Value::Number(number) = node.value else {
            self.wrong(node, "a number");
            return None;
        };
        if (low..=high).contains(&number) {
            return Some(number);
        }
        let message = format!("{number} is out of range; from {low} to {high} makes sense here");
        self.push(Diagnostic::error(Code::OutOfRange, node.span, message));
        None
    }

    /// `true` or `false`; bare yes, no, on and off are refused.
    pub fn truth(&mut self, node: &Node) -> Option<bool> {
        if let Value::Bool(truth) = node.value {
            return Some(truth);
        }
        self.wrong(node, "true or false");
        None
    }

    /// A list.
    pub fn list<'n>(&mut self, node: &'n Node) -> Option<&'n [Node]> {
        if let Value::List(items) = &node.value {
            return Some(items);
        }
        self.wrong(node, "a list");
        None
    }

    /// A well-formed id with its place.
    pub fn id(&mut self, node: &Node) -> Option<At<String>> {
        let text = self.text(node)?;
        if ids::well_formed(&text) {
            return Some(At { value: text, span: node.span });
        }
        let message = format!("'{text}' is not an id; an id is lower-case words joined by hyphens");
        self.push(Diagnostic::error(Code::BadId, node.span, message));
        None
    }

    /// A quantity of one kind, in its base unit.
    pub fn quantity(&mut self, node: &Node, kind: Kind) -> Option<f64> {
        let text = self.text(node)?;
        match Quantity::parse(&text).and_then(|_| Quantity::parse_in(&text, kind.base())) {
            Ok(quantity) => Some(quantity.base()),
            Err(error) => {
                self.push(Diagnostic::error(Code::BadUnit, node.span, error.to_string()));
                None
            }
        }
    }

    /// A quantity above zero.
    pub fn positive(&mut self, node: &Node, kind: Kind) -> Option<f64> {
        let base = self.quantity(node, kind)?;
        if base > 0.0 {
            return Some(base);
        }
        self.push(Diagnostic::error(
            Code::OutOfRange,
            node.span,
            format!("this {} must be above zero", kind.noun()),
        ));
        None
    }

    /// A unit by name.
    pub fn unit(&mut self, node: &Node) -> Option<&'static Unit> {
        let text = self.text(node)?;
        let unit = Unit::find(&text);
        if unit.is_none() {
            let problem =
                Diagnostic::error(Code::BadUnit, node.span, format!("'{text}' is not a unit known here"))
                    .help(ids::did_you_mean(&text, Unit::names()));
            self.push(problem);
        }
        unit
    }

    /// One of a set of words.
    pub fn choice<T: Copy>(&mut self, node: &Node, known: &[(&'static str, T)]) -> Option<T> {
        let text = self.text(node)?;
        let found = known.iter().find(|(word, _)| *word == text).map(|(_, value)| *value);
        if found.is_none() {
            let words: Vec<_> = known.iter().map(|(word, _)| *word).collect();
            let help = ids::did_you_mean(&text, words.iter().copied())
                .unwrap_or_else(|| format!("one of: {}", words.join(", ")));
            self.push(
                Diagnostic::error(Code::BadValue, node.span, format!("'{text}' is not known here"))
                    .help(help),
            );
        }
        found
    }

    /// A number or a word that stands for one.
    pub fn scaled(
        &mut self,
        node: &Node,
        words: &std::collections::BTreeMap<String, f64>,
        range: (f64, f64),
    ) -> Option<f64> {
        if matches!(node.value, Value::Number(_)) {
            return self.number(node, range.0, range.1);
        }
        let text = self.text(node)?;
        let found = words.get(&text).copied();
        if found.is_none() {
            let known: Vec<_> = words.keys().map(String::as_str).collect();
            let help = ids::did_you_mean(&text, known.iter().copied())
                .unwrap_or_else(|| format!("a number, or one of: {}", known.join(", ")));
            let message = format!("'{text}' is not a word that stands for a number here");
            self.push(Diagnostic::error(Code::BadValue, node.span, message).help(help));
        }
        found
    }
}

/// The keys of one group, of which some have been asked for.
pub struct Fields<'n> {
    entries: &'n [(Node, Node)],
    /// Where the group stands, or the key that opens the entry.
    pub span: Span,
    asked: Vec<&'static str>,
}

impl<'n> Fields<'n> {
    /// Opens a group; anything else is a problem.
    pub fn open(reader: &mut Reader<'_>, node: &'n Node) -> Option<Self> {
        let Value::Map(entries) = &node.value else {
            reader.wrong(node, "a group of keys");
            return None;
        };
        let span = entries.first().map_or(node.span, |(key, _)| key.span);
        Some(Self { entries, span, asked: Vec::new() })
    }

    /// The value of a key that may be there.
    pub fn get(&mut self, key: &'static str) -> Option<&'n Node> {
        self.asked.push(key);
        self.entries.iter().find(|(k, _)| k.value == Value::Text(key.to_owned())).map(|(_, value)| value)
    }

    /// The value of a key that must be there.
    pub fn need(&mut self, reader: &mut Reader<'_>, key: &'static str) -> Option<&'n Node> {
        let found = self.get(key);
        if found.is_none() {
            let problem = Diagnostic::error(Code::MissingKey, self.span, format!("'{key}' is missing"))
                .label(format!("in this group there is no '{key}'"))
                .help(format!("add `{key}:`; the templates in knowledge/examples/ show what it holds"));
            reader.push(problem);
        }
        found
    }

    /// A text that must be there.
    pub fn text(&mut self, reader: &mut Reader<'_>, key: &'static str) -> Option<String> {
        let node = self.need(reader, key)?;
        reader.text(node)
    }

    /// A text that may be there.
    pub fn maybe_text(&mut self, reader: &mut Reader<'_>, key: &'static str) -> Option<String> {
        self.get(key).and_then(|node| reader.text(node))
    }

    /// `true` or `false`, false when left out.
    pub fn flag(&mut self, reader: &mut Reader<'_>, key: &'static str) -> bool {
        self.get(key).and_then(|node| reader.truth(node)).unwrap_or(false)
    }

    /// A list that may be left out and may not be left empty by mistake.
    pub fn list(&mut self, reader: &mut Reader<'_>, key: &'static str) -> &'n [Node] {
        self.get(key).and_then(|node| reader.list(node)).unwrap_or(&[])
    }

    /// A list of texts.
    pub fn texts(&mut self, reader: &mut Reader<'_>, key: &'static str) -> Vec<String> {
        self.list(reader, key).iter().filter_map(|node| reader.text(node)).collect()
    }

    /// A list of ids with their places.
    pub fn ids<T: for<'t> From<&'t str>>(
        &mut self,
        reader: &mut Reader<'_>,
        key: &'static str,
    ) -> Vec<At<T>> {
        self.list(reader, key).iter().filter_map(|node| reader.id(node)).map(typed).collect()
    }

    /// An id that must be there.
    pub fn id<T: for<'t> From<&'t str>>(
        &mut self,
        reader: &mut Reader<'_>,
        key: &'static str,
    ) -> Option<At<T>> {
        let node = self.need(reader, key)?;
        reader.id(node).map(typed)
    }

    /// The keys and values of this group, for groups whose keys are names.
    pub fn entries(&self) -> &'n [(Node, Node)] {
        self.entries
    }

    /// Names every key that nobody asked for.
    pub fn close(self, reader: &mut Reader<'_>) {
        for (key, _) in self.entries {
            let Value::Text(name) = &key.value else {
                reader.wrong(key, "a key in words");
                continue;
            };
            if !self.asked.contains(&name.as_str()) {
                let help = ids::did_you_mean(name, self.asked.iter().copied())
                    .unwrap_or_else(|| format!("known here: {}", self.asked.join(", ")));
                reader.push(
                    Diagnostic::error(
                        Code::UnknownKey,
                        key.span,
                        format!("'{name}' is not a key of this group"),
                    )
                    .help(help),
                );
            }
        }
    }
}

/// Gives an id its type.
#[expect(clippy::needless_pass_by_value, reason = "it takes the place of the untyped one in iterator chains")]
pub fn typed<T: for<'t> From<&'t str>>(id: At<String>) -> At<T> {
    At { value: T::from(&id.value), span: id.span }
}
