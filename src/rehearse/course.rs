//! One simulated call from complaint to proof of cure, or to somebody coming.

use std::sync::Arc;

use super::book::{Book, SETTINGS};
use super::chance::{dice, drawn};
use super::clock::Clock;
use super::mind::{Mind, Thought};
use super::policy::{Board, Chosen, Move, Plans, Policy};
use super::record::{Question, Record, Spot, is_run};
use super::world::World;
use crate::belief::BeliefError;
use crate::plan::TOLD;

/// A call is broken off after so many steps; then somebody comes (judgement: nobody answers more on the telephone).
const MOST_STEPS: usize = 25;
/// How often a question is answered with 'cannot tell' (judgement).
const CANNOT_TELL: f64 = 0.05;

/// How one call went.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Ended {
    /// The best place, from 0, of a cause behind the complaint when the policy acted; none when only what is in no book is.
    pub(super) place: Option<usize>,
    pub(super) minutes: f64,
    pub(super) checks: usize,
    pub(super) lockouts: usize,
    pub(super) by_phone: bool,
    /// Whether the belief could not be worked out, so that somebody was sent.
    pub(super) not_weighed: bool,
}

/// What all calls on a machine share.
pub(super) struct Room<'a, 'd, 'k> {
    pub(super) book: &'a Book<'d, 'k>,
    pub(super) mind: &'a Mind,
    pub(super) plans: &'a Plans<'k>,
    pub(super) policy: Policy,
}

struct Call<'a, 'd, 'k, 'n> {
    room: &'a Room<'a, 'd, 'k>,
    world: World<'n>,
    record: Record,
    setting: usize,
    place: Option<&'k str>,
    clock: Clock,
    checks: usize,
    /// Where the causes behind the complaint stood when the policy acted for the first time.
    found: Option<usize>,
    acted: bool,
    behind: Vec<usize>,
}

/// What stood when a step was chosen, and the step.
#[derive(Debug, Clone)]
pub(super) struct Decision<'k> {
    pub(super) record: Record,
    pub(super) spot: Spot<'k>,
    pub(super) chosen: Chosen,
}

/// Plays a call to its end.
pub(super) fn play(room: &Room<'_, '_, '_>, world: World<'_>) -> Ended {
    watched(room, world, &mut |_| ())
}

/// Plays a call to its end under somebody's eyes.
pub(super) fn watched<'k>(
    room: &Room<'_, '_, 'k>,
    world: World<'_>,
    watch: &mut dyn FnMut(Decision<'k>),
) -> Ended {
    let record = Record::new(world.named.clone());
    let setting = drawn_setting(world.seed());
    let behind = world.behind();
    let (clock, place) = (Clock::default(), None);
    let mut call =
        Call { room, world, record, setting, place, clock, checks: 0, found: None, acted: false, behind };
    call.begin();
    let by_phone = call.through(watch);
    Ended {
        place: call.found,
        minutes: call.clock.minutes,
        checks: call.checks,
        lockouts: call.clock.lockouts,
        by_phone: by_phone == Ok(true),
        not_weighed: by_phone.is_err(),
    }
}

/// Who calls: drawn by the shares of the settings.
fn drawn_setting(seed: u64) -> usize {
    let shares: Vec<f64> = SETTINGS.iter().map(|setting| setting.share).collect();
    drawn(&mut dice(seed, "setting", 0), &shares)
}

