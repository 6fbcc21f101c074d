//! Handlamp: an offline knowledge base and troubleshooting assistant for weigh-filling machines.

pub mod ids;
pub mod render;
pub mod units;
pub mod weights;
