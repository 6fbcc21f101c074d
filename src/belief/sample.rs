//! Where an exact sum would be too large: causes are sampled, everything else is summed out as always.
//!
//! Given what has become of each cause that bears on the evidence, the rest is small, and the engine weighs many such states side by
//! side (cutset sampling; Bidyuk and Dechter, JAIR 28, 2007). A walk goes from state to state by changing one cause, at
//! the rates `w(to) / (w(from) + w(to))` (Barker, 1965), and a state counts as long as the walk would stay there on average, so that
//! no step is spent on staying (Bortz, Kalos and Lebowitz, 1975). What is kept of a state is not which causes are there but
//! how likely each is, given the others (Rao–Blackwell). Walks from different states give the standard error. The seed is fixed: the
//! same question has the same answer.

use std::collections::BTreeMap;

use super::assembly::{Given, cause_var, circumstance_var};
use super::course::{Scenarios, Stand};
use super::evidence::{BeliefError, Evidence};
use super::network::{Network, Parent};
use super::pair;
use super::posterior::{Posterior, Presence};
use super::sum::{Sum, add, normal};
use super::timeline::Timeline;
use crate::weights::generate::Dice;

/// Walks, each from a state of its own.
const WALKS: usize = 16;
/// Steps of each walk; the first quarter is not counted.
const STEPS: usize = 256;
/// No step is begun once so many states have been weighed.
const MOST_WEIGHED: usize = 40_000;
/// Nor once weighing them has touched so many table entries.
const MOST_ENTRIES: f64 = 2e8;
/// So many are weighed side by side.
const SIDE_BY_SIDE: usize = 96;
/// States kept for what hangs on no sampled cause, and for predictions: the heaviest.
const KEPT: usize = 192;

/// That a belief is sampled, and how well.
#[derive(Debug, Clone, PartialEq)]
pub struct Sampled {
    /// States of the causes counted.
    pub samples: usize,
    /// Standard error of P(it was there), for each cause: not less than one sample's share, and 0 for what hangs on no sample.
    pub errors: Vec<f64>,
}

impl Sampled {
    /// The largest standard error of any cause.
    pub fn standard_error(&self) -> f64 {
        self.errors.iter().copied().fold(0.0, f64::max)
    }
}

/// What each cause is in, as an index into what it can be.
type State = Vec<u8>;

/// A state that a walk has been in.
#[derive(Debug, Clone)]
struct Visit {
    /// (cause, to what, rate) of each change.
    changes: Vec<(usize, u8, f64)>,
    /// For each cause the chance of each of what it can be, given the others.
    chances: Vec<Vec<f64>>,
}

/// States with their shares, heaviest first, and what is read of them.
#[derive(Debug)]
pub(crate) struct Draws {
    pub(crate) states: Vec<(Vec<Stand>, f64)>,
    /// (cause, P(it was there), P(it is there now)) of those sampled.
    causes: Vec<(usize, [f64; 2])>,
    sampled: Sampled,
    ln_evidence: f64,
}

impl Draws {
    /// The mean over the states of what is said of each, `[scenario][outcome]`.
    pub(crate) fn mean(
        &self,
        said: impl Fn(&Scenarios) -> Result<Vec<Vec<f64>>, BeliefError>,
    ) -> Result<Vec<f64>, BeliefError> {
        let mut mean = Vec::new();
        for part in self.states.chunks(SIDE_BY_SIDE) {
            let said = pair::halved(part, &|part: &[(Vec<Stand>, f64)]| {
                said(&Scenarios(part.iter().map(|state| state.0.clone()).collect()))
            })?;
            for (own, (_, share)) in said.iter().zip(part) {
                add(&mut mean, own, *share);
            }
        }
        Ok(normal(mean))
    }
}

struct Sampler<'a> {
    network: &'a Network,
    evidence: &'a Evidence,
    timeline: &'a Timeline,
    /// The causes sampled, each with all that it can be.
    causes: Vec<(usize, Vec<Stand>)>,
    /// ln P(evidence, state).
    weighed: BTreeMap<State, f64>,
    visits: BTreeMap<State, Visit>,
    spent: f64,
    dice: Dice,
}

