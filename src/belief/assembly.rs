//! From a network and its evidence to the small tables whose product is summed.
//!
//! Variables are the circumstances and the causes (a trajectory each); findings are bits in the states of their bundles. Several
//! *scenarios* can stand side by side: where the scenario fixes all that may have become of a cause, the cause is no variable.

use super::bundle::{Bundle, Look, Place, Spot};
use super::classes::Classes;
use super::course::{Course, Kind, Scenarios, Stand};
use super::evidence::{BeliefError, Evidence, Item};
use super::influence::{Spread, State, spread, stronger};
use super::network::{Link, Network, Parent};
use super::run;
use super::tape::{Axis, Var, size};
use super::timeline::{Sight, Timeline, Version};

/// Most circumstances of one cause.
const MOST_OVER: usize = 16;

/// A table that is given: a cell for each state of a bundle, in each a row for each joint state of the axes, in each an entry for
/// each class of scenarios.
#[derive(Debug)]
pub(super) struct Leaf {
    /// The bundle, and the states in whatever order.
    pub(super) states: Option<(usize, Vec<State>)>,
    /// By variable; none has a single state.
    pub(super) axes: Vec<Axis>,
    pub(super) classes: Classes,
    pub(super) table: Vec<f64>,
}

/// Something asked of findings.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Asking<'q> {
    pub(crate) sights: &'q [Sight],
    /// For each outcome P(outcome | states).
    pub(crate) outcomes: &'q [Vec<f64>],
}

/// What a sum is taken over.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Given<'a> {
    pub(crate) network: &'a Network,
    pub(crate) evidence: &'a Evidence,
    pub(crate) timeline: &'a Timeline,
    pub(crate) scenarios: &'a Scenarios,
}

/// Findings in their bundles, and the tables given.
pub(crate) struct Graph<'a> {
    network: &'a Network,
    timeline: &'a Timeline,
    pub(super) bundles: Vec<Bundle>,
    /// By finding; none where nothing depends on it.
    pub(super) places: Vec<Option<Place>>,
    /// For each finding those below it that something depends on, with the place of the link among their parents.
    below: Vec<Vec<(usize, usize)>>,
    pub(super) leaves: Vec<Leaf>,
    /// Logarithm of the scale taken out of the likelihoods.
    pub(crate) ln: f64,
    same: Classes,
}

/// The variable of a circumstance.
pub(crate) fn circumstance_var(index: usize) -> usize {
    index
}

/// The variable of a cause's trajectory.
pub(crate) fn cause_var(network: &Network, index: usize) -> usize {
    network.circumstances().len() + index
}

/// Number of variables to be summed out.
pub(crate) fn vars(network: &Network) -> usize {
    network.circumstances().len() + network.causes().len()
}

