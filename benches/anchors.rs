//! The sums that the belief is held to, each on a network and a case from a seed: `cargo bench --bench anchors`. Causes are drawn
//! first, then findings, and what is seen is picked from those. Arguments are seeds.

use std::path::Path;

use divan::{Bencher, black_box};
use handlamp::belief::{Evidence, Item, Moment, Network, Reach, leading, outlook, posterior, predict};
use handlamp::casebook;
use handlamp::knowledge::{Texts, load};
use handlamp::walk::{Desk, gather};

#[expect(dead_code, reason = "the tests roll more of them")]
#[path = "../tests/suite/dice.rs"]
mod dice;
#[path = "../tests/suite/drawn.rs"]
mod drawn;

use dice::Dice;

const SEEDS: [u64; 5] = [1, 2, 3, 4, 5];
const CONDITIONS: usize = 25;

fn main() {
    divan::main();
}

fn marginals(bencher: Bencher<'_, '_>, (network, evidence): (Network, Evidence)) {
    if let Err(error) = posterior(&network, &evidence) {
        panic!("{error}");
    }
    bencher.bench_local(|| posterior(black_box(&network), &evidence));
}

fn two_layers(seed: u64, normal: usize) -> (Network, Evidence) {
    let mut dice = Dice(seed);
    let network = drawn::two_layers(&mut dice, [40, 60], 1..=5);
    let evidence = drawn::case(&mut dice, &network, 10, normal);
    (network, evidence)
}

fn layered(seed: u64, run: bool) -> (Network, Evidence) {
    let mut dice = Dice(seed);
    let network = drawn::layered(&mut dice, [40, CONDITIONS, 60]);
    let evidence = drawn::layered_case(&mut dice, &network, CONDITIONS, run);
    (network, evidence)
}

/// 40 causes, 60 findings, up to 5 parents, 10 abnormal. At most 1 ms.
#[divan::bench(args = SEEDS)]
fn a_two_layers_10_abnormal(bencher: Bencher<'_, '_>, seed: u64) {
    marginals(bencher, two_layers(seed, 0));
}

/// The same with 10 normal. At most 1 ms.
#[divan::bench(args = SEEDS)]
fn b_two_layers_10_and_10(bencher: Bencher<'_, '_>, seed: u64) {
    marginals(bencher, two_layers(seed, 10));
}

/// 40 causes, 25 conditions, 60 findings, three degrees, 8 abnormal, 15 normal, 6 soft, two remedies. At most 5 ms.
#[divan::bench(args = SEEDS)]
fn c_layered(bencher: Bencher<'_, '_>, seed: u64) {
    marginals(bencher, layered(seed, false));
}

/// The same with a run of fills over 11 findings, 50 combinations. At most 100 ms; it is sampled, which takes far longer.
#[divan::bench(args = [1], sample_count = 1, sample_size = 1)]
fn d_layered_with_a_run(bencher: Bencher<'_, '_>, seed: u64) {
    marginals(bencher, layered(seed, true));
}

/// 120 causes, 300 findings, 15 abnormal, 20 normal. At most 20 ms.
#[divan::bench(args = SEEDS)]
fn e_120_causes_15_abnormal(bencher: Bencher<'_, '_>, seed: u64) {
    let mut dice = Dice(seed);
    let network = drawn::two_layers(&mut dice, [120, 300], 1..=5);
    let evidence = drawn::case(&mut dice, &network, 15, 20);
    marginals(bencher, (network, evidence));
}

/// 40 causes, 60 findings, 12 to 15 parents, 10 abnormal. At most 20 ms.
#[divan::bench(args = SEEDS)]
fn f_wide_findings(bencher: Bencher<'_, '_>, seed: u64) {
    let mut dice = Dice(seed);
    let network = drawn::two_layers(&mut dice, [40, 60], 12..=15);
    let evidence = drawn::case(&mut dice, &network, 10, 0);
    marginals(bencher, (network, evidence));
}

/// 600 causes, 4,000 findings, 76 arcs a cause, 12 abnormal, 60 normal. At most 50 ms.
#[divan::bench(args = SEEDS)]
fn g_600_causes_4000_findings(bencher: Bencher<'_, '_>, seed: u64) {
    let mut dice = Dice(seed);
    let network = drawn::dense(&mut dice, [600, 4000], 76);
    let evidence = drawn::case(&mut dice, &network, 12, 60);
    marginals(bencher, (network, evidence));
}

/// What 40 open checks would answer, on 40 × 60 with 10 and 10. At most 50 ms.
#[divan::bench(args = SEEDS)]
fn h_predictions_of_40_checks(bencher: Bencher<'_, '_>, seed: u64) {
    let (network, evidence) = two_layers(seed, 10);
    let checks = drawn::open_checks(&network, &evidence, 40);
    bencher.bench_local(|| predict(black_box(&network), &evidence, &checks));
}

/// The same for each leading combination, as the planner asks it. At most 50 ms.
#[divan::bench(args = SEEDS)]
fn i_outlook_of_40_checks(bencher: Bencher<'_, '_>, seed: u64) {
    let (network, evidence) = two_layers(seed, 10);
    let checks = drawn::open_checks(&network, &evidence, 40);
    let believed = posterior(&network, &evidence).expect("a drawn case is possible");
    let combinations = leading(&network, &evidence, &believed, Reach::default()).expect("it can be weighed");
    bencher.bench_local(|| outlook(black_box(&network), &evidence, &combinations, &checks, &[0]));
}

/// The shipped knowledge after the example call with its run and more answers, 16 in all, each drawn from what is then
/// believed. At most 10 ms.
fn shipped(seed: u64) -> (Network, Evidence) {
    let knowledge = load(&Texts::built_in()).0;
    let call = casebook::read_path(Path::new("tests/faults/light-bags.yaml"), &knowledge);
    let case = call.expect("the call reads").case;
    let desk = Desk::for_case(&knowledge, &case).expect("the machine is known");
    let gathered = gather(&desk, &case);
    let mut evidence = gathered.evidence.clone();
    let soft = |evidence: &Evidence| {
        evidence.0.iter().filter(|i| matches!(i, Item::Answer { .. } | Item::Circumstance { .. })).count()
    };
    let mut dice = Dice(seed);
    let mut open: Vec<_> =
        desk.model.tables.iter().filter(|(id, _)| !gathered.answered.contains_key(*id)).collect();
    while soft(&evidence) < 16 && !open.is_empty() {
        let (_, table) = open.remove(dice.below(open.len()));
        let moment = [Moment::Bad, Moment::Unknown][dice.below(2)];
        let check = handlamp::belief::Check {
            findings: table.findings.clone(),
            outcomes: table.likelihoods.clone(),
            moment,
        };
        let Ok(chances) = predict(&desk.model.network, &evidence, &[check]) else { continue };
        let mut level = dice.unit();
        let outcome = chances[0].iter().position(|p| {
            level -= p;
            level < 0.0
        });
        let likelihood = table.likelihoods[outcome.unwrap_or(0)].clone();
        evidence.0.push(Item::Answer { findings: table.findings.clone(), likelihood, moment });
    }
    (desk.model.network.clone(), evidence)
}

#[divan::bench(args = SEEDS)]
fn j_shipped_16_answers_and_a_run(bencher: Bencher<'_, '_>, seed: u64) {
    marginals(bencher, shipped(seed));
}
