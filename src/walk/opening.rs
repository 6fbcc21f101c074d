//! The fixed opening of a walk, and what the caller complains of.

use super::assess::AssessError;
use super::state::{Ask, Item, Show};
use super::step::Pace;
use crate::casebook::{Case, Entry, Known, May, Moment, Person, Reading, RemedyResult, What, Whereabouts};
use crate::ids::{FindingId, PersonId};
use crate::knowledge::Asks;

/// The person whose words are taken down on the phone.
const CALLER: &str = "caller";
/// The person who types.
const TECHNICIAN: &str = "tech";

/// The remark that a danger was made safe.
pub const MADE_SAFE: &str = "Said to be stopped and made safe.";

/// Said once a danger is made safe.
const AFTER_STOP: &str = "Stopped and made safe. It stays off and locked until the reason is found; after smoke, sparks or a \
shock that is for a qualified electrical person. Ask on only what can be told from outside.";

/// Words that mean 'make safe' before anything is asked. Once too often costs one key.
const DANGER: &[&str] = &[
    "hurt",
    "injur",
    "bleed",
    "trapped",
    "finger",
    "crushed",
    "smoke",
    "smoking",
    "spark",
    "burning",
    "burnt",
    "on fire",
    "electric shock",
    "got a shock",
    "tingl",
];

/// Whether a caller's words may be of somebody hurt or of something dangerous.
pub fn sounds_dangerous(words: &str) -> bool {
    let lower = words.to_lowercase();
    DANGER.iter().any(|word| lower.contains(word))
}

/// Items that need no second asking when a case is taken up again: all up to the furthest that was answered.
pub(super) fn items_answered(case: &Case, machine_known: bool) -> Vec<Item> {
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

impl Pace<'_> {
    /// The next item of the opening, or the next step of the plan once all are through.
    pub(super) fn opening(&mut self) -> Result<(), AssessError> {
        if self.in_danger() {
            self.state.ask = Ask::MakeSafe;
            return Ok(());
        }
        let open = |item: &&Item| !self.state.opened.contains(*item);
        let next = Item::ALL.iter().find(open).copied();
        if let Some(ask) = self.offer(next) {
            self.state.ask = ask;
            return Ok(());
        }
        match next {
            Some(Item::Machine) if self.state.machine_known => {
                self.state.opened.insert(Item::Machine);
                self.opening()
            }
            Some(item) => {
                self.state.ask = Ask::Opening(item);
                Ok(())
            }
            None => self.next(),
        }
    }

    /// Somebody said that something is dangerous, and nobody yet that it is safe.
    pub(super) fn in_danger(&self) -> bool {
        !self.state.made_safe && self.state.case.opening.danger_said().is_some()
    }

    /// Danger comes up in the middle of a call: it is made safe before anything else is asked.
    pub(super) fn danger(&mut self, words: String) -> Result<(), AssessError> {
        self.state.correcting = None;
        self.state.opened.insert(Item::Danger);
        self.opening_remark(Item::Danger, words);
        self.opening()
    }

    pub(super) fn safe(&mut self) -> Result<(), AssessError> {
        self.state.made_safe = true;
        self.remark(What::Note(MADE_SAFE.to_owned()));
        self.show = Some(Show::Said(AFTER_STOP.to_owned()));
        self.opening()
    }

    /// The symptoms that are meant. When none of those proposed fits, all of the machine are shown, once.
    pub(super) fn symptoms(&mut self, chosen: &[FindingId]) -> Result<(), AssessError> {
        for symptom in chosen {
            self.says(symptom.as_str());
        }
        if chosen.is_empty() {
            let all = self.state.assessment.as_ref().map_or(&[][..], |a| &a.symptoms);
            if let Ask::Symptoms(shown) = &self.state.ask
                && shown.len() < all.len()
            {
                self.state.ask = Ask::Symptoms(all.to_vec());
                return Ok(());
            }
            self.no_symptom();
        }
        self.state.correcting = None;
        self.opening()
    }

    /// Nothing fits; that is no evidence, and it is not asked again of itself.
    fn no_symptom(&mut self) {
        let complaint = self.knowledge.checks.values().find(|c| matches!(c.asks, Asks::Complaint));
        let Some(check) = complaint else { return };
        self.state.passed.insert(check.id.as_str().to_owned());
        if self.state.correcting.is_some() {
            let moment = self.moment();
            self.event(What::Reading { check: check.id.clone(), reading: Reading::CannotTell, moment });
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
    pub(super) fn moment(&self) -> Moment {
        let last = self.state.case.last_remedy();
        match self.state.case.opening.doing_it_now.as_deref() {
            // Whatever it did before, a remedy since may have ended it.
            _ if last.is_some_and(|(_, result)| result != RemedyResult::StillThere) => Moment::Unknown,
            Some("yes") => Moment::Bad,
            Some("no") => Moment::Good,
            _ => Moment::Unknown,
        }
    }

    pub(super) fn opening_answer(&mut self, answer: String) -> Result<(), AssessError> {
        let Ask::Opening(item) = self.state.ask else { return Ok(()) };
        match item {
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
            Item::Danger | Item::Held | Item::Serial | Item::EverRight | Item::Since | Item::DoingItNow => {
                self.opening_remark(item, answer.clone());
                if item == Item::Since {
                    self.hear(&answer);
                }
            }
        }
        self.state.opened.insert(item);
        self.opening()
    }

    /// What is written down and is no evidence.
    pub(super) fn opening_remark(&mut self, item: Item, answer: String) {
        let opening = &mut self.state.case.opening;
        let place = match item {
            Item::Held => &mut opening.held_since_last_good,
            Item::Serial => &mut opening.serial,
            Item::EverRight => &mut opening.ever_right,
            Item::Since => &mut opening.since,
            Item::DoingItNow => &mut opening.doing_it_now,
            _ => {
                self.state.made_safe = false;
                &mut opening.danger
            }
        };
        *place = Some(answer);
        self.entries.push(Entry::Opening(opening.clone()));
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
        self.hear(&text);
        self.state.case.complaint = Some(text.clone());
        if sounds_dangerous(&text) && !self.state.made_safe {
            return self.danger(text);
        }
        if !self.state.machine_known {
            return self.next();
        }
        self.assess()?;
        self.state.ask = Ask::Symptoms(Vec::new());
        Ok(())
    }
}
