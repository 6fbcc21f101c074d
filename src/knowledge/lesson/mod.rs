//! A lesson: what a visit taught, in the words of whoever was there, and what of the knowledge it changes.

mod change;
mod read;

use std::fmt;

use serde::{Deserialize, Serialize};

use super::edit::{EditError, Scalar};
use super::model::Head;
use crate::ids::{LessonId, MachineId, words_of};

pub use change::{Change, ChangeError, changed};
pub(super) use read::entry;
pub use read::read;

/// What kind of lesson.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum LessonKind {
    /// A remark on safety: to the top, at once.
    Safety,
    /// Something in the knowledge is wrong.
    Wrong,
    /// A cause that is in no book.
    NewCause,
    /// A check that is new, or better.
    NewCheck,
    /// A number that is off.
    NumberOff,
    /// How a caller said it.
    NewPhrase,
    /// What is known happened once more.
    HappenedAgain,
}

/// The words for kinds, in the order of a queue.
pub const LESSON_KINDS: &[(&str, LessonKind)] = &[
    ("safety", LessonKind::Safety),
    ("wrong", LessonKind::Wrong),
    ("new-cause", LessonKind::NewCause),
    ("new-check", LessonKind::NewCheck),
    ("number-off", LessonKind::NumberOff),
    ("new-phrase", LessonKind::NewPhrase),
    ("happened-again", LessonKind::HappenedAgain),
];

impl LessonKind {
    /// Its word.
    pub fn as_str(self) -> &'static str {
        LESSON_KINDS.iter().find(|(_, kind)| *kind == self).map_or("", |(word, _)| word)
    }
}

/// What a visit taught.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Lesson {
    /// One line that names it.
    pub title: String,
    /// What happened and what it taught, in the author's words.
    pub told: String,
    /// What kind.
    pub kind: LessonKind,
    /// On which machine, when on one only.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub machine: Option<MachineId>,
    /// The entries it bears on, as `causes/pan-touching`.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub bears_on: Vec<String>,
    /// The lesson that it repeats.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub again: Option<LessonId>,
    /// Who wrote it.
    pub by: String,
    /// When, as 2026-11-25.
    pub recorded: String,
    /// How many cases it rests on.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub cases: Option<u64>,
    /// What it changes.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub changes: Vec<Change>,
    /// Who accepted it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub read_by: Option<String>,
    /// When it was accepted.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub accepted: Option<String>,
    /// The lesson that took its place.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub replaced_by: Option<LessonId>,
}

/// A lesson that is part of the knowledge.
#[derive(Debug, Clone, PartialEq)]
pub struct LessonEntry {
    /// Its id.
    pub id: LessonId,
    /// What every entry has; its title is the lesson's.
    pub head: Head,
    /// The lesson.
    pub lesson: Lesson,
}

impl Lesson {
    /// The id under which it is kept: its title in short, and letters that make it its own, whoever else writes one today.
    pub fn id(&self) -> LessonId {
        use std::hash::Hasher as _;
        let mut hasher = fnv::FnvHasher::default();
        for part in [&self.title, &self.told, &self.by, &self.recorded] {
            hasher.write(part.as_bytes());
            hasher.write_u8(0);
        }
        for change in &self.changes {
            hasher.write(format!("{change:?}").as_bytes());
        }
        let mut slug = String::new();
        for word in words_of(&self.title) {
            if slug.len() + word.len() > 40 {
                break;
            }
            slug.push_str(&word);
            slug.push('-');
        }
        let start = if slug.starts_with(|c: char| c.is_ascii_lowercase()) { "" } else { "lesson-" };
        LessonId::new(format!("{start}{slug}{:06x}", hasher.finish() & 0xff_ffff))
    }

