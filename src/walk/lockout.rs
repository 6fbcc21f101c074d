//! What a walk asks before hands go in: authority, the site's written procedure, a lock that is on and tried.

use super::assess::AssessError;
use super::state::{Ask, Lockout, Work};
use super::step::Pace;
use crate::casebook::What;
use crate::knowledge::How;
use crate::safety::Exposure;

impl Pace<'_> {
    /// Work behind a guard waits for authority, the written procedure, and a lock that is on and tried.
    pub(super) fn guarded(&self, work: Work, needs_isolation: bool) -> Ask {
        if !needs_isolation {
            let on = self.state.lockout.key.is_some();
            return if on && !self.is_told(&work) { Ask::HandBack(Box::new(work)) } else { self.open(work) };
        }
        match (&self.state.lockout.procedure, &self.state.lockout.key) {
            (Some(true), Some(_)) => Ask::StillLocked(Box::new(work)),
            (Some(true), None) => Ask::Locked(Box::new(work)),
            _ => Ask::Authority(Box::new(work)),
        }
    }

    /// What somebody remembers is told with any lock on.
    fn is_told(&self, work: &Work) -> bool {
        matches!(work, Work::Check(id) if self.knowledge.checks.get(id).is_some_and(|c| c.how == How::Told))
    }

    /// Whether work needs the machine to cycle.
    fn needs_power(&self, work: &Work) -> bool {
        work.of(self.knowledge).is_some_and(|worked| self.exposures(worked).has(Exposure::Running))
    }

    /// Handed back, the locks are off and the next guard opened asks for them from the start. If not, what needs power
    /// waits and what does not is done with the lock on.
    pub(super) fn handed_back(&mut self, done: bool) -> Result<(), AssessError> {
        let Ask::HandBack(work) = self.state.ask.clone() else { return Ok(()) };
        let to_try = self.state.to_try().cloned();
        if done {
            self.remark(What::Note("Handed back: guards on, people clear, every lock off.".to_owned()));
            self.state.lockout = Lockout::default();
            self.state.ask = to_try.map_or_else(|| self.open(*work), Ask::Remedy);
        } else if to_try.is_some() || self.needs_power(&work) {
            self.state.passed.insert(work.id().to_owned());
            self.next()?;
        } else {
            self.state.ask = self.open(*work);
        }
        Ok(())
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
            self.state.lockout = Lockout::default();
            self.state.ask = Ask::Authority(work);
            return Ok(());
        }
        if let Some(key) = key {
            if self.state.lockout.key.is_none() {
                self.remark(What::Note(format!("Isolated, locked and tried. The key is with {key}.")));
            }
            self.state.lockout.key = Some(key);
            self.state.ask = self.open(*work);
            Ok(())
        } else {
            self.state.lockout = Lockout { procedure: Some(false), key: None };
            self.next()
        }
    }
}
