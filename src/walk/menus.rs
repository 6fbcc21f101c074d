//! Off the straight path of a walk: skip, back, correct, and the lists to choose from.

use super::assess::AssessError;
use super::state::{Answered, Ask, Item, Pick, Show, Work};
use super::step::Pace;
use crate::casebook::{Event, Happened, Reading, What};
use crate::ids::{CircumstanceId, RemedyId, SettingId};
use crate::knowledge::{Asks, Remedy};
use crate::plan::{Candidate, Kind};

impl Pace<'_> {
    /// Skips what is asked. A check or a circumstance nobody can tell is written down so; anything else is passed over
    /// and stays in the list of other steps. Nothing is skipped on the way to safe.
    pub(super) fn skip(&mut self) -> Result<(), AssessError> {
        match self.state.ask.clone() {
            Ask::Opening(item) => {
                self.state.opened.insert(item);
                self.opening()
            }
            Ask::MakeSafe => {
                let sentence = "Stop the machine and make it safe first. Type y once it is, or 'back'.";
                self.show = Some(Show::NotUnderstood(sentence.to_owned()));
                Ok(())
            }
            Ask::Check(id) | Ask::Target(id) => {
                self.state.passed.insert(id.as_str().to_owned());
                self.reading(Reading::CannotTell)
            }
            Ask::Circumstance(id) => {
                self.state.passed.insert(id.as_str().to_owned());
                self.happened(Happened::CannotTell)
            }
            Ask::Symptoms(_) => self.symptoms(&[]),
            Ask::Told(_) => self.take_told(&[]),
            Ask::Authority(_) => self.procedure(false),
            Ask::Locked(_) | Ask::StillLocked(_) => self.locked(None),
            Ask::HandBack(_) => self.handed_back(false),
            Ask::Before(remedy) => {
                self.state.ask = Ask::Remedy(remedy);
                Ok(())
            }
            Ask::Setting(remedy) => self.next_after_remedy(&remedy),
            Ask::PutBack(_) => self.put_back(false),
            Ask::Remedy(_) | Ask::Send => {
                self.state.passed.extend(self.state.ask.id().map(str::to_owned));
                self.next()
            }
            Ask::Pick(_) | Ask::Note | Ask::Close | Ask::Over(_) => self.cancel(),
        }
    }

    /// Gives up a list, a remark or the closing, and goes on with the walk.
    fn cancel(&mut self) -> Result<(), AssessError> {
        if self.state.ask == Ask::Close {
            self.state.passed.clear();
        }
        self.state.correcting = None;
        self.opening()
    }

    pub(super) fn back(&mut self) -> Result<(), AssessError> {
        match self.state.ask {
            Ask::Opening(item) => self.back_to_item(Some(item)),
            Ask::Told(_) => self.back_to_item(None),
            Ask::MakeSafe if self.in_danger() => {
                self.state.opened.remove(&Item::Danger);
                self.state.case.opening.danger = None;
                self.state.ask = Ask::Opening(Item::Danger);
            }
            Ask::Pick(_) | Ask::Note | Ask::Close | Ask::Over(_) => return self.cancel(),
            _ => {
                let until = self.state.correcting.unwrap_or(self.state.case.events.len());
                let answered = |e: &Event| !matches!(e.what, What::Note(_) | What::Suspicion(_));
                match self.state.case.events[..until].iter().rposition(answered) {
                    Some(index) => self.correct(index),
                    None => self.back_to_item(None),
                }
            }
        }
        Ok(())
    }

    /// Back to the item of the opening before this one, or to its last.
    fn back_to_item(&mut self, from: Option<Item>) {
        let before =
            |known: &&Item| from.is_none_or(|item| **known < item) && self.state.opened.contains(known);
        match Item::ALL.iter().rev().find(before) {
            Some(&item) => {
                self.state.correcting = None;
                self.state.opened.remove(&item);
                self.state.ask = Ask::Opening(item);
            }
            None => self.show = Some(Show::NotUnderstood("This is the first question.".to_owned())),
        }
    }

    /// Asks again what an event answered; the new answer replaces it and the old one stays in the record.
    pub(super) fn correct(&mut self, index: usize) {
        let Some(event) = self.state.case.events.get(index) else { return };
        let ask = match &event.what {
            What::Reading { check, .. }
                if self.knowledge.checks.get(check).is_some_and(|c| matches!(c.asks, Asks::Complaint)) =>
            {
                Ask::Symptoms(Vec::new())
            }
            What::Reading { check, .. } => Ask::Check(check.clone()),
            What::Circumstance { id, .. } => Ask::Circumstance(id.clone()),
            What::Remedy { id, .. } => Ask::Remedy(id.clone()),
            What::Note(_) => Ask::Note,
            What::Setting { id, new, .. } => match self.changing(id) {
                Some(remedy) if new.is_none() => Ask::Before(remedy),
                Some(remedy) => Ask::Setting(remedy),
                None => return self.not_corrected(),
            },
            What::Suspicion(_) => return self.not_corrected(),
        };
        self.state.correcting = Some(index);
        self.state.ask = ask;
    }

    fn not_corrected(&mut self) {
        let sentence = "That is a remark and stays as it is. Write another with 'note' or 'suspect'.";
        self.show = Some(Show::NotUnderstood(sentence.to_owned()));
    }

    fn changing(&self, setting: &SettingId) -> Option<RemedyId> {
        let changes = |r: &&Remedy| r.changes.as_ref().is_some_and(|c| c.value == *setting);
        self.knowledge.remedies.values().find(changes).map(|r| r.id.clone())
    }

    pub(super) fn menu(&mut self, pick: Pick) {
        if pick.is_empty() {
            let sentence = "There is nothing to choose from yet. Answer this question, or skip it with '?'.";
            self.show = Some(Show::NotUnderstood(sentence.to_owned()));
            return;
        }
        self.state.correcting = None;
        self.state.ask = Ask::Pick(pick);
    }

    pub(super) fn chosen(&mut self, place: usize) -> Result<(), AssessError> {
        let Ask::Pick(pick) = self.state.ask.clone() else { return Ok(()) };
        match pick {
            Pick::Other(candidates) => {
                if let Some(candidate) = candidates.get(place) {
                    self.propose(candidate);
                }
            }
            Pick::Reading(ids) => {
                if let Some(id) = ids.get(place) {
                    self.ask_for(id);
                }
            }
            Pick::Did(remedies) => {
                if let Some(id) = remedies.get(place) {
                    self.state.ask = Ask::Remedy(id.clone());
                }
            }
            Pick::Suspect(causes) => {
                if let Some(cause) = causes.get(place) {
                    self.remark(What::Suspicion(cause.clone()));
                    self.suspected(cause.as_str())?;
                }
            }
            Pick::Correct(events) => match events.get(place) {
                Some(&Answered::Event(index)) => self.correct(index),
                Some(&Answered::Opening(item)) => {
                    self.state.opened.remove(&item);
                    self.state.ask = Ask::Opening(item);
                }
                None => {}
            },
        }
        Ok(())
    }

    /// Any reading that somebody wants to give: nobody is told to do anything, so no lockout is asked for.
    fn ask_for(&mut self, id: &str) {
        self.state.ask = match self.knowledge.checks.get(id) {
            Some(check) if matches!(check.asks, Asks::Complaint) => Ask::Symptoms(Vec::new()),
            Some(check) => self.open(Work::Check(check.id.clone())),
            None => Ask::Circumstance(CircumstanceId::new(id)),
        };
    }

    /// A suspicion is a remark; the check that tells most about it comes next.
    fn suspected(&mut self, cause: &str) -> Result<(), AssessError> {
        self.assess()?;
        let tells = |c: &&Candidate| {
            let named = match &c.why {
                crate::plan::Reason::TellsApart(causes) | crate::plan::Reason::Happened(causes) => {
                    causes.as_slice()
                }
                _ => &[],
            };
            c.kind == Kind::Check && named.iter().any(|n| n.as_str() == cause)
        };
        let best = self.state.assessment.as_ref().and_then(|a| a.plan.next.iter().find(tells)).cloned();
        match best {
            Some(candidate) => {
                self.propose(&candidate);
                Ok(())
            }
            None => self.opening(),
        }
    }
}
