//! Networks of given shapes, and cases drawn from them: causes first, then findings, then what is seen of those. What the benches
//! measure, and what is too large for brute force.

use std::ops::RangeInclusive;

use handlamp::belief::{Cause, Check, Circumstance, Evidence, Finding, Item, Link, Moment, Network, Parent};

use crate::dice::Dice;

/// Degrees above normal in a network with conditions: normal, some, much.
const DEGREES: usize = 2;

fn causes(dice: &mut Dice, count: usize, after: usize) -> Vec<Cause> {
    let cause = |dice: &mut Dice| Cause {
        base: dice.between(0.005, 0.05),
        after: if after == 0 { Vec::new() } else { vec![(dice.below(after), dice.between(0.02, 0.1))] },
        catch: None,
    };
    (0..count).map(|_| cause(dice)).collect()
}

fn finding(dice: &mut Dice, degrees: usize, parents: Vec<Parent>) -> Finding {
    let mut link = |parent| {
        let rows = if matches!(parent, Parent::Cause(_)) { 1 } else { degrees };
        let mut strength: Vec<Vec<f64>> = (0..rows).map(|_| dice.falling(degrees, 0.1, 0.95)).collect();
        strength.sort_by(|a, b| a[0].total_cmp(&b[0]));
        Link { parent, strength }
    };
    let parents = parents.into_iter().map(&mut link).collect();
    Finding { degrees, leak: dice.falling(degrees, 0.002, 0.03), parents }
}

/// Different ones of so many.
fn chosen(dice: &mut Dice, of: usize, count: usize) -> Vec<usize> {
    let mut chosen: Vec<usize> = Vec::new();
    while chosen.len() < count.min(of) {
        let next = dice.below(of);
        if !chosen.contains(&next) {
            chosen.push(next);
        }
    }
    chosen
}

/// Causes over yes/no findings, each with so many parents.
pub(crate) fn two_layers(
    dice: &mut Dice,
    [causes, findings]: [usize; 2],
    parents: RangeInclusive<usize>,
) -> Network {
    let finding = |dice: &mut Dice| {
        let count = parents.start() + dice.below(parents.end() - parents.start() + 1);
        let parents = chosen(dice, causes, count).into_iter().map(Parent::Cause).collect();
        finding(dice, 1, parents)
    };
    let findings = (0..findings).map(|_| finding(dice)).collect();
    Network::new(Vec::new(), self::causes(dice, causes, 0), findings).unwrap()
}

/// Causes over yes/no findings, so many arcs out of each cause.
pub(crate) fn dense(dice: &mut Dice, [causes, findings]: [usize; 2], arcs: usize) -> Network {
    let mut parents: Vec<Vec<Parent>> = vec![Vec::new(); findings];
    for cause in 0..causes {
        chosen(dice, findings, arcs).into_iter().for_each(|child| parents[child].push(Parent::Cause(cause)));
    }
    let findings = parents.into_iter().map(|parents| finding(dice, 1, parents)).collect();
    Network::new(Vec::new(), self::causes(dice, causes, 0), findings).unwrap()
}

/// Circumstances over causes over conditions over findings, all findings with degrees; 2–4 parents, of which one may be a condition.
pub(crate) fn layered(dice: &mut Dice, [causes, conditions, findings]: [usize; 3]) -> Network {
    let circumstances: Vec<Circumstance> =
        (0..6).map(|_| Circumstance { usual: dice.between(0.05, 0.3) }).collect();
    let finding = |index: usize| {
        let count = 2 + dice.below(3);
        let mut parents: Vec<Parent> = chosen(dice, causes, count).into_iter().map(Parent::Cause).collect();
        if index >= conditions && dice.chance(0.5) {
            parents[0] = Parent::Finding(dice.below(conditions));
        }
        self::finding(dice, DEGREES, parents)
    };
    let findings = (0..conditions + findings).map(finding).collect();
    let causes = self::causes(dice, causes, circumstances.len());
    Network::new(circumstances, causes, findings).unwrap()
}

/// A machine as it is: which causes are there, and the level that each link and each leak (the last of a finding) has drawn.
pub(crate) struct World {
    pub(crate) present: Vec<bool>,
    levels: Vec<Vec<f64>>,
}

impl World {
    pub(crate) fn draw(dice: &mut Dice, network: &Network) -> Self {
        let happened: Vec<bool> = network.circumstances().iter().map(|c| dice.chance(c.usual)).collect();
        let mut present = Vec::new();
        for cause in network.causes() {
            let brought =
                cause.after.iter().filter(|after| happened[after.0] && dice.chance(after.1)).count();
            present.push(dice.chance(cause.base) || brought > 0);
        }
        let levels = |finding: &Finding| (0..=finding.parents.len()).map(|_| dice.unit()).collect();
        Self { present, levels: network.findings().iter().map(levels).collect() }
    }

    /// The degree of every finding.
    pub(crate) fn degrees(&self, network: &Network) -> Vec<usize> {
        let mut degrees: Vec<usize> = Vec::new();
        for (finding, levels) in network.findings().iter().zip(&self.levels) {
            let reach = |level: f64, row: &[f64]| row.iter().filter(|p| level < **p).count();
            let mut degree = reach(levels[finding.parents.len()], &finding.leak);
            for (link, level) in finding.parents.iter().zip(levels) {
                let state = match link.parent {
                    Parent::Cause(cause) => usize::from(self.present[cause]),
                    Parent::Finding(parent) => degrees[parent],
                };
                if state > 0 {
                    degree = degree.max(reach(*level, &link.strength[state - 1]));
                }
            }
            degrees.push(degree);
        }
        degrees
    }
}

