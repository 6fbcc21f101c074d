//! The store: a folder of records, one append-only file a case, `cases/ID.jsonl`.
//!
//! The first line says what the case is of, every other line adds one thing. Nothing is ever changed in place: a
//! correction is a line of its own. A line counts once it is whole on disk; a torn last line is left out on reading
//! and cut off by the next writer. Time and ids are the caller's.

mod error;
mod folder;
mod id;
mod import;
mod line;
mod record;
mod replay;

use std::path::Path;

pub use error::StoreError;
pub use folder::{LARGEST_RECORD, replace};
pub use id::CaseId;
pub use import::{Foreign, Imported};
pub use line::Entry;
pub use record::Record;
pub use replay::{Happening, Recorded, Remark};

use super::model::{Case, Closing};
use crate::ids::MachineId;
use line::{Header, Line};
use replay::Replay;

pub(super) use error::shown;
pub(super) use folder::{Folder, Opened};
pub(super) use record::{Lock, landed};

/// The format of a record that this program reads and writes.
const FORMAT: &str = "handlamp-record/1";
/// A store in a folder. Nothing is touched until something is asked of it.
#[derive(Debug, Clone)]
pub struct Store {
    cases: Folder,
}

/// One case in a list.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Summary {
    /// Its id.
    pub id: CaseId,
    /// When it was begun.
    pub opened: String,
    /// When something was last added.
    pub last: String,
    /// The machine, as the record has it.
    pub machine: MachineId,
    /// The complaint.
    pub complaint: Option<String>,
    /// How many events it has.
    pub events: usize,
    /// How it was closed.
    pub closed: Option<Closing>,
    /// Whether part of the record could not be read.
    pub damaged: bool,
}

/// Everything in a store.
#[derive(Debug, Default)]
pub struct Listing {
    /// The cases, sorted by id.
    pub cases: Vec<Summary>,
    /// Records that could not be read at all.
    pub unreadable: Vec<StoreError>,
}

impl Store {
    /// The store in this folder, which need not be there yet.
    pub fn at(folder: &Path) -> Self {
        Self { cases: Folder::at(folder.join("cases")) }
    }

    /// Begins a record with everything that the case holds so far. It is there whole or not at all.
    pub fn create(&self, case: &Case, id: &CaseId, now: jiff::Timestamp) -> Result<Record, StoreError> {
        let bytes = whole_record(case, id, &now.to_string())?;
        let opened = self.cases.create(id, &bytes)?;
        if case.closed.is_some() {
            self.cases.note_closed(std::iter::once(id))?;
        }
        continue_with(opened, id)
    }

    /// Keeps many whole records at once; none of their ids may be there.
    pub fn create_all(&self, records: &[(CaseId, Vec<u8>)]) -> Result<(), StoreError> {
        self.cases.create_all(records)?;
        self.cases.note_closed(records.iter().map(|(id, _)| id))
    }

    /// Opens a record for writing; only one process at a time may.
    pub fn open(&self, id: &CaseId) -> Result<Record, StoreError> {
        continue_with(self.cases.open(id)?, id)
    }

    /// Reads a record without locking it.
    pub fn read(&self, id: &CaseId) -> Result<Recorded, StoreError> {
        let (bytes, place) = self.cases.read(id)?;
        Replay::of(&bytes, id, &place).map(|replay| replay.recorded)
    }

    /// Every case, sorted by id. A record that cannot be read stands apart and does not hide the others.
    pub fn list(&self) -> Result<Listing, StoreError> {
        let mut listing = Listing::default();
        for id in self.cases.ids()? {
            match self.read(&id) {
                Ok(recorded) => listing.cases.push(Summary::of(recorded)),
                Err(error) => listing.unreadable.push(error),
            }
        }
        Ok(listing)
    }

    /// Every case whole, sorted by id, read by so many at a time; what cannot be read stands apart.
    pub fn all(&self, threads: usize) -> Result<(Vec<Recorded>, Vec<StoreError>), StoreError> {
        self.each(threads, &Some)
    }

