//! What each combination of causes, if it is the truth, leads one to expect.

use super::assembly::{Assembly, Check, fault_of_check, outcome_var};
use super::clamped::clamps;
use super::eliminate::{eliminate, order};
use super::evidence::{BeliefError, Evidence, Moment, fault_of_findings};
use super::leading::{Combination, MOST_TOGETHER, given};
use super::network::Network;
use super::posterior::normal;
use super::timeline::{Sight, Timeline};

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

/// What each combination leads one to expect of the open checks and of curing its causes: one tree a combination, with the
/// outcome of every check and 'all complaints gone' after every cure as variables in it.
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
    let mut timeline = Timeline::new(network, evidence)?;
    let sights = checks
        .iter()
        .map(|check| timeline.see_now(network, &check.findings, check.moment))
        .collect::<Result<Vec<_>, _>>()?;
    let ask = Ask { network, evidence, timeline, checks, sights, complaint };
    combinations.iter().map(|combination| ask.of(combination)).collect()
}

struct Ask<'a> {
    network: &'a Network,
    evidence: &'a Evidence,
    timeline: Timeline,
    checks: &'a [Check],
    sights: Vec<Vec<Sight>>,
    complaint: &'a [usize],
}

impl Ask<'_> {
    fn of(&self, combination: &Combination) -> Result<Outlook, BeliefError> {
        let mut timeline = self.timeline.clone();
        let cures = self.cures(&mut timeline, &combination.causes)?;
        let clamps = clamps(&given(self.network.causes().len(), &combination.causes));
        let mut assembly = Assembly::new(self.network, self.evidence, &timeline, &clamps);
        assembly.whole()?;
        let var = |place| outcome_var(self.network, &timeline, self.evidence.0.len(), place);
        for (place, (check, sights)) in self.checks.iter().zip(&self.sights).enumerate() {
            assembly.outcomes(sights, &check.outcomes, var(place));
        }
        for (place, sights) in cures.iter().enumerate() {
            assembly.all_normal(sights, var(self.checks.len() + place));
        }
        let factors = assembly.factors;
        let order = order(&factors, &[]);
        let mut tree = eliminate(factors, &order, true)?;
        tree.spread_back();
        // A variable that is not in the tree has one state, which is certain.
        let of = |place| normal(tree.marginal(var(place)).unwrap_or_else(|| vec![1.0]));
        let gone = |place| of(self.checks.len() + place).last().copied().unwrap_or(1.0);
        Ok(Outlook {
            combination: combination.clone(),
            outcomes: (0..self.checks.len()).map(of).collect(),
            gone: (0..cures.len()).map(gone).collect(),
        })
    }

    /// The complaint as it would be after curing each subset of the causes.
    fn cures(&self, timeline: &mut Timeline, causes: &[usize]) -> Result<Vec<Vec<Sight>>, BeliefError> {
        if causes.len() > MOST_TOGETHER {
            return Err(BeliefError::TooLarge { cost: (causes.len() as f64).exp2() });
        }
        let member =
            |set: usize| move |(bit, cause): (usize, &usize)| (set >> bit & 1 == 1).then_some(*cause);
        (0..1usize << causes.len())
            .map(|set| {
                let cured: Vec<usize> = causes.iter().enumerate().filter_map(member(set)).collect();
                if cured.is_empty() {
                    timeline.see_now(self.network, self.complaint, Moment::Bad)
                } else {
                    timeline.see_cured(self.network, self.complaint, &cured)
                }
            })
            .collect()
    }
}
