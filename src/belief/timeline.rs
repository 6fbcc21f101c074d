//! When a finding matters: the moments of the evidence, and which of them are one and the same for a finding.
//!
//! A moment is how many remedies and fresh starts came before, and which of the causes that come and go are awake. Two moments
//! are one *version* of a finding if its fresh starts and the states that all its parents can have are the same at both.

use super::evidence::{BeliefError, Evidence, Item, Moment};
use super::influence::MOST_BITS;
use super::network::{Network, Parent};

/// A set of causes that come and go, as bits over [`Timeline::intermittent`].
pub(crate) type Awake = u128;

/// Most causes that come and go above the findings of one answer taken while it is not showing.
const MOST_ASLEEP: usize = 12;
/// The code of a parent cause that does not act: it sleeps.
const STILL: usize = usize::MAX;
/// The code of a parent cause that acts unless it is one hoped to be cured.
const HOPED: usize = usize::MAX - 1;

/// A time of the case, with who is awake.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct Point {
    phase: usize,
    awake: Awake,
}

/// One version of a finding: its block of draws, and for each parent what stands for its state (remedies done so far, HOPED or STILL;
/// a parent finding's version).
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct Version {
    pub(crate) block: usize,
    parents: Vec<usize>,
}

/// A finding as one answer sees it.
#[derive(Debug, Clone)]
pub(crate) struct Sight {
    pub(crate) finding: usize,
    /// The causes that may sleep during the answer and bear on this finding (places in [`Timeline::intermittent`]).
    pub(crate) sleepers: Vec<usize>,
    /// The version for each set of them that is awake: bit `b` of the index is `sleepers[b]`.
    pub(crate) versions: Vec<usize>,
}

/// The moments of one evidence.
#[derive(Debug, Clone)]
pub(crate) struct Timeline {
    /// Causes that come and go.
    pub(crate) intermittent: Vec<usize>,
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
    below: Vec<Awake>,
    versions: Vec<Vec<Version>>,
}

impl Timeline {
    /// Lays out the evidence and registers every version that it sees.
    pub(crate) fn new(network: &Network, evidence: &Evidence) -> Result<Self, BeliefError> {
        let intermittent: Vec<usize> =
            (0..network.causes().len()).filter(|&cause| network.causes()[cause].catch.is_some()).collect();
        let findings = network.findings().len();
        let mut timeline = Self {
            remedies: vec![Vec::new(); network.causes().len()],
            restarts: vec![Vec::new(); findings],
            sights: Vec::new(),
            phases: Vec::new(),
            last: 0,
            hoped: Vec::new(),
            above: above(network),
            below: below(network, &intermittent),
            versions: vec![Vec::new(); findings],
            intermittent,
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
        let sleepers = |below: Awake| -> Vec<usize> {
            if moment == Moment::Bad {
                Vec::new()
            } else {
                (0..128).filter(|bit| below >> bit & 1 == 1).collect()
            }
        };
        let all = sleepers(findings.iter().fold(0, |all, &finding| all | self.below[finding])).len();
        if all > MOST_ASLEEP {
            return Err(BeliefError::TooLarge { cost: (all as f64).exp2() });
        }
        findings
            .iter()
            .map(|&finding| {
                let sleepers = sleepers(self.below[finding]);
                let asleep = sleepers.iter().fold(0, |bits, &bit| bits | 1 << bit);
                let versions = (0..1usize << sleepers.len())
                    .map(|set| {
                        let awake = sleepers.iter().enumerate().filter(|(b, _)| set >> b & 1 == 1);
                        let awake = awake.fold(!asleep, |bits, (_, &bit)| bits | 1 << bit);
                        self.version(network, finding, Point { phase, awake })
                    })
                    .collect::<Result<_, _>>()?;
                Ok(Sight { finding, sleepers, versions })
            })
            .collect()
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
        let sleeps = self.intermittent.binary_search(&cause).is_ok_and(|bit| point.awake >> bit & 1 == 0);
        if sleeps {
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

fn below(network: &Network, intermittent: &[usize]) -> Vec<Awake> {
    let mut below: Vec<Awake> = Vec::new();
    for finding in network.findings() {
        let bits = finding.parents.iter().map(|link| match link.parent {
            Parent::Cause(cause) => intermittent.binary_search(&cause).map_or(0, |bit| 1 << bit),
            Parent::Finding(parent) => below[parent],
        });
        below.push(bits.fold(0, |all, bit| all | bit));
    }
    below
}
