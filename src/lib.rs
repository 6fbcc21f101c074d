//! Handlamp: an offline knowledge base and troubleshooting assistant for weigh-filling machines.

pub mod belief;
pub mod ids;
pub mod units;
