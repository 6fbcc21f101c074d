//! What is known of one case: answers as likelihoods, and the remedies done, in order.
//!
//! Only answers are observed, never findings. Order has a meaning through remedies and fresh starts alone: an answer bears on
//! the state at its own time.

use serde::{Deserialize, Serialize};
use thiserror::Error;

use super::network::{Network, is_probability, twice};

/// Largest joint table of one answer.
const MOST_ENTRIES: usize = 1 << 16;

/// The evidence of a case, in the order in which it came.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
pub struct Evidence(pub Vec<Item>);

/// One piece of evidence.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Item {
    /// An answer about a circumstance: `[P(answer | did not happen), P(answer | happened)]`.
    Circumstance {
        /// The circumstance.
        index: usize,
        /// Likelihood of not happened and of happened.
        likelihood: [f64; 2],
    },
    /// An answer about findings, as they are at this moment.
    Answer {
        /// The findings it bears on, each once.
        findings: Vec<usize>,
        /// P(answer | states), row-major over their joint states, the last finding fastest. Zeros and ones make it hard.
        likelihood: Vec<f64>,
        /// Whether the fault was showing when it was taken.
        moment: Moment,
    },
    /// A run of fills: one factor over the run findings, `floor` except where a combination has its own value.
    Run {
        /// The run findings, each once.
        findings: Vec<usize>,
        /// The value of every combination not listed.
        floor: f64,
        /// (state of each finding, value not below `floor`), each combination once.
        combos: Vec<(Vec<usize>, f64)>,
        /// Whether the fault was showing during the run.
        moment: Moment,
    },
    /// A remedy was done; if it worked (hidden), the cause is absent from here on.
    Remedy {
        /// The cause that it cures.
        cause: usize,
        /// P(doing it cures the cause).
        works: f64,
    },
    /// Something else changed: from here these findings draw their leak and their links anew.
    Afresh {
        /// The findings.
        findings: Vec<usize>,
    },
}

/// Whether the fault was showing when an answer was taken. In `Good` and `Unknown` the links of a cause that comes and goes act
/// only with its chance of being caught: one draw an answer, the same for all causes, so that two with the same chance are
/// awake together.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Moment {
    /// It was doing it.
    Bad,
    /// It was not doing it.
    Good,
    /// Nobody knows.
    Unknown,
}

/// Why there is no posterior.
#[derive(Debug, Clone, PartialEq, Error)]
pub enum BeliefError {
    /// An item does not fit the network.
    #[error("evidence {item}: {why}")]
    Evidence {
        /// Its place in the evidence.
        item: usize,
        /// What is wrong, as half a sentence.
        why: &'static str,
    },
    /// A check asked about does not fit the network.
    #[error("check {check}: {why}")]
    Check {
        /// Its place in the list asked.
        check: usize,
        /// What is wrong, as half a sentence.
        why: &'static str,
    },
    /// The findings complained of do not fit the network.
    #[error("complaint: {why}")]
    Complaint {
        /// What is wrong, as half a sentence.
        why: &'static str,
    },
    /// No state of the machine allows the evidence up to and with this item.
    #[error("evidence {item} contradicts what stands before it")]
    Impossible {
        /// The first item with which the evidence has probability 0.
        item: usize,
    },
    /// An exact answer would need more table entries than allowed.
    #[error("an exact answer would take {cost:.0} table entries")]
    TooLarge {
        /// Table entries counted before any was computed.
        cost: f64,
    },
}

impl Evidence {
    /// Refuses what does not fit the network: unknown indices, wrong shapes, numbers that are no likelihoods.
    pub fn check(&self, network: &Network) -> Result<(), BeliefError> {
        for (place, item) in self.0.iter().enumerate() {
            if let Some(why) = fault(network, item) {
                return Err(BeliefError::Evidence { item: place, why });
            }
        }
        Ok(())
    }

    /// The evidence with one item left out.
    #[must_use]
    pub fn without(&self, item: usize) -> Self {
        Self(
            self.0
                .iter()
                .enumerate()
                .filter(|(place, _)| *place != item)
                .map(|(_, item)| item.clone())
                .collect(),
        )
    }
}

fn fault(network: &Network, item: &Item) -> Option<&'static str> {
    match item {
        Item::Circumstance { index, likelihood } => {
            if *index >= network.circumstances().len() {
                return Some("no such circumstance");
            }
            fault_of_likelihood(likelihood, 2)
        }
        Item::Answer { findings, likelihood, .. } => {
            fault_of_findings(network, findings).or_else(|| match joint_states(network, findings) {
                Some(states) => fault_of_likelihood(likelihood, states),
                None => Some("it bears on too many findings at once"),
            })
        }
        Item::Run { findings, floor, combos, .. } => {
            fault_of_findings(network, findings).or_else(|| fault_of_run(network, findings, *floor, combos))
        }
        Item::Remedy { cause, works } => {
            if *cause >= network.causes().len() {
                return Some("no such cause");
            }
            (!is_probability(*works)).then_some("the chance that it works is not a probability")
        }
        Item::Afresh { findings } => fault_of_findings(network, findings),
    }
}

/// Number of joint states, or `None` above the largest table.
pub(crate) fn joint_states(network: &Network, findings: &[usize]) -> Option<usize> {
    joint_states_up_to(MOST_ENTRIES, network, findings)
}

/// Number of joint states, or `None` above so many.
pub(crate) fn joint_states_up_to(most: usize, network: &Network, findings: &[usize]) -> Option<usize> {
    findings.iter().try_fold(1usize, |states, &finding| {
        states.checked_mul(network.findings()[finding].degrees + 1).filter(|&states| states <= most)
    })
}

pub(crate) fn fault_of_findings(network: &Network, findings: &[usize]) -> Option<&'static str> {
    if findings.iter().any(|&finding| finding >= network.findings().len()) {
        return Some("no such finding");
    }
    twice(findings.iter()).then_some("it names a finding twice")
}

/// Likelihoods are scale-free: any finite numbers from 0 up, not all 0.
pub(crate) fn fault_of_likelihood(likelihood: &[f64], states: usize) -> Option<&'static str> {
    if likelihood.len() != states {
        return Some("its likelihood has not one number a state");
    }
    if !likelihood.iter().all(|l| l.is_finite() && *l >= 0.0) {
        return Some("a likelihood is negative or not a number");
    }
    likelihood.iter().all(|l| *l == 0.0).then_some("its likelihood is zero everywhere")
}

fn fault_of_run(
    network: &Network,
    findings: &[usize],
    floor: f64,
    combos: &[(Vec<usize>, f64)],
) -> Option<&'static str> {
    let sound = |value: f64| value.is_finite() && value >= 0.0;
    if !sound(floor) || combos.iter().any(|(_, value)| !sound(*value) || *value < floor) {
        return Some("a value of the run is below its floor or not a number");
    }
    if floor == 0.0 && combos.iter().all(|(_, value)| *value == 0.0) {
        return Some("its likelihood is zero everywhere");
    }
    let fits = |states: &[usize]| {
        states.len() == findings.len()
            && states.iter().zip(findings).all(|(&s, &f)| s <= network.findings()[f].degrees)
    };
    if !combos.iter().all(|(states, _)| fits(states)) {
        return Some("a combination of the run does not fit its findings");
    }
    twice(combos.iter().map(|(states, _)| states)).then_some("a combination of the run is listed twice")
}
