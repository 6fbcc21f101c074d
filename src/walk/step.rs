//! The diagnosis as a pure state machine: `step(state, input)` gives the next state, what must be on disk before it
//! is shown, and what is asked. Terminal, pipe, file and browser drive the same one.

use super::answers::stood;
use super::assess::{AssessError, assess};
use super::desk::Desk;
use super::input::Input;
use super::lockout::left_on;
use super::opening::items_answered;
use super::state::{Ask, Item, Lockout, Show, State, Step, Work};
use crate::casebook::{Case, Entry, Event, What};
use crate::ids::{CheckId, CircumstanceId, RemedyId};
use crate::knowledge::{Asks, Knowledge};
use crate::plan::{Candidate, Kind};

/// Drives a walk over one knowledge. It never prints, reads no clock and writes nothing.
pub struct Walker<'k> {
    knowledge: &'k Knowledge,
}

/// A step in the making.
pub(super) struct Pace<'k> {
    pub(super) knowledge: &'k Knowledge,
    pub(super) state: State,
    pub(super) entries: Vec<Entry>,
    pub(super) show: Option<Show>,
}

impl<'k> Walker<'k> {
    /// Walks over this knowledge.
    pub fn new(knowledge: &'k Knowledge) -> Self {
        Self { knowledge }
    }

    /// The first state of a new case. Without a machine the opening asks for it; with a danger said, safety comes
    /// before the first question.
    pub fn begin(&self, case: Case, machine_known: bool) -> Result<Step, AssessError> {
        let state = State {
            case,
            machine_known,
            ask: Ask::Opening(Item::Danger),
            assessment: None,
            lockout: Lockout::default(),
            correcting: None,
            target: None,
            opened: std::collections::BTreeSet::new(),
            speaker: None,
            machines: self.knowledge.machines.keys().cloned().collect(),
            made_safe: false,
            passed: std::collections::BTreeSet::new(),
            resumed: false,
            told: Vec::new(),
            offered: Vec::new(),
        };
        let mut pace = self.pace(state);
        if pace.in_danger() {
            pace.state.opened.insert(Item::Danger);
            pace.entries.push(Entry::Opening(pace.state.case.opening.clone()));
        }
        pace.opening()?;
        Ok(pace.done())
    }

    /// Keeps what some words of the caller propose, for a person to confirm later in the opening.
    pub fn listen(&self, state: State, words: &str) -> State {
        let mut pace = self.pace(state);
        pace.hear(words);
        pace.state
    }

    /// Takes a case up again. Authority and isolation have lapsed, so who is there is asked anew.
    pub fn resume(&self, mut case: Case, machine_known: bool) -> Result<Step, AssessError> {
        lapse(&mut case);
        let closed = case.closed.take().is_some();
        let mut step = self.begin(case, machine_known)?;
        let (case, opened) = (&step.state.case, &mut step.state.opened);
        opened.extend(items_answered(case, machine_known));
        opened.remove(&Item::Who);
        let mut pace = self.pace(step.state);
        pace.state.target = last_target(&pace.state.case);
        pace.state.lockout = left_on(&pace.state.case);
        pace.state.resumed = true;
        pace.opening()?;
        if closed {
            pace.entries.push(Entry::Continue);
            let sentence = "This case was closed. It is open again; 'close' closes it.";
            pace.show = Some(Show::Said(sentence.to_owned()));
        }
        Ok(pace.done())
    }

    /// A case with one answer asked again, counted from one; none when there is no such answer, or it is a remark
    /// that nothing replaces. Who is there is asked anew before the walk goes on.
    pub fn correcting(&self, mut case: Case, number: usize) -> Result<Option<State>, AssessError> {
        let Some(index) = number.checked_sub(1).filter(|i| *i < case.events.len()) else { return Ok(None) };
        lapse(&mut case);
        let mut state = self.begin(case, true)?.state;
        state.opened.extend(Item::ALL.iter().filter(|item| **item != Item::Who));
        state.target = last_target(&state.case);
        let mut pace = self.pace(state);
        pace.assess()?;
        pace.correct(index);
        Ok(pace.state.correcting.is_some().then_some(pace.state))
    }

