//! What each piece of evidence weighs, and which one stands against the rest.

use super::evidence::{BeliefError, Evidence, Item};
use super::network::Network;
use super::posterior::{ln_evidence, posterior};

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

/// `[item][cause]`: ln odds(cause there now | all) − ln odds(cause there now | all but this item), for the causes asked about.
/// Each item is left out of the whole, so the order of readings does not matter. `None` where the odds are not finite, or
/// nothing is left to compare with.
pub fn weights(
    network: &Network,
    evidence: &Evidence,
    causes: &[usize],
) -> Result<Vec<Vec<Option<f64>>>, BeliefError> {
    let odds = |evidence: &Evidence| -> Result<Vec<f64>, BeliefError> {
        let presences = posterior(network, evidence)?.causes;
        Ok(causes
            .iter()
            .map(|&cause| presences.get(cause).map_or(f64::NAN, |presence| presence.ln_odds))
            .collect())
    };
    let all = odds(evidence)?;
    (0..evidence.0.len())
        .map(|item| {
            let without = match odds(&evidence.without(item)) {
                Ok(odds) => odds,
                // Without a remedy or a fresh start the answers around it may contradict each other.
                Err(BeliefError::Impossible { .. }) => vec![f64::NAN; causes.len()],
                Err(error) => return Err(error),
            };
            Ok(all
                .iter()
                .zip(without)
                .map(|(all, without)| Some(all - without).filter(|weight| weight.is_finite()))
                .collect())
        })
        .collect()
}

/// The readings that the rest of the evidence speaks against at least [`CONFLICT`]-fold, the strongest first.
///
/// 'Leaving one reading out raises the evidence' has no scale by itself: a likelihood may be given up to any factor, and an
/// answer with many outcomes always has a small probability. So the reading is taken against its own probability when
/// nothing else is known: P(e without i)·P(i alone) / P(e), which is 1 for a reading that has nothing to do with the rest.
/// Remedies and fresh starts are no readings.
pub fn conflicts(network: &Network, evidence: &Evidence) -> Result<Vec<Conflict>, BeliefError> {
    let all = ln_evidence(network, evidence)?;
    let mut conflicts = Vec::new();
    for (item, reading) in evidence.0.iter().enumerate() {
        if matches!(reading, Item::Remedy { .. } | Item::Afresh { .. }) {
            continue;
        }
        let without = ln_evidence(network, &evidence.without(item))?;
        let alone = ln_evidence(network, &Evidence(vec![reading.clone()]))?;
        let factor = (without + alone - all).exp();
        if factor >= CONFLICT {
            conflicts.push(Conflict { item, factor });
        }
    }
    conflicts.sort_by(|a, b| b.factor.total_cmp(&a.factor).then(a.item.cmp(&b.item)));
    Ok(conflicts)
}
