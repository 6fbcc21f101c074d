//! A case: the record of one call or visit, from complaint to proof of cure.

use std::collections::BTreeSet;

use serde::{Deserialize, Serialize};

use super::figures;
use super::form::EventForm;
use crate::ids::{
    CauseId, CautionId, CheckId, CircumstanceId, MachineId, OptionId, OutcomeId, PersonId, RemedyId,
    SettingId, ToolId,
};
use crate::safety::ScaleSupply;
use crate::units::Quantity;

/// The format of a case file.
pub const FORMAT: &str = "handlamp-case/1";

/// One call or visit.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Case {
    /// The knowledge it was made with.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub knowledge: Option<KnowledgeMark>,
    /// The machine.
    pub machine: MachineId,
    /// Options fitted; none given means any may be.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub fitted: Option<BTreeSet<OptionId>>,
    /// What is known of its scale.
    #[serde(default)]
    pub scale: ScaleFacts,
    /// The team whose case it is, as it calls itself.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub team: Option<String>,
    /// For a legal verdict only: eu, us, other or unknown.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub market: Option<String>,
    /// What is being filled.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub product: Option<Product>,
    /// Who is where and may do what.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub people: Vec<Person>,
    /// Travel and waiting, in minutes.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub visit: Option<Visit>,
    /// Remarks from the opening, never evidence.
    #[serde(default)]
    pub opening: Opening,
    /// The complaint in the caller's words.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub complaint: Option<String>,
    /// What happened, in order.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub events: Vec<Event>,
    /// What a rehearsal or test expects.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub expect: Option<Expect>,
    /// How it was closed.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub closed: Option<Closing>,
}

impl Case {
    /// The remedy done last, and how it went.
    pub fn last_remedy(&self) -> Option<(&RemedyId, RemedyResult)> {
        self.events.iter().rev().find_map(|event| match &event.what {
            What::Remedy { id, result } => Some((id, *result)),
            _ => None,
        })
    }

    /// The remedy done last, where the complaint was gone after it.
    pub fn cured_by(&self) -> Option<&RemedyId> {
        let gone = |result| matches!(result, RemedyResult::ProvedGone | RemedyResult::GoneNotProved);
        self.last_remedy().filter(|(_, result)| gone(*result)).map(|(id, _)| id)
    }

    /// A case of a machine of which nothing is known yet.
    pub fn of(machine: MachineId) -> Self {
        Self {
            knowledge: None,
            machine,
            fitted: None,
            scale: ScaleFacts::default(),
            team: None,
            market: None,
            product: None,
            people: Vec::new(),
            visit: None,
            opening: Opening::default(),
            complaint: None,
            events: Vec::new(),
            expect: None,
            closed: None,
        }
    }

    /// Whether somebody may go on with it: it was not closed, or left open.
    pub fn is_open(&self) -> bool {
        matches!(self.closed, None | Some(Closing::LeftOpen))
    }
}

/// Version and hash of a knowledge.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct KnowledgeMark {
    /// Version.
    pub version: String,
    /// Hash.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub hash: Option<String>,
}

/// Yes, no, or nobody knows.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Known {
    /// It is so.
    Yes,
    /// It is not.
    No,
    /// Nobody knows.
    #[default]
    Unknown,
}

/// What is known of the scale.
#[derive(Debug, Clone, Copy, Default, PartialEq, Serialize, Deserialize)]
#[serde(default)]
pub struct ScaleFacts {
    /// Whether it bears a legal-for-trade seal.
    pub sealed: Known,
    /// Whether its supply is apart from the drives'; none means as the machine's entry says.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub supply: Option<ScaleSupply>,
    /// Division in grams, when it is not the machine's.
    #[serde(with = "figures::grams", skip_serializing_if = "Option::is_none")]
    pub division: Option<f64>,
}

/// What is being filled.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(default)]
pub struct Product {
    /// Its name.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub name: Option<String>,
    /// Whether it dusts.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub dusty: Option<bool>,
    /// The allergen it carries.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub allergen: Option<String>,
}

/// Where somebody is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Whereabouts {
    /// Beside the machine.
    Machine,
    /// On the phone.
    Phone,
    /// At a desk.
    Desk,
}

/// What somebody may do.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum May {
    /// Lock the machine out.
    Isolate,
    /// Work as a qualified electrical person.
    Electrical,
}

/// Somebody in the case.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Person {
    /// Short name in this case.
    pub id: PersonId,
    /// Where.
    pub at: Whereabouts,
    /// What they may do.
    #[serde(default)]
    pub may: BTreeSet<May>,
    /// Tools at hand.
    #[serde(default)]
    pub has: BTreeSet<ToolId>,
}

/// What a visit costs, in minutes.
#[derive(Debug, Clone, Copy, Default, PartialEq, Serialize, Deserialize)]
#[serde(default)]
pub struct Visit {
    /// Minutes on the road.
    #[serde(with = "figures::minutes")]
    pub travel: f64,
    /// Minutes until one can set off.
    #[serde(with = "figures::minutes")]
    pub waiting: f64,
}

/// Remarks from the fixed opening.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(default)]
pub struct Opening {
    /// What is dangerous right now; `none` when asked and nothing is.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub danger: Option<String>,
    /// Whether product since the last good check is held.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub held_since_last_good: Option<String>,
    /// Serial number.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub serial: Option<String>,
    /// Whether it was ever right.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub ever_right: Option<String>,
    /// Since when, and what was touched last.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub since: Option<String>,
    /// Whether it is doing it now.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub doing_it_now: Option<String>,
}

