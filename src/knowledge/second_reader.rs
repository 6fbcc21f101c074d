//! An independent second YAML reader, for vetting: a file that two readers understand differently is refused,
//! because editors and other tools would see other safety text than we do.

use serde_yaml::Value as Other;

use super::load::Texts;
use super::yaml::{self, Node, Value};
use crate::diag::{Code, Diagnostic, Sources, Span};

/// Reads every file with both readers and names each first difference. Spans point into the returned sources.
pub fn read_twice(texts: &Texts) -> (Sources, Vec<Diagnostic>) {
    let mut sources = Sources::default();
    for (_, name, text) in texts.iter() {
        sources.add(name, text);
    }
    let problems = read_again(&sources);
    (sources, problems)
}

/// Reads every text of these sources with both readers.
pub fn read_again(sources: &Sources) -> Vec<Diagnostic> {
    let mut problems = Vec::new();
    for file in sources.ids() {
        let Ok(node) = yaml::parse(sources, file) else { continue };
        match serde_yaml::from_str::<Other>(sources.text(file)) {
            Ok(other) => {
                if let Some(span) = difference(&node, &other) {
                    let message = "two YAML readers understand this differently";
                    problems.push(Diagnostic::error(Code::TwoReadings, span, message).help(
                        "write it plainly: put the text in quotes, or the list in brackets".to_owned(),
                    ));
                }
            }
            Err(error) => {
                let span = Span { file, start: 0, end: 1.min(sources.text(file).len()) };
                let message = format!("a second YAML reader refuses this file: {error}");
                problems.push(Diagnostic::error(Code::TwoReadings, span, message));
            }
        }
    }
    problems
}

/// The place of the first value on which the two differ.
fn difference(ours: &Node, other: &Other) -> Option<Span> {
    let same = match (&ours.value, other) {
        (Value::Null, Other::Null) => true,
        (Value::Bool(a), Other::Bool(b)) => a == b,
        (Value::Number(a), Other::Number(b)) => b.as_f64() == Some(*a),
        (Value::Text(a), Other::String(b)) => a == b,
        (Value::List(a), Other::Sequence(b)) if a.len() == b.len() => {
            return a.iter().zip(b).find_map(|(a, b)| difference(a, b));
        }
        (Value::Map(a), Other::Mapping(b)) if a.len() == b.len() => {
            return a
                .iter()
                .zip(b)
                .find_map(|((ka, va), (kb, vb))| difference(ka, kb).or_else(|| difference(va, vb)));
        }
        _ => false,
    };
    (!same).then_some(ours.span)
}
