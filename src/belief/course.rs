//! What may have become of a cause, in scenarios side by side.

use super::network::Network;
use super::tape::Var;
use super::timeline::Trajectory;

/// The variable of the scenarios.
pub(crate) const SCENARIO: Var = Var::MAX;

/// What a scenario says of a cause.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Stand {
    /// Nothing.
    Free,
    /// It was never there.
    Never,
    /// It is there now, after the remedies done.
    There,
    /// It is there now, and one looks at what would be if it were cured.
    Hoped,
    /// It is not there now.
    Gone,
}

/// For each cause what each scenario says of it; one entry if all say the same.
#[derive(Debug, Clone)]
pub(crate) struct Scenarios {
    pub(crate) stands: Vec<Vec<Stand>>,
}

impl Scenarios {
    /// One scenario that says the same of all causes.
    pub(crate) fn one(network: &Network, stand: Stand) -> Self {
        Self { stands: vec![vec![stand]; network.causes().len()] }
    }

    /// How many are told apart.
    pub(crate) fn count(&self) -> usize {
        self.stands.iter().map(Vec::len).max().unwrap_or(1)
    }

    /// These rows, each with one entry a cause.
    pub(crate) fn side_by_side(network: &Network, rows: &[Vec<Stand>]) -> Self {
        let column = |cause: usize| {
            let stands: Vec<Stand> = rows.iter().map(|row| row[cause]).collect();
            if stands.windows(2).all(|pair| pair[0] == pair[1]) { stands[..1].to_vec() } else { stands }
        };
        Self { stands: (0..network.causes().len()).map(column).collect() }
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
    /// For each scenario the places of those that it allows.
    allowed: Vec<Vec<usize>>,
    pub(crate) kind: Kind,
}

impl Course {
    /// `remedies` as [`super::timeline::Timeline`] has them.
    pub(crate) fn new(remedies: &[(usize, f64)], stands: &[Stand]) -> Self {
        let mut all = vec![Trajectory::Absent, Trajectory::Present, Trajectory::Hoped];
        all.extend((0..remedies.len()).map(Trajectory::Cured));
        all.retain(|&trajectory| stands.iter().any(|&stand| allows(stand, trajectory)));
        let of = |&stand: &Stand| (0..all.len()).filter(|&place| allows(stand, all[place])).collect();
        let allowed: Vec<Vec<usize>> = stands.iter().map(of).collect();
        let kind = if all.len() == 1 {
            Kind::Fixed
        } else if allowed.iter().all(|places| places.len() == 1) {
            Kind::ByScenario
        } else {
            Kind::Open
        };
        Self { trajectories: all, allowed, kind }
    }

    /// Number of scenarios told apart.
    pub(crate) fn scenarios(&self) -> usize {
        if self.kind == Kind::Fixed { 1 } else { self.allowed.len() }
    }

    /// Whether it was never there, whatever the scenario.
    pub(crate) fn is_never(&self) -> bool {
        self.trajectories == [Trajectory::Absent]
    }

    /// Place of the trajectory in a row of the axis on which it stands.
    pub(crate) fn at(&self, row: usize) -> usize {
        if self.kind == Kind::Open { row } else { self.allowed[row][0] }
    }

    /// P(trajectory | P(there)) in a row over the axis on which it stands, and the scenarios after it if it is open.
    pub(crate) fn chance(&self, row: usize, there: f64, remedies: &[(usize, f64)]) -> f64 {
        let place = match self.kind {
            Kind::Open => {
                let (place, scenario) = (row / self.allowed.len(), row % self.allowed.len());
                if !self.allowed[scenario].contains(&place) {
                    return 0.0;
                }
                place
            }
            Kind::ByScenario | Kind::Fixed => self.at(row),
        };
        let failed = |count: usize| remedies[..count].iter().map(|remedy| 1.0 - remedy.1).product::<f64>();
        match self.trajectories[place] {
            Trajectory::Absent => 1.0 - there,
            Trajectory::Present | Trajectory::Hoped => there * failed(remedies.len()),
            Trajectory::Cured(by) => there * remedies[by].1 * failed(by),
        }
    }
}

fn allows(stand: Stand, trajectory: Trajectory) -> bool {
    match trajectory {
        Trajectory::Absent => matches!(stand, Stand::Free | Stand::Never | Stand::Gone),
        Trajectory::Present => matches!(stand, Stand::Free | Stand::There),
        Trajectory::Hoped => stand == Stand::Hoped,
        Trajectory::Cured(_) => matches!(stand, Stand::Free | Stand::Gone),
    }
}
