//! Handlamp: an offline knowledge base and troubleshooting assistant for weigh-filling machines.

pub mod belief;
pub mod casebook;
pub mod diag;
pub mod ids;
pub mod knowledge;
pub mod safety;
pub mod units;
