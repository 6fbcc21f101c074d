//! A simulated fleet: an author's numbers, the true ones that differ from them by factors of up to three, and its calls.

use std::collections::{BTreeMap, BTreeSet};

use handlamp::belief::{self, Cause, Check, Evidence, Finding, Item, Link, Moment, Network, Parent};
use handlamp::learn::{Layout, Past, Sensor, Tally, Trial, learn};
use handlamp::rehearse::{Nameable, World};
use handlamp::weights::generate::Dice;

/// A symptom is named when it is there, and when it is not, with these chances.
const SAID: (f64, f64) = (0.8, 0.01);
/// Checks answered in a call.
const CHECKS: usize = 6;
/// Cases that the score is taken over.
const HELD_OUT: usize = 400;

/// Numbers of one machine.
#[derive(Clone)]
pub(crate) struct Numbers {
    pub(crate) network: Network,
    pub(crate) sensors: Vec<Sensor>,
}

pub(crate) struct Fleet {
    pub(crate) author: Numbers,
    pub(crate) truth: Numbers,
    seed: u64,
}

/// Mean log score of the cause that was behind it, on the same held-out cases.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Scores {
    pub(crate) author: f64,
    pub(crate) learned: f64,
    /// With only those numbers learned that would be proposed.
    pub(crate) proposed: f64,
    pub(crate) truth: f64,
}

/// A call that was closed: how it is learned from, and what was behind it.
struct Call {
    past: Past,
    behind: usize,
}

fn by_odds(dice: &mut Dice, p: f64) -> f64 {
    let odds = p / (1.0 - p) * factor(dice);
    (odds / (1.0 + odds)).clamp(0.005, 0.99)
}

fn factor(dice: &mut Dice) -> f64 {
    ((2.0 * dice.even() - 1.0) * 3.0_f64.ln()).exp()
}

impl Fleet {
    pub(crate) fn new(causes: usize, seed: u64) -> Self {
        let mut dice = Dice::new(seed.wrapping_mul(7919).wrapping_add(causes as u64));
        let author = author(causes, &mut dice);
        let truth = truth(&author, &mut dice);
        Self { author, truth, seed: dice.bits() }
    }

    fn symptoms(&self) -> Vec<usize> {
        let conditions = self.author.network.causes().len() / 3;
        (conditions..self.author.network.findings().len()).collect()
    }

    /// P(a symptom that is there is named), by finding.
    pub(crate) fn called(&self) -> BTreeMap<usize, f64> {
        self.symptoms().into_iter().map(|finding| (finding, SAID.0)).collect()
    }

    fn call(&self, number: u64) -> Call {
        let mut dice = Dice::new(self.seed ^ number.wrapping_mul(0x9e37_79b9_7f4a_7c15));
        let nameable: Vec<Nameable> = self
            .symptoms()
            .into_iter()
            .map(|finding| Nameable { finding, hit: SAID.0, alarm: SAID.1 })
            .collect();
        let world = World::called_about(&self.truth.network, &nameable, dice.bits()).expect("somebody calls");
        let behind = world.behind();
        let behind = behind[dice.below(behind.len())];
        let mut items: Vec<Item> = world.named.iter().map(|&finding| told(finding)).collect();
        let mut trials = Vec::new();
        for finding in self.asked(&items, &world.named, &mut dice) {
            let sensor = self.truth.sensors[finding];
            let (outcome, _) = world.answer(&check(sensor), &format!("check {finding}"), 0);
            let yes = outcome == 1;
            items.push(answer(self.author.sensors[finding], yes));
            trials.push(Trial { sensor: finding, yes });
        }
        let proved = if dice.chance(0.8) { BTreeSet::from([behind]) } else { BTreeSet::new() };
        let named = world.named.iter().copied().collect();
        Call { past: Past { evidence: Evidence(items), named, trials, proved }, behind }
    }

    /// What is asked: findings that the likeliest causes bring about, by the author's numbers.
    fn asked(&self, items: &[Item], named: &[usize], dice: &mut Dice) -> Vec<usize> {
        let network = &self.author.network;
        let posterior = belief::posterior(network, &Evidence(items.to_vec())).expect("it can be weighed");
        let mut order: Vec<usize> = (0..network.causes().len()).collect();
        order.sort_by(|a, b| posterior.causes[*b].was.total_cmp(&posterior.causes[*a].was));
        let likely: BTreeSet<usize> = order.into_iter().take(6).collect();
        let mut wanted: Vec<(u64, usize)> = Vec::new();
        for (index, finding) in network.findings().iter().enumerate() {
            let leads = |link: &Link| matches!(link.parent, Parent::Cause(cause) if likely.contains(&cause));
            if finding.parents.iter().any(leads) && !named.contains(&index) {
                wanted.push((dice.bits(), index));
            }
        }
        wanted.sort_unstable();
        wanted.into_iter().take(CHECKS).map(|(_, finding)| finding).collect()
    }

