//! Which causes are there together: the leading combinations with their exact probabilities.

use std::collections::{BTreeSet, BinaryHeap};

use super::assembly::{Check, Question, fault_of_check};
use super::clamped::Clamped;
use super::evidence::{BeliefError, Evidence};
use super::network::Network;
use super::posterior::Inference;

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
        Self { least: 0.005, cover: 0.98, weighed: 250, kept: 40 }
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
/// at all and from everything likelier than not, adding or taking away one cause at a time; how much it found is the sum
/// of the probabilities.
pub fn leading(
    network: &Network,
    evidence: &Evidence,
    reach: Reach,
) -> Result<Vec<Combination>, BeliefError> {
    let inference = Inference::plain(network, evidence)?;
    let presences = inference.causes();
    let likely =
        |least: f64| (0..presences.len()).filter(|&cause| presences[cause].now >= least).collect::<Vec<_>>();
    let candidates = likely(reach.least);
    let mut search = Search {
        clamped: Clamped::new(network, evidence)?,
        ln_evidence: inference.ln_evidence,
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

fn given(count: usize, causes: &[usize]) -> Vec<bool> {
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

/// What one combination, if it is the truth, leads one to expect.
#[derive(Debug, Clone, PartialEq)]
pub struct Outlook {
    /// The combination.
    pub combination: Combination,
    /// `[check][outcome]` = P(outcome | exactly these causes now, evidence).
    pub outcomes: Vec<Vec<f64>>,
    /// P(every finding complained of is normal, faults that come and go awake, once a subset of the causes is cured
    /// | exactly these causes now, evidence), links and leaks persisting. Bit `b` of the index stands for `causes[b]`.
    pub gone: Vec<f64>,
}

/// What each combination leads one to expect of the open checks and of curing its causes.
pub fn outlook(
    network: &Network,
    evidence: &Evidence,
    combinations: &[Combination],
    checks: &[Check],
    complaint: &[usize],
) -> Result<Vec<Outlook>, BeliefError> {
    evidence.check(network)?;
    for (place, check) in checks.iter().enumerate() {
        if let Some(why) = fault_of_check(network, check) {
            return Err(BeliefError::Check { check: place, why });
        }
    }
    let mut clamped = Clamped::new(network, evidence)?;
    let mut asked = Vec::new();
    for check in checks {
        let mut timeline = clamped.timeline.clone();
        let sights = timeline.see_now(network, &check.findings, check.moment)?;
        asked.push(clamped.ask(timeline, sights, Question::Outcomes(&check.outcomes)));
    }
    let mut cures = std::collections::BTreeMap::new();
    let mut views = Vec::new();
    for combination in combinations {
        let given = given(network.causes().len(), &combination.causes);
        let mut beliefs = std::collections::BTreeMap::new();
        let mut outcomes = Vec::new();
        for asked in &mut asked {
            outcomes.push(super::posterior::normal(clamped.answer(asked, &given, &mut beliefs)?));
        }
        let mut gone = Vec::new();
        for cured in subsets(&combination.causes)? {
            if !cures.contains_key(&cured) {
                let mut timeline = clamped.timeline.clone();
                let sights = timeline.see_cured(network, complaint, &cured)?;
                cures.insert(cured.clone(), clamped.ask(timeline, sights, Question::AllNormal));
            }
            if let Some(asked) = cures.get_mut(&cured) {
                gone.push(clamped.answer(asked, &given, &mut beliefs)?[0].min(1.0));
            }
        }
        views.push(Outlook { combination: combination.clone(), outcomes, gone });
    }
    Ok(views)
}

/// All subsets, the bits of their place saying which.
fn subsets(causes: &[usize]) -> Result<Vec<Vec<usize>>, BeliefError> {
    if causes.len() > MOST_TOGETHER {
        return Err(BeliefError::TooLarge { cost: (causes.len() as f64).exp2() });
    }
    let member = |set: usize| move |(bit, cause): (usize, &usize)| (set >> bit & 1 == 1).then_some(*cause);
    Ok((0..1usize << causes.len())
        .map(|set| causes.iter().enumerate().filter_map(member(set)).collect())
        .collect())
}
