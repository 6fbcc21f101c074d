//! The pattern of a run: which of the run findings the weights speak for.
//!
//! Every legal combination of up to three patterns is a model of the same weights; their marginal likelihoods are
//! compared. `model` says what each pattern does to the weights, `likelihood` sums over everything unknown in it,
//! `verdict` says it in words. The marginal likelihoods themselves enter the belief, as a [`Factor`].

mod likelihood;
mod model;
mod verdict;

use std::collections::{BTreeMap, BTreeSet};
use std::fmt;

use serde::Serialize;

use super::remark::Remark;
use super::run::Run;
use super::stats::spread;
use super::summary::{Question, Start};
use model::Scene;
pub use verdict::{FirstSentence, LookFor, SpreadWord, Verdict};

/// Likelihood ratio below which a combination is never pushed: the model of a run is itself only roughly true.
pub const FLOOR: f64 = 1e-3;
/// Most fills that go into the comparison; a longer run is thinned evenly.
const MOST_COMPARED: usize = 400;
/// Chance of a common pattern before the run is seen, for the screen only.
const COMMON: f64 = 0.13;
/// Chance of a rare one.
const RARE: f64 = 0.06;

/// What a run of fills can show.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Pattern {
    /// The mean is under the target.
    Light,
    /// The mean is over the target.
    Heavy,
    /// More scatter than is usual for the machine.
    Wide,
    /// A steady change along the run.
    Drift,
    /// A sudden lasting change.
    Step,
    /// A swing with a period of several fills.
    Wave,
    /// Heavy and light by turns.
    SeeSaw,
    /// Two humps: two nozzles, two lanes, two people.
    TwoGroups,
    /// Single fills far too light, empty bags included.
    StraysLight,
    /// Single fills far too heavy, double fills included.
    StraysHeavy,
    /// The first fills differ.
    StartUp,
}

impl Pattern {
    /// All of them, in order.
    pub const ALL: [Pattern; 11] = [
        Pattern::Light,
        Pattern::Heavy,
        Pattern::Wide,
        Pattern::Drift,
        Pattern::Step,
        Pattern::Wave,
        Pattern::SeeSaw,
        Pattern::TwoGroups,
        Pattern::StraysLight,
        Pattern::StraysHeavy,
        Pattern::StartUp,
    ];

    /// Patterns that the comparison has a model for. The others stay at the floor.
    pub const SCORED: [Pattern; 10] = [
        Pattern::Light,
        Pattern::Heavy,
        Pattern::Wide,
        Pattern::Drift,
        Pattern::Step,
        Pattern::Wave,
        Pattern::SeeSaw,
        Pattern::StraysLight,
        Pattern::StraysHeavy,
        Pattern::StartUp,
    ];

    /// Its name in files.
    pub fn name(self) -> &'static str {
        match self {
            Pattern::Light => "light",
            Pattern::Heavy => "heavy",
            Pattern::Wide => "wide",
            Pattern::Drift => "drift",
            Pattern::Step => "step",
            Pattern::Wave => "wave",
            Pattern::SeeSaw => "see-saw",
            Pattern::TwoGroups => "two-groups",
            Pattern::StraysLight => "strays-light",
            Pattern::StraysHeavy => "strays-heavy",
            Pattern::StartUp => "start-up",
        }
    }

    /// The pattern of that name.
    pub fn from_name(name: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|p| p.name() == name)
    }
}

impl fmt::Display for Pattern {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.name())
    }
}

/// A combination of patterns; the empty one is 'nothing unusual'.
pub type Combination = BTreeSet<Pattern>;

/// A run as evidence: for each combination of run findings the likelihood of the weights over that of the best.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Factor {
    /// The patterns it is over, in order.
    pub patterns: Vec<Pattern>,
    /// Combinations above the floor with φ = max(M / max M, 1/1000), in order.
    pub combos: Vec<(Combination, f64)>,
    /// φ of every other combination.
    pub floor: f64,
}

impl Factor {
    /// φ of a combination, `floor` when it is not listed.
    pub fn phi(&self, combination: &Combination) -> f64 {
        self.combos.iter().find(|(c, _)| c == combination).map_or(self.floor, |(_, phi)| *phi)
    }
}

/// What the comparison gave.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Patterns {
    /// For the belief.
    pub factor: Factor,
    /// Combinations over one in two hundred under a plain prior, most likely first.
    pub posteriors: Vec<(Combination, f64)>,
    /// Probability of each pattern that the run can judge, under a plain prior.
    pub each: BTreeMap<Pattern, f64>,
    /// What can be said.
    pub verdict: Verdict,
    /// It in one sentence, as data.
    pub sentence: FirstSentence,
    /// Usual spread used, grams.
    pub usual_spread: f64,
    /// Tolerance used, grams to either side.
    pub tolerance: f64,
    /// What to know before trusting it.
    pub remarks: Vec<Remark>,
}

/// Every legal combination of up to `most` of the scored patterns: light with heavy is left out.
pub fn combinations(most: usize) -> Vec<Combination> {
    let mut all = vec![Combination::new()];
    let mut last = all.clone();
    for _ in 0..most {
        let longer = |c: &Combination| {
            let beyond = c.last().copied();
            Pattern::SCORED.into_iter().filter(move |p| beyond.is_none_or(|b| b < *p)).map({
                let c = c.clone();
                move |p| c.iter().copied().chain([p]).collect::<Combination>()
            })
        };
        last = last.iter().flat_map(longer).filter(legal).collect();
        all.extend(last.iter().cloned());
    }
    all
}

