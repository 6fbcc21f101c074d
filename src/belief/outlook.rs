//! What each combination of causes, if it is the truth, leads one to expect.

use std::collections::BTreeSet;

use super::assembly::{Asking, Given};
use super::course::{Scenarios, Stand};
use super::evidence::{BeliefError, Evidence, fault_of_findings, joint_states};
use super::leading::{Combination, MOST_TOGETHER, stands};
use super::network::{Link, Network, Parent};
use super::pair;
use super::posterior::{Check, certain, fault_of_check};
use super::sum::Sum;
use super::timeline::Timeline;

/// Most parent findings of a finding that is asked about together with others.
const MOST_ABOVE: usize = 2;
/// Most findings that checks asked together hold at once.
const MOST_HELD: usize = 4;

/// What one combination, if it is the truth, leads one to expect.
#[derive(Debug, Clone, PartialEq)]
pub struct Outlook {
    /// The combination.
    pub combination: Combination,
    /// `[check][outcome]` = P(outcome | exactly these causes now, evidence); empty for a check out of reach of exact sums.
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
        .map(|(gone, combination)| Outlook {
            combination: combination.clone(),
            outcomes: vec![Vec::new(); checks.len()],
            gone,
        })
        .collect();
    let groups = ask.together(checks);
    let answered = pair::each(&groups, |places| {
        let asked: Vec<&Check> = places.iter().map(|&place| &checks[place]).collect();
        ask.each_in_reach(&asked)
    });
    for (places, answers) in groups.iter().zip(answered) {
        for (place, answers) in places.iter().zip(answers?) {
            for (outlook, outcomes) in outlooks.iter_mut().zip(answers.into_iter().flatten()) {
                outlook.outcomes[*place] = outcomes;
            }
        }
    }
    Ok(outlooks)
}

/// `[combination][outcome]` of a check; none where it is out of reach of exact sums.
type InReach = Option<Vec<Vec<f64>>>;

struct Ask<'a> {
    network: &'a Network,
    evidence: &'a Evidence,
    timeline: Timeline,
    combinations: &'a [Combination],
}

impl Ask<'_> {
    /// The checks in groups, each to be asked in one sum. Together go those whose findings the sum tells apart anyhow, or that hang
    /// on at most [`MOST_ABOVE`] others, as long as no more than [`MOST_HELD`] have to be held at once; every other one widens
    /// the sum, and is asked alone.
    fn together(&self, checks: &[Check]) -> Vec<Vec<usize>> {
        let findings = self.network.findings();
        let mut held: Vec<usize> = (0..findings.len()).collect();
        for sights in &self.timeline.sights {
            let seen: Vec<usize> = sights.iter().map(|sight| sight.finding).collect();
            unite(&mut held, &seen);
        }
        let hangs = |finding: &Link| matches!(finding.parent, Parent::Finding(_));
        let near = |&finding: &usize| {
            !self.timeline.versions(finding).is_empty()
                || findings[finding].parents.iter().filter(|link| hangs(link)).count() <= MOST_ABOVE
        };
        let (mut shared, mut groups) = (Vec::new(), Vec::new());
        let mut order: Vec<usize> = (0..checks.len()).collect();
        order.sort_by_key(|&place| checks[place].findings.len());
        for place in order {
            let own = &checks[place].findings;
            let roots: BTreeSet<usize> = own.iter().map(|&finding| held[finding]).collect();
            let size = held.iter().filter(|root| roots.contains(root)).count();
            if own.iter().all(near) && (roots.len() == 1 || size <= MOST_HELD) {
                unite(&mut held, own);
                shared.push(place);
            } else {
                groups.push(vec![place]);
            }
        }
        groups.push(shared);
        groups
    }

    fn given<'g>(&'g self, timeline: &'g Timeline, scenarios: &'g Scenarios) -> Given<'g> {
        Given { network: self.network, evidence: self.evidence, timeline, scenarios }
    }

    /// The same for each check, one that is too large even by itself left out: the others can still be asked.
    fn each_in_reach(&self, checks: &[&Check]) -> Result<Vec<InReach>, BeliefError> {
        match (self.outcomes(checks), checks) {
            (Ok(all), _) => Ok(all.into_iter().map(Some).collect()),
            (Err(BeliefError::TooLarge { .. }), [_]) => Ok(vec![None]),
            (Err(BeliefError::TooLarge { .. }), several) => {
                let alone = several.iter().map(|check| self.each_in_reach(&[*check]));
                Ok(alone.collect::<Result<Vec<_>, _>>()?.concat())
            }
            (Err(other), _) => Err(other),
        }
    }

    /// `[check][combination][outcome]`: together, or where that would be too large one half of the checks after the other, and of
    /// a single check one half of the combinations.
    fn outcomes(&self, checks: &[&Check]) -> Result<Vec<Vec<Vec<f64>>>, BeliefError> {
        let all: Vec<&Combination> = self.combinations.iter().collect();
        pair::halved(checks, &|checks: &[&Check]| match checks {
            [check] => Ok(vec![pair::halved(&all, &|some: &[&Combination]| {
                Ok(self.outcomes_within(&[*check], some)?.pop().unwrap_or_default())
            })?]),
            _ => self.outcomes_within(checks, &all),
        })
    }

    fn outcomes_within(
        &self,
        checks: &[&Check],
        combinations: &[&Combination],
    ) -> Result<Vec<Vec<Vec<f64>>>, BeliefError> {
        let rows = combinations.iter().map(|c| stands(self.network, &c.causes, Stand::There));
        let scenarios = Scenarios(rows.collect());
        let mut timeline = self.timeline.clone();
        let see = |check: &&Check| timeline.see_now(self.network, &check.findings, check.moment);
        let sights = checks.iter().map(see).collect::<Result<Vec<_>, _>>()?;
        let pairs = sights.iter().zip(checks);
        let asked: Vec<Asking<'_>> =
            pairs.map(|(sights, check)| Asking { sights, outcomes: &check.outcomes }).collect();
        let sum = Sum::answers(self.given(&timeline, &scenarios), &asked)?;
        let answer = |(number, check): (usize, &&Check)| {
            if check.findings.is_empty() {
                vec![certain(check); scenarios.count()]
            } else {
                sum.answer(number)
            }
        };
        Ok(checks.iter().enumerate().map(answer).collect())
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
            pair::halved(&rows, &|rows: &[Vec<Stand>]| {
                let sum = Sum::answers(self.given(&timeline, &Scenarios(rows.to_vec())), &[asking])?;
                Ok(sum.answer(0).into_iter().map(|outcomes| outcomes[0]).collect())
            })?
        };
        let mut normal = normal.into_iter();
        let subsets = self.combinations.iter().map(|c| 1usize << c.causes.len());
        Ok(subsets.map(|count| normal.by_ref().take(count).collect()).collect())
    }
}

/// Gives all these findings one root.
fn unite(held: &mut [usize], findings: &[usize]) {
    let roots: BTreeSet<usize> = findings.iter().map(|&finding| held[finding]).collect();
    if let Some(&first) = roots.first() {
        held.iter_mut().filter(|root| roots.contains(root)).for_each(|root| *root = first);
    }
}
