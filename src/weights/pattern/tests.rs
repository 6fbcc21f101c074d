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
    for n in [10, 20, 40] {
        for size in [2.0, 4.0] {
            for p in Pattern::SCORED {
                println!("{n} {size} {p}: {}", named(&[p], n, size, 40));
            }
        }
        println!("{n} none {}", named(&[], n, 0.0, 100));
    }
}
