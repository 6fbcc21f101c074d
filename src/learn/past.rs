//! A closed case as learning sees it: evidence, yes and no, and what was proved.

use std::collections::{BTreeMap, BTreeSet};

use super::local::{live, seen};
use crate::belief::{self, Cause, Evidence, Item, Network};

/// So many causes are looked at besides what was proved…
const BESIDES: usize = 5;
/// …and so many where nothing was.
const CANDIDATES: usize = 10;

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
    pub(super) fn laid(&self, network: &Network, ancestry: &Ancestry) -> Laid {
        let mut chosen = BTreeSet::new();
        for &symptom in &self.named {
            chosen.extend(ancestry.tied(symptom));
        }
        let ratios = ratios(&self.evidence);
        let happened = happened(network, &self.evidence);
        let sets = sets(network, &self.proved, &ratios, &happened);
        Laid { sets, ratios, chosen, happened }
    }
}

/// What was proved, alone and with up to two of those causes that explain most besides; with nothing proved one or two of
/// those that explain most.
fn sets(
    network: &Network,
    proved: &BTreeSet<usize>,
    ratios: &BTreeMap<usize, f64>,
    happened: &[f64],
) -> Vec<Vec<usize>> {
    let live = live(network, ratios.keys().copied());
    let odds = ln_odds(network, happened);
    let base: Vec<usize> = proved.iter().copied().collect();
    let with = |more: &[usize]| {
        let mut set: Vec<usize> = base.iter().chain(more).copied().collect();
        set.sort_unstable();
        set
    };
    let gain = |cause: usize| odds[cause] + seen(network, &with(&[cause]), &live, ratios).ln;
    let mut others: Vec<(f64, usize)> = (0..network.causes().len())
        .filter(|&cause| !proved.contains(&cause) && network.causes()[cause].base > 0.0)
        .map(|cause| (gain(cause), cause))
        .collect();
    others.sort_by(|a, b| b.0.total_cmp(&a.0).then(a.1.cmp(&b.1)));
    others.truncate(if proved.is_empty() { CANDIDATES } else { BESIDES });
    let mut sets: Vec<Vec<usize>> = if proved.is_empty() { Vec::new() } else { vec![base.clone()] };
    for (place, &(_, one)) in others.iter().enumerate() {
        sets.push(with(&[one]));
        sets.extend(others[place + 1..].iter().take(BESIDES).map(|&(_, other)| with(&[one, other])));
    }
    sets
}

/// P(happened) of each circumstance after what was said of it.
fn happened(network: &Network, evidence: &Evidence) -> Vec<f64> {
    let mut odds: Vec<[f64; 2]> = network.circumstances().iter().map(|c| [1.0 - c.usual, c.usual]).collect();
    for item in &evidence.0 {
        if let Item::Circumstance { index, likelihood } = item {
            odds[*index][0] *= likelihood[0];
            odds[*index][1] *= likelihood[1];
        }
    }
    odds.into_iter().map(|[not, so]| so / (so + not).max(f64::MIN_POSITIVE)).collect()
}

/// ln odds of each cause with what is known of its circumstances.
pub(super) fn ln_odds(network: &Network, happened: &[f64]) -> Vec<f64> {
    let of = |cause: &Cause| {
        let spared: f64 = cause.after.iter().map(|&(c, chance)| 1.0 - chance * happened[c]).product();
        let there = (1.0 - (1.0 - cause.base) * spared).clamp(1e-9, 1.0 - 1e-9);
        (there / (1.0 - there)).ln()
    };
    network.causes().iter().map(of).collect()
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
