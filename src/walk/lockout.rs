//! What a walk asks before hands go in: authority, the site's written procedure, a lock that is on and tried.

use super::assess::AssessError;
use super::state::{Ask, Lockout, Work};
use super::step::Pace;
use crate::casebook::{Case, What};
use crate::ids::{CheckId, RemedyId};
use crate::knowledge::{Check, How};
use crate::plan::{Candidate, Kind};

/// Kept as a remark when a lock went on; whose key follows.
const LOCKED: &str = "Isolated, locked and tried. The key is with ";
/// When the machine was handed back.
const HANDED_BACK: &str = "Handed back: guards on, people clear, every lock off.";
/// When the lock was found to be off or another's.
const LIFTED: &str = "The lock is off, or another's: it begins anew.";

/// The lock that is still on as far as a record says. Who may do what is asked anew, but nothing is run before it is handed back.
pub(super) fn left_on(case: &Case) -> Lockout {
    let key = case.events.iter().rev().find_map(|event| match &event.what {
        What::Note(text) if text == HANDED_BACK || text == LIFTED => Some(None),
        What::Note(text) => text.strip_prefix(LOCKED).map(|key| Some(key.trim_end_matches('.').to_owned())),
        _ => None,
    });
    Lockout { key: key.flatten(), ..Lockout::default() }
}

impl Pace<'_> {
    /// Work behind a guard waits for authority, the written procedure, and a lock that is on and tried. What is done from
    /// outside waits for the hand-back while a lock is on.
    pub(super) fn guarded(&mut self, work: Work, needs_isolation: bool) -> Ask {
        let locked = self.state.lockout.key.is_some();
        match (needs_isolation, locked, self.state.lockout.procedure) {
            (true, true, Some(true)) => Ask::StillLocked(Box::new(work)),
            (true, false, Some(true)) => Ask::Locked(Box::new(work)),
            (true, ..) => Ask::Authority(Box::new(work)),
            (false, true, _) if self.needs_power(&work) => Ask::HandBack(Box::new(work)),
            (false, ..) => self.open(work),
        }
    }

    /// Whether work from outside may need power: all but what somebody remembers, which has no steps.
    fn needs_power(&self, work: &Work) -> bool {
        let told = |check: &Check| check.how == How::Told && check.work.steps.is_empty();
        !matches!(work, Work::Check(id) if self.knowledge.checks.get(id).is_some_and(told))
    }

    /// Whether a step of the plan waits for a hand-back that was refused.
    pub(super) fn waits_for_power(&self, candidate: &Candidate) -> bool {
        let work = match candidate.kind {
            Kind::Remedy => Work::Remedy(RemedyId::new(candidate.id.clone())),
            Kind::Check => Work::Check(CheckId::new(candidate.id.clone())),
            Kind::Send | Kind::Stop => return false,
        };
        let outside = !candidate.exposures.needs_isolation() && work.of(self.knowledge).is_some();
        self.state.lockout.stays && self.state.lockout.key.is_some() && outside && self.needs_power(&work)
    }

    /// Handed back, the locks are off and the next guard opened asks for them from the start. If not, what needs power
    /// waits and something else is looked for.
    pub(super) fn handed_back(&mut self, done: bool) -> Result<(), AssessError> {
        let Ask::HandBack(work) = self.state.ask.clone() else { return Ok(()) };
        if done {
            let to_try = self.state.to_try().cloned();
            self.remark(What::Note(HANDED_BACK.to_owned()));
            self.state.lockout = Lockout::default();
            self.state.ask = to_try.map_or_else(|| self.open(*work), Ask::Remedy);
            return Ok(());
        }
        self.state.lockout.stays = true;
        self.state.passed.insert(work.id().to_owned());
        self.next()
    }

    pub(super) fn procedure(&mut self, agrees: bool) -> Result<(), AssessError> {
        let Ask::Authority(work) = self.state.ask.clone() else { return Ok(()) };
        self.state.lockout.procedure = Some(agrees);
        if agrees {
            self.state.ask = Ask::Locked(work);
            return Ok(());
        }
        self.next()
    }

    pub(super) fn locked(&mut self, key: Option<String>) -> Result<(), AssessError> {
        let (Ask::Locked(work) | Ask::StillLocked(work)) = self.state.ask.clone() else { return Ok(()) };
        let same = |name: &String| {
            self.state.lockout.key.as_ref().is_some_and(|last| last.trim().eq_ignore_ascii_case(name.trim()))
        };
        if matches!(self.state.ask, Ask::StillLocked(_)) && !key.as_ref().is_some_and(same) {
            // Lifted, or another person's: authority and isolation have lapsed.
            self.remark(What::Note(LIFTED.to_owned()));
            self.state.lockout = Lockout::default();
            self.state.ask = Ask::Authority(work);
            return Ok(());
        }
        if let Some(key) = key {
            if self.state.lockout.key.is_none() {
                self.remark(What::Note(format!("{LOCKED}{key}.")));
            }
            let stands_for = Some(work.id().to_owned());
            self.state.lockout = Lockout { key: Some(key), stands_for, ..self.state.lockout.clone() };
            self.state.ask = self.open(*work);
            Ok(())
        } else {
            self.state.lockout = Lockout { procedure: Some(false), ..Lockout::default() };
            self.next()
        }
    }
}
