//! What to do next: the step worth its minutes, under who is there, what must come first, and what a visit costs.
//!
//! The objective is the expected minutes of stopped or held line until the complaint is proved gone. Checks are
//! valued one step ahead, remedies on joint states of the causes; gates and authority bound the choice. Ties go by
//! id.

mod candidate;
mod circumstances;
mod question;
mod rank;
mod situation;
mod visit;
mod worth;

pub use candidate::{Candidate, Kind, Plan, Reason, SEND, STOP, Then};
pub use circumstances::{TOLD, given_causes};
pub use question::{as_asked, unanswered};
pub use rank::plan;
pub use situation::{ASK, Hands, Hindrance, Situation};
pub use visit::Visit;
