//! The single integration binary.

mod belief_is_exact;
mod belief_promises;
mod oracle;
mod outlook_is_exact;
mod small_networks;
