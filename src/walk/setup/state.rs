//! Where a person stands in a set-up: what is asked now, and everything that the lines so far add up to.

use super::advice::{Stuck, Why};
use super::bench::{Bench, Layer};
use crate::casebook::set_up::{Correction, Gate, SetUpHead, SetUpLine, SetUpLog};
use crate::ids::{CheckId, MachineId, SettingId};
use crate::units::Quantity;
use crate::weights::setup::{FillTimes, MeanError};

/// What is asked now.
#[derive(Debug, Clone, PartialEq)]
pub enum SetUpAsk {
    /// Which machine.
    Machine(Vec<MachineId>),
    /// Which product.
    Product,
    /// What a fill should weigh, and what is allowed to either side.
    Target,
    /// How many fills a minute are wanted.
    Speed,
    /// Whether something holds that must.
    Gate(Gate),
    /// Whether the machine corrects its allowance by itself.
    Corrects,
    /// Where a setting stands.
    Figure(SettingId),
    /// A run as it stands, to have something to compare with.
    AsFound,
    /// What is seen by this check.
    Look {
        /// The setting that it tells of.
        setting: SettingId,
        /// The check.
        check: CheckId,
    },
    /// Coarse feed, fine feed and fills a minute.
    Times,
    /// What fine feed alone brings in ten seconds.
    Catch,
    /// Isolated, locked and tried? Whose key?
    Lock(Proposal),
    /// Make this change.
    Change(Proposal),
    /// Whether the lock is off, the guards on and people clear.
    HandBack,
    /// Weigh so many fills.
    Run(usize),
    /// No setting cures it: diagnose, or leave it and go on?
    Stuck(Stuck),
    /// It is good: who signs the sheet?
    Sign {
        /// Whether the speed is had.
        fast_enough: bool,
    },
    /// Nothing more is asked.
    Over,
}

/// One change that is proposed.
#[derive(Debug, Clone, PartialEq)]
pub struct Proposal {
    /// Which setting.
    pub setting: SettingId,
    /// From what.
    pub old: Quantity,
    /// To what.
    pub new: Quantity,
    /// Why, when it is advised; none of a person's own change.
    pub why: Option<Why>,
    /// Whether it takes an earlier change back.
    pub back: bool,
}

/// What had been found before a change, or after it.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Found {
    /// What the layer looks like.
    pub layer: Option<Layer>,
    /// Whether the reading stands still.
    pub still: Option<bool>,
    /// Times of a fill, seconds.
    pub times: Option<FillTimes>,
    /// Flow of coarse feed, grams a second.
    pub coarse_flow: Option<f64>,
    /// Flow of fine feed, grams a second.
    pub fine_flow: Option<f64>,
    /// What the fills say.
    pub mean: Option<MeanError>,
}

/// A change that was made, with what it was expected to bring and what it brought.
#[derive(Debug, Clone, PartialEq)]
pub struct Trial {
    /// Which setting.
    pub setting: SettingId,
    /// From what.
    pub old: Quantity,
    /// To what.
    pub new: Quantity,
    /// Why, when it was proposed; none of a person's own change or one taken back.
    pub why: Option<Why>,
    /// Whether it took an earlier one back.
    pub back: bool,
    /// What was known before it.
    pub before: Found,
    /// What was found after it and before the next.
    pub after: Found,
}

/// Everything that the lines add up to.
#[derive(Debug, Clone, PartialEq)]
pub struct Course {
    /// The settings with what was found.
    pub bench: Bench,
    /// Changes in order.
    pub trials: Vec<Trial>,
    /// Gates that hold.
    pub holds: Vec<Gate>,
    /// What the machine does by itself.
    pub corrects: Option<Correction>,
    /// Settings whose figure was asked, known or not.
    pub asked: Vec<SettingId>,
    /// The run as it stood: the fills' mean and spread; none inside when there was none.
    pub as_found: Option<Option<MeanError>>,
    /// Fills a minute then.
    pub found_speed: Option<f64>,
    /// Whose lock is on.
    pub lock: Option<String>,
    /// Whether a change was made under the lock.
    pub made_under_lock: bool,
    /// Whether something was handed over and is not back.
    pub handed_over: Option<String>,
    /// Fills weighed in all.
    pub fills: usize,
}

/// What is known before the record begins.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Draft {
    /// The machine.
    pub machine: Option<MachineId>,
    /// Its serial number.
    pub serial: Option<String>,
    /// The product.
    pub product: Option<String>,
    /// Target and tolerance.
    pub target: Option<(Quantity, Quantity)>,
    /// Fills a minute; none inside when the speed does not matter.
    pub speed: Option<Option<f64>>,
}

impl Draft {
    /// What a record begins with, once everything is known.
    pub fn head(&self) -> Option<SetUpHead> {
        let (target, tolerance) = self.target?;
        Some(SetUpHead {
            machine: self.machine.clone()?,
            serial: self.serial.clone(),
            product: self.product.clone()?,
            target,
            tolerance,
            fills_a_minute: self.speed?,
        })
    }
}

/// A set-up at one moment.
#[derive(Debug, Clone, PartialEq)]
pub struct SetUpState {
    /// What is known before the record begins.
    pub draft: Draft,
    /// The record.
    pub log: Option<SetUpLog>,
    /// What it adds up to.
    pub course: Option<Course>,
    /// What is asked.
    pub ask: SetUpAsk,
    /// A change that a person wants, asked before anything else.
    pub wants: Option<Proposal>,
    /// Whether a lock from before this sitting is not taken for granted.
    pub lapsed: bool,
    /// The day.
    pub today: jiff::civil::Date,
}

/// What is shown besides the question.
#[derive(Debug, Clone, PartialEq)]
pub enum SetUpShow {
    /// A sentence in place of the question.
    NotUnderstood(String),
    /// A sentence before it.
    Said(String),
    /// Why this is asked.
    Why,
    /// Everything so far.
    Overview,
    /// What can be typed.
    Help,
}

/// What a step leads to.
#[derive(Debug, Clone)]
pub struct SetUpStep {
    /// The next state.
    pub state: SetUpState,
    /// Lines that must be on disk before it is shown.
    pub lines: Vec<SetUpLine>,
    /// What is shown besides.
    pub show: Option<SetUpShow>,
}
