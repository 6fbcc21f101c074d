//! A run of fills taken apart: nothing is known of what it shows, or it shows exactly one of its combinations.
//!
//! The likelihood of a run is its floor everywhere and more at a few combinations, so it is a sum: the floor times no run at
//! all, and, for each draw of which causes sleep, what stands above the floor. The latter is 0 at most states: a state that
//! no combination can grow into any more is dropped at once (`bundle.rs`), so that hardly more than the combinations
//! themselves are told apart, where the run as a whole ties all its patterns together at all draws (conditioning; Pearl
//! 1988, chapter 4). Where even the combinations tie too much together, they are taken in groups that differ in few patterns:
//! the others are then known without doubt, and tie nothing.

use std::cmp::Reverse;

use super::assembly::Given;
use super::evidence::{Evidence, Item, Moment};
use super::network::Network;
use super::timeline::{Sight, Timeline};

/// A run with fewer findings is small as it is.
const FEWEST: usize = 3;

/// One way to take a run: its weight, and the evidence with the run in its place.
pub(crate) struct Way {
    pub(crate) weight: f64,
    pub(crate) evidence: Evidence,
    pub(crate) timeline: Timeline,
}

/// The place of the run that is worth taking apart: the one with most findings.
pub(crate) fn dividing(evidence: &Evidence) -> Option<usize> {
    let runs = evidence.0.iter().enumerate().filter_map(|(place, item)| match item {
        Item::Run { findings, .. } => Some((findings.len(), place)),
        _ => None,
    });
    runs.filter(|(findings, _)| *findings >= FEWEST)
        .min_by_key(|(findings, place)| (Reverse(*findings), *place))
        .map(|(_, place)| place)
}

/// The joint states of the findings of a run, and at most how many of them a combination can grow from.
pub(crate) fn sizes(network: &Network, run: &Item) -> [f64; 2] {
    let Item::Run { findings, combos, .. } = run else { return [1.0; 2] };
    let degrees = findings.iter().map(|&finding| network.findings()[finding].degrees);
    let joint =
        |degrees: &mut dyn Iterator<Item = usize>| degrees.map(|degree| degree as f64 + 1.0).product();
    let below = combos.iter().map(|combo| joint(&mut combo.0.iter().copied())).sum::<f64>();
    [joint(&mut degrees.into_iter()), below]
}

/// How finely a run is taken apart.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Grain {
    /// Its combinations stay together.
    Draws,
    /// In groups of combinations that differ in at most so many findings.
    Groups(usize),
}

/// Every way to take the run at this place that has any weight.
pub(crate) fn ways(given: Given<'_>, place: usize, grain: Grain) -> Vec<Way> {
    let Item::Run { findings, floor, combos, moment } = &given.evidence.0[place] else { return Vec::new() };
    let way = |weight: f64, seen: Vec<(Item, Vec<Sight>)>| {
        let (mut evidence, mut timeline) = (given.evidence.clone(), given.timeline.clone());
        let (items, sights): (Vec<_>, Vec<_>) = seen.into_iter().unzip();
        evidence.0.splice(place..=place, items);
        timeline.sights.splice(place..=place, sights);
        Way { weight, evidence, timeline }
    };
    let above: Vec<(Vec<usize>, f64)> = combos
        .iter()
        .filter(|(_, value)| value > floor)
        .map(|(degrees, value)| (degrees.clone(), value - floor))
        .collect();
    let groups = match grain {
        Grain::Draws if above.is_empty() => Vec::new(),
        Grain::Draws => vec![Group { open: (0..findings.len()).collect(), members: above.iter().collect() }],
        Grain::Groups(differ) => grouped(&above, differ),
    };
    let mut all = Vec::new();
    for (p, sights) in moments(given.timeline, place) {
        all.extend(groups.iter().map(|group| way(p, group.seen(given.network, &sights, *moment))));
    }
    all.push(way(*floor, Vec::new()));
    all.retain(|way| way.weight > 0.0);
    all
}

/// Combinations that differ in few findings.
#[derive(Debug)]
struct Group<'c> {
    /// The places of those findings, ascending.
    open: Vec<usize>,
    members: Vec<&'c (Vec<usize>, f64)>,
}

impl Group<'_> {
    /// The run as this group has it: a smaller run over what is open, and the rest without doubt.
    fn seen(&self, network: &Network, sights: &[Sight], moment: Moment) -> Vec<(Item, Vec<Sight>)> {
        let of = |degrees: &[usize]| self.open.iter().map(|&place| degrees[place]).collect();
        let open: Vec<Sight> = self.open.iter().map(|&place| sights[place].clone()).collect();
        let run = Item::Run {
            findings: open.iter().map(|sight| sight.finding).collect(),
            floor: 0.0,
            combos: self.members.iter().map(|(degrees, value)| (of(degrees), *value)).collect(),
            moment,
        };
        let closed = (0..sights.len()).filter(|place| !self.open.contains(place));
        let known = closed.map(|place| {
            let degree = self.members[0].0[place];
            (known(network, sights[place].finding, degree, moment), vec![sights[place].clone()])
        });
        std::iter::once((run, open)).chain(known).collect()
    }
}

