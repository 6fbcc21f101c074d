//! The diagnosis as a pure state machine: `step(state, input)` gives the next state, what must be on disk before it
//! is shown, and what is asked. Terminal, pipe, file and browser drive the same one.

use super::assess::{AssessError, assess};
use super::desk::Desk;
use super::input::Input;
use super::state::{Ask, Item, Lockout, Pick, Show, State, Step, Work};
use crate::casebook::{
    Case, Closing, Entry, Event, Fills, Happened, Known, May, Moment, Person, Reading, RemedyResult, What,
    Whereabouts,
};
use crate::ids::{CheckId, CircumstanceId, PersonId, RemedyId};
use crate::knowledge::{Asks, Knowledge};
use crate::plan::{Candidate, Kind};
use crate::weights::proof::Proof;

/// The person whose words are taken down on the phone.
const CALLER: &str = "caller";
/// The person who types.
const TECHNICIAN: &str = "tech";

/// Drives a walk over one knowledge. It never prints, reads no clock and writes nothing.
pub struct Walker<'k> {
    knowledge: &'k Knowledge,
}

/// A step in the making.
struct Pace<'k> {
    knowledge: &'k Knowledge,
    state: State,
    entries: Vec<Entry>,
    show: Option<Show>,
}

impl<'k> Walker<'k> {
    /// Walks over this knowledge.
    pub fn new(knowledge: &'k Knowledge) -> Self {
        Self { knowledge }
    }

    /// The first state of a new case. Without a machine the opening asks for it.
    pub fn begin(&self, case: Case, machine_known: bool) -> Result<Step, AssessError> {
        let state = State {
            case,
            machine_known,
            ask: Ask::Opening(Item::Danger),
            assessment: None,
            place: None,
            lockout: Lockout::default(),
            correcting: None,
            target: None,
            opened: std::collections::BTreeSet::new(),
            speaker: None,
            machines: self.knowledge.machines.keys().cloned().collect(),
            made_safe: false,
            unnamed: false,
            read_back: None,
        };
        let mut pace = self.pace(state);
        pace.opening()?;
        Ok(pace.done())
    }

    /// Takes a case up again. Authority and isolation have lapsed, so who is there is asked anew.
    pub fn resume(&self, mut case: Case, machine_known: bool) -> Result<Step, AssessError> {
        for person in &mut case.people {
            person.may.clear();
        }
        let closed = case.closed.take().is_some();
        let mut step = self.begin(case, machine_known)?;
        let (case, opened) = (&step.state.case, &mut step.state.opened);
        opened.extend(items_answered(case, machine_known));
        opened.remove(&Item::Who);
        let mut pace = self.pace(step.state);
        pace.state.target = last_target(&pace.state.case);
        if closed {
            pace.entries.push(Entry::Continue);
        }
        pace.opening()?;
        Ok(pace.done())
    }

    /// A case with one answer asked again, counted from one; none when there is no such answer.
    pub fn correcting(&self, case: Case, number: usize) -> Result<Option<State>, AssessError> {
        let Some(index) = number.checked_sub(1).filter(|i| *i < case.events.len()) else { return Ok(None) };
        let mut state = self.begin(case, true)?.state;
        state.opened.extend(Item::ALL.iter().copied());
        state.target = last_target(&state.case);
        let mut pace = self.pace(state);
        pace.assess()?;
        pace.correct(index)?;
        Ok(Some(pace.state))
    }

    /// One step.
    pub fn step(&self, state: State, input: Input) -> Result<Step, AssessError> {
        let mut pace = self.pace(state);
        pace.state.read_back = None;
        pace.take(input)?;
        Ok(pace.done())
    }

    fn pace(&self, state: State) -> Pace<'k> {
        Pace { knowledge: self.knowledge, state, entries: Vec::new(), show: None }
    }
}

