//! From a set-up that no setting saves into a diagnosis: the case begins with what was found.

use super::advice::Stuck;
use super::course::check_of;
use super::state::{SetUpAsk, SetUpState};
use crate::casebook::log::Kept;
use crate::casebook::set_up::SetUpLine;
use crate::casebook::{Case, Event, Moment, Product, Reading, What};
use crate::ids::{CheckId, FindingId, OutcomeId};
use crate::knowledge::{Knowledge, Machine, ToldBy};
use crate::units::significant;
use crate::walk::checklist::SAID_BY;

/// The case, or none when nothing was found yet.
pub fn case_of(knowledge: &Knowledge, state: &SetUpState) -> Option<Case> {
    let log = state.log.as_ref()?;
    let machine = knowledge.machines.get(&log.head.machine)?;
    let mut case = Case::of(log.head.machine.clone());
    case.opening.serial.clone_from(&log.head.serial);
    case.opening.since = Some("found while a product was set up".to_owned());
    case.product = Some(Product { name: Some(log.head.product.clone()), ..Product::default() });
    let (symptom, complaint) = match &state.ask {
        SetUpAsk::Stuck(Stuck::Scatter) => (Some("fills-scattered"), "fills scatter, whatever is set"),
        SetUpAsk::Stuck(Stuck::Light) => {
            (Some("fills-steadily-light"), "fills are light with no allowance at all")
        }
        SetUpAsk::Stuck(Stuck::LayerDeep) => (None, "the layer rolls, however low the gate stands"),
        SetUpAsk::Stuck(Stuck::LayerThin) => (None, "the tray runs bare, however high the gate stands"),
        SetUpAsk::Stuck(Stuck::NeverStill) => (None, "the reading does not come to rest"),
        SetUpAsk::Stuck(Stuck::NoAnswer) => (None, "the tray hardly answers to its rate"),
        _ => (None, "something is wrong while a product is set up"),
    };
    case.complaint = Some(complaint.to_owned());
    // What was found with earlier settings says nothing of those of now, but the last change belongs to the story.
    let last_change = log.lines.iter().rposition(|kept| matches!(kept.line, SetUpLine::Changed { .. }));
    case.events.extend(log.lines[last_change.unwrap_or(0)..].iter().filter_map(|kept| event(machine, kept)));
    let known = |id: &str| knowledge.findings.contains_key(&FindingId::new(id));
    if let (Some(symptom), Some(last)) = (symptom.filter(|id| known(id)), log.lines.last()) {
        case.events.push(reading(last, SAID_BY, Reading::Outcome(OutcomeId::new(symptom))));
    }
    Some(case)
}

fn reading(kept: &Kept<SetUpLine>, check: &str, reading: Reading) -> Event {
    let what = What::Reading { check: CheckId::new(check), reading, moment: Moment::Bad };
    Event { at: Some(kept.at.clone()), by: None, what }
}

fn event(machine: &Machine, kept: &Kept<SetUpLine>) -> Option<Event> {
    Some(match &kept.line {
        SetUpLine::Looked { check, outcome } => {
            reading(kept, check.as_str(), Reading::Outcome(outcome.clone()))
        }
        SetUpLine::Weighed { fills, .. } => {
            let run = check_of(machine, ToldBy::Mean)?;
            reading(kept, run.as_str(), Reading::Fills(fills.clone()))
        }
        SetUpLine::Changed { setting, old, new, .. } => {
            let text = |q: &crate::units::Quantity| format!("{} {}", significant(q.number), q.unit.name);
            let what = What::Setting { id: setting.clone(), old: Some(text(old)), new: Some(text(new)) };
            Event { at: Some(kept.at.clone()), by: None, what }
        }
        SetUpLine::Note { text } => {
            Event { at: Some(kept.at.clone()), by: None, what: What::Note(text.clone()) }
        }
        _ => return None,
    })
}
