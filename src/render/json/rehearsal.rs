//! `rehearse --json`, as `handlamp-rehearsal/1`: how each policy did on simulated calls, or what recorded cases came to.

use serde::Serialize;

use crate::ids::CauseId;
use crate::knowledge::Knowledge;
use crate::rehearse::{Mean, Replay, Row, Verdict};

/// A rehearsal for a program. Shares go from 0 to 1; minutes, checks and lockouts are means of a call, each with its
/// standard error; `held_minutes_over_planner` is the mean difference on the same calls.
#[derive(Debug, Serialize)]
pub struct RehearsalOut<'a> {
    format: &'static str,
    seed: Option<u64>,
    knowledge: KnowledgeOut<'a>,
    policies: Vec<PolicyOut<'a>>,
    cases: Vec<CaseOut<'a>>,
}

#[derive(Debug, Serialize)]
struct KnowledgeOut<'a> {
    version: &'a str,
    hash: &'a str,
}

#[derive(Debug, Serialize)]
struct PolicyOut<'a> {
    policy: &'static str,
    machine: &'a str,
    cases: usize,
    first: f64,
    first_three: f64,
    held_minutes: f64,
    held_minutes_error: Option<f64>,
    held_minutes_over_planner: Option<f64>,
    held_minutes_over_planner_error: Option<f64>,
    checks: f64,
    checks_error: Option<f64>,
    lockouts: f64,
    lockouts_error: Option<f64>,
    cured_by_phone: f64,
    not_weighed: usize,
}

#[derive(Debug, Serialize)]
struct CaseOut<'a> {
    case: &'a str,
    machine: &'a str,
    expected: Option<&'a str>,
    place: Option<usize>,
    within: usize,
    leads: Option<&'a str>,
    verdict: &'static str,
}

/// Simulated calls for a program.
pub fn simulated<'a>(knowledge: &'a Knowledge, seed: u64, rows: &'a [Row]) -> RehearsalOut<'a> {
    out(knowledge, Some(seed), rows.iter().map(policy).collect(), Vec::new())
}

/// Recorded cases, each with the name of its file, for a program.
pub fn recorded<'a>(knowledge: &'a Knowledge, replays: &'a [(String, Replay)]) -> RehearsalOut<'a> {
    out(knowledge, None, Vec::new(), replays.iter().map(|(name, replay)| case(name, replay)).collect())
}

fn out<'a>(
    knowledge: &'a Knowledge,
    seed: Option<u64>,
    policies: Vec<PolicyOut<'a>>,
    cases: Vec<CaseOut<'a>>,
) -> RehearsalOut<'a> {
    RehearsalOut {
        format: "handlamp-rehearsal/1",
        seed,
        knowledge: KnowledgeOut { version: &knowledge.version, hash: &knowledge.hash },
        policies,
        cases,
    }
}

fn policy(row: &Row) -> PolicyOut<'_> {
    let error = |mean: Mean| mean.error;
    PolicyOut {
        policy: row.policy.name(),
        machine: row.machine.as_str(),
        cases: row.cases,
        first: row.first.mean,
        first_three: row.first_three.mean,
        held_minutes: row.held_minutes.mean,
        held_minutes_error: error(row.held_minutes),
        held_minutes_over_planner: row.over_planner.map(|over| over.mean),
        held_minutes_over_planner_error: row.over_planner.and_then(error),
        checks: row.checks.mean,
        checks_error: error(row.checks),
        lockouts: row.lockouts.mean,
        lockouts_error: error(row.lockouts),
        cured_by_phone: row.cured_by_phone.mean,
        not_weighed: row.not_weighed,
    }
}

fn case<'a>(name: &'a str, replay: &'a Replay) -> CaseOut<'a> {
    CaseOut {
        case: name,
        machine: replay.machine.as_str(),
        expected: replay.cause.as_ref().map(CauseId::as_str),
        place: replay.place,
        within: replay.within,
        leads: replay.leads.as_ref().map(CauseId::as_str),
        verdict: match replay.verdict {
            Verdict::First => "first",
            Verdict::Within => "within",
            Verdict::FellShort => "fell-short",
            Verdict::NothingExpected => "nothing-expected",
        },
    }
}
