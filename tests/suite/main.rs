//! The single integration binary: one module a promise.

mod belief_is_exact;
mod belief_promises;
mod broken_knowledge;
mod lockout;
mod oracle;
mod outlook_is_exact;
mod small_networks;
mod templates;
