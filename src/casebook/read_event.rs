//! Reading one event of a case file: the keys of its kind, the answer, and the names it uses.

use super::fit;
use super::form::{self, EventForm, Fault, KINDS};
use super::model::{Event, Fills, Person};
use super::read::{Reading, at};
use crate::diag::{Code, Diagnostic, Span};
use crate::ids::{CheckId, PersonId, did_you_mean};
use crate::knowledge::yaml::{Node, Value};
use crate::knowledge::{Asks, Fields, typed};
use crate::units::{Kind, Unit};

/// An event, unless something in it is wrong.
pub(super) fn event(reading: &mut Reading<'_>, node: &Node, people: &[Person]) -> Option<Event> {
    let mut fields = Fields::open(&mut reading.reader, node)?;
    let beside = kind(reading, node)?;
    let before = reading.reader.problems.len();
    let form = keys(reading, &mut fields, beside);
    let readable = reading.reader.problems.len() == before;
    let whole = fields.span;
    fields.close(&mut reading.reader);
    person(reading, node, form.by.as_ref(), people);
    timestamp(reading, node, form.at.as_deref());
    let place = |fault: &Fault| span_of(node, fault.key).unwrap_or(whole);
    let check = form.reading.clone();
    let bare = check.as_ref().map(|check| usual_unit(reading, check));
    let event = match form.into_event(bare) {
        Ok(event) if readable => event,
        refused => {
            // What could not be read has been said; here only what else is wrong.
            let faults = if readable { refused.err().unwrap_or_default() } else { Vec::new() };
            let unknown = check.and_then(|check| reading.names.check(&check).err());
            faults.iter().chain(&unknown).for_each(|fault| reading.reader.push(at(fault, place(fault))));
            return None;
        }
    };
    match reading.names.event(&event) {
        Ok(event) => Some(event),
        Err(faults) if reading.lenient => {
            let kept = fit::kept_as_remark(&event);
            reading.reader.push(Diagnostic { span: Some(whole), ..fit::no_longer(&faults) });
            Some(kept)
        }
        Err(faults) => {
            for fault in &faults {
                reading.reader.push(at(fault, place(fault)));
            }
            None
        }
    }
}

/// The keys that may stand beside the one that says what happened; exactly one does.
fn kind(reading: &mut Reading<'_>, node: &Node) -> Option<(&'static str, &'static [&'static str])> {
    let given: Vec<_> = KINDS.iter().filter(|(kind, _)| span_of(node, kind).is_some()).collect();
    match given[..] {
        [&kind] => Some(kind),
        [] => {
            reading.reader.push(at(&form::no_kind(), first_key(node)));
            None
        }
        [first, second, ..] => {
            let message =
                format!("one event says one thing, and this one has `{}` and `{}`", first.0, second.0);
            let span = span_of(node, second.0).unwrap_or(node.span);
            reading
                .reader
                .push(Diagnostic::error(Code::BadValue, span, message).help("write two events".to_owned()));
            None
        }
    }
}

fn first_key(node: &Node) -> Span {
    match &node.value {
        Value::Map(entries) => entries.first().map_or(node.span, |(key, _)| key.span),
        _ => node.span,
    }
}

