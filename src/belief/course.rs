//! What may have become of a cause, in scenarios side by side.

use super::classes::Classes;
use super::network::Network;
use super::timeline::Trajectory;

/// What a scenario says of a cause.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub(crate) enum Stand {
    /// Nothing.
    Free,
    /// It was never there.
    Never,
    /// It is there now, after the remedies done.
    There,
    /// It is there now, and one looks at what would be if it were cured.
    Hoped,
    /// It was there, and one of its remedies has worked.
    Cured,
    /// It is not there now.
    Gone,
}

/// Scenarios side by side, each with what it says of each cause.
#[derive(Debug, Clone)]
pub(crate) struct Scenarios(pub(crate) Vec<Vec<Stand>>);

impl Scenarios {
    /// One scenario that says the same of all causes.
    pub(crate) fn one(network: &Network, stand: Stand) -> Self {
        Self(vec![vec![stand; network.causes().len()]])
    }

    /// How many there are.
    pub(crate) fn count(&self) -> usize {
        self.0.len()
    }

    /// What they say of one cause.
    pub(crate) fn of(&self, cause: usize) -> impl Iterator<Item = Stand> {
        self.0.iter().map(move |stands| stands[cause])
    }
}

/// How a cause stands in the graph.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Kind {
    /// Its trajectory is a variable.
    Open,
    /// Each scenario fixes its trajectory.
    ByScenario,
    /// Its trajectory is the same everywhere.
    Fixed,
}

/// What may have become of one cause.
#[derive(Debug)]
pub(crate) struct Course {
    /// All trajectories that a scenario allows.
    pub(crate) trajectories: Vec<Trajectory>,
    pub(crate) kind: Kind,
    /// Scenarios by what they say of the cause.
    pub(crate) classes: Classes,
    /// For each class the places of the trajectories that it allows.
    allowed: Vec<Vec<usize>>,
}

impl Course {
    /// `remedies` as [`super::timeline::Timeline`] has them.
    pub(crate) fn new(remedies: &[(usize, f64)], cause: usize, scenarios: &Scenarios) -> Self {
        let mut classes = Classes::by(scenarios.of(cause));
        let stands: Vec<Stand> = classes.first().into_iter().map(|row| scenarios.0[row][cause]).collect();
        let mut all = vec![Trajectory::Absent, Trajectory::Present, Trajectory::Hoped];
        all.extend((0..remedies.len()).map(Trajectory::Cured));
        all.retain(|&trajectory| stands.iter().any(|&stand| allows(stand, trajectory)));
        let of = |&stand: &Stand| (0..all.len()).filter(|&place| allows(stand, all[place])).collect();
        let allowed: Vec<Vec<usize>> = stands.iter().map(of).collect();
        let kind = if all.len() == 1 {
            classes = Classes::one(scenarios.count());
            Kind::Fixed
        } else if allowed.iter().all(|places| places.len() == 1) {
            Kind::ByScenario
        } else {
            Kind::Open
        };
        Self { trajectories: all, kind, classes, allowed }
    }

    /// Whether it was never there, whatever the scenario.
    pub(crate) fn is_never(&self) -> bool {
        self.trajectories == [Trajectory::Absent]
    }

    /// Place of the trajectory that a class of scenarios fixes.
    pub(crate) fn fixed_in(&self, class: usize) -> usize {
        self.allowed[class][0]
    }

    /// P(trajectory | P(there)): for each trajectory, if they are open, one entry a class; else one entry a class.
    pub(crate) fn chances(&self, there: f64, remedies: &[(usize, f64)]) -> Vec<f64> {
        let failed = |count: usize| remedies[..count].iter().map(|remedy| 1.0 - remedy.1).product::<f64>();
        let chance = |place: usize| match self.trajectories[place] {
            Trajectory::Absent => 1.0 - there,
            Trajectory::Present | Trajectory::Hoped => there * failed(remedies.len()),
            Trajectory::Cured(by) => there * remedies[by].1 * failed(by),
        };
        let classes = 0..self.classes.count();
        match self.kind {
            Kind::Open => (0..self.trajectories.len())
                .flat_map(|place| classes.clone().map(move |class| (place, class)))
                .map(|(place, class)| if self.allowed[class].contains(&place) { chance(place) } else { 0.0 })
                .collect(),
            Kind::ByScenario | Kind::Fixed => classes.map(|class| chance(self.fixed_in(class))).collect(),
        }
    }
}

fn allows(stand: Stand, trajectory: Trajectory) -> bool {
    match trajectory {
        Trajectory::Absent => matches!(stand, Stand::Free | Stand::Never | Stand::Gone),
        Trajectory::Present => matches!(stand, Stand::Free | Stand::There),
        Trajectory::Hoped => stand == Stand::Hoped,
        Trajectory::Cured(_) => matches!(stand, Stand::Free | Stand::Cured | Stand::Gone),
    }
}
