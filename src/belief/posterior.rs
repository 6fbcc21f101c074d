//! What is believed after the evidence: exact marginals from two passes over one sum, or sampled ones past its cost.

use super::assembly::{Asking, Given, cause_var, circumstance_var};
use super::course::{Scenarios, Stand};
use super::evidence::{BeliefError, Evidence, Moment, fault_of_findings, fault_of_likelihood, joint_states};
use super::network::Network;
use super::sample::{self, Draws, Sampled};
use super::sum::Sum;
use super::timeline::Timeline;

/// A question to the network: the chance of each outcome of a check on findings as they are at this moment.
#[derive(Debug, Clone, PartialEq)]
pub struct Check {
    /// The findings it bears on, each once.
    pub findings: Vec<usize>,
    /// For each outcome P(outcome | states), laid out as [`super::Item::Answer`]'s likelihood.
    pub outcomes: Vec<Vec<f64>>,
    /// Whether the fault will be showing.
    pub moment: Moment,
}

/// What is believed of one cause.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Presence {
    /// P(it was there at the start of the case).
    pub was: f64,
    /// P(it is still there after the remedies done).
    pub now: f64,
    /// ln of P(it was there) / P(it was not); infinite where one of them is 0. Keeps its digits near certainty.
    pub ln_odds: f64,
}

/// What is believed after the evidence.
#[derive(Debug, Clone, PartialEq)]
pub struct Posterior {
    /// Each cause.
    pub causes: Vec<Presence>,
    /// P(happened) of each circumstance.
    pub circumstances: Vec<f64>,
    /// ln P(evidence), up to the scale of the likelihoods.
    pub ln_evidence: f64,
    /// How well it is known, where it is sampled; none where it is exact.
    pub sampled: Option<Sampled>,
}

/// What is believed of every cause and circumstance: exact, or sampled where an exact sum would be too large.
pub fn posterior(network: &Network, evidence: &Evidence) -> Result<Posterior, BeliefError> {
    match exact(network, evidence) {
        Err(BeliefError::TooLarge { .. }) => sampled(network, evidence),
        known => known,
    }
}

/// What is believed of every cause and circumstance, sampled however small an exact sum would be.
pub fn sampled(network: &Network, evidence: &Evidence) -> Result<Posterior, BeliefError> {
    evidence.check(network)?;
    sample::sampled(network, evidence)
}

/// The same, refused where it cannot be exact.
pub(crate) fn exact(network: &Network, evidence: &Evidence) -> Result<Posterior, BeliefError> {
    evidence.check(network)?;
    let timeline = Timeline::new(network, evidence)?;
    let scenarios = &Scenarios::one(network, Stand::Free);
    let sum = Sum::marginals(Given { network, evidence, timeline: &timeline, scenarios })?;
    let Some(Some(ln_evidence)) = sum.ln_totals().first().copied() else {
        return Err(impossible(network, evidence));
    };
    let causes = 0..network.causes().len();
    let own = |cause| {
        let weights = sum.marginal(cause_var(network, cause));
        if weights.iter().any(|weight| *weight > 0.0) {
            return Ok(presence(&weights));
        }
        one_by_one(network, evidence, cause)
    };
    let happened = |index| sum.marginal(circumstance_var(index)).get(1).copied().unwrap_or(0.0);
    Ok(Posterior {
        causes: causes.map(own).collect::<Result<_, _>>()?,
        circumstances: (0..network.circumstances().len()).map(happened).collect(),
        ln_evidence,
        sampled: None,
    })
}

/// For each finding the probability of each degree as it is now, faults that come and go awake.
pub fn findings(network: &Network, evidence: &Evidence) -> Result<Vec<Vec<f64>>, BeliefError> {
    let checks: Vec<Check> = (0..network.findings().len()).map(|finding| itself(network, finding)).collect();
    predict(network, evidence, &checks)
}

/// The same, refused where it cannot be exact.
pub(crate) fn exact_findings(network: &Network, evidence: &Evidence) -> Result<Vec<Vec<f64>>, BeliefError> {
    let checks: Vec<Check> = (0..network.findings().len()).map(|finding| itself(network, finding)).collect();
    predicted(network, evidence, &checks, false)
}

/// P(outcome | evidence) of each open check, each by itself; sampled where an exact sum would be too large.
pub fn predict(
    network: &Network,
    evidence: &Evidence,
    checks: &[Check],
) -> Result<Vec<Vec<f64>>, BeliefError> {
    predicted(network, evidence, checks, true)
}

fn predicted(
    network: &Network,
    evidence: &Evidence,
    checks: &[Check],
    may_sample: bool,
) -> Result<Vec<Vec<f64>>, BeliefError> {
    evidence.check(network)?;
    for (place, check) in checks.iter().enumerate() {
        if let Some(why) = fault_of_check(network, check) {
            return Err(BeliefError::Check { check: place, why });
        }
    }
    match exact_ln_evidence(network, evidence) {
        Err(BeliefError::TooLarge { .. }) | Ok(_) => {}
        Err(other) => return Err(other),
    }
    let plain = Timeline::new(network, evidence)?;
    let mut draws: Option<Draws> = None;
    let ask = |check: &Check| {
        let mut timeline = plain.clone();
        let sights = timeline.see_now(network, &check.findings, check.moment)?;
        let asking = Asking { sights: &sights, outcomes: &check.outcomes };
        let answers = |scenarios: &Scenarios| {
            let sum = Sum::answers(Given { network, evidence, timeline: &timeline, scenarios }, &[asking])?;
            Ok(sum.answer(0))
        };
        let mut known = match answers(&Scenarios::one(network, Stand::Free)) {
            Err(BeliefError::TooLarge { .. }) if may_sample => {
                let draws = match &mut draws {
                    Some(known) => known,
                    none => none.insert(sample::draws(network, evidence, &plain)?),
                };
                vec![draws.mean(answers)?]
            }
            known => known?,
        };
        Ok(known.pop().unwrap_or_else(|| certain(check)))
    };
    checks.iter().map(ask).collect()
}

