//! A sheet: one checklist filled in on one machine, by several people over several days.
//!
//! A sheet is a record of lines that are only ever added ([`Sheets`]). A correction is a line of its own; the first
//! answer stays beside it. Each line carries a sum over itself and the line before, which shows accidental change.

use std::collections::BTreeSet;

use serde::{Deserialize, Serialize};

use super::figures;
use super::log::{self, Begins, Log, LogRecord, Logs};
use super::model::{Closing, Fills};
use crate::ids::{ItemId, ListId, MachineId, OptionId, OutcomeId};
use crate::units::Quantity;

/// What a sheet begins with.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Head {
    /// The list.
    pub list: ListId,
    /// Its revision.
    pub revision: u32,
    /// The machine.
    pub machine: MachineId,
    /// Options fitted; none given means any may be.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub fitted: Option<BTreeSet<OptionId>>,
    /// The machine's serial number.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub serial: Option<String>,
}

/// An instrument and until when it may be trusted.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Instrument {
    /// Its number, or its name.
    pub name: String,
    /// The day its next check is due.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub due: Option<jiff::civil::Date>,
}

/// The answer to an item.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(tag = "answer", rename_all = "kebab-case")]
pub enum Answer {
    /// Done, or seen as expected.
    AsExpected {
        /// What was written beside it: a figure, a time.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        remark: Option<String>,
    },
    /// Not done, or not as expected, and what was found.
    NotSo {
        /// What was found.
        found: String,
    },
    /// A figure.
    Value {
        /// What was read.
        #[serde(with = "figures::quantity")]
        value: Quantity,
        /// The known value beside it.
        #[serde(default, with = "figures::maybe_quantity", skip_serializing_if = "Option::is_none")]
        expected: Option<Quantity>,
        /// With what.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        instrument: Option<Instrument>,
    },
    /// A run of fills.
    Run {
        /// The fills.
        fills: Fills,
        /// Allowed to either side of the target, in the unit of the fills.
        tolerance: f64,
    },
    /// One of the answers of a choice.
    Chosen {
        /// Which.
        id: OutcomeId,
    },
    /// Signed by name.
    Signed {
        /// Everybody who signed.
        names: Vec<String>,
        /// What they wrote beside it.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        remark: Option<String>,
    },
    /// A document or photograph.
    Reference {
        /// Where it is found.
        text: String,
    },
}

/// One thing that was added to a sheet.
#[expect(clippy::large_enum_variant, reason = "answers are what a sheet is made of")]
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(tag = "what", rename_all = "kebab-case")]
pub enum Line {
    /// Whoever answers from here on. Authority and isolation begin anew.
    Person {
        /// Their name.
        name: String,
    },
    /// An item was answered.
    Answered {
        /// Which.
        item: ItemId,
        /// The answer.
        #[serde(flatten)]
        answer: Answer,
        /// Whether it is as wanted.
        good: bool,
        /// Whether an earlier answer was wrong and this one takes its place.
        #[serde(default, skip_serializing_if = "std::ops::Not::not")]
        corrects: bool,
    },
    /// Somebody with the right to do so lets the work go on although an item failed.
    Deviation {
        /// Which item.
        item: ItemId,
        /// Who.
        name: String,
        /// Why.
        reason: String,
    },
    /// Something that stopped the work was put right; the item is done again after it.
    PutRight {
        /// Which item.
        item: ItemId,
        /// By whom.
        name: String,
        /// What was done.
        done: String,
    },
    /// An item was left out.
    Skipped {
        /// Which.
        item: ItemId,
        /// Why.
        reason: String,
    },
    /// A remark.
    Note {
        /// The item that it was made at.
        item: ItemId,
        /// What.
        text: String,
    },
    /// A diagnosis was begun from an item.
    Diagnosis {
        /// Which.
        item: ItemId,
        /// The case.
        case: String,
    },
    /// The diagnosis was left or closed.
    DiagnosisEnded {
        /// Which item it was begun from.
        item: ItemId,
        /// The case.
        case: String,
        /// How it was closed; none when it stays open.
        closing: Option<Closing>,
    },
    /// Isolated, locked and tried.
    Locked {
        /// Whose key.
        key: String,
    },
    /// The locks are off.
    Restored,
    /// A qualified electrical person, for work on live parts.
    Qualified {
        /// Their name.
        name: String,
    },
    /// Mains, air and neighbours are seen to be apart from the machine.
    Unconnected,
    /// A list that comes before this one is not signed here, and somebody takes that on.
    BeforeMissing {
        /// Which list.
        list: ListId,
        /// Who.
        name: String,
        /// Why.
        reason: String,
    },
    /// An open point gets somebody who looks after it.
    Owner {
        /// Which item it is about.
        item: ItemId,
        /// Who looks after it.
        name: String,
        /// By when.
        due: String,
    },
    /// The whole is signed.
    Ended {
        /// By whom.
        name: String,
    },
}

