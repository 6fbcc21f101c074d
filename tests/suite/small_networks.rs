//! Random small networks and cases, from a seed, with everything that the belief knows in them.

use handlamp::belief::{Cause, Check, Circumstance, Evidence, Finding, Item, Link, Moment, Network, Parent};

use crate::dice::Dice;
use crate::oracle;

/// Most worlds that the brute force should have to visit.
const MOST_WORLDS: usize = 3_000;

/// A random case that the brute force can do.
pub(crate) fn case(seed: u64) -> (Network, Evidence) {
    let mut dice = Dice(seed);
    loop {
        let network = network(&mut dice);
        let evidence = evidence(&mut dice, &network);
        if oracle::size(&network, &evidence) <= MOST_WORLDS {
            return (network, evidence);
        }
    }
}

fn network(dice: &mut Dice) -> Network {
    let circumstances =
        (0..dice.below(3)).map(|_| Circumstance { usual: dice.between(0.05, 0.6) }).collect::<Vec<_>>();
    let causes = (0..=dice.below(3)).map(|_| cause(dice, circumstances.len())).collect::<Vec<_>>();
    let mut findings: Vec<Finding> = Vec::new();
    for _ in 0..=dice.below(4) {
        let finding = finding(dice, causes.len(), &findings);
        findings.push(finding);
    }
    Network::new(circumstances, causes, findings).unwrap()
}

fn cause(dice: &mut Dice, circumstances: usize) -> Cause {
    let after = (0..circumstances).filter(|_| dice.chance(0.6)).collect::<Vec<_>>();
    Cause {
        base: if dice.chance(0.1) { 0.0 } else { dice.between(0.01, 0.5) },
        after: after.into_iter().map(|index| (index, dice.between(0.05, 0.8))).collect(),
        catch: dice.chance(0.35).then(|| dice.between(0.1, 0.6)),
    }
}

fn finding(dice: &mut Dice, causes: usize, before: &[Finding]) -> Finding {
    let degrees = if dice.chance(0.3) { 2 } else { 1 };
    let mut parents: Vec<Link> = Vec::new();
    let candidates = (0..causes).map(Parent::Cause).chain((0..before.len()).map(Parent::Finding));
    for parent in candidates {
        let rows = match parent {
            Parent::Cause(_) => 1,
            Parent::Finding(index) => before[index].degrees,
        };
        if dice.chance(0.5) {
            let strength = (0..rows).map(|_| dice.falling(degrees, 0.05, 0.98)).collect();
            parents.push(Link { parent, strength });
        }
    }
    Finding {
        degrees,
        leak: if dice.chance(0.2) { vec![0.0; degrees] } else { dice.falling(degrees, 0.01, 0.3) },
        parents,
    }
}

fn evidence(dice: &mut Dice, network: &Network) -> Evidence {
    let count = 1 + dice.below(7);
    Evidence((0..count).map(|_| item(dice, network)).collect())
}

fn item(dice: &mut Dice, network: &Network) -> Item {
    let findings = network.findings().len();
    match dice.below(12) {
        0 if !network.circumstances().is_empty() => Item::Circumstance {
            index: dice.below(network.circumstances().len()),
            likelihood: [dice.unit(), dice.between(0.01, 1.0)],
        },
        1 | 2 => Item::Remedy { cause: dice.below(network.causes().len()), works: dice.between(0.2, 1.0) },
        3 => Item::Afresh { findings: dice.some_of(findings, 2) },
        4 => run(dice, network),
        _ => answer(dice, network),
    }
}

fn moment(dice: &mut Dice) -> Moment {
    [Moment::Bad, Moment::Good, Moment::Unknown][dice.below(3)]
}

fn answer(dice: &mut Dice, network: &Network) -> Item {
    let findings = dice.some_of(network.findings().len(), 3);
    let states: usize = findings.iter().map(|f| network.findings()[*f].degrees + 1).product();
    // One answer in four is hard: it rules states out.
    let hard = dice.chance(0.25);
    let kept = dice.below(states);
    let likelihood = (0..states)
        .map(|s| if hard && s != kept && dice.chance(0.7) { 0.0 } else { dice.between(0.02, 1.0) });
    let likelihood = likelihood.collect();
    Item::Answer { findings, likelihood, moment: moment(dice) }
}

fn run(dice: &mut Dice, network: &Network) -> Item {
    let findings = dice.some_of(network.findings().len(), 3);
    let mut combos: Vec<(Vec<usize>, f64)> = Vec::new();
    for _ in 0..dice.below(4) {
        let states: Vec<usize> =
            findings.iter().map(|f| dice.below(network.findings()[*f].degrees + 1)).collect();
        if combos.iter().all(|(other, _)| *other != states) {
            combos.push((states, dice.between(0.01, 1.0)));
        }
    }
    Item::Run { findings, floor: 0.001, combos, moment: moment(dice) }
}

/// An open check with two or three outcomes.
pub(crate) fn check(dice: &mut Dice, network: &Network) -> Check {
    let findings = dice.some_of(network.findings().len(), 2);
    let states: usize = findings.iter().map(|f| network.findings()[*f].degrees + 1).product();
    let mut outcomes: Vec<Vec<f64>> =
        (0..2 + dice.below(2)).map(|_| (0..states).map(|_| dice.between(0.01, 1.0)).collect()).collect();
    for state in 0..states {
        let total: f64 = outcomes.iter().map(|outcome| outcome[state]).sum();
        for outcome in &mut outcomes {
            outcome[state] /= total;
        }
    }
    Check { findings, outcomes, moment: moment(dice) }
}
