//! What each combination of causes, if it is the truth, leads one to expect.

use super::assembly::Asking;
use super::course::{Scenarios, Stand};
use super::evidence::{BeliefError, Evidence, fault_of_findings, joint_states};
use super::leading::{Combination, MOST_TOGETHER, stands};
use super::network::Network;
use super::posterior::{Check, certain, fault_of_check};
use super::sum::Sum;
use super::timeline::Timeline;

/// What one combination, if it is the truth, leads one to expect.
#[derive(Debug, Clone, PartialEq)]
pub struct Outlook {
    /// The combination.
    pub combination: Combination,
    /// `[check][outcome]` = P(outcome | exactly these causes now, evidence).
    pub outcomes: Vec<Vec<f64>>,
    /// P(every finding complained of is normal, faults that come and go awake, once a subset of the causes is cured
    /// | exactly these causes now, evidence), links and leaks persisting. Bit `b` of the index stands for `causes[b]`.
    pub gone: Vec<f64>,
}

/// What each combination leads one to expect of the open checks and of curing its causes, the combinations side by side.
pub fn outlook(
    network: &Network,
    evidence: &Evidence,
    combinations: &[Combination],
    checks: &[Check],
    complaint: &[usize],
) -> Result<Vec<Outlook>, BeliefError> {
    evidence.check(network)?;
    for (place, check) in checks.iter().enumerate() {
        if let Some(why) = fault_of_check(network, check) {
            return Err(BeliefError::Check { check: place, why });
        }
    }
    if let Some(why) = fault_of_findings(network, complaint) {
        return Err(BeliefError::Complaint { why });
    }
    if combinations.is_empty() {
        return Ok(Vec::new());
    }
    let ask = Ask { network, evidence, timeline: Timeline::new(network, evidence)?, combinations };
    let mut outlooks: Vec<Outlook> = ask
        .gone(complaint)?
        .into_iter()
        .zip(combinations)
        .map(|(gone, combination)| Outlook { combination: combination.clone(), outcomes: Vec::new(), gone })
        .collect();
    for check in checks {
        for (outlook, outcomes) in outlooks.iter_mut().zip(ask.outcomes(check)?) {
            outlook.outcomes.push(outcomes);
        }
    }
    Ok(outlooks)
}

struct Ask<'a> {
    network: &'a Network,
    evidence: &'a Evidence,
    timeline: Timeline,
    combinations: &'a [Combination],
}

impl Ask<'_> {
    fn outcomes(&self, check: &Check) -> Result<Vec<Vec<f64>>, BeliefError> {
        let rows: Vec<Vec<Stand>> =
            self.combinations.iter().map(|c| stands(self.network, &c.causes, Stand::There)).collect();
        let scenarios = Scenarios(rows);
        let mut timeline = self.timeline.clone();
        let sights = timeline.see_now(self.network, &check.findings, check.moment)?;
        if sights.is_empty() {
            return Ok(vec![certain(check); self.combinations.len()]);
        }
        let asking = Asking { sights: &sights, outcomes: &check.outcomes };
        let sum = Sum::answers(self.network, self.evidence, &timeline, &scenarios, &[asking])?;
        Ok(sum.answer(0))
    }

    /// For each combination and each subset of its causes cured, whether the complaint is gone.
    fn gone(&self, complaint: &[usize]) -> Result<Vec<Vec<f64>>, BeliefError> {
        let mut rows = Vec::new();
        for combination in self.combinations {
            let causes = &combination.causes;
            if causes.len() > MOST_TOGETHER {
                return Err(BeliefError::TooLarge { cost: (causes.len() as f64).exp2() });
            }
            for set in 0..1usize << causes.len() {
                let mut row = stands(self.network, causes, Stand::There);
                let cured = causes.iter().enumerate().filter(|(bit, _)| set >> bit & 1 == 1);
                cured.for_each(|(_, &cause)| row[cause] = Stand::Hoped);
                rows.push(row);
            }
        }
        let mut hoped: Vec<usize> = self.combinations.iter().flat_map(|c| c.causes.iter().copied()).collect();
        hoped.sort_unstable();
        hoped.dedup();
        let mut timeline = self.timeline.clone();
        let sights = timeline.see_hoped(self.network, complaint, &hoped)?;
        let normal = if sights.is_empty() {
            vec![1.0; rows.len()]
        } else {
            let states = joint_states(self.network, complaint)
                .ok_or_else(|| BeliefError::TooLarge { cost: (complaint.len() as f64).exp2() })?;
            let (mut normal, mut other) = (vec![0.0; states], vec![1.0; states]);
            (normal[0], other[0]) = (1.0, 0.0);
            let outcomes = [normal, other];
            let asking = Asking { sights: &sights, outcomes: &outcomes };
            let scenarios = Scenarios(rows);
            let sum = Sum::answers(self.network, self.evidence, &timeline, &scenarios, &[asking])?;
            sum.answer(0).into_iter().map(|outcomes| outcomes[0]).collect()
        };
        let mut normal = normal.into_iter();
        let subsets = self.combinations.iter().map(|c| 1usize << c.causes.len());
        Ok(subsets.map(|count| normal.by_ref().take(count).collect()).collect())
    }
}
