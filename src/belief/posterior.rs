//! What is believed after the evidence: exact marginals from two passes over one elimination.

use super::assembly::{Assembly, Check, Clamp, cause_var, circumstance_var, fault_of_check, outcome_var};
use super::eliminate::{Tree, eliminate, order, weights_of};
use super::evidence::{BeliefError, Evidence, Moment};
use super::factor::{Axis, Factor, Var};
use super::network::Network;
use super::timeline::Timeline;

/// A tree with every question in it may cost this many times the one without, and this much on top.
const WORTH_ONE_TREE: (f64, f64) = (4.0, 20_000.0);

/// What is believed of one cause.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Presence {
    /// P(it was there at the start of the case).
    pub was: f64,
    /// P(it is still there after the remedies done).
    pub now: f64,
    /// ln of P(there now) / P(not there now); infinite where one of them is 0. Keeps its digits near certainty.
    pub ln_odds: f64,
}

/// What is believed after the evidence.
#[derive(Debug, Clone, PartialEq)]
pub struct Posterior {
    /// Each cause.
    pub causes: Vec<Presence>,
    /// P(happened) of each circumstance.
    pub circumstances: Vec<f64>,
    /// For each finding the probability of each degree as it is now, faults that come and go awake.
    pub findings: Vec<Vec<f64>>,
    /// ln P(evidence), up to the scale of the likelihoods.
    pub ln_evidence: f64,
}

/// The posterior of everything.
pub fn posterior(network: &Network, evidence: &Evidence) -> Result<Posterior, BeliefError> {
    let checks: Vec<Check> = (0..network.findings().len()).map(|finding| itself(network, finding)).collect();
    let (inference, findings) = answer(network, evidence, &checks)?;
    Ok(Posterior {
        causes: inference.causes(network),
        circumstances: inference.circumstances(network),
        findings,
        ln_evidence: inference.ln_evidence,
    })
}

/// P(outcome | evidence) of each open check, from the whole network.
pub fn predict(
    network: &Network,
    evidence: &Evidence,
    checks: &[Check],
) -> Result<Vec<Vec<f64>>, BeliefError> {
    Ok(answer(network, evidence, checks)?.1)
}

/// ln P(evidence), up to the scale of the likelihoods.
pub fn ln_evidence(network: &Network, evidence: &Evidence) -> Result<f64, BeliefError> {
    evidence.check(network)?;
    ln_clamped(network, evidence, &free(network))?.map_or_else(|| Err(impossible(network, evidence)), Ok)
}

/// P(no listed cause was present | evidence), `outside` being the cause that stands for all that is in no book.
pub fn nothing_known(
    network: &Network,
    evidence: &Evidence,
    outside: Option<usize>,
) -> Result<f64, BeliefError> {
    let all = ln_evidence(network, evidence)?;
    let mut clamps = vec![Clamp::Never; network.causes().len()];
    if let Some(clamp) = outside.and_then(|outside| clamps.get_mut(outside)) {
        *clamp = Clamp::Free;
    }
    Ok(ln_clamped(network, evidence, &clamps)?.map_or(0.0, |none| (none - all).exp().min(1.0)))
}

/// No clamp on any cause.
pub(crate) fn free(network: &Network) -> Vec<Clamp> {
    vec![Clamp::Free; network.causes().len()]
}

/// ln P(evidence, clamps); `None` when it is 0.
fn ln_clamped(network: &Network, evidence: &Evidence, clamps: &[Clamp]) -> Result<Option<f64>, BeliefError> {
    let timeline = Timeline::new(network, evidence)?;
    let mut assembly = Assembly::new(network, evidence, &timeline, clamps);
    assembly.whole()?;
    let order = order(&assembly.factors, &[]);
    Ok(eliminate(assembly.factors, &order, false)?.ln_total())
}

/// The first item with which the evidence has probability 0.
fn impossible(network: &Network, evidence: &Evidence) -> BeliefError {
    for item in 0..evidence.0.len() {
        let first = Evidence(evidence.0[..=item].to_vec());
        match ln_clamped(network, &first, &free(network)) {
            Ok(Some(_)) => {}
            Ok(None) => return BeliefError::Impossible { item },
            Err(error) => return error,
        }
    }
    BeliefError::Impossible { item: evidence.0.len().saturating_sub(1) }
}

