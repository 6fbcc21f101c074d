//! What an answer does: a reading, a circumstance, a remedy with the setting it changes, the closing.

use super::assess::AssessError;
use super::state::{Ask, Change, Show, Work};
use super::step::Pace;
use crate::casebook::{Closing, Entry, Event, Happened, Reading, RemedyResult, What};
use crate::ids::{RemedyId, SettingId};
use crate::knowledge::{Asks, Knowledge};
use crate::weights::proof::Proof;

/// What stood in the setting of a remedy, when it was written down and nothing was typed there since.
pub fn stood(knowledge: &Knowledge, events: &[Event], remedy: &RemedyId) -> Option<String> {
    events.iter().rev().find_map(|event| match &event.what {
        What::Setting { id, old, new } if sets(knowledge, remedy, id) => {
            Some(old.clone().filter(|_| new.is_none()))
        }
        _ => None,
    })?
}

/// A remark, which answers nothing.
fn aside(what: &What) -> bool {
    matches!(what, What::Note(_) | What::Suspicion(_))
}

fn sets(knowledge: &Knowledge, remedy: &RemedyId, setting: &SettingId) -> bool {
    let changes = knowledge.remedies.get(remedy).and_then(|r| r.changes.as_ref());
    changes.is_some_and(|changes| changes.value == *setting)
}

impl Pace<'_> {
    pub(super) fn reading(&mut self, reading: Reading) -> Result<(), AssessError> {
        let (Ask::Check(id) | Ask::Target(id)) = self.state.ask.clone() else { return Ok(()) };
        let Some(check) = self.knowledge.checks.get(&id) else { return Ok(()) };
        if let Reading::Fills(fills) = &reading {
            self.state.target = Some((fills.target, fills.unit.clone()));
        }
        let run = matches!(check.asks, Asks::Run) && reading != Reading::CannotTell;
        let proved_before = self.proved();
        let moment = self.moment();
        self.event(What::Reading { check: id, reading, moment });
        self.opening()?;
        if run {
            self.show = Some(Show::Run);
        }
        if (run || !proved_before) && self.proved() {
            self.state.ask = Ask::Close;
        }
        Ok(())
    }

    pub(super) fn happened(&mut self, answer: Happened) -> Result<(), AssessError> {
        if let Ask::Circumstance(id) = self.state.ask.clone() {
            self.event(What::Circumstance { id, answer });
        }
        self.opening()
    }

    /// What stood there, before anything is changed; or what stands there now.
    pub(super) fn setting(&mut self, old: Option<String>, new: Option<String>) -> Result<(), AssessError> {
        let (Ask::Before(remedy) | Ask::Setting(remedy)) = self.state.ask.clone() else { return Ok(()) };
        let before = matches!(self.state.ask, Ask::Before(_));
        let corrected = self.state.correcting.is_some();
        if let Some(setting) = self.knowledge.remedies.get(&remedy).and_then(|r| r.changes.clone()) {
            self.event(What::Setting { id: setting.value, old, new });
        }
        if corrected {
            return self.opening();
        }
        if before {
            self.state.ask = Ask::Remedy(remedy);
            return Ok(());
        }
        self.next_after_remedy(&remedy)
    }

    pub(super) fn result(&mut self, result: RemedyResult) -> Result<(), AssessError> {
        let Ask::Remedy(id) = self.state.ask.clone() else { return Ok(()) };
        let corrected = self.state.correcting;
        self.event(What::Remedy { id: id.clone(), result });
        if corrected.is_some() && corrected != self.state.case.events.iter().rposition(|e| !aside(&e.what)) {
            return self.opening();
        }
        if self.changes(&id) {
            self.state.ask = Ask::Setting(id);
            return Ok(());
        }
        self.next_after_remedy(&id)
    }

    /// Done under the lock, as the record says from now on; how it went takes that one's place once it is handed back.
    pub(super) fn done_to_try(&mut self) {
        let Ask::Remedy(id) = self.state.ask.clone() else { return };
        let index = self.state.correcting.unwrap_or(self.state.case.events.len());
        self.event(What::Remedy { id: id.clone(), result: RemedyResult::NotTried });
        self.state.correcting = Some(index);
        self.state.ask = Ask::HandBack(Box::new(Work::Remedy(id)));
    }

    pub(super) fn next_after_remedy(&mut self, id: &RemedyId) -> Result<(), AssessError> {
        // Something is new, so what nobody could tell before may be told now.
        self.state.passed.clear();
        self.next()?;
        let result = self.state.case.events.iter().rev().find_map(|e| match &e.what {
            What::Remedy { id: done, result } if done == id => Some(*result),
            _ => None,
        });
        match result {
            Some(RemedyResult::StillThere) => {
                if let Some(ask) = self.to_put_back() {
                    self.state.ask = ask;
                }
            }
            Some(RemedyResult::ProvedGone) => self.state.ask = Ask::Close,
            _ => {}
        }
        Ok(())
    }

    /// What stood on the screen when a call broke off, where the plan alone would not ask it again: the new figure of
    /// a setting right after its remedy, and the closing right after the run that proves the cure.
    pub(super) fn broken_off(&self) -> Option<Ask> {
        match &self.state.case.events.iter().rfind(|e| !aside(&e.what))?.what {
            What::Remedy { id, .. } if self.changes(id) => Some(Ask::Setting(id.clone())),
            What::Setting { .. } => self.to_put_back(),
            What::Reading { reading: Reading::Fills(_), .. } if self.proved() => Some(Ask::Close),
            _ => None,
        }
    }

    fn proved(&self) -> bool {
        matches!(self.state.assessment.as_ref().and_then(|a| a.proof.as_ref()), Some(Proof::Proved))
    }

    /// One change at a time: what did not help goes back before the next is made.
    fn to_put_back(&self) -> Option<Ask> {
        let mut changed = None;
        for event in self.state.case.events.iter().rev() {
            match &event.what {
                What::Setting { id, old: Some(old), new: Some(new) } if changed.is_none() && old != new => {
                    changed = Some((id, Change { setting: id.clone(), from: new.clone(), to: old.clone() }));
                }
                What::Remedy { id, result: RemedyResult::StillThere } => {
                    let (setting, change) = changed?;
                    return sets(self.knowledge, id, setting).then_some(Ask::PutBack(change));
                }
                What::Note(_) | What::Suspicion(_) => {}
                _ => return None,
            }
        }
        None
    }

    /// Whether what did not help was put back.
    pub(super) fn put_back(&mut self, done: bool) -> Result<(), AssessError> {
        let Ask::PutBack(change) = self.state.ask.clone() else { return Ok(()) };
        // Left as it is stands in the record too, so that nobody is asked again.
        let Change { setting, from, to } = change;
        let new = if done { to } else { from.clone() };
        self.event(What::Setting { id: setting, old: Some(from), new: Some(new) });
        self.opening()
    }

    pub(super) fn close(&mut self, closing: Closing) {
        let proof = self.state.assessment.as_ref().and_then(|a| a.proof.as_ref());
        if closing == Closing::Cured && !matches!(proof, Some(Proof::Proved)) {
            let sentence = "Cured needs a run of fills since the remedy that proves it. Choose 'gone, not proved', or make the run.";
            self.show = Some(Show::NotUnderstood(sentence.to_owned()));
            return;
        }
        self.entries.push(Entry::Close(closing));
        self.state.case.closed = Some(closing);
        self.state.ask = Ask::Over(Some(closing));
    }
}