/// The outcomes of a check that bears on no finding.
pub(crate) fn certain(check: &Check) -> Vec<f64> {
    check.outcomes.iter().map(|outcome| outcome[0]).collect()
}

/// ln P(evidence), up to the scale of the likelihoods; sampled where an exact sum would be too large.
pub fn ln_evidence(network: &Network, evidence: &Evidence) -> Result<f64, BeliefError> {
    match exact_ln_evidence(network, evidence) {
        Err(BeliefError::TooLarge { .. }) => Ok(sample::sampled(network, evidence)?.ln_evidence),
        known => known,
    }
}

fn exact_ln_evidence(network: &Network, evidence: &Evidence) -> Result<f64, BeliefError> {
    evidence.check(network)?;
    let all = ln_within(network, evidence, &Scenarios::one(network, Stand::Free))?;
    all.map_or_else(|| Err(impossible(network, evidence)), Ok)
}

/// P(no listed cause was present | evidence), `outside` being the cause that stands for all that is in no book, and `believed` the
/// posterior of the same evidence.
pub fn nothing_known(
    network: &Network,
    evidence: &Evidence,
    believed: &Posterior,
    outside: Option<usize>,
) -> Result<f64, BeliefError> {
    evidence.check(network)?;
    let mut scenarios = Scenarios::one(network, Stand::Never);
    if let Some(stand) = outside.and_then(|outside| scenarios.0[0].get_mut(outside)) {
        *stand = Stand::Free;
    }
    Ok(ln_within(network, evidence, &scenarios)?
        .map_or(0.0, |none| (none - believed.ln_evidence).exp().min(1.0)))
}

/// The presence of a cause from P(evidence, what became of it), each by itself: where strengths are so small that their product in
/// one table is 0.
fn one_by_one(network: &Network, evidence: &Evidence, cause: usize) -> Result<Presence, BeliefError> {
    let mut lns = Vec::new();
    for stand in [Stand::Never, Stand::There, Stand::Cured] {
        let mut scenarios = Scenarios::one(network, Stand::Free);
        scenarios.0[0][cause] = stand;
        let cured = stand != Stand::Cured || !Timeline::new(network, evidence)?.remedies[cause].is_empty();
        let ln = if cured { ln_within(network, evidence, &scenarios)? } else { None };
        lns.push(ln.unwrap_or(f64::NEG_INFINITY));
    }
    let largest = lns.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    if largest == f64::NEG_INFINITY {
        return Err(impossible(network, evidence));
    }
    Ok(presence(&lns.iter().map(|ln| (ln - largest).exp()).collect::<Vec<_>>()))
}

/// ln P(evidence, scenario) of a single scenario; `None` when it is 0.
fn ln_within(
    network: &Network,
    evidence: &Evidence,
    scenarios: &Scenarios,
) -> Result<Option<f64>, BeliefError> {
    let timeline = Timeline::new(network, evidence)?;
    let sum = Sum::total(Given { network, evidence, timeline: &timeline, scenarios })?;
    Ok(sum.ln_totals().first().copied().flatten())
}

/// The first item with which the evidence has probability 0.
fn impossible(network: &Network, evidence: &Evidence) -> BeliefError {
    let free = Scenarios::one(network, Stand::Free);
    for item in 0..evidence.0.len() {
        match ln_within(network, &Evidence(evidence.0[..=item].to_vec()), &free) {
            Ok(Some(_)) => {}
            Ok(None) => return BeliefError::Impossible { item },
            Err(error) => return error,
        }
    }
    BeliefError::Impossible { item: evidence.0.len().saturating_sub(1) }
}

/// From the weights of the trajectories: absent, present, cured by the first remedy, by the second…
fn presence(weights: &[f64]) -> Presence {
    let at = |place: usize| weights.get(place).copied().unwrap_or(0.0);
    let (absent, now) = (at(0), at(1));
    let cured: f64 = weights.iter().skip(2).sum();
    let total = now + cured + absent;
    Presence { was: (now + cured) / total, now: now / total, ln_odds: ((now + cured) / absent).ln() }
}

/// The check that tells a finding's degree itself.
fn itself(network: &Network, finding: usize) -> Check {
    let states = network.findings()[finding].degrees + 1;
    let outcome = |at: usize| (0..states).map(|state| f64::from(u8::from(state == at))).collect();
    Check { findings: vec![finding], outcomes: (0..states).map(outcome).collect(), moment: Moment::Bad }
}

/// Why a check does not fit the network.
pub(crate) fn fault_of_check(network: &Network, check: &Check) -> Option<&'static str> {
    fault_of_findings(network, &check.findings).or_else(|| {
        let Some(states) = joint_states(network, &check.findings) else {
            return Some("it bears on too many findings at once");
        };
        if check.outcomes.is_empty() {
            return Some("it has no outcome");
        }
        check.outcomes.iter().find_map(|outcome| fault_of_likelihood(outcome, states)).or_else(|| {
            let whole = |state: usize| {
                (check.outcomes.iter().map(|outcome| outcome[state]).sum::<f64>() - 1.0).abs() < 1e-6
            };
            (!(0..states).all(whole)).then_some("the chances of its outcomes do not add up to 1")
        })
    })
}
