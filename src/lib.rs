//! Handlamp: an offline knowledge base and troubleshooting assistant for weigh-filling machines.

pub mod diag;
pub mod graph;
pub mod ids;
pub mod knowledge;
pub mod safety;
pub mod search;
pub mod units;
pub mod vet;
