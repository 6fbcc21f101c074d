//! Where a walk stands: the case so far, what is being asked, and what a lockout in force allows.

use std::collections::BTreeSet;

use super::assess::Assessment;
use crate::casebook::{Case, Closing, Entry, RemedyResult, What};
use crate::ids::{CauseId, CheckId, CircumstanceId, FindingId, MachineId, PersonId, RemedyId, SettingId};
use crate::knowledge::Knowledge;
use crate::plan::Candidate;
use crate::search::talk::{Meaning, Told};

/// One item of the fixed opening, in order. Each can be skipped.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Item {
    /// Anyone hurt, or the machine doing something unexpected?
    Danger,
    /// Hold product since the last good check.
    Held,
    /// Which machine.
    Machine,
    /// Its serial number.
    Serial,
    /// A legal-for-trade seal on the scale?
    Sealed,
    /// Who is at the machine, and may they lock it out?
    Who,
    /// Was it ever right?
    EverRight,
    /// Since when, and what was touched last.
    Since,
    /// Is it doing it now?
    DoingItNow,
    /// What is wrong, in the caller's words.
    Complaint,
}

impl Item {
    /// All of them in the order asked.
    pub const ALL: &'static [Item] = &[
        Item::Danger,
        Item::Held,
        Item::Machine,
        Item::Serial,
        Item::Sealed,
        Item::Who,
        Item::EverRight,
        Item::Since,
        Item::DoingItNow,
        Item::Complaint,
    ];
}

/// What is asked of the person now.
#[derive(Debug, Clone, PartialEq)]
pub enum Ask {
    /// An item of the opening.
    Opening(Item),
    /// Stop, make safe; waits until somebody says that it is.
    MakeSafe,
    /// Which of the symptoms that fit the words; none of them is possible.
    Symptoms(Vec<FindingId>),
    /// Which of the things that the caller's words may mean are so.
    Told(Vec<Told>),
    /// What a fill should weigh, before a run of fills.
    Target(CheckId),
    /// A check.
    Check(CheckId),
    /// A circumstance.
    Circumstance(CircumstanceId),
    /// Authority and the site's written procedure, before the first step of a lockout.
    Authority(Box<Work>),
    /// Everything isolated, locked and tried?
    Locked(Box<Work>),
    /// The lock from before: still on, and whose key?
    StillLocked(Box<Work>),
    /// The lock from before is on and this is done or tried from outside: is it handed back?
    HandBack(Box<Work>),
    /// A remedy: its steps, then how it went.
    Remedy(RemedyId),
    /// The setting that a remedy will change: what stands there, before anybody changes it.
    Before(RemedyId),
    /// The setting that a remedy changed: what stood there, and what was typed.
    Setting(RemedyId),
    /// A setting that did not help goes back to what stood there.
    PutBack(Change),
    /// A visit is the best step.
    Send,
    /// One of a list.
    Pick(Pick),
    /// A remark.
    Note,
    /// How to close the case.
    Close,
    /// The walk is over.
    Over(Option<Closing>),
}

impl Ask {
    /// The id of the step of the plan that is asked about.
    pub fn id(&self) -> Option<&str> {
        match self {
            Ask::Target(id) | Ask::Check(id) => Some(id.as_str()),
            Ask::Circumstance(id) => Some(id.as_str()),
            Ask::Remedy(id) | Ask::Before(id) | Ask::Setting(id) => Some(id.as_str()),
            Ask::Authority(work) | Ask::Locked(work) | Ask::StillLocked(work) | Ask::HandBack(work) => {
                Some(work.id())
            }
            Ask::Send => Some(crate::plan::SEND),
            Ask::MakeSafe => Some(crate::plan::STOP),
            _ => None,
        }
    }
}

/// A setting's way back.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Change {
    /// Which.
    pub setting: SettingId,
    /// What stands there now.
    pub from: String,
    /// What stood there before.
    pub to: String,
}

/// Work that waits for a lockout.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Work {
    /// A check.
    Check(CheckId),
    /// A remedy.
    Remedy(RemedyId),
}

impl Work {
    /// Its id.
    pub fn id(&self) -> &str {
        match self {
            Work::Check(id) => id.as_str(),
            Work::Remedy(id) => id.as_str(),
        }
    }

