//! Learning: what closed cases say about the numbers of the book. What comes out is a proposal with its cases, never a
//! change: an author's number is only overwritten by a person who accepted the proposal.
//!
//! [`Past`] is a closed case as learning sees it. [`learn`](fn@learn) counts: rates as cases against what the book expected, links and
//! hit rates as expected counts (EM for the noisy-OR: Meek & Heckerman 1997, Vomlel 2006), all drawn toward the author's
//! numbers by a prior worth [`CASES_A_CAUSE`] cases a cause and [`CASES_A_LINK`] cases a link.

mod cases;
mod local;
mod past;
mod proposal;
mod tally;

pub use cases::{Sensors, called, past};
pub use past::{Past, Sensor, Trial};
pub use proposal::{Meaning, Proposal, ProposeError, proposals};
pub use tally::{CASES_A_CAUSE, CASES_A_LINK, Layout, LearnError, Learned, Number, Tally, learn};
