//! What a question about a circumstance would answer: ordinary checks that cost seconds, asked early.
//!
//! `P(happened | which causes are there)` follows from the causes' noisy-OR over their circumstances: absent
//! causes factorise, present ones couple the circumstances that they share, and those few are summed out.

use crate::belief::{Evidence, Item, Model};

/// P(answered 'happened' | it did), and P(answered 'happened' | it did not).
pub const TOLD: (f64, f64) = (0.95, 0.03);
/// What is answered when something happened with this probability: 'happened', 'did not'.
pub fn told(happened: f64) -> Vec<f64> {
    let (hit, alarm) = TOLD;
    let yes = happened * hit + (1.0 - happened) * alarm;
    vec![yes, 1.0 - yes]
}
/// Most coupled circumstances summed out exactly; beyond it the coupling of the rest is left out of the plan (not of
/// the belief).
const MOST: usize = 10;

/// For each circumstance P(happened | exactly these causes are there, answers about circumstances).
pub fn given_causes(model: &Model, evidence: &Evidence, present: &[usize]) -> Vec<f64> {
    let causes = model.network.causes();
    let mut odds: Vec<[f64; 2]> =
        model.network.circumstances().iter().map(|c| [1.0 - c.usual, c.usual]).collect();
    for item in &evidence.0 {
        if let Item::Circumstance { index, likelihood } = item {
            odds[*index][0] *= likelihood[0];
            odds[*index][1] *= likelihood[1];
        }
    }
    for (index, cause) in causes.iter().enumerate().filter(|(index, _)| !present.contains(index)) {
        debug_assert!(index < causes.len());
        for (circumstance, chance) in &cause.after {
            odds[*circumstance][1] *= 1.0 - chance;
        }
    }
    let mut coupled: Vec<usize> =
        present.iter().flat_map(|&p| causes[p].after.iter().map(|(c, _)| *c)).collect();
    coupled.sort_unstable();
    coupled.dedup();
    coupled.truncate(MOST);
    let summed = sum_out(model, &odds, present, &coupled);
    (0..odds.len())
        .map(|c| {
            let [no, yes] = coupled.iter().position(|&k| k == c).map_or(odds[c], |slot| summed[slot]);
            if no + yes > 0.0 { yes / (no + yes) } else { 0.0 }
        })
        .collect()
}

fn sum_out(model: &Model, odds: &[[f64; 2]], present: &[usize], coupled: &[usize]) -> Vec<[f64; 2]> {
    let causes = model.network.causes();
    let mut sums = vec![[0.0; 2]; coupled.len()];
    for states in 0..1usize << coupled.len() {
        let happened =
            |c: usize| coupled.iter().position(|&k| k == c).is_some_and(|slot| states >> slot & 1 == 1);
        let mut chance: f64 =
            coupled.iter().enumerate().map(|(slot, &c)| odds[c][states >> slot & 1]).product();
        for &index in present {
            let cause = &causes[index];
            let spared: f64 =
                cause.after.iter().filter(|(c, _)| happened(*c)).map(|(_, a)| 1.0 - a).product();
            chance *= 1.0 - (1.0 - cause.base) * spared;
        }
        for (slot, sum) in sums.iter_mut().enumerate() {
            sum[states >> slot & 1] += chance;
        }
    }
    sums
}
