//! What is believed after the evidence: exact marginals from two passes over one elimination.

use super::assembly::{Assembly, Check, Clamp, cause_var, circumstance_var, fault_of_check, outcome_var};
use super::eliminate::{eliminate, order, weights_of};
use super::evidence::{BeliefError, Evidence, Moment};
use super::factor::{Axis, Factor, Var};
use super::network::Network;
use super::timeline::Timeline;

/// A tree with every question in it may cost this many times the one without, and this much on top.
const WORTH_ONE_TREE: (f64, f64) = (4.0, 20_000.0);

/// Most pieces that the runs of fills are taken apart into.
const MOST_PIECES: usize = 400;

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
    let inference = infer(network, evidence, &[])?;
    Ok(Posterior {
        causes: inference.causes(),
        circumstances: inference
            .circumstances
            .iter()
            .map(|weights| weights.get(1).copied().unwrap_or(0.0))
            .collect(),
        findings: inference.outcomes,
        ln_evidence: inference.ln_evidence,
    })
}

/// P(outcome | evidence) of each open check, from the whole network.
pub fn predict(
    network: &Network,
    evidence: &Evidence,
    checks: &[Check],
) -> Result<Vec<Vec<f64>>, BeliefError> {
    Ok(infer(network, evidence, checks)?.outcomes)
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
    let mut lns = Vec::new();
    for piece in evidence.apart(network, MOST_PIECES) {
        let timeline = Timeline::new(network, &piece)?;
        let mut assembly = Assembly::new(network, &piece, &timeline, clamps);
        assembly.whole()?;
        let order = order(&assembly.factors, &[]);
        lns.extend(eliminate(assembly.factors, &order, false)?.ln_total());
    }
    Ok(ln_sum(&lns))
}

/// ln Σ exp, without leaving the range of numbers; `None` of nothing.
fn ln_sum(lns: &[f64]) -> Option<f64> {
    let largest = lns.iter().copied().reduce(f64::max)?;
    Some(largest + lns.iter().map(|ln| (ln - largest).exp()).sum::<f64>().ln())
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

/// All marginals, each a distribution.
pub(crate) struct Inference {
    pub(crate) ln_evidence: f64,
    /// Of each cause: absent, present, cured by its first remedy, by its second…
    trajectories: Vec<Vec<f64>>,
    circumstances: Vec<Vec<f64>>,
    /// Of each check.
    outcomes: Vec<Vec<f64>>,
}

impl Inference {
    /// Without any question.
    pub(crate) fn plain(network: &Network, evidence: &Evidence) -> Result<Self, BeliefError> {
        infer(network, evidence, &[])
    }

    pub(crate) fn causes(&self) -> Vec<Presence> {
        self.trajectories.iter().map(|weights| presence(weights)).collect()
    }

    /// Two passes; `None` when the evidence is impossible. `asked` checks stand in the tree as outcome variables.
    fn of_tree(
        network: &Network,
        factors: Vec<Factor>,
        outcome: impl Fn(usize) -> Var,
        asked: usize,
    ) -> Result<Option<Self>, BeliefError> {
        let order = order(&factors, &[]);
        let mut tree = eliminate(factors, &order, true)?;
        let Some(ln_evidence) = tree.ln_total() else { return Ok(None) };
        tree.spread_back();
        let of = |var: Var| normal(tree.marginal(var).unwrap_or_else(|| vec![1.0]));
        Ok(Some(Self {
            ln_evidence,
            trajectories: (0..network.causes().len()).map(|cause| of(cause_var(network, cause))).collect(),
            circumstances: (0..network.circumstances().len())
                .map(|index| of(circumstance_var(index)))
                .collect(),
            outcomes: (0..asked).map(|place| of(outcome(place))).collect(),
        }))
    }

    /// The average of several, weighed by their evidence.
    fn mixed(mut pieces: Vec<Self>) -> Option<Self> {
        if pieces.len() == 1 {
            return pieces.pop();
        }
        let lns: Vec<f64> = pieces.iter().map(|piece| piece.ln_evidence).collect();
        let ln_evidence = ln_sum(&lns)?;
        let mix = |rows: fn(&Self) -> &Vec<Vec<f64>>| -> Vec<Vec<f64>> {
            let mut sums: Vec<Vec<f64>> = rows(&pieces[0]).iter().map(|row| vec![0.0; row.len()]).collect();
            for piece in &pieces {
                let weight = (piece.ln_evidence - ln_evidence).exp();
                for (sum, value) in sums.iter_mut().flatten().zip(rows(piece).iter().flatten()) {
                    *sum += weight * value;
                }
            }
            sums.into_iter().map(normal).collect()
        };
        let (trajectories, circumstances) =
            (mix(|piece| &piece.trajectories), mix(|piece| &piece.circumstances));
        Some(Self { ln_evidence, trajectories, circumstances, outcomes: mix(|piece| &piece.outcomes) })
    }
}

/// From the weights of the trajectories.
fn presence(weights: &[f64]) -> Presence {
    let now = weights.get(1).copied().unwrap_or(0.0);
    let cured: f64 = weights.iter().skip(2).sum();
    let total = now + cured + weights[0];
    Presence { was: (now + cured) / total, now: now / total, ln_odds: (now / (cured + weights[0])).ln() }
}

/// The check that tells a finding's degree itself.
fn itself(network: &Network, finding: usize) -> Check {
    let states = network.findings()[finding].degrees + 1;
    let outcome = |at: usize| (0..states).map(|state| f64::from(u8::from(state == at))).collect();
    Check { findings: vec![finding], outcomes: (0..states).map(outcome).collect(), moment: Moment::Bad }
}

/// All marginals, and what the checks would answer.
fn infer(network: &Network, evidence: &Evidence, checks: &[Check]) -> Result<Inference, BeliefError> {
    evidence.check(network)?;
    for (place, check) in checks.iter().enumerate() {
        if let Some(why) = fault_of_check(network, check) {
            return Err(BeliefError::Check { check: place, why });
        }
    }
    let mut pieces = Vec::new();
    for piece in evidence.apart(network, MOST_PIECES) {
        pieces.extend(infer_piece(network, &piece, checks)?);
    }
    Inference::mixed(pieces).ok_or_else(|| impossible(network, evidence))
}

/// In one tree where that is cheap, else the checks one by one.
fn infer_piece(
    network: &Network,
    evidence: &Evidence,
    checks: &[Check],
) -> Result<Option<Inference>, BeliefError> {
    let clamps = free(network);
    let plain = Timeline::new(network, evidence)?;
    let mut assembly = Assembly::new(network, evidence, &plain, &clamps);
    assembly.whole()?;
    let (factors, cost) = (assembly.factors, |factors: &[Factor]| order(factors, &[]).cost);
    if !checks.is_empty()
        && let Ok((timeline, joint)) = with_checks(network, evidence, &plain, checks)
        && cost(&joint) <= cost(&factors) * WORTH_ONE_TREE.0 + WORTH_ONE_TREE.1
    {
        let outcome = |place| outcome_var(network, &timeline, evidence.0.len(), place);
        return Inference::of_tree(network, joint, outcome, checks.len());
    }
    let Some(mut inference) = Inference::of_tree(network, factors, |_| Var::MAX, 0)? else { return Ok(None) };
    inference.outcomes =
        checks.iter().map(|check| ask_alone(network, evidence, &plain, check)).collect::<Result<_, _>>()?;
    Ok(Some(inference))
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