impl<'a> Graph<'a> {
    /// Everything that the evidence and what is asked depend on; with `whole` all other causes, too.
    pub(crate) fn new(given: Given<'a>, asked: &[Asking<'_>], whole: bool) -> Result<Self, BeliefError> {
        let Given { network, evidence, timeline, scenarios } = given;
        let findings = network.findings().len();
        let mut graph = Self {
            network,
            timeline,
            bundles: Vec::new(),
            places: vec![None; findings],
            below: vec![Vec::new(); findings],
            leaves: Vec::new(),
            ln: 0.0,
            same: Classes::one(scenarios.count()),
        };
        let loose = graph.loose(evidence, asked);
        for child in (0..findings).filter(|&finding| !timeline.versions(finding).is_empty()) {
            for (place, link) in network.findings()[child].parents.iter().enumerate() {
                if let Parent::Finding(parent) = link.parent {
                    graph.below[parent].push((child, place));
                }
            }
        }
        graph.bundle(asked, &loose)?;
        graph.answers(evidence, asked)?;
        let courses: Vec<Course> = (0..network.causes().len())
            .map(|cause| Course::new(&timeline.remedies[cause], cause, scenarios))
            .collect();
        let bears = graph.bearing();
        let left_out =
            |cause: usize| !whole && !bears[cause] && scenarios.of(cause).all(|stand| stand == Stand::Free);
        graph.roots(evidence, &courses, &left_out)?;
        for finding in 0..findings {
            if let Some(place) = graph.places[finding] {
                graph.links(finding, place, &courses);
            }
        }
        Ok(graph)
    }

    /// Run findings that nothing drives and nothing else sees: they are summed out of the run at once.
    fn loose(&self, evidence: &Evidence, asked: &[Asking<'_>]) -> Vec<bool> {
        let mut seen = vec![0; self.places.len()];
        let mut in_run = vec![false; self.places.len()];
        for item in &evidence.0 {
            if let Item::Run { findings, .. } = item {
                findings.iter().for_each(|&finding| in_run[finding] = true);
            }
        }
        for sight in
            self.timeline.sights.iter().flatten().chain(asked.iter().flat_map(|asking| asking.sights))
        {
            seen[sight.finding] += 1;
        }
        let mut above = vec![false; self.places.len()];
        for finding in (0..seen.len()).filter(|&finding| !self.timeline.versions(finding).is_empty()) {
            self.above(finding).for_each(|parent| above[parent] = true);
        }
        let findings = self.network.findings();
        (0..seen.len())
            .map(|f| in_run[f] && seen[f] == 1 && !above[f] && findings[f].parents.is_empty())
            .collect()
    }

    /// For each cause whether it drives a finding that something depends on.
    fn bearing(&self) -> Vec<bool> {
        let mut bears = vec![false; self.network.causes().len()];
        for (finding, _) in
            self.network.findings().iter().zip(&self.places).filter(|(_, place)| place.is_some())
        {
            for link in &finding.parents {
                if let Parent::Cause(cause) = link.parent {
                    bears[cause] = true;
                }
            }
        }
        bears
    }

    /// The parent findings of a finding.
    pub(super) fn above(&self, finding: usize) -> impl Iterator<Item = usize> + use<'a> {
        let network: &'a Network = self.network;
        network.findings()[finding].parents.iter().filter_map(|link| match link.parent {
            Parent::Finding(parent) => Some(parent),
            Parent::Cause(_) => None,
        })
    }

    /// All scenarios alike.
    pub(super) fn alike(&self) -> Classes {
        self.same.clone()
    }

    /// For each finding whether it can be nothing but normal, whenever it is looked at.
    pub(super) fn firm(&mut self) -> Result<Vec<bool>, BeliefError> {
        let mut firm = vec![false; self.places.len()];
        for (finding, own) in self.places.iter().enumerate() {
            let Some(place) = own else { continue };
            let degrees = self.network.findings()[finding].degrees;
            firm[finding] = true;
            for version in 0..self.timeline.versions(finding).len() {
                let some = 1 << (place.first + version * degrees);
                firm[finding] &= self.bundles[place.bundle].id(some)?.is_none();
            }
        }
        Ok(firm)
    }

    pub(super) fn below(&self, finding: usize) -> &[(usize, usize)] {
        &self.below[finding]
    }

    /// Findings that stand in an answer together are one bundle.
    fn bundle(&mut self, asked: &[Asking<'_>], loose: &[bool]) -> Result<(), BeliefError> {
        let mut group: Vec<usize> = (0..self.places.len()).collect();
        let timeline = self.timeline;
        for sights in
            timeline.sights.iter().map(Vec::as_slice).chain(asked.iter().map(|asking| asking.sights))
        {
            let held: Vec<usize> = sights.iter().map(|sight| sight.finding).filter(|&f| !loose[f]).collect();
            for pair in held.windows(2) {
                let (low, high) = (group[pair[0]].min(group[pair[1]]), group[pair[0]].max(group[pair[1]]));
                group.iter_mut().filter(|own| **own == high).for_each(|own| *own = low);
            }
        }
        let mut bundle_of = vec![None; group.len()];
        for finding in (0..group.len()).filter(|&f| !timeline.versions(f).is_empty() && !loose[f]) {
            let bundle = *bundle_of[group[finding]].get_or_insert_with(|| {
                self.bundles.push(Bundle::default());
                self.bundles.len() - 1
            });
            let width = self.timeline.versions(finding).len() * self.network.findings()[finding].degrees;
            let lasting = !self.below[finding].is_empty();
            let (first, mask) = self.bundles[bundle].add(finding, width, lasting)?;
            self.places[finding] = Some(Place { bundle, first, mask });
        }
        Ok(())
    }

    fn answers(&mut self, evidence: &Evidence, asked: &[Asking<'_>]) -> Result<(), BeliefError> {
        for (item, sights) in evidence.0.iter().zip(&self.timeline.sights) {
            let (sights, mut likelihood) = match item {
                Item::Answer { likelihood, .. } => (sights.clone(), likelihood.clone()),
                Item::Run { findings, floor, combos, .. } => {
                    let held: Vec<bool> = findings.iter().map(|&f| self.places[f].is_some()).collect();
                    let likelihood = run::likelihood(self.network, findings, *floor, combos, &held)?;
                    let held = sights.iter().zip(held).filter(|(_, held)| *held);
                    (held.map(|(sight, _)| sight.clone()).collect(), likelihood)
                }
                _ => continue,
            };
            let largest = likelihood.iter().copied().fold(0.0, f64::max);
            likelihood.iter_mut().for_each(|l| *l /= largest);
            self.ln += largest.ln();
            if let Some((bundle, look)) = self.look(&sights, vec![likelihood]) {
                self.bundles[bundle].answered(look);
            }
        }
        for (number, asking) in asked.iter().enumerate() {
            if let Some((bundle, look)) = self.look(asking.sights, asking.outcomes.to_vec()) {
                self.bundles[bundle].asked(number, look);
            }
        }
        Ok(())
    }

    /// An answer as its bundle sees it: one draw for the whole answer of how deep those that come and go sleep.
    fn look(&self, sights: &[Sight], outcomes: Vec<Vec<f64>>) -> Option<(usize, Look)> {
        let places: Vec<Place> = sights.iter().filter_map(|sight| self.places[sight.finding]).collect();
        let bundle = places.first()?.bundle;
        let depths = if sights[0].versions.len() == 1 { vec![1.0] } else { self.timeline.depths() };
        let mut moments: Vec<(f64, Vec<Spot>)> = Vec::new();
        for (depth, p) in depths.into_iter().enumerate() {
            let spot = |(sight, place): (&Sight, &Place)| {
                let degrees = self.network.findings()[sight.finding].degrees;
                Spot { first: place.first + sight.versions[depth] * degrees, degrees }
            };
            let spots: Vec<Spot> = sights.iter().zip(&places).map(spot).collect();
            match moments.iter_mut().find(|moment| moment.1 == spots) {
                Some(moment) => moment.0 += p,
                None => moments.push((p, spots)),
            }
        }
        moments.retain(|moment| moment.0 > 0.0);
        Some((bundle, Look::new(moments, outcomes)))
    }

    /// Circumstances with what was said of them, and causes. A cause known to be absent only weighs its circumstances:
    /// P(absent | circumstances) = (1 − base)·Π (1 − chance). One left out adds up to 1.
    fn roots(
        &mut self,
        evidence: &Evidence,
        courses: &[Course],
        left_out: &dyn Fn(usize) -> bool,
    ) -> Result<(), BeliefError> {
        let circumstances = self.network.circumstances();
        let mut weights: Vec<[f64; 2]> = circumstances.iter().map(|c| [1.0 - c.usual, c.usual]).collect();
        for item in &evidence.0 {
            if let Item::Circumstance { index, likelihood } = item {
                let largest = likelihood[0].max(likelihood[1]);
                weights[*index][0] *= likelihood[0] / largest;
                weights[*index][1] *= likelihood[1] / largest;
                self.ln += largest.ln();
            }
        }
        let mut number = 1.0;
        for (index, (cause, course)) in self.network.causes().iter().zip(courses).enumerate() {
            if course.is_never() {
                number *= 1.0 - cause.base;
                cause
                    .after
                    .iter()
                    .for_each(|&(circumstance, chance)| weights[circumstance][1] *= 1.0 - chance);
            } else if !left_out(index) {
                self.cause(index, course)?;
            }
        }
        let same = &self.same;
        let leaf = |axes, table| Leaf { states: None, axes, classes: same.clone(), table };
        self.leaves.push(leaf(Vec::new(), vec![number]));
        for (index, weight) in weights.into_iter().enumerate() {
            self.leaves.push(leaf(vec![(circumstance_var(index) as Var, 2)], weight.to_vec()));
        }
        Ok(())
    }

    /// P(trajectory | circumstances), for each scenario.
    fn cause(&mut self, index: usize, course: &Course) -> Result<(), BeliefError> {
        let cause = &self.network.causes()[index];
        let mut axes: Vec<Axis> =
            cause.after.iter().map(|&(circumstance, _)| (circumstance_var(circumstance) as Var, 2)).collect();
        axes.sort_unstable();
        axes.dedup();
        let over = axes.len();
        axes.extend(self.axis(index, course));
        if over > MOST_OVER {
            return Err(BeliefError::TooLarge { cost: (over as f64).exp2() });
        }
        let mut table = Vec::with_capacity(size(&axes) * course.classes.count());
        for happened in 0..1usize << over {
            let there = cause.after.iter().fold(cause.base, |there, &(circumstance, chance)| {
                let place = axes.partition_point(|axis| (axis.0 as usize) < circumstance_var(circumstance));
                if happened >> (over - 1 - place) & 1 == 1 { there + (1.0 - there) * chance } else { there }
            });
            table.extend(course.chances(there, &self.timeline.remedies[index]));
        }
        self.leaves.push(Leaf { states: None, axes, classes: course.classes.clone(), table });
        Ok(())
    }

    /// The variable of a cause, if it is one.
    fn axis(&self, cause: usize, course: &Course) -> Option<Axis> {
        (course.kind == Kind::Open)
            .then(|| (cause_var(self.network, cause) as Var, course.trajectories.len()))
    }

    /// The links of causes into a finding; the leak and what is fixed go with one of them.
    fn links(&mut self, index: usize, place: Place, courses: &[Course]) {
        let finding = &self.network.findings()[index];
        let versions = self.timeline.versions(index);
        let blocks: Vec<usize> = versions.iter().map(|version| version.block).collect();
        let mut fixed = spread(&vec![&finding.leak[..]; versions.len()], &blocks, finding.degrees);
        let mut open: Vec<(Vec<Axis>, Classes, Vec<Spread>)> = Vec::new();
        for (place, link) in finding.parents.iter().enumerate() {
            let Parent::Cause(cause) = link.parent else { continue };
            let course = &courses[cause];
            let mut spreads: Vec<Spread> = course
                .trajectories
                .iter()
                .map(|&t| driven(link, versions, &blocks, finding.degrees, |v| usize::from(v.acts(place, t))))
                .collect();
            match course.kind {
                Kind::Fixed => fixed = stronger(&fixed, &spreads[0]),
                Kind::Open => {
                    open.push((self.axis(cause, course).into_iter().collect(), self.same.clone(), spreads));
                }
                Kind::ByScenario => {
                    let classes = 0..course.classes.count();
                    spreads = classes.map(|class| spreads[course.fixed_in(class)].clone()).collect();
                    open.push((Vec::new(), course.classes.clone(), spreads));
                }
            }
        }
        if let Some((.., spreads)) = open.last_mut() {
            spreads.iter_mut().for_each(|spread| *spread = stronger(spread, &fixed));
        } else {
            open.push((Vec::new(), self.same.clone(), vec![fixed]));
        }
        self.leaves
            .extend(open.into_iter().map(|(axes, classes, spreads)| leaf(place, axes, classes, &spreads)));
    }

    /// What a finding in this state, its own bits only, drives one below it to, in bits of the other's bundle.
    pub(super) fn effect(&self, child: usize, link: usize, state: State) -> Spread {
        let finding = &self.network.findings()[child];
        let versions = self.timeline.versions(child);
        let blocks: Vec<usize> = versions.iter().map(|version| version.block).collect();
        let own = &finding.parents[link];
        let degrees = match own.parent {
            Parent::Finding(parent) => self.network.findings()[parent].degrees,
            Parent::Cause(_) => 1,
        };
        let level =
            |version: &Version| super::influence::degree(state, version.of_parent(link) * degrees, degrees);
        let mut effects = driven(own, versions, &blocks, finding.degrees, level);
        let first = self.places[child].map_or(0, |place| place.first);
        effects.iter_mut().for_each(|effect| effect.0 <<= first);
        effects
    }
}

/// What a link drives a finding to, `level` being the parent's degree at a version.
fn driven(
    link: &Link,
    versions: &[Version],
    blocks: &[usize],
    degrees: usize,
    level: impl Fn(&Version) -> usize,
) -> Spread {
    let row = |version| level(version).checked_sub(1).map_or(&[][..], |row| &link.strength[row][..]);
    let rows: Vec<&[f64]> = versions.iter().map(row).collect();
    spread(&rows, blocks, degrees)
}

/// Spreads, one a row or one a class, as a table.
fn leaf(place: Place, axes: Vec<Axis>, classes: Classes, spreads: &[Spread]) -> Leaf {
    let mut states: Vec<State> = spreads.iter().flatten().map(|entry| entry.0).collect();
    states.sort_unstable();
    states.dedup();
    let mut table = vec![0.0; states.len() * spreads.len()];
    for (row, spread) in spreads.iter().enumerate() {
        for (state, p) in spread {
            table[states.partition_point(|other| other < state) * spreads.len() + row] += p;
        }
    }
    let states = states.into_iter().map(|state| state << place.first).collect();
    Leaf { states: Some((place.bundle, states)), axes, classes, table }
}
