//! From the lines of a record to the case as it stands, and to the history of how it came to stand so.

use super::error::StoreError;
use super::id::CaseId;
use super::line::{Entry, Header, LONGEST, Line};
use crate::casebook::model::{Case, Event, What};
use crate::diag;

/// A case as it is kept.
#[derive(Debug, Clone, PartialEq)]
pub struct Recorded {
    /// Its id.
    pub id: CaseId,
    /// When it was begun, as an RFC 3339 timestamp.
    pub opened: String,
    /// When something was last added.
    pub last: String,
    /// The case as it stands: corrections applied.
    pub case: Case,
    /// Everything that was added, in order, with what it replaced.
    pub history: Vec<Happening>,
    /// What could not be read, if anything.
    pub remarks: Vec<Remark>,
}

/// One thing that was added to a case.
#[derive(Debug, Clone, PartialEq)]
pub struct Happening {
    /// When it was added.
    pub at: Option<String>,
    /// What.
    pub entry: Entry,
    /// The event that a correction replaced.
    pub replaced: Option<Event>,
}

/// Something in a record that could not be read.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Remark {
    /// The line, from one.
    pub line: usize,
    /// What is the matter with it.
    pub message: String,
}

impl std::fmt::Display for Remark {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(f, "line {}: {}", self.line, self.message)
    }
}

/// A record while lines are added to it.
#[derive(Debug)]
pub(super) struct Replay {
    pub(super) recorded: Recorded,
    /// The number of each event of the case.
    pub(super) numbers: Vec<usize>,
    /// The next free number.
    pub(super) next: usize,
    /// Length in bytes of what could be read; anything beyond is torn.
    pub(super) good: u64,
    /// Whether the last line lacks its end.
    pub(super) unended: bool,
}

impl Replay {
    /// Reads a whole record. Only its first line must be sound.
    pub(super) fn of(bytes: &[u8], id: &CaseId, place: &str) -> Result<Self, StoreError> {
        let mut lines = bytes.split_inclusive(|byte| *byte == b'\n');
        let first = lines.next().unwrap_or_default();
        let mut replay = Self::begin(first, id, place)?;
        for (i, line) in lines.enumerate() {
            replay.take(i + 2, line);
        }
        Ok(replay)
    }

    fn begin(first: &[u8], id: &CaseId, place: &str) -> Result<Self, StoreError> {
        let damaged = |why: &str| StoreError::Damaged { place: place.to_owned(), why: why.to_owned() };
        let value: serde_json::Value =
            serde_json::from_slice(first).map_err(|_| damaged("its first line cannot be read"))?;
        match value.get("format").and_then(|format| format.as_str()) {
            Some(super::FORMAT) => {}
            Some(other) => {
                let found = diag::harmless(&other.chars().take(64).collect::<String>());
                return Err(StoreError::UnknownFormat { place: place.to_owned(), found });
            }
            None => return Err(damaged("its first line has no format")),
        }
        let header: Header = serde_json::from_value(value).map_err(|error| {
            damaged(&diag::harmless(&format!("its first line does not hold a case: {error}")))
        })?;
        let recorded = Recorded {
            id: id.clone(),
            opened: header.at.clone(),
            last: header.at,
            case: header.case,
            history: Vec::new(),
            remarks: Vec::new(),
        };
        let (good, unended) = (first.len() as u64, !first.ends_with(b"\n"));
        let mut replay = Self { recorded, numbers: Vec::new(), next: 0, good, unended };
        if header.id != id.as_str() {
            replay.remark(1, format!("it was begun as '{}'", diag::harmless(&header.id)));
        }
        Ok(replay)
    }

    /// Takes one line; what is wrong with it becomes a remark, and the rest is read all the same.
    fn take(&mut self, number: usize, bytes: &[u8]) {
        let ended = bytes.ends_with(b"\n");
        if bytes.trim_ascii().is_empty() && ended {
            self.good += bytes.len() as u64;
            return;
        }
        if bytes.len() <= LONGEST
            && let Ok(line) = serde_json::from_slice::<Line>(bytes)
        {
            self.whole(bytes);
            self.add(number, line);
        } else if bytes.len() <= LONGEST
            && let Ok(value) = serde_json::from_slice::<serde_json::Value>(bytes)
        {
            self.whole(bytes);
            self.not_understood(number, &value);
        } else if ended {
            self.whole(bytes);
            self.next += 1;
            self.remark(number, "it is damaged and was left out; everything else was read".to_owned());
        } else {
            self.remark(number, "it was not written to its end and was left out".to_owned());
        }
    }

