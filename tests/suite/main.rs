//! The single integration binary.
