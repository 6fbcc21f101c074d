//! What the belief holds to under any numbers: its range, its order, the name of what is impossible, and that a sampled belief says so
//! and is right within its own standard error.

use handlamp::belief::{
    BeliefError, Cause, Evidence, Finding, Item, Link, Network, Parent, posterior, predict, sampled,
};
use proptest::prelude::*;

use crate::dice::Dice;
use crate::{drawn, small_networks};

/// Fifteen findings or a few more over ten causes, every number one of these.
fn adverse(dice: &mut Dice) -> Network {
    const ENDS: [f64; 5] = [0.0, 1.0, 1e-300, 1e-9, 0.5];
    let end = |dice: &mut Dice| ENDS[dice.below(ENDS.len())];
    let causes = (0..10).map(|_| Cause { base: end(dice), after: Vec::new(), catch: None }).collect();
    let mut findings: Vec<Finding> = Vec::new();
    for index in 0..18 {
        let mut parents = dice.some_of(10, 4).into_iter().map(Parent::Cause).collect::<Vec<_>>();
        if index > 12 {
            parents.push(Parent::Finding(dice.below(6)));
        }
        let link = |parent| Link { parent, strength: vec![vec![end(dice)]] };
        let parents = parents.into_iter().map(link).collect();
        findings.push(Finding { degrees: 1, leak: vec![[0.0, 1e-300, 0.01][dice.below(3)]], parents });
    }
    Network::new(Vec::new(), causes, findings).unwrap()
}

/// Remedies and fresh starts stay where they are, what stands between two of them is turned round.
fn turned(evidence: &Evidence) -> Evidence {
    let marks = |item: &Item| matches!(item, Item::Remedy { .. } | Item::Afresh { .. });
    let mut items = Vec::new();
    for part in evidence.0.split_inclusive(marks) {
        let (mark, readings): (Vec<Item>, Vec<Item>) = part.iter().cloned().partition(marks);
        items.extend(readings.into_iter().rev().chain(mark));
    }
    Evidence(items)
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 200, failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn fifteen_abnormal_findings_under_adverse_numbers_leave_probabilities_or_a_named_impossible_one(seed: u64) {
        let mut dice = Dice(seed);
        let network = adverse(&mut dice);
        let items = (0..18).map(|finding| drawn::hard(&network, finding, usize::from(finding < 15)));
        let evidence = Evidence(items.collect());
        match posterior(&network, &evidence) {
            Ok(believed) => {
                for cause in &believed.causes {
                    let fine = [cause.was, cause.now].iter().all(|p| (0.0..=1.0).contains(p));
                    prop_assert!(fine && !cause.ln_odds.is_nan(), "{cause:?}");
                }
                prop_assert!(believed.ln_evidence.is_finite());
            }
            Err(BeliefError::Impossible { item }) => prop_assert!(item < 18),
            Err(other) => prop_assert!(false, "{other}"),
        }
    }

    #[test]
    fn the_order_of_answers_changes_nothing_except_across_a_remedy(seed: u64) {
        let (network, evidence) = small_networks::case(seed);
        let (told, other) = (posterior(&network, &evidence), posterior(&network, &turned(&evidence)));
        match (told, other) {
            (Ok(told), Ok(other)) => {
                for (left, right) in told.causes.iter().zip(&other.causes) {
                    prop_assert!((left.was - right.was).abs() <= 1e-12, "{left:?} {right:?}");
                    prop_assert!((left.now - right.now).abs() <= 1e-12, "{left:?} {right:?}");
                }
            }
            (Err(BeliefError::Impossible { .. }), Err(BeliefError::Impossible { .. })) => {}
            (told, other) => prop_assert!(false, "{told:?} {other:?}"),
        }
    }
}

#[test]
fn a_sampled_belief_is_the_exact_one_within_four_standard_errors() {
    for seed in 0..6 {
        let mut dice = Dice(seed);
        let network = drawn::two_layers(&mut dice, [14, 20], 2..=4);
        let evidence = drawn::case(&mut dice, &network, 4, 6);
        let exact = posterior(&network, &evidence).unwrap();
        let guess = sampled(&network, &evidence).unwrap();
        assert_eq!(guess, sampled(&network, &evidence).unwrap(), "seed {seed}: the same twice");
        assert!(exact.sampled.is_none());
        let how = guess.sampled.as_ref().unwrap();
        assert!(how.standard_error() < 0.03 && how.samples >= 1000, "seed {seed}: {how:?}");
        for (cause, (exact, guess)) in exact.causes.iter().zip(&guess.causes).enumerate() {
            let far = (exact.was - guess.was).abs();
            assert!(far <= 4.0 * how.errors[cause] + 1e-9, "seed {seed}, cause {cause}: {far} {how:?}");
        }
        assert!((exact.ln_evidence - guess.ln_evidence).abs() < 0.2, "seed {seed}");
    }
}

#[test]
fn what_is_too_large_to_be_exact_is_sampled_and_says_so() {
    let mut dice = Dice(7);
    let network = drawn::two_layers(&mut dice, [30, 40], 12..=15);
    let evidence = drawn::case(&mut dice, &network, 24, 4);
    let believed = posterior(&network, &evidence).unwrap();
    let how = believed.sampled.as_ref().unwrap();
    assert!(how.standard_error() > 0.0 && how.standard_error() < 0.2, "{}", how.standard_error());
    let checks = drawn::open_checks(&network, &evidence, 1);
    for outcomes in predict(&network, &evidence, &checks).unwrap() {
        assert!((outcomes.iter().sum::<f64>() - 1.0).abs() < 1e-12, "{outcomes:?}");
        assert!(outcomes.iter().all(|p| (0.0..=1.0).contains(p)));
    }
}