    /// The mean log score of each set of numbers after learning from so many cases.
    pub(crate) fn scores(&self, counts: &[usize]) -> Vec<Scores> {
        let most = counts.iter().copied().max().unwrap_or(0);
        let calls: Vec<Call> = (0..most).map(|number| self.call(number as u64)).collect();
        let held: Vec<Call> = (0..HELD_OUT).map(|number| self.call(1_000_000 + number as u64)).collect();
        let score = |numbers: &Numbers| {
            held.iter().map(|call| log_score(numbers, call)).sum::<f64>() / held.len() as f64
        };
        let (author, truth) = (score(&self.author), score(&self.truth));
        let called = self.called();
        let expected = vec![1.0; self.author.network.causes().len()];
        let after = |count: &usize| {
            let past: Vec<Past> = calls[..*count].iter().map(|call| call.past.clone()).collect();
            let (network, sensors) = (&self.author.network, self.author.sensors.as_slice());
            let layout = Layout::of(network, &past, 1);
            let learned =
                learn(network, sensors, &layout, &called, &expected).expect("it can be learned from");
            let proposed = learned.only((network, sensors), Tally::differs).expect("a network");
            let numbers = Numbers { network: learned.network, sensors: learned.sensors };
            let proposed = Numbers { network: proposed.0, sensors: proposed.1 };
            Scores { author, learned: score(&numbers), proposed: score(&proposed), truth }
        };
        counts.iter().map(after).collect()
    }
}

fn told(finding: usize) -> Item {
    Item::Answer { findings: vec![finding], likelihood: vec![SAID.1, SAID.0], moment: Moment::Bad }
}

fn answer(sensor: Sensor, yes: bool) -> Item {
    let row = |p: f64| if yes { p } else { 1.0 - p };
    let likelihood = vec![row(sensor.alarm), row(sensor.hit)];
    Item::Answer { findings: vec![sensor.finding], likelihood, moment: Moment::Bad }
}

fn check(sensor: Sensor) -> Check {
    let yes = vec![sensor.alarm, sensor.hit];
    let no = yes.iter().map(|p| 1.0 - p).collect();
    Check { findings: vec![sensor.finding], outcomes: vec![no, yes], moment: Moment::Bad }
}

/// ln of the share of what was behind it, by these numbers.
fn log_score(numbers: &Numbers, call: &Call) -> f64 {
    let mut items: Vec<Item> = call.past.named.iter().map(|&finding| told(finding)).collect();
    items.extend(call.past.trials.iter().map(|trial| answer(numbers.sensors[trial.sensor], trial.yes)));
    let posterior = belief::posterior(&numbers.network, &Evidence(items)).expect("it can be weighed");
    let all: f64 = posterior.causes.iter().map(|cause| cause.was).sum();
    (posterior.causes[call.behind].was / all).max(1e-6).ln()
}

/// A book of so many causes: a third as many conditions, and symptoms for the rest.
fn author(causes: usize, dice: &mut Dice) -> Numbers {
    let rates: Vec<f64> = (0..causes).map(|_| [0.060, 0.025, 0.008, 0.002][dice.below(4)]).collect();
    let all: f64 = rates.iter().sum();
    let network_causes =
        rates.iter().map(|rate| Cause { base: rate / all, after: Vec::new(), catch: None }).collect();
    let (conditions, findings) = (causes / 3, causes);
    let mut parents: Vec<Vec<Link>> = vec![Vec::new(); findings];
    let word = |dice: &mut Dice| [0.3, 0.6, 0.85][dice.below(3)];
    let mut lead = |parent: Parent, child: usize, dice: &mut Dice| {
        if !parents[child].iter().any(|link| link.parent == parent) {
            parents[child].push(Link { parent, strength: vec![vec![word(dice)]] });
        }
    };
    for cause in 0..causes {
        lead(Parent::Cause(cause), dice.below(conditions), dice);
        for _ in 0..=dice.below(3) {
            lead(Parent::Cause(cause), conditions + dice.below(findings - conditions), dice);
        }
    }
    for condition in 0..conditions {
        for _ in 0..=dice.below(2) {
            lead(Parent::Finding(condition), conditions + dice.below(findings - conditions), dice);
        }
    }
    let findings: Vec<Finding> =
        parents.into_iter().map(|parents| Finding { degrees: 1, leak: vec![0.01], parents }).collect();
    let sensors = (0..findings.len())
        .map(|finding| {
            let (hit, alarm) = [(0.8, 0.1), (0.9, 0.05), (0.97, 0.02)][dice.below(3)];
            Sensor { finding, hit, alarm }
        })
        .collect();
    Numbers { network: Network::new(Vec::new(), network_causes, findings).expect("a network"), sensors }
}

fn truth(author: &Numbers, dice: &mut Dice) -> Numbers {
    let mut causes: Vec<Cause> = author.network.causes().to_vec();
    causes.iter_mut().for_each(|cause| cause.base = (cause.base * factor(dice)).min(0.3));
    let mut findings: Vec<Finding> = author.network.findings().to_vec();
    for link in findings.iter_mut().flat_map(|finding| &mut finding.parents) {
        link.strength[0][0] = by_odds(dice, link.strength[0][0]);
    }
    let sensors = author
        .sensors
        .iter()
        .map(|sensor| {
            let (hit, alarm) = (by_odds(dice, sensor.hit), by_odds(dice, sensor.alarm));
            Sensor { hit, alarm, ..*sensor }
        })
        .collect();
    Numbers { network: Network::new(Vec::new(), causes, findings).expect("a network"), sensors }
}
