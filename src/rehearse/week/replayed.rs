//! What only a replay tells: which checks never changed a ranking, and which parts a visit should have brought.

use std::collections::{BTreeMap, BTreeSet};

use jiff::Timestamp;

use super::in_span;
use crate::belief::{self, BeliefError};
use crate::casebook::{Case, Closing, Entry, Reading, Recorded, What, fit};
use crate::ids::CheckId;
use crate::knowledge::{Asks, Knowledge};
use crate::rehearse::in_parallel;
use crate::walk::{Desk, DeskError, gather};

/// Of a ranking so many places count.
const PLACES: usize = 3;
/// A visit is packed for so much of the probability.
const COVER: f64 = 0.9;

/// A check that cost minutes.
#[derive(Debug, Clone, PartialEq)]
pub struct Silent {
    /// The check.
    pub check: CheckId,
    /// How often it was answered.
    pub answered: usize,
    /// How often the first three causes, or their order, were others afterwards.
    pub changed: usize,
    /// Minutes by the book, all times together.
    pub minutes: f64,
}

/// A part, over all visits.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub struct Parts {
    /// Advised and used.
    pub both: usize,
    /// Advised and not used.
    pub advised_only: usize,
    /// Used and not advised.
    pub used_only: usize,
}

/// What a replay tells.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Replayed {
    /// Cases replayed, the latest of the longer span.
    pub cases: usize,
    /// Every check that was answered, by id.
    pub checks: Vec<Silent>,
    /// By part.
    pub parts: BTreeMap<String, Parts>,
}

/// What one case tells.
#[derive(Debug, Default)]
struct OfCase {
    /// Check, and whether the ranking was another afterwards.
    checks: Vec<(CheckId, bool)>,
    /// Advised and used, when somebody was sent.
    parts: Option<Packed>,
}

/// Parts advised, and parts used.
type Packed = (BTreeSet<String>, BTreeSet<String>);

/// Replays the latest cases of the longer span, at most so many, so many at a time.
pub fn replayed(
    knowledge: &Knowledge,
    all: &[Recorded],
    until: Timestamp,
    (most, threads): (usize, usize),
    progress: &(dyn Fn(usize, usize) + Sync),
) -> Result<Replayed, DeskError> {
    let mut cases: Vec<&Recorded> = in_span(all, until).into_iter().map(|(recorded, _)| recorded).collect();
    cases.retain(|recorded| knowledge.machines.contains_key(&recorded.case.machine));
    cases.sort_by(|a, b| (&a.opened, &a.id).cmp(&(&b.opened, &b.id)));
    cases.drain(..cases.len().saturating_sub(most));
    let desks: Vec<Desk<'_>> = knowledge
        .machines
        .keys()
        .map(|id| Desk::for_case(knowledge, &Case::of(id.clone())))
        .collect::<Result<_, _>>()?;
    let told = in_parallel(threads, cases.len(), &|number, done| {
        let recorded = cases[number];
        let desk = desks.iter().find(|desk| desk.view.machine.id == recorded.case.machine);
        let told = desk.map(|desk| of_case(desk, recorded).unwrap_or_default());
        progress(done(), cases.len());
        told.unwrap_or_default()
    });
    let mut sum = Replayed { cases: cases.len(), ..Replayed::default() };
    let mut checks: BTreeMap<CheckId, (usize, usize)> = BTreeMap::new();
    for of_case in told {
        for (check, changed) in of_case.checks {
            let count = checks.entry(check).or_default();
            count.0 += 1;
            count.1 += usize::from(changed);
        }
        if let Some((advised, used)) = of_case.parts {
            for part in advised.union(&used) {
                let count = sum.parts.entry(part.clone()).or_default();
                match (advised.contains(part), used.contains(part)) {
                    (true, true) => count.both += 1,
                    (true, false) => count.advised_only += 1,
                    _ => count.used_only += 1,
                }
            }
        }
    }
    let minutes = |check: &CheckId| knowledge.checks.get(check).map_or(0.0, |known| known.work.minutes);
    sum.checks = checks
        .into_iter()
        .map(|(check, (answered, changed))| Silent {
            minutes: minutes(&check) * answered as f64,
            check,
            answered,
            changed,
        })
        .collect();
    Ok(sum)
}

