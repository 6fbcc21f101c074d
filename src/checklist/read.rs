//! From the keys of a file to a list.

use super::acceptance::Limits;
use super::model::{Checklist, Choice, Condition, Failure, Item, Kind, Leads, Measure, On, RunAsk, Section};
use crate::diag::{Code, Diagnostic};
use crate::ids::{ItemId, ListId, MachineId, OutcomeId, PlaceId};
use crate::knowledge::yaml::{Node, Value};
use crate::knowledge::{
    ASKED, At, FILLS, Fields, MINUTES, QUANTITIES, Reader, Step, Work, basis, safety_read, step, typed,
};
use crate::safety::{Exposure, StepText};
use crate::units::{Quantity, Unit};

/// How much of the tolerance the mean of a run may be off by when the list does not say.
const MEAN_WITHIN: f64 = 0.5;
/// More people than this sign no line.
const MOST_NAMES: f64 = 9.0;

/// A whole list.
pub(super) fn checklist(reader: &mut Reader<'_>, id: &str, node: &Node) -> Option<Checklist> {
    let mut fields = Fields::open(reader, node)?;
    let (title, about) = (fields.text(reader, "title"), fields.text(reader, "about"));
    let machines = fields.get("machines").is_some().then(|| fields.ids::<MachineId>(reader, "machines"));
    let revision = fields.need(reader, "revision").and_then(|n| reader.number(n, 1.0, 10_000.0));
    let after = fields.ids::<ListId>(reader, "after");
    let unconnected = fields.flag(reader, "unconnected");
    let minutes = fields.need(reader, "minutes").and_then(|n| reader.number(n, MINUTES.0, MINUTES.1));
    let basis = fields.get("basis").and_then(|n| basis(reader, n));
    let written = fields.need(reader, "sections").and_then(|n| reader.list(n)).unwrap_or(&[]);
    let span = fields.span;
    fields.close(reader);
    let sections: Vec<_> = written.iter().filter_map(|n| section(reader, n)).collect();
    if sections.is_empty() && !written.is_empty() {
        return None;
    }
    Some(Checklist {
        id: id.into(),
        title: title?,
        about: about?,
        machines,
        revision: revision? as u32,
        after,
        unconnected,
        minutes: minutes?,
        basis,
        sections,
        span,
    })
}

fn section(reader: &mut Reader<'_>, node: &Node) -> Option<Section> {
    let mut fields = Fields::open(reader, node)?;
    let title = fields.text(reader, "title");
    let only_if = fields.get("only_if").map(|n| conditions(reader, n)).unwrap_or_default();
    let written = fields.need(reader, "items").and_then(|n| reader.list(n)).unwrap_or(&[]);
    fields.close(reader);
    let items = written.iter().filter_map(|n| item(reader, n)).collect();
    Some(Section { title: title?, only_if, items })
}

fn item(reader: &mut Reader<'_>, node: &Node) -> Option<Item> {
    let mut fields = Fields::open(reader, node)?;
    let id = fields.id::<ItemId>(reader, "id");
    let (text, expect) = (fields.text(reader, "text"), fields.maybe_text(reader, "expect"));
    let kind = kind(reader, &mut fields);
    let work = work(reader, &mut fields, text.as_deref(), expect.as_deref());
    let item = Item {
        id: id?,
        kind: kind?,
        work: work?,
        expect,
        why: fields.maybe_text(reader, "why"),
        needs: fields.texts(reader, "needs"),
        only_if: fields.get("only_if").map(|n| conditions(reader, n)).unwrap_or_default(),
        may_be_skipped: fields.get("may_be_skipped").and_then(|n| reader.truth(n)),
        locks_out: fields.flag(reader, "locks_out"),
        restores: fields.flag(reader, "restores"),
        proves_guards: fields.flag(reader, "proves_guards"),
        open_points: fields.flag(reader, "open_points"),
        sets_up: fields.flag(reader, "sets_up"),
        list: fields.get("list").and_then(|n| reader.id(n)).map(typed),
        fails: fields.get("when_it_fails").map(|n| failures(reader, n)).unwrap_or_default(),
    };
    text?;
    fields.close(reader);
    Some(item)
}

/// Place, minutes, cautions and steps; without steps the item's own words are the one step.
fn work(
    reader: &mut Reader<'_>,
    fields: &mut Fields<'_>,
    text: Option<&str>,
    expect: Option<&str>,
) -> Option<Work> {
    let place = fields.id::<PlaceId>(reader, "place");
    let minutes = fields.need(reader, "minutes").and_then(|n| reader.number(n, MINUTES.0, MINUTES.1));
    let words: Vec<_> = Exposure::ALL.iter().map(|e| (e.as_str(), *e)).collect();
    let raised = fields.list(reader, "exposures").iter().filter_map(|n| reader.choice(n, &words)).collect();
    let mut steps: Vec<Step> = fields.list(reader, "steps").iter().filter_map(|n| step(reader, n)).collect();
    if steps.is_empty() {
        let text = StepText::new(text.unwrap_or_default(), expect.map(str::to_owned));
        steps.push(Step { text, place: None, span: fields.span });
    }
    Some(Work {
        raised,
        needs: Vec::new(),
        needs_option: Vec::new(),
        machines: None,
        disturbs: Vec::new(),
        steps,
        cautions: fields.ids(reader, "cautions"),
        safety_read: fields.get("safety_read").and_then(|n| safety_read(reader, n)),
        place: place?,
        minutes: minutes?,
    })
}

