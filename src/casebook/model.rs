//! A case: the record of one call or visit, from complaint to proof of cure.

use std::collections::BTreeSet;

use serde::{Deserialize, Serialize};

use crate::ids::{
    CauseId, CautionId, CheckId, CircumstanceId, MachineId, OptionId, OutcomeId, PersonId, RemedyId, SettingId, ToolId,
};
use crate::safety::ScaleSupply;
use crate::units::Quantity;

/// The format of a case file.
pub const FORMAT: &str = "handlamp-case/1";

/// One call or visit.
#[derive(Debug, Clone, PartialEq)]
pub struct Case {
    /// The knowledge it was made with.
    pub knowledge: Option<KnowledgeMark>,
    /// The machine.
    pub machine: MachineId,
    /// Options fitted; none given means any may be.
    pub fitted: Option<BTreeSet<OptionId>>,
    /// What is known of its scale.
    pub scale: ScaleFacts,
    /// For a legal verdict only: eu, us, other or unknown.
    pub market: Option<String>,
    /// What is being filled.
    pub product: Option<Product>,
    /// Who is where and may do what.
    pub people: Vec<Person>,
    /// Travel and waiting, in minutes.
    pub visit: Option<Visit>,
    /// Remarks from the opening, never evidence.
    pub opening: Opening,
    /// The complaint in the caller's words.
    pub complaint: Option<String>,
    /// What happened, in order.
    pub events: Vec<Event>,
    /// What a rehearsal or test expects.
    pub expect: Option<Expect>,
    /// How it was closed.
    pub closed: Option<Closing>,
}

/// Version and hash of a knowledge.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct KnowledgeMark {
    /// Version.
    pub version: String,
    /// Hash.
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
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ScaleFacts {
    /// Whether it bears a legal-for-trade seal.
    pub sealed: Known,
    /// Whether its supply is apart from the drives'; none means as the machine's entry says.
    pub supply: Option<ScaleSupply>,
    /// Division in grams, when it is not the machine's.
    pub division: Option<f64>,
}

/// What is being filled.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Product {
    /// Its name.
    pub name: Option<String>,
    /// Whether it dusts.
    pub dusty: Option<bool>,
    /// The allergen it carries.
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
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Person {
    /// Short name in this case.
    pub id: PersonId,
    /// Where.
    pub at: Whereabouts,
    /// What they may do.
    pub may: BTreeSet<May>,
    /// Tools at hand.
    pub has: BTreeSet<ToolId>,
}

/// What a visit costs, in minutes.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub struct Visit {
    /// Minutes on the road.
    pub travel: f64,
    /// Minutes until one can set off.
    pub waiting: f64,
}

/// Remarks from the fixed opening.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Opening {
    /// What is dangerous right now; `none` when asked and nothing is.
    pub danger: Option<String>,
    /// Whether product since the last good check is held.
    pub held_since_last_good: Option<String>,
    /// Serial number.
    pub serial: Option<String>,
    /// Whether it was ever right.
    pub ever_right: Option<String>,
    /// Since when, and what was touched last.
    pub since: Option<String>,
    /// Whether it is doing it now.
    pub doing_it_now: Option<String>,
}

/// One thing that happened.
#[derive(Debug, Clone, PartialEq)]
pub struct Event {
    /// When, as an RFC 3339 timestamp; none in files written by hand.
    pub at: Option<String>,
    /// Who said or did it.
    pub by: Option<PersonId>,
    /// What.
    pub what: What,
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
        /// The known weight, or what the machine showed.
        against: Option<Quantity>,
    },
    /// A run of fills.
    Fills(Fills),
}

/// A run of fills as written in a case.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Fills {
    /// Unit of all figures below.
    pub unit: String,
    /// Target, in that unit.
    pub target: f64,
    /// Net weights in order.
    pub values: Vec<f64>,
    /// What the machine showed for the same bags; empty or as long as `values`.
    pub shown: Vec<f64>,
    /// Smallest step of the instrument.
    pub division: Option<f64>,
    /// Bag tare: each, mean or none, with its figures.
    pub tare: Option<(String, Vec<f64>)>,
    /// What they were weighed on.
    pub instrument: Option<String>,
    /// Lane of each fill.
    pub lanes: Vec<String>,
    /// Time of each fill.
    pub times: Vec<String>,
    /// Settings at the time, by name.
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
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Expect {
    /// The cause that should lead.
    pub cause: Option<CauseId>,
    /// Among the first so many.
    pub within: usize,
    /// After so many answers.
    pub answers: usize,
    /// Cautions that must appear.
    pub cautions: Vec<CautionId>,
}
