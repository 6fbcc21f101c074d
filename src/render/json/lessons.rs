//! Lessons for a program: `handlamp-lessons/1` the queue, `handlamp-lesson/1` one, `handlamp-proposals/1` what cases say.

use serde::Serialize;

use crate::casebook::lesson::{LessonLine, LessonLog};
use crate::knowledge::edit::Scalar;
use crate::knowledge::{Change, Lesson};
use crate::learn::{Meaning, Proposal};
use crate::view::lessons::{Changed, Queued};

/// A lesson without its title. The text of whole files stays out: their steps are for people who see their cautions.
#[derive(Debug, Serialize)]
pub(super) struct LessonOut {
    told: String,
    #[serde(rename = "lesson_kind")]
    kind: &'static str,
    machine: Option<String>,
    bears_on: Vec<String>,
    again: Option<String>,
    by: String,
    recorded: String,
    cases: Option<u64>,
    changes: Vec<ChangeOut>,
    read_by: Option<String>,
    accepted: Option<String>,
    replaced_by: Option<String>,
}

#[derive(Debug, Serialize)]
struct ChangeOut {
    file: String,
    place: Option<String>,
    was: Option<Scalar>,
    to: Option<Scalar>,
    adds: Option<Scalar>,
    whole: bool,
}

impl ChangeOut {
    fn of(change: &Change) -> Self {
        let blank = Self {
            file: change.file().to_owned(),
            place: None,
            was: None,
            to: None,
            adds: None,
            whole: matches!(change, Change::File { .. }),
        };
        match change.clone() {
            Change::Set { place, was, to, .. } => Self { place: Some(place), was, to: Some(to), ..blank },
            Change::Add { place, adds, .. } => Self { place: Some(place), adds: Some(adds), ..blank },
            Change::File { .. } => blank,
        }
    }
}

/// A lesson of the knowledge, without its title.
pub(super) fn untitled(lesson: &Lesson) -> LessonOut {
    LessonOut {
        told: lesson.told.clone(),
        kind: lesson.kind.as_str(),
        machine: lesson.machine.as_ref().map(ToString::to_string),
        bears_on: lesson.bears_on.clone(),
        again: lesson.again.as_ref().map(ToString::to_string),
        by: lesson.by.clone(),
        recorded: lesson.recorded.clone(),
        cases: lesson.cases,
        changes: lesson.changes.iter().map(ChangeOut::of).collect(),
        read_by: lesson.read_by.clone(),
        accepted: lesson.accepted.clone(),
        replaced_by: lesson.replaced_by.as_ref().map(ToString::to_string),
    }
}

/// One lesson in the store.
#[derive(Debug, Serialize)]
pub struct StandingOut {
    #[serde(skip_serializing_if = "Option::is_none")]
    format: Option<&'static str>,
    id: String,
    standing: &'static str,
    title: String,
    effect: Option<f64>,
    seen_again: usize,
    asked: Option<String>,
    #[serde(flatten)]
    lesson: LessonOut,
    #[serde(skip_serializing_if = "Option::is_none")]
    review: Option<ReviewOut>,
}

/// What a reviewer sees of a change.
#[derive(Debug, Serialize)]
struct ReviewOut {
    /// As programs that patch files read it.
    diff: String,
    cannot_be_made: Option<String>,
    vetting: Vec<String>,
}

fn standing(log: &LessonLog, effect: Option<f64>) -> StandingOut {
    let lesson = log.lesson();
    let asked = log.lines.iter().rev().find_map(|kept| match &kept.line {
        LessonLine::AskedBack { question } => Some(question.clone()),
        _ => None,
    });
    StandingOut {
        format: None,
        id: log.id.to_string(),
        standing: log.standing().as_str(),
        title: lesson.title.clone(),
        effect,
        seen_again: log.again(),
        asked,
        lesson: untitled(lesson),
        review: None,
    }
}

/// The queue and what was decided.
#[derive(Debug, Serialize)]
pub struct LessonsOut {
    format: &'static str,
    waiting: Vec<StandingOut>,
    decided: Vec<StandingOut>,
}

/// The queue for a program, in its order.
pub fn lessons(queue: &[Queued], decided: &[&LessonLog]) -> LessonsOut {
    LessonsOut {
        format: "handlamp-lessons/1",
        waiting: queue.iter().map(|queued| standing(&queued.log, queued.effect)).collect(),
        decided: decided.iter().map(|log| standing(log, None)).collect(),
    }
}

/// One lesson for a program, with what it would change.
pub fn lesson(log: &LessonLog, changes: &Result<Vec<Changed>, String>, vetting: &[String]) -> StandingOut {
    let unified = |all: &Vec<Changed>| {
        all.iter().map(|changed| changed.hunk.unified(changed.change.file())).collect::<String>()
    };
    StandingOut {
        format: Some("handlamp-lesson/1"),
        review: Some(ReviewOut {
            diff: changes.as_ref().map_or_else(|_| String::new(), unified),
            cannot_be_made: changes.as_ref().err().cloned(),
            vetting: vetting.to_vec(),
        }),
        ..standing(log, None)
    }
}

/// What closed cases say about numbers of the book.
#[derive(Debug, Serialize)]
pub struct ProposalsOut<'a> {
    format: &'static str,
    cases: usize,
    proposals: Vec<ProposalOut<'a>>,
}

#[derive(Debug, Serialize)]
struct ProposalOut<'a> {
    machine: &'a str,
    entry: &'a str,
    what: &'static str,
    about: Vec<&'a str>,
    author: f64,
    learned: f64,
    interval: [f64; 2],
    came: f64,
    of: f64,
    contradicts_author: bool,
    cases: Vec<&'a str>,
    change: ChangeOut,
}

/// The proposals for a program; `ids` names the cases.
pub fn proposals<'a>(proposals: &'a [Proposal], ids: &'a [String]) -> ProposalsOut<'a> {
    let one = |proposal: &'a Proposal| {
        let (what, about) = match &proposal.what {
            Meaning::Rate => ("rate", vec![]),
            Meaning::Link(finding) => ("strength", vec![finding.as_str()]),
            Meaning::Hit(outcome, finding) => ("hit", vec![outcome.as_str(), finding.as_str()]),
            Meaning::Alarm(outcome, finding) => ("false-alarm", vec![outcome.as_str(), finding.as_str()]),
        };
        ProposalOut {
            machine: proposal.machine.as_str(),
            entry: &proposal.entry,
            what,
            about,
            author: proposal.tally.author,
            learned: proposal.tally.learned,
            interval: [proposal.tally.interval.0, proposal.tally.interval.1],
            came: proposal.tally.came,
            of: proposal.tally.of,
            contradicts_author: proposal.tally.contradicts(),
            cases: proposal.cases.iter().map(|&place| ids[place].as_str()).collect(),
            change: ChangeOut::of(&proposal.change),
        }
    };
    ProposalsOut {
        format: "handlamp-proposals/1",
        cases: ids.len(),
        proposals: proposals.iter().map(one).collect(),
    }
}
