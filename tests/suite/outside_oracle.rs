//! A general-purpose Bayesian-network library agrees with the engine to 1e-9. `tests/oracle/compare.py` asks it; what it said is recorded
//! with the networks it was asked about, so that every run of the tests holds the engine to it.

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};

use handlamp::belief::{
    BeliefError, Believed, Cause, Circumstance, Evidence, Finding, Network, Plain, nothing_known, plain,
    posterior,
};
use handlamp::render::{json, xmlbif};
use handlamp::view::network::{Names, describe};
use serde::Deserialize;

use crate::large_networks;
use crate::tool::Tool;

/// So many random networks the library is asked about.
const RANDOM: usize = 200;
/// The cases that it is asked about. None has a run of fills: on this book such a run ties together more than a junction tree can hold.
const CASES: &[&str] = &[
    "tests/faults/bench-scale-disagrees.yaml",
    "tests/faults/climbs-with-a-bag-in-it.yaml",
    "tests/faults/left-in-hand-mode.yaml",
    "tests/faults/liner-in-the-tray.yaml",
    "tests/faults/second-tray-wakes-late.yaml",
    "tests/faults/silly-readings-since-the-truck.yaml",
];

#[derive(Deserialize)]
struct Recorded {
    /// The networks of the shipped knowledge when it was recorded.
    networks: Vec<Parts>,
    cases: Vec<Case>,
    random: Vec<Random>,
}

#[derive(Deserialize)]
struct Parts {
    circumstances: Vec<Circumstance>,
    causes: Vec<Cause>,
    findings: Vec<Finding>,
}

#[derive(Deserialize)]
struct Case {
    title: String,
    /// Its place in the networks.
    network: usize,
    evidence: Evidence,
    #[serde(flatten)]
    said: Said,
}

#[derive(Deserialize)]
struct Random {
    seed: u64,
    #[serde(flatten)]
    said: Said,
}

/// What the library said.
#[derive(Deserialize)]
struct Said {
    posterior: BTreeMap<String, Vec<f64>>,
    ln_observed: f64,
    nothing_known: f64,
}

fn close(a: f64, b: f64) -> bool {
    (a - b).abs() <= 1e-9
}

fn hold(title: &str, plain: &Plain, believed: &Believed, said: &Said) {
    let place = |id: &str| plain.variables.iter().position(|variable| variable.id == id);
    for (id, states) in &said.posterior {
        let engine = &believed.states[&place(id).unwrap_or_else(|| panic!("{title}: no variable {id}"))];
        let agree = engine.len() == states.len() && engine.iter().zip(states).all(|(a, b)| close(*a, *b));
        assert!(agree, "{title}: {id} is {engine:?} here and {states:?} outside");
    }
    assert!(close(believed.ln_observed, said.ln_observed), "{title}: the chance of the evidence");
    assert!(close(believed.nothing_known, said.nothing_known), "{title}: nothing known");
}

fn recorded() -> Recorded {
    serde_json::from_str(include_str!("../oracle/recorded.json")).unwrap()
}

#[test]
fn the_outside_library_agreed_on_the_shipped_knowledge_without_a_case_and_with_cases() {
    let recorded = recorded();
    let networks: Vec<Network> = recorded
        .networks
        .into_iter()
        .map(|parts| Network::new(parts.circumstances, parts.causes, parts.findings).unwrap())
        .collect();
    assert!(recorded.cases.iter().filter(|case| case.evidence.0.is_empty()).count() >= 2, "two machines");
    assert!(recorded.cases.iter().filter(|case| case.evidence.0.len() >= 3).count() >= 4, "cases");
    for Case { title, network, evidence, said } in &recorded.cases {
        let network = &networks[*network];
        let plain = plain(network, evidence).unwrap();
        let believed = plain.believed(network, evidence, network.causes().len().checked_sub(1)).unwrap();
        assert!(said.posterior.len() >= network.causes().len() + network.circumstances().len(), "{title}");
        hold(title, &plain, &believed, said);
    }
}

#[test]
fn the_outside_library_agreed_on_random_networks() {
    let recorded = recorded();
    assert_eq!(recorded.random.len(), RANDOM);
    for Random { seed, said } in &recorded.random {
        let (network, evidence) = large_networks::case(*seed);
        let believed = posterior(&network, &evidence).unwrap();
        assert_eq!(said.posterior.len(), network.causes().len());
        for (index, presence) in believed.causes.iter().enumerate() {
            let outside = said.posterior[&format!("c_{:04}", index + 1)][1];
            assert!(close(presence.was, outside), "seed {seed}: cause {index} is not {outside}");
        }
        let nothing = nothing_known(&network, &evidence, &believed, None).unwrap();
        assert!(close(nothing, said.nothing_known), "seed {seed}: nothing known");
    }
}

/// Writes the networks that the outside library is asked about into the folder that `HANDLAMP_ORACLE_NETWORKS` names.
#[test]
#[ignore = "compare.py calls it"]
fn networks_are_written_for_the_outside_library() {
    let folder = PathBuf::from(std::env::var("HANDLAMP_ORACLE_NETWORKS").expect("a folder to write to"));
    write_shipped(&folder);
    let mut written = 0;
    for seed in 0..2 * RANDOM as u64 {
        written += usize::from(write_random(&folder, seed));
        if written == RANDOM {
            return;
        }
    }
    panic!("only {written} of the random networks have an exact answer");
}

/// Through the program: every machine, and every case.
fn write_shipped(folder: &Path) {
    let tool = Tool::built_in(80);
    let stem = |file: &str| Path::new(file).file_stem().unwrap().to_str().unwrap().to_owned();
    let machines = std::fs::read_dir("knowledge/machines").unwrap();
    let machines = machines.map(|entry| stem(entry.unwrap().file_name().to_str().unwrap()));
    let machines = machines.map(|machine| (machine.clone(), ["--machine".to_owned(), machine]));
    let cases = CASES.iter().map(|file| (stem(file), ["--answers".to_owned(), (*file).to_owned()]));
    for (name, [how, what]) in machines.chain(cases) {
        for (format, ending) in [("json", "json"), ("xmlbif", "bifxml")] {
            let said = tool.run(&["knowledge", "export", &how, &what, "--format", format]);
            assert_eq!(said.status, Some(0), "{name}: {}", said.err);
            std::fs::write(folder.join(format!("{name}.{ending}")), said.out).unwrap();
        }
    }
}

/// Whether there is an exact answer.
fn write_random(folder: &Path, seed: u64) -> bool {
    let (network, evidence) = large_networks::case(seed);
    let plain = plain(&network, &evidence).unwrap();
    let believed = match plain.believed(&network, &evidence, None) {
        Ok(believed) => believed,
        Err(BeliefError::Impossible { .. } | BeliefError::TooLarge { .. }) => return false,
        Err(other) => panic!("{other}"),
    };
    let described = describe(&plain, &Names::default());
    let title = seed.to_string();
    let answer = json::network(&title, &plain, &described, &believed, (&network, &evidence));
    std::fs::write(folder.join(format!("{title}.json")), json::exact_text(&answer).unwrap()).unwrap();
    let text = xmlbif::xmlbif(&title, &plain, &described);
    std::fs::write(folder.join(format!("{title}.bifxml")), text).unwrap();
    true
}
