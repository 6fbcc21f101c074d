//! Checks that are open, and what each would answer: the ones with a table as they stand, a run of fills as a check that
//! shows what is there.

use super::prospect::Enquiry;
use super::situation::Situation;
use crate::belief::{self, Model};
use crate::graph::View;
use crate::knowledge::{Asks, Check, Work};

/// With so many fills since the last remedy, another run tells little that is new.
const ENOUGH_FILLS: usize = 10;
/// How surely a run of fills shows what is there, for the worth of making one.
const RUN_SHOWS: f64 = 0.93;

/// A question that is open, and what it would answer in each scenario.
pub(super) struct Question<'a> {
    pub id: String,
    pub work: Option<&'a Work>,
    /// Minutes in all, as they are shown.
    pub minutes: f64,
    pub outcomes: Vec<String>,
    /// The question as the sums see it.
    pub asked: Enquiry,
}

/// Checks that apply and would bring something new.
pub fn unanswered<'a>(situation: &Situation<'a>) -> Vec<&'a Check> {
    let fits = |check: &&&Check| match check.asks {
        Asks::Complaint => false,
        Asks::Run => situation.fills < ENOUGH_FILLS,
        _ => situation.model.tables.contains_key(&check.id) && !situation.answered.contains_key(&check.id),
    };
    situation.view.checks.iter().filter(fits).filter(|check| situation.may_ask(check)).copied().collect()
}

/// A check as the belief takes it.
pub fn as_asked(model: &Model, view: &View<'_>, check: &Check) -> belief::Check {
    let moment = if check.any_time { belief::Moment::Bad } else { belief::Moment::Unknown };
    match model.tables.get(&check.id) {
        Some(table) => {
            belief::Check { findings: table.findings.clone(), outcomes: table.likelihoods.clone(), moment }
        }
        None => run_as_asked(model, view),
    }
}

/// The symptoms that a run of fills can show on this machine.
fn run_symptoms(model: &Model, view: &View<'_>) -> Vec<(&'static str, usize)> {
    let symptoms = view.patterns.iter().filter_map(|(name, symptom)| Some((*name, (*symptom)?)));
    symptoms.filter_map(|(name, symptom)| Some((name, model.finding(&symptom.id)?))).collect()
}

/// A run before it is weighed, as a check: it shows nothing unusual, one symptom, or several.
fn run_as_asked(model: &Model, view: &View<'_>) -> belief::Check {
    let symptoms = run_symptoms(model, view);
    let kinds = symptoms.len() + 2;
    let degrees = |finding: usize| model.network.findings()[finding].degrees + 1;
    let states: usize = symptoms.iter().map(|(_, finding)| degrees(*finding)).product();
    let mut outcomes = vec![Vec::with_capacity(states); kinds];
    for row in 0..states {
        let mut rest = row;
        let mut there = Vec::new();
        for (place, (_, finding)) in symptoms.iter().enumerate().rev() {
            if rest % degrees(*finding) > 0 {
                there.push(place);
            }
            rest /= degrees(*finding);
        }
        let shows = match there.as_slice() {
            [] => 0,
            [one] => one + 1,
            _ => kinds - 1,
        };
        for (kind, outcome) in outcomes.iter_mut().enumerate() {
            outcome.push(if kind == shows { RUN_SHOWS } else { (1.0 - RUN_SHOWS) / (kinds - 1) as f64 });
        }
    }
    let findings = symptoms.iter().map(|(_, finding)| *finding).collect();
    belief::Check { findings, outcomes, moment: belief::Moment::Unknown }
}

/// The outcomes of a check, by name.
pub(super) fn outcome_names(situation: &Situation<'_>, check: &Check) -> Vec<String> {
    if matches!(check.asks, Asks::Run) {
        let symptoms =
            run_symptoms(situation.model, situation.view).into_iter().map(|(name, _)| name.to_owned());
        return ["nothing-unusual".to_owned()]
            .into_iter()
            .chain(symptoms)
            .chain(["several".to_owned()])
            .collect();
    }
    check.outcomes.iter().map(|o| o.id.value.as_str().to_owned()).collect()
}
