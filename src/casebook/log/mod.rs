//! A log: a head and lines that are only ever added. A correction is a line of its own; what it corrects stays beside
//! it. Each line carries a sum over itself and the line before, which shows accidental change.

mod chain;
mod keep;

use std::fmt::Debug;

use serde::Serialize;
use serde::de::DeserializeOwned;

pub use keep::{LogRecord, Logs};

use super::store::CaseId;

/// What a kind of log begins with, and where it is kept.
pub trait Begins: Debug + Clone + PartialEq + Serialize + DeserializeOwned {
    /// The format of a record that this program reads and writes.
    const FORMAT: &str;
    /// The folder inside the store.
    const FOLDER: &str;
}

/// What can be added to a log.
pub trait Line: Debug + Clone + PartialEq + Serialize + DeserializeOwned {}

impl<T: Debug + Clone + PartialEq + Serialize + DeserializeOwned> Line for T {}

/// A line with when and by whom.
#[derive(Debug, Clone, PartialEq)]
pub struct Kept<L> {
    /// Its number, from one; the head is line 1.
    pub number: usize,
    /// When, as an RFC 3339 timestamp.
    pub at: String,
    /// Who was answering.
    pub by: Option<String>,
    /// What.
    pub line: L,
}

impl<L> Kept<L> {
    /// The day it was written; none while it is not on disk.
    pub fn day(&self) -> Option<jiff::civil::Date> {
        let at = self.at.parse::<jiff::Timestamp>().ok()?;
        Some(at.to_zoned_datetime(jiff::tz::TimeZone::UTC).date())
    }
}

/// A log as it stands.
#[derive(Debug, Clone, PartialEq)]
pub struct Log<H, L> {
    /// Its id.
    pub id: CaseId,
    /// When it was begun.
    pub begun: String,
    /// What it is of.
    pub head: H,
    /// Everything added, in order.
    pub lines: Vec<Kept<L>>,
    /// What is wrong with the record, a sentence each; empty when it is whole.
    pub damage: Vec<String>,
    /// The sum over all of it, to be written on paper.
    pub sum: String,
}

impl<H, L> Log<H, L> {
    /// A log that nothing was written to yet.
    pub fn blank(head: H, day: jiff::civil::Date) -> Self {
        Self {
            id: CaseId::of_day(day, 0),
            begun: String::new(),
            head,
            lines: Vec::new(),
            damage: Vec::new(),
            sum: String::new(),
        }
    }

    /// When something was last added.
    pub fn last(&self) -> &str {
        self.lines.last().map_or(&self.begun, |kept| &kept.at)
    }
}
