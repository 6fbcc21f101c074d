//! Where a course of action stands: how much of each scenario is left after what was answered, and what has been cured in it.
//!
//! Nothing is normalised. A state carries the probability of getting there, so that the minutes of its branches simply add up.

use super::prospect::{Pair, Prospect};
use crate::belief::MOST_TOGETHER;

/// How far a course of action has come.
#[derive(Debug, Clone)]
pub(super) struct State {
    /// For each scenario its probability with the answers so far.
    pub(super) mass: Vec<f64>,
    /// For each cause of each scenario P(not cured yet).
    uncured: Vec<f64>,
    /// For each scenario P(complaint still there).
    stays: Vec<f64>,
    /// P(getting here, and the complaint is still there).
    pub(super) left: f64,
    /// Acts not done yet that could help, ascending.
    pub(super) free: Vec<usize>,
    /// Questions not asked yet.
    pub(super) open: Vec<usize>,
    /// Lockouts that stand.
    pub(super) stands: Vec<bool>,
}

impl State {
    pub(super) fn new(prospect: &Prospect) -> Self {
        let scenarios = &prospect.scenarios;
        let stays: Vec<f64> = scenarios.iter().map(|s| 1.0 - s.gone[0]).collect();
        let mass: Vec<f64> = scenarios.iter().map(|s| s.weight).collect();
        let mut state = Self {
            uncured: vec![1.0; scenarios.iter().map(|s| s.causes.len()).sum()],
            left: 0.0,
            free: (0..prospect.acts.len()).filter(|&act| !prospect.bears[act].is_empty()).collect(),
            open: (0..prospect.enquiries.len()).collect(),
            stands: prospect.lockouts.iter().map(|lockout| lockout.stands).collect(),
            mass,
            stays,
        };
        state.left = state.total();
        state
    }

    fn total(&self) -> f64 {
        self.remaining().sum()
    }

    /// What is left of each scenario.
    pub(super) fn remaining(&self) -> impl Iterator<Item = f64> {
        self.mass.iter().zip(&self.stays).map(|(mass, stays)| mass * stays)
    }

    /// Minutes of sending somebody now, times the probability of being here.
    pub(super) fn call(&self, prospect: &Prospect) -> f64 {
        self.left * prospect.visit(self.remaining(), self.left)
    }

    /// P(complaint stays | scenario), each cause left open so much more.
    fn stays(&self, prospect: &Prospect, scenario: usize, more: impl Fn(usize) -> f64) -> f64 {
        let gone = &prospect.scenarios[scenario].gone;
        let mut table = [0.0; 1 << MOST_TOGETHER];
        table[..gone.len()].copy_from_slice(gone);
        let mut half = gone.len() / 2;
        for flat in prospect.flat(scenario).rev() {
            let uncured = self.uncured[flat] * more(flat);
            for set in 0..half {
                table[set] = uncured * table[set] + (1.0 - uncured) * table[set + half];
            }
            half /= 2;
        }
        1.0 - table[0]
    }

    /// What is left once one act more has failed.
    pub(super) fn left_after(&self, prospect: &Prospect, act: usize) -> f64 {
        let fails = &prospect.fails[act];
        self.left_with(prospect, &prospect.bears[act], |flat| fails[flat])
    }

    /// What is left once both acts of a pair have failed.
    pub(super) fn left_after_both(&self, prospect: &Prospect, pair: &Pair) -> f64 {
        let (one, other) = (&prospect.fails[pair.acts.0], &prospect.fails[pair.acts.1]);
        self.left_with(prospect, &pair.bears, |flat| one[flat] * other[flat])
    }

    /// How much of what is left hangs on both acts of a pair.
    pub(super) fn hangs(&self, pair: &Pair) -> f64 {
        pair.hangs.iter().map(|&scenario| self.mass[scenario] * self.stays[scenario]).sum()
    }

    fn left_with(&self, prospect: &Prospect, at: &[usize], more: impl Fn(usize) -> f64 + Copy) -> f64 {
        let mut left = self.left;
        for &scenario in at {
            if self.mass[scenario] > 0.0 {
                left -= self.mass[scenario] * (self.stays[scenario] - self.stays(prospect, scenario, more));
            }
        }
        left.max(0.0)
    }

    /// One act more was done and did not end it. The lockouts stay as they are.
    pub(super) fn act(&mut self, prospect: &Prospect, act: usize) {
        self.free.retain(|free| *free != act);
        for &scenario in &prospect.bears[act] {
            for flat in prospect.flat(scenario) {
                self.uncured[flat] *= prospect.fails[act][flat];
            }
            self.stays[scenario] = self.stays(prospect, scenario, |_| 1.0);
        }
        self.left = self.total();
    }

    /// The state after each answer to a question.
    pub(super) fn asked(&self, prospect: &Prospect, enquiry: usize) -> impl Iterator<Item = State> {
        let asked = &prospect.enquiries[enquiry];
        let outcomes = asked.chances.first().map_or(0, Vec::len);
        let mut base = self.clone();
        base.open.retain(|open| *open != enquiry);
        if asked.shuts {
            base.shut(prospect);
        }
        if let Some(lockout) = asked.lockout {
            base.stands[lockout] = true;
        }
        (0..outcomes).map(move |outcome| {
            let mut state = base.clone();
            state.mass.iter_mut().zip(&asked.chances).for_each(|(mass, chances)| *mass *= chances[outcome]);
            state.left = state.total();
            state
        })
    }

    /// Minutes that opening a guard adds now.
    pub(super) fn around(&self, prospect: &Prospect, lockout: Option<usize>) -> f64 {
        lockout
            .filter(|&lockout| !self.stands[lockout])
            .map_or(0.0, |lockout| prospect.lockouts[lockout].around)
    }

    /// Minutes of a question, times the probability of being here.
    pub(super) fn asking(&self, prospect: &Prospect, question: usize) -> f64 {
        let asked = &prospect.enquiries[question];
        self.left * (asked.minutes + self.around(prospect, asked.lockout))
    }

    /// Minutes of one act by itself, its lockout and its proof included.
    pub(super) fn alone(&self, prospect: &Prospect, act: usize) -> f64 {
        let act = &prospect.acts[act];
        act.minutes + act.proof + self.around(prospect, act.lockout)
    }

    /// The guard is shut so that a cure can be proved: lockouts that do not allow a proof inside end.
    pub(super) fn shut(&mut self, prospect: &Prospect) {
        let inside = prospect.lockouts.iter().map(|lockout| lockout.proves_inside);
        self.stands.iter_mut().zip(inside).for_each(|(stands, inside)| *stands &= inside);
    }
}
