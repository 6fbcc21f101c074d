//! What the engine believes of the plain variables that stand for something, to be held against another program's answer.

use std::collections::BTreeMap;

use super::Plain;
use crate::belief::evidence::{BeliefError, Evidence};
use crate::belief::network::Network;
use crate::belief::posterior::{exact, exact_findings, nothing_known};

/// The engine's posterior in terms of the plain variables.
#[derive(Debug, Clone, PartialEq)]
pub struct Believed {
    /// P(each state | observed) of every circumstance, cause and cause now, by variable, and of every finding if there is an exact answer
    /// for all of them.
    pub states: BTreeMap<usize, Vec<f64>>,
    /// ln P(observed).
    pub ln_observed: f64,
    /// P(no cause but the one outside the book was there | observed).
    pub nothing_known: f64,
}

impl Plain {
    /// Asks the engine. `outside` is the cause that stands for what is in no book.
    pub fn believed(
        &self,
        network: &Network,
        evidence: &Evidence,
        outside: Option<usize>,
    ) -> Result<Believed, BeliefError> {
        let posterior = exact(network, evidence)?;
        let yes_or_no = |p: f64| vec![1.0 - p, p];
        let mut states = BTreeMap::new();
        for (variable, presence) in self.causes_now.iter().zip(&posterior.causes) {
            states.insert(*variable, yes_or_no(presence.now));
        }
        for (variable, presence) in self.causes.iter().zip(&posterior.causes) {
            states.insert(*variable, yes_or_no(presence.was));
        }
        for (variable, happened) in self.circumstances.iter().zip(&posterior.circumstances) {
            states.insert(*variable, yes_or_no(*happened));
        }
        match exact_findings(network, evidence) {
            Ok(found) => states.extend(self.findings.iter().copied().zip(found)),
            Err(BeliefError::TooLarge { .. }) => {}
            Err(other) => return Err(other),
        }
        Ok(Believed {
            states,
            ln_observed: posterior.ln_evidence - self.ln_scale,
            nothing_known: nothing_known(network, evidence, &posterior, outside)?,
        })
    }
}
