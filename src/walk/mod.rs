//! The diagnosis of a call as a pure state machine, and the thinking behind each of its questions.
//!
//! [`assess`] turns the events of a case into evidence, belief and plan; [`Walker`] asks, takes answers and says
//! what must be on disk. Nothing here prints, writes, or reads a clock.

mod answers;
mod assess;
pub mod checklist;
mod cure;
mod desk;
mod evidence;
mod input;
mod lockout;
mod menus;
mod opening;
mod read;
pub mod setup;
mod state;
mod step;
mod told;

pub use answers::stood;
pub use assess::{
    AssessError, Assessment, Because, Conflict, REACH, RuledOut, Suspect, UNLIKELY, assess, situation,
};
pub use desk::{Desk, DeskError, hands};
pub use evidence::{
    Gathered, Heard, HeardKind, NOT_CLEAR_YET, NOTHING_UNUSUAL, gather, latest_run, said, to_run,
    told_result, usual_for,
};
pub use input::{CLOSINGS, Input, WHO, WORDS, is_word, results, understand};
pub use opening::{MADE_SAFE, sounds_dangerous};
pub use state::{Answered, Ask, Change, Item, Lockout, Pick, Show, State, Step, Work};
pub use step::Walker;