fn legal(combination: &Combination) -> bool {
    !(combination.contains(&Pattern::Light) && combination.contains(&Pattern::Heavy))
}

/// Compares the patterns on a run.
///
/// Without a target, light and heavy are neither for nor against; without a usual spread, so is wide.
pub fn find_patterns(run: &Run, question: &Question) -> Patterns {
    let apart = if question.start == Start::AfterStop && run.values().len() > 2 { 2 } else { 0 };
    let fills = &run.values()[apart..];
    let every = fills.len().div_ceil(MOST_COMPARED).max(1);
    let thinned: Vec<f64> = fills.iter().step_by(every).copied().collect();
    let scene = Scene::new(&thinned, run, question);
    let scores = score(&scene);
    // On the screen nothing stands that the run cannot judge.
    let judged: Vec<_> =
        scores.iter().filter(|(c, _)| c.iter().all(|p| scene.can_judge(*p))).cloned().collect();
    let posteriors = posteriors(&judged);
    let each = each(&posteriors);
    let verdict = verdict::judge(&posteriors, &each, fills.len());
    let mut remarks = Vec::new();
    if !question.usual_spread.is_some_and(|s| s > 0.0) {
        remarks.push(Remark::UsualSpreadUnknown);
    }
    if question.tolerance.is_none() {
        remarks.push(Remark::ToleranceAssumed { tolerance: scene.tolerance });
    }
    if every > 1 {
        remarks.push(Remark::Thinned { every });
    }
    Patterns {
        factor: factor(&scores),
        each,
        sentence: verdict::first_sentence(run, question, &verdict),
        posteriors: posteriors.into_iter().filter(|(_, p)| *p > 0.005).collect(),
        verdict,
        usual_spread: scene.usual_spread,
        tolerance: scene.tolerance,
        remarks,
    }
}

/// ln of the marginal likelihood of every combination, in order.
fn score(scene: &Scene) -> Vec<(Combination, f64)> {
    let mut known: BTreeMap<Combination, f64> = BTreeMap::new();
    for combination in combinations(3) {
        // What cannot be judged is neither for nor against: it has the likelihood of the rest.
        let judged: Combination = combination.iter().copied().filter(|p| scene.can_judge(*p)).collect();
        let score = match known.get(&judged) {
            Some(score) => *score,
            None => likelihood::ln_marginal(scene, &judged),
        };
        known.insert(combination, score);
    }
    known.into_iter().collect()
}

fn factor(scores: &[(Combination, f64)]) -> Factor {
    let best = scores.iter().map(|(_, s)| *s).max_by(f64::total_cmp).unwrap_or(0.0);
    let phi = |(c, s): &(Combination, f64)| (c.clone(), (s - best).exp().max(FLOOR));
    let combos = scores.iter().map(phi).filter(|(_, phi)| *phi > FLOOR).collect();
    Factor { patterns: Pattern::ALL.to_vec(), combos, floor: FLOOR }
}

/// Posteriors under the plain prior, most likely first, ties in the order of combinations.
fn posteriors(scores: &[(Combination, f64)]) -> Vec<(Combination, f64)> {
    let weight = |(c, s): &(Combination, f64)| s + c.iter().map(|p| ln_odds(*p)).sum::<f64>();
    let best = scores.iter().map(weight).max_by(f64::total_cmp).unwrap_or(0.0);
    let total: f64 = scores.iter().map(|s| (weight(s) - best).exp()).sum();
    let mut found: Vec<_> = scores.iter().map(|s| (s.0.clone(), (weight(s) - best).exp() / total)).collect();
    found.sort_by(|a, b| b.1.total_cmp(&a.1).then_with(|| a.0.cmp(&b.0)));
    found
}

fn ln_odds(pattern: Pattern) -> f64 {
    let rare = matches!(pattern, Pattern::Step | Pattern::Wave | Pattern::SeeSaw | Pattern::StartUp);
    let chance: f64 = if rare { RARE } else { COMMON };
    (chance / (1.0 - chance)).ln()
}

fn each(posteriors: &[(Combination, f64)]) -> BTreeMap<Pattern, f64> {
    let sum = |p: Pattern| posteriors.iter().filter(|(c, _)| c.contains(&p)).map(|(_, q)| q).sum();
    let seen = |p: &Pattern| posteriors.iter().any(|(c, _)| c.contains(p));
    Pattern::SCORED.into_iter().filter(seen).map(|p| (p, sum(p))).collect()
}

/// Spread from neighbour to neighbour, that slow changes do not enter: median |difference| / (0.6745·√2).
fn short_term_spread(values: &[f64]) -> Option<f64> {
    let steps: Vec<f64> = values.windows(2).map(|w| (w[1] - w[0]).abs()).collect();
    let robust = super::stats::median(&steps).map(|m| m / (0.6745 * std::f64::consts::SQRT_2));
    robust.filter(|s| *s > 0.0).or_else(|| spread(values).filter(|s| *s > 0.0))
}

#[cfg(test)]
#[path = "tests.rs"]
mod tests;
