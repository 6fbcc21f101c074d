//! The manager's week: what the cases of the last week and the last thirteen say. By machine or team and cause; by person only
//! when somebody asks for it.
//!
//! A case counts in a span by when it began. Its cause is the one whose remedy, done last, took the complaint away.

mod money;
mod replayed;

use std::collections::{BTreeMap, BTreeSet};

use jiff::{SignedDuration, Timestamp};

pub use money::{Giveaway, Money};
pub use replayed::{Parts, Replayed, Silent, replayed};

use crate::casebook::{Closing, Entry, Reading, Recorded, What};
use crate::ids::{CauseId, CheckId};
use crate::knowledge::{Asks, Knowledge};

/// Weeks of the longer span.
pub const LONG: i64 = 13;
/// A call about the same machine within so many days of a closing is a repeat.
pub const REPEAT_DAYS: i64 = 30;
/// Under so many cases no share is told.
pub const FEWEST: usize = 10;
/// A check is asked about when it was asked so often.
const ASKED_OFTEN: usize = 10;

/// By what cases are put together.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Group {
    /// The machine.
    Machine,
    /// The team.
    Team,
    /// Whoever did the last remedy, by the short name in the case.
    Person,
}

impl Group {
    fn of(self, recorded: &Recorded) -> String {
        let case = &recorded.case;
        match self {
            Group::Machine => case.machine.to_string(),
            Group::Team => case.team.clone().unwrap_or_else(|| "no team named".to_owned()),
            Group::Person => {
                let last = case.events.iter().rev().find(|event| matches!(event.what, What::Remedy { .. }));
                last.and_then(|event| event.by.as_ref())
                    .map_or_else(|| "nobody named".to_owned(), ToString::to_string)
            }
        }
    }
}

/// Something counted in both spans.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub struct Count {
    /// In the last week.
    pub week: usize,
    /// In the last thirteen.
    pub long: usize,
}

/// How cases ended.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub struct Endings {
    /// Cured with nobody sent.
    pub by_phone: usize,
    /// Cured after one visit.
    pub first_visit: usize,
    /// Cured after more than one.
    pub later_visit: usize,
    /// Closed, and not cured.
    pub not_found: usize,
    /// Not closed.
    pub open: usize,
}

impl Endings {
    /// Cases that ended in one way or another.
    pub fn ended(&self) -> usize {
        self.by_phone + self.first_visit + self.later_visit + self.not_found
    }
}

/// A call about a machine that was closed not long before.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Repeat {
    /// The group.
    pub group: String,
    /// The later case.
    pub case: String,
    /// The case before it.
    pub earlier: String,
    /// Whole days between.
    pub days: i64,
    /// Whether the cause was the same, where both are known.
    pub same_cause: Option<bool>,
}

/// A check that is mostly answered 'cannot tell'.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Untold {
    /// The check.
    pub check: CheckId,
    /// How often it was asked.
    pub asked: usize,
    /// How often nobody could tell.
    pub cannot_tell: usize,
}

/// How lessons stand.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct LessonFigures {
    /// Waiting in the store.
    pub waiting: usize,
    /// Accepted, and something that they are about came up in a case of the last year.
    pub used: usize,
    /// Accepted over a year ago, and nothing of it came up since.
    pub unused: Vec<String>,
}

/// The figures.
#[derive(Debug, Clone, PartialEq)]
pub struct Week {
    /// The end of both spans.
    pub until: Timestamp,
    /// By what they are put together.
    pub group: Group,
    /// Cases.
    pub cases: Count,
    /// By group and cause, those that came up twice or more in the longer span; the commonest first.
    pub causes: Vec<(String, CauseId, Count)>,
    /// Repeat calls in the longer span.
    pub repeats: Vec<Repeat>,
    /// By group: in the week, and in the longer span.
    pub endings: BTreeMap<String, (Endings, Endings)>,
    /// Checks mostly answered 'cannot tell', in the longer span.
    pub untold: Vec<Untold>,
    /// What fills over their target gave away, where runs were weighed.
    pub giveaway: Giveaway,
}

