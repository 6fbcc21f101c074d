//! A record open for writing: locked, and on disk before anybody goes on.

use std::fs::{File, OpenOptions, TryLockError};
use std::io::{self, Seek, SeekFrom, Write};
use std::path::{Path, PathBuf};

use super::LARGEST_RECORD;
use super::error::{StoreError, not_writable, shown};
use super::folder::note_beside;
use super::id::CaseId;
use super::line::{self, Entry, Line};
use super::replay::{Recorded, Replay};
use crate::casebook::model::Case;

/// A case that only this process may add to, until it is dropped.
#[derive(Debug)]
pub struct Record {
    replay: Replay,
    file: File,
    path: PathBuf,
    /// Length of the file as we know it; none after a write failed half-way.
    length: Option<u64>,
    _lock: Lock,
}

/// Held while a record is open; the system lets go of it when the process ends, however it ends.
#[derive(Debug)]
pub(in crate::casebook) struct Lock(#[expect(dead_code, reason = "dropping it is what lets go")] File);

impl Lock {
    /// Takes the lock of a case. It lies in a file beside the record, so that readers are never in the way.
    pub(super) fn take(record: &Path, id: &CaseId) -> Result<Self, StoreError> {
        let path = record.with_file_name(format!(".{id}.lock"));
        let open = OpenOptions::new().create(true).truncate(false).write(true).open(&path);
        let file = open.map_err(not_writable(&path))?;
        match file.try_lock() {
            Ok(()) => Ok(Self(file)),
            Err(TryLockError::WouldBlock) => Err(StoreError::Busy(id.clone())),
            Err(TryLockError::Error(source)) => Err(not_writable(&path)(source)),
        }
    }
}

impl Record {
    pub(super) fn new(replay: Replay, file: File, path: PathBuf, length: u64, lock: Lock) -> Self {
        Self { replay, file, path, length: Some(length), _lock: lock }
    }

    /// The case as it stands.
    pub fn case(&self) -> &Case {
        &self.replay.recorded.case
    }

    /// The case with its history and with remarks on what could not be read.
    pub fn recorded(&self) -> &Recorded {
        &self.replay.recorded
    }

    /// Its id.
    pub fn id(&self) -> &CaseId {
        &self.replay.recorded.id
    }

    /// Adds one thing. When this returns, it is on disk; when it fails, the record is as it was.
    ///
    /// People's words are made harmless and trimmed. An event without a time gets `now`.
    pub fn append(&mut self, entry: Entry, now: jiff::Timestamp) -> Result<(), StoreError> {
        let closed = self.case().closed.is_some();
        match &entry {
            Entry::Continue if !closed => return Ok(()),
            Entry::Continue => {}
            _ if closed => return Err(StoreError::Closed(self.id().clone())),
            _ => {}
        }
        let at = now.to_string();
        let entry = match entry {
            Entry::Event(mut event) => {
                event.at = event.at.or_else(|| Some(at.clone()));
                Entry::Event(event)
            }
            entry => entry,
        };
        let line = Line::of(entry, at, &self.replay.numbers, self.replay.next)?.sound()?;
        let mut bytes = line::bytes(&line)?;
        if self.replay.unended {
            bytes.insert(0, b'\n');
        }
        let end = self.replay.good + bytes.len() as u64;
        if end > LARGEST_RECORD {
            return Err(StoreError::Unfit(format!(
                "the record would have {end} bytes; it may have {LARGEST_RECORD}"
            )));
        }
        self.put(&bytes)?;
        self.replay.good = end;
        self.replay.unended = false;
        self.replay.add(0, line);
        if self.case().closed.is_some() {
            // The case is closed and on disk; without the note it is only remembered later.
            let _ = note_beside(&self.path, self.id());
        }
        Ok(())
    }

    fn put(&mut self, bytes: &[u8]) -> Result<(), StoreError> {
        let known = self.length.take();
        self.length = Some(landed(&mut self.file, &self.path, known, self.replay.good, bytes)?);
        Ok(())
    }
}

/// Puts bytes after the first `good` of a file, on disk, and gives its new length; `known` is the length as it was left.
pub(in crate::casebook) fn landed(
    file: &mut File,
    path: &Path,
    known: Option<u64>,
    good: u64,
    bytes: &[u8],
) -> Result<u64, StoreError> {
    land(file, known, good, bytes).map_err(|failure| match failure {
        Failure::Changed => StoreError::ChangedOutside(shown(path)),
        Failure::Io(source) => not_writable(path)(source),
    })
}

/// What a record's file must be able to do.
pub(super) trait Land {
    /// Its length in bytes.
    fn length(&mut self) -> io::Result<u64>;
    /// Shortens it.
    fn cut(&mut self, length: u64) -> io::Result<()>;
    /// Writes at a place.
    fn write_at(&mut self, place: u64, bytes: &[u8]) -> io::Result<()>;
    /// Returns when it is on disk.
    fn settle(&mut self) -> io::Result<()>;
}

impl Land for File {
    fn length(&mut self) -> io::Result<u64> {
        self.metadata().map(|meta| meta.len())
    }

    fn cut(&mut self, length: u64) -> io::Result<()> {
        self.set_len(length)
    }

    fn write_at(&mut self, place: u64, bytes: &[u8]) -> io::Result<()> {
        self.seek(SeekFrom::Start(place))?;
        self.write_all(bytes)
    }

    fn settle(&mut self) -> io::Result<()> {
        self.sync_data()
    }
}

/// Why bytes did not land.
#[derive(Debug)]
pub(super) enum Failure {
    /// The file is not as long as we left it.
    Changed,
    /// The system said no.
    Io(io::Error),
}

/// Puts bytes after the first `good` bytes of a file and gives the new length, or leaves those bytes as they were.
///
/// `known` is the file's length as we left it; what lies between `good` and it is torn and cut off.
pub(super) fn land(
    file: &mut impl Land,
    known: Option<u64>,
    good: u64,
    bytes: &[u8],
) -> Result<u64, Failure> {
    let length = file.length().map_err(Failure::Io)?;
    if known.is_some_and(|known| known != length) {
        return Err(Failure::Changed);
    }
    let written = (if length > good { file.cut(good) } else { Ok(()) })
        .and_then(|()| file.write_at(good, bytes))
        .and_then(|()| file.settle());
    if let Err(error) = written {
        // Should this fail too, the next writer finds a torn tail and cuts it.
        let _ = file.cut(good).and_then(|()| file.settle());
        return Err(Failure::Io(error));
    }
    Ok(good + bytes.len() as u64)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A file on a disk that fills up after so many bytes, or fails to settle.
    struct Disk {
        bytes: Vec<u8>,
        room: usize,
        settles: bool,
    }

    impl Land for Disk {
        fn length(&mut self) -> io::Result<u64> {
            Ok(self.bytes.len() as u64)
        }

        fn cut(&mut self, length: u64) -> io::Result<()> {
            self.bytes.truncate(length as usize);
            Ok(())
        }

        fn write_at(&mut self, place: u64, bytes: &[u8]) -> io::Result<()> {
            self.bytes.truncate(place as usize);
            let fits = bytes.len().min(self.room.saturating_sub(self.bytes.len()));
            self.bytes.extend(&bytes[..fits]);
            if fits == bytes.len() { Ok(()) } else { Err(io::ErrorKind::StorageFull.into()) }
        }

        fn settle(&mut self) -> io::Result<()> {
            if self.settles { Ok(()) } else { Err(io::ErrorKind::Other.into()) }
        }
    }

    #[test]
    fn a_write_that_fails_half_way_leaves_the_record_as_it_was() {
        for (room, settles) in [(6, true), (8, true), (100, false)] {
            let mut disk = Disk { bytes: b"kept\n".to_vec(), room, settles };
            assert!(matches!(land(&mut disk, Some(5), 5, b"more\n"), Err(Failure::Io(_))));
            assert_eq!(disk.bytes, b"kept\n");
        }
    }

    #[test]
    fn a_torn_tail_is_cut_off_before_the_next_line() {
        let mut disk = Disk { bytes: b"kept\n{torn by a crash".to_vec(), room: 100, settles: true };
        assert_eq!(land(&mut disk, Some(21), 5, b"x\n").unwrap(), 7);
        assert_eq!(disk.bytes, b"kept\nx\n");
    }

    #[test]
    fn a_file_of_another_length_than_we_left_it_is_not_touched() {
        let mut disk = Disk { bytes: b"kept\nforeign\n".to_vec(), room: 100, settles: true };
        assert!(matches!(land(&mut disk, Some(5), 5, b"x\n"), Err(Failure::Changed)));
        assert_eq!(disk.bytes, b"kept\nforeign\n");
    }
}
