//! Leading combinations, open checks and hoped-for cures agree with brute force to 1e-9.

use std::collections::BTreeMap;

use handlamp::belief::{
    BeliefError, Check, Combination, Evidence, Network, Reach, leading, nothing_known, outlook, posterior,
    predict,
};
use proptest::prelude::*;

use crate::dice::Dice;
use crate::oracle::{self, When};
use crate::small_networks;

/// Sums over all worlds for one set of causes that are there now.
struct View {
    weight: f64,
    outcomes: Vec<Vec<f64>>,
    gone: Vec<f64>,
}

fn brute(
    network: &Network,
    evidence: &Evidence,
    checks: &[Check],
    complaint: &[usize],
) -> BTreeMap<Vec<usize>, View> {
    let mut views: BTreeMap<Vec<usize>, View> = BTreeMap::new();
    let items = evidence.0.len();
    oracle::every_world(network, evidence, |world, weight| {
        let there: Vec<usize> = (0..network.causes().len()).filter(|cause| world.now(*cause)).collect();
        let view = views.entry(there.clone()).or_insert_with(|| View {
            weight: 0.0,
            outcomes: checks.iter().map(|check| vec![0.0; check.outcomes.len()]).collect(),
            gone: vec![0.0; 1 << there.len()],
        });
        view.weight += weight;
        for (check, sums) in checks.iter().zip(&mut view.outcomes) {
            for (outcome, sum) in check.outcomes.iter().zip(sums) {
                let value = |degrees: &[usize]| outcome[oracle::joint(network, &check.findings, degrees)];
                *sum += weight * world.seen(items, check.moment, value);
            }
        }
        for (set, sum) in view.gone.iter_mut().enumerate() {
            let cured: Vec<usize> = there
                .iter()
                .enumerate()
                .filter(|(bit, _)| set >> bit & 1 == 1)
                .map(|(_, cause)| *cause)
                .collect();
            let degrees = world.degrees(When { items, asleep: &[], cured: &cured });
            *sum += if complaint.iter().all(|finding| degrees[*finding] == 0) { weight } else { 0.0 };
        }
    });
    views
}

fn everything() -> Reach {
    Reach { least: 0.0, cover: 2.0, weighed: usize::MAX, kept: usize::MAX, bystanders: true }
}

fn far(engine: f64, brute: f64) -> bool {
    !((engine - brute).abs() <= 1e-9 && (0.0..=1.0).contains(&engine))
}

fn disagreement(seed: u64) -> Option<String> {
    let (network, evidence) = small_networks::case(seed);
    let mut dice = Dice(seed ^ 0xabcd);
    let checks: Vec<Check> = (0..3).map(|_| small_networks::check(&mut dice, &network)).collect();
    let complaint = dice.some_of(network.findings().len(), 2);
    let views = brute(&network, &evidence, &checks, &complaint);
    let total: f64 = views.values().map(|view| view.weight).sum();
    let believed = match posterior(&network, &evidence) {
        Ok(believed) => believed,
        Err(BeliefError::Impossible { .. }) => return (total > 0.0).then(|| "not impossible".to_owned()),
        Err(other) => return Some(other.to_string()),
    };
    let combinations = leading(&network, &evidence, &believed, everything()).unwrap();
    let wrong = |combination: &Combination| {
        far(combination.probability, views.get(&combination.causes).map_or(0.0, |view| view.weight) / total)
    };
    if combinations.iter().any(wrong) || combinations.len() < views.len() {
        return Some(format!("combinations {combinations:?}"));
    }
    for (place, predicted) in predict(&network, &evidence, &checks).unwrap().iter().enumerate() {
        for (outcome, p) in predicted.iter().enumerate() {
            if far(*p, views.values().map(|view| view.outcomes[place][outcome]).sum::<f64>() / total) {
                return Some(format!("check {place} outcome {outcome}: {p}"));
            }
        }
    }
    for look in outlook(&network, &evidence, &combinations, &checks, &complaint).unwrap() {
        let Some(view) = views.get(&look.combination.causes) else { continue };
        let outcomes = look.outcomes.iter().flatten().zip(view.outcomes.iter().flatten());
        let gone = look.gone.iter().zip(&view.gone);
        for (engine, brute) in outcomes.chain(gone) {
            if far(*engine, brute / view.weight) {
                return Some(format!("{look:?}: {engine} and {}", brute / view.weight));
            }
        }
    }
    let unknown: f64 = {
        let mut sum = 0.0;
        oracle::every_world(&network, &evidence, |world, weight| {
            sum += if world.was[1..].iter().any(|was| *was) { 0.0 } else { weight };
        });
        sum / total
    };
    let engine = nothing_known(&network, &evidence, &believed, Some(0)).unwrap();
    far(engine, unknown).then(|| format!("nothing known {engine} and {unknown}"))
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 500, failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn every_outlook_is_the_brute_force_one(seed: u64) {
        let wrong = disagreement(seed);
        prop_assert!(wrong.is_none(), "{} for {:?}", wrong.unwrap_or_default(), small_networks::case(seed));
    }
}