/// The kind with what belongs to it. What belongs to another kind is a problem, since somebody meant something by it.
fn kind(reader: &mut Reader<'_>, fields: &mut Fields<'_>) -> Option<Kind> {
    const WORDS: &[&str] = &["do", "look", "measure", "run", "confirm", "hold", "photo", "choice"];
    let node = fields.need(reader, "kind")?;
    let words: Vec<_> = WORDS.iter().map(|word| (*word, *word)).collect();
    let word = reader.choice(node, &words)?;
    let given = [
        ("asks", "measure", fields.get("asks")),
        ("fills", "run", fields.get("fills")),
        ("answers", "choice", fields.get("answers")),
    ];
    for (key, of, node) in &given {
        if let Some(node) = node
            && *of != word
        {
            let message = format!("'{key}' belongs to an item of kind {of}, and this one is of kind {word}");
            reader.push(Diagnostic::error(Code::BadValue, node.span, message));
        }
    }
    let names = fields.get("names").and_then(|n| {
        if !matches!(word, "confirm" | "hold") {
            let message = format!("'names' belongs to a confirm or a hold, and this one is of kind {word}");
            reader.push(Diagnostic::error(Code::BadValue, n.span, message));
        }
        reader.number(n, 0.0, MOST_NAMES)
    });
    let names = names.unwrap_or(1.0) as usize;
    // Asked for again, so that a key that is missing is named.
    let own = match given.iter().find(|(_, of, _)| *of == word) {
        Some((key, _, _)) => Some(fields.need(reader, key)?),
        None => None,
    };
    Some(match (word, own) {
        ("measure", Some(node)) => Kind::Measure(measure(reader, node)?),
        ("run", Some(node)) => Kind::Run(run(reader, node)?),
        ("choice", Some(node)) => Kind::Choice(choices(reader, node)),
        ("look", _) => Kind::Look,
        ("photo", _) => Kind::Photo,
        ("confirm", _) => Kind::Confirm(names),
        ("hold", _) => Kind::Hold(names),
        _ => Kind::Do,
    })
}

fn measure(reader: &mut Reader<'_>, node: &Node) -> Option<Measure> {
    let mut fields = Fields::open(reader, node)?;
    let kind = fields.need(reader, "quantity").and_then(|n| reader.choice(n, QUANTITIES));
    let unit = fields.get("unit").map(|n| (n, reader.unit(n)));
    let expected = fields.get("expected").and_then(|n| reader.choice(n, ASKED)).unwrap_or(false);
    let (least, most) = (fields.get("least"), fields.get("most"));
    let instrument = fields.maybe_text(reader, "instrument");
    let due = fields.flag(reader, "due");
    let span = fields.span;
    fields.close(reader);
    let kind = kind?;
    let unit = match unit {
        Some((_, None)) => return None,
        Some((node, Some(unit))) if unit.kind != kind => {
            let message =
                format!("{} is a unit of {}, and this is a {}", unit.name, unit.kind.noun(), kind.noun());
            reader.push(Diagnostic::error(Code::BadUnit, node.span, message));
            return None;
        }
        Some((_, Some(unit))) => unit,
        None => kind.base(),
    };
    let mut limit = |node: Option<&Node>| node.and_then(|n| limit(reader, n, unit, expected));
    let (low, high) = (limit(least), limit(most));
    let shares = low.or(high).is_some_and(|(_, share)| share);
    let limits = Limits { least: low.map(|(l, _)| l), most: high.map(|(m, _)| m), shares };
    let mixed = low.zip(high).is_some_and(|(l, m)| l.1 != m.1);
    if mixed || limits.least.zip(limits.most).is_some_and(|(l, m)| l > m) {
        let message = "the least must be under the most, and both in units or both in %";
        reader.push(Diagnostic::error(Code::OutOfRange, span, message));
        return None;
    }
    Some(Measure { kind, unit, expected, limits, instrument, due })
}

/// A limit in base units, or as a share of the expected value: the number and whether it is a share.
fn limit(reader: &mut Reader<'_>, node: &Node, unit: &'static Unit, expected: bool) -> Option<(f64, bool)> {
    let text = reader.text(node)?;
    let per_cent = expected && unit.kind != crate::units::Kind::Share && text.trim_end().ends_with('%');
    let wanted = if per_cent { crate::units::Kind::Share.base() } else { unit };
    match Quantity::parse_in(&text, wanted) {
        Ok(quantity) if per_cent => Some((quantity.base() / 100.0, true)),
        Ok(quantity) => Some((quantity.base(), false)),
        Err(error) => {
            reader.push(Diagnostic::error(Code::BadUnit, node.span, error.to_string()));
            None
        }
    }
}

