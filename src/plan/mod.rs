//! What to do next: the step worth its minutes, under who is there, what must come first, and what a visit costs.
//!
//! The objective is the expected minutes of stopped or held line until the complaint is proved gone; minutes at a desk count for
//! less. It is reckoned on joint states of the causes ([`Prospect`]), two steps ahead, with one opening cost a lockout
//! ([`choose`]); gates and authority bound the choice ([`plan`]). Ties go by id.

mod ahead;
mod batch;
mod bound;
mod candidate;
mod circumstances;
mod course;
mod inquiry;
mod prospect;
mod question;
mod rank;
mod situation;
mod state;
mod visit;

pub use ahead::{Branch, Choice, Move, Weighed, choose};
pub use candidate::{Candidate, Kind, Plan, Reason, SEND, STOP, Then};
pub use circumstances::{TOLD, given_causes, told};
pub use prospect::{Act, Enquiry, Lockout, Prospect, Scenario};
pub use question::{as_asked, unanswered};
pub use rank::plan;
pub use situation::{ASK, DESK, Hands, Hindrance, LOOK, Lock, Situation};
pub use visit::Visit;
