//! The single integration binary.

mod belief_is_exact;
mod oracle;
mod small_networks;
