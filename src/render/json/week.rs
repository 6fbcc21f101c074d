//! `case week --json`, as `handlamp-week/1`.

use serde::Serialize;

use crate::rehearse::week::{Endings, FEWEST};
use crate::view::week::{Figures, LEAST_ANSWERED, ways};

/// The manager's week for a program. Figures are of the last thirteen weeks where nothing else is said.
#[derive(Debug, Serialize)]
pub struct WeekOut<'a> {
    format: &'static str,
    until: &'a str,
    by: &'static str,
    cases: CountOut,
    causes: Vec<CauseOut<'a>>,
    endings: Vec<EndingsOut<'a>>,
    repeats: Vec<RepeatOut<'a>>,
    replayed_cases: usize,
    checks_that_changed_nothing: Vec<SilentOut<'a>>,
    checks_answered: Vec<SilentOut<'a>>,
    checks_mostly_cannot_tell: Vec<UntoldOut<'a>>,
    parts: Vec<PartOut<'a>>,
    lessons: LessonsOut<'a>,
    searches_that_found_nothing: Vec<SearchOut<'a>>,
    giveaway: GiveawayOut<'a>,
}

#[derive(Debug, Serialize)]
struct CountOut {
    week: usize,
    weeks_13: usize,
}

#[derive(Debug, Serialize)]
struct CauseOut<'a> {
    group: &'a str,
    cause: &'a str,
    week: usize,
    weeks_13: usize,
}

#[derive(Debug, Serialize)]
struct EndingsOut<'a> {
    group: &'a str,
    week: EndedOut,
    weeks_13: EndedOut,
}

/// Shares are left out under ten cases.
#[derive(Debug, Serialize)]
struct EndedOut {
    cured_by_phone: usize,
    first_visit: usize,
    later_visit: usize,
    not_found: usize,
    still_open: usize,
    shares: Option<[f64; 4]>,
}

#[derive(Debug, Serialize)]
struct RepeatOut<'a> {
    group: &'a str,
    case: &'a str,
    earlier: &'a str,
    days: i64,
    same_cause: Option<bool>,
}

#[derive(Debug, Serialize)]
struct SilentOut<'a> {
    check: &'a str,
    answered: usize,
    changed: usize,
    minutes: f64,
}

#[derive(Debug, Serialize)]
struct UntoldOut<'a> {
    check: &'a str,
    asked: usize,
    cannot_tell: usize,
}

#[derive(Debug, Serialize)]
struct PartOut<'a> {
    part: &'a str,
    advised_and_used: usize,
    advised_only: usize,
    used_only: usize,
}

#[derive(Debug, Serialize)]
struct LessonsOut<'a> {
    waiting: usize,
    used: usize,
    unused_for_a_year: &'a [String],
}

#[derive(Debug, Serialize)]
struct SearchOut<'a> {
    words: &'a str,
    week: usize,
    weeks_13: usize,
}

#[derive(Debug, Serialize)]
struct GiveawayOut<'a> {
    cases: usize,
    found_g_a_fill: f64,
    left_g_a_fill: f64,
    found_a_week: Option<f64>,
    left_a_week: Option<f64>,
    currency: &'a str,
}

fn ended(endings: &Endings) -> EndedOut {
    let all = endings.ended();
    EndedOut {
        cured_by_phone: endings.by_phone,
        first_visit: endings.first_visit,
        later_visit: endings.later_visit,
        not_found: endings.not_found,
        still_open: endings.open,
        shares: (all >= FEWEST).then(|| ways(endings).map(|(_, number)| number as f64 / all as f64)),
    }
}

fn silent(silent: &crate::rehearse::week::Silent) -> SilentOut<'_> {
    SilentOut {
        check: silent.check.as_str(),
        answered: silent.answered,
        changed: silent.changed,
        minutes: silent.minutes,
    }
}

fn repeats(figures: &Figures) -> Vec<RepeatOut<'_>> {
    figures
        .week
        .repeats
        .iter()
        .map(|repeat| RepeatOut {
            group: &repeat.group,
            case: &repeat.case,
            earlier: &repeat.earlier,
            days: repeat.days,
            same_cause: repeat.same_cause,
        })
        .collect()
}

fn parts(figures: &Figures) -> Vec<PartOut<'_>> {
    figures
        .replayed
        .parts
        .iter()
        .map(|(part, count)| PartOut {
            part,
            advised_and_used: count.both,
            advised_only: count.advised_only,
            used_only: count.used_only,
        })
        .collect()
}

/// The week for a program; `by` is the word for the group.
pub fn week<'a>(figures: &'a Figures, by: &'static str) -> WeekOut<'a> {
    let week = &figures.week;
    WeekOut {
        format: "handlamp-week/1",
        until: &figures.until,
        by,
        cases: CountOut { week: week.cases.week, weeks_13: week.cases.long },
        causes: week
            .causes
            .iter()
            .map(|(group, cause, count)| CauseOut {
                group,
                cause: cause.as_str(),
                week: count.week,
                weeks_13: count.long,
            })
            .collect(),
        endings: week
            .endings
            .iter()
            .map(|(group, (short, long))| EndingsOut { group, week: ended(short), weeks_13: ended(long) })
            .collect(),
        repeats: repeats(figures),
        replayed_cases: figures.replayed.cases,
        checks_that_changed_nothing: figures
            .replayed
            .silent(LEAST_ANSWERED)
            .into_iter()
            .map(silent)
            .collect(),
        checks_answered: figures.replayed.checks.iter().map(silent).collect(),
        checks_mostly_cannot_tell: week
            .untold
            .iter()
            .map(|untold| UntoldOut {
                check: untold.check.as_str(),
                asked: untold.asked,
                cannot_tell: untold.cannot_tell,
            })
            .collect(),
        parts: parts(figures),
        lessons: LessonsOut {
            waiting: figures.lessons.waiting,
            used: figures.lessons.used,
            unused_for_a_year: &figures.lessons.unused,
        },
        searches_that_found_nothing: figures
            .searches
            .iter()
            .map(|(words, week, long)| SearchOut { words, week: *week, weeks_13: *long })
            .collect(),
        giveaway: GiveawayOut {
            cases: week.giveaway.cases,
            found_g_a_fill: week.giveaway.found,
            left_g_a_fill: week.giveaway.left,
            found_a_week: week.giveaway.a_week.map(|sums| sums.0),
            left_a_week: week.giveaway.a_week.map(|sums| sums.1),
            currency: &week.giveaway.currency,
        },
    }
}
