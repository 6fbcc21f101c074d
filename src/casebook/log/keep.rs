//! Logs on disk: `FOLDER/ID.jsonl`, a line a thing, and `.ID.end`, which says how many lines there are, so that lines
//! missing at the end are seen. Each line is on disk before anybody goes on.

use std::marker::PhantomData;
use std::path::{Path, PathBuf};

use serde::{Deserialize, Serialize};

use super::chain;
use super::{Begins, Kept, Line, Log};
use crate::casebook::store::{CaseId, Folder, LARGEST_RECORD, Lock, Opened, StoreError, landed, shown};
use crate::diag::harmless;

/// The longest line, in bytes.
const LONGEST: usize = 1 << 20;

/// The first line.
#[derive(Serialize, Deserialize)]
struct First<H> {
    format: String,
    id: String,
    at: String,
    #[serde(flatten)]
    head: H,
}

/// Any other line.
#[derive(Serialize, Deserialize)]
struct Other<L> {
    n: usize,
    at: String,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    by: Option<String>,
    #[serde(flatten)]
    line: L,
}

/// How far a record went when it was last added to.
#[derive(Serialize, Deserialize)]
struct End {
    lines: usize,
    sum: String,
    /// What was wrong with the record when it was added to: writing on must not hide it.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    damage: Vec<String>,
}

/// The logs of one kind in a store. Nothing is touched until something is asked of it.
#[derive(Debug, Clone)]
pub struct Logs<H, L>(Folder, PhantomData<(H, L)>);

/// A log that only this process may add to, until it is dropped.
#[derive(Debug)]
pub struct LogRecord<H, L> {
    folder: Folder,
    log: Log<H, L>,
    file: std::fs::File,
    path: PathBuf,
    /// Length of the file as we know it; none after a write failed half-way.
    length: Option<u64>,
    /// Bytes that are whole lines.
    good: u64,
    _lock: Lock,
}

impl<H: Begins, L: Line> Logs<H, L> {
    /// The logs of the store in this folder, which need not be there yet.
    pub fn at(folder: &Path) -> Self {
        Self(Folder::at(folder.join(H::FOLDER)), PhantomData)
    }

    /// Begins a log.
    pub fn create(&self, head: &H, id: &CaseId, now: jiff::Timestamp) -> Result<LogRecord<H, L>, StoreError> {
        let first = First {
            format: H::FORMAT.to_owned(),
            id: id.to_string(),
            at: now.to_string(),
            head: head.clone(),
        };
        let (line, sum) = chain::sealed("", &json(&first)?);
        let opened = self.0.create(id, format!("{line}\n").as_bytes())?;
        mark_end(&self.0, id, 1, &sum, &[])?;
        self.record(id, opened)
    }

    /// Opens a log for writing; only one process at a time may.
    pub fn open(&self, id: &CaseId) -> Result<LogRecord<H, L>, StoreError> {
        self.record(id, self.0.open(id)?)
    }

    fn record(&self, id: &CaseId, opened: Opened) -> Result<LogRecord<H, L>, StoreError> {
        let Opened { path, file, bytes, lock } = opened;
        let (log, good) = replay(&bytes, id, &shown(&path), self.end(id).as_ref())?;
        let length = Some(bytes.len() as u64);
        Ok(LogRecord { folder: self.0.clone(), log, file, path, length, good, _lock: lock })
    }

    /// Reads a log without locking it.
    pub fn read(&self, id: &CaseId) -> Result<Log<H, L>, StoreError> {
        // The mark is read first: a line written in between makes the record longer than the mark, never shorter.
        let end = self.end(id);
        let (bytes, place) = self.0.read(id)?;
        replay(&bytes, id, &place, end.as_ref()).map(|(log, _)| log)
    }

    fn end(&self, id: &CaseId) -> Option<End> {
        serde_json::from_str(&self.0.beside(&end_name(id))?).ok()
    }

    /// Every log that can be read, sorted by id, and what could not be.
    #[expect(clippy::type_complexity, reason = "what was read and what was not, side by side")]
    pub fn list(&self) -> Result<(Vec<Log<H, L>>, Vec<StoreError>), StoreError> {
        let (mut logs, mut unreadable) = (Vec::new(), Vec::new());
        for id in self.0.ids()? {
            match self.read(&id) {
                Ok(log) => logs.push(log),
                Err(error) => unreadable.push(error),
            }
        }
        Ok((logs, unreadable))
    }

    /// The first free id of a day.
    pub fn fresh_id(&self, day: jiff::civil::Date) -> Result<CaseId, StoreError> {
        self.0.fresh_id(day)
    }
}

impl<H: Begins, L: Line> LogRecord<H, L> {
    /// The log as it stands.
    pub fn log(&self) -> &Log<H, L> {
        &self.log
    }

    /// Adds one thing. When this returns, it is on disk; when it fails, the record is as it was.
    pub fn append(&mut self, line: L, by: Option<&str>, now: jiff::Timestamp) -> Result<(), StoreError> {
        let n = self.log.lines.last().map_or(1, |kept| kept.number).saturating_add(1);
        let other = Other { n, at: now.to_string(), by: by.map(str::to_owned), line };
        let object = json(&other)?;
        // What would not read back is not written.
        let read: Other<L> = serde_json::from_str(&object).map_err(|e| StoreError::Unfit(e.to_string()))?;
        let (line, sum) = chain::sealed(&self.log.sum, &object);
        let bytes = format!("{line}\n");
        let end = self.good + bytes.len() as u64;
        if bytes.len() > LONGEST || end > LARGEST_RECORD {
            return Err(StoreError::Unfit(format!("it has {} bytes, more than a line may", bytes.len())));
        }
        let known = self.length.take();
        self.length = Some(landed(&mut self.file, &self.path, known, self.good, bytes.as_bytes())?);
        self.good = end;
        mark_end(&self.folder, &self.log.id, n, &sum, &self.log.damage)?;
        self.log.sum = sum;
        self.log.lines.push(Kept { number: n, at: read.at, by: read.by, line: read.line });
        Ok(())
    }
}

