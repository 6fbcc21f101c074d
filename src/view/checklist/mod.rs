//! Checklists as they are shown.

pub mod paper;
