//! The store: a folder of records, one append-only file a case, `cases/ID.jsonl`.
//!
//! The first line says what the case is of, every other line adds one thing. Nothing is ever changed in place: a
//! correction is a line of its own. A line counts once it is whole on disk; a torn last line is left out on reading
//! and cut off by the next writer. Time and ids are the caller's.

mod error;
mod id;
mod line;
mod record;
mod replay;

use std::fs::{self, File, OpenOptions};
use std::io::{Read, Write};
use std::path::{Path, PathBuf};

pub use error::StoreError;
pub use id::CaseId;
pub use line::Entry;
pub use record::Record;
pub use replay::{Happening, Recorded, Remark};

use super::model::{Case, Closing};
use crate::ids::{MachineId, did_you_mean};
use error::{not_readable, not_writable, shown};
use line::{Header, Line};
use record::Lock;
use replay::Replay;

/// The format of a record that this program reads and writes.
const FORMAT: &str = "handlamp-record/1";
/// The largest record, in bytes.
const LARGEST_RECORD: u64 = 8 << 20;

/// A store in a folder. Nothing is touched until something is asked of it.
#[derive(Debug, Clone)]
pub struct Store {
    cases: PathBuf,
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
        Self { cases: folder.join("cases") }
    }

    fn path(&self, id: &CaseId) -> PathBuf {
        self.cases.join(format!("{id}.jsonl"))
    }

    /// Begins a record with everything that the case holds so far. It is there whole or not at all.
    pub fn create(&self, case: &Case, id: &CaseId, now: jiff::Timestamp) -> Result<Record, StoreError> {
        let (path, bytes) = (self.path(id), whole_record(case, id, &now.to_string())?);
        if path.exists() {
            return Err(StoreError::Exists(id.clone()));
        }
        fs::create_dir_all(&self.cases).map_err(not_writable(&self.cases))?;
        let lock = Lock::take(&path, id)?;
        self.put_whole(&path, id, &bytes)?;
        continue_with(path, id, lock)
    }

    fn put_whole(&self, path: &Path, id: &CaseId, bytes: &[u8]) -> Result<(), StoreError> {
        let mut builder = tempfile::Builder::new();
        builder.prefix(".new-").suffix(".tmp");
        #[cfg(unix)]
        builder.permissions(std::os::unix::fs::PermissionsExt::from_mode(0o666));
        let mut draft = builder.tempfile_in(&self.cases).map_err(not_writable(&self.cases))?;
        let written = draft.write_all(bytes).and_then(|()| draft.as_file().sync_all());
        written.map_err(not_writable(path))?;
        match draft.persist_noclobber(path) {
            Ok(_) => sync_folder(&self.cases).map_err(not_writable(&self.cases)),
            Err(_) if path.exists() => Err(StoreError::Exists(id.clone())),
            Err(error) => Err(not_writable(path)(error.error)),
        }
    }

    /// Opens a record for writing; only one process at a time may.
    pub fn open(&self, id: &CaseId) -> Result<Record, StoreError> {
        let path = self.path(id);
        if !path.is_file() {
            return Err(self.not_found(id));
        }
        let lock = Lock::take(&path, id)?;
        continue_with(path, id, lock)
    }

    /// Reads a record without locking it.
    pub fn read(&self, id: &CaseId) -> Result<Recorded, StoreError> {
        let path = self.path(id);
        if !path.is_file() {
            return Err(self.not_found(id));
        }
        let mut file = File::open(&path).map_err(not_readable(&path))?;
        let bytes = bounded(&mut file, &path)?;
        Replay::of(&bytes, id, &shown(&path)).map(|replay| replay.recorded)
    }

    /// Every case, sorted by id. A record that cannot be read stands apart and does not hide the others.
    pub fn list(&self) -> Result<Listing, StoreError> {
        let mut listing = Listing::default();
        for id in self.ids()? {
            match self.read(&id) {
                Ok(recorded) => listing.cases.push(Summary::of(recorded)),
                Err(error) => listing.unreadable.push(error),
            }
        }
        Ok(listing)
    }

    /// The open case that something was last added to.
    pub fn latest_open(&self) -> Result<Option<Summary>, StoreError> {
        self.latest_of(|case| matches!(case.closed, None | Some(Closing::LeftOpen)))
    }

    /// The case that something was last added to.
    pub fn latest(&self) -> Result<Option<Summary>, StoreError> {
        self.latest_of(|_| true)
    }

    fn latest_of(&self, wanted: impl Fn(&Summary) -> bool) -> Result<Option<Summary>, StoreError> {
        let cases = self.list()?.cases.into_iter().filter(|case| wanted(case));
        let when = |case: &Summary| case.last.parse::<jiff::Timestamp>().ok();
        Ok(cases.max_by(|a, b| (when(a), &a.id).cmp(&(when(b), &b.id))))
    }

    /// The first free id of a day; another process may take it first, which [`Store::create`] then says.
    pub fn fresh_id(&self, day: jiff::civil::Date) -> Result<CaseId, StoreError> {
        let taken = self.ids()?;
        let last = taken.iter().rev().find_map(|id| {
            let number = id.as_str().strip_prefix(&format!("{day}-"))?;
            number.parse::<usize>().ok()
        });
        let mut n = last.unwrap_or(0).saturating_add(1);
        while taken.binary_search(&CaseId::of_day(day, n)).is_ok() {
            n += 1;
        }
        Ok(CaseId::of_day(day, n))
    }

    /// The ids of all records, sorted.
    fn ids(&self) -> Result<Vec<CaseId>, StoreError> {
        let entries = match fs::read_dir(&self.cases) {
            Ok(entries) => entries,
            // Nothing was kept here yet.
            Err(error) if error.kind() == std::io::ErrorKind::NotFound => return Ok(Vec::new()),
            Err(error) => return Err(not_readable(&self.cases)(error)),
        };
        let names = entries.filter_map(Result::ok).filter_map(|entry| entry.file_name().into_string().ok());
        let mut ids: Vec<_> =
            names.filter_map(|name| CaseId::parse(name.strip_suffix(".jsonl")?).ok()).collect();
        ids.sort();
        Ok(ids)
    }

    fn not_found(&self, id: &CaseId) -> StoreError {
        let known = self.ids().unwrap_or_default();
        let near = did_you_mean(id.as_str(), known.iter().map(CaseId::as_str));
        let near = near.map_or_else(String::new, |near| format!("; {near}"));
        StoreError::NotFound { id: id.clone(), folder: shown(&self.cases), near }
    }
}

