//! One case under one set of causes: how likely its answers are, and which links fired, finding by finding.
//!
//! Causes are known here, so that findings hang together only through conditions: messages go once up and once down.
//! Exact where a finding has one condition above it that is not settled; else the conditions count as independent.

use std::collections::BTreeMap;

use crate::belief::{Network, Parent};

/// What became of one link in one case, in expectation.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Arrow {
    pub(super) finding: usize,
    /// Place among the finding's parents.
    pub(super) place: usize,
    /// P(the parent is there).
    pub(super) there: f64,
    /// P(the parent is there and the link fired).
    pub(super) fired: f64,
}

/// A case under one set of causes.
#[derive(Debug, Clone, Default, PartialEq)]
pub(super) struct Seen {
    /// ln P(answers | causes), up to what all sets share.
    pub(super) ln: f64,
    /// The links into findings that answers bear on, whose parents may be there.
    pub(super) links: Vec<Arrow>,
    /// P(there) of each finding answered about.
    pub(super) states: BTreeMap<usize, f64>,
}

/// Which findings stand above those answered about, themselves included; ascending, so parents first.
pub(super) fn live(network: &Network, answered: impl Iterator<Item = usize>) -> Vec<usize> {
    let mut live = vec![false; network.findings().len()];
    answered.for_each(|finding| live[finding] = true);
    for finding in (0..live.len()).rev().filter(|&f| live[f]).collect::<Vec<_>>() {
        mark_above(network, finding, &mut live);
    }
    (0..live.len()).filter(|&finding| live[finding]).collect()
}

fn mark_above(network: &Network, finding: usize, live: &mut [bool]) {
    for link in &network.findings()[finding].parents {
        if let Parent::Finding(parent) = link.parent
            && !live[parent]
        {
            live[parent] = true;
            mark_above(network, parent, live);
        }
    }
}

/// The chance that a link drives its child to anything but normal, the parent being there.
pub(super) fn strength(network: &Network, finding: usize, place: usize) -> f64 {
    let rows = &network.findings()[finding].parents[place].strength;
    rows.iter().map(|row| row[0]).sum::<f64>() / rows.len().max(1) as f64
}

struct Pass<'n> {
    network: &'n Network,
    causes: &'n [usize],
    /// P(there) before what stands at or below it is counted.
    before: Vec<f64>,
    /// L(answers at and below | there) / L(… | normal).
    ratio: Vec<f64>,
}

impl Pass<'_> {
    /// P(a parent is there), `of` giving it for findings.
    fn parent(&self, parent: Parent, of: &dyn Fn(usize) -> f64) -> f64 {
        match parent {
            Parent::Cause(cause) => f64::from(u8::from(self.causes.binary_search(&cause).is_ok())),
            Parent::Finding(finding) => of(finding),
        }
    }

    /// P(normal | causes) of a finding.
    fn normal(&self, finding: usize, of: &dyn Fn(usize) -> f64) -> f64 {
        let own = &self.network.findings()[finding];
        let spared =
            own.parents.iter().enumerate().map(|(place, link)| {
                1.0 - strength(self.network, finding, place) * self.parent(link.parent, of)
            });
        (1.0 - own.leak[0]) * spared.product::<f64>()
    }

    /// What stands at and below a finding says of one parent finding of it.
    fn message(&self, finding: usize, place: usize, of: &dyn Fn(usize) -> f64) -> f64 {
        let link = &self.network.findings()[finding].parents[place];
        let w = strength(self.network, finding, place);
        let others = self.normal(finding, of) / (1.0 - w * self.parent(link.parent, of)).max(1e-9);
        let given = |normal: f64| normal + (1.0 - normal) * self.ratio[finding];
        given(others * (1.0 - w)) / given(others)
    }
}

/// Weighs one set of causes against the answers.
pub(super) fn seen(
    network: &Network,
    causes: &[usize],
    live: &[usize],
    ratios: &BTreeMap<usize, f64>,
) -> Seen {
    let count = network.findings().len();
    let mut pass = Pass { network, causes, before: vec![0.0; count], ratio: vec![1.0; count] };
    for &finding in live {
        pass.before[finding] = 1.0 - pass.normal(finding, &|parent| pass.before[parent]);
    }
    let mut seen = Seen::default();
    let mut messages: BTreeMap<(usize, usize), f64> = BTreeMap::new();
    for &finding in live.iter().rev() {
        pass.ratio[finding] *= ratios.get(&finding).copied().unwrap_or(1.0);
        let (mut all, before) = (1.0, pass.before[finding]);
        for (place, link) in network.findings()[finding].parents.iter().enumerate() {
            if let Parent::Finding(parent) = link.parent {
                let message = pass.message(finding, place, &|f| pass.before[f]);
                messages.insert((finding, place), message);
                pass.ratio[parent] = (pass.ratio[parent] * message).clamp(1e-12, 1e12);
                all *= 1.0 - pass.before[parent] + pass.before[parent] * message;
            }
        }
        // What the parents were told is taken out here, so that it counts once.
        seen.ln += ((1.0 - before + before * pass.ratio[finding]) / all).ln();
    }
    down(&pass, live, &messages, ratios, &mut seen);
    seen
}

