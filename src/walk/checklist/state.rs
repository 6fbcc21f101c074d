//! Where a person stands in a list.

use std::collections::{BTreeMap, BTreeSet};

use super::ways::stands_stopped;
use crate::casebook::sheet::{Instrument, Line, Sheet, Standing};
use crate::checklist::{Checklist, Checklists, Item, Section, Situation};
use crate::ids::{CautionId, ItemId, ListId, MachineId, OptionId};
use crate::knowledge::Machine;
use crate::units::Quantity;
use crate::walk::Lockout;

/// What is asked now.
#[derive(Debug, Clone, PartialEq)]
pub enum ListAsk {
    /// Which machine.
    Machine(Vec<MachineId>),
    /// Its serial number.
    Serial,
    /// Which of these options are fitted.
    Fitted(Vec<OptionId>),
    /// Who carries it out from here on.
    Person,
    /// Something stopped the work on this machine in another sheet; nothing goes on until that is put right there.
    Stopped(Stopped),
    /// Lists that come before this one are not signed on this machine: who decides to go ahead, and why.
    Before(Vec<ListId>),
    /// Are mains, air and neighbours apart from the machine?
    Unconnected,
    /// May this person lock out, and does the written procedure agree?
    Authority(ItemId),
    /// Isolated, locked and tried? Whose key?
    Locked(ItemId),
    /// The lock from before: still on, and whose key?
    StillLocked(ItemId),
    /// Which qualified electrical person does it?
    Qualified(ItemId),
    /// What a fill should weigh, and what is allowed to either side.
    Target(ItemId),
    /// The answer to an item.
    Item(ItemId),
    /// The number and the due date of the instrument that a figure was read with.
    Instrument {
        /// The item.
        item: ItemId,
        /// The figure.
        value: Quantity,
        /// The known value beside it.
        expected: Option<Quantity>,
    },
    /// What was found instead of what was expected.
    Found(ItemId),
    /// Another name, after these.
    Names {
        /// The item.
        item: ItemId,
        /// Who signed so far.
        so_far: Vec<String>,
        /// What was written beside it.
        remark: Option<String>,
    },
    /// An item failed: try again, note, diagnose, deviation.
    Failed(ItemId),
    /// Who put right what stopped the work, and what was done.
    PutRight(ItemId),
    /// Who lets the work go on.
    DeviationName(ItemId),
    /// Why.
    DeviationReason {
        /// The item.
        item: ItemId,
        /// Who.
        name: String,
    },
    /// Why an item is left out.
    SkipReason(ItemId),
    /// A remark at an item.
    Note(ItemId),
    /// Which answer was wrong.
    Correct(Vec<ItemId>),
    /// A diagnosis goes on from this item.
    Diagnosing(ItemId),
    /// Who looks after an open point, and by when.
    Owner(ItemId),
    /// Who signs the whole.
    End,
    /// Nothing more is asked.
    Over,
}

impl ListAsk {
    /// The item that is asked about.
    pub fn item(&self) -> Option<&ItemId> {
        match self {
            ListAsk::Authority(item)
            | ListAsk::Locked(item)
            | ListAsk::StillLocked(item)
            | ListAsk::Qualified(item)
            | ListAsk::Target(item)
            | ListAsk::Item(item)
            | ListAsk::Instrument { item, .. }
            | ListAsk::Found(item)
            | ListAsk::Names { item, .. }
            | ListAsk::Failed(item)
            | ListAsk::PutRight(item)
            | ListAsk::DeviationName(item)
            | ListAsk::DeviationReason { item, .. }
            | ListAsk::SkipReason(item)
            | ListAsk::Note(item)
            | ListAsk::Diagnosing(item)
            | ListAsk::Owner(item) => Some(item),
            _ => None,
        }
    }
}

