//! The clock that every policy is measured by: minutes of stopped or held line.
//!
//! A step takes what the plan takes it for (doing, walking, fetching; what is asked from memory at the rate of a desk); isolating and handing back are paid once a lockout,
//! however many steps share it. A lockout ends when the machine has to run, and when the call ends.

use crate::belief::Posterior;
use crate::knowledge::{Asks, Check, Remedy, Work};
use crate::plan::{ASK, DESK, LOOK, Situation};
use crate::safety::Exposure;

/// Whoever comes looks for causes that are likelier than this, then asks the maker.
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
        self.minutes += situation.visit + LOOK * looked_at(believed, behind) as f64;
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

/// How many causes are looked at until all of `behind` are found.
fn looked_at(believed: &Posterior, behind: &[usize]) -> usize {
    let mut order: Vec<usize> =
        (0..believed.causes.len()).filter(|&cause| believed.causes[cause].now > LOOKED_FOR).collect();
    order.sort_by(|&a, &b| believed.causes[b].now.total_cmp(&believed.causes[a].now).then(a.cmp(&b)));
    let place = |cause: &usize| order.iter().position(|known| known == cause);
    // What nobody suspects, or what no cause is behind, is found when all else has been looked at.
    let places = behind.iter().map(|cause| place(cause).map_or(order.len() + 1, |place| place + 1));
    places.max().unwrap_or(order.len() + 1)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::belief::Presence;

    #[test]
    fn whoever_comes_looks_at_the_likeliest_first_and_at_what_nobody_suspects_last() {
        let presence = |now| Presence { was: now, now, ln_odds: 0.0 };
        let believed = Posterior {
            causes: [0.1, 0.6, 0.001, 0.3].map(presence).to_vec(),
            circumstances: Vec::new(),
            ln_evidence: 0.0,
            sampled: None,
        };
        assert_eq!(looked_at(&believed, &[1]), 1);
        assert_eq!(looked_at(&believed, &[1, 0]), 3);
        assert_eq!(looked_at(&believed, &[2]), 4);
        assert_eq!(looked_at(&believed, &[]), 4);
    }
}
