//! Rehearsal: recorded and simulated cases against the knowledge, to see how well it diagnoses and plans.
//!
//! A simulated case is drawn from the model itself ([`World`]), so it judges the plan and not the knowledge; a recorded case
//! ([`score`](fn@score)) judges both. All policies meet the same machines, the same luck and the same [clock](simulate). What the plan
//! asks in such calls, and which numbers of the book its next step hangs on, is for authors ([`decisions`](fn@decisions)).

mod book;
mod chance;
mod clock;
mod compare;
mod course;
mod decisions;
mod effect;
mod invent;
mod mind;
mod nudge;
mod policy;
mod record;
mod score;
mod simulate;
mod taken;
pub mod week;
mod world;

pub use book::{SETTINGS, Setting};
pub use compare::{Changed, Comparison, Loss, MOVED, compare};
pub use decisions::{Asked, Calls, Decisions, Idle, MOST_SITUATIONS, Moved, Stage, decisions};
pub use effect::effect;
pub use invent::{Invented, calls, invent, searches};
pub use policy::Policy;
pub use score::{BANDS, CaseScore, FEW, Figures, Known, Named, Scores, score};
pub(crate) use simulate::in_parallel;
pub use simulate::{Mean, Row, Simulation, SimulationError, simulate};
pub use taken::Taken;
pub use world::{Nameable, World};
