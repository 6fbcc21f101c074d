//! A closed case as learning sees it: evidence, yes and no, and what was proved.

use std::collections::{BTreeMap, BTreeSet};

use crate::belief::{self, BeliefError, Cause, Evidence, Item, Network, NetworkError, Reach};

/// How far sets of causes are looked for.
const REACH: Reach = Reach { least: 0.01, cover: 0.98, weighed: 60, kept: 16, bystanders: false };

/// A number pair of a check: P(this outcome | the finding is there), P(this outcome | it is not).
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Sensor {
    /// The finding.
    pub finding: usize,
    /// P(outcome | there).
    pub hit: f64,
    /// P(outcome | not there).
    pub alarm: f64,
}

/// One recorded yes or no of a sensor.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Trial {
    /// Which sensor.
    pub sensor: usize,
    /// Whether its outcome was the answer.
    pub yes: bool,
}

/// A closed case.
#[derive(Debug, Clone, PartialEq)]
pub struct Past {
    /// Everything answered before the first remedy.
    pub evidence: Evidence,
    /// The symptoms that the call was about. They are why there is a case at all, so that nothing is learned from their
    /// being there.
    pub named: BTreeSet<usize>,
    /// Recorded yes and no.
    pub trials: Vec<Trial>,
    /// Causes that were proved: a remedy of theirs took the complaint away.
    pub proved: BTreeSet<usize>,
}

/// A case laid out for counting.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Laid {
    /// The sets of causes that explain it, as the book has it; all hold what was proved.
    pub(super) sets: Vec<Vec<usize>>,
    /// Each finding answered about: L(answers | there) / L(answers | normal).
    pub(super) ratios: BTreeMap<usize, f64>,
    /// Findings that nothing is learned from: those the call is about and what stands on the way to them.
    pub(super) chosen: BTreeSet<usize>,
    /// P(happened) of each circumstance.
    pub(super) happened: Vec<f64>,
}

impl Past {
    /// Lays the case out once; counting goes over it many times.
    pub(super) fn laid(&self, network: &Network, ancestry: &Ancestry) -> Result<Laid, BeliefError> {
        let sure = self
            .proved
            .iter()
            .fold(network.clone(), |network, &cause| with_certain(&network, cause).unwrap_or(network));
        let posterior = belief::posterior(&sure, &self.evidence)?;
        let found = belief::leading(&sure, &self.evidence, &posterior, REACH)?;
        let mut sets: Vec<Vec<usize>> = found.into_iter().map(|set| set.causes).collect();
        for set in &mut sets {
            set.extend(self.proved.iter().copied());
            set.sort_unstable();
            set.dedup();
        }
        sets.sort();
        sets.dedup();
        let mut chosen = BTreeSet::new();
        for &symptom in &self.named {
            chosen.extend(ancestry.tied(symptom));
        }
        Ok(Laid { sets, ratios: ratios(&self.evidence), chosen, happened: posterior.circumstances })
    }
}

/// The network in which one cause is there for sure.
fn with_certain(network: &Network, cause: usize) -> Result<Network, NetworkError> {
    let mut causes: Vec<Cause> = network.causes().to_vec();
    causes[cause].base = 1.0;
    Network::new(network.circumstances().to_vec(), causes, network.findings().to_vec())
}

/// What the answers say of each finding by itself, the others of the same answer taken as normal.
fn ratios(evidence: &Evidence) -> BTreeMap<usize, f64> {
    let mut ratios: BTreeMap<usize, f64> = BTreeMap::new();
    let mut say = |finding: usize, there: f64, normal: f64| {
        let ratio = (there.max(1e-9) / normal.max(1e-9)).clamp(1e-6, 1e6);
        let own = ratios.entry(finding).or_insert(1.0);
        *own = (*own * ratio).clamp(1e-9, 1e9);
    };
    for item in &evidence.0 {
        match item {
            Item::Answer { findings, likelihood, .. } if findings.len() == 1 => {
                say(findings[0], likelihood[1], likelihood[0]);
            }
            Item::Answer { findings, likelihood, .. } => {
                // Binary findings: the place of 'only this one' is a power of two from the end.
                for (place, &finding) in findings.iter().enumerate() {
                    let only = 1usize << (findings.len() - 1 - place);
                    if likelihood.len() == 1 << findings.len() {
                        say(finding, likelihood[only], likelihood[0]);
                    }
                }
            }
            Item::Run { findings, floor, combos, .. } => {
                for (place, &finding) in findings.iter().enumerate() {
                    let best = |there: bool| {
                        let fits = combos.iter().filter(|(states, _)| (states[place] > 0) == there);
                        fits.map(|(_, value)| *value).fold(*floor, f64::max)
                    };
                    say(finding, best(true), best(false));
                }
            }
            Item::Circumstance { .. } | Item::Remedy { .. } | Item::Afresh { .. } => {}
        }
    }
    ratios
}

/// Which findings are tied to which: by standing above, below, or below the same one.
pub(super) struct Ancestry {
    above: Vec<BTreeSet<usize>>,
}

impl Ancestry {
    pub(super) fn of(network: &Network) -> Self {
        let mut above: Vec<BTreeSet<usize>> = Vec::new();
        for (index, finding) in network.findings().iter().enumerate() {
            let mut own = BTreeSet::from([index]);
            for link in &finding.parents {
                if let belief::Parent::Finding(parent) = link.parent {
                    own.extend(&above[parent]);
                }
            }
            above.push(own);
        }
        Self { above }
    }

    /// The finding, all above it, and all that shares something above with it.
    fn tied(&self, finding: usize) -> impl Iterator<Item = usize> + '_ {
        let own = &self.above[finding];
        (0..self.above.len()).filter(move |&other| !self.above[other].is_disjoint(own))
    }
}
