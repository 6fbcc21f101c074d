//! walk
mod assess;
mod desk;
mod evidence;
pub use assess::*;
pub use desk::{Desk, DeskError, hands};
pub use evidence::*;
