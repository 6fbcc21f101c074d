//! The single integration binary: one module a promise.

mod answer;
mod bad_input;
mod belief_is_exact;
mod belief_promises;
mod broken_knowledge;
mod call;
mod endings;
mod faults;
mod find;
mod knowledge;
mod known_cases;
mod lockout;
mod oracle;
mod outlook_is_exact;
mod prompts;
mod schema;
mod screens;
mod show;
mod small_networks;
mod templates;
mod tidy;
mod told;
mod tool;
mod walk;
mod weights;