/// A sheet as it stands.
pub type Sheet = Log<Head, Line>;
/// The sheets in a store.
pub type Sheets = Logs<Head, Line>;
/// A sheet that only this process may add to.
pub type SheetRecord = LogRecord<Head, Line>;
/// A line with when and by whom.
pub type Kept = log::Kept<Line>;

impl Begins for Head {
    const FORMAT: &str = "handlamp-sheet/1";
    const FOLDER: &str = "checklists";
}

/// Where an item stands.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Standing {
    /// Not answered.
    Open,
    /// As wanted.
    Good,
    /// Not as wanted; nobody goes on.
    Failed,
    /// Not as wanted, and somebody let the work go on.
    Deviated,
    /// Left out, with a reason.
    Skipped,
}

impl Standing {
    /// Whether the work may go on to the next item.
    pub fn settled(self) -> bool {
        !matches!(self, Standing::Open | Standing::Failed)
    }
}

impl Sheet {
    /// Everything said about an item, in order.
    pub fn of<'s>(&'s self, item: &'s ItemId) -> impl DoubleEndedIterator<Item = &'s Kept> {
        self.lines.iter().filter(move |kept| kept.line.item() == Some(item))
    }

    /// The answer that stands, with its line.
    pub fn answer<'s>(&'s self, item: &'s ItemId) -> Option<(&'s Kept, &'s Answer)> {
        self.of(item).rev().find_map(|kept| match &kept.line {
            Line::Answered { answer, .. } => Some((kept, answer)),
            _ => None,
        })
    }

    /// Where an item stands: what was last said of it decides.
    pub fn standing(&self, item: &ItemId) -> Standing {
        let last = self.of(item).rev().find_map(|kept| match &kept.line {
            Line::Answered { good: true, .. } => Some(Standing::Good),
            Line::Answered { good: false, .. } => Some(Standing::Failed),
            Line::Deviation { .. } => Some(Standing::Deviated),
            Line::Skipped { .. } => Some(Standing::Skipped),
            _ => None,
        });
        last.unwrap_or(Standing::Open)
    }

    /// The answers chosen so far.
    pub fn chosen(&self) -> crate::checklist::Chosen {
        let chosen = self.lines.iter().filter_map(|kept| match &kept.line {
            Line::Answered { item, answer: Answer::Chosen { id }, .. } => Some((item.clone(), id.clone())),
            _ => None,
        });
        chosen.collect()
    }

    /// Who signed the whole, and when.
    pub fn ended(&self) -> Option<(&str, &str)> {
        self.lines.iter().rev().find_map(|kept| match &kept.line {
            Line::Ended { name } => Some((name.as_str(), kept.at.as_str())),
            _ => None,
        })
    }

    /// Who looks after an open point, and by when.
    pub fn owner<'s>(&'s self, item: &'s ItemId) -> Option<(&'s str, &'s str)> {
        self.of(item).rev().find_map(|kept| match &kept.line {
            Line::Owner { name, due, .. } => Some((name.as_str(), due.as_str())),
            _ => None,
        })
    }
}

impl Line {
    /// The item that it is about.
    pub fn item(&self) -> Option<&ItemId> {
        match self {
            Line::Answered { item, .. }
            | Line::Deviation { item, .. }
            | Line::Skipped { item, .. }
            | Line::PutRight { item, .. }
            | Line::Note { item, .. }
            | Line::Diagnosis { item, .. }
            | Line::DiagnosisEnded { item, .. }
            | Line::Owner { item, .. } => Some(item),
            _ => None,
        }
    }
}
