//! What can go wrong with the store, in sentences. Whatever it is, nothing that was kept is lost.

use std::io;
use std::path::Path;

use super::id::CaseId;

/// Why the store did not do what was asked.
#[derive(Debug, thiserror::Error)]
pub enum StoreError {
    /// The id would not make a safe file name.
    #[error(
        "'{0}' is not the id of a case; an id is lower-case letters, figures and hyphens, like 2026-11-25-001"
    )]
    BadId(String),
    /// No such case.
    #[error("there is no case '{id}' in {folder}{near}")]
    NotFound {
        /// What was asked for.
        id: CaseId,
        /// Where it was looked for.
        folder: String,
        /// The nearest ids, as the end of the sentence; empty when none is near.
        near: String,
    },
    /// A case of this id is there already.
    #[error("a case '{0}' is there already; nothing was changed")]
    Exists(CaseId),
    /// Another process has it open.
    #[error("the case '{0}' is open in another window; finish there, or only look at it here")]
    Busy(CaseId),
    /// The folder or file could not be written.
    #[error("{place} could not be written, and nothing was changed: {source}")]
    NotWritable {
        /// The file or folder.
        place: String,
        /// What the system said.
        source: io::Error,
    },
    /// The folder or file could not be read.
    #[error("{place} could not be read: {source}")]
    NotReadable {
        /// The file or folder.
        place: String,
        /// What the system said.
        source: io::Error,
    },
    /// Something in the file leaves no case to read.
    #[error("{place} is damaged: {why}")]
    Damaged {
        /// The file.
        place: String,
        /// What is wrong with it.
        why: String,
    },
    /// Written by a later program.
    #[error("{place} has the format '{found}', which this program does not read; it reads {}", super::FORMAT)]
    UnknownFormat {
        /// The file.
        place: String,
        /// The format it says it has.
        found: String,
    },
    /// Something else wrote to the file while it was open here.
    #[error("{0} was changed by something else while it was open; open it again")]
    ChangedOutside(String),
    /// A closed case takes nothing but being continued.
    #[error("the case '{0}' is closed; continue it first")]
    Closed(CaseId),
    /// What was to be kept would not read back.
    #[error("this cannot be kept, and nothing was changed: {0}")]
    Unfit(String),
    /// A correction of something that is not there.
    #[error("there is no event {index} to correct; the case has {count}")]
    NoSuchEvent {
        /// Position asked for, from nought.
        index: usize,
        /// How many there are.
        count: usize,
    },
}

/// A path in a sentence, without what could play tricks on a terminal.
pub(in crate::casebook) fn shown(path: &Path) -> String {
    crate::diag::harmless(&path.display().to_string())
}

pub(super) fn not_writable(path: &Path) -> impl FnOnce(io::Error) -> StoreError {
    let place = shown(path);
    move |source| StoreError::NotWritable { place, source }
}

pub(super) fn not_readable(path: &Path) -> impl FnOnce(io::Error) -> StoreError {
    let place = shown(path);
    move |source| StoreError::NotReadable { place, source }
}
