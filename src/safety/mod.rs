//! Safety built into the types: where a body is, which energies wait there, how they are isolated, and step text
//! that nobody can show without its cautions.
//!
//! Exposure is computed from the place on the machine; an author may only raise it. Step text is opaque: it has
//! no `Display` and no `Serialize`, and only a [`HandsOnStep`], made with exposures, isolation and cautions, hands
//! it to a renderer, always together with them.

mod exposure;
mod isolation;
mod step;

pub use exposure::{Exposure, Exposures, Trait, Traits};
pub use isolation::{Energy, EnergyPoint, Isolation, ScaleSupply};
pub use step::{Caution, HandsOnStep, MissingCaution, Signal, StepSink, StepText};

/// Stands at the end of every walk, checklist, report and page.
pub const STANDING_NOTICE: &str = "General guidance. The machine's own manual, the site's rules, local codes and \
licensed or authorised people come first. If unsure, stop and make safe.";
