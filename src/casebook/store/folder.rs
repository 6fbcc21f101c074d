//! A folder of records, one append-only file each: names, locks, whole files, and the first free id of a day.

use std::fs::{self, File, OpenOptions};
use std::io::{Read, Seek, SeekFrom, Write};
use std::path::{Path, PathBuf};

use super::error::{StoreError, not_readable, not_writable, shown};
use super::id::CaseId;
use super::record::Lock;
use crate::ids::did_you_mean;

/// The largest record, in bytes.
pub const LARGEST_RECORD: u64 = 8 << 20;

/// The list of cases closed or taken in, beside the records.
const CLOSED: &str = ".closed";
/// So many drafts are open at a time.
const SIDE_BY_SIDE: usize = 500;

/// A folder of records. Nothing is touched until something is asked of it.
#[derive(Debug, Clone)]
pub(in crate::casebook) struct Folder(PathBuf);

/// A record that this process alone may write to.
pub(in crate::casebook) struct Opened {
    pub(in crate::casebook) path: PathBuf,
    pub(in crate::casebook) file: File,
    /// All that stands in it.
    pub(in crate::casebook) bytes: Vec<u8>,
    pub(in crate::casebook) lock: Lock,
}

impl Folder {
    pub(in crate::casebook) fn at(folder: PathBuf) -> Self {
        Self(folder)
    }

    fn path(&self, id: &CaseId) -> PathBuf {
        self.0.join(format!("{id}.jsonl"))
    }

    /// Begins a record with these bytes. It is there whole or not at all.
    pub(in crate::casebook) fn create(&self, id: &CaseId, bytes: &[u8]) -> Result<Opened, StoreError> {
        let path = self.path(id);
        if path.exists() {
            return Err(StoreError::Exists(id.clone()));
        }
        fs::create_dir_all(&self.0).map_err(not_writable(&self.0))?;
        let lock = Lock::take(&path, id)?;
        let draft = self.draft(&path, bytes)?;
        match draft.persist_noclobber(&path) {
            Ok(_) => sync_folder(&self.0).map_err(not_writable(&self.0))?,
            Err(_) if path.exists() => return Err(StoreError::Exists(id.clone())),
            Err(error) => return Err(not_writable(&path)(error.error)),
        }
        opened(path, lock)
    }

    /// A whole file under another name, on disk.
    fn draft(&self, path: &Path, bytes: &[u8]) -> Result<tempfile::NamedTempFile, StoreError> {
        draft(&self.0, bytes).map_err(not_writable(path))
    }

    /// Many whole records at once, none of which is there yet: all of them on disk before any has its name.
    pub(in crate::casebook) fn create_all(&self, records: &[(CaseId, Vec<u8>)]) -> Result<(), StoreError> {
        fs::create_dir_all(&self.0).map_err(not_writable(&self.0))?;
        for part in records.chunks(SIDE_BY_SIDE) {
            let drafts = part.iter().map(|(id, bytes)| {
                let path = self.path(id);
                Ok((self.draft(&path, bytes)?, path, id))
            });
            for (draft, path, id) in drafts.collect::<Result<Vec<_>, StoreError>>()? {
                match draft.persist_noclobber(&path) {
                    Ok(_) => {}
                    Err(_) if path.exists() => return Err(StoreError::Exists(id.clone())),
                    Err(error) => return Err(not_writable(&path)(error.error)),
                }
            }
        }
        sync_folder(&self.0).map_err(not_writable(&self.0))
    }

    /// Puts a longer record in place of the one that it goes on from; whoever reads it sees the one or the other.
    pub(in crate::casebook) fn extend(&self, id: &CaseId, bytes: &[u8]) -> Result<(), StoreError> {
        let path = self.path(id);
        let _lock = Lock::take(&path, id)?;
        replace(&path, bytes).map_err(not_writable(&path))
    }

