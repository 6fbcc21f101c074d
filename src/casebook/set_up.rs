//! A set-up: how one product was brought to run on one machine, every look, time, run and change in order. A log of
//! lines that are only ever added ([`SetUps`]); the settings at its end are the product's sheet.

use serde::{Deserialize, Serialize};

use super::figures;
use super::log::{Begins, Log, LogRecord, Logs};
use super::model::Fills;
use crate::ids::{CheckId, MachineId, OutcomeId, SettingId};
use crate::units::Quantity;

/// What a set-up begins with.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct SetUpHead {
    /// The machine.
    pub machine: MachineId,
    /// Its serial number.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub serial: Option<String>,
    /// The product.
    pub product: String,
    /// What a fill should weigh.
    #[serde(with = "figures::quantity")]
    pub target: Quantity,
    /// Allowed to either side.
    #[serde(with = "figures::quantity")]
    pub tolerance: Quantity,
    /// Fills a minute that are wanted; none when the speed does not matter.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub fills_a_minute: Option<f64>,
}

/// What must hold before anything is set.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Gate {
    /// Guards and stops are proved, and the scale reads a known weight right.
    ScaleProved,
    /// The product runs as it will run: lot, level in the hopper, bags.
    ProductAsItRuns,
}

/// Whether the machine changes the allowance by itself.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Correction {
    /// There is none, or it was off.
    Off,
    /// It was switched off for setting up.
    SwitchedOff,
    /// It cannot be switched off: the allowance is left to it.
    StaysOn,
}

/// One thing that was added to a set-up.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(tag = "what", rename_all = "kebab-case")]
pub enum SetUpLine {
    /// Whoever sets up from here on.
    Person {
        /// Their name.
        name: String,
    },
    /// Something that must hold does.
    Holds {
        /// What.
        gate: Gate,
    },
    /// What the machine does by itself.
    Corrects {
        /// How it is.
        how: Correction,
    },
    /// Where a setting stood at the start; none when nobody knows, and then it is left alone.
    Stood {
        /// Which.
        setting: SettingId,
        /// Its figure.
        #[serde(default, with = "figures::maybe_quantity", skip_serializing_if = "Option::is_none")]
        figure: Option<Quantity>,
    },
    /// Something was looked at.
    Looked {
        /// By which check.
        check: CheckId,
        /// What was seen.
        outcome: OutcomeId,
    },
    /// Fills were timed.
    Timed {
        /// Seconds of coarse feed.
        coarse: f64,
        /// Seconds of fine feed.
        fine: f64,
        /// Fills a minute.
        fills_a_minute: f64,
    },
    /// Fine feed ran alone for ten seconds.
    Caught {
        /// Grams that it brought.
        grams: f64,
    },
    /// Isolated, locked and tried, for a change that is made by hand.
    Locked {
        /// Whose key.
        key: String,
    },
    /// The locks are off, guards on, people clear.
    HandedBack,
    /// One setting was changed.
    Changed {
        /// Which.
        setting: SettingId,
        /// From what.
        #[serde(with = "figures::quantity")]
        old: Quantity,
        /// To what.
        #[serde(with = "figures::quantity")]
        new: Quantity,
        /// Whether this takes an earlier change back.
        #[serde(default, skip_serializing_if = "std::ops::Not::not")]
        back: bool,
    },
    /// A setting is to be left where it is.
    Kept {
        /// Which.
        setting: SettingId,
    },
    /// Fills were weighed in order, the first two after a stop left out.
    Weighed {
        /// The fills.
        fills: Fills,
        /// Fills a minute while they were made.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        fills_a_minute: Option<f64>,
    },
    /// No fills were weighed before the first change.
    NoRunBefore,
    /// A remark.
    Note {
        /// What.
        text: String,
    },
    /// What no setting cures went over to a diagnosis.
    HandedOver {
        /// The case.
        case: String,
    },
    /// What was handed over is done with; setting up goes on.
    WentOn,
    /// Found good and signed.
    Ended {
        /// By whom.
        name: String,
    },
}

impl Begins for SetUpHead {
    const FORMAT: &str = "handlamp-set-up/1";
    const FOLDER: &str = "set-ups";
}

/// A set-up as it stands.
pub type SetUpLog = Log<SetUpHead, SetUpLine>;
/// The set-ups in a store.
pub type SetUps = Logs<SetUpHead, SetUpLine>;
/// A set-up that only this process may add to.
pub type SetUpRecord = LogRecord<SetUpHead, SetUpLine>;

impl SetUpLog {
    /// Who sets up now, where somebody said so.
    pub fn person(&self) -> Option<&str> {
        self.lines.iter().rev().find_map(|kept| match &kept.line {
            SetUpLine::Person { name } => Some(name.as_str()),
            _ => None,
        })
    }

    /// Who signed it, and when.
    pub fn ended(&self) -> Option<(&str, &str)> {
        self.lines.iter().rev().find_map(|kept| match &kept.line {
            SetUpLine::Ended { name } => Some((name.as_str(), kept.at.as_str())),
            _ => None,
        })
    }
}
