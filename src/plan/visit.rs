//! What a visit should bring: the fewest parts and tools that cover nine tenths, and what to check first on arrival.

use std::collections::BTreeSet;

use super::prospect::Scenario;
use super::situation::Situation;

use crate::ids::{CheckId, RemedyId, ToolId};
use crate::knowledge::Remedy;

/// The share of the probability that parts and tools should cover.
const COVER: f64 = 0.9;
/// A part that no way of at least this probability needs stays at home.
const LEAST: f64 = 0.05;
/// A hand-over is proposed for a cause at least so likely.
const LIKELY: f64 = 0.1;
/// Checks named for the arrival.
const MOST_CHECKS: usize = 3;

/// What a visit should bring.
#[derive(Debug, Clone, PartialEq)]
pub struct Visit {
    /// Parts to take along.
    pub parts: Vec<String>,
    /// Tools to take along.
    pub tools: Vec<ToolId>,
    /// The probability that these are enough.
    pub cover: f64,
    /// What to check first on arrival.
    pub first_checks: Vec<CheckId>,
    /// Minutes until somebody is there.
    pub minutes: f64,
    /// The remedy whose steps keep things safe until then, when a likely cause has one.
    pub until_then: Option<RemedyId>,
}

/// Packs for the likeliest scenarios until nine tenths are covered. `arrival` ranks checks by their worth on site.
pub(super) fn prepare(
    situation: &Situation<'_>,
    scenarios: &[Scenario],
    arrival: Vec<CheckId>,
    until_then: Option<&Remedy>,
) -> Visit {
    let mut order: Vec<&Scenario> = scenarios.iter().collect();
    order.sort_by(|a, b| b.weight.total_cmp(&a.weight).then_with(|| a.causes.cmp(&b.causes)));
    let total: f64 = order.iter().map(|s| s.weight).sum();
    let (mut parts, mut tools): (BTreeSet<String>, BTreeSet<ToolId>) = (BTreeSet::new(), BTreeSet::new());
    let mut cover = 0.0;
    for scenario in order {
        let remedies: Vec<&Remedy> =
            scenario.causes.iter().filter_map(|&c| best_remedy(situation, c)).collect();
        let curable = !scenario.causes.is_empty() && remedies.len() == scenario.causes.len();
        if !curable {
            continue;
        }
        let wanted: BTreeSet<String> =
            remedies.iter().flat_map(|r| &r.parts).map(|(part, _)| part.clone()).collect();
        let rare = scenario.weight < LEAST * total;
        if (cover >= COVER || rare) && !wanted.is_subset(&parts) {
            continue;
        }
        parts.extend(wanted);
        tools.extend(remedies.iter().flat_map(|r| &r.work.needs).map(|t| t.value.clone()));
        cover += scenario.weight / total.max(f64::MIN_POSITIVE);
    }
    let first_checks: Vec<CheckId> = arrival.into_iter().take(MOST_CHECKS).collect();
    let needs =
        first_checks.iter().filter_map(|id| situation.knowledge.checks.get(id)).flat_map(|c| &c.work.needs);
    tools.extend(needs.map(|t| t.value.clone()));
    Visit {
        parts: parts.into_iter().collect(),
        tools: tools.into_iter().collect(),
        cover: cover.min(1.0),
        first_checks,
        minutes: situation.visit,
        until_then: until_then.map(|remedy| remedy.id.clone()),
    }
}

/// What is done until somebody comes: the hand-over of the likeliest cause that has one, and that nothing else done
/// from here could cure.
pub(super) fn until_then<'a>(situation: &Situation<'a>, scenarios: &[Scenario]) -> Option<&'a Remedy> {
    let total: f64 = scenarios.iter().map(|s| s.weight).sum();
    let chance = |remedy: &Remedy| -> f64 {
        let cause = situation.model.cause(&remedy.cures.value);
        let with = scenarios.iter().filter(|s| cause.is_some_and(|cause| s.causes.contains(&cause)));
        with.map(|s| s.weight).sum::<f64>() / total.max(f64::MIN_POSITIVE)
    };
    let remedies = &situation.view.remedies;
    let stuck = |remedy: &Remedy| {
        let others = remedies.iter().filter(|r| r.cures.value == remedy.cures.value && !r.hands_over);
        others.into_iter().all(|r| situation.remedy_hindrance(r).is_some())
    };
    let likely = remedies.iter().filter(|r| r.hands_over && stuck(r)).map(|r| (chance(r), *r));
    let best = likely.max_by(|a, b| a.0.total_cmp(&b.0).then_with(|| b.1.id.cmp(&a.1.id)))?;
    (best.0 >= LIKELY).then_some(best.1)
}

/// The remedy most likely to cure a cause; what cannot be cured from the book has none.
fn best_remedy<'a>(situation: &Situation<'a>, cause: usize) -> Option<&'a Remedy> {
    let id = situation.model.causes.get(cause)?;
    let known = situation.view.remedies.iter().filter(|r| r.cures.value == *id);
    known.max_by(|a, b| a.works.total_cmp(&b.works).then_with(|| b.id.cmp(&a.id))).copied()
}
