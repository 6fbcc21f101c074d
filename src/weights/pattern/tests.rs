//! What the pattern of a run promises.

use proptest::prelude::*;

use super::*;
use crate::weights::generate::{Dice, Recipe};
use crate::weights::run::RunInput;

fn run(values: Vec<f64>) -> Run {
    Run::new(RunInput { values, target: Some(250.0), ..RunInput::default() }).unwrap()
}

fn usual(spread: f64) -> Question {
    Question { usual_spread: Some(spread), ..Question::default() }
}

fn set(patterns: &[Pattern]) -> Combination {
    patterns.iter().copied().collect()
}

fn made(patterns: &[Pattern], n: usize, size: f64, seed: u64) -> Patterns {
    let recipe = Recipe { division: Some(0.01), ..Recipe::in_order(n, 250.0, 0.5).with(patterns, size) };
    find_patterns(&run(recipe.make(&mut Dice::new(seed))), &usual(0.5))
}

/// How many of two hundred made-up runs of twenty fills, four spreads off, are named as just this pattern.
fn named(pattern: Pattern) -> usize {
    let right = |seed: &u64| made(&[pattern], 20, 4.0, *seed).verdict == Verdict::Shows(set(&[pattern]));
    (0..200).filter(right).count()
}

#[test]
fn light_is_named_in_most_light_runs() {
    assert!(named(Pattern::Light) >= 170);
}

#[test]
fn heavy_is_named_in_most_heavy_runs() {
    assert!(named(Pattern::Heavy) >= 170);
}

#[test]
fn wide_is_named_in_most_wide_runs() {
    assert!(named(Pattern::Wide) >= 170);
}

#[test]
fn drift_is_named_in_most_drifting_runs() {
    assert!(named(Pattern::Drift) >= 170);
}

#[test]
fn light_strays_are_named_in_most_runs_that_hold_some() {
    assert!(named(Pattern::StraysLight) >= 170);
}

#[test]
fn heavy_strays_are_named_in_most_runs_that_hold_some() {
    assert!(named(Pattern::StraysHeavy) >= 170);
}

#[test]
fn a_machine_in_order_is_seldom_called_anything() {
    let called = |seed: &u64| matches!(made(&[], 20, 0.0, *seed).verdict, Verdict::Shows(_));
    assert!((1000..1200).filter(called).count() <= 20);
}

#[test]
fn a_steadily_light_run_reads_as_an_offset() {
    let values = vec![247.2, 247.0, 246.9, 247.4, 247.1, 247.3, 246.8, 247.2, 247.0, 247.1];
    let found = find_patterns(&run(values), &usual(0.3));
    assert_eq!(found.verdict, Verdict::Shows(set(&[Pattern::Light])));
    assert_eq!(found.sentence.look_for, LookFor::Offset);
    assert_eq!(
        found.sentence.to_string(),
        "every fill about 2.9 g light (± 0.13), spread usual for this machine: look for an offset, not for scatter"
    );
    assert_eq!(found.factor.phi(&set(&[Pattern::Light])), 1.0);
    assert_eq!(found.factor.phi(&set(&[])), FLOOR);
    assert_eq!(found.factor.phi(&set(&[Pattern::Heavy])), FLOOR);
}

#[test]
fn a_fault_far_larger_than_any_usual_one_is_still_light() {
    for off in [20.0, 100.0, 240.0] {
        let values = (0..10).map(|i| 250.0 - off + 0.1 * f64::from(i % 3)).collect();
        let found = find_patterns(&run(values), &usual(0.3));
        assert!(found.each[&Pattern::Light] > 0.9, "{off}: {:?}", found.posteriors);
    }
}

#[test]
fn an_empty_bag_among_good_ones_is_a_stray() {
    let mut values = vec![250.1, 249.9, 250.2, 249.8, 250.0, 250.3, 249.7, 250.1, 249.9, 250.0];
    values[6] = 0.4;
    let found = find_patterns(&run(values), &usual(0.3));
    assert_eq!(found.verdict, Verdict::Shows(set(&[Pattern::StraysLight])));
}

