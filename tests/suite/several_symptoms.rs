//! Callers who name two things at once: what merely stands by is told from what explains, and something is asked before somebody
//! is sent.

use handlamp::belief::{
    Cause, Evidence, Finding, Item, Link, Moment, Network, Parent, Reach, leading, posterior,
};
use proptest::prelude::*;

use crate::small_networks;
use crate::tool::Tool;

/// Named together because one brings the other, or both have a cause in common.
const PAIRS: &[[&str; 2]] = &[
    ["test-weight-reads-wrong", "shown-right-bag-wrong"],
    ["zero-does-not-come-back", "reading-wanders-empty"],
    ["zero-does-not-come-back", "tare-refused"],
    ["trickle-between-fills", "zero-does-not-come-back"],
    ["jumps-with-neighbour", "reading-wanders-empty"],
    ["corners-differ", "test-weight-reads-wrong"],
    ["fills-slow", "product-stops-coming"],
    ["fills-steadily-heavy", "zero-does-not-come-back"],
    ["panel-dark", "nothing-answers-start"],
];

#[test]
fn somebody_who_names_two_things_is_asked_something_before_anybody_is_sent() {
    let tool = Tool::built_in(80);
    for machine in ["single-tray-weigher", "two-tray-weigher"] {
        for [one, other] in PAIRS {
            let call = format!(
                "format: handlamp-case/1\nmachine: {machine}\n\
                 people:\n  - {{id: caller, at: machine, may: [isolate], has: []}}\n\
                 opening: {{danger: none, doing_it_now: every fill}}\ncomplaint: two things\nevents:\n\
                 \x20 - {{reading: what-the-caller-says, outcome: {one}, by: caller}}\n\
                 \x20 - {{reading: what-the-caller-says, outcome: {other}, by: caller}}\n"
            );
            let file = tool.home().join("two.yaml");
            std::fs::write(&file, call).expect("a file");
            let answer = tool.run(&["diagnose", "--answers", &file.display().to_string(), "--json"]).json();
            assert_eq!(
                answer["next"][0]["kind"], "check",
                "{machine}: {one} and {other}: {}",
                answer["next"][0]
            );
        }
    }
}

fn reach(bystanders: bool) -> Reach {
    Reach { least: 0.0, cover: 2.0, weighed: usize::MAX, kept: usize::MAX, bystanders }
}

/// Two causes; only the first bears on the one finding, which is there.
fn one_of_two() -> (Network, Evidence) {
    let cause = |base| Cause { base, after: Vec::new(), catch: None };
    let link = Link { parent: Parent::Cause(0), strength: vec![vec![0.9]] };
    let finding = Finding { degrees: 1, leak: vec![0.01], parents: vec![link] };
    let network = Network::new(Vec::new(), vec![cause(0.1), cause(0.3)], vec![finding]).expect("a network");
    let seen = Item::Answer { findings: vec![0], likelihood: vec![0.0, 1.0], moment: Moment::Bad };
    (network, Evidence(vec![seen]))
}

#[test]
fn a_cause_that_merely_stands_by_is_counted_with_what_explains() {
    let (network, evidence) = one_of_two();
    let believed = posterior(&network, &evidence).expect("a belief");
    let sets = leading(&network, &evidence, &believed, reach(false)).expect("sets");
    assert_eq!(sets.iter().map(|set| set.causes.clone()).collect::<Vec<_>>(), [vec![0], vec![]]);
    for (set, there) in sets.iter().zip([believed.causes[0].was, 1.0 - believed.causes[0].was]) {
        assert!((set.probability - there).abs() < 1e-9, "{set:?} and {there}");
    }
    assert_eq!(leading(&network, &evidence, &believed, reach(true)).expect("sets").len(), 4);
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 300, failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn sets_without_bystanders_are_some_of_the_exact_ones_and_hold_no_more_than_everything(seed: u64) {
        let (network, evidence) = small_networks::case(seed);
        let Ok(believed) = posterior(&network, &evidence) else { return Ok(()) };
        let exact = leading(&network, &evidence, &believed, reach(true)).expect("sets");
        let merged = leading(&network, &evidence, &believed, reach(false)).expect("sets");
        let total: f64 = merged.iter().map(|set| set.probability).sum();
        prop_assert!(!merged.is_empty() && total <= 1.0 + 1e-9, "{total}");
        for (place, set) in merged.iter().enumerate() {
            prop_assert!(exact.iter().any(|known| known.causes == set.causes), "{set:?}");
            prop_assert!(merged[..place].iter().all(|known| known.causes != set.causes), "{set:?} twice");
            prop_assert!(set.probability.is_finite() && set.probability >= 0.0, "{set:?}");
        }
    }
}
