//! What the pattern of a run promises.

use super::*;
use crate::weights::generate::{Dice, Recipe};
use crate::weights::run::RunInput;

fn run(values: Vec<f64>) -> Run {
    Run::new(RunInput { values, target: Some(250.0), ..RunInput::default() }).unwrap()
}

fn usual(spread: f64) -> Question {
    Question { usual_spread: Some(spread), ..Question::default() }
}

fn found(patterns: &[Pattern], n: usize, size: f64, seed: u64) -> Patterns {
    let recipe = Recipe { division: Some(0.01), ..Recipe::in_order(n, 250.0, 0.5).with(patterns, size) };
    find_patterns(&run(recipe.make(&mut Dice::new(seed))), &usual(0.5))
}

/// How many of `runs` made-up runs are named as just these patterns.
fn named(patterns: &[Pattern], n: usize, size: f64, runs: u64) -> usize {
    let wanted = patterns.iter().copied().collect::<Combination>();
    let right = |seed: &u64| match found(patterns, n, size, *seed).verdict {
        Verdict::NothingUnusual => wanted.is_empty(),
        Verdict::Shows(named) => named == wanted,
        Verdict::CannotTell { .. } => false,
    };
    (0..runs).filter(right).count()
}

#[test]
#[ignore = "a look at all cells, by hand"]
fn table() {
    let pat: Vec<Vec<Pattern>> =
        std::iter::once(vec![]).chain(Pattern::SCORED.iter().map(|p| vec![*p])).collect();
    for (n, size) in [(10, 4.0), (20, 2.0), (20, 4.0), (40, 4.0)] {
        for p in &pat {
            let mut seen: BTreeMap<String, usize> = BTreeMap::new();
            let start = std::time::Instant::now();
            for seed in 0..60 {
                let key = match found(p, n, size, seed).verdict {
                    Verdict::Shows(c) => format!("{:?}", c),
                    Verdict::NothingUnusual => "{}".into(),
                    Verdict::CannotTell { .. } => "?".into(),
                };
                *seen.entry(key).or_default() += 1;
            }
            let mut s: Vec<_> = seen.into_iter().map(|(k, v)| (v, k)).collect();
            s.sort();
            s.reverse();
            println!("{n} {size} {p:?} {:?}/run: {:?}", start.elapsed() / 60, &s[..s.len().min(4)]);
        }
    }
}