fn down(
    pass: &Pass<'_>,
    live: &[usize],
    messages: &BTreeMap<(usize, usize), f64>,
    ratios: &BTreeMap<usize, f64>,
    seen: &mut Seen,
) {
    let network = pass.network;
    let mut now = vec![0.0; network.findings().len()];
    for &finding in live {
        // A parent as all else but this finding has it.
        let apart = |parent: usize, place: usize| {
            let own = now_odds(now[parent]) / messages.get(&(finding, place)).copied().unwrap_or(1.0);
            own / (1.0 + own)
        };
        let parents = &network.findings()[finding].parents;
        let there: Vec<f64> = parents
            .iter()
            .enumerate()
            .map(|(place, link)| pass.parent(link.parent, &|parent| apart(parent, place)))
            .collect();
        let w = |place: usize| strength(network, finding, place);
        let spared: f64 = there.iter().enumerate().map(|(place, x)| 1.0 - w(place) * x).product();
        let normal = (1.0 - network.findings()[finding].leak[0]) * spared;
        let ratio = pass.ratio[finding];
        let all = normal + (1.0 - normal) * ratio;
        now[finding] = (1.0 - normal) * ratio / all;
        if ratios.contains_key(&finding) {
            seen.states.insert(finding, now[finding]);
        }
        for (place, &x) in there.iter().enumerate().filter(|(_, x)| **x > 1e-6) {
            let others = normal / (1.0 - w(place) * x).max(1e-9);
            let given = others * (1.0 - w(place));
            let fired = w(place) * x * ratio / all;
            let there = x * (given + (1.0 - given) * ratio) / all;
            seen.links.push(Arrow { finding, place, there, fired });
        }
    }
}

fn now_odds(p: f64) -> f64 {
    (p / (1.0 - p).max(1e-12)).clamp(1e-12, 1e12)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::belief::{Cause, Finding, Link};

    /// Two causes into one condition, which drives two symptoms; the second cause drives the second symptom, too.
    fn network() -> Network {
        let link = |parent, w| Link { parent, strength: vec![vec![w]] };
        let finding = |leak, parents| Finding { degrees: 1, leak: vec![leak], parents };
        let causes = vec![Cause { base: 0.1, after: Vec::new(), catch: None }; 2];
        let findings = vec![
            finding(0.02, vec![link(Parent::Cause(0), 0.7), link(Parent::Cause(1), 0.4)]),
            finding(0.01, vec![link(Parent::Finding(0), 0.8)]),
            finding(0.05, vec![link(Parent::Finding(0), 0.6), link(Parent::Cause(1), 0.3)]),
        ];
        Network::new(Vec::new(), causes, findings).unwrap()
    }

    /// Every way in which links and leaks can fire, by hand.
    fn by_hand(network: &Network, causes: &[usize], ratios: &BTreeMap<usize, f64>) -> (f64, Vec<[f64; 2]>) {
        let links: Vec<(usize, usize)> =
            (0..3).flat_map(|f| (0..network.findings()[f].parents.len()).map(move |p| (f, p))).collect();
        let (mut total, mut sums) = (0.0, vec![[0.0; 2]; links.len()]);
        for set in 0..1u32 << (links.len() + 3) {
            let (mut p, mut state) = (1.0, [false; 3]);
            let mut parents = Vec::new();
            for finding in 0..3 {
                let leak = network.findings()[finding].leak[0];
                let leaks = set >> (links.len() + finding) & 1 == 1;
                p *= if leaks { leak } else { 1.0 - leak };
                state[finding] = leaks;
                for (number, &(_, place)) in links.iter().enumerate().filter(|(_, link)| link.0 == finding) {
                    let link = &network.findings()[finding].parents[place];
                    let there = match link.parent {
                        Parent::Cause(cause) => causes.contains(&cause),
                        Parent::Finding(parent) => state[parent],
                    };
                    let (w, fires) = (link.strength[0][0], set >> number & 1 == 1);
                    p *= if fires { w } else { 1.0 - w };
                    state[finding] |= there && fires;
                    parents.push((number, there, there && fires));
                }
            }
            for (finding, ratio) in ratios {
                p *= if state[*finding] { *ratio } else { 1.0 };
            }
            total += p;
            for (number, there, fired) in parents {
                sums[number][0] += if there { p } else { 0.0 };
                sums[number][1] += if fired { p } else { 0.0 };
            }
        }
        (total, sums.into_iter().map(|sum| sum.map(|part| part / total)).collect())
    }

    #[test]
    fn under_known_causes_answers_and_links_weigh_what_counting_every_way_gives() {
        let network = network();
        for causes in [vec![0], vec![1], vec![0, 1]] {
            for ratios in [vec![(1, 9.0)], vec![(1, 9.0), (2, 0.1)], vec![(0, 0.2), (1, 30.0), (2, 4.0)]] {
                let ratios: BTreeMap<usize, f64> = ratios.into_iter().collect();
                let live = live(&network, ratios.keys().copied());
                let seen = seen(&network, &causes, &live, &ratios);
                let (total, links) = by_hand(&network, &causes, &ratios);
                assert!(
                    (seen.ln - total.ln()).abs() < 1e-9,
                    "{causes:?} {ratios:?}: {} {}",
                    seen.ln,
                    total.ln()
                );
                let numbers = [(0, 0), (0, 1), (1, 0), (2, 0), (2, 1)];
                for own in &seen.links {
                    let number = numbers.iter().position(|n| *n == (own.finding, own.place)).unwrap();
                    assert!((own.there - links[number][0]).abs() < 1e-9, "{causes:?} {ratios:?} {own:?}");
                    assert!((own.fired - links[number][1]).abs() < 1e-9, "{causes:?} {ratios:?} {own:?}");
                }
            }
        }
    }
}
