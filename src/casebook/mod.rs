//! The casebook: cases as people write them, as they are kept on disk, and as they are replayed.
//!
//! [`read`] takes a case file apart with positions, [`fit`] holds a case against the knowledge, [`export`] writes
//! one so that it reads back equal, and [`Store`] keeps them, one append-only file a case.

mod fit;
mod form;
mod model;
mod read;
mod read_event;
mod write;

pub use fit::fit;
pub use model::*;
pub use read::{Read, Refused, read, read_path};
pub use write::export;
