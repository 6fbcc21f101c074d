//! Random networks of up to 40 causes and 60 findings, from a seed, too large for brute force: what an outside library is asked about.

use handlamp::belief::{Cause, Circumstance, Evidence, Finding, Item, Link, Moment, Network, Parent};

use crate::dice::Dice;

/// A random network and case. Every third is in two layers with hard answers, the rest have all that the belief knows.
pub(crate) fn case(seed: u64) -> (Network, Evidence) {
    let mut dice = Dice(seed.wrapping_mul(1_000_003));
    let network = network(&mut dice, seed.is_multiple_of(3));
    let evidence = evidence(&mut dice, &network, seed.is_multiple_of(3));
    (network, evidence)
}

fn network(dice: &mut Dice, two_layers: bool) -> Network {
    let circumstances =
        (0..dice.below(7)).map(|_| Circumstance { usual: dice.between(0.02, 0.5) }).collect::<Vec<_>>();
    let causes = (0..10 + dice.below(31)).map(|_| cause(dice, circumstances.len())).collect::<Vec<Cause>>();
    let mut findings: Vec<Finding> = Vec::new();
    for _ in 0..10 + dice.below(51) {
        let above = if two_layers { &[] } else { findings.as_slice() };
        let finding = finding(dice, causes.len(), above);
        findings.push(finding);
    }
    Network::new(circumstances, causes, findings).unwrap()
}

fn cause(dice: &mut Dice, circumstances: usize) -> Cause {
    let after: Vec<usize> = (0..circumstances).filter(|_| dice.chance(0.2)).collect();
    Cause {
        base: dice.between(0.001, 0.06),
        after: after.into_iter().map(|index| (index, dice.between(0.01, 0.3))).collect(),
        catch: dice.chance(0.15).then_some(0.2),
    }
}

/// One to five parents among the causes; in a layered network one of them may be an earlier finding.
fn finding(dice: &mut Dice, causes: usize, above: &[Finding]) -> Finding {
    let degrees = if dice.chance(0.25) { 2 } else { 1 };
    let mut parents: Vec<Parent> = dice.some_of(causes, 5).into_iter().map(Parent::Cause).collect();
    if !above.is_empty() && dice.chance(0.3) {
        parents[0] = Parent::Finding(dice.below(above.len()));
    }
    let links = parents.into_iter().map(|parent| {
        let rows = match parent {
            Parent::Cause(_) => 1,
            Parent::Finding(index) => above[index].degrees,
        };
        Link { parent, strength: (0..rows).map(|_| dice.falling(degrees, 0.05, 0.98)).collect() }
    });
    let parents = links.collect();
    Finding { degrees, leak: dice.falling(degrees, 0.002, 0.05), parents }
}

fn evidence(dice: &mut Dice, network: &Network, hard: bool) -> Evidence {
    let mut items = Vec::new();
    for index in 0..network.circumstances().len() {
        if dice.chance(0.4) {
            items.push(Item::Circumstance { index, likelihood: [0.03, 0.95] });
        }
    }
    for _ in 0..dice.below(13) {
        items.push(answer(dice, network, hard));
    }
    if !hard && dice.chance(0.5) {
        items.push(run(dice, network));
    }
    if !hard && dice.chance(0.3) {
        items
            .push(Item::Remedy { cause: dice.below(network.causes().len()), works: dice.between(0.3, 0.95) });
        items.extend((0..dice.below(4)).map(|_| answer(dice, network, false)));
    }
    Evidence(items)
}

fn moment(dice: &mut Dice) -> Moment {
    [Moment::Bad, Moment::Bad, Moment::Good, Moment::Unknown][dice.below(4)]
}

fn answer(dice: &mut Dice, network: &Network, hard: bool) -> Item {
    let findings = dice.some_of(network.findings().len(), if hard { 1 } else { 2 });
    let states: usize = findings.iter().map(|f| network.findings()[*f].degrees + 1).product();
    let seen = dice.below(states);
    let chance = |state| if state == seen { 1.0 } else { 0.0 };
    let likelihood = (0..states).map(|s| if hard { chance(s) } else { dice.between(0.02, 1.0) }).collect();
    Item::Answer { findings, likelihood, moment: if hard { Moment::Bad } else { moment(dice) } }
}

fn run(dice: &mut Dice, network: &Network) -> Item {
    let findings = dice.some_of(network.findings().len(), 6);
    let mut combos: Vec<(Vec<usize>, f64)> = Vec::new();
    for _ in 0..=dice.below(8) {
        let states: Vec<usize> =
            findings.iter().map(|f| dice.below(network.findings()[*f].degrees + 1)).collect();
        if combos.iter().all(|(other, _)| *other != states) {
            combos.push((states, dice.between(0.01, 1.0)));
        }
    }
    Item::Run { findings, floor: 0.001, combos, moment: moment(dice) }
}
