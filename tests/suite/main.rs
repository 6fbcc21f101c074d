//! The single integration binary: one module a promise.

mod broken_knowledge;
mod templates;
