//! The single integration binary: one module a promise.

mod answer;
mod bad_input;
mod belief_is_exact;
mod belief_promises;
mod broken_knowledge;
mod call;
mod checklists;
mod dice;
#[expect(dead_code, reason = "not in every test yet")]
mod drawn;
mod endings;
mod faults;
mod find;
mod hire;
mod knowledge;
mod known_cases;
mod large_networks;
mod lists_in_use;
mod lists_refused;
mod lockout;
mod oracle;
mod outlook_is_exact;
mod outside_oracle;
mod paper;
mod plain_network;
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