impl Opening {
    /// The serial number, where somebody knew it.
    pub fn serial_said(&self) -> Option<&str> {
        self.serial.as_deref().filter(|serial| !matches!(*serial, "" | "unknown"))
    }

    /// The danger, where one was said.
    pub fn danger_said(&self) -> Option<&str> {
        self.danger.as_deref().filter(|said| !matches!(*said, "none" | "unknown" | "no"))
    }
}

/// One thing that happened.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(into = "EventForm", try_from = "EventForm")]
pub struct Event {
    /// When, as an RFC 3339 timestamp; none in files written by hand.
    pub at: Option<String>,
    /// Who said or did it.
    pub by: Option<PersonId>,
    /// What.
    pub what: What,
}

impl Event {
    /// The fills, where it is a run of them.
    pub fn fills(&self) -> Option<&Fills> {
        match &self.what {
            What::Reading { reading: Reading::Fills(fills), .. } => Some(fills),
            _ => None,
        }
    }
}

/// What happened.
#[derive(Debug, Clone, PartialEq)]
pub enum What {
    /// A check was answered.
    Reading {
        /// Which.
        check: CheckId,
        /// The answer.
        reading: Reading,
        /// What the machine was doing at the time.
        moment: Moment,
    },
    /// A circumstance was asked about.
    Circumstance {
        /// Which.
        id: CircumstanceId,
        /// The answer.
        answer: Happened,
    },
    /// A setting was changed.
    Setting {
        /// Which.
        id: SettingId,
        /// What stood there before.
        old: Option<String>,
        /// What was typed.
        new: Option<String>,
    },
    /// A remedy was done.
    Remedy {
        /// Which.
        id: RemedyId,
        /// How it went.
        result: RemedyResult,
    },
    /// Somebody suspects a cause; a remark, never evidence.
    Suspicion(CauseId),
    /// A remark.
    Note(String),
}

/// The answer to a check.
#[derive(Debug, Clone, PartialEq)]
pub enum Reading {
    /// One of its outcomes.
    Outcome(OutcomeId),
    /// Always allowed, never evidence.
    CannotTell,
    /// A quantity, with the known or shown one beside it where the check asks for a pair.
    Value {
        /// What was read.
        value: Quantity,
        /// What stands beside it, where the check asks for a pair.
        against: Option<Beside>,
    },
    /// A run of fills.
    Fills(Fills),
}

/// The second figure of a pair.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Beside {
    /// The known weight.
    Expected(Quantity),
    /// What the machine showed for the same bag.
    Shown(Quantity),
}

impl Beside {
    /// The figure, whichever it is.
    pub fn quantity(self) -> Quantity {
        let (Beside::Expected(quantity) | Beside::Shown(quantity)) = self;
        quantity
    }
}

/// A run of fills as written in a case.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
pub struct Fills {
    /// Unit of all figures below.
    pub unit: String,
    /// Target, in that unit.
    pub target: f64,
    /// Net weights in order.
    pub values: Vec<f64>,
    /// What the machine showed for the same bags; empty or as long as `values`.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub shown: Vec<f64>,
    /// Smallest step of the instrument.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub division: Option<f64>,
    /// Bag tare: each, mean or none, with its figures.
    #[serde(default, with = "figures::tare", skip_serializing_if = "Option::is_none")]
    pub tare: Option<(String, Vec<f64>)>,
    /// What they were weighed on.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub instrument: Option<String>,
    /// Lane of each fill.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub lanes: Vec<String>,
    /// Time of each fill.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub times: Vec<String>,
    /// Settings at the time, in order of their names.
    #[serde(default, with = "figures::pairs", skip_serializing_if = "Vec::is_empty")]
    pub settings: Vec<(String, String)>,
}

/// What the machine was doing when a check was answered.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Moment {
    /// It was doing it.
    Bad,
    /// It was not.
    Good,
    /// Nobody knows.
    #[default]
    Unknown,
}

/// The answer about a circumstance.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Happened {
    /// It happened.
    Happened,
    /// It did not.
    DidNot,
    /// Cannot tell.
    CannotTell,
}

/// How a remedy went.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum RemedyResult {
    /// The proving run is good.
    ProvedGone,
    /// Gone, and nothing proves it.
    GoneNotProved,
    /// Still there.
    StillThere,
    /// Something else changed.
    Changed,
    /// Done in a lockout that still stands: the machine has not run since.
    NotTried,
}

/// How a case was closed.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Closing {
    /// Proved by a run of fills.
    Cured,
    /// Gone, not proved.
    GoneNotProved,
    /// Somebody is on the way.
    SentSomebody,
    /// Left open.
    LeftOpen,
}

/// What a rehearsal or test expects of a case.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(default)]
pub struct Expect {
    /// The cause that should lead.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub cause: Option<CauseId>,
    /// Among the first so many.
    pub within: usize,
    /// After so many answers.
    pub answers: usize,
    /// Cautions that must appear.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub cautions: Vec<CautionId>,
}

impl Default for Expect {
    fn default() -> Self {
        Self { cause: None, within: 3, answers: 5, cautions: Vec::new() }
    }
}
