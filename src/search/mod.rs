//! Finding entries by words: what they are called, how callers say it, what they ask and answer. Never step text.
//!
//! [`book`] takes the words out of the knowledge; [`Index`] keeps them on disk under the knowledge's hash, with all
//! that a line of an answer needs, so that a later `find` reads no YAML. The index is derived and may be deleted.

mod ask;
mod common;
mod docs;
mod fit;
mod index;
mod lexicon;
pub mod past;
pub mod talk;
pub mod trial;
mod words;

#[cfg(test)]
mod tests;

use std::fmt;

pub use docs::{book, docs};
pub use index::Index;
pub use lexicon::Lexicon;

use crate::ids::FindingId;

/// Longest query read, in characters; what is beyond is left out.
pub const LONGEST_QUERY: usize = 500;

macro_rules! kinds {
    ($($(#[$doc:meta])* $name:ident = $word:literal),+ $(,)?) => {
        /// Kinds of entries that can be found.
        #[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
        pub enum Kind { $($(#[$doc])* $name),+ }

        impl Kind {
            /// All of them, in order.
            pub const ALL: &'static [Kind] = &[$(Kind::$name),+];

            /// The word for it.
            pub fn as_str(self) -> &'static str {
                match self { $(Kind::$name => $word),+ }
            }
        }
    };
}

kinds! {
    /// What a person notices or a run shows.
    Symptom = "symptom",
    /// A physical state between cause and symptom.
    Condition = "condition",
    /// What is wrong.
    Cause = "cause",
    /// A question, a measurement or a test.
    Check = "check",
    /// What puts a cause right.
    Remedy = "remedy",
    /// What happened before.
    Circumstance = "circumstance",
    /// What fills may weigh.
    Rule = "rule",
    /// What a visit taught.
    Lesson = "lesson",
    /// A family of machines.
    Machine = "machine",
    /// A setting of a machine.
    Setting = "setting",
    /// A lamp or a reading of a machine.
    Sign = "sign",
    /// A hazard said plainly.
    Caution = "caution",
}

impl fmt::Display for Kind {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.as_str())
    }
}

/// Which of an entry's texts.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Part {
    /// How callers say it.
    Said,
    /// Its title.
    Title,
    /// The question of a check or circumstance.
    Asks,
    /// An answer of a check, an option of a machine, what a wrong setting does.
    Answer,
    /// The sentence on what it is.
    About,
    /// Its id, as words.
    Name,
}

impl Part {
    const ALL: [Part; 6] = [Part::Said, Part::Title, Part::Asks, Part::Answer, Part::About, Part::Name];

    /// The word before a colon: `said: "all our bags are under"`.
    pub fn as_str(self) -> &'static str {
        match self {
            Part::Said => "said",
            Part::Title => "title",
            Part::Asks => "asks",
            Part::Answer => "answer",
            Part::About => "about",
            Part::Name => "id",
        }
    }

    /// How much a hit in this text counts.
    fn boost(self) -> f32 {
        match self {
            Part::Said => 2.2,
            Part::Title => 2.0,
            Part::Name => 1.2,
            Part::Asks | Part::Answer => 1.0,
            Part::About => 0.8,
        }
    }
}

/// The words of one entry.
#[derive(Debug, Clone, PartialEq)]
pub struct Doc {
    /// What it is.
    pub kind: Kind,
    /// Its id.
    pub id: String,
    /// Its texts, each with the part it plays; the title is among them.
    pub texts: Vec<(Part, String)>,
    /// How many of its causes a call brings on average; `None` where no cause is behind it.
    pub common: Option<f64>,
}

/// All that is searched, and what callers call it.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Book {
    /// Every entry's words.
    pub docs: Vec<Doc>,
    /// Words that mean the same, and words that say little.
    pub lexicon: Lexicon,
}

/// One entry found.
#[derive(Debug, Clone, PartialEq)]
pub struct Hit {
    /// What it is.
    pub kind: Kind,
    /// Its id.
    pub id: String,
    /// Its title.
    pub title: String,
    /// How well it fits; only good for comparing hits of one query.
    pub score: f64,
    /// Why it is here.
    pub matched: Matched,
}

/// Which of the person's words hit which of an entry's texts.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Matched {
    /// The text that fits best.
    pub part: Part,
    /// That text.
    pub text: String,
    /// The person's words that it holds, as typed, in their order.
    pub words: Vec<String>,
    /// Words that it holds under another name: as typed, and as it stands there.
    pub same: Vec<(String, String)>,
    /// Words that it holds spelled otherwise, as typed.
    pub slips: Vec<String>,
}

impl fmt::Display for Matched {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}: \"{}\"", self.part.as_str(), self.text)
    }
}

/// A symptom that the words of a complaint may mean; never evidence until a person says so.
#[derive(Debug, Clone, PartialEq)]
pub struct Proposal {
    /// The symptom.
    pub symptom: FindingId,
    /// How well it fits; only good for comparing proposals of one complaint.
    pub score: f64,
    /// The phrase of the knowledge that the words fit.
    pub phrase: String,
}

/// Why nothing could be searched. The index is derived: deleting its folder is always safe.
#[derive(Debug, thiserror::Error)]
#[error("the search index cannot be used: {0}")]
pub struct SearchError(#[from] tantivy::TantivyError);
