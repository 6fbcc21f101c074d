//! What each piece of evidence weighs, and which one stands against the rest.

use super::evidence::{BeliefError, Evidence, Item};
use super::network::Network;
use super::pair;
use super::posterior::{Posterior, ln_evidence, posterior};

/// A reading is in conflict with the rest from this factor on.
pub const CONFLICT: f64 = 20.0;

/// One reading against all others.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Conflict {
    /// Its place in the evidence.
    pub item: usize,
    /// P(all the others)·P(this one alone) / P(all).
    pub factor: f64,
}

/// What each reading does to the rest.
#[derive(Debug, Clone, PartialEq)]
pub struct Readings {
    /// `[item][cause]`: ln odds(cause there now | all) − ln odds(cause there now | all but this item), for the causes asked about.
    /// Each item is left out of the whole, so the order of readings does not matter. `None` where the odds are not finite, or
    /// nothing is left to compare with.
    pub weights: Vec<Vec<Option<f64>>>,
    /// The readings that the rest of the evidence speaks against at least [`CONFLICT`]-fold, the strongest first.
    pub conflicts: Vec<Conflict>,
}

/// What each piece of evidence weighs for these causes, and which readings stand against the rest; `believed` is the posterior of
/// all of it.
///
/// 'Leaving one reading out raises the evidence' has no scale by itself: a likelihood may be given up to any factor, and an
/// answer with many outcomes always has a small probability. So a reading is taken against its own probability when
/// nothing else is known: P(e without i)·P(i alone) / P(e), which is 1 for a reading that has nothing to do with the rest.
/// Remedies and fresh starts are no readings.
pub fn readings(
    network: &Network,
    evidence: &Evidence,
    believed: &Posterior,
    causes: &[usize],
) -> Result<Readings, BeliefError> {
    let odds = |believed: &Posterior| -> Vec<f64> {
        let of = |&cause: &usize| believed.causes.get(cause).map_or(f64::NAN, |presence| presence.ln_odds);
        causes.iter().map(of).collect()
    };
    let all = odds(believed);
    let (mut weights, mut conflicts) = (Vec::new(), Vec::new());
    let items: Vec<usize> = (0..evidence.0.len()).collect();
    let left_out = pair::each(&items, |&item| posterior(network, &evidence.without(item)));
    for ((item, reading), without) in evidence.0.iter().enumerate().zip(left_out) {
        let without = match without {
            Ok(without) => without,
            // Without a remedy or a fresh start the answers around it may contradict each other.
            Err(BeliefError::Impossible { .. }) => {
                weights.push(vec![None; causes.len()]);
                continue;
            }
            Err(error) => return Err(error),
        };
        let weight = |(all, without): (&f64, f64)| Some(all - without).filter(|weight| weight.is_finite());
        weights.push(all.iter().zip(odds(&without)).map(weight).collect());
        if !matches!(reading, Item::Remedy { .. } | Item::Afresh { .. }) {
            let alone = ln_evidence(network, &Evidence(vec![reading.clone()]))?;
            let factor = (without.ln_evidence + alone - believed.ln_evidence).exp();
            if factor >= CONFLICT {
                conflicts.push(Conflict { item, factor });
            }
        }
    }
    conflicts.sort_by(|a, b| b.factor.total_cmp(&a.factor).then(a.item.cmp(&b.item)));
    Ok(Readings { weights, conflicts })
}