fn items_answered(case: &Case, machine_known: bool) -> Vec<Item> {
    let opening = &case.opening;
    let told = [
        (Item::Danger, opening.danger.is_some()),
        (Item::Held, opening.held_since_last_good.is_some()),
        (Item::Machine, machine_known),
        (Item::Serial, opening.serial.is_some()),
        (Item::Sealed, case.scale.sealed != Known::Unknown),
        (Item::EverRight, opening.ever_right.is_some()),
        (Item::Since, opening.since.is_some()),
        (Item::DoingItNow, opening.doing_it_now.is_some()),
        (Item::Complaint, case.complaint.is_some() || !case.events.is_empty()),
    ];
    let furthest = told.iter().filter(|(_, told)| *told).map(|(item, _)| *item).max();
    Item::ALL.iter().copied().filter(|item| furthest.is_some_and(|last| *item <= last)).collect()
}

fn last_target(case: &Case) -> Option<(f64, String)> {
    case.events.iter().rev().find_map(|event| match &event.what {
        What::Reading { reading: Reading::Fills(fills), .. } => Some((fills.target, fills.unit.clone())),
        _ => None,
    })
}

impl Pace<'_> {
    fn done(self) -> Step {
        Step { state: self.state, entries: self.entries, show: self.show }
    }

    /// The next item of the opening, or the next step of the plan once all are through.
    fn opening(&mut self) -> Result<(), AssessError> {
        let open = |item: &&Item| !self.state.opened.contains(*item);
        match Item::ALL.iter().find(open) {
            Some(Item::Machine) if self.state.machine_known => {
                self.state.opened.insert(Item::Machine);
                self.opening()
            }
            Some(&item) => {
                self.state.ask = Ask::Opening(item);
                Ok(())
            }
            None => self.next(),
        }
    }

    /// Thinks the case over.
    fn assess(&mut self) -> Result<(), AssessError> {
        if !self.state.machine_known {
            self.state.assessment = None;
            return Ok(());
        }
        let mut case = self.state.case.clone();
        if self.state.lockout.procedure == Some(false) {
            case.people.iter_mut().for_each(|p| p.may.clear());
        }
        let desk = Desk::for_case(self.knowledge, &case)?;
        let mut assessment = assess(&desk, &case, self.state.place.clone())?;
        if self.state.made_safe {
            assessment.plan.next.retain(|c| c.kind != Kind::Stop);
        }
        // Asked once, and nobody could name it: the rest can still be asked.
        if self.state.unnamed {
            assessment.plan.next.retain(|c| !self.is_complaint(&c.id));
        }
        self.state.assessment = Some(assessment);
        Ok(())
    }

    /// Asks the best next step.
    fn next(&mut self) -> Result<(), AssessError> {
        self.assess()?;
        let best = self.state.assessment.as_ref().and_then(|a| a.plan.next.first()).cloned();
        match best {
            Some(candidate) => self.propose(&candidate),
            None => self.state.ask = Ask::Close,
        }
        Ok(())
    }

    fn propose(&mut self, candidate: &Candidate) {
        let knowledge = self.knowledge;
        self.state.ask = match candidate.kind {
            Kind::Stop => Ask::MakeSafe,
            Kind::Send => Ask::Send,
            Kind::Remedy => self.guarded(
                Work::Remedy(RemedyId::new(candidate.id.clone())),
                candidate.exposures.needs_isolation(),
            ),
            Kind::Check if self.is_complaint(&candidate.id) => Ask::Symptoms(Vec::new()),
            Kind::Check if knowledge.checks.contains_key(candidate.id.as_str()) => self.guarded(
                Work::Check(CheckId::new(candidate.id.clone())),
                candidate.exposures.needs_isolation(),
            ),
            Kind::Check => Ask::Circumstance(CircumstanceId::new(candidate.id.clone())),
        };
    }

    /// Work behind a guard waits for authority, the written procedure, and a lock that is on and tried.
    fn guarded(&self, work: Work, needs_isolation: bool) -> Ask {
        if !needs_isolation {
            return self.open(work);
        }
        match (&self.state.lockout.procedure, &self.state.lockout.key) {
            (Some(true), Some(_)) => Ask::StillLocked(Box::new(work)),
            (Some(true), None) => Ask::Locked(Box::new(work)),
            _ => Ask::Authority(Box::new(work)),
        }
    }

    fn open(&self, work: Work) -> Ask {
        match work {
            Work::Check(id) if self.is_run(&id) && self.state.target.is_none() => Ask::Target(id),
            Work::Check(id) => Ask::Check(id),
            Work::Remedy(id) => Ask::Remedy(id),
        }
    }

    fn is_complaint(&self, id: &str) -> bool {
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
            Input::Note(text) if !text.trim().is_empty() => self.event(What::Note(text)),
            Input::Note(_) => self.state.ask = Ask::Note,
            Input::Leave => self.state.ask = Ask::Over(None),
            Input::CloseCase => self.state.ask = Ask::Close,
            Input::Back => self.back()?,
            Input::Menu(pick) => self.menu(pick),
            Input::Skip => self.skip()?,
            Input::Chosen(place) => self.chosen(place)?,
            Input::Opening(answer) => self.opening_answer(answer)?,
            Input::Safe => {
                self.state.made_safe = true;
                self.event(What::Note("Said to be stopped and made safe.".to_owned()));
                self.opening()?;
            }
            Input::Symptoms(chosen) => {
                self.state.unnamed = chosen.is_empty();
                for symptom in chosen {
                    self.says(symptom.as_str());
                }
                self.next()?;
            }
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
            Input::Setting { old, new } => self.setting(old, new)?,
            Input::Result(result) => self.result(result)?,
            Input::Close(closing) => self.close(closing),
            Input::NoteText(text) => {
                self.event(What::Note(text));
                self.opening()?;
            }
        }
        Ok(())
    }

    fn event(&mut self, what: What) {
        let event = Event { at: None, by: self.state.speaker.clone(), what };
        if let Some(index) = self.state.correcting.take().filter(|i| *i < self.state.case.events.len()) {
            self.entries.push(Entry::Correct { index, event: event.clone() });
            self.state.case.events[index] = event;
        } else {
            self.entries.push(Entry::Event(event.clone()));
            self.state.case.events.push(event);
        }
    }

    fn says(&mut self, symptom: &str) {
        let complaint = self.knowledge.checks.values().find(|c| matches!(c.asks, Asks::Complaint));
        if let Some(check) = complaint {
            let moment = self.moment();
            let reading = Reading::Outcome(symptom.into());
            self.event(What::Reading { check: check.id.clone(), reading, moment });
        }
    }

    /// What the machine is doing, from the opening; the fault showing now is what 'bad' means.
    fn moment(&self) -> Moment {
        match self.state.case.opening.doing_it_now.as_deref() {
            Some("yes") => Moment::Bad,
            Some("no") => Moment::Good,
            _ => Moment::Unknown,
        }
    }

    fn opening_answer(&mut self, answer: String) -> Result<(), AssessError> {
        let Ask::Opening(item) = self.state.ask else { return Ok(()) };
        let opening = &mut self.state.case.opening;
        match item {
            Item::Danger => opening.danger = Some(answer),
            Item::Held => opening.held_since_last_good = Some(answer),
            Item::Serial => opening.serial = Some(answer),
            Item::EverRight => opening.ever_right = Some(answer),
            Item::Since => opening.since = Some(answer),
            Item::DoingItNow => opening.doing_it_now = Some(answer),
            Item::Machine => {
                self.state.case.machine = answer.as_str().into();
                self.state.machine_known = true;
                self.entries.push(Entry::Machine(self.state.case.machine.clone()));
            }
            Item::Sealed => {
                self.state.case.scale.sealed = match answer.as_str() {
                    "yes" => Known::Yes,
                    "no" => Known::No,
                    _ => Known::Unknown,
                };
                self.entries.push(Entry::Scale(self.state.case.scale));
            }
            Item::Who => self.who(&answer),
            Item::Complaint => return self.complaint(answer),
        }
        if matches!(
            item,
            Item::Danger | Item::Held | Item::Serial | Item::EverRight | Item::Since | Item::DoingItNow
        ) {
            self.entries.push(Entry::Opening(self.state.case.opening.clone()));
        }
        self.state.opened.insert(item);
        let danger =
            self.state.case.opening.danger.as_deref().is_some_and(|d| !matches!(d, "none" | "unknown"));
        if item == Item::Danger && danger {
            self.state.ask = Ask::MakeSafe;
            return Ok(());
        }
        self.opening()
    }

    fn who(&mut self, answer: &str) {
        let at_machine = |id: &str, may: &[May]| Person {
            id: PersonId::new(id),
            at: Whereabouts::Machine,
            may: may.iter().copied().collect(),
            has: std::collections::BTreeSet::new(),
        };
        let phone = Person { at: Whereabouts::Phone, ..at_machine(TECHNICIAN, &[]) };
        let people = match answer {
            "operator" => vec![at_machine(CALLER, &[]), phone],
            "authorised" => vec![at_machine(CALLER, &[May::Isolate]), phone],
            "here" => vec![at_machine(TECHNICIAN, &[May::Isolate])],
            "here-electrical" => vec![at_machine(TECHNICIAN, &[May::Isolate, May::Electrical])],
            _ => vec![phone],
        };
        self.state.speaker = people.first().filter(|p| p.at == Whereabouts::Machine).map(|p| p.id.clone());
        self.entries.extend(people.iter().cloned().map(Entry::Person));
        for person in people {
            match self.state.case.people.iter_mut().find(|p| p.id == person.id) {
                Some(known) => *known = Person { has: known.has.clone(), ..person },
                None => self.state.case.people.push(person),
            }
        }
    }

    /// The complaint in words; what fits it is only proposed. The caller's words reach `search` from outside.
    fn complaint(&mut self, text: String) -> Result<(), AssessError> {
        self.state.opened.insert(Item::Complaint);
        self.entries.push(Entry::Complaint(text.clone()));
        self.state.case.complaint = Some(text);
        self.assess()?;
        self.state.ask = Ask::Symptoms(Vec::new());
        Ok(())
    }

    fn skip(&mut self) -> Result<(), AssessError> {
        match &self.state.ask {
            Ask::Opening(item) => {
                self.state.opened.insert(*item);
                self.opening()
            }
            Ask::Check(_) | Ask::Target(_) => self.reading(Reading::CannotTell),
            Ask::Circumstance(_) => self.happened(Happened::CannotTell),
            Ask::Symptoms(_) => {
                self.state.unnamed = true;
                self.next()
            }
            _ => self.next(),
        }
    }

    fn back(&mut self) -> Result<(), AssessError> {
        if let Ask::Opening(item) = self.state.ask {
            let before =
                Item::ALL.iter().rev().find(|known| **known < item && self.state.opened.contains(known));
            if let Some(&before) = before {
                self.state.opened.remove(&before);
                self.state.ask = Ask::Opening(before);
            }
            return Ok(());
        }
        if matches!(self.state.ask, Ask::Pick(_) | Ask::Note | Ask::Close | Ask::Over(_) | Ask::Target(_)) {
            self.state.correcting = None;
            return self.opening();
        }
        let last = self
            .state
            .case
            .events
            .iter()
            .rposition(|e| !matches!(e.what, What::Note(_) | What::Suspicion(_)));
        match last {
            Some(index) => self.correct(index),
            None => Ok(()),
        }
    }

    /// Asks again what an event answered; the new answer replaces it and the old one stays in the record.
    fn correct(&mut self, index: usize) -> Result<(), AssessError> {
        let Some(event) = self.state.case.events.get(index) else { return Ok(()) };
        let ask = match &event.what {
            What::Reading { check, .. } if self.is_complaint(check.as_str()) => Ask::Symptoms(Vec::new()),
            What::Reading { check, .. } => Ask::Check(check.clone()),
            What::Circumstance { id, .. } => Ask::Circumstance(id.clone()),
            What::Remedy { id, .. } => Ask::Remedy(id.clone()),
            What::Note(_) => Ask::Note,
            What::Setting { .. } | What::Suspicion(_) => return self.opening(),
        };
        self.state.correcting = Some(index);
        self.state.ask = ask;
        Ok(())
    }

    fn menu(&mut self, pick: Pick) {
        self.state.correcting = None;
        self.state.ask = Ask::Pick(pick);
    }

    fn chosen(&mut self, place: usize) -> Result<(), AssessError> {
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
                    self.event(What::Suspicion(cause.clone()));
                    self.suspected(cause.as_str())?;
                }
            }
            Pick::Correct(events) => {
                if let Some(&index) = events.get(place) {
                    self.correct(index)?;
                }
            }
        }
        Ok(())
    }

    /// Any reading that somebody wants to give: nobody is told to do anything, so no lockout is asked for.
    fn ask_for(&mut self, id: &str) {
        self.state.ask = match self.knowledge.checks.get(id) {
            Some(check) if self.is_complaint(check.id.as_str()) => Ask::Symptoms(Vec::new()),
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

    fn reading(&mut self, reading: Reading) -> Result<(), AssessError> {
        let (Ask::Check(id) | Ask::Target(id)) = self.state.ask.clone() else { return Ok(()) };
        let Some(check) = self.knowledge.checks.get(&id) else { return Ok(()) };
        if let Reading::Fills(fills) = &reading {
            self.state.target = Some((fills.target, fills.unit.clone()));
        }
        self.state.place = Some(check.work.place.value.clone());
        self.state.read_back.clone_from(&check.read_back);
        let moment = self.moment();
        self.event(What::Reading { check: id, reading, moment });
        self.opening()?;
        if matches!(self.state.assessment.as_ref().and_then(|a| a.proof.as_ref()), Some(Proof::Proved)) {
            self.state.ask = Ask::Close;
        }
        Ok(())
    }

    fn happened(&mut self, answer: Happened) -> Result<(), AssessError> {
        if let Ask::Circumstance(id) = self.state.ask.clone() {
            self.event(What::Circumstance { id, answer });
        }
        self.opening()
    }

    fn procedure(&mut self, agrees: bool) -> Result<(), AssessError> {
        let Ask::Authority(work) = self.state.ask.clone() else { return Ok(()) };
        self.state.lockout.procedure = Some(agrees);
        if agrees {
            self.state.ask = Ask::Locked(work);
            return Ok(());
        }
        self.next()
    }

    fn locked(&mut self, key: Option<String>) -> Result<(), AssessError> {
        let (Ask::Locked(work) | Ask::StillLocked(work)) = self.state.ask.clone() else { return Ok(()) };
        match key {
            Some(key) => {
                self.state.lockout.key = Some(key);
                self.state.ask = self.open(*work);
                Ok(())
            }
            None => {
                self.state.lockout = Lockout { procedure: Some(false), key: None };
                self.next()
            }
        }
    }

    /// After the steps of a remedy: the setting it changes first, then how it went.
    fn setting(&mut self, old: Option<String>, new: Option<String>) -> Result<(), AssessError> {
        let Ask::Setting(remedy) = self.state.ask.clone() else { return Ok(()) };
        if let Some(setting) = self.knowledge.remedies.get(&remedy).and_then(|r| r.changes.clone())
            && (old.is_some() || new.is_some())
        {
            self.event(What::Setting { id: setting.value, old, new });
        }
        self.next_after_remedy(&remedy)
    }

    fn result(&mut self, result: RemedyResult) -> Result<(), AssessError> {
        let Ask::Remedy(id) = self.state.ask.clone() else { return Ok(()) };
        self.event(What::Remedy { id: id.clone(), result });
        let changes = self.knowledge.remedies.get(&id).is_some_and(|r| r.changes.is_some());
        if changes && self.state.case.events.last().is_some_and(|e| matches!(e.what, What::Remedy { .. })) {
            self.state.ask = Ask::Setting(id);
            return Ok(());
        }
        self.next_after_remedy(&id)
    }

    /// A cure wants its proof; the lock has come off for it, so it lapses.
    fn next_after_remedy(&mut self, id: &RemedyId) -> Result<(), AssessError> {
        self.state.lockout = Lockout::default();
        let gone = self.state.case.events.iter().rev().find_map(|e| match &e.what {
            What::Remedy { id: done, result } if done == id => Some(*result),
            _ => None,
        });
        self.assess()?;
        let proof = self.knowledge.remedies.get(id).map(|r| r.proved_by.value.clone());
        match (gone, proof) {
            (Some(RemedyResult::GoneNotProved), Some(proof)) => {
                self.state.ask = self.open(Work::Check(proof));
                Ok(())
            }
            (Some(RemedyResult::ProvedGone), _) => {
                self.state.ask = Ask::Close;
                Ok(())
            }
            _ => self.next(),
        }
    }

    fn close(&mut self, closing: Closing) {
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

/// A run of fills as typed, for the state machine.
pub(super) fn fills(target: f64, unit: &str, values: Vec<f64>) -> Fills {
    Fills { unit: unit.to_owned(), target, values, ..Fills::default() }
}
