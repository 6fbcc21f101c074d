//! What a run of fills says: reading it as people have it, error and spread, the pattern, proof of a cure, and
//! what to do with the in-flight allowance.
//!
//! Everything here is a pure function of the numbers given. Masses are in grams unless a name says otherwise. What is
//! unknown is `None`; no answer is ever NaN.
//!
//! ```
//! use handlamp::weights::{Question, ReadOptions, read, summarise};
//!
//! let options = ReadOptions::with_target("250 g").unwrap();
//! let read = read("247.2 g\n247,0 g\n246.9 g\n247.4 g\n247.1 g\n", &options).unwrap();
//! let summary = summarise(&read.run, &Question::default());
//! assert!((summary.error.unwrap().estimate - -2.88).abs() < 1e-9);
//! ```

pub mod allowance;
mod clock;
pub mod compare;
pub mod generate;
mod lane_sheet;
pub mod lanes;
mod line;
pub mod pattern;
pub mod proof;
pub mod read;
pub mod remark;
pub mod rules;
pub mod run;
pub mod scale;
pub mod setup;
pub mod stats;
pub mod summary;
mod table;

pub use compare::{Change, compare};
pub use lanes::{Lanes, compare_lanes};
pub use pattern::{Factor, Pattern, Patterns, find_patterns};
pub use read::{Column, LaneColumn, Read, ReadError, ReadOptions, Skipped, read};
pub use remark::Remark;
pub use run::{Division, Run, RunError, RunInput, Tare, TareKind};
pub use stats::Interval;
pub use summary::{Question, Start, Summary, summarise};
