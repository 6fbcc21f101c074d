//! When a finding matters: the moments of the evidence, and which of them are one and the same for a finding.
//!
//! A moment is how many remedies and fresh starts came before, and how deep the causes that come and go sleep: one draw an
//! answer, and a cause is awake if the draw is under its chance of being caught. So all that have the same chance are awake
//! together, and a finding has two versions by them, not two to their number. Two moments are one *version* of a finding if its
//! fresh starts and the states that all its parents can have are the same at both.

use super::evidence::{BeliefError, Evidence, Item, Moment};
use super::influence::MOST_BITS;
use super::network::{Network, Parent};

/// The code of a parent cause that does not act: it sleeps.
const STILL: usize = usize::MAX;
/// The code of a parent cause that acts unless it is one hoped to be cured.
const HOPED: usize = usize::MAX - 1;

/// A time of the case, and how deep those that come and go sleep: at depth `d` the causes with the `d` smallest chances of being
/// caught do.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct Point {
    phase: usize,
    depth: usize,
}

/// One version of a finding: its block of draws, and for each parent what stands for its state (remedies done so far, HOPED or STILL;
/// a parent finding's version).
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct Version {
    pub(crate) block: usize,
    parents: Vec<usize>,
}

/// A finding as one answer sees it.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Sight {
    pub(crate) finding: usize,
    /// The version at each depth of sleep; a single one where all are awake.
    pub(crate) versions: Vec<usize>,
}

/// The moments of one evidence.
#[derive(Debug, Clone)]
pub(crate) struct Timeline {
    /// The different chances of being caught, rising.
    catches: Vec<f64>,
    /// For each cause that comes and goes the place of its chance in `catches`.
    sleeps: Vec<Option<usize>>,
    /// For each cause its remedies: (phase from which it counts, P(works)).
    pub(crate) remedies: Vec<Vec<(usize, f64)>>,
    restarts: Vec<Vec<usize>>,
    /// For each item what it sees (nothing for remedies and circumstances).
    pub(crate) sights: Vec<Vec<Sight>>,
    phases: Vec<usize>,
    /// The last phase; the one after it is what would be if some of the causes hoped for were cured now.
    last: usize,
    hoped: Vec<usize>,
    /// For each finding itself and all findings above it, ascending.
    above: Vec<Vec<usize>>,
    versions: Vec<Vec<Version>>,
}

impl Timeline {
    /// Lays out the evidence and registers every version that it sees.
    pub(crate) fn new(network: &Network, evidence: &Evidence) -> Result<Self, BeliefError> {
        let mut catches: Vec<f64> = network.causes().iter().filter_map(|cause| cause.catch).collect();
        catches.sort_by(f64::total_cmp);
        catches.dedup();
        let place = |catch: f64| catches.partition_point(|other| *other < catch);
        let sleeps = network.causes().iter().map(|cause| cause.catch.map(place)).collect();
        let findings = network.findings().len();
        let mut timeline = Self {
            remedies: vec![Vec::new(); network.causes().len()],
            restarts: vec![Vec::new(); findings],
            sights: Vec::new(),
            phases: Vec::new(),
            last: 0,
            hoped: Vec::new(),
            above: above(network),
            versions: vec![Vec::new(); findings],
            sleeps,
            catches,
        };
        for item in &evidence.0 {
            timeline.note(item);
        }
        for (place, item) in evidence.0.iter().enumerate() {
            let sights = match item {
                Item::Answer { findings, moment, .. } | Item::Run { findings, moment, .. } => {
                    timeline.see(network, findings, timeline.phases[place], *moment)?
                }
                _ => Vec::new(),
            };
            timeline.sights.push(sights);
        }
        Ok(timeline)
    }

    fn note(&mut self, item: &Item) {
        match item {
            Item::Remedy { cause, works } => {
                self.last += 1;
                self.remedies[*cause].push((self.last, *works));
            }
            Item::Afresh { findings } => {
                self.last += 1;
                for &finding in findings {
                    self.restarts[finding].push(self.last);
                }
            }
            _ => {}
        }
        self.phases.push(self.last);
    }

    /// An answer as of now.
    pub(crate) fn see_now(
        &mut self,
        network: &Network,
        findings: &[usize],
        moment: Moment,
    ) -> Result<Vec<Sight>, BeliefError> {
        self.see(network, findings, self.last, moment)
    }