/// A tree with its marginals, and the timeline that it was made for.
pub(crate) struct Inference {
    tree: Tree,
    timeline: Timeline,
    pub(crate) ln_evidence: f64,
}

impl Inference {
    /// Two passes; `None` when the evidence is impossible.
    fn new(factors: Vec<Factor>, timeline: Timeline) -> Result<Option<Self>, BeliefError> {
        let order = order(&factors, &[]);
        let mut tree = eliminate(factors, &order, true)?;
        Ok(tree.ln_total().map(|ln_evidence| {
            tree.spread_back();
            Self { tree, timeline, ln_evidence }
        }))
    }

    /// Without any question.
    pub(crate) fn plain(network: &Network, evidence: &Evidence) -> Result<Self, BeliefError> {
        Ok(answer(network, evidence, &[])?.0)
    }

    pub(crate) fn causes(&self, network: &Network) -> Vec<Presence> {
        (0..network.causes().len()).map(|cause| self.presence(network, cause)).collect()
    }

    /// From the weights of the trajectories: absent, present, cured by the first remedy, by the second…
    fn presence(&self, network: &Network, cause: usize) -> Presence {
        let weights = self.tree.marginal(cause_var(network, cause)).unwrap_or_else(|| vec![1.0]);
        debug_assert!(weights.len() == 2 + self.timeline.remedies[cause].len());
        let now = weights.get(1).copied().unwrap_or(0.0);
        let cured: f64 = weights.iter().skip(2).sum();
        let absent = weights[0];
        let total = now + cured + absent;
        Presence { was: (now + cured) / total, now: now / total, ln_odds: (now / (cured + absent)).ln() }
    }

    fn circumstances(&self, network: &Network) -> Vec<f64> {
        let happened = |index| {
            self.tree
                .marginal(circumstance_var(index))
                .map_or(0.0, |weights| weights[1] / (weights[0] + weights[1]))
        };
        (0..network.circumstances().len()).map(happened).collect()
    }
}

/// The check that tells a finding's degree itself.
fn itself(network: &Network, finding: usize) -> Check {
    let states = network.findings()[finding].degrees + 1;
    let outcome = |at: usize| (0..states).map(|state| f64::from(u8::from(state == at))).collect();
    Check { findings: vec![finding], outcomes: (0..states).map(outcome).collect(), moment: Moment::Bad }
}

/// All marginals, and what the checks would answer: in one tree where that is cheap, else the checks one by one.
fn answer(
    network: &Network,
    evidence: &Evidence,
    checks: &[Check],
) -> Result<(Inference, Vec<Vec<f64>>), BeliefError> {
    evidence.check(network)?;
    for (place, check) in checks.iter().enumerate() {
        if let Some(why) = fault_of_check(network, check) {
            return Err(BeliefError::Check { check: place, why });
        }
    }
    let clamps = free(network);
    let plain = Timeline::new(network, evidence)?;
    let mut assembly = Assembly::new(network, evidence, &plain, &clamps);
    assembly.whole()?;
    let (factors, cost) = (assembly.factors, |factors: &[Factor]| order(factors, &[]).cost);
    if !checks.is_empty()
        && let Ok((timeline, joint)) = with_checks(network, evidence, &plain, checks)
        && cost(&joint) <= cost(&factors) * WORTH_ONE_TREE.0 + WORTH_ONE_TREE.1
    {
        let inference = Inference::new(joint, timeline)?.ok_or_else(|| impossible(network, evidence))?;
        let var = |place| outcome_var(network, &inference.timeline, evidence.0.len(), place);
        let outcomes = (0..checks.len())
            .map(|place| normal(inference.tree.marginal(var(place)).unwrap_or_else(|| vec![1.0])));
        let outcomes = outcomes.collect();
        return Ok((inference, outcomes));
    }
    let outcomes =
        checks.iter().map(|check| ask_alone(network, evidence, &plain, check)).collect::<Result<_, _>>()?;
    let inference = Inference::new(factors, plain)?.ok_or_else(|| impossible(network, evidence))?;
    Ok((inference, outcomes))
}

