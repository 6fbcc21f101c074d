//! From a network and its evidence to a factor graph, piece by piece.
//!
//! Variables: circumstances, causes (a trajectory each), findings (a state at all versions each), for each run which of its
//! combinations holds, for each run and each cause that comes and goes whether it is awake, and nameless ones inside gates.

use super::evidence::{
    BeliefError, Evidence, Item, Moment, fault_of_findings, fault_of_likelihood, joint_states,
};
use super::factor::{Factor, Var};
use super::gate::{Gate, Input, Spread, State, degree, spread};
use super::network::{Finding, Link, Network, Parent};
use super::timeline::{Timeline, Trajectory, Version};

/// What is taken as given about a cause.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub(crate) enum Clamp {
    /// Nothing.
    Free,
    /// It was never there.
    Never,
    /// It is there now, or not, after the remedies done.
    Now(bool),
}

/// A question to the network: the chance of each outcome of a check on findings as they are at this moment.
#[derive(Debug, Clone, PartialEq)]
pub struct Check {
    /// The findings it bears on, each once.
    pub findings: Vec<usize>,
    /// For each outcome P(outcome | states), laid out as [`Item::Answer`]'s likelihood.
    pub outcomes: Vec<Vec<f64>>,
    /// Whether the fault will be showing.
    pub moment: Moment,
}

/// A factor graph in the making.
pub(crate) struct Assembly<'a> {
    pub(super) network: &'a Network,
    pub(super) evidence: &'a Evidence,
    pub(super) timeline: &'a Timeline,
    clamps: &'a [Clamp],
    /// States of the findings built so far.
    pub(super) domains: Vec<Vec<State>>,
    fresh: Var,
    /// The tables so far.
    pub(crate) factors: Vec<Factor>,
}

/// The variable of a circumstance.
pub(crate) fn circumstance_var(index: usize) -> Var {
    index as Var
}

/// The variable of a cause's trajectory.
pub(crate) fn cause_var(network: &Network, index: usize) -> Var {
    (network.circumstances().len() + index) as Var
}

/// The variable of a finding's state.
pub(super) fn finding_var(network: &Network, index: usize) -> Var {
    (network.circumstances().len() + network.causes().len() + index) as Var
}

/// The variable of a run's combination (`slot` 0) and of who is awake during it (`slot` 1 + place among the intermittent).
pub(crate) fn run_var(network: &Network, timeline: &Timeline, item: usize, slot: usize) -> Var {
    finding_var(network, network.findings().len()) + (item * (1 + timeline.intermittent.len()) + slot) as Var
}

/// The variable of a check's outcome.
pub(crate) fn outcome_var(network: &Network, timeline: &Timeline, items: usize, check: usize) -> Var {
    run_var(network, timeline, items, 0) + check as Var
}

impl<'a> Assembly<'a> {
    /// An empty graph; `clamps` has one entry a cause.
    pub(crate) fn new(
        network: &'a Network,
        evidence: &'a Evidence,
        timeline: &'a Timeline,
        clamps: &'a [Clamp],
    ) -> Self {
        Self {
            network,
            evidence,
            timeline,
            clamps,
            domains: vec![Vec::new(); network.findings().len()],
            fresh: 1 << 30,
            factors: Vec::new(),
        }
    }

    /// Everything that the evidence depends on.
    pub(crate) fn whole(&mut self) -> Result<(), BeliefError> {
        self.roots()?;
        for finding in 0..self.network.findings().len() {
            if !self.timeline.versions(finding).is_empty() {
                self.finding(finding)?;
            }
        }
        for item in 0..self.evidence.0.len() {
            self.run_prior(item);
            self.answer(item);
            for sight in &self.timeline.sights[item] {
                self.run_link(item, sight);
            }
        }
        Ok(())
    }

    pub(super) fn fresh_var(&mut self) -> Var {
        self.fresh += 1;
        self.fresh
    }

