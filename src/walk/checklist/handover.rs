//! From a failed item into a diagnosis: the case begins with every reading that the list has taken.

use super::judge::judged_then;
use crate::casebook::sheet::{Answer, Kept, Line, Sheet};
use crate::casebook::{Beside, Case, Event, Moment, Reading, What};
use crate::checklist::{Checklist, Item, Leads};
use crate::ids::{CheckId, FindingId, ItemId, OutcomeId};
use crate::knowledge::{Against, Asks, Check, FindingKind, Knowledge};

/// The check through which callers name symptoms.
pub const SAID_BY: &str = "what-the-caller-says";

/// The case that a failed item begins, or none when the item opens no finding.
pub fn case_of(
    list: &Checklist,
    sheet: &Sheet,
    failed: &ItemId,
    knowledge: &Knowledge,
    today: jiff::civil::Date,
) -> Option<Case> {
    let item = list.item(failed)?;
    let (kept, answer) = sheet.answer(failed)?;
    let judged = judged_then(item, sheet, today)?;
    let Some(Leads::Opens { finding, .. }) = judged.leads(item) else { return None };
    let title = knowledge.findings.get(&finding.value).map_or("", |f| f.head.title.as_str());
    let mut case = Case::of(sheet.head.machine.clone());
    case.fitted.clone_from(&sheet.head.fitted);
    case.opening.serial.clone_from(&sheet.head.serial);
    case.opening.since = Some(format!("found by the checklist '{}'", list.title));
    case.complaint = Some(title.to_owned());
    let earlier = list.items().map(|(_, item)| item).filter(|item| item.id.value != *failed);
    case.events.extend(earlier.filter_map(|item| already_taken(item, sheet, knowledge, today)));
    let note = format!("Checklist '{}', {}: {}", list.title, item.name(), found(item, answer, &judged.says));
    case.events.push(event(kept, What::Note(note)));
    case.events.extend(symptom(&finding.value, kept, knowledge));
    case.events.extend(already_taken(item, sheet, knowledge, today));
    Some(case)
}

fn event(kept: &Kept, what: What) -> Event {
    Event { at: Some(kept.at.clone()), by: None, what }
}

/// What was found, for a remark.
fn found(item: &Item, answer: &Answer, says: &str) -> String {
    match answer {
        Answer::Chosen { id } => item.answer(id).to_owned(),
        _ => says.to_owned(),
    }
}

/// A symptom is said by whoever carries the list out.
fn symptom(finding: &FindingId, kept: &Kept, knowledge: &Knowledge) -> Option<Event> {
    let is_symptom = knowledge.findings.get(finding).is_some_and(|f| f.kind == FindingKind::Symptom);
    let said = is_symptom.then(|| What::Reading {
        check: CheckId::new(SAID_BY),
        reading: Reading::Outcome(OutcomeId::new(finding.as_str())),
        moment: Moment::Bad,
    })?;
    Some(event(kept, said))
}

/// The reading of an item as the answer to the check that it stands for, where it is one.
fn already_taken(
    item: &Item,
    sheet: &Sheet,
    knowledge: &Knowledge,
    today: jiff::civil::Date,
) -> Option<Event> {
    let (kept, answer) = sheet.answer(&item.id.value)?;
    let judged = judged_then(item, sheet, today)?;
    if judged.overdue {
        return None;
    }
    let good = matches!(kept.line, Line::Answered { good: true, .. });
    let leads = if good { item.fails.first().map(|f| &f.leads) } else { judged.leads(item) };
    let Some(Leads::Opens { check: Some(check), outcome, .. }) = leads else { return None };
    let check = knowledge.checks.get(&check.value)?;
    let reading = match outcome.as_ref().filter(|_| !good) {
        Some(outcome) => Reading::Outcome(outcome.value.clone()),
        None => figure(answer, check).or_else(|| normal(item, check).filter(|_| good))?,
    };
    let moment = if good { Moment::Unknown } else { Moment::Bad };
    Some(event(kept, What::Reading { check: check.id.clone(), reading, moment }))
}

/// The figure itself, where the check asks for the same.
fn figure(answer: &Answer, check: &Check) -> Option<Reading> {
    match (answer, &check.asks) {
        (Answer::Run { fills, .. }, Asks::Run) => Some(Reading::Fills(fills.clone())),
        (Answer::Value { value, expected, .. }, Asks::Quantity(asked)) if value.kind() == asked.kind => {
            let against = match (asked.against, expected) {
                (Against::Nothing, _) => None,
                (Against::Expected, Some(known)) => Some(Beside::Expected(*known)),
                (Against::Shown, Some(known)) => Some(Beside::Shown(*known)),
                (_, None) => return None,
            };
            Some(Reading::Value { value: *value, against })
        }
        _ => None,
    }
}

/// A good item speaks for the normal answer only where the check knows no other fault than the item's.
fn normal(item: &Item, check: &Check) -> Option<Reading> {
    let named = item.fails.iter().filter_map(|f| match &f.leads {
        Leads::Opens { check: Some(c), outcome: Some(outcome), .. } if c.value == check.id => {
            Some(&outcome.value)
        }
        _ => None,
    });
    let named: Vec<_> = named.collect();
    let normal = check.outcomes.iter().find(|o| o.means.is_empty())?;
    let all = check.outcomes.iter().all(|o| o.means.is_empty() || named.contains(&&o.id.value));
    all.then(|| Reading::Outcome(normal.id.value.clone()))
}
