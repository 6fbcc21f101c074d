//! Lessons that wait in the store: each a log, its head the lesson as it was written, its lines what became of it.

use serde::{Deserialize, Serialize};

use super::log::{Begins, Log, LogRecord, Logs};
use super::store::{CaseId, StoreError};
use crate::ids::LessonId;
use crate::knowledge::Lesson;

/// What a lesson in the store begins with.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct LessonHead {
    /// The lesson as it was written.
    pub lesson: Lesson,
    /// The cases of this store that it rests on. They never leave it.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub cases: Vec<String>,
}

/// What became of it.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(tag = "what", rename_all = "kebab-case")]
pub enum LessonLine {
    /// Somebody worked it over.
    Edited {
        /// The lesson as it is from here on.
        lesson: Box<Lesson>,
    },
    /// A reviewer wants to know something first.
    AskedBack {
        /// What.
        question: String,
    },
    /// The answer to that, or more to tell.
    Answered {
        /// What.
        text: String,
    },
    /// It happened again.
    Again {
        /// The case, when there is one.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        case: Option<String>,
    },
    /// It does not come into the knowledge.
    TurnedDown {
        /// Why.
        because: String,
    },
    /// It is part of the knowledge.
    Accepted,
}

/// Where a lesson stands.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Standing {
    /// Nobody decided yet.
    Waiting,
    /// Its author was asked something.
    AskedBack,
    /// It was turned down.
    TurnedDown,
    /// It was accepted.
    Accepted,
}

impl Standing {
    /// In words.
    pub fn as_str(self) -> &'static str {
        match self {
            Standing::Waiting => "waiting",
            Standing::AskedBack => "asked back",
            Standing::TurnedDown => "turned down",
            Standing::Accepted => "accepted",
        }
    }

    /// Whether somebody has still to decide.
    pub fn is_open(self) -> bool {
        matches!(self, Standing::Waiting | Standing::AskedBack)
    }
}

impl Begins for LessonHead {
    const FORMAT: &str = "handlamp-lesson-record/1";
    const FOLDER: &str = "lessons";
}

/// The lessons of a store.
pub type Lessons = Logs<LessonHead, LessonLine>;
/// One lesson and what became of it.
pub type LessonLog = Log<LessonHead, LessonLine>;
/// A lesson that only this process may add to.
pub type LessonRecord = LogRecord<LessonHead, LessonLine>;

impl LessonLog {
    /// The lesson as it stands.
    pub fn lesson(&self) -> &Lesson {
        let edited = self.lines.iter().rev().find_map(|kept| match &kept.line {
            LessonLine::Edited { lesson } => Some(lesson.as_ref()),
            _ => None,
        });
        edited.unwrap_or(&self.head.lesson)
    }

    /// Where it stands.
    pub fn standing(&self) -> Standing {
        let decided = self.lines.iter().rev().find_map(|kept| match &kept.line {
            LessonLine::Edited { .. } | LessonLine::Answered { .. } => Some(Standing::Waiting),
            LessonLine::AskedBack { .. } => Some(Standing::AskedBack),
            LessonLine::TurnedDown { .. } => Some(Standing::TurnedDown),
            LessonLine::Accepted => Some(Standing::Accepted),
            LessonLine::Again { .. } => None,
        });
        decided.unwrap_or(Standing::Waiting)
    }

    /// How often it was seen since.
    pub fn again(&self) -> usize {
        self.lines.iter().filter(|kept| matches!(kept.line, LessonLine::Again { .. })).count()
    }

    /// The lesson's id in the knowledge.
    pub fn lesson_id(&self) -> LessonId {
        LessonId::from(self.id.as_str())
    }
}

/// Keeps a lesson under its own id; one that is kept already is that one.
pub fn keep(
    lessons: &Lessons,
    head: &LessonHead,
    now: jiff::Timestamp,
) -> Result<(CaseId, bool), StoreError> {
    let id = CaseId::parse(head.lesson.id().as_str())?;
    match lessons.create(head, &id, now) {
        Ok(_) => Ok((id, true)),
        Err(StoreError::Exists(id)) => Ok((id, false)),
        Err(other) => Err(other),
    }
}