fn run(reader: &mut Reader<'_>, node: &Node) -> Option<RunAsk> {
    let mut fields = Fields::open(reader, node)?;
    let at_least = fields.need(reader, "at_least").and_then(|n| reader.number(n, FILLS.0, FILLS.1));
    let mean_within = fields.get("mean_within").and_then(|n| share(reader, n));
    fields.close(reader);
    Some(RunAsk { at_least: at_least? as usize, mean_within: mean_within.unwrap_or(MEAN_WITHIN) })
}

/// '25 %' as 0.25.
fn share(reader: &mut Reader<'_>, node: &Node) -> Option<f64> {
    let share = reader.quantity(node, crate::units::Kind::Share)? / 100.0;
    if share > 0.0 && share <= 1.0 {
        return Some(share);
    }
    let message = "this share of the tolerance must be over 0 % and at most 100 %";
    reader.push(Diagnostic::error(Code::OutOfRange, node.span, message));
    None
}

fn choices(reader: &mut Reader<'_>, node: &Node) -> Vec<Choice> {
    let nodes = reader.list(node).unwrap_or(&[]);
    if nodes.len() < 2 {
        let message = "a choice has at least two answers";
        reader.push(Diagnostic::error(Code::BadValue, node.span, message));
    }
    let mut one = |node: &Node| {
        let mut fields = Fields::open(reader, node)?;
        let (id, answer) = (fields.id::<OutcomeId>(reader, "id"), fields.text(reader, "answer"));
        fields.close(reader);
        Some(Choice { id: id?, answer: answer? })
    };
    nodes.iter().filter_map(&mut one).collect()
}

/// One condition, or a list of them that must all hold.
fn conditions(reader: &mut Reader<'_>, node: &Node) -> Vec<Condition> {
    match &node.value {
        Value::List(nodes) => nodes.iter().filter_map(|n| condition(reader, n)).collect(),
        _ => condition(reader, node).into_iter().collect(),
    }
}

fn condition(reader: &mut Reader<'_>, node: &Node) -> Option<Condition> {
    let mut fields = Fields::open(reader, node)?;
    let machine = fields.get("machine").and_then(|n| reader.id(n)).map(typed);
    let option = fields.get("option").and_then(|n| reader.id(n)).map(typed);
    let answer = fields.get("answer").and_then(|n| answer(reader, n));
    let span = fields.span;
    let several = fields.entries().len() > 1;
    fields.close(reader);
    if several {
        let message = "one condition a group; write a list where several must hold";
        reader.push(Diagnostic::error(Code::BadValue, span, message));
    }
    machine.map(Condition::Machine).or(option.map(Condition::Option)).or(answer)
}

fn answer(reader: &mut Reader<'_>, node: &Node) -> Option<Condition> {
    let mut fields = Fields::open(reader, node)?;
    let item = fields.id::<ItemId>(reader, "item");
    let is = fields.need(reader, "is").map(|n| one_or_more(reader, n)).unwrap_or_default();
    fields.close(reader);
    Some(Condition::Answer { item: item?, is: is.into_iter().map(typed).collect() })
}

fn one_or_more(reader: &mut Reader<'_>, node: &Node) -> Vec<At<String>> {
    match &node.value {
        Value::List(nodes) => nodes.iter().filter_map(|n| reader.id(n)).collect(),
        _ => reader.id(node).into_iter().collect(),
    }
}

fn failures(reader: &mut Reader<'_>, node: &Node) -> Vec<Failure> {
    match &node.value {
        Value::List(nodes) => nodes.iter().filter_map(|n| failure(reader, n)).collect(),
        _ => failure(reader, node).into_iter().collect(),
    }
}

fn failure(reader: &mut Reader<'_>, node: &Node) -> Option<Failure> {
    let mut fields = Fields::open(reader, node)?;
    let on = fields.get("on").map(|n| one_or_more(reader, n)).unwrap_or_default();
    let stop = fields.flag(reader, "stop");
    let finding = fields.get("opens").and_then(|n| reader.id(n)).map(typed);
    let check = fields.get("check").and_then(|n| reader.id(n)).map(typed);
    let outcome = fields.get("outcome").and_then(|n| reader.id(n)).map(typed);
    let deviation = fields.get("deviation").and_then(|n| reader.truth(n)).unwrap_or(true);
    let span = fields.span;
    fields.close(reader);
    let on = on.into_iter().map(|word| At { span: word.span, value: on_of(word.value) }).collect();
    let leads = match (stop, finding) {
        (true, None) if check.is_none() => Leads::Stop,
        (false, Some(finding)) => Leads::Opens { finding, check, outcome, deviation },
        _ => {
            let message = "a failure either stops (`stop: true`, alone) or opens a finding (`opens: ID`)";
            reader.push(Diagnostic::error(Code::BadValue, span, message));
            return None;
        }
    };
    Some(Failure { on, leads, span })
}

fn on_of(word: String) -> On {
    match word.as_str() {
        "below" => On::Below,
        "above" => On::Above,
        "scattered" => On::Scattered,
        _ => On::Chosen(OutcomeId::new(word)),
    }
}
