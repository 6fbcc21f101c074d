//! Handlamp: an offline knowledge base and troubleshooting assistant for weigh-filling machines.

pub mod belief;
pub mod casebook;
pub mod checklist;
pub mod commands;
pub mod diag;
pub mod graph;
pub mod ids;
pub mod knowledge;
pub mod learn;
pub mod plan;
pub mod rehearse;
pub mod render;
pub mod safety;
pub mod search;
pub mod units;
pub mod vet;
pub mod view;
pub mod walk;
pub mod weights;