/// A list at one moment.
#[expect(clippy::struct_excessive_bools, reason = "each is a plain fact of the moment")]
#[derive(Debug, Clone)]
pub struct ListState {
    /// The sheet as it stands, with what the next lines will add.
    pub sheet: Sheet,
    /// Whether the machine is settled.
    pub machine_known: bool,
    /// Whether serial number and options were asked.
    pub asked: (bool, bool),
    /// What is asked now.
    pub ask: ListAsk,
    /// Who is answering; authority is theirs alone.
    pub speaker: Option<String>,
    /// The lockout in force.
    pub lockout: Lockout,
    /// Locked just now, so that nobody asks at the very next item whether it still is.
    pub fresh_lock: bool,
    /// Whether somebody saw just now that nothing is connected.
    pub unconnected: bool,
    /// The qualified electrical person of this sitting.
    pub qualified: Option<String>,
    /// Whether the next answer takes an earlier one's place.
    pub correcting: bool,
    /// Lists that stand signed for this machine in other sheets.
    pub signed: BTreeSet<ListId>,
    /// Lists that come before this one and are not signed, first things first.
    pub missing: Vec<ListId>,
    /// What stopped the work on this machine in another sheet.
    pub stopped: Option<Stopped>,
    /// Cautions that this person has read in full in this sitting.
    pub read: BTreeSet<CautionId>,
    /// Open points of the machine's other sheets.
    pub elsewhere: Vec<OpenPoint>,
    /// Target and tolerance of runs, and their unit, as last said.
    pub target: Option<(f64, f64, String)>,
    /// What is usually allowed to either side on this machine, grams.
    pub usual_tolerance: Option<f64>,
    /// Instruments named in this sheet.
    pub instruments: BTreeMap<String, Instrument>,
    /// The day, for due dates.
    pub today: jiff::civil::Date,
}

/// What one step gives.
#[derive(Debug, Clone)]
pub struct ListStep {
    /// The new state.
    pub state: ListState,
    /// Lines to append, in order, each with who was answering.
    pub lines: Vec<(Line, Option<String>)>,
    /// Something to show before the next question.
    pub show: Option<ListShow>,
}

/// Something to show before the next question.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum ListShow {
    /// Why the item is asked.
    Why,
    /// The whole list with what is done.
    Overview,
    /// What can be typed.
    Help,
    /// Not understood, in a sentence.
    NotUnderstood(String),
    /// A sentence.
    Said(String),
}

/// A sheet in which something stopped the work: nobody signs that away, and nobody goes round it by another list.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Stopped {
    /// The sheet.
    pub sheet: String,
    /// Its list.
    pub list: ListId,
    /// The item that failed.
    pub item: ItemId,
}

/// The first item of a sheet that stopped the work and was not done again well.
pub fn stopped(list: &Checklist, sheet: &Sheet, today: jiff::civil::Date) -> Option<Stopped> {
    let item = list.items().map(|(_, item)| item).find(|item| stands_stopped(item, sheet, today))?;
    Some(Stopped { sheet: sheet.id.to_string(), list: list.id.clone(), item: item.id.value.clone() })
}

/// Lists that come before this one, however far back, and are not signed; first things first.
pub fn missing_before(lists: &Checklists, list: &Checklist, signed: &BTreeSet<ListId>) -> Vec<ListId> {
    let mut missing = Vec::new();
    let mut open: Vec<ListId> = list.after.iter().map(|a| a.value.clone()).collect();
    while let Some(id) = open.pop() {
        if !signed.contains(&id) && !missing.contains(&id) {
            open.extend(
                lists.lists.get(&id).into_iter().flat_map(|l| l.after.iter().map(|a| a.value.clone())),
            );
            missing.push(id);
        }
    }
    missing.reverse();
    missing
}

/// Something that is not as it should be and goes on all the same.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct OpenPoint {
    /// The list.
    pub list: ListId,
    /// The item.
    pub item: ItemId,
    /// How it came to be open.
    pub standing: Standing,
    /// Why, in the words of whoever let it go on.
    pub reason: String,
    /// Who said so.
    pub by: Option<String>,
    /// Who looks after it, and by when.
    pub owner: Option<(String, String)>,
}

/// The items that come up on a sheet, each with its section, in the order of the list.
pub fn coming_up<'l>(list: &'l Checklist, machine: &Machine, sheet: &Sheet) -> Vec<(&'l Section, &'l Item)> {
    list.coming_up(&Situation {
        machine: &machine.id,
        fitted: sheet.head.fitted.as_ref(),
        options: &machine.options,
        chosen: &sheet.chosen(),
    })
}

/// The open points of a sheet, in the order of its list.
pub fn open_points(list: &Checklist, sheet: &Sheet) -> Vec<OpenPoint> {
    let point = |item: &ItemId| {
        let standing = sheet.standing(item);
        let (reason, by) = sheet.of(item).rev().find_map(|kept| match (&kept.line, standing) {
            (Line::Deviation { name, reason, .. }, Standing::Deviated) => {
                Some((reason.clone(), Some(name.clone())))
            }
            (Line::Skipped { reason, .. }, Standing::Skipped) => Some((reason.clone(), kept.by.clone())),
            _ => None,
        })?;
        let owner = sheet.owner(item).map(|(name, due)| (name.to_owned(), due.to_owned()));
        Some(OpenPoint { list: list.id.clone(), item: item.clone(), standing, reason, by, owner })
    };
    list.items().filter_map(|(_, item)| point(&item.id.value)).collect()
}
