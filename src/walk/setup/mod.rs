//! Setting a product up, as a pure state machine: `step(state, input)` gives the next state, the lines that must be on
//! disk before it is shown, and what is asked. One change at a time; every run kept; always a way back.
//!
//! [`bench`](Bench) holds what was found with the settings of now, [`advice`](Advice) says what to do next, and the
//! order of work is that of [`ToldBy`](crate::knowledge::ToldBy): layer, rates, cut-off, settling, allowance.

mod advice;
mod bench;
mod course;
mod handover;
mod input;
mod state;
mod step;

pub use advice::{Advice, Flow, Stuck, Why};
pub use bench::{Bench, Dial, Feed, Layer, Wanted};
pub use course::check_of;
pub use handover::case_of;
pub use input::{SET_UP_WORDS, SetUpInput, fills_of, is_goal, speed_of, understand};
pub use state::{Course, Draft, Found, Proposal, SetUpAsk, SetUpShow, SetUpState, SetUpStep, Trial};
pub use step::{SetUpWalker, remedy_of};
