//! Lessons as files: those of the knowledge, and one that a person hands in.

use super::change::Change;
use super::{LESSON_KINDS, Lesson, LessonEntry};
use crate::diag::{Code, Diagnostic, Sources};
use crate::ids::{LessonId, MachineId};
use crate::knowledge::edit::Scalar;
use crate::knowledge::fields::{Fields, Reader};
use crate::knowledge::model::{Head, Scale};
use crate::knowledge::yaml::{self, Node, Value};

/// Most changes of one lesson.
const MOST_CHANGES: usize = 20;
/// Most cases that a lesson can rest on.
const MOST_CASES: f64 = 1e7;

/// A lesson of the knowledge.
pub(in crate::knowledge) fn entry(reader: &mut Reader<'_>, id: &str, node: &Node) -> Option<LessonEntry> {
    let lesson = lesson(reader, node)?;
    let title = lesson.title.clone();
    let head = Head { title, about: None, said: Vec::new(), basis: None, was: Vec::new(), span: node.span };
    Some(LessonEntry { id: id.into(), head, lesson })
}

/// Reads a lesson that a person wrote as a file.
pub fn read(name: &str, text: &str) -> (Option<Lesson>, Vec<Diagnostic>, Sources) {
    let mut sources = Sources::default();
    let file = sources.add(name, text);
    let scale = Scale::default();
    let (lesson, problems) =
        match yaml::parse_of_people(&sources, file, &["title", "told", "by", "adds", "read_by"]) {
            Err(problem) => (None, vec![problem]),
            Ok(node) => {
                let mut reader = Reader::new(&sources, &scale);
                let lesson = lesson(&mut reader, &node);
                (lesson, reader.problems)
            }
        };
    (lesson.filter(|_| problems.is_empty()), problems, sources)
}

fn lesson(reader: &mut Reader<'_>, node: &Node) -> Option<Lesson> {
    let mut fields = Fields::open(reader, node)?;
    let title = fields.text(reader, "title");
    // One line, however it was folded.
    let told = fields.text(reader, "told").map(|told| told.split_whitespace().collect::<Vec<_>>().join(" "));
    let kind = fields.need(reader, "kind").and_then(|n| reader.choice(n, LESSON_KINDS));
    let name =
        |reader: &mut Reader<'_>, node: Option<&Node>| node.and_then(|n| reader.id(n)).map(|id| id.value);
    let machine = fields.get("machine");
    let machine = name(reader, machine).map(|id| MachineId::from(id.as_str()));
    let again = fields.get("again");
    let again = name(reader, again).map(|id| LessonId::from(id.as_str()));
    let replaced_by = fields.get("replaced_by");
    let replaced_by = name(reader, replaced_by).map(|id| LessonId::from(id.as_str()));
    let by = fields.text(reader, "by");
    let recorded = fields.need(reader, "recorded").and_then(|n| day(reader, n));
    let read_by = fields.maybe_text(reader, "read_by");
    let accepted = fields.get("accepted").and_then(|n| day(reader, n));
    let cases = fields.get("cases").and_then(|n| reader.number(n, 0.0, MOST_CASES)).map(|cases| cases as u64);
    let bears_on = fields.texts(reader, "bears_on");
    let listed = fields.list(reader, "changes");
    if listed.len() > MOST_CHANGES {
        let message = format!("a lesson changes at most {MOST_CHANGES} things");
        reader.push(Diagnostic::error(Code::TooBig, node.span, message));
    }
    let changes = listed.iter().take(MOST_CHANGES).filter_map(|node| change(reader, node)).collect();
    fields.close(reader);
    Some(Lesson {
        title: title?,
        told: told?,
        kind: kind?,
        machine,
        bears_on,
        again,
        by: by?,
        recorded: recorded?,
        cases,
        changes,
        read_by,
        accepted,
        replaced_by,
    })
}

/// A day, as 2026-11-25.
fn day(reader: &mut Reader<'_>, node: &Node) -> Option<String> {
    let text = reader.text(node)?;
    if text.parse::<jiff::civil::Date>().is_ok() {
        return Some(text);
    }
    let message = format!("'{text}' is not a day");
    reader.push(
        Diagnostic::error(Code::WrongType, node.span, message).help("write it as 2026-11-25".to_owned()),
    );
    None
}

fn change(reader: &mut Reader<'_>, node: &Node) -> Option<Change> {
    let mut fields = Fields::open(reader, node)?;
    let file = fields.text(reader, "file");
    let place = fields.maybe_text(reader, "place");
    let scalar = |node: Option<&Node>| match node.map(|node| &node.value) {
        Some(Value::Number(number)) => Some(Scalar::Number(*number)),
        Some(Value::Text(text)) => Some(Scalar::Text(text.clone())),
        _ => None,
    };
    let was = scalar(fields.get("was"));
    let to = scalar(fields.get("to"));
    let adds = scalar(fields.get("adds"));
    let whole = fields.get("whole").and_then(|node| match &node.value {
        Value::Text(text) => Some(text.clone()),
        _ => None,
    });
    fields.close(reader);
    let file = file?;
    match (place, to, adds, whole) {
        (Some(place), Some(to), None, None) => Some(Change::Set { file, place, was, to }),
        (Some(place), None, Some(adds), None) if was.is_none() => Some(Change::Add { file, place, adds }),
        (None, None, None, Some(whole)) if was.is_none() => Some(Change::File { file, whole }),
        _ => {
            let message = "a change has `place` and `to`, or `place` and `adds`, or `whole`".to_owned();
            reader.push(Diagnostic::error(Code::MissingKey, node.span, message));
            None
        }
    }
}
