//! Carrying a checklist out, as a pure state machine: `step(state, input)` gives the next state, the lines that must be
//! on disk before it is shown, and what is asked. Nothing is ever ticked by default; nobody passes a hold.

mod answers;
mod gate;
mod handover;
pub(super) mod input;
mod judge;
mod run;
mod state;
mod ways;

pub use handover::{SAID_BY, case_of};
pub use input::{ListInput, WORDS, fills_so_far, understand};
pub use judge::{Judged, judge, judged_then};
pub use run::{Around, ListWalker};
pub use state::{
    ListAsk, ListShow, ListState, ListStep, OpenPoint, Stopped, coming_up, missing_before, open_points,
    stopped,
};
pub use ways::{Way, open_case, stops, ways};