    /// What `of` makes of each case, sorted by id, so many at a time; no more of a case is held than what it makes.
    pub fn each<T: Send>(
        &self,
        threads: usize,
        of: &(dyn Fn(Recorded) -> Option<T> + Sync),
    ) -> Result<(Vec<T>, Vec<StoreError>), StoreError> {
        let ids = self.cases.ids()?;
        let part = ids.len().div_ceil(threads.max(1)).max(1);
        let read = |ids: &[CaseId]| -> Vec<Result<T, StoreError>> {
            ids.iter().filter_map(|id| self.read(id).map(of).transpose()).collect()
        };
        let read: Vec<_> = std::thread::scope(|scope| {
            let parts: Vec<_> = ids.chunks(part).map(|ids| scope.spawn(move || read(ids))).collect();
            let joined = parts.into_iter().map(std::thread::ScopedJoinHandle::join);
            joined.flat_map(|part| part.unwrap_or_else(|panic| std::panic::resume_unwind(panic))).collect()
        });
        let (mut all, mut unreadable) = (Vec::new(), Vec::new());
        for one in read {
            match one {
                Ok(one) => all.push(one),
                Err(error) => unreadable.push(error),
            }
        }
        Ok((all, unreadable))
    }

    /// Ids of cases that were closed or taken in, from this place in their list on, and where the list ends now. A list that
    /// is shorter than that was lost, and begins anew.
    pub fn closed_since(&self, place: u64) -> Result<(Vec<CaseId>, u64), StoreError> {
        self.cases.closed_since(place)
    }

    /// The open case that something was last added to.
    pub fn latest_open(&self) -> Result<Option<Summary>, StoreError> {
        self.latest_of(|case| matches!(case.closed, None | Some(Closing::LeftOpen)))
    }

    /// The case that something was last added to.
    pub fn latest(&self) -> Result<Option<Summary>, StoreError> {
        self.latest_of(|_| true)
    }

    /// The closed case that something was last added to.
    pub fn latest_closed(&self) -> Result<Option<Summary>, StoreError> {
        self.latest_of(|case| case.closed.is_some())
    }

    fn latest_of(&self, wanted: impl Fn(&Summary) -> bool) -> Result<Option<Summary>, StoreError> {
        let cases = self.list()?.cases.into_iter().filter(|case| wanted(case));
        let when = |case: &Summary| case.last.parse::<jiff::Timestamp>().ok();
        Ok(cases.max_by(|a, b| (when(a), &a.id).cmp(&(when(b), &b.id))))
    }

    /// The first free id of a day; another process may take it first, which [`Store::create`] then says.
    pub fn fresh_id(&self, day: jiff::civil::Date) -> Result<CaseId, StoreError> {
        self.cases.fresh_id(day)
    }
}

fn continue_with(opened: Opened, id: &CaseId) -> Result<Record, StoreError> {
    let replay = Replay::of(&opened.bytes, id, &shown(&opened.path))?;
    Ok(Record::new(replay, opened.file, opened.path, opened.bytes.len() as u64, opened.lock))
}

impl Summary {
    fn of(recorded: Recorded) -> Self {
        Self {
            damaged: !recorded.remarks.is_empty(),
            id: recorded.id,
            opened: recorded.opened,
            last: recorded.last,
            machine: recorded.case.machine,
            complaint: recorded.case.complaint,
            events: recorded.case.events.len(),
            closed: recorded.case.closed,
        }
    }
}

/// The record of a case that is there already, line by line.
fn whole_record(case: &Case, id: &CaseId, now: &str) -> Result<Vec<u8>, StoreError> {
    let events = case.events.iter().cloned().map(Entry::Event);
    let entries = events.chain(case.closed.map(Entry::Close)).map(|entry| (now.to_owned(), entry));
    record(case, id, now, entries)
}

/// A whole record: its head from the case, whose events are not looked at, and one line an entry, each with its time.
pub fn record(
    case: &Case,
    id: &CaseId,
    opened: &str,
    entries: impl IntoIterator<Item = (String, Entry)>,
) -> Result<Vec<u8>, StoreError> {
    let mut bytes = line::bytes(&Header::of(id, opened.to_owned(), case)?)?;
    let mut next = 0;
    for (at, entry) in entries {
        let numbered = usize::from(matches!(entry, Entry::Event(_)));
        bytes.extend(line::bytes(&Line::of(entry, at, &[], next)?.sound()?)?);
        next += numbered;
    }
    if bytes.len() as u64 > LARGEST_RECORD {
        return Err(StoreError::Unfit(format!(
            "it has {} bytes; a record may have {LARGEST_RECORD}",
            bytes.len()
        )));
    }
    Ok(bytes)
}
