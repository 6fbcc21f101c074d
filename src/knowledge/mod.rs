//! The knowledge: YAML as written, with positions, becomes entries as trusted.
//!
//! [`Texts`] gathers the built-in files and a folder laid over them; [`load`] reads them all and never stops at
//! the first problem. Only `yaml` knows the YAML reader.

pub mod diff;
pub mod edit;
mod entries;
mod fields;
pub mod lesson;
mod load;
mod model;
mod panel;
mod resolve;
mod rules;
mod schema;
mod second_reader;
mod set_up;
mod steps;
mod vocabulary;
mod works;
pub mod yaml;

pub use entries::basis;
pub use fields::{Fields, Reader, typed};
pub use lesson::{Change, ChangeError, LESSON_KINDS, Lesson, LessonEntry, LessonKind};
pub use load::{FORMAT, Texts, load};
pub use model::*;
pub use panel::{Setting, Sign, SignKind};
pub use resolve::{PATTERNS, unknown};
pub use rules::{JUDGES, Judges, Limit, MARKETS, Market, Rule, Size};
pub use schema::{ENTRY_KINDS, schema};
pub use second_reader::{read_again, read_twice};
pub use set_up::{SetUp, ToldBy};
pub use vocabulary::{TalkWords, Vocabulary};
pub use works::{ASKED, FILLS, MINUTES, QUANTITIES, safety_read, step};
