//! The network once it is given which causes are there now.
//!
//! Findings then fall into *parts* that share nothing but a few *hubs*: the combination of a run of fills, who was awake during
//! it, and what became of a cause on which a remedy was done. What a part says of the hubs depends only on its own causes,
//! so it is computed once for each state of these and kept.

use std::collections::BTreeMap;

use super::assembly::{Assembly, Clamp, cause_var, run_var};
use super::eliminate::{eliminate, order, reduce};
use super::evidence::{BeliefError, Evidence, Item};
use super::factor::{Axis, Factor, Var, product, size};
use super::network::{Network, Parent};
use super::timeline::Timeline;

/// Largest table over hubs that the messages of one part are multiplied into.
const MOST_MERGED: usize = 4096;

/// Which causes are there now.
pub(crate) type Given = [bool];

/// A part, with what it says of the hubs for each state of its causes.
struct Part {
    /// Ascending, so that parents come first.
    findings: Vec<usize>,
    /// All causes that drive them.
    causes: Vec<usize>,
    memo: BTreeMap<Vec<bool>, Vec<Factor>>,
}

impl Part {
    fn new(network: &Network, findings: Vec<usize>) -> Self {
        let links = findings.iter().flat_map(|&finding| &network.findings()[finding].parents);
        let mut causes: Vec<usize> = links
            .filter_map(|link| match link.parent {
                Parent::Cause(cause) => Some(cause),
                Parent::Finding(_) => None,
            })
            .collect();
        causes.sort_unstable();
        causes.dedup();
        Self { findings, causes, memo: BTreeMap::new() }
    }

    fn key(&self, given: &Given) -> Vec<bool> {
        self.causes.iter().map(|&cause| given[cause]).collect()
    }
}

/// Evidence, ready to be weighed for one set of present causes after another.
pub(crate) struct Clamped<'a> {
    network: &'a Network,
    evidence: &'a Evidence,
    pub(crate) timeline: Timeline,
    parts: Vec<Part>,
    hubs: Vec<Var>,
}

impl<'a> Clamped<'a> {
    pub(crate) fn new(network: &'a Network, evidence: &'a Evidence) -> Result<Self, BeliefError> {
        let timeline = Timeline::new(network, evidence)?;
        let group = groups(network, evidence, &timeline);
        let mut members: BTreeMap<usize, Vec<usize>> = BTreeMap::new();
        for (finding, group) in group.iter().enumerate() {
            if !timeline.versions(finding).is_empty() {
                members.entry(*group).or_default().push(finding);
            }
        }
        let parts = members.into_values().map(|findings| Part::new(network, findings)).collect();
        let hubs = hubs(network, evidence, &timeline);
        Ok(Self { network, evidence, timeline, parts, hubs })
    }

    /// ln P(exactly these causes are there now, evidence); `None` when it is 0.
    pub(crate) fn ln_weight(&mut self, given: &Given) -> Result<Option<f64>, BeliefError> {
        let factors = self.over_hubs(given)?;
        let order = order(&factors, &[]);
        Ok(eliminate(factors, &order, false)?.ln_total())
    }

    /// Everything known under `given`, with only hubs and circumstances left.
    fn over_hubs(&mut self, given: &Given) -> Result<Vec<Factor>, BeliefError> {
        let clamps = clamps(given);
        let mut assembly = Assembly::new(self.network, self.evidence, &self.timeline, &clamps);
        assembly.roots()?;
        for item in 0..self.evidence.0.len() {
            assembly.run_prior(item);
        }
        let mut factors = assembly.factors;
        for part in &mut self.parts {
            let key = part.key(given);
            if !part.memo.contains_key(&key) {
                let mut assembly = Assembly::new(self.network, self.evidence, &self.timeline, &clamps);
                assembly.part(&part.findings)?;
                let told = merged(reduce(assembly.factors, &self.hubs)?);
                part.memo.insert(key.clone(), told);
            }
            factors.extend(part.memo[&key].iter().cloned());
        }
        Ok(factors)
    }
}

/// Each cause there now, or not.
pub(crate) fn clamps(given: &Given) -> Vec<Clamp> {
    given.iter().map(|&there| Clamp::Now(there)).collect()
}

/// One factor out of many, where that is small.
fn merged(factors: Vec<Factor>) -> Vec<Factor> {
    let mut axes: Vec<Axis> = factors.iter().flat_map(|factor| factor.axes.iter().copied()).collect();
    axes.sort_unstable();
    axes.dedup();
    if size(&axes) > MOST_MERGED {
        return factors;
    }
    vec![product(&factors, axes).scaled()]
}

/// Variables that parts may share: causes with remedies done, and those of the runs.
fn hubs(network: &Network, evidence: &Evidence, timeline: &Timeline) -> Vec<Var> {
    let remedied = (0..network.causes().len()).filter(|&cause| !timeline.remedies[cause].is_empty());
    let mut hubs: Vec<Var> = remedied.map(|cause| cause_var(network, cause)).collect();
    for (item, kind) in evidence.0.iter().enumerate() {
        if matches!(kind, Item::Run { .. }) {
            hubs.extend((0..=timeline.intermittent.len()).map(|slot| run_var(network, timeline, item, slot)));
        }
    }
    hubs
}

/// For each finding the smallest finding of its part: held together by links and by answers about several.
fn groups(network: &Network, evidence: &Evidence, timeline: &Timeline) -> Vec<usize> {
    let mut group: Vec<usize> = (0..network.findings().len()).collect();
    for (index, finding) in network.findings().iter().enumerate() {
        for link in &finding.parents {
            if let Parent::Finding(parent) = link.parent
                && !timeline.versions(index).is_empty()
            {
                unite(&mut group, index, parent);
            }
        }
    }
    for item in &evidence.0 {
        if let Item::Answer { findings, .. } = item {
            findings.windows(2).for_each(|pair| unite(&mut group, pair[0], pair[1]));
        }
    }
    group
}

fn unite(group: &mut [usize], a: usize, b: usize) {
    let (low, high) = (group[a].min(group[b]), group[a].max(group[b]));
    group.iter_mut().filter(|own| **own == high).for_each(|own| *own = low);
}