impl Replayed {
    /// Checks answered at least so often that never changed a ranking, those that cost most minutes first.
    pub fn silent(&self, least: usize) -> Vec<&Silent> {
        let mut silent: Vec<&Silent> =
            self.checks.iter().filter(|check| check.changed == 0 && check.answered >= least).collect();
        silent.sort_by(|a, b| b.minutes.total_cmp(&a.minutes).then_with(|| a.check.cmp(&b.check)));
        silent
    }
}

/// The causes after so many events, the likeliest first, each with its probability.
fn ranked(desk: &Desk<'_>, case: &Case, events: usize) -> Result<Vec<(usize, f64)>, BeliefError> {
    let so_far = Case { events: case.events[..events].to_vec(), ..case.clone() };
    let posterior = belief::posterior(&desk.model.network, &gather(desk, &so_far).evidence)?;
    let causes = posterior.causes[..desk.model.causes.len()].iter().map(|cause| cause.was);
    let mut ranked: Vec<(usize, f64)> = causes.enumerate().collect();
    ranked.sort_by(|a, b| b.1.total_cmp(&a.1).then(a.0.cmp(&b.0)));
    Ok(ranked)
}

/// The first three of them.
fn first(ranked: &[(usize, f64)]) -> Vec<usize> {
    ranked.iter().take(PLACES).map(|(cause, _)| *cause).collect()
}

fn of_case(desk: &Desk<'_>, recorded: &Recorded) -> Result<OfCase, BeliefError> {
    let Ok((case, _)) = fit(&recorded.case, desk.knowledge) else { return Ok(OfCase::default()) };
    let mut told = OfCase::default();
    let mut before = None;
    for (place, event) in case.events.iter().enumerate() {
        let What::Reading { check, reading, .. } = &event.what else {
            before = None;
            continue;
        };
        let known = desk.knowledge.checks.get(check);
        let complaint = known.is_none_or(|known| matches!(known.asks, Asks::Complaint));
        if complaint || matches!(reading, Reading::CannotTell) {
            before = None;
            continue;
        }
        let old = match before.take() {
            Some(old) => old,
            None => first(&ranked(desk, &case, place)?),
        };
        let new = first(&ranked(desk, &case, place + 1)?);
        told.checks.push((check.clone(), new != old));
        before = Some(new);
    }
    told.parts = parts(desk, &case, recorded)?;
    Ok(told)
}

/// Parts advised when somebody was sent for the first time, and those used from then on.
fn parts(desk: &Desk<'_>, case: &Case, recorded: &Recorded) -> Result<Option<Packed>, BeliefError> {
    let sent = |entry: &Entry| matches!(entry, Entry::Close(Closing::SentSomebody));
    let Some(place) = recorded.history.iter().position(|happening| sent(&happening.entry)) else {
        return Ok(None);
    };
    let is_event = |entry: &Entry| matches!(entry, Entry::Event(_));
    let events = recorded.history[..place].iter().filter(|happening| is_event(&happening.entry)).count();
    let ranked = ranked(desk, case, events.min(case.events.len()))?;
    let (mut advised, mut covered) = (BTreeSet::new(), 0.0);
    let all: f64 = ranked.iter().map(|(_, p)| p).sum();
    for (cause, p) in ranked {
        if covered >= COVER * all {
            break;
        }
        covered += p;
        let own = desk.view.remedies.iter().filter(|remedy| remedy.cures.value == desk.model.causes[cause]);
        let best = own.max_by(|a, b| a.works.total_cmp(&b.works).then_with(|| b.id.cmp(&a.id)));
        advised.extend(best.into_iter().flat_map(|remedy| &remedy.parts).map(|(part, _)| part.clone()));
    }
    let mut used = BTreeSet::new();
    for event in &case.events[events.min(case.events.len())..] {
        if let What::Remedy { id, .. } = &event.what {
            let parts = desk.knowledge.remedies.get(id).into_iter().flat_map(|remedy| &remedy.parts);
            used.extend(parts.map(|(part, _)| part.clone()));
        }
    }
    Ok(Some((advised, used)))
}