/// Each combination in one group, those first that differ most from the heaviest: the groups around them take in others.
fn grouped(combos: &[(Vec<usize>, f64)], most: usize) -> Vec<Group<'_>> {
    let differing = |a: &[usize], b: &[usize]| (0..a.len()).filter(|&f| a[f] != b[f]).collect::<Vec<_>>();
    let Some(heaviest) = combos.iter().max_by(|a, b| a.1.total_cmp(&b.1)) else { return Vec::new() };
    let mut left: Vec<&(Vec<usize>, f64)> = combos.iter().collect();
    left.sort_by_key(|combo| Reverse(differing(&combo.0, &heaviest.0).len()));
    let mut groups = Vec::new();
    while let Some(&seed) = left.first() {
        let mut near = left.clone();
        near.sort_by_key(|combo| differing(&combo.0, &seed.0).len());
        let mut group = Group { open: Vec::new(), members: Vec::new() };
        for combo in near {
            let mut open = differing(&combo.0, &seed.0);
            open.extend(&group.open);
            open.sort_unstable();
            open.dedup();
            if open.len() <= most {
                group.open = open;
                group.members.push(combo);
            }
        }
        left.retain(|combo| !group.members.iter().any(|member| std::ptr::eq(*member, *combo)));
        groups.push(group);
    }
    groups
}

/// That a finding is in this degree, without doubt.
fn known(network: &Network, finding: usize, degree: usize, moment: Moment) -> Item {
    let states = 0..=network.findings()[finding].degrees;
    let likelihood = states.map(|state| f64::from(u8::from(state == degree))).collect();
    Item::Answer { findings: vec![finding], likelihood, moment }
}

/// What the run sees for each draw of how deep those that come and go sleep; draws that see the same are one.
fn moments(timeline: &Timeline, place: usize) -> Vec<(f64, Vec<Sight>)> {
    let sights = &timeline.sights[place];
    let depths = match sights.first() {
        Some(sight) if sight.versions.len() > 1 => timeline.depths(),
        _ => vec![1.0],
    };
    let mut moments: Vec<(f64, Vec<Sight>)> = Vec::new();
    for (depth, p) in depths.into_iter().enumerate() {
        let at = |sight: &Sight| Sight { finding: sight.finding, versions: vec![sight.versions[depth]] };
        let seen: Vec<Sight> = sights.iter().map(at).collect();
        match moments.iter_mut().find(|moment| moment.1 == seen) {
            Some(moment) => moment.0 += p,
            None => moments.push((p, seen)),
        }
    }
    moments
}

#[cfg(test)]
mod tests {
    use super::super::course::{Scenarios, Stand};
    use super::super::network::{Cause, Finding, Link, Parent};
    use super::super::sum::Sum;
    use super::*;

    /// Three causes, of which two come and go, over three patterns and a condition above two of them.
    fn network() -> Network {
        let cause = |base, catch| Cause { base, after: Vec::new(), catch };
        let link = |parent, strength| Link { parent, strength: vec![vec![strength]] };
        let finding = |parents| Finding { degrees: 1, leak: vec![0.01], parents };
        let causes = vec![cause(0.05, None), cause(0.03, Some(0.2)), cause(0.08, Some(0.5))];
        let findings = vec![
            finding(vec![link(Parent::Cause(1), 0.9), link(Parent::Cause(2), 0.3)]),
            finding(vec![link(Parent::Cause(0), 0.8), link(Parent::Finding(0), 0.6)]),
            finding(vec![link(Parent::Cause(2), 0.7)]),
            finding(vec![link(Parent::Finding(0), 0.5), link(Parent::Cause(1), 0.2)]),
        ];
        Network::new(Vec::new(), causes, findings).unwrap()
    }

    fn evidence(moment: Moment) -> Evidence {
        let answer = |finding, likelihood| Item::Answer {
            findings: vec![finding],
            likelihood,
            moment: Moment::Unknown,
        };
        let combos = vec![(vec![0, 0, 0], 0.3), (vec![1, 0, 0], 0.9), (vec![1, 1, 0], 0.4)];
        let run = Item::Run { findings: vec![1, 2, 3], floor: 0.02, combos, moment };
        Evidence(vec![answer(0, vec![0.2, 0.9]), run, answer(1, vec![0.1, 0.7])])
    }

    #[test]
    fn a_run_taken_apart_says_what_it_says_in_one_piece() {
        let network = network();
        let scenarios = Scenarios(vec![vec![Stand::Free; 3]]);
        for moment in [Moment::Bad, Moment::Unknown] {
            let evidence = evidence(moment);
            let timeline = Timeline::new(&network, &evidence).unwrap();
            let given =
                Given { network: &network, evidence: &evidence, timeline: &timeline, scenarios: &scenarios };
            let whole = Sum::marginals(given).unwrap();
            for grain in [Grain::Draws, Grain::Groups(0), Grain::Groups(1), Grain::Groups(2)] {
                let apart = Sum::marginals_apart(given, (1, grain)).unwrap();
                let close = |a: f64, b: f64| (a - b).abs() < 1e-13;
                assert!(close(whole.ln_totals()[0].unwrap(), apart.ln_totals()[0].unwrap()), "{moment:?}");
                for cause in 0..3 {
                    let (one, other) = (whole.marginal(cause), apart.marginal(cause));
                    assert!(
                        one.iter().zip(&other).all(|(a, b)| close(*a, *b)),
                        "{moment:?} {grain:?} {cause}: {one:?} {other:?}"
                    );
                }
            }
        }
    }
}
