//! What a recorded case took: questions and checks as recorded; lockouts and minutes as the book has them, since a record's
//! times hold waiting, the way there and the night between.

use crate::casebook::{Case, RemedyResult, What};
use crate::knowledge::{Asks, Check, How, Remedy, Work};
use crate::plan::{ASK, DESK};
use crate::safety::Exposure;
use crate::walk::Desk;

/// What was done in a case.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub struct Taken {
    /// Questions and checks, the complaint not counted.
    pub checks: usize,
    /// Lockouts: one for all work behind guards until the machine runs again.
    pub lockouts: usize,
    /// Minutes by the book of checks, remedies, parts and lockouts, without any way there.
    pub minutes: f64,
}

/// Everything in a case that this knowledge knows.
pub(super) fn taken(desk: &Desk<'_>, case: &Case) -> Taken {
    let mut ledger = Ledger { desk, taken: Taken::default(), locked: false };
    for event in &case.events {
        match &event.what {
            What::Reading { check, .. } => {
                let known = desk.knowledge.checks.get(check);
                if let Some(check) = known.filter(|check| !matches!(check.asks, Asks::Complaint)) {
                    ledger.check(check);
                }
            }
            What::Circumstance { .. } => {
                ledger.taken.checks += 1;
                ledger.taken.minutes += DESK * ASK;
            }
            What::Remedy { id, result } => {
                if let Some(remedy) = desk.knowledge.remedies.get(id) {
                    ledger.remedy(remedy, *result);
                }
            }
            _ => {}
        }
    }
    ledger.taken
}

struct Ledger<'d, 'k> {
    desk: &'d Desk<'k>,
    taken: Taken,
    locked: bool,
}

impl Ledger<'_, '_> {
    fn check(&mut self, check: &Check) {
        self.taken.checks += 1;
        self.work(&check.work, if check.how == How::Told { DESK } else { 1.0 });
        if matches!(check.asks, Asks::Run) {
            self.locked = false;
        }
    }

    fn remedy(&mut self, remedy: &Remedy, result: RemedyResult) {
        self.work(&remedy.work, 1.0);
        self.taken.minutes += remedy.parts.iter().map(|(_, held)| held).sum::<f64>();
        // Whoever knows how it went has let the machine run.
        self.locked &= result == RemedyResult::NotTried;
    }

    fn work(&mut self, work: &Work, rate: f64) {
        let machine = self.desk.view.machine;
        let exposures = machine.exposures(work);
        self.taken.minutes += rate * work.minutes;
        if !exposures.needs_isolation() {
            self.locked &= !exposures.has(Exposure::Running);
        } else if !self.locked {
            let (isolate, restore) = machine.lockout;
            self.taken.lockouts += 1;
            self.taken.minutes += isolate + restore;
            self.locked = true;
        }
    }
}