    /// Its place, tools and steps.
    pub fn of<'k>(&self, knowledge: &'k Knowledge) -> Option<&'k crate::knowledge::Work> {
        match self {
            Work::Check(id) => knowledge.checks.get(id).map(|c| &c.work),
            Work::Remedy(id) => knowledge.remedies.get(id).map(|r| &r.work),
        }
    }
}

/// A list to choose from by number.
#[derive(Debug, Clone, PartialEq)]
pub enum Pick {
    /// Any reading: all checks and circumstances that apply.
    Reading(Vec<String>),
    /// Other steps that could come next.
    Other(Vec<Candidate>),
    /// 'I did this': all remedies.
    Did(Vec<RemedyId>),
    /// A suspicion: all causes.
    Suspect(Vec<CauseId>),
    /// An answer to correct.
    Correct(Vec<Answered>),
}

/// An answer that can be corrected.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Answered {
    /// An event, by its index.
    Event(usize),
    /// An item of the opening.
    Opening(Item),
}

impl Pick {
    /// How many there are to choose from.
    pub fn len(&self) -> usize {
        match self {
            Pick::Reading(list) => list.len(),
            Pick::Other(list) => list.len(),
            Pick::Did(list) => list.len(),
            Pick::Suspect(list) => list.len(),
            Pick::Correct(list) => list.len(),
        }
    }

    /// Whether there is nothing to choose from.
    pub fn is_empty(&self) -> bool {
        self.len() == 0
    }
}

/// Which person's lock is on, and what was agreed.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Lockout {
    /// The site has a written procedure and it agrees; `Some(false)` leaves checks from outside only.
    pub procedure: Option<bool>,
    /// Locked and tried, and whose key.
    pub key: Option<String>,
    /// The work that it was said to stand for just now, by id: only its steps are shown.
    pub stands_for: Option<String>,
    /// Somebody said that it stays on, so that nothing which needs power is proposed unless nothing else is left.
    pub stays: bool,
}

impl Lockout {
    /// Whether the steps of this work may be shown: without a lock, or when the lock was asked about for it.
    pub fn shows(&self, work: &str) -> bool {
        self.key.is_none() || self.stands_for.as_deref() == Some(work)
    }
}

/// A walk at one moment.
#[derive(Debug, Clone)]
pub struct State {
    /// The case so far.
    pub case: Case,
    /// Whether the machine has been named.
    pub machine_known: bool,
    /// What is asked now.
    pub ask: Ask,
    /// What is believed and planned; none until the machine is known.
    pub assessment: Option<Assessment>,
    /// The lockout in force.
    pub lockout: Lockout,
    /// The answer that the next one replaces, by index of its event.
    pub correcting: Option<usize>,
    /// What a fill should weigh, as last said: figure and unit.
    pub target: Option<(f64, String)>,
    /// Opening items answered or skipped.
    pub opened: BTreeSet<Item>,
    /// The person whose answers these are.
    pub speaker: Option<PersonId>,
    /// Machines to choose from.
    pub machines: Vec<MachineId>,
    /// Whether the danger said has been made safe.
    pub made_safe: bool,
    /// Steps passed over, by id; they stay in the list of other steps.
    pub passed: BTreeSet<String>,
    /// Just taken up again: what the call broke off before is asked first.
    pub resumed: bool,
    /// What the caller's words propose and nobody was asked about yet.
    pub told: Vec<Told>,
    /// What was offered for confirming; none of it is offered twice.
    pub offered: Vec<Meaning>,
}

impl State {
    /// The remedy that was done under a lock and waits for how it went: its event says 'not tried' and is to be replaced.
    pub fn to_try(&self) -> Option<&RemedyId> {
        match &self.case.events.get(self.correcting?)?.what {
            What::Remedy { id, result: RemedyResult::NotTried } => Some(id),
            _ => None,
        }
    }
}

/// What one step of the walk gives: the new state, and what must be on disk before it is shown.
#[derive(Debug, Clone)]
pub struct Step {
    /// The new state.
    pub state: State,
    /// Entries to append, in order.
    pub entries: Vec<Entry>,
    /// Something to show before the next question.
    pub show: Option<Show>,
}

/// Something to show before the next question.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Show {
    /// Why this step is proposed, and why these causes.
    Why,
    /// All causes with their figures.
    Causes,
    /// What can be typed here.
    Help,
    /// What was not understood, in a sentence; the question stands.
    NotUnderstood(String),
    /// What the run of fills just given says.
    Run,
    /// A sentence to read before the next question.
    Said(String),
}