#[test]
fn strays_are_said_first_and_never_called_on_target_or_a_usual_spread() {
    let values = vec![249.8, 250.1, 212.4, 250.0, 250.2, 249.9, 250.0, 218.0, 250.1, 250.0];
    assert_eq!(
        find_patterns(&run(values), &usual(0.5)).sentence.to_string(),
        "most fills agree, single ones are far too light: look for what happened to those"
    );
}

#[test]
fn what_cannot_be_judged_is_neither_for_nor_against() {
    let recipe = Recipe::in_order(20, 250.0, 0.5);
    let values = recipe.make(&mut Dice::new(1));
    let aimless = Run::new(RunInput { values: values.clone(), ..RunInput::default() }).unwrap();
    let found = find_patterns(&aimless, &usual(0.5)).factor;
    assert_eq!(found.phi(&set(&[Pattern::Light])), found.phi(&set(&[])));
    let unknown = find_patterns(&run(values), &Question::default());
    assert_eq!(unknown.factor.phi(&set(&[Pattern::Wide])), unknown.factor.phi(&set(&[])));
    assert!(unknown.remarks.contains(&Remark::UsualSpreadUnknown));
}

#[test]
fn few_fills_push_little() {
    let found = find_patterns(&run(vec![249.8, 250.1]), &usual(0.5));
    assert!(found.factor.phi(&set(&[Pattern::StraysLight])) > 0.3);
    assert!(!matches!(found.verdict, Verdict::Shows(_)));
}

#[test]
fn combinations_are_at_most_three_and_never_light_and_heavy() {
    let all = combinations(3);
    // 1 + 10 + (45 − 1) + (120 − 8)
    assert_eq!(all.len(), 167);
    assert!(all.iter().all(|c| c.len() <= 3 && legal(c)));
}

#[test]
fn two_patterns_at_once_are_both_seen() {
    let found = made(&[Pattern::Light, Pattern::StraysHeavy], 40, 6.0, 3);
    assert_eq!(found.verdict, Verdict::Shows(set(&[Pattern::Light, Pattern::StraysHeavy])));
}

#[test]
fn a_long_run_is_thinned_and_says_so() {
    let found = made(&[Pattern::Drift], 5_000, 4.0, 5);
    assert!(found.remarks.contains(&Remark::Thinned { every: 13 }));
    assert!(found.each[&Pattern::Drift] > 0.9);
}

#[test]
fn names_lead_back_to_their_patterns() {
    for pattern in Pattern::ALL {
        assert_eq!(Pattern::from_name(pattern.name()), Some(pattern));
    }
    assert_eq!(Pattern::from_name("lite"), None);
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(24))]
    #[test]
    fn every_run_gives_a_factor_between_the_floor_and_one(
        values in prop::collection::vec(prop_oneof![-1e9f64..1e9, 249.0f64..251.0, Just(250.0), Just(0.0)], 1..14),
        spread in prop::option::of(1e-6f64..1e6),
        tolerance in prop::option::of(1e-6f64..1e6),
    ) {
        let question = Question { usual_spread: spread, tolerance, ..Question::default() };
        let found = find_patterns(&run(values), &question);
        prop_assert!(found.factor.combos.iter().all(|(_, phi)| *phi > FLOOR && *phi <= 1.0));
        prop_assert!(found.factor.combos.iter().any(|(_, phi)| *phi == 1.0));
        prop_assert!(found.each.values().all(|p| (0.0..=1.0 + 1e-9).contains(p)));
    }

    #[test]
    fn a_mirrored_run_has_the_mirrored_pattern(seed in 0u64..1000) {
        let values = Recipe::in_order(12, 250.0, 0.5).with(&[Pattern::Light], 1.5).make(&mut Dice::new(seed));
        let mirrored = values.iter().map(|v| 500.0 - v).collect();
        let (a, b) = (find_patterns(&run(values), &usual(0.5)), find_patterns(&run(mirrored), &usual(0.5)));
        prop_assert!((a.each[&Pattern::Light] - b.each[&Pattern::Heavy]).abs() < 1e-6);
        prop_assert!((a.each[&Pattern::Wide] - b.each[&Pattern::Wide]).abs() < 1e-6);
    }
}