impl<'k> Call<'_, '_, 'k, '_> {
    fn spot(&self) -> Spot<'k> {
        Spot { setting: self.setting, place: self.place, locked: self.clock.locked }
    }

    fn begin(&mut self) {
        let nothing = crate::belief::Evidence::default();
        let situation = self.record.situation(self.room.book, self.spot(), &nothing, &[]);
        if situation.stop {
            self.clock.stop();
        }
    }

    /// Steps until the complaint is gone (`true`) or somebody comes. When the belief is out of reach somebody is sent.
    fn through(&mut self, watch: &mut dyn FnMut(Decision<'k>)) -> Result<bool, BeliefError> {
        for _ in 0..MOST_STEPS {
            let thought = self.thought()?;
            let board =
                Board { book: self.room.book, record: &self.record, spot: self.spot(), thought: &thought };
            let chosen = match board.choose(self.room.policy, self.room.plans) {
                Ok(chosen) => chosen,
                Err(error) => {
                    self.send(&thought);
                    return Err(error);
                }
            };
            watch(Decision { record: self.record.clone(), spot: self.spot(), chosen: chosen.clone() });
            match chosen.step {
                Move::Ask(question) => self.ask(question),
                Move::Remedies(remedies) => {
                    self.note(&thought);
                    if self.remedies(&remedies) {
                        return Ok(true);
                    }
                }
                Move::Send => break,
            }
        }
        let thought = self.thought()?;
        self.note(&thought);
        self.send(&thought);
        Ok(false)
    }

    /// What is believed; where that cannot be worked out, somebody comes who knows as little as at the start.
    fn thought(&mut self) -> Result<Arc<Thought>, BeliefError> {
        let found = self.room.mind.of(self.room.book, &self.record);
        if found.is_err() {
            let start = Record::new(self.record.complaint().to_vec());
            if let Ok(thought) = self.room.mind.of(self.room.book, &start) {
                self.send(&thought);
            }
        }
        found
    }

    /// Remembers where the causes behind the complaint stand when the policy acts for the first time.
    fn note(&mut self, thought: &Thought) {
        if !self.acted {
            self.acted = true;
            let ranked = thought.ranked(self.room.book);
            self.found = ranked.iter().position(|cause| self.behind.contains(cause));
        }
    }

    fn send(&mut self, thought: &Thought) {
        let situation = self.record.situation(self.room.book, self.spot(), &thought.evidence, &[]);
        self.clock.hand_back(&situation);
        self.clock.visit(&situation, &thought.posterior, &self.world.behind());
    }

    fn ask(&mut self, question: Question) {
        let book = self.room.book;
        let time = self.record.remedies();
        let name = book.id(question);
        self.checks += 1;
        let told = !dice(self.world.seed(), &format!("cannot tell {name}"), time).chance(CANNOT_TELL);
        let (outcome, disturbs) = match question {
            Question::Circumstance(index) => {
                self.clock.ask();
                let (hit, alarm) = TOLD;
                let yes = if self.world.happened[index] { hit } else { alarm };
                let happened = dice(self.world.seed(), name, 0).chance(yes);
                (usize::from(!happened), false)
            }
            Question::Check(check) => {
                let asked = &book.checks[check];
                self.pay(check);
                let (outcome, there) = self.world.answer(&asked.table, name, time);
                let outcome = if is_run(asked.entry) { self.shown(outcome, &there, time) } else { outcome };
                (outcome, !asked.entry.work.disturbs.is_empty())
            }
        };
        if let (Question::Check(check), true, true) = (question, disturbs, told) {
            self.world.disturb(&book.disturbed(&book.checks[check].entry.work));
        }
        self.record.answer(question, told.then_some(outcome), disturbs);
    }

    /// What a run of fills shows, as a set of its findings. The plan's check says 'several' and no more; here a run names them:
    /// those that are there, or by mistake one or two more.
    fn shown(&self, outcome: usize, there: &[bool], time: u64) -> usize {
        let mut set = match outcome {
            0 => return 0,
            one if one <= there.len() => return 1 << (one - 1),
            _ => there
                .iter()
                .enumerate()
                .filter(|(_, there)| **there)
                .fold(0, |set, (place, _)| set | 1 << place),
        };
        let mut dice = dice(self.world.seed(), "by mistake", time);
        while usize::count_ones(set) < 2 && there.len() > 1 {
            set |= 1 << dice.below(there.len());
        }
        set
    }

    fn pay(&mut self, check: usize) {
        let entry = self.room.book.checks[check].entry;
        let nothing = crate::belief::Evidence::default();
        let situation = self.record.situation(self.room.book, self.spot(), &nothing, &[]);
        self.clock.check(&situation, entry);
        self.place = Some(entry.work.place.value.as_str());
    }

    /// Does remedies in one lockout and proves them; whether nothing of the complaint is left. A proof that fails says that it is
    /// still there, and no more.
    fn remedies(&mut self, remedies: &[usize]) -> bool {
        let book = self.room.book;
        let nothing = crate::belief::Evidence::default();
        for (place, &remedy) in remedies.iter().enumerate() {
            let entry = book.remedies[remedy];
            let situation = self.record.situation(book, self.spot(), &nothing, &[]);
            self.clock.remedy(&situation, entry);
            self.place = Some(entry.work.place.value.as_str());
            self.world.treat(
                book.cured_by(remedy),
                entry.works,
                entry.id.as_str(),
                &book.disturbed(&entry.work),
            );
            if place + 1 < remedies.len() {
                self.record.not_tried_after(remedy);
            } else {
                self.record.still_there_after(remedy);
            }
        }
        let last = remedies.last().map(|&remedy| book.remedies[remedy]);
        if let Some(proof) = last.and_then(|entry| book.check(&entry.proved_by.value)) {
            self.pay(proof);
        }
        let situation = self.record.situation(book, self.spot(), &nothing, &[]);
        if self.world.is_gone() {
            self.clock.hand_back(&situation);
            return true;
        }
        remedies.iter().for_each(|&remedy| self.clock.undo(book.remedies[remedy]));
        false
    }
}
