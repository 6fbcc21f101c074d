//! Which causes are there together: the leading combinations with their exact probabilities.

use std::collections::{BTreeMap, BTreeSet};

use super::assembly::Given;
use super::course::{Scenarios, Stand};
use super::evidence::{BeliefError, Evidence};
use super::network::Network;
use super::pair;
use super::posterior::Posterior;
use super::sum::Sum;
use super::timeline::Timeline;

/// Most causes in one combination.
pub const MOST_TOGETHER: usize = 6;
/// So many combinations are weighed side by side, some of them before it is known that they will be wanted.
const SIDE_BY_SIDE: usize = 96;

/// How far to look for combinations.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Reach {
    /// Causes less probable than this are taken as absent in every combination.
    pub least: f64,
    /// Enough once the combinations found hold this much probability.
    pub cover: f64,
    /// Most combinations to weigh.
    pub weighed: usize,
    /// Most combinations to return.
    pub kept: usize,
}

impl Default for Reach {
    fn default() -> Self {
        Self { least: 0.005, cover: 0.98, weighed: 200, kept: 40 }
    }
}

/// The causes that are there now, and no others.
#[derive(Debug, Clone, PartialEq)]
pub struct Combination {
    /// Ascending.
    pub causes: Vec<usize>,
    /// P(exactly these are there now | evidence).
    pub probability: f64,
}

/// A combination waiting to have its neighbours weighed; likely ones first, then small ones, then by index.
struct Open {
    probability: f64,
    causes: Vec<usize>,
}

impl Ord for Open {
    fn cmp(&self, other: &Self) -> std::cmp::Ordering {
        let rank =
            |open: &Self| (std::cmp::Reverse(open.causes.len()), std::cmp::Reverse(open.causes.clone()));
        self.probability.total_cmp(&other.probability).then_with(|| rank(self).cmp(&rank(other)))
    }
}

impl PartialOrd for Open {
    fn partial_cmp(&self, other: &Self) -> Option<std::cmp::Ordering> {
        Some(self.cmp(other))
    }
}

impl PartialEq for Open {
    fn eq(&self, other: &Self) -> bool {
        self.cmp(other).is_eq()
    }
}

impl Eq for Open {}

/// The leading combinations of causes, most probable first, each with its exact probability. The search goes best-first from nothing
/// at all and from everything likelier than not in `believed`, the posterior of the same evidence, adding or taking away one
/// cause at a time; how much it found is the sum of the probabilities.
pub fn leading(
    network: &Network,
    evidence: &Evidence,
    believed: &Posterior,
    reach: Reach,
) -> Result<Vec<Combination>, BeliefError> {
    evidence.check(network)?;
    let presences = &believed.causes;
    let likely =
        |least: f64| (0..presences.len()).filter(|&cause| presences[cause].now >= least).collect::<Vec<_>>();
    let candidates = likely(reach.least);
    let mut search = Search {
        network,
        evidence,
        timeline: Timeline::new(network, evidence)?,
        ln_evidence: believed.ln_evidence,
        candidates,
        weighed: BTreeMap::new(),
        seen: BTreeSet::new(),
        open: BTreeSet::new(),
        found: Vec::new(),
        covered: 0.0,
    };
    search.visit(vec![Vec::new(), likely(0.5).into_iter().take(MOST_TOGETHER).collect()])?;
    while let Some(best) = search.open.pop_last() {
        if search.covered >= reach.cover || search.seen.len() >= reach.weighed {
            break;
        }
        search.visit(search.around(&best.causes))?;
    }
    let mut found = search.found;
    found.sort_by(|a, b| b.probability.total_cmp(&a.probability).then_with(|| a.causes.cmp(&b.causes)));
    found.truncate(reach.kept);
    Ok(found)
}

struct Search<'a> {
    network: &'a Network,
    evidence: &'a Evidence,
    timeline: Timeline,
    ln_evidence: f64,
    candidates: Vec<usize>,
    /// Probabilities known so far, wanted yet or not.
    weighed: BTreeMap<Vec<usize>, Option<f64>>,
    seen: BTreeSet<Vec<usize>>,
    open: BTreeSet<Open>,
    found: Vec<Combination>,
    covered: f64,
}

impl Search<'_> {
    /// One cause more or less.
    fn around(&self, causes: &[usize]) -> Vec<Vec<usize>> {
        let all = self.candidates.iter().map(|&cause| toggled(causes, cause));
        all.filter(|causes| causes.len() <= MOST_TOGETHER && !self.seen.contains(causes)).collect()
    }

    fn visit(&mut self, combinations: Vec<Vec<usize>>) -> Result<(), BeliefError> {
        self.weigh(&combinations)?;
        for causes in combinations {
            if !self.seen.insert(causes.clone()) {
                continue;
            }
            if let Some(probability) = self.weighed.get(&causes).copied().flatten() {
                self.covered += probability;
                self.open.insert(Open { probability, causes: causes.clone() });
                self.found.push(Combination { causes, probability });
            }
        }
        Ok(())
    }

    /// Weighs these, and while at it those that may well come next.
    fn weigh(&mut self, combinations: &[Vec<usize>]) -> Result<(), BeliefError> {
        let mut batch: BTreeSet<Vec<usize>> = BTreeSet::new();
        let unknown = |causes: &&Vec<usize>| !self.weighed.contains_key(*causes);
        batch.extend(combinations.iter().filter(unknown).cloned());
        if batch.is_empty() {
            return Ok(());
        }
        for open in self.open.iter().rev() {
            if batch.len() >= SIDE_BY_SIDE {
                break;
            }
            batch.extend(self.around(&open.causes).iter().filter(unknown).cloned());
        }
        let rows: Vec<Vec<Stand>> =
            batch.iter().map(|causes| stands(self.network, causes, Stand::There)).collect();
        let (network, evidence, timeline) = (self.network, self.evidence, &self.timeline);
        let totals = pair::halved(&rows, &|rows: &[Vec<Stand>]| {
            let scenarios = &Scenarios(rows.to_vec());
            let sum = Sum::total(Given { network, evidence, timeline, scenarios })?;
            Ok(sum.ln_totals().to_vec())
        })?;
        for (place, causes) in batch.into_iter().enumerate() {
            let ln = totals.get(place).copied().flatten();
            self.weighed.insert(causes, ln.map(|ln| (ln - self.ln_evidence).exp().min(1.0)));
        }
        Ok(())
    }
}

/// These causes as `there`, all others gone.
pub(crate) fn stands(network: &Network, causes: &[usize], there: Stand) -> Vec<Stand> {
    let mut stands = vec![Stand::Gone; network.causes().len()];
    for &cause in causes {
        stands[cause] = there;
    }
    stands
}

fn toggled(causes: &[usize], cause: usize) -> Vec<usize> {
    let mut causes = causes.to_vec();
    match causes.binary_search(&cause) {
        Ok(place) => drop(causes.remove(place)),
        Err(place) => causes.insert(place, cause),
    }
    causes
}