    /// What these findings would be, all awake, if those of `hoped` were cured now whose trajectory is [`Trajectory::Hoped`].
    pub(crate) fn see_hoped(
        &mut self,
        network: &Network,
        findings: &[usize],
        hoped: &[usize],
    ) -> Result<Vec<Sight>, BeliefError> {
        self.hoped = hoped.to_vec();
        self.see(network, findings, self.last + 1, Moment::Bad)
    }

    fn see(
        &mut self,
        network: &Network,
        findings: &[usize],
        phase: usize,
        moment: Moment,
    ) -> Result<Vec<Sight>, BeliefError> {
        let depths = if moment == Moment::Bad { 1 } else { self.catches.len() + 1 };
        let mut sight = |&finding: &usize| {
            let version = |depth| self.version(network, finding, Point { phase, depth });
            Ok(Sight { finding, versions: (0..depths).map(version).collect::<Result<_, _>>()? })
        };
        findings.iter().map(&mut sight).collect()
    }

    /// P(each depth of sleep), from all awake to all asleep.
    pub(crate) fn depths(&self) -> Vec<f64> {
        let from = std::iter::once(0.0).chain(self.catches.iter().copied());
        let to = self.catches.iter().copied().chain(std::iter::once(1.0));
        from.zip(to).map(|(from, to)| to - from).collect()
    }

    /// The version of a finding at this point; it and those of its ancestors are registered on first sight.
    fn version(&mut self, network: &Network, finding: usize, point: Point) -> Result<usize, BeliefError> {
        let mut ids = vec![0; finding + 1];
        for place in 0..self.above[finding].len() {
            let here = self.above[finding][place];
            let parents = network.findings()[here].parents.iter().map(|link| match link.parent {
                Parent::Cause(cause) => self.code_of(cause, point),
                Parent::Finding(parent) => ids[parent],
            });
            let version = Version {
                parents: parents.collect(),
                block: self.restarts[here].iter().filter(|&&restart| restart <= point.phase).count(),
            };
            ids[here] = self.register(here, version, network.findings()[here].degrees)?;
        }
        Ok(ids[finding])
    }

    fn register(&mut self, finding: usize, version: Version, degrees: usize) -> Result<usize, BeliefError> {
        let versions = &mut self.versions[finding];
        if let Some(known) = versions.iter().position(|known| *known == version) {
            return Ok(known);
        }
        versions.push(version);
        if versions.len() * degrees > MOST_BITS {
            return Err(BeliefError::TooLarge { cost: (MOST_BITS as f64).exp2() });
        }
        Ok(versions.len() - 1)
    }

    fn code_of(&self, cause: usize, point: Point) -> usize {
        if self.sleeps[cause].is_some_and(|place| place < point.depth) {
            return STILL;
        }
        if point.phase > self.last && self.hoped.contains(&cause) {
            return HOPED;
        }
        self.remedies[cause].iter().filter(|remedy| remedy.0 <= point.phase).count()
    }

    /// The versions of a finding that matter; none if no evidence depends on it.
    pub(crate) fn versions(&self, finding: usize) -> &[Version] {
        &self.versions[finding]
    }
}

impl Version {
    /// Whether the parent cause of link `link` acts at this version, if its trajectory is `trajectory`.
    pub(crate) fn acts(&self, link: usize, trajectory: Trajectory) -> bool {
        match self.parents[link] {
            STILL => false,
            HOPED => trajectory == Trajectory::Present,
            done => trajectory.present_after(done),
        }
    }

    /// The version of the parent finding of link `link`.
    pub(crate) fn of_parent(&self, link: usize) -> usize {
        self.parents[link]
    }
}

/// What a cause did over the whole case.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Trajectory {
    /// Never there.
    Absent,
    /// There from the start, and no remedy done so far worked.
    Present,
    /// The same, but one looks at what would be if it were cured.
    Hoped,
    /// Cured by its remedy of this number, counted from 0.
    Cured(usize),
}

impl Trajectory {
    /// Whether the cause is there after this many of its remedies.
    pub(crate) fn present_after(self, done: usize) -> bool {
        match self {
            Self::Absent => false,
            Self::Present | Self::Hoped => true,
            Self::Cured(by) => done <= by,
        }
    }
}

fn above(network: &Network) -> Vec<Vec<usize>> {
    let mut above: Vec<Vec<usize>> = Vec::new();
    for (index, finding) in network.findings().iter().enumerate() {
        let mut own = vec![index];
        for link in &finding.parents {
            if let Parent::Finding(parent) = link.parent {
                own.extend(&above[parent]);
            }
        }
        own.sort_unstable();
        own.dedup();
        above.push(own);
    }
    above
}
