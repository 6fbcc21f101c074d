//! The belief agrees with brute force over every world to 1e-9.

use handlamp::belief::{BeliefError, Posterior, findings, posterior};
use proptest::prelude::*;

use crate::{oracle, small_networks};

/// What brute force says.
#[derive(Default)]
struct Sums {
    total: f64,
    was: Vec<f64>,
    now: Vec<f64>,
    happened: Vec<f64>,
    findings: Vec<Vec<f64>>,
}

fn brute(network: &handlamp::belief::Network, evidence: &handlamp::belief::Evidence) -> Sums {
    let mut sums = Sums {
        total: 0.0,
        was: vec![0.0; network.causes().len()],
        now: vec![0.0; network.causes().len()],
        happened: vec![0.0; network.circumstances().len()],
        findings: network.findings().iter().map(|f| vec![0.0; f.degrees + 1]).collect(),
    };
    oracle::every_world(network, evidence, |world, weight| {
        sums.total += weight;
        for cause in 0..network.causes().len() {
            sums.was[cause] += if world.was[cause] { weight } else { 0.0 };
            sums.now[cause] += if world.now(cause) { weight } else { 0.0 };
        }
        for (sum, happened) in sums.happened.iter_mut().zip(&world.happened) {
            *sum += weight * happened;
        }
        for (finding, degree) in world.degrees_now().into_iter().enumerate() {
            sums.findings[finding][degree] += weight;
        }
    });
    sums
}

fn close(engine: f64, brute: f64) -> bool {
    (engine - brute).abs() <= 1e-9 && (0.0..=1.0).contains(&engine)
}

fn disagreement(engine: &Posterior, findings: &[Vec<f64>], sums: &Sums) -> Option<String> {
    if (engine.ln_evidence - sums.total.ln()).abs() > 1e-9 {
        return Some(format!("ln evidence {} and {}", engine.ln_evidence, sums.total.ln()));
    }
    let mut pairs: Vec<(String, f64, f64)> = Vec::new();
    for (cause, presence) in engine.causes.iter().enumerate() {
        pairs.push((format!("cause {cause} was"), presence.was, sums.was[cause]));
        pairs.push((format!("cause {cause} now"), presence.now, sums.now[cause]));
    }
    for (index, happened) in engine.circumstances.iter().enumerate() {
        pairs.push((format!("circumstance {index}"), *happened, sums.happened[index]));
    }
    for (finding, degrees) in findings.iter().enumerate() {
        for (degree, p) in degrees.iter().enumerate() {
            pairs.push((format!("finding {finding} degree {degree}"), *p, sums.findings[finding][degree]));
        }
    }
    let wrong = pairs.into_iter().find(|(_, engine, brute)| !close(*engine, brute / sums.total));
    wrong.map(|(what, engine, brute)| format!("{what}: {engine} and {}", brute / sums.total))
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 600, failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn every_posterior_is_the_brute_force_one(seed: u64) {
        let (network, evidence) = small_networks::case(seed);
        let sums = brute(&network, &evidence);
        match posterior(&network, &evidence) {
            Ok(engine) => {
                let findings = findings(&network, &evidence).unwrap();
                prop_assert_eq!(findings.len(), network.findings().len());
                let wrong = disagreement(&engine, &findings, &sums);
                prop_assert!(wrong.is_none(), "{}\n{network:?}\n{evidence:?}", wrong.unwrap_or_default());
            }
            Err(BeliefError::Impossible { .. }) => prop_assert_eq!(sums.total, 0.0),
            Err(other) => prop_assert!(false, "{other}"),
        }
    }
}