    /// The trajectories that a cause can have had.
    pub(crate) fn trajectories(&self, cause: usize) -> Vec<Trajectory> {
        let cured = (0..self.timeline.remedies[cause].len()).map(Trajectory::Cured);
        match self.clamps[cause] {
            Clamp::Never => vec![Trajectory::Absent],
            Clamp::Now(true) => vec![Trajectory::Present],
            Clamp::Now(false) => [Trajectory::Absent].into_iter().chain(cured).collect(),
            Clamp::Free => [Trajectory::Absent, Trajectory::Present].into_iter().chain(cured).collect(),
        }
    }

    /// Circumstances with what was said of them, and causes. A cause known to be absent only weighs its circumstances:
    /// P(absent | circumstances) = (1 − base)·Π (1 − chance).
    pub(crate) fn roots(&mut self) -> Result<(), BeliefError> {
        let mut weights: Vec<[f64; 2]> = self
            .network
            .circumstances()
            .iter()
            .map(|circumstance| [1.0 - circumstance.usual, circumstance.usual])
            .collect();
        for item in &self.evidence.0 {
            if let Item::Circumstance { index, likelihood } = item {
                let largest = likelihood[0].max(likelihood[1]);
                weights[*index][0] *= likelihood[0] / largest;
                weights[*index][1] *= likelihood[1] / largest;
                self.factors.push(Factor { axes: Vec::new(), table: vec![1.0], ln: largest.ln() });
            }
        }
        let mut number = 1.0;
        for (index, cause) in self.network.causes().iter().enumerate() {
            let trajectories = self.trajectories(index);
            if trajectories == [Trajectory::Absent] {
                number *= 1.0 - cause.base;
                cause
                    .after
                    .iter()
                    .for_each(|&(circumstance, chance)| weights[circumstance][1] *= 1.0 - chance);
            } else {
                self.cause(index, &trajectories)?;
            }
        }
        self.factors.push(Factor::number(number));
        for (index, weight) in weights.into_iter().enumerate() {
            self.factors.push(Factor::new(&[(circumstance_var(index), 2)], weight.to_vec()));
        }
        Ok(())
    }

    /// P(trajectory | circumstances): a gate for being there, then P(cured by the j-th remedy) = w_j·Π_{i<j} (1 − w_i).
    fn cause(&mut self, index: usize, trajectories: &[Trajectory]) -> Result<(), BeliefError> {
        let cause = &self.network.causes()[index];
        let inputs = cause.after.iter().map(|&(circumstance, chance)| Input {
            var: circumstance_var(circumstance),
            by_state: vec![vec![(0, 1.0)], spread(&[&[chance]], &[0], 1)],
        });
        let mut gate = Gate::new(spread(&[&[cause.base]], &[0], 1), inputs.collect())?;
        let there: Vec<State> =
            gate.states().iter().copied().filter(|&state| agree(trajectories, state)).collect();
        if there.is_empty() {
            self.factors.push(Factor::number(0.0));
            return Ok(());
        }
        gate.allow(&there);
        let axis = (cause_var(self.network, index), trajectories.len());
        let direct = self.timeline.remedies[index].is_empty() && there.len() == trajectories.len();
        let presence = (if direct { axis.0 } else { self.fresh_var() }, there.len());
        let mut fresh = self.fresh;
        gate.factors(presence.0, || step(&mut fresh), &mut self.factors);
        self.fresh = fresh;
        if direct {
            return Ok(());
        }
        let table = there.iter().flat_map(|&state| trajectories.iter().map(move |&t| (state, t)));
        let table = table.map(|(state, trajectory)| self.chance_of(index, state == 1, trajectory)).collect();
        self.factors.push(Factor::new(&[presence, axis], table));
        Ok(())
    }

    fn chance_of(&self, cause: usize, there: bool, trajectory: Trajectory) -> f64 {
        let remedies = &self.timeline.remedies[cause];
        let failed = |count: usize| remedies[..count].iter().map(|remedy| 1.0 - remedy.1).product::<f64>();
        match (there, trajectory) {
            (false, Trajectory::Absent) => 1.0,
            (true, Trajectory::Present) => failed(remedies.len()),
            (true, Trajectory::Cured(by)) => remedies[by].1 * failed(by),
            _ => 0.0,
        }
    }