    /// One step.
    pub fn step(&self, state: State, input: Input) -> Result<Step, AssessError> {
        let mut pace = self.pace(state);
        pace.take(input)?;
        Ok(pace.done())
    }

    fn pace(&self, state: State) -> Pace<'k> {
        Pace { knowledge: self.knowledge, state, entries: Vec::new(), show: None }
    }
}

/// Authority is of the moment: nobody has it when a case is taken up again.
fn lapse(case: &mut Case) {
    case.people.iter_mut().for_each(|person| person.may.clear());
}

fn last_target(case: &Case) -> Option<(f64, String)> {
    let fills = case.events.iter().rev().find_map(Event::fills)?;
    Some((fills.target, fills.unit.clone()))
}

impl Pace<'_> {
    fn done(self) -> Step {
        Step { state: self.state, entries: self.entries, show: self.show }
    }

    /// Thinks the case over.
    pub(super) fn assess(&mut self) -> Result<(), AssessError> {
        if !self.state.machine_known {
            self.state.assessment = None;
            return Ok(());
        }
        let mut case = self.state.case.clone();
        if self.state.lockout.procedure == Some(false) {
            lapse(&mut case);
        }
        let desk = Desk::for_case(self.knowledge, &case)?;
        let mut assessment = assess(&desk, &case, None)?;
        if self.state.made_safe {
            assessment.plan.next.retain(|c| c.kind != Kind::Stop);
        }
        self.state.assessment = Some(assessment);
        Ok(())
    }

    /// Asks the best next step that nobody passed over.
    pub(super) fn next(&mut self) -> Result<(), AssessError> {
        self.state.correcting = None;
        self.assess()?;
        let Some(assessment) = &self.state.assessment else {
            self.state.ask = Ask::Opening(Item::Machine);
            let sentence = "Nothing can be worked out until the machine is known. 'leave' keeps the case.";
            self.show = Some(Show::Said(sentence.to_owned()));
            return Ok(());
        };
        let wanted = |id: &str| !self.state.passed.contains(id);
        let stop = assessment.plan.next.first().is_some_and(|c| c.kind == Kind::Stop);
        let steps = || assessment.plan.next.iter().filter(|c| wanted(&c.id));
        let best = steps().find(|c| !self.waits_for_power(c)).or_else(|| steps().next()).cloned();
        let resumed = std::mem::take(&mut self.state.resumed);
        if let Some(ask) = self.broken_off().filter(|_| resumed && !stop) {
            self.state.ask = ask;
            return Ok(());
        }
        match best {
            Some(candidate) => self.propose(&candidate),
            None => self.state.ask = Ask::Close,
        }
        Ok(())
    }

    pub(super) fn propose(&mut self, candidate: &Candidate) {
        let knowledge = self.knowledge;
        self.state.ask = match candidate.kind {
            Kind::Stop => Ask::MakeSafe,
            Kind::Send => Ask::Send,
            Kind::Remedy => self.guarded(
                Work::Remedy(RemedyId::new(candidate.id.clone())),
                candidate.exposures.needs_isolation(),
            ),
            Kind::Check if knowledge.checks.contains_key(candidate.id.as_str()) => self.guarded(
                Work::Check(CheckId::new(candidate.id.clone())),
                candidate.exposures.needs_isolation(),
            ),
            Kind::Check => Ask::Circumstance(CircumstanceId::new(candidate.id.clone())),
        };
    }

    pub(super) fn open(&self, work: Work) -> Ask {
        match work {
            Work::Check(id) if self.is_run(&id) && self.state.target.is_none() => Ask::Target(id),
            Work::Check(id) if self.is_complaint(&id) => Ask::Symptoms(Vec::new()),
            Work::Check(id) => Ask::Check(id),
            Work::Remedy(id) if self.changes(&id) && !self.written_down(&id) => Ask::Before(id),
            Work::Remedy(id) => Ask::Remedy(id),
        }
    }

    /// The old value of the setting that a remedy changes is on paper, and nothing was done since.
    fn written_down(&self, remedy: &RemedyId) -> bool {
        let mut since = self.state.case.events.rsplit(|e| matches!(e.what, What::Remedy { .. }));
        since.next().is_some_and(|events| stood(self.knowledge, events, remedy).is_some())
    }

    pub(super) fn changes(&self, remedy: &RemedyId) -> bool {
        self.knowledge.remedies.get(remedy).is_some_and(|r| r.changes.is_some())
    }

    fn is_complaint(&self, id: &CheckId) -> bool {
        self.knowledge.checks.get(id).is_some_and(|c| matches!(c.asks, Asks::Complaint))
    }

    fn is_run(&self, id: &CheckId) -> bool {
        self.knowledge.checks.get(id).is_some_and(|c| matches!(c.asks, Asks::Run))
    }

    fn take(&mut self, input: Input) -> Result<(), AssessError> {
        match input {
            Input::Misunderstood(sentence) => self.show = Some(Show::NotUnderstood(sentence)),
            Input::Why => self.show = Some(Show::Why),
            Input::Causes => self.show = Some(Show::Causes),
            Input::Help => self.show = Some(Show::Help),
            Input::Note(text) if !text.trim().is_empty() => {
                self.remark(What::Note(text));
                self.show = Some(Show::Said("Written down.".to_owned()));
            }
            Input::Note(_) => {
                self.state.correcting = None;
                self.state.ask = Ask::Note;
            }
            Input::Leave => self.state.ask = Ask::Over(None),
            Input::CloseCase => self.state.ask = Ask::Close,
            Input::Back => self.back()?,
            Input::Menu(pick) => self.menu(pick),
            Input::Skip => self.skip()?,
            Input::Chosen(place) => self.chosen(place)?,
            Input::Opening(answer) => self.opening_answer(answer)?,
            Input::Danger(words) => self.danger(words)?,
            Input::Safe => self.safe()?,
            Input::Symptoms(chosen) => self.symptoms(&chosen)?,
            Input::Told(chosen) => self.take_told(&chosen)?,
            Input::Target { figure, unit } => {
                self.state.target = Some((figure, unit));
                if let Ask::Target(id) = &self.state.ask {
                    self.state.ask = Ask::Check(id.clone());
                }
            }
            Input::Reading(reading) => self.reading(reading)?,
            Input::Happened(answer) => self.happened(answer)?,
            Input::Procedure(agrees) => self.procedure(agrees)?,
            Input::Locked(key) => self.locked(key)?,
            Input::HandedBack(done) => self.handed_back(done)?,
            Input::ToTry => self.done_to_try(),
            Input::Setting { old, new } => self.setting(old, new)?,
            Input::PutBack(done) => self.put_back(done)?,
            Input::Result(result) => self.result(result)?,
            Input::Close(closing) => self.close(closing),
            Input::NoteText(text) => {
                self.event(What::Note(text));
                self.opening()?;
            }
        }
        Ok(())
    }

    /// Writes an answer down. While one is corrected it takes that one's place, and the old one stays in the record.
    pub(super) fn event(&mut self, what: What) {
        let mut event = Event { at: None, by: self.state.speaker.clone(), what };
        match self.state.correcting.take().filter(|i| *i < self.state.case.events.len()) {
            Some(index) => {
                event.by = event.by.or_else(|| self.state.case.events[index].by.clone());
                self.entries.push(Entry::Correct { index, event: event.clone() });
                self.state.case.events[index] = event;
            }
            None => self.add(event),
        }
    }

    /// Writes something down that replaces nothing.
    pub(super) fn remark(&mut self, what: What) {
        self.add(Event { at: None, by: self.state.speaker.clone(), what });
    }

    fn add(&mut self, event: Event) {
        self.entries.push(Entry::Event(event.clone()));
        self.state.case.events.push(event);
    }
}