    /// As a file of the knowledge.
    pub fn written(&self) -> Result<String, EditError> {
        let mut text = String::new();
        let mut line = |key: &str, value: &str| -> Result<(), EditError> {
            text.push_str(&format!("{key}: {}\n", Scalar::Text(value.to_owned()).written()?));
            Ok(())
        };
        line("title", &self.title)?;
        line("told", &self.told)?;
        line("kind", self.kind.as_str())?;
        let optional = [
            ("machine", self.machine.as_ref().map(MachineId::as_str)),
            ("again", self.again.as_ref().map(LessonId::as_str)),
            ("by", Some(self.by.as_str())),
            ("recorded", Some(self.recorded.as_str())),
            ("read_by", self.read_by.as_deref()),
            ("accepted", self.accepted.as_deref()),
            ("replaced_by", self.replaced_by.as_ref().map(LessonId::as_str)),
        ];
        for (key, value) in optional {
            if let Some(value) = value {
                line(key, value)?;
            }
        }
        if let Some(cases) = self.cases {
            text.push_str(&format!("cases: {cases}\n"));
        }
        if !self.bears_on.is_empty() {
            let names = self.bears_on.iter().map(|name| Scalar::Text(name.clone()).written());
            text.push_str(&format!("bears_on: [{}]\n", names.collect::<Result<Vec<_>, _>>()?.join(", ")));
        }
        if !self.changes.is_empty() {
            text.push_str("changes:\n");
        }
        for change in &self.changes {
            text.push_str(&change.written()?);
        }
        Ok(text)
    }
}

impl fmt::Display for LessonKind {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            LessonKind::Safety => "a safety remark",
            LessonKind::Wrong => "something here is wrong",
            LessonKind::NewCause => "a new cause",
            LessonKind::NewCheck => "a new or better check",
            LessonKind::NumberOff => "a number that is off",
            LessonKind::NewPhrase => "a new phrase",
            LessonKind::HappenedAgain => "it happened again",
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::knowledge::Texts;

    fn lesson() -> Lesson {
        let file = "causes/inflight-allowance-high.yaml".to_owned();
        let set = Change::Set {
            file: file.clone(),
            place: "machines.two-tray-weigher".to_owned(),
            was: Some(Scalar::Number(45.0)),
            to: Scalar::Number(31.5),
        };
        let adds = Scalar::Text("it's short: 5 g".to_owned());
        let add = Change::Add {
            file: "symptoms/fills-steadily-light.yaml".to_owned(),
            place: "said".to_owned(),
            adds,
        };
        let whole =
            "title: A draught at the scale   # from the door\nsaid:\n  - wind\n\nabout: x\n".to_owned();
        let new = Change::File { file: "causes/draught-from-door.yaml".to_owned(), whole };
        Lesson {
            title: "No: the flap leaves a gap".to_owned(),
            told: "The allowance was right; it's the flap, 3 mm open.".to_owned(),
            kind: LessonKind::NumberOff,
            machine: Some("two-tray-weigher".into()),
            bears_on: vec!["causes/inflight-allowance-high".to_owned()],
            again: None,
            by: "R. T.".to_owned(),
            recorded: "2026-11-25".to_owned(),
            cases: Some(3),
            changes: vec![set, add, new],
            read_by: None,
            accepted: None,
            replaced_by: None,
        }
    }

    #[test]
    fn a_lesson_reads_back_as_it_was_written() {
        let text = lesson().written().unwrap();
        let (read, problems, sources) = read("lesson", &text);
        assert!(
            problems.is_empty(),
            "{text}\n{:?}",
            problems.iter().map(|p| p.sentence(&sources)).collect::<Vec<_>>()
        );
        assert_eq!(read, Some(lesson()), "{text}");
        assert!(crate::ids::well_formed(lesson().id().as_str()), "{}", lesson().id());
    }

    #[test]
    fn changes_are_made_in_memory_and_one_made_for_other_words_is_not() {
        let built_in = Texts::built_in();
        let texts = changed(&built_in, &lesson().changes).unwrap();
        let file = "causes/inflight-allowance-high.yaml";
        assert_eq!(
            texts.text(file).unwrap(),
            built_in.text(file).unwrap().replace("weigher: 45}", "weigher: 31.5}")
        );
        // Made once more, as after a crash, it changes nothing.
        let again = changed(&texts, &lesson().changes).unwrap();
        assert_eq!(again.text(file), texts.text(file));
        let other = texts.with(file, built_in.text(file).unwrap().replace("weigher: 45}", "weigher: 12}"));
        assert!(matches!(changed(&other, &lesson().changes), Err(ChangeError::ChangedSince { .. })));
        for file in
            ["../causes/a.yaml", "words/scale.yaml", "causes/A.yaml", "causes/a/b.yaml", "lessons/a.yaml"]
        {
            let change = Change::File { file: file.to_owned(), whole: String::new() };
            assert!(matches!(change.applied(&built_in), Err(ChangeError::NoEntry(_))), "{file}");
        }
    }
}
