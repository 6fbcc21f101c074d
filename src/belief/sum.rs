//! A graph summed: its total, and whatever is to be read from it.

use std::collections::BTreeMap;

use super::assembly::{Asking, Given, Graph, vars};
use super::bundle::{Bundle, StateId};
use super::evidence::BeliefError;
use super::order::{Asked, Reading, order};
use super::tape::{Run, Step};

/// A graph after one pass forward, and one backward if anything is to be read but the total.
pub(crate) struct Sum {
    run: Run,
    last: Step,
    ln: f64,
    readings: Vec<Option<Reading>>,
    asked: Vec<Asked>,
    bundles: Vec<Bundle>,
    scenarios: usize,
}

impl Sum {
    /// Forward only.
    pub(crate) fn total(given: Given<'_>) -> Result<Self, BeliefError> {
        Self::forward(given, &[], false)
    }

    /// With everything to be read of the variables.
    pub(crate) fn marginals(given: Given<'_>) -> Result<Self, BeliefError> {
        let mut sum = Self::forward(given, &[], true)?;
        sum.run.backward(sum.readings.iter().flatten().map(|reading| reading.step));
        Ok(sum)
    }

    /// With the answers to what is asked.
    pub(crate) fn answers(given: Given<'_>, asked: &[Asking<'_>]) -> Result<Self, BeliefError> {
        let mut sum = Self::forward(given, asked, false)?;
        sum.run.backward(sum.asked.iter().map(|asked| asked.step));
        Ok(sum)
    }

    fn forward(given: Given<'_>, asked: &[Asking<'_>], whole: bool) -> Result<Self, BeliefError> {
        let mut graph = Graph::new(given, asked, whole)?;
        let order = order(&mut graph, vars(given.network))?;
        let last = order.tape.last();
        Ok(Self {
            run: order.tape.forward(),
            last,
            ln: graph.ln,
            readings: order.readings,
            asked: order.asked,
            bundles: graph.bundles,
            scenarios: given.scenarios.count(),
        })
    }

    /// ln P(evidence, scenario), for each scenario; `None` where it is 0.
    pub(crate) fn ln_totals(&self) -> Vec<Option<f64>> {
        let (table, ln) = self.run.table(self.last);
        if table.is_empty() {
            return vec![None; self.scenarios];
        }
        table.iter().map(|&total| (total > 0.0).then(|| total.ln() + ln + self.ln)).collect()
    }

    /// The distribution of a variable in the only scenario.
    pub(crate) fn marginal(&self, var: usize) -> Vec<f64> {
        let Some(reading) = self.readings[var] else { return Vec::new() };
        let mut weights = vec![0.0; reading.states];
        let shares = self.run.shares(reading.step);
        for (place, row) in shares.chunks_exact(reading.stride).enumerate() {
            weights[place % reading.states] += row.iter().sum::<f64>();
        }
        normal(weights)
    }

    /// `[scenario][outcome]` of what was asked under this number; all 0 in a scenario that the evidence rules out.
    pub(crate) fn answer(&self, number: usize) -> Vec<Vec<f64>> {
        let question = |asked: &Asked| self.bundles[asked.bundle].questions.iter().find(|q| q.0 == number);
        let found = self.asked.iter().find_map(|asked| Some((asked, &question(asked)?.1)));
        let Some((asked, look)) = found else { return Vec::new() };
        let mut masses: BTreeMap<StateId, Vec<f64>> = BTreeMap::new();
        let shares = self.run.shares(asked.step);
        let cell = shares.len() / asked.states.len().max(1);
        for (cell, &state) in shares.chunks_exact(cell.max(1)).zip(&asked.states) {
            let mass = masses.entry(state).or_insert_with(|| vec![0.0; self.scenarios]);
            for row in cell.chunks_exact(self.scenarios) {
                mass.iter_mut().zip(row).for_each(|(mass, share)| *mass += share);
            }
        }
        let mut sums = vec![vec![0.0; look.outcomes()]; self.scenarios];
        for (state, mass) in masses {
            let chances = look.chances(self.bundles[asked.bundle].state(state));
            for (sum, mass) in sums.iter_mut().zip(mass) {
                sum.iter_mut().zip(&chances).for_each(|(sum, chance)| *sum += mass * chance);
            }
        }
        sums.into_iter().map(normal).collect()
    }
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