    /// A line that stays where it is.
    fn whole(&mut self, bytes: &[u8]) {
        self.good += bytes.len() as u64;
        self.unended = !bytes.ends_with(b"\n");
    }

    /// A later program's event keeps its place as a remark, so that everybody sees that something is there.
    fn not_understood(&mut self, number: usize, value: &serde_json::Value) {
        self.remark(number, "this program does not understand it; it stays in the record".to_owned());
        if value.get("event").is_none() || value.get("corrects").is_some() {
            self.next += 1;
            return;
        }
        let short: String = diag::harmless(&value.to_string()).chars().take(400).collect();
        let note = What::Note(format!("not understood by this program: {short}"));
        let at = value.get("at").and_then(|at| at.as_str()).map(diag::harmless);
        let n = value.get("n").and_then(serde_json::Value::as_u64).and_then(|n| usize::try_from(n).ok());
        self.event(n, Event { at: at.clone(), by: None, what: note }, at);
    }

    /// Adds a line that reads.
    pub(super) fn add(&mut self, number: usize, line: Line) {
        let at = line.at.clone();
        if let Some(at) = &at {
            self.recorded.last.clone_from(at);
        }
        match (line.corrects, line.n, line.event.clone()) {
            (Some(corrects), _, Some(event)) => self.correct(number, corrects, event, at),
            (None, n, Some(event)) => self.event(n, event, at),
            _ => match line.into_entry() {
                Some(entry) => {
                    self.change(&entry);
                    self.recorded.history.push(Happening { at, entry, replaced: None });
                }
                None => self.remark(number, "this program knows nothing that is in it".to_owned()),
            },
        }
    }

    fn event(&mut self, n: Option<usize>, event: Event, at: Option<String>) {
        let n = n.filter(|n| !self.numbers.contains(n)).unwrap_or(self.next);
        self.next = self.next.max(n.saturating_add(1));
        self.numbers.push(n);
        self.recorded.case.events.push(event.clone());
        self.recorded.history.push(Happening { at, entry: Entry::Event(event), replaced: None });
    }

    fn correct(&mut self, number: usize, corrects: usize, mut event: Event, at: Option<String>) {
        let Some(index) = self.numbers.iter().position(|n| *n == corrects) else {
            self.remark(number, "it corrects an event that could not be read".to_owned());
            return;
        };
        let stands = &mut self.recorded.case.events[index];
        event.at = event.at.or_else(|| stands.at.clone());
        let replaced = Some(std::mem::replace(stands, event.clone()));
        self.recorded.history.push(Happening { at, entry: Entry::Correct { index, event }, replaced });
    }

    fn change(&mut self, entry: &Entry) {
        let case = &mut self.recorded.case;
        match entry.clone() {
            Entry::Machine(machine) => case.machine = machine,
            Entry::Opening(opening) => case.opening = opening,
            Entry::Person(person) => match case.people.iter_mut().find(|known| known.id == person.id) {
                Some(known) => *known = person,
                None => case.people.push(person),
            },
            Entry::Complaint(text) => case.complaint = Some(text),
            Entry::Product(product) => case.product = Some(product),
            Entry::Scale(scale) => case.scale = scale,
            Entry::Market(market) => case.market = Some(market),
            Entry::Visit(visit) => case.visit = Some(visit),
            Entry::Fitted(options) => case.fitted = options,
            Entry::Close(closing) => case.closed = Some(closing),
            Entry::Continue => case.closed = None,
            // These have their own ways in.
            Entry::Event(_) | Entry::Correct { .. } => {}
        }
    }

    fn remark(&mut self, line: usize, message: String) {
        self.recorded.remarks.push(Remark { line, message });
    }
}
