//! What an answer says about findings: the likelihood rules of checks, as tables for the engine.
//!
//! For states `x` of the findings that a check bears on, an outcome with `means` has
//! `r = 1 − Π(1 − hit)` over those of its findings that are there, or its largest false alarm if none is; the
//! normal one has `max(.002, 1 − Σ r)`; `P(outcome | x)` is these divided by their sum. A quantity gives weights
//! `m = .99·P(band | reading) + .01/bands` over the outcomes, the band blurred by division and uncertainty.

use statrs::distribution::{ContinuousCDF, Normal};

use crate::ids::{FindingId, OutcomeId};
use crate::knowledge::{AskedQuantity, Asks, Band, Check, Outcome};

/// The least chance of the normal outcome.
const LEAST_NORMAL: f64 = 0.002;
/// How far a measured band is believed; the rest is spread evenly.
const BAND_TRUST: f64 = 0.99;

/// A check on one machine: the findings that it bears on there, with their degrees, and a likelihood an outcome.
#[derive(Debug, Clone, PartialEq)]
pub struct CheckTable {
    /// Indices of the findings in the network.
    pub findings: Vec<usize>,
    /// The outcomes in the order of the entry.
    pub outcomes: Vec<OutcomeId>,
    /// For each outcome P(outcome | states), row-major, the last finding fastest.
    pub likelihoods: Vec<Vec<f64>>,
}

/// Looks up a finding's index and degrees; none when the machine does not have it.
pub type Lookup<'a> = &'a dyn Fn(&FindingId) -> Option<(usize, usize)>;

impl CheckTable {
    /// The table of a check whose outcomes exclude each other. Findings that the machine does not have are absent.
    pub fn of(check: &Check, lookup: Lookup<'_>) -> Self {
        let mut findings: Vec<(usize, usize)> = Vec::new();
        for means in check.outcomes.iter().flat_map(|o| &o.means) {
            if let Some(found) = lookup(&means.finding.value)
                && !findings.contains(&found)
            {
                findings.push(found);
            }
        }
        findings.sort_unstable();
        let states: usize = findings.iter().map(|(_, degrees)| degrees + 1).product();
        let mut likelihoods = vec![Vec::with_capacity(states); check.outcomes.len()];
        for row in 0..states {
            let state = |index: usize| state_of(row, index, &findings);
            let chances = chances(check, &|id| lookup(id).map_or(0, |(index, _)| state(index)));
            for (likelihood, chance) in likelihoods.iter_mut().zip(chances) {
                likelihood.push(chance);
            }
        }
        Self {
            findings: findings.iter().map(|(index, _)| *index).collect(),
            outcomes: check.outcomes.iter().map(|o| o.id.value.clone()).collect(),
            likelihoods,
        }
    }

    /// The likelihood of an answer that gives weights over the outcomes.
    pub fn weighted(&self, weights: &[f64]) -> Vec<f64> {
        let states = self.likelihoods.first().map_or(0, Vec::len);
        let at = |state: usize| weights.iter().zip(&self.likelihoods).map(|(w, l)| w * l[state]).sum();
        (0..states).map(at).collect()
    }
}

/// The state of one finding in a row of the joint table.
fn state_of(row: usize, wanted: usize, findings: &[(usize, usize)]) -> usize {
    let mut rest = row;
    for &(index, degrees) in findings.iter().rev() {
        let state = rest % (degrees + 1);
        if index == wanted {
            return state;
        }
        rest /= degrees + 1;
    }
    0
}

/// P(outcome | states) of every outcome.
fn chances(check: &Check, state: &dyn Fn(&FindingId) -> usize) -> Vec<f64> {
    let shown = |outcome: &Outcome| -> f64 {
        let mut missed = 1.0;
        let mut any = false;
        for means in &outcome.means {
            if state(&means.finding.value) >= means.at_least {
                missed *= 1.0 - means.hit;
                any = true;
            }
        }
        let alarm = outcome.means.iter().map(|m| m.false_alarm).fold(0.0, f64::max);
        if any { 1.0 - missed } else { alarm }
    };
    let abnormal: f64 = check.outcomes.iter().filter(|o| !o.means.is_empty()).map(shown).sum();
    let normal = (1.0 - abnormal).max(LEAST_NORMAL);
    let total = abnormal + normal;
    check.outcomes.iter().map(|o| if o.means.is_empty() { normal } else { shown(o) } / total).collect()
}

/// The weights that a reading gives to the bands of a quantity. `reading` is the value, or value − partner, in
/// base units; `division` is the scale's or the instrument's smallest step, in base units.
pub fn band_weights(check: &Check, asked: &AskedQuantity, reading: f64, division: f64) -> Vec<f64> {
    let blur = (asked.division.unwrap_or(division).powi(2) / 12.0 + asked.uncertainty.powi(2)).sqrt();
    let count = check.outcomes.len().max(1) as f64;
    let inside = |outcome: &Outcome| outcome.when.map_or(0.0, |band| share(band, reading, division, blur));
    check.outcomes.iter().map(|o| BAND_TRUST * inside(o) + (1.0 - BAND_TRUST) / count).collect()
}

/// P(band | reading) under a normal blur; without blur a band holds its own edges.
fn share(band: Band, reading: f64, division: f64, blur: f64) -> f64 {
    let unit = if band.in_divisions { division } else { 1.0 };
    let (low, high) = (band.low * unit, band.high * unit);
    match Normal::new(reading, blur) {
        Ok(normal) if blur > 0.0 => {
            let below =
                |edge: f64| if edge.is_finite() { normal.cdf(edge) } else { f64::from(u8::from(edge > 0.0)) };
            (below(high) - below(low)).clamp(0.0, 1.0)
        }
        _ => f64::from(u8::from((low..=high).contains(&reading))),
    }
}

/// The outcome that a reading is nearest to being: the heaviest weight, ties to the first.
pub fn leading_outcome(check: &Check, weights: &[f64]) -> Option<OutcomeId> {
    let best = weights.iter().enumerate().max_by(|a, b| a.1.total_cmp(b.1).then(b.0.cmp(&a.0)))?;
    check.outcomes.get(best.0).map(|o| o.id.value.clone())
}

/// What a check asks for, if it is a quantity.
pub fn quantity(check: &Check) -> Option<&AskedQuantity> {
    match &check.asks {
        Asks::Quantity(asked) => Some(asked),
        _ => None,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_blurred_band_is_shared_at_its_edge_and_whole_far_inside() {
        let band = Band { low: -2.0, high: 2.0, in_divisions: true };
        let blur = 0.1 / 12f64.sqrt();
        assert!((share(band, 0.2, 0.1, blur) - 0.5).abs() < 1e-9);
        assert!(share(band, 0.0, 0.1, blur) > 0.999);
        let open = Band { low: f64::NEG_INFINITY, high: 1.0, in_divisions: false };
        assert_eq!(share(open, 0.5, 0.0, 0.0), 1.0);
        assert_eq!(share(open, 1.5, 0.0, 0.0), 0.0);
    }
}