/// The whole graph with these checks in it, as outcome variables.
fn with_checks(
    network: &Network,
    evidence: &Evidence,
    plain: &Timeline,
    checks: &[Check],
) -> Result<(Timeline, Vec<Factor>), BeliefError> {
    let mut timeline = plain.clone();
    let sights = checks
        .iter()
        .map(|check| timeline.see_now(network, &check.findings, check.moment))
        .collect::<Result<Vec<_>, _>>()?;
    let clamps = free(network);
    let mut assembly = Assembly::new(network, evidence, &timeline, &clamps);
    assembly.whole()?;
    for (place, (check, sights)) in checks.iter().zip(&sights).enumerate() {
        assembly.outcomes(sights, &check.outcomes, outcome_var(network, &timeline, evidence.0.len(), place));
    }
    let factors = assembly.factors;
    Ok((timeline, factors))
}

fn ask_alone(
    network: &Network,
    evidence: &Evidence,
    plain: &Timeline,
    check: &Check,
) -> Result<Vec<f64>, BeliefError> {
    let (timeline, factors) = with_checks(network, evidence, plain, std::slice::from_ref(check))?;
    let axis: Axis = (outcome_var(network, &timeline, evidence.0.len(), 0), check.outcomes.len());
    Ok(normal(weights_of(connected(factors, axis.0), axis)?.table))
}

/// Weights brought to the sum 1 (all 0 stays).
pub(crate) fn normal(mut weights: Vec<f64>) -> Vec<f64> {
    let total: f64 = weights.iter().sum();
    if total > 0.0 {
        for weight in &mut weights {
            *weight /= total;
        }
    }
    weights
}

/// The factors that hang together with a variable.
fn connected(mut factors: Vec<Factor>, var: Var) -> Vec<Factor> {
    let (mut reached, mut inside) = (vec![var], Vec::new());
    loop {
        let touches = |factor: &Factor| factor.axes.iter().any(|axis| reached.contains(&axis.0));
        let (more, rest): (Vec<_>, Vec<_>) = factors.into_iter().partition(touches);
        if more.is_empty() {
            return inside;
        }
        for axis in more.iter().flat_map(|factor| &factor.axes) {
            if !reached.contains(&axis.0) {
                reached.push(axis.0);
            }
        }
        inside.extend(more);
        factors = rest;
    }
}

#[cfg(test)]
mod tests {
    use super::super::{Cause, Finding, Item, Link, Parent};
    use super::*;

    /// Four causes in a ring over four findings, the last one below the first.
    fn ring() -> Network {
        let causes =
            (1..=4).map(|rank| Cause { base: 0.05 * f64::from(rank), after: Vec::new(), catch: Some(0.3) });
        let link = |parent, strength| Link { parent, strength: vec![vec![strength]] };
        let finding = |index: usize| {
            let mut parents =
                vec![link(Parent::Cause(index), 0.85), link(Parent::Cause((index + 1) % 4), 0.3)];
            if index == 3 {
                parents.push(link(Parent::Finding(0), 0.6));
            }
            Finding { degrees: 1, leak: vec![0.01], parents }
        };
        Network::new(Vec::new(), causes.collect(), (0..4).map(finding).collect()).unwrap()
    }

    #[test]
    fn checks_asked_one_by_one_answer_as_all_in_one_tree() {
        let network = ring();
        let told = |finding, likelihood: [f64; 2], moment| Item::Answer {
            findings: vec![finding],
            likelihood: likelihood.to_vec(),
            moment,
        };
        let evidence = Evidence(vec![
            told(0, [0.1, 0.8], Moment::Bad),
            Item::Remedy { cause: 0, works: 0.7 },
            told(1, [0.7, 0.2], Moment::Unknown),
        ]);
        let checks: Vec<Check> = (0..4).map(|finding| itself(&network, finding)).collect();
        let together = predict(&network, &evidence, &checks).unwrap();
        let plain = Timeline::new(&network, &evidence).unwrap();
        for (check, together) in checks.iter().zip(together) {
            let alone = ask_alone(&network, &evidence, &plain, check).unwrap();
            assert!(
                alone.iter().zip(&together).all(|(a, b)| (a - b).abs() < 1e-14),
                "{alone:?} {together:?}"
            );
        }
    }
}