fn json<T: Serialize>(value: &T) -> Result<String, StoreError> {
    serde_json::to_string(value).map_err(|e| StoreError::Unfit(e.to_string()))
}

fn end_name(id: &CaseId) -> String {
    format!(".{id}.end")
}

fn mark_end(
    folder: &Folder,
    id: &CaseId,
    lines: usize,
    sum: &str,
    damage: &[String],
) -> Result<(), StoreError> {
    let end = End { lines, sum: sum.to_owned(), damage: damage.to_vec() };
    folder.replace(&end_name(id), json(&end)?.as_bytes())
}

/// Reads a record: the log, with what is wrong with it, and how many bytes are whole lines.
fn replay<H: Begins, L: Line>(
    bytes: &[u8],
    id: &CaseId,
    place: &str,
    end: Option<&End>,
) -> Result<(Log<H, L>, u64), StoreError> {
    let mut lines = bytes.split_inclusive(|byte| *byte == b'\n');
    let first = lines.next().unwrap_or_default();
    let mut reading = Reading::begin(first, id, place)?;
    for (i, line) in lines.enumerate() {
        reading.take(i + 2, line);
    }
    reading.hold_against(end);
    Ok((reading.log, reading.good))
}

struct Reading<H, L> {
    log: Log<H, L>,
    good: u64,
    /// The number that the next line should have.
    next: usize,
    /// The last line broke off: what a crash leaves, and what the next writer cuts off.
    torn: bool,
}

impl<H: Begins, L: Line> Reading<H, L> {
    fn begin(first: &[u8], id: &CaseId, place: &str) -> Result<Self, StoreError> {
        let damaged = |why: &str| StoreError::Damaged { place: place.to_owned(), why: why.to_owned() };
        let text = std::str::from_utf8(first).map_err(|_| damaged("its first line cannot be read"))?;
        let value: serde_json::Value =
            serde_json::from_str(text).map_err(|_| damaged("its first line cannot be read"))?;
        match value.get("format").and_then(|format| format.as_str()) {
            Some(found) if found == H::FORMAT => {}
            Some(other) => {
                let found = harmless(&other.chars().take(64).collect::<String>());
                return Err(StoreError::UnknownFormat { place: place.to_owned(), found });
            }
            None => return Err(damaged("its first line has no format")),
        }
        let first_line: First<H> = serde_json::from_value(value)
            .map_err(|error| damaged(&harmless(&format!("its first line does not hold a head: {error}"))))?;
        let log = Log {
            id: id.clone(),
            begun: first_line.at,
            head: first_line.head,
            lines: Vec::new(),
            damage: Vec::new(),
            sum: String::new(),
        };
        if !first.ends_with(b"\n") {
            return Err(damaged("it is cut off inside its first line"));
        }
        let mut reading = Self { log, good: first.len() as u64, next: 2, torn: false };
        reading.chain(1, text.trim_end_matches('\n'));
        if first_line.id != id.as_str() {
            reading.damage(1, "was written for another record");
        }
        Ok(reading)
    }

    fn damage(&mut self, line: usize, what: &str) {
        self.log.damage.push(format!("line {line} {what}"));
    }

    /// Holds a line against the sum that it bears.
    fn chain(&mut self, number: usize, text: &str) {
        match chain::opened(&self.log.sum, text) {
            Some((sum, fits)) => {
                self.log.sum = sum;
                if !fits {
                    self.damage(number, "was changed after it was written");
                }
            }
            None => self.damage(number, "bears no sum"),
        }
    }

    fn take(&mut self, number: usize, bytes: &[u8]) {
        if !bytes.ends_with(b"\n") {
            self.torn = true;
            return;
        }
        self.good += bytes.len() as u64;
        let text = std::str::from_utf8(bytes).unwrap_or_default().trim_end_matches('\n');
        let Ok(other) = serde_json::from_str::<Other<L>>(text) else {
            self.damage(number, "cannot be read and was left out");
            // The next line follows on what this one says of itself.
            if let Some((sum, _)) = chain::opened("", text) {
                self.log.sum = sum;
            }
            self.next = self.next.saturating_add(1);
            return;
        };
        if other.n == self.next {
            self.chain(number, text);
        } else {
            let sum = chain::opened("", text).map(|(sum, _)| sum);
            self.log.sum = sum.unwrap_or_default();
            self.damage(number, "does not follow on the one before: lines were taken out or put in");
        }
        self.next = other.n.saturating_add(1);
        let line = Kept { number: other.n, at: other.at, by: other.by, line: other.line };
        self.log.lines.push(line);
    }

    /// Lines that were written once and are gone.
    fn hold_against(&mut self, end: Option<&End>) {
        let last = self.next.saturating_sub(1);
        for known in end.into_iter().flat_map(|end| &end.damage) {
            if !self.log.damage.contains(known) {
                self.log.damage.push(known.clone());
            }
        }
        match end {
            None => self.log.damage.push(
                "the mark of its end is missing, so nobody can tell whether lines are missing there"
                    .to_owned(),
            ),
            Some(end) if end.lines > last => {
                let what = if self.torn { "and is cut off inside the line after that" } else { "at its end" };
                self.log
                    .damage
                    .push(format!("it stops at line {last} {what}, and {} lines were written", end.lines));
            }
            Some(end) if end.lines == last && end.sum != self.log.sum && self.log.damage.is_empty() => {
                self.damage(last, "is not the one that was written last");
            }
            Some(_) => {}
        }
    }
}
