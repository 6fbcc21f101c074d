//! The network once it is given which causes are there now.
//!
//! Findings then fall into *parts* that share nothing but a few *hubs*: the combination of a run of fills, who was awake during
//! it, and what became of a cause on which a remedy was done. What a part says of the hubs depends only on its own causes,
//! so it is computed once for each state of these and kept.

use std::collections::BTreeMap;

use super::assembly::{Assembly, Clamp, Question, cause_var, outcome_var, run_var};
use super::eliminate::{eliminate, order, reduce};
use super::evidence::{BeliefError, Evidence, Item};
use super::factor::{Axis, Factor, Var, product, project, size};
use super::network::{Network, Parent};
use super::timeline::{Sight, Timeline};

/// Largest table over hubs that the messages of one part are multiplied into.
const MOST_MERGED: usize = 4096;

/// Which causes are there now.
pub(crate) type Given = [bool];
type Memo<T> = BTreeMap<Vec<bool>, T>;

/// A part, or the parts that a question touches, with what was computed of it.
struct Part<T> {
    /// Ascending, so that parents come first.
    findings: Vec<usize>,
    /// All causes that drive them.
    causes: Vec<usize>,
    memo: Memo<T>,
}

impl<T> Part<T> {
    fn new(network: &Network, mut findings: Vec<usize>) -> Self {
        findings.sort_unstable();
        findings.dedup();
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

/// A question with the parts that it touches.
pub(crate) struct Asked<'q> {
    timeline: Timeline,
    sights: Vec<Sight>,
    question: Question<'q>,
    part: Part<Factor>,
}

/// Evidence, ready to be weighed for one set of present causes after another.
pub(crate) struct Clamped<'a> {
    network: &'a Network,
    evidence: &'a Evidence,
    pub(crate) timeline: Timeline,
    parts: Vec<Part<Vec<Factor>>>,
    part_of: Vec<Option<usize>>,
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
        let mut part_of = vec![None; network.findings().len()];
        let mut parts = Vec::new();
        for findings in members.into_values() {
            for &finding in &findings {
                part_of[finding] = Some(parts.len());
            }
            parts.push(Part::new(network, findings));
        }
        let hubs = hubs(network, evidence, &timeline);
        Ok(Self { network, evidence, timeline, parts, part_of, hubs })
    }

    /// ln P(exactly these causes are there now, evidence); `None` when it is 0.
    pub(crate) fn ln_weight(&mut self, given: &Given) -> Result<Option<f64>, BeliefError> {
        let factors = self.over_hubs(given)?;
        let order = order(&factors, &[]);
        Ok(eliminate(factors, &order, false)?.ln_total())
    }

    /// P(these hubs | given, evidence).
    fn belief_of(&mut self, given: &Given, axes: &[Axis]) -> Result<Factor, BeliefError> {
        let keep: Vec<Var> = axes.iter().map(|axis| axis.0).collect();
        let mut belief = product(&reduce(self.over_hubs(given)?, &keep)?, axes.to_vec());
        belief.table = super::posterior::normal(belief.table);
        Ok(belief)
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

    /// Prepares a question: `sights` were registered on `timeline`, which began as a copy of this one's.
    pub(crate) fn ask<'q>(
        &self,
        timeline: Timeline,
        sights: Vec<Sight>,
        question: Question<'q>,
    ) -> Asked<'q> {
        let mut findings: Vec<usize> = Vec::new();
        for sight in &sights {
            for &finding in timeline.above(sight.finding) {
                findings.push(finding);
                if let Some(part) = self.part_of[finding] {
                    findings.extend(&self.parts[part].findings);
                }
            }
        }
        Asked { part: Part::new(self.network, findings), timeline, sights, question }
    }

    /// The distribution over a question's outcomes given the causes and the evidence:
    /// Σ over the hubs of P(hubs | given, evidence) · P(outcome | hubs, given, evidence of the parts touched).
    pub(crate) fn answer(
        &mut self,
        asked: &mut Asked<'_>,
        given: &Given,
        beliefs: &mut BTreeMap<Vec<Axis>, Factor>,
    ) -> Result<Vec<f64>, BeliefError> {
        let key = asked.part.key(given);
        if !asked.part.memo.contains_key(&key) {
            let conditional = self.conditional(asked, given)?;
            asked.part.memo.insert(key.clone(), conditional);
        }
        let conditional = &asked.part.memo[&key];
        let outcomes = asked.question.outcomes();
        let own = usize::from(outcomes > 1);
        let hubs = &conditional.axes[..conditional.axes.len() - own];
        if hubs.is_empty() {
            return Ok(conditional.table.clone());
        }
        if !beliefs.contains_key(hubs) {
            beliefs.insert(hubs.to_vec(), self.belief_of(given, hubs)?);
        }
        let joint = product([conditional, &beliefs[hubs]], conditional.axes.clone());
        Ok(project(&joint.table, &joint.axes, &conditional.axes[hubs.len()..]))
    }

    /// P(outcome | hubs, given, evidence of the parts touched), over those hubs and the outcome.
    fn conditional(&self, asked: &Asked<'_>, given: &Given) -> Result<Factor, BeliefError> {
        let clamps = clamps(given);
        let outcome = outcome_var(self.network, &asked.timeline, self.evidence.0.len(), 0);
        let build = |question: Option<&Question<'_>>| {
            let mut assembly = Assembly::new(self.network, self.evidence, &asked.timeline, &clamps);
            assembly.part(&asked.part.findings)?;
            if let Some(question) = question {
                assembly.question(&asked.sights, question, outcome);
            }
            let keep: Vec<Var> = self.hubs.iter().copied().chain([outcome]).collect();
            reduce(assembly.factors, &keep)
        };
        let told = build(Some(&asked.question))?;
        let mut hubs: Vec<Axis> = told.iter().flat_map(|factor| factor.axes.iter().copied()).collect();
        let base = match asked.question {
            Question::AllNormal => Some(build(None)?),
            Question::Outcomes(_) => None,
        };
        hubs.extend(base.iter().flatten().flat_map(|factor| factor.axes.iter().copied()));
        hubs.retain(|axis| axis.0 != outcome);
        hubs.sort_unstable();
        hubs.dedup();
        let outcomes = asked.question.outcomes();
        let scope: Vec<Axis> =
            hubs.iter().copied().chain((outcomes > 1).then_some((outcome, outcomes))).collect();
        if size(&scope) > MOST_MERGED * 16 {
            return Err(BeliefError::TooLarge { cost: size(&scope) as f64 });
        }
        let mut joint = product(&told, scope);
        let totals: Vec<f64> = match base {
            None => joint.table.chunks(outcomes).map(|row| row.iter().sum()).collect(),
            Some(base) => {
                let base = product(&base, hubs);
                let scale = (base.ln - joint.ln).exp();
                base.table.iter().map(|entry| entry * scale).collect()
            }
        };
        for (row, total) in joint.table.chunks_mut(outcomes).zip(totals) {
            for entry in row {
                *entry = if total > 0.0 { (*entry / total).min(1.0) } else { 0.0 };
            }
        }
        joint.ln = 0.0;
        Ok(joint)
    }
}

fn clamps(given: &Given) -> Vec<Clamp> {
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