fn continue_with(path: PathBuf, id: &CaseId, lock: Lock) -> Result<Record, StoreError> {
    let mut file = OpenOptions::new().read(true).write(true).open(&path).map_err(not_writable(&path))?;
    let bytes = bounded(&mut file, &path)?;
    let replay = Replay::of(&bytes, id, &shown(&path))?;
    Ok(Record::new(replay, file, path, bytes.len() as u64, lock))
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
    let mut bytes = line::bytes(&Header::of(id, now.to_owned(), case)?)?;
    let events = case.events.iter().cloned().map(Entry::Event);
    for (n, entry) in events.chain(case.closed.map(Entry::Close)).enumerate() {
        bytes.extend(line::bytes(&Line::of(entry, now.to_owned(), &[], n)?.sound()?)?);
    }
    if bytes.len() as u64 > LARGEST_RECORD {
        return Err(StoreError::Unfit(format!(
            "it has {} bytes; a record may have {LARGEST_RECORD}",
            bytes.len()
        )));
    }
    Ok(bytes)
}

fn bounded(file: &mut File, path: &Path) -> Result<Vec<u8>, StoreError> {
    let mut bytes = Vec::new();
    file.take(LARGEST_RECORD + 1).read_to_end(&mut bytes).map_err(not_readable(path))?;
    if bytes.len() as u64 > LARGEST_RECORD {
        let why = format!("it is larger than {LARGEST_RECORD} bytes");
        return Err(StoreError::Damaged { place: shown(path), why });
    }
    Ok(bytes)
}

/// Makes a new name in a folder last, where the system lets a folder be opened.
fn sync_folder(folder: &Path) -> std::io::Result<()> {
    if cfg!(unix) { File::open(folder)?.sync_all() } else { Ok(()) }
}
