//! The casebook: cases as people write them, as they are kept on disk, and as they are replayed.
//!
//! [`read`] takes a case file apart with positions, [`fit`] holds a case against the knowledge, [`export`] writes
//! one so that it reads back equal, and [`Store`] keeps them, one append-only file a case.

mod figures;
mod fit;
mod form;
pub mod lesson;
pub mod log;
mod model;
mod read;
mod read_event;
pub mod searches;
pub mod set_up;
pub mod sheet;
mod store;
mod write;

pub use fit::fit;
pub use model::*;
pub use read::{Read, Refused, read, read_path};
pub use store::{
    CaseId, Entry, Foreign, Happening, Imported, LARGEST_RECORD, Listing, Record, Recorded, Remark, Store,
    StoreError, Summary, record, replace,
};
pub use write::export;

#[cfg(test)]
mod tests;