fn keys(
    reading: &mut Reading<'_>,
    fields: &mut Fields<'_>,
    (kind, beside): (&'static str, &'static [&'static str]),
) -> EventForm {
    let mut form = EventForm::default();
    let reader = &mut reading.reader;
    match kind {
        "reading" => form.reading = fields.id(reader, kind).map(|id| id.value),
        "circumstance" => form.circumstance = fields.id(reader, kind).map(|id| id.value),
        "setting" => form.setting = fields.id(reader, kind).map(|id| id.value),
        "remedy" => form.remedy = fields.id(reader, kind).map(|id| id.value),
        "suspicion" => form.suspicion = fields.id(reader, kind).map(|id| id.value),
        _ => form.note = fields.text(reader, kind),
    }
    for &key in beside {
        let Some(node) = fields.get(key) else { continue };
        match key {
            "outcome" => form.outcome = reading.reader.id(node).map(|id| id.value),
            "result" => form.result = reading.reader.id(node).map(|id| id.value),
            "value" => form.value = written_figure(reading, node),
            "expected" => form.expected = written_figure(reading, node),
            "shown" => form.shown = written_figure(reading, node),
            "old" => form.old = reading.reader.text(node),
            "new" => form.new = reading.reader.text(node),
            "fills" => form.fills = fills(reading, node),
            _ => form.moment = reading.reader.choice(node, form::MOMENTS),
        }
    }
    form.by = fields.get("by").and_then(|node| reading.reader.id(node)).map(|id| typed(id).value);
    form.at = fields.maybe_text(&mut reading.reader, "at");
    form
}

/// A figure as a text; numbers as YAML understood them, whatever their spelling.
fn written_figure(reading: &mut Reading<'_>, node: &Node) -> Option<String> {
    match node.value {
        Value::Number(number) => Some(format!("{number:e}")),
        _ => reading.reader.text(node),
    }
}

/// The unit in which people give the answer to a check; any, where the check is not known.
fn usual_unit(reading: &Reading<'_>, check: &CheckId) -> &'static Unit {
    match reading.names.check(check).map(|check| &check.asks) {
        Ok(Asks::Quantity(asked)) => asked.unit,
        _ => Kind::Count.base(),
    }
}

fn person(reading: &mut Reading<'_>, node: &Node, by: Option<&PersonId>, people: &[Person]) {
    let Some(by) = by.filter(|by| !people.is_empty() && people.iter().all(|person| person.id != **by)) else {
        return;
    };
    let help = did_you_mean(by.as_str(), people.iter().map(|person| person.id.as_str()))
        .unwrap_or_else(|| "name them under `people`".to_owned());
    let span = span_of(node, "by").unwrap_or(node.span);
    let message = format!("nobody in this case is called '{by}'");
    reading.reader.push(Diagnostic::error(Code::UnknownId, span, message).help(help));
}

fn timestamp(reading: &mut Reading<'_>, node: &Node, at: Option<&str>) {
    let Some(text) = at.filter(|text| text.parse::<jiff::Timestamp>().is_err()) else { return };
    let span = span_of(node, "at").unwrap_or(node.span);
    let message = format!("'{text}' is not a time");
    let help = "write it like 2026-11-25T14:30:00Z".to_owned();
    reading.reader.push(Diagnostic::error(Code::BadValue, span, message).help(help));
}

fn fills(reading: &mut Reading<'_>, node: &Node) -> Option<Fills> {
    let mut fields = Fields::open(&mut reading.reader, node)?;
    let unit_node = fields.need(&mut reading.reader, "unit");
    let unit = unit_node.and_then(|node| reading.reader.unit(node));
    // Figures are judged even where the unit is not known, so that one run names all problems.
    let in_this = unit.unwrap_or(Kind::Mass.base());
    let target = fields.need(&mut reading.reader, "target").and_then(|node| reading.figure(node, in_this));
    let values = fields.need(&mut reading.reader, "values").and_then(|node| figures(reading, node, in_this));
    let shown = fields.get("shown").map_or(Some(Vec::new()), |node| figures(reading, node, in_this));
    let division = fields.get("division").map(|node| reading.figure(node, in_this));
    let tare = fields.get("tare").map(|node| tare(reading, node, in_this));
    let instrument = fields.maybe_text(&mut reading.reader, "instrument");
    let lanes = fields.texts(&mut reading.reader, "lanes");
    let times = fields.texts(&mut reading.reader, "times");
    let settings = fields.get("settings").map_or_else(Vec::new, |node| reading.pairs(node));
    fields.close(&mut reading.reader);
    Some(Fills {
        unit: unit?.name.to_owned(),
        target: target?,
        values: values?,
        shown: shown?,
        division: division.map_or(Some(None), |division| division.map(Some))?,
        tare: tare.map_or(Some(None), |tare| tare.map(Some))?,
        instrument,
        lanes,
        times,
        settings,
    })
}

fn figures(reading: &mut Reading<'_>, node: &Node, unit: &'static Unit) -> Option<Vec<f64>> {
    let nodes = reading.reader.list(node)?;
    let read: Vec<_> = nodes.iter().filter_map(|node| reading.figure(node, unit)).collect();
    (read.len() == nodes.len()).then_some(read)
}

fn tare(reading: &mut Reading<'_>, node: &Node, unit: &'static Unit) -> Option<(String, Vec<f64>)> {
    let mut fields = Fields::open(&mut reading.reader, node)?;
    let kinds = [("each", "each"), ("mean", "mean"), ("none", "none")];
    let kind = fields.need(&mut reading.reader, "kind").and_then(|node| reading.reader.choice(node, &kinds));
    let values = fields.get("values").map_or(Some(Vec::new()), |node| figures(reading, node, unit));
    fields.close(&mut reading.reader);
    Some((kind?.to_owned(), values?))
}

/// Where the value of a key stands; a point leads into a group.
fn span_of(node: &Node, key: &str) -> Option<Span> {
    let Value::Map(entries) = &node.value else { return None };
    let (first, rest) = key.split_once('.').unwrap_or((key, ""));
    let (_, value) = entries.iter().find(|(k, _)| k.value == Value::Text(first.to_owned()))?;
    if rest.is_empty() { Some(value.span) } else { span_of(value, rest).or(Some(value.span)) }
}