/// Whether a moment lies in the last week, and in the longer span.
pub fn spans(at: Timestamp, until: Timestamp) -> (bool, bool) {
    let within = |weeks: i64| {
        let from = until.checked_sub(SignedDuration::from_hours(24 * 7 * weeks)).unwrap_or(Timestamp::MIN);
        at > from && at <= until
    };
    (within(1), within(LONG))
}

/// The cases that began in the longer span, and whether in the last week.
fn in_span(all: &[Recorded], until: Timestamp) -> Vec<(&Recorded, bool)> {
    let began = |recorded: &Recorded| recorded.opened.parse::<Timestamp>().ok();
    all.iter()
        .filter_map(|recorded| {
            let (week, long) = spans(began(recorded)?, until);
            long.then_some((recorded, week))
        })
        .collect()
}

/// Whether the case ended with the complaint gone.
fn cured(recorded: &Recorded) -> bool {
    matches!(recorded.case.closed, Some(Closing::Cured | Closing::GoneNotProved))
}

/// The cause of a case, where it is known.
fn cause<'k>(knowledge: &'k Knowledge, recorded: &Recorded) -> Option<&'k CauseId> {
    let remedy = knowledge.remedies.get(recorded.case.cured_by()?)?;
    Some(&remedy.cures.value)
}

/// How often somebody was sent.
fn visits(recorded: &Recorded) -> usize {
    let sent = |entry: &&Entry| matches!(entry, Entry::Close(Closing::SentSomebody));
    recorded.history.iter().map(|happening| &happening.entry).filter(sent).count()
}

/// Works the figures out.
pub fn week(knowledge: &Knowledge, all: &[Recorded], until: Timestamp, group: Group, money: &Money) -> Week {
    let cases = in_span(all, until);
    let mut causes: BTreeMap<(String, CauseId), Count> = BTreeMap::new();
    let mut endings: BTreeMap<String, (Endings, Endings)> = BTreeMap::new();
    for (recorded, week) in &cases {
        let own = group.of(recorded);
        if let Some(cause) = cause(knowledge, recorded) {
            let count = causes.entry((own.clone(), cause.clone())).or_default();
            count.long += 1;
            count.week += usize::from(*week);
        }
        let (short, long) = endings.entry(own).or_default();
        end(long, recorded);
        if *week {
            end(short, recorded);
        }
    }
    let mut causes: Vec<(String, CauseId, Count)> = causes
        .into_iter()
        .filter(|(_, count)| count.long > 1)
        .map(|((group, cause), count)| (group, cause, count))
        .collect();
    causes.sort_by(|a, b| {
        (b.2.long, b.2.week).cmp(&(a.2.long, a.2.week)).then_with(|| (&a.0, &a.1).cmp(&(&b.0, &b.1)))
    });
    Week {
        until,
        group,
        cases: Count { week: cases.iter().filter(|(_, week)| *week).count(), long: cases.len() },
        causes,
        repeats: repeats(knowledge, all, &cases, group),
        endings,
        untold: untold(knowledge, &cases),
        giveaway: money::giveaway(&cases, money),
    }
}

fn end(endings: &mut Endings, recorded: &Recorded) {
    let sum = match (recorded.case.closed, cured(recorded), visits(recorded)) {
        (None, ..) => &mut endings.open,
        (_, false, _) => &mut endings.not_found,
        (_, true, 0) => &mut endings.by_phone,
        (_, true, 1) => &mut endings.first_visit,
        (_, true, _) => &mut endings.later_visit,
    };
    *sum += 1;
}

