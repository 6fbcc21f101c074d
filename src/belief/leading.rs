//! Which causes are there together: the leading combinations with their exact probabilities.

use std::collections::{BTreeSet, BinaryHeap};

use super::clamped::Clamped;
use super::evidence::{BeliefError, Evidence};
use super::network::Network;
use super::posterior::Posterior;

/// Most causes in one combination.
pub const MOST_TOGETHER: usize = 6;

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
/// at all and from everything likelier than not in `believed`, the posterior of the same evidence, adding or taking away one cause at a time; how much it found is the sum
/// of the probabilities.
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
        clamped: Clamped::new(network, evidence)?,
        ln_evidence: believed.ln_evidence,
        seen: BTreeSet::new(),
        open: BinaryHeap::new(),
        found: Vec::new(),
        covered: 0.0,
    };
    search.weigh(Vec::new())?;
    search.weigh(likely(0.5).into_iter().take(MOST_TOGETHER).collect())?;
    while let Some(best) = search.open.pop() {
        if search.covered >= reach.cover || search.seen.len() >= reach.weighed {
            break;
        }
        for &cause in &candidates {
            search.weigh(toggled(&best.causes, cause))?;
        }
    }
    let mut found = search.found;
    found.sort_by(|a, b| b.probability.total_cmp(&a.probability).then_with(|| a.causes.cmp(&b.causes)));
    found.truncate(reach.kept);
    Ok(found)
}

struct Search<'a> {
    clamped: Clamped<'a>,
    ln_evidence: f64,
    seen: BTreeSet<Vec<usize>>,
    open: BinaryHeap<Open>,
    found: Vec<Combination>,
    covered: f64,
}

impl Search<'_> {
    fn weigh(&mut self, causes: Vec<usize>) -> Result<(), BeliefError> {
        if causes.len() > MOST_TOGETHER || !self.seen.insert(causes.clone()) {
            return Ok(());
        }
        let given = given(self.clamped.timeline.remedies.len(), &causes);
        if let Some(ln) = self.clamped.ln_weight(&given)? {
            let probability = (ln - self.ln_evidence).exp().min(1.0);
            self.covered += probability;
            self.open.push(Open { probability, causes: causes.clone() });
            self.found.push(Combination { causes, probability });
        }
        Ok(())
    }
}

pub(crate) fn given(count: usize, causes: &[usize]) -> Vec<bool> {
    let mut given = vec![false; count];
    for &cause in causes {
        given[cause] = true;
    }
    given
}

fn toggled(causes: &[usize], cause: usize) -> Vec<usize> {
    let mut causes = causes.to_vec();
    match causes.binary_search(&cause) {
        Ok(place) => drop(causes.remove(place)),
        Err(place) => causes.insert(place, cause),
    }
    causes
}
