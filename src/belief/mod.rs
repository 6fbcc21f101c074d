//! From answers to causes: the probability of everything that can be wrong, exact where that can be.
//!
//! The module knows indices and numbers, no names. A [`Network`] of circumstances, causes and findings takes [`Evidence`] (answers
//! as likelihoods, runs of fills, remedies done) and gives a [`Posterior`], the leading combinations of causes, what open checks
//! would answer, and what each piece of evidence weighs.
//!
//! All of it is one factor graph of small tables whose entries are never negative, summed out variable by variable; nothing is
//! subtracted, so nothing cancels, and no probability leaves 0..=1 however adverse the numbers are. The cost of a sum is counted
//! beforehand. Past it, posteriors and predictions are sampled over the causes (`sample.rs`) and say so ([`Posterior::sampled`]);
//! what even then is too large is refused with [`BeliefError::TooLarge`].

mod assembly;
mod bundle;
mod classes;
mod compile;
mod course;
mod evidence;
mod explain;
mod influence;
mod leading;
mod likelihood;
mod network;
mod order;
mod outline;
mod outlook;
mod pair;
mod piece;
mod plain;
mod posterior;
mod run;
mod sample;
mod sum;
mod tape;
mod timeline;
mod ways;

pub use compile::{Model, NOT_IN_THE_BOOK};
pub use evidence::{BeliefError, Evidence, Item, Moment};
pub use explain::{CONFLICT, Conflict, Readings, readings};
pub use leading::{Combination, MOST_TOGETHER, Reach, leading};
pub use likelihood::{CheckTable, Lookup, band_weights, leading_outcome, quantity};
pub use network::{Cause, Circumstance, Finding, Link, MOST_DEGREES, Network, NetworkError, Parent};
pub use outlook::{Outlook, outlook};
pub use plain::{Believed, Plain, Variable, plain};
pub use posterior::{
    Check, Posterior, Presence, findings, ln_evidence, nothing_known, posterior, predict, sampled,
};
pub use sample::Sampled;
