//! What to do next: the step worth its minutes, under who is there, what must come first, and what a visit costs.
//!
//! The objective is the expected minutes of stopped or held line until the complaint is proved gone. Checks are
//! valued one step ahead, remedies on joint states of the causes; gates and authority bound the choice. Ties go by
//! id.

mod circumstances;
mod rank;
mod situation;
mod visit;
mod worth;

pub use circumstances::TOLD;
pub use rank::{Candidate, Kind, Plan, Reason, SEND, STOP, Then, plan};
pub use situation::{Hands, Hindrance, Situation};
pub use visit::Visit;
