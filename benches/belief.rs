//! The sums behind one step of a diagnosis, on a seeded network of the size of one machine: 20 causes, 16 findings, 30 open
//! checks, ten answers, a run of fills with 30 combinations, and a remedy done.

use divan::{Bencher, black_box};
use handlamp::belief::{
    Cause, Check, Circumstance, Evidence, Finding, Item, Link, Moment, Network, Parent, Reach, leading,
    outlook, posterior, readings,
};

fn main() {
    divan::main();
}

/// splitmix64 (Steele and others 2014).
struct Dice(u64);

impl Dice {
    fn next(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        z ^ (z >> 31)
    }

    fn below(&mut self, count: usize) -> usize {
        (self.next() % count as u64) as usize
    }

    fn pick(&mut self, from: &[f64]) -> f64 {
        from[self.below(from.len())]
    }
}

const CAUSES: usize = 20;
const FINDINGS: usize = 16;

fn network(dice: &mut Dice) -> Network {
    let circumstances = (0..6).map(|_| Circumstance { usual: dice.pick(&[0.1, 0.2, 0.3]) }).collect();
    let causes = (0..CAUSES).map(|index| Cause {
        base: dice.pick(&[0.0005, 0.002, 0.008, 0.025, 0.06]),
        after: (0..2).map(|step| ((index + step * 3) % 6, dice.pick(&[0.025, 0.06]))).collect(),
        catch: (index % 10 == 9).then_some(0.2),
    });
    let causes = causes.collect();
    let findings = (0..FINDINGS).map(|index| finding(dice, index)).collect();
    Network::new(circumstances, causes, findings).unwrap_or_else(|error| unreachable!("{error}"))
}

/// Five conditions, then symptoms of two to four causes and up to one condition.
fn finding(dice: &mut Dice, index: usize) -> Finding {
    let strengths = [0.98, 0.85, 0.6, 0.3, 0.08];
    let first = dice.below(CAUSES);
    let mut parents: Vec<Link> = (0..2 + dice.below(3))
        .map(|step| Link {
            parent: Parent::Cause((first + step * 7) % CAUSES),
            strength: vec![vec![dice.pick(&strengths)]],
        })
        .collect();
    if index >= 5 && dice.below(2) == 0 {
        parents.push(Link {
            parent: Parent::Finding(dice.below(5)),
            strength: vec![vec![dice.pick(&strengths)]],
        });
    }
    Finding { degrees: 1, leak: vec![0.01], parents }
}

fn evidence(dice: &mut Dice, run: bool) -> Evidence {
    let mut items = vec![Item::Circumstance { index: 0, likelihood: [0.03, 0.95] }];
    if run {
        let findings: Vec<usize> = (8..16).collect();
        let mut combos: Vec<(Vec<usize>, f64)> = Vec::new();
        for set in (0..1usize << findings.len()).filter(|set| set.count_ones() <= 2).take(30) {
            combos.push(((0..8).map(|bit| set >> bit & 1).collect(), dice.pick(&[0.002, 0.02, 0.3, 1.0])));
        }
        items.push(Item::Run { findings, floor: 0.001, combos, moment: Moment::Bad });
    }
    for step in 0..10 {
        let findings = if step % 3 == 2 { vec![step, step + 5] } else { vec![dice.below(FINDINGS)] };
        let states = 1 << findings.len();
        let likelihood = (0..states).map(|_| dice.pick(&[0.02, 0.1, 0.5, 0.9])).collect();
        items.push(Item::Answer { findings, likelihood, moment: [Moment::Bad, Moment::Unknown][step % 2] });
        if step == 6 {
            items.push(Item::Remedy { cause: 3, works: 0.85 });
        }
    }
    Evidence(items)
}

fn checks(dice: &mut Dice) -> Vec<Check> {
    let check = |index: usize| {
        let findings =
            if index.is_multiple_of(3) { vec![index % 8, 8 + index % 7] } else { vec![dice.below(FINDINGS)] };
        let abnormal: Vec<f64> =
            (0..1 << findings.len()).map(|state: usize| [0.05, 0.9, 0.9, 0.97][state]).collect();
        let normal = abnormal.iter().map(|p| 1.0 - p).collect();
        Check { findings, outcomes: vec![normal, abnormal], moment: Moment::Bad }
    };
    (0..30).map(check).collect()
}

const RUN: [bool; 2] = [false, true];

fn case(run: bool) -> (Network, Evidence, Vec<Check>) {
    let mut dice = Dice(2026);
    let network = network(&mut dice);
    let evidence = evidence(&mut dice, run);
    let checks = checks(&mut dice);
    (network, evidence, checks)
}

#[divan::bench(args = RUN)]
fn one_posterior(bencher: Bencher, run: bool) {
    let (network, evidence, _) = case(run);
    bencher.bench(|| posterior(black_box(&network), &evidence));
}

#[divan::bench(args = RUN)]
fn leading_combinations(bencher: Bencher, run: bool) {
    let (network, evidence, _) = case(run);
    let Ok(believed) = posterior(&network, &evidence) else { return };
    bencher.bench(|| leading(black_box(&network), &evidence, &believed, Reach::default()));
}

#[divan::bench(args = RUN)]
fn outlook_of_thirty_checks(bencher: Bencher, run: bool) {
    let (network, evidence, checks) = case(run);
    let Ok(believed) = posterior(&network, &evidence) else { return };
    let combinations = leading(&network, &evidence, &believed, Reach::default()).unwrap_or_default();
    bencher.bench(|| outlook(black_box(&network), &evidence, &combinations, &checks, &[8, 9]));
}

#[divan::bench(args = RUN)]
fn why_and_conflict(bencher: Bencher, run: bool) {
    let (network, evidence, _) = case(run);
    let Ok(believed) = posterior(&network, &evidence) else { return };
    bencher.bench(|| readings(black_box(&network), &evidence, &believed, &[0, 1, 2]));
}