/// What is believed, by sampling.
pub(crate) fn sampled(network: &Network, evidence: &Evidence) -> Result<Posterior, BeliefError> {
    let timeline = Timeline::new(network, evidence)?;
    let draws = draws(network, evidence, &timeline)?;
    let mut circumstances = vec![0.0; network.circumstances().len()];
    let mut others = vec![[0.0; 2]; network.causes().len()];
    for part in draws.states.chunks(SIDE_BY_SIDE) {
        let scenarios = Scenarios(part.iter().map(|state| state.0.clone()).collect());
        let sum = Sum::marginals(Given { network, evidence, timeline: &timeline, scenarios: &scenarios })?;
        let add = |var: usize, into: &mut dyn FnMut(&[f64], f64)| {
            sum.marginals_of(var).iter().zip(part).for_each(|(weights, (_, share))| into(weights, *share));
        };
        for (index, happened) in circumstances.iter_mut().enumerate() {
            add(circumstance_var(index), &mut |w, share| *happened += share * w.get(1).unwrap_or(&0.0));
        }
        for (index, other) in others.iter_mut().enumerate() {
            add(cause_var(network, index), &mut |w, share| {
                other[1] += share * w.get(1).unwrap_or(&0.0);
                other[0] += share * w.iter().skip(1).sum::<f64>();
            });
        }
    }
    let mut causes = others;
    for (cause, own) in draws.causes {
        causes[cause] = own;
    }
    let presence = |[was, now]: [f64; 2]| Presence { was, now, ln_odds: (was / (1.0 - was)).ln() };
    Ok(Posterior {
        causes: causes.into_iter().map(|c| presence(c.map(|p| p.clamp(0.0, 1.0)))).collect(),
        circumstances: circumstances.into_iter().map(|p| p.clamp(0.0, 1.0)).collect(),
        ln_evidence: draws.ln_evidence,
        sampled: Some(draws.sampled),
    })
}

/// The states that the walks have been in, as far as they weigh anything.
pub(crate) fn draws(
    network: &Network,
    evidence: &Evidence,
    timeline: &Timeline,
) -> Result<Draws, BeliefError> {
    let mut sampler = Sampler::new(network, evidence, timeline);
    let starts = sampler.starts()?;
    let mut walks: Vec<Vec<(State, f64)>> = vec![Vec::new(); WALKS];
    let mut now: Vec<State> = (0..WALKS).map(|walk| starts[walk % starts.len()].clone()).collect();
    for step in 0..STEPS {
        if step > 0 && (sampler.weighed.len() > MOST_WEIGHED || sampler.spent > MOST_ENTRIES) {
            break;
        }
        for (state, walk) in now.iter_mut().zip(&mut walks) {
            let (next, stay) = sampler.step(state)?;
            walk.push((std::mem::replace(state, next), stay));
        }
    }
    for walk in &mut walks {
        walk.drain(..walk.len() / 4);
    }
    Ok(sampler.drawn(&walks))
}

impl<'a> Sampler<'a> {
    fn new(network: &'a Network, evidence: &'a Evidence, timeline: &'a Timeline) -> Self {
        let mut bears = vec![false; network.causes().len()];
        for (index, finding) in network.findings().iter().enumerate() {
            for link in finding.parents.iter().filter(|_| !timeline.versions(index).is_empty()) {
                if let Parent::Cause(cause) = link.parent {
                    bears[cause] = true;
                }
            }
        }
        let states = |cause: usize| {
            let mut states = vec![Stand::Never, Stand::There];
            states.extend((!timeline.remedies[cause].is_empty()).then_some(Stand::Cured));
            states
        };
        let tied = |&cause: &usize| bears[cause] || !network.causes()[cause].after.is_empty();
        let causes = (0..bears.len()).filter(tied).map(|cause| (cause, states(cause)));
        Self {
            network,
            evidence,
            timeline,
            causes: causes.collect(),
            weighed: BTreeMap::new(),
            visits: BTreeMap::new(),
            spent: 0.0,
            dice: Dice::new(0),
        }
    }

