//! The clock that every policy is measured by: minutes of stopped or held line.
//!
//! A step takes what the plan takes it for (doing, walking, fetching; what is asked from memory at the rate of a desk); isolating and handing back are paid once a lockout,
//! however many steps share it. A lockout ends when the machine has to run, and when the call ends.

use crate::belief::Posterior;
use crate::knowledge::{Asks, Check, Remedy, Work};
use crate::plan::{ASK, DESK, LOOK, Situation};
use crate::safety::Exposure;

/// What is less likely than this is found as late as this: then the maker is asked.
const LOOKED_FOR: f64 = 0.005;
/// Minutes to stop the machine and make it safe.
const STOP: f64 = 1.0;

/// Minutes so far, and how often the machine was locked out.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub(super) struct Clock {
    pub(super) minutes: f64,
    pub(super) lockouts: usize,
    pub(super) locked: bool,
}

/// What a piece of work would take now, and how it would leave the lock.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Bill {
    minutes: f64,
    lockouts: usize,
    locked: bool,
}

impl Clock {
    pub(super) fn stop(&mut self) {
        self.minutes += STOP;
    }

    pub(super) fn ask(&mut self) {
        self.minutes += DESK * ASK;
    }

    pub(super) fn check(&mut self, situation: &Situation<'_>, check: &Check) {
        self.pay(of_check(situation, self.locked, check));
    }

    /// What a check would take from here.
    pub(super) fn minutes_of(situation: &Situation<'_>, locked: bool, check: &Check) -> f64 {
        of_check(situation, locked, check).minutes
    }

    /// The remedy itself, parts and all; the check that proves it is paid as a check.
    pub(super) fn remedy(&mut self, situation: &Situation<'_>, remedy: &Remedy) {
        let own = situation.own_minutes(&remedy.work);
        self.pay(bill(situation, self.locked, (&remedy.work, own), false));
        self.minutes += remedy.parts.iter().map(|(_, held)| held).sum::<f64>();
    }

    /// What was done did not help and is put back.
    pub(super) fn undo(&mut self, remedy: &Remedy) {
        self.minutes += remedy.undo_minutes;
    }

    /// Somebody comes and finds the causes; `behind` are those still to be found.
    pub(super) fn visit(&mut self, situation: &Situation<'_>, believed: &Posterior, behind: &[usize]) {
        self.minutes += situation.visit + LOOK * looks(believed, behind);
    }

    pub(super) fn hand_back(&mut self, situation: &Situation<'_>) {
        if self.locked {
            self.minutes += situation.view.machine.lockout.1;
            self.locked = false;
        }
    }

    fn pay(&mut self, bill: Bill) {
        self.minutes += bill.minutes;
        self.lockouts += bill.lockouts;
        self.locked = bill.locked;
    }
}

fn of_check(situation: &Situation<'_>, locked: bool, check: &Check) -> Bill {
    let own = situation.held_minutes(check);
    bill(situation, locked, (&check.work, own), matches!(check.asks, Asks::Run))
}

fn bill(situation: &Situation<'_>, locked: bool, (work, own): (&Work, f64), run: bool) -> Bill {
    let (isolate, restore) = situation.view.machine.lockout;
    let exposures = situation.exposures(work);
    if exposures.needs_isolation() {
        let first = if locked { 0.0 } else { isolate };
        return Bill { minutes: own + first, lockouts: usize::from(!locked), locked: true };
    }
    let runs = run || exposures.has(Exposure::Running);
    let handing_back = if locked && runs { restore } else { 0.0 };
    Bill { minutes: own + handing_back, lockouts: 0, locked: locked && !runs }
}

/// How many looks it takes to find all of `behind`, when each halves what is still possible, and one to be sure: what was
/// thought likely is found soon, what nobody suspects or no cause is behind last.
fn looks(believed: &Posterior, behind: &[usize]) -> f64 {
    let halvings = |now: f64| -now.clamp(LOOKED_FOR, 1.0).log2();
    let each = behind.iter().map(|&cause| halvings(believed.causes[cause].now)).sum();
    1.0 + if behind.is_empty() { halvings(0.0) } else { each }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::belief::Presence;

    #[test]
    fn whoever_comes_finds_the_likely_soon_and_what_nobody_suspects_last() {
        let presence = |now| Presence { was: now, now, ln_odds: 0.0 };
        let believed = Posterior {
            causes: [0.125, 0.5, 0.001, 1.0].map(presence).to_vec(),
            circumstances: Vec::new(),
            ln_evidence: 0.0,
            sampled: None,
        };
        assert_eq!(looks(&believed, &[3]), 1.0);
        assert_eq!(looks(&believed, &[1]), 2.0);
        assert_eq!(looks(&believed, &[1, 0]), 5.0);
        assert_eq!(looks(&believed, &[2]), looks(&believed, &[]));
        assert!(looks(&believed, &[2]) > looks(&believed, &[0]));
    }
}