    /// Notes that cases were closed or taken in, for whoever remembers them. A line each, on disk; one write, so that two
    /// processes do not mix their lines.
    pub(in crate::casebook) fn note_closed<'i>(
        &self,
        ids: impl Iterator<Item = &'i CaseId>,
    ) -> Result<(), StoreError> {
        let lines = ids.fold(String::new(), |lines, id| lines + id.as_str() + "\n");
        if lines.is_empty() {
            return Ok(());
        }
        note(&self.0, &lines)
    }

    /// The ids noted from this place on, and where the list ends.
    pub(in crate::casebook) fn closed_since(&self, place: u64) -> Result<(Vec<CaseId>, u64), StoreError> {
        let path = self.0.join(CLOSED);
        let mut file = match File::open(&path) {
            Ok(file) => file,
            Err(error) if error.kind() == std::io::ErrorKind::NotFound => return Ok((Vec::new(), 0)),
            Err(error) => return Err(not_readable(&path)(error)),
        };
        let end = file.metadata().map_err(not_readable(&path))?.len();
        let from = if end < place { 0 } else { place };
        file.seek(SeekFrom::Start(from)).map_err(not_readable(&path))?;
        let mut text = String::new();
        file.take(end - from).read_to_string(&mut text).map_err(not_readable(&path))?;
        // A line that is not whole is read the next time.
        let whole = text.rfind('\n').map_or(0, |last| last + 1);
        let ids = text[..whole].lines().filter_map(|line| CaseId::parse(line).ok()).collect();
        Ok((ids, from + whole as u64))
    }

    /// Puts a small file beside the records in place of an older one; whoever reads it sees the one or the other.
    pub(in crate::casebook) fn replace(&self, name: &str, bytes: &[u8]) -> Result<(), StoreError> {
        let path = self.0.join(name);
        replace(&path, bytes).map_err(not_writable(&path))
    }

    /// A small file beside the records, if it is there and can be read.
    pub(in crate::casebook) fn beside(&self, name: &str) -> Option<String> {
        let mut text = String::new();
        File::open(self.0.join(name)).ok()?.take(4096).read_to_string(&mut text).ok()?;
        Some(text)
    }

    /// Opens a record for writing; only one process at a time may.
    pub(in crate::casebook) fn open(&self, id: &CaseId) -> Result<Opened, StoreError> {
        let path = self.path(id);
        if !path.is_file() {
            return Err(self.not_found(id));
        }
        let lock = Lock::take(&path, id)?;
        opened(path, lock)
    }

    /// The bytes of a record without locking it, and its place in words.
    pub(in crate::casebook) fn read(&self, id: &CaseId) -> Result<(Vec<u8>, String), StoreError> {
        let path = self.path(id);
        if !path.is_file() {
            return Err(self.not_found(id));
        }
        let mut file = File::open(&path).map_err(not_readable(&path))?;
        Ok((bounded(&mut file, &path)?, shown(&path)))
    }

    /// The ids of all records, sorted.
    pub(in crate::casebook) fn ids(&self) -> Result<Vec<CaseId>, StoreError> {
        let entries = match fs::read_dir(&self.0) {
            Ok(entries) => entries,
            // Nothing was kept here yet.
            Err(error) if error.kind() == std::io::ErrorKind::NotFound => return Ok(Vec::new()),
            Err(error) => return Err(not_readable(&self.0)(error)),
        };
        let names = entries.filter_map(Result::ok).filter_map(|entry| entry.file_name().into_string().ok());
        let mut ids: Vec<_> =
            names.filter_map(|name| CaseId::parse(name.strip_suffix(".jsonl")?).ok()).collect();
        ids.sort();
        Ok(ids)
    }

    /// The first free id of a day; another process may take it first, which [`Folder::create`] then says.
    pub(in crate::casebook) fn fresh_id(&self, day: jiff::civil::Date) -> Result<CaseId, StoreError> {
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

    fn not_found(&self, id: &CaseId) -> StoreError {
        let known = self.ids().unwrap_or_default();
        let near = did_you_mean(id.as_str(), known.iter().map(CaseId::as_str));
        let near = near.map_or_else(String::new, |near| format!("; {near}"));
        StoreError::NotFound { id: id.clone(), folder: shown(&self.0), near }
    }
}

/// Puts a file in place whole, or leaves the old one; on disk when this returns. Its folder must be there.
pub fn replace(path: &Path, bytes: &[u8]) -> std::io::Result<()> {
    let folder = path.parent().unwrap_or(Path::new("."));
    draft(folder, bytes)?.persist(path).map_err(|error| error.error)?;
    sync_folder(folder)
}

/// A whole file under another name, on disk.
fn draft(folder: &Path, bytes: &[u8]) -> std::io::Result<tempfile::NamedTempFile> {
    let mut builder = tempfile::Builder::new();
    builder.prefix(".new-").suffix(".tmp");
    #[cfg(unix)]
    builder.permissions(std::os::unix::fs::PermissionsExt::from_mode(0o666));
    let mut draft = builder.tempfile_in(folder)?;
    draft.write_all(bytes)?;
    draft.as_file().sync_all()?;
    Ok(draft)
}

/// Notes beside a record that it was closed.
pub(super) fn note_beside(record: &Path, id: &CaseId) -> Result<(), StoreError> {
    note(record.parent().unwrap_or(Path::new(".")), &format!("{id}\n"))
}

fn note(folder: &Path, lines: &str) -> Result<(), StoreError> {
    let path = folder.join(CLOSED);
    let mut file = OpenOptions::new().create(true).append(true).open(&path).map_err(not_writable(&path))?;
    file.write_all(lines.as_bytes()).and_then(|()| file.sync_data()).map_err(not_writable(&path))
}

fn opened(path: PathBuf, lock: Lock) -> Result<Opened, StoreError> {
    let mut file = OpenOptions::new().read(true).write(true).open(&path).map_err(not_writable(&path))?;
    let bytes = bounded(&mut file, &path)?;
    Ok(Opened { path, file, bytes, lock })
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