    fn stands(&self, state: &State) -> Vec<Stand> {
        let mut stands = vec![Stand::Free; self.network.causes().len()];
        for ((cause, options), &place) in self.causes.iter().zip(state) {
            stands[*cause] = options[usize::from(place)];
        }
        stands
    }

    fn weigh(&mut self, states: Vec<State>) -> Result<(), BeliefError> {
        let mut new: Vec<State> = states.into_iter().filter(|s| !self.weighed.contains_key(s)).collect();
        new.sort_unstable();
        new.dedup();
        for part in new.chunks(SIDE_BY_SIDE) {
            let (network, evidence, timeline) = (self.network, self.evidence, self.timeline);
            let weighed = pair::halved(part, &|part: &[State]| {
                let scenarios = &Scenarios(part.iter().map(|state| self.stands(state)).collect());
                let sum = Sum::total(Given { network, evidence, timeline, scenarios })?;
                let share = sum.cost() / part.len() as f64;
                Ok(sum.ln_totals().iter().map(|ln| (ln.unwrap_or(f64::NEG_INFINITY), share)).collect())
            })?;
            self.spent += weighed.iter().map(|(_, share)| share).sum::<f64>();
            let lns = weighed.into_iter().map(|(ln, _)| ln);
            self.weighed.extend(part.iter().cloned().zip(lns));
        }
        Ok(())
    }

    fn ln(&self, state: &State) -> f64 {
        self.weighed.get(state).copied().unwrap_or(f64::NEG_INFINITY)
    }

    /// The heaviest states of nothing, one cause alone, and a few at random: where the walks begin.
    fn starts(&mut self) -> Result<Vec<State>, BeliefError> {
        let none = vec![0; self.causes.len()];
        let mut all = around(&none, &self.causes);
        all.push(none);
        all.push(vec![1; self.causes.len()]);
        for _ in 0..SIDE_BY_SIDE {
            let random = (0..self.causes.len()).map(|_| u8::from(self.dice.even() < 0.5)).collect();
            all.push(random);
        }
        self.weigh(all.clone())?;
        all.retain(|state| self.ln(state) > f64::NEG_INFINITY);
        all.sort_by(|a, b| self.ln(b).total_cmp(&self.ln(a)));
        all.truncate(WALKS);
        if all.is_empty() { Err(BeliefError::TooLarge { cost: f64::INFINITY }) } else { Ok(all) }
    }

    /// The next state, and how long the walk stays in this one.
    fn step(&mut self, state: &State) -> Result<(State, f64), BeliefError> {
        let visit = if let Some(visit) = self.visits.get(state) {
            visit.clone()
        } else {
            self.weigh(around(state, &self.causes))?;
            let visit = self.visit(state);
            self.visits.insert(state.clone(), visit.clone());
            visit
        };
        let total: f64 = visit.changes.iter().map(|change| change.2).sum();
        let mut next = state.clone();
        if total <= 0.0 {
            return Ok((next, 1.0));
        }
        let mut level = self.dice.even() * total;
        let chosen = visit.changes.iter().find(|change| {
            level -= change.2;
            level < 0.0
        });
        if let Some(&(cause, to, _)) = chosen.or(visit.changes.last()) {
            next[cause] = to;
        }
        Ok((next, 1.0 / total))
    }

