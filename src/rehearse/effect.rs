//! How much a change of the knowledge changes what is believed: what a queue of lessons is sorted by.

use crate::belief::{self, BeliefError, Evidence, Item, Posterior};
use crate::casebook::Case;
use crate::ids::CauseId;
use crate::knowledge::{Asks, FindingKind, Knowledge};
use crate::plan;
use crate::walk::{AssessError, Desk, said};

/// The share of the causes' probability that moves, 0 to 1: over all complaints of the machine where it moves most, each
/// by how often it is there; or, where that is more, over the answers to checks that were changed.
pub fn effect(before: &Knowledge, after: &Knowledge) -> Result<f64, AssessError> {
    let mut most: f64 = 0.0;
    for id in after.machines.keys().filter(|id| before.machines.contains_key(*id)) {
        let case = Case::of(id.clone());
        let desks = [Desk::for_case(before, &case)?, Desk::for_case(after, &case)?];
        most = most.max(over_complaints(&desks)?).max(over_checks(&desks)?);
    }
    Ok(most)
}

fn over_complaints(desks: &[Desk<'_>; 2]) -> Result<f64, AssessError> {
    let [_, after] = desks;
    let nothing = Evidence::default();
    let states = belief::findings(&after.model.network, &nothing)?;
    let (mut moved, mut all) = (0.0, 0.0);
    for symptom in after.view.findings.iter().filter(|finding| finding.kind == FindingKind::Symptom) {
        let (Some(index), true) = (after.model.finding(&symptom.id), desks[0].view.has_finding(&symptom.id))
        else {
            continue;
        };
        let there = 1.0 - states[index][0];
        let told = |desk: &Desk<'_>| said(desk, &symptom.id).into_iter().collect();
        moved += there * moved_by(desks, &told)?;
        all += there;
    }
    Ok(if all > 0.0 { moved / all } else { 0.0 })
}

/// Of checks that both have and that are not the same in both, their answers alike.
fn over_checks(desks: &[Desk<'_>; 2]) -> Result<f64, AssessError> {
    let [before, after] = desks;
    let mut most: f64 = 0.0;
    for check in
        after.view.checks.iter().filter(|check| matches!(check.asks, Asks::Choice | Asks::Quantity(_)))
    {
        let old = before.view.checks.iter().find(|old| old.id == check.id);
        let tables = |desk: &Desk<'_>| desk.model.tables.get(&check.id).cloned();
        if old.is_none() || tables(before) == tables(after) {
            continue;
        }
        let outcomes = check.outcomes.len();
        let mut moved = 0.0;
        for outcome in 0..outcomes {
            let told = |desk: &Desk<'_>| {
                let known = desk.view.checks.iter().find(|known| known.id == check.id);
                let asked = known.map(|known| plan::as_asked(&desk.model, &desk.view, known));
                let likelihood = |asked: &belief::Check| asked.outcomes.get(outcome).cloned();
                let item = asked.filter(|asked| !asked.findings.is_empty()).and_then(|asked| {
                    let likelihood = likelihood(&asked)?;
                    Some(Item::Answer { findings: asked.findings, likelihood, moment: asked.moment })
                });
                item.into_iter().collect()
            };
            moved += moved_by(desks, &told)? / outcomes as f64;
        }
        most = most.max(moved);
    }
    Ok(most)
}

/// Half of the sum of what the shares of causes differ by.
fn moved_by(desks: &[Desk<'_>; 2], told: &dyn Fn(&Desk<'_>) -> Vec<Item>) -> Result<f64, BeliefError> {
    let [before, after] = [&desks[0], &desks[1]].map(|desk| {
        let evidence = Evidence(told(desk));
        belief::posterior(&desk.model.network, &evidence).map(|posterior| shares(desk, &posterior))
    });
    let (before, after) = (before?, after?);
    let share = |of: &[(Option<CauseId>, f64)], cause: &Option<CauseId>| {
        of.iter().find(|(known, _)| known == cause).map_or(0.0, |(_, share)| *share)
    };
    let kept: f64 = after.iter().map(|(cause, own)| (own - share(&before, cause)).abs()).sum();
    let gone = before.iter().filter(|(cause, _)| !after.iter().any(|(known, _)| known == cause));
    let gone: f64 = gone.map(|(_, share)| share).sum();
    Ok(kept.midpoint(gone))
}

/// Each cause's share; the last, without a name, is what is in no book.
fn shares(desk: &Desk<'_>, posterior: &Posterior) -> Vec<(Option<CauseId>, f64)> {
    let all: f64 = posterior.causes.iter().map(|cause| cause.was).sum();
    let name = |index: usize| desk.model.causes.get(index).cloned();
    posterior
        .causes
        .iter()
        .enumerate()
        .map(|(index, cause)| (name(index), cause.was / all.max(1e-12)))
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::knowledge::edit::Scalar;
    use crate::knowledge::{Change, Texts, lesson, load};

    fn with(file: &str, place: &str, to: &str) -> Knowledge {
        let change = Change::Set {
            file: file.to_owned(),
            place: place.to_owned(),
            was: None,
            to: Scalar::Text(to.to_owned()),
        };
        load(&lesson::changed(&Texts::built_in(), &[change]).unwrap()).0
    }

    #[test]
    fn a_rate_that_matters_moves_more_than_one_that_does_not_and_nothing_moves_nothing() {
        let book = load(&Texts::built_in()).0;
        assert_eq!(effect(&book, &book).unwrap(), 0.0);
        let file = "causes/inflight-allowance-high.yaml";
        let much = effect(&book, &with(file, "machines.single-tray-weigher", "very rare")).unwrap();
        let little = effect(&book, &with(file, "machines.single-tray-weigher", "common")).unwrap();
        assert!(much > little && little > 0.0 && much < 1.0, "{much} {little}");
        let file = "checks/test-weight-on-pan.yaml";
        let check = effect(&book, &with(file, "outcomes.reads-low.means.0.hit", "rarely")).unwrap();
        assert!(check > 0.0, "a check's hit moves what its answers say: {check}");
    }
}
