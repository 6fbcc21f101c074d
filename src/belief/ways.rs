//! A run of fills taken apart: nothing is known of what it shows, or it shows exactly one of its combinations.
//!
//! The likelihood of a run is its floor everywhere and more at a few combinations, so it is a sum: the floor times no run at
//! all, and, for each draw of which causes sleep, what stands above the floor. The latter is 0 at most states: a state that
//! no combination can grow into any more is dropped at once (`bundle.rs`), so that hardly more than the combinations
//! themselves are told apart, where the run as a whole ties all its patterns together at all draws (conditioning; Pearl
//! 1988, chapter 4).

use std::cmp::Reverse;

use super::assembly::Given;
use super::evidence::{Evidence, Item};
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

/// Every way to take the run at this place that has any weight.
pub(crate) fn ways(given: Given<'_>, place: usize) -> Vec<Way> {
    let Item::Run { findings, floor, combos, moment } = &given.evidence.0[place] else { return Vec::new() };
    let way = |weight: f64, run: Option<(Item, Vec<Sight>)>| {
        let (mut evidence, mut timeline) = (given.evidence.clone(), given.timeline.clone());
        let (run, sights) = run.unzip();
        evidence.0.splice(place..=place, run);
        timeline.sights.splice(place..=place, sights);
        Way { weight, evidence, timeline }
    };
    let above: Vec<(Vec<usize>, f64)> = combos
        .iter()
        .filter(|(_, value)| value > floor)
        .map(|(degrees, value)| (degrees.clone(), value - floor))
        .collect();
    let mut all = vec![way(*floor, None)];
    if !above.is_empty() {
        let run = Item::Run { findings: findings.clone(), floor: 0.0, combos: above, moment: *moment };
        all.extend(
            moments(given.timeline, place).into_iter().map(|(p, sights)| way(p, Some((run.clone(), sights)))),
        );
    }
    all.retain(|way| way.weight > 0.0);
    all
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
    use super::super::evidence::Moment;
    use super::super::network::{Cause, Finding, Link, Network, Parent};
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
            let apart = Sum::marginals_apart(given, 1).unwrap();
            let close = |a: f64, b: f64| (a - b).abs() < 1e-13;
            assert!(close(whole.ln_totals()[0].unwrap(), apart.ln_totals()[0].unwrap()), "{moment:?}");
            for cause in 0..3 {
                let (one, other) = (whole.marginal(cause), apart.marginal(cause));
                assert!(
                    one.iter().zip(&other).all(|(a, b)| close(*a, *b)),
                    "{moment:?} {cause}: {one:?} {other:?}"
                );
            }
        }
    }
}
