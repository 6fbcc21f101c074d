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
    /// Whether causes that explain nothing are told apart. Otherwise sets that differ only in such bystanders are one, named
    /// without them; what it holds is near what they hold together.
    pub bystanders: bool,
}

/// A cause that raises the probability of a set by no more than this, against the odds of its being there, explains nothing.
const EXPLAINS: f64 = 1.5;

impl Default for Reach {
    fn default() -> Self {
        Self { least: 0.005, cover: 0.98, weighed: 200, kept: 40, bystanders: true }
    }
}

/// The causes that are there now, and no others.
#[derive(Debug, Clone, PartialEq)]
pub struct Combination {
    /// Ascending.
    pub causes: Vec<usize>,
    /// P(exactly these are there now | evidence); without bystanders P(these, and nothing else that explains anything), nearly.
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
        idle: (!reach.bystanders).then(|| Idle::new(network, believed)),
    };
    let alone = search.candidates.iter().filter(|_| !reach.bystanders).map(|&cause| vec![cause]);
    let mut first: Vec<Vec<usize>> = std::iter::once(Vec::new()).chain(alone).collect();
    first.push(likely(0.5).into_iter().take(MOST_TOGETHER).collect());
    search.visit(first)?;
    while let Some(best) = search.open.pop_last() {
        if search.covered >= reach.cover || search.seen.len() >= reach.weighed {
            break;
        }
        search.visit(search.around(&best.causes))?;
    }
    let mut found = search.told();
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
    idle: Option<Idle>,
}

/// What tells a bystander from a cause that explains something.
struct Idle {
    /// Odds that each cause is there when nothing is known.
    before: Vec<f64>,
    /// Odds that each is there as a bystander: as before, or less where something speaks against it.
    now: Vec<f64>,
}

impl Idle {
    fn new(network: &Network, believed: &Posterior) -> Self {
        let odds = |p: f64| p / (1.0 - p).max(f64::MIN_POSITIVE);
        let circumstances = network.circumstances();
        let before: Vec<f64> = network
            .causes()
            .iter()
            .map(|cause| {
                let spared =
                    |(circumstance, brings): &(usize, f64)| 1.0 - circumstances[*circumstance].usual * brings;
                odds(1.0 - (1.0 - cause.base) * cause.after.iter().map(spared).product::<f64>())
            })
            .collect();
        let now = before
            .iter()
            .zip(&believed.causes)
            .map(|(odds_before, p)| odds_before.min(odds(p.now)))
            .collect();
        Self { before, now }
    }
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
                if self.has_bystander(&causes) {
                    continue;
                }
                self.covered += probability * self.company(&causes);
                self.open.insert(Open { probability, causes: causes.clone() });
                self.found.push(Combination { causes, probability });
            }
        }
        Ok(())
    }

    /// Whether a cause is known to explain something beside these.
    fn explains(&self, idle: &Idle, beside: &[usize], cause: usize) -> bool {
        let known = |causes: &[usize]| self.weighed.get(causes).map(|p| p.unwrap_or(0.0));
        let both = known(&toggled(beside, cause)).zip(known(beside));
        both.is_some_and(|(with, without)| with > EXPLAINS * idle.before[cause] * without)
    }

    /// Whether a cause explains nothing beside these, nor by itself: what could be behind it too would keep it up alone.
    fn looks_on(&self, idle: &Idle, beside: &[usize], cause: usize) -> bool {
        !self.explains(idle, beside, cause) && !self.explains(idle, &[], cause)
    }

    /// Whether one of these causes is a bystander.
    fn has_bystander(&self, causes: &[usize]) -> bool {
        let Some(idle) = &self.idle else { return false };
        causes.iter().any(|&cause| self.looks_on(idle, &toggled(causes, cause), cause))
    }

    /// How many times likelier a set is when bystanders may be there too.
    fn company(&self, causes: &[usize]) -> f64 {
        let Some(idle) = &self.idle else { return 1.0 };
        let beside = |cause: usize| {
            let here = causes.contains(&cause) || !self.looks_on(idle, causes, cause);
            if here { 1.0 } else { 1.0 + idle.now[cause] }
        };
        (0..idle.now.len()).map(beside).product()
    }

    /// What was found, each set once.
    fn told(&self) -> Vec<Combination> {
        let kept = self.found.iter().filter(|set| !self.has_bystander(&set.causes));
        let counted = kept.map(|set| {
            let probability = set.probability * self.company(&set.causes);
            Combination { causes: set.causes.clone(), probability }
        });
        let mut counted: Vec<Combination> = counted.collect();
        let total: f64 = counted.iter().map(|set| set.probability).sum();
        counted
            .iter_mut()
            .filter(|_| self.idle.is_some() && total > 1.0)
            .for_each(|set| set.probability /= total);
        counted
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
