//! From closed cases to what learning counts, machine by machine.

use std::collections::{BTreeMap, BTreeSet};

use super::past::{Past, Sensor, Trial};
use crate::casebook::{Case, RemedyResult, What};
use crate::ids::{CheckId, OutcomeId};
use crate::knowledge::{Asks, Check};
use crate::walk::{Desk, Heard, HeardKind, gather};

/// The sensors of a machine: each outcome of a check that speaks for one finding alone.
#[derive(Debug, Clone, Default)]
pub struct Sensors {
    /// Their numbers.
    pub all: Vec<Sensor>,
    /// The check, the outcome, and the place of the finding among what it means.
    pub names: Vec<(CheckId, OutcomeId, usize)>,
}

impl Sensors {
    /// Of everything that can be asked on this machine.
    pub fn of(desk: &Desk<'_>) -> Self {
        let mut sensors = Self::default();
        for check in
            desk.view.checks.iter().filter(|check| matches!(check.asks, Asks::Choice | Asks::Quantity(_)))
        {
            for outcome in &check.outcomes {
                // An outcome that means two things says of neither alone how often it comes.
                let here: Vec<_> = outcome
                    .means
                    .iter()
                    .enumerate()
                    .filter_map(|(place, means)| {
                        Some((place, means, desk.model.finding(&means.finding.value)?))
                    })
                    .collect();
                if let [(place, means, finding)] = here[..] {
                    sensors.all.push(Sensor { finding, hit: means.hit, alarm: means.false_alarm });
                    sensors.names.push((check.id.clone(), outcome.id.value.clone(), place));
                }
            }
        }
        sensors
    }

    fn trials(&self, check: &Check, outcome: &str) -> Vec<Trial> {
        let of_check = self.names.iter().enumerate().filter(|(_, name)| name.0 == check.id);
        of_check.map(|(sensor, name)| Trial { sensor, yes: name.1.as_str() == outcome }).collect()
    }
}

/// A closed case as learning sees it; `None` where nobody named a symptom.
pub fn past(desk: &Desk<'_>, sensors: &Sensors, case: &Case) -> Option<Past> {
    let first = case.events.iter().position(|event| matches!(event.what, What::Remedy { .. }));
    let before = Case { events: case.events[..first.unwrap_or(case.events.len())].to_vec(), ..case.clone() };
    let gathered = gather(desk, &before);
    let named: BTreeSet<usize> =
        gathered.complained.iter().filter_map(|finding| desk.model.finding(finding)).collect();
    if named.is_empty() {
        return None;
    }
    let counts = |heard: &&Heard| heard.kind == HeardKind::Check && heard.item.is_some();
    let mut trials = Vec::new();
    for heard in gathered.heard.iter().filter(counts) {
        let check = desk.knowledge.checks.get(heard.id.as_str());
        let table = check.filter(|check| matches!(check.asks, Asks::Choice | Asks::Quantity(_)));
        trials.extend(table.into_iter().flat_map(|check| sensors.trials(check, &heard.outcome)));
    }
    Some(Past { evidence: gathered.evidence, named, trials, proved: proved(desk, case) })
}

/// The causes whose remedy took the complaint away, proved: the last one done.
fn proved(desk: &Desk<'_>, case: &Case) -> BTreeSet<usize> {
    let last = case.last_remedy().filter(|(_, result)| *result == RemedyResult::ProvedGone);
    let cures = last.and_then(|(id, _)| Some(&desk.knowledge.remedies.get(id)?.cures.value));
    cures.and_then(|cause| desk.model.cause(cause)).into_iter().collect()
}

/// P(a caller names it | it is there), by finding.
pub fn called(desk: &Desk<'_>) -> BTreeMap<usize, f64> {
    let symptoms =
        desk.view.findings.iter().filter(|finding| finding.kind == crate::knowledge::FindingKind::Symptom);
    symptoms.filter_map(|symptom| Some((desk.model.finding(&symptom.id)?, symptom.said.0))).collect()
}