    /// The gate of one finding, its parent findings having been built, with the answers about it alone.
    pub(crate) fn finding(&mut self, index: usize) -> Result<(), BeliefError> {
        let finding = &self.network.findings()[index];
        let versions = self.timeline.versions(index);
        let blocks: Vec<usize> = versions.iter().map(|version| version.block).collect();
        let inputs = finding
            .parents
            .iter()
            .enumerate()
            .map(|(place, link)| self.input(finding, place, link, &blocks, versions));
        let leak = spread(&vec![&finding.leak[..]; versions.len()], &blocks, finding.degrees);
        let mut gate = Gate::new(leak, inputs.collect())?;
        let alone = self.answers_alone(index);
        let mut states = gate.states().to_vec();
        let mut weights = vec![1.0; states.len()];
        for &item in &alone {
            for (weight, state) in weights.iter_mut().zip(&states) {
                *weight *= self.likelihood(item, &[*state]);
            }
        }
        if !alone.is_empty() {
            let kept = states.iter().zip(&weights).filter(|(_, weight)| **weight > 0.0);
            states = kept.map(|(state, _)| *state).collect();
            weights.retain(|weight| *weight > 0.0);
            if states.is_empty() {
                self.factors.push(Factor::number(0.0));
                states.push(0);
                weights.push(1.0);
            }
            gate.allow(&states);
        }
        let var = finding_var(self.network, index);
        let mut fresh = self.fresh;
        gate.factors(var, || step(&mut fresh), &mut self.factors);
        self.fresh = fresh;
        if !alone.is_empty() {
            self.factors.push(Factor::new(&[(var, states.len())], weights).scaled());
        }
        self.domains[index] = states;
        Ok(())
    }

    fn input(
        &self,
        finding: &Finding,
        place: usize,
        link: &Link,
        blocks: &[usize],
        versions: &[Version],
    ) -> Input {
        let by_levels = |level: &dyn Fn(&Version) -> usize| -> Spread {
            let rows: Vec<&[f64]> = versions
                .iter()
                .map(|version| level(version).checked_sub(1).map_or(&[][..], |row| &link.strength[row][..]))
                .collect();
            spread(&rows, blocks, finding.degrees)
        };
        match link.parent {
            Parent::Cause(cause) => Input {
                var: cause_var(self.network, cause),
                by_state: self
                    .trajectories(cause)
                    .into_iter()
                    .map(|trajectory| by_levels(&|version| usize::from(version.acts(place, trajectory))))
                    .collect(),
            },
            Parent::Finding(parent) => {
                let degrees = self.network.findings()[parent].degrees;
                Input {
                    var: finding_var(self.network, parent),
                    by_state: self.domains[parent]
                        .iter()
                        .map(|&state| by_levels(&|version| degree(state, version.of_parent(place), degrees)))
                        .collect(),
                }
            }
        }
    }

    /// The findings of a part with all the evidence that bears on them; `findings` ascending, the part whole.
    pub(crate) fn part(&mut self, findings: &[usize]) -> Result<(), BeliefError> {
        for &finding in findings {
            self.finding(finding)?;
        }
        for item in 0..self.evidence.0.len() {
            let sights = &self.timeline.sights[item];
            let mut inside =
                sights.iter().filter(|sight| findings.binary_search(&sight.finding).is_ok()).peekable();
            if inside.peek().is_some() {
                self.answer(item);
            }
            inside.for_each(|sight| self.run_link(item, sight));
        }
        Ok(())
    }
}

/// Whether being there (1) or not (0) is what some trajectory says.
fn agree(trajectories: &[Trajectory], there: State) -> bool {
    trajectories.iter().any(|&trajectory| (trajectory == Trajectory::Absent) == (there == 0))
}

fn step(fresh: &mut Var) -> Var {
    *fresh += 1;
    *fresh
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