    fn visit(&self, state: &State) -> Visit {
        let own = self.ln(state);
        let mut visit = Visit { changes: Vec::new(), chances: Vec::new() };
        let mut other = state.clone();
        for (cause, (_, options)) in self.causes.iter().enumerate() {
            let mut ratios = Vec::with_capacity(options.len());
            for to in 0..options.len() as u8 {
                other[cause] = to;
                let ln = self.ln(&other) - own;
                ratios.push(ln);
                if to != state[cause] && ln > f64::NEG_INFINITY {
                    visit.changes.push((cause, to, 1.0 / (1.0 + (-ln).exp())));
                }
            }
            other[cause] = state[cause];
            let largest = ratios.iter().copied().fold(f64::NEG_INFINITY, f64::max);
            let shares: Vec<f64> = ratios.iter().map(|ln| (ln - largest).exp()).collect();
            let total: f64 = shares.iter().sum();
            visit.chances.push(shares.into_iter().map(|share| share / total).collect());
        }
        visit
    }

    fn drawn(&self, walks: &[Vec<(State, f64)>]) -> Draws {
        let count = self.causes.len();
        let mut each: Vec<Vec<[f64; 2]>> = Vec::new();
        let mut shares: BTreeMap<&State, f64> = BTreeMap::new();
        for walk in walks {
            let total: f64 = walk.iter().map(|step| step.1).sum();
            let mut means = vec![[0.0; 2]; count];
            for (state, stay) in walk {
                *shares.entry(state).or_default() += stay / total / walks.len() as f64;
                let chances = self.visits.get(state).map_or(&[][..], |visit| &visit.chances);
                for (mean, chances) in means.iter_mut().zip(chances) {
                    mean[0] += (1.0 - chances[0]) * stay / total;
                    mean[1] += chances[1] * stay / total;
                }
            }
            each.push(means);
        }
        let mean = |cause: usize, part: usize| {
            each.iter().map(|means| means[cause][part]).sum::<f64>() / each.len() as f64
        };
        let means: Vec<[f64; 2]> = (0..count).map(|cause| [mean(cause, 0), mean(cause, 1)]).collect();
        let samples: usize = walks.iter().map(Vec::len).sum();
        let mut errors = vec![0.0; self.network.causes().len()];
        for (place, (cause, _)) in self.causes.iter().enumerate() {
            let squares = each.iter().map(|own| (own[place][0] - means[place][0]).powi(2)).sum::<f64>();
            let error = (squares / (each.len() * (each.len() - 1)) as f64).sqrt();
            errors[*cause] = error.max(1.0 / samples as f64);
        }
        let visited: Vec<(f64, f64)> = shares.iter().map(|(state, share)| (self.ln(state), *share)).collect();
        let mut states: Vec<(Vec<Stand>, f64)> =
            shares.into_iter().map(|(state, share)| (self.stands(state), share)).collect();
        states.sort_by(|a, b| b.1.total_cmp(&a.1));
        states.truncate(KEPT);
        let kept: f64 = states.iter().map(|state| state.1).sum();
        states.iter_mut().for_each(|state| state.1 /= kept);
        Draws {
            states,
            causes: self.causes.iter().map(|(cause, _)| *cause).zip(means).collect(),
            sampled: Sampled { samples, errors },
            ln_evidence: ln_evidence(&visited),
        }
    }
}

/// From states with ln P(evidence, state) and their shares: P(evidence) = P(evidence, state) / P(state | evidence), taken over the
/// heaviest ones that hold half of it all, whose shares are known best.
fn ln_evidence(visited: &[(f64, f64)]) -> f64 {
    let mut visited = visited.to_vec();
    visited.sort_by(|a, b| b.1.total_cmp(&a.1));
    let largest = visited.iter().map(|state| state.0).fold(f64::NEG_INFINITY, f64::max);
    let (mut weight, mut share) = (0.0, 0.0);
    for (ln, own) in visited {
        weight += (ln - largest).exp();
        share += own;
        if share >= 0.5 {
            break;
        }
    }
    largest + f64::ln(weight / share)
}

/// Every state that differs in one cause.
fn around(state: &State, causes: &[(usize, Vec<Stand>)]) -> Vec<State> {
    let mut all = Vec::new();
    for (cause, (_, options)) in causes.iter().enumerate() {
        for to in (0..options.len() as u8).filter(|&to| to != state[cause]) {
            let mut other = state.clone();
            other[cause] = to;
            all.push(other);
        }
    }
    all
}