/// A finding seen to be in this degree.
pub(crate) fn hard(network: &Network, finding: usize, degree: usize) -> Item {
    let states = 0..=network.findings()[finding].degrees;
    let likelihood = states.map(|state| f64::from(u8::from(state == degree))).collect();
    Item::Answer { findings: vec![finding], likelihood, moment: Moment::Bad }
}

/// A person's word that a finding is in this degree.
pub(crate) fn soft(network: &Network, finding: usize, degree: usize) -> Item {
    let states = 0..=network.findings()[finding].degrees;
    let likelihood = states.map(|state: usize| [0.85, 0.12, 0.03][state.abs_diff(degree)]).collect();
    Item::Answer { findings: vec![finding], likelihood, moment: Moment::Bad }
}

/// So many of these, in whatever order.
pub(crate) fn some(dice: &mut Dice, of: &[usize], count: usize) -> Vec<usize> {
    chosen(dice, of.len(), count).into_iter().map(|place| of[place]).collect()
}

/// Findings of a drawn world: so many abnormal and so many normal ones, seen without doubt. Worlds with too few are drawn again.
pub(crate) fn case(dice: &mut Dice, network: &Network, abnormal: usize, normal: usize) -> Evidence {
    loop {
        let degrees = World::draw(dice, network).degrees(network);
        let (off, fine): (Vec<usize>, Vec<usize>) = (0..degrees.len()).partition(|&f| degrees[f] > 0);
        if off.len() >= abnormal && fine.len() >= normal {
            let mut seen = some(dice, &off, abnormal);
            seen.extend(some(dice, &fine, normal));
            return Evidence(seen.into_iter().map(|f| hard(network, f, degrees[f])).collect());
        }
    }
}

/// A case of a layered network: 8 findings abnormal and 15 under conditions normal without doubt, 6 by somebody's word, three of
/// those after each of two remedies; with a run of fills over 11 more findings if asked for.
pub(crate) fn layered_case(dice: &mut Dice, network: &Network, conditions: usize, run: bool) -> Evidence {
    let findings = network.findings();
    let under = |f: &usize| matches!(findings[*f].parents[0].parent, Parent::Finding(_));
    loop {
        let mut world = World::draw(dice, network);
        let degrees = world.degrees(network);
        let (off, fine): (Vec<usize>, Vec<usize>) =
            (conditions..findings.len()).partition(|&f| degrees[f] > 0);
        let fine: Vec<usize> = fine.into_iter().filter(under).collect();
        let there: Vec<usize> = (0..world.present.len()).filter(|&cause| world.present[cause]).collect();
        if off.len() < 8 || fine.len() < 15 || there.len() < 2 {
            continue;
        }
        let off = some(dice, &off, 8);
        let seen: Vec<usize> = off.iter().copied().chain(some(dice, &fine, 15)).collect();
        let mut items: Vec<Item> = seen.iter().map(|&f| hard(network, f, degrees[f])).collect();
        let rest: Vec<usize> = (conditions..findings.len()).filter(|f| !seen.contains(f)).collect();
        let rest = some(dice, &rest, 11 + 4);
        if run {
            items.push(self::run(dice, network, &rest[..11], &degrees));
        }
        for (number, cause) in some(dice, &there, 2).into_iter().enumerate() {
            let works = 0.8;
            items.push(Item::Remedy { cause, works });
            world.present[cause] &= !dice.chance(works);
            let later = world.degrees(network);
            let asked = [off[number], rest[11 + 2 * number], rest[12 + 2 * number]];
            items.extend(asked.iter().map(|&f| soft(network, f, later[f])));
        }
        return Evidence(items);
    }
}

/// A run that shows these findings about as they are: itself, and some fifty combinations that differ in one to three of them.
fn run(dice: &mut Dice, network: &Network, findings: &[usize], degrees: &[usize]) -> Item {
    let truth: Vec<usize> = findings.iter().map(|&f| degrees[f]).collect();
    let mut combos = vec![(truth.clone(), 1.0)];
    while combos.len() < 50 {
        let mut states = truth.clone();
        let changed = 1 + dice.below(3);
        for place in chosen(dice, findings.len(), changed) {
            let other = 1 + dice.below(network.findings()[findings[place]].degrees);
            states[place] = (states[place] + other) % (network.findings()[findings[place]].degrees + 1);
        }
        if combos.iter().all(|combo| combo.0 != states) {
            combos.push((states, 10f64.powf(-dice.between(0.3, 2.5) * changed as f64 / 2.0).max(0.0015)));
        }
    }
    Item::Run { findings: findings.to_vec(), floor: 0.001, combos, moment: Moment::Bad }
}

/// The check that tells the degree of each of the first so many findings that nothing was said of.
pub(crate) fn open_checks(network: &Network, evidence: &Evidence, count: usize) -> Vec<Check> {
    let seen = |finding: &usize| {
        evidence.0.iter().any(|i| matches!(i, Item::Answer { findings, .. } if findings.contains(finding)))
    };
    let check = |finding: usize| {
        let states = 0..=network.findings()[finding].degrees;
        let outcome = |at| states.clone().map(|state| f64::from(u8::from(state == at))).collect();
        Check {
            findings: vec![finding],
            outcomes: states.clone().map(outcome).collect(),
            moment: Moment::Bad,
        }
    };
    (0..network.findings().len()).filter(|finding| !seen(finding)).take(count).map(check).collect()
}