/// Calls that began within thirty days of the last closing of a case about the same machine, the latest such.
fn repeats(
    knowledge: &Knowledge,
    all: &[Recorded],
    cases: &[(&Recorded, bool)],
    group: Group,
) -> Vec<Repeat> {
    let serial = |recorded: &Recorded| {
        let serial = recorded.case.opening.serial_said()?.to_owned();
        Some((recorded.case.machine.clone(), serial))
    };
    let closed_at = |recorded: &Recorded| -> Option<Timestamp> {
        let close = recorded.history.iter().rev().find(|h| matches!(h.entry, Entry::Close(_)))?;
        close.at.as_ref()?.parse().ok()
    };
    let mut by_machine: BTreeMap<_, Vec<&Recorded>> = BTreeMap::new();
    for recorded in all {
        if let Some(key) = serial(recorded) {
            by_machine.entry(key).or_default().push(recorded);
        }
    }
    let mut repeats = Vec::new();
    for (later, _) in cases {
        let (Some(key), Ok(began)) = (serial(later), later.opened.parse::<Timestamp>()) else { continue };
        let earlier = by_machine.get(&key).into_iter().flatten().filter(|other| other.id != later.id);
        let closed =
            earlier.filter_map(|other| Some((closed_at(other)?, *other))).filter(|(at, _)| *at <= began);
        let Some((at, before)) = closed.max_by(|a, b| (a.0, &a.1.id).cmp(&(b.0, &b.1.id))) else { continue };
        let hours = began.duration_since(at).as_hours();
        if hours <= 24 * REPEAT_DAYS {
            let pair = cause(knowledge, before).zip(cause(knowledge, later));
            repeats.push(Repeat {
                group: group.of(later),
                case: later.id.to_string(),
                earlier: before.id.to_string(),
                days: hours / 24,
                same_cause: pair.map(|(one, other)| one == other),
            });
        }
    }
    repeats
}

fn untold(knowledge: &Knowledge, cases: &[(&Recorded, bool)]) -> Vec<Untold> {
    let mut asked: BTreeMap<&CheckId, (usize, usize)> = BTreeMap::new();
    for event in cases.iter().flat_map(|(recorded, _)| &recorded.case.events) {
        let What::Reading { check, reading, .. } = &event.what else { continue };
        if knowledge.checks.get(check).is_some_and(|known| matches!(known.asks, Asks::Complaint)) {
            continue;
        }
        let count = asked.entry(check).or_default();
        count.0 += 1;
        count.1 += usize::from(matches!(reading, Reading::CannotTell));
    }
    let mostly =
        asked.into_iter().filter(|(_, (asked, untold))| *asked >= ASKED_OFTEN && 2 * untold > *asked);
    let mut all: Vec<Untold> = mostly
        .map(|(check, (asked, cannot_tell))| Untold { check: check.clone(), asked, cannot_tell })
        .collect();
    all.sort_by(|a, b| b.cannot_tell.cmp(&a.cannot_tell).then_with(|| a.check.cmp(&b.check)));
    all
}

/// How lessons stand: `waiting` in the store, accepted ones in the knowledge against the cases of the last year.
pub fn lessons(knowledge: &Knowledge, all: &[Recorded], until: Timestamp, waiting: usize) -> LessonFigures {
    let year = until.checked_sub(SignedDuration::from_hours(24 * 365)).unwrap_or(Timestamp::MIN);
    let mut came_up: BTreeSet<String> = BTreeSet::new();
    for recorded in all {
        if recorded.opened.parse::<Timestamp>().is_ok_and(|at| at > year && at <= until) {
            came_up.extend(cause(knowledge, recorded).map(|cause| format!("causes/{cause}")));
            for event in &recorded.case.events {
                match &event.what {
                    What::Reading { check, reading: Reading::Outcome(outcome), .. } => {
                        came_up.insert(format!("checks/{check}"));
                        came_up.insert(format!("symptoms/{outcome}"));
                    }
                    What::Reading { check, .. } => {
                        came_up.insert(format!("checks/{check}"));
                    }
                    What::Remedy { id, .. } => {
                        came_up.insert(format!("remedies/{id}"));
                    }
                    _ => {}
                }
            }
        }
    }
    let mut figures = LessonFigures { waiting, ..LessonFigures::default() };
    for entry in knowledge.lessons.values().filter(|entry| entry.lesson.replaced_by.is_none()) {
        let used = entry.lesson.bears_on.iter().any(|name| came_up.contains(name));
        let day = entry.lesson.accepted.as_ref().and_then(|day| day.parse::<jiff::civil::Date>().ok());
        let old = day.and_then(|day| jiff::tz::TimeZone::UTC.to_timestamp(day.at(0, 0, 0, 0)).ok());
        if used {
            figures.used += 1;
        } else if old.is_some_and(|at| at <= year) {
            figures.unused.push(entry.id.to_string());
        }
    }
    figures
}
