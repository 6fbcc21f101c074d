//! `rehearse --json`, as `handlamp-rehearsal/1`: how each policy did on simulated calls, or what recorded cases came to.

use serde::Serialize;

use crate::ids::CauseId;
use crate::knowledge::Knowledge;
use crate::rehearse::{
    BANDS, CaseScore, Changed, Comparison, Figures, Known, Loss, MOVED, Mean, Row, Scores,
};

/// A rehearsal for a program. Shares go from 0 to 1; minutes, checks and lockouts are means of a call, each with its
/// standard error; `held_minutes_over_planner` is the mean difference on the same calls.
#[derive(Debug, Serialize)]
pub struct RehearsalOut<'a> {
    format: &'static str,
    seed: Option<u64>,
    knowledge: KnowledgeOut<'a>,
    policies: Vec<PolicyOut<'a>>,
    cases: Vec<CaseOut<'a>>,
    #[serde(skip_serializing_if = "Option::is_none")]
    figures: Option<FiguresOut>,
    #[serde(skip_serializing_if = "Option::is_none")]
    figures_not_proved: Option<FiguresOut>,
    left_out: Vec<LeftOut<'a>>,
}

/// Two versions on the same cases; `change` is after less before with its paired standard error, `seed` is there where
/// the calls were drawn from the version before.
#[derive(Debug, Serialize)]
pub struct ComparedOut<'a> {
    format: &'static str,
    seed: Option<u64>,
    cases: usize,
    before: SideOut<'a>,
    after: SideOut<'a>,
    change: ChangeOut,
    not_proved: Option<NotProvedOut>,
    listed_past_share_factor: f64,
    worse: Vec<MovedOut<'a>>,
    better: Vec<MovedOut<'a>>,
    fell_short: &'a [String],
    judged_no_more: Vec<LeftOut<'a>>,
    judged_now_only: &'a [String],
    held_against_another_cause: &'a [String],
    loss_put_up_with: f64,
    case_loss_put_up_with: f64,
    fails: Option<&'a str>,
}

#[derive(Debug, Serialize)]
struct SideOut<'a> {
    knowledge: KnowledgeOut<'a>,
    figures: Option<FiguresOut>,
}

#[derive(Debug, Serialize)]
struct ChangeOut {
    log_score: MeanOut,
    brier: MeanOut,
    first: MeanOut,
    first_three: MeanOut,
    checks: MeanOut,
    lockouts: MeanOut,
    minutes_by_the_book: MeanOut,
    sent: MeanOut,
}

#[derive(Debug, Serialize)]
struct NotProvedOut {
    cases: usize,
    log_score: MeanOut,
}

#[derive(Debug, Serialize)]
struct MovedOut<'a> {
    case: &'a str,
    place_before: usize,
    share_before: f64,
    place_after: usize,
    share_after: f64,
}

#[derive(Debug, Serialize)]
struct LeftOut<'a> {
    case: &'a str,
    why: &'a str,
}

#[derive(Debug, Serialize)]
struct MeanOut {
    mean: f64,
    error: Option<f64>,
}

#[derive(Debug, Serialize)]
struct FiguresOut {
    cases: usize,
    first: MeanOut,
    first_three: MeanOut,
    log_score: MeanOut,
    brier: MeanOut,
    checks: MeanOut,
    lockouts: MeanOut,
    minutes_by_the_book: MeanOut,
    sent: MeanOut,
    calibration: Vec<BandOut>,
}

/// Of the causes whose stated probability lay in a band, how many there were and how many it was.
#[derive(Debug, Serialize)]
struct BandOut {
    from: f64,
    to: f64,
    causes: usize,
    it_was: usize,
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
    known_by: &'static str,
    place: Option<usize>,
    share: f64,
    within: Option<usize>,
    leads: Option<&'a str>,
    verdict: &'static str,
}

/// Simulated calls for a program.
pub fn simulated<'a>(knowledge: &'a Knowledge, seed: u64, rows: &'a [Row]) -> RehearsalOut<'a> {
    out(knowledge, Some(seed), rows.iter().map(policy).collect(), Vec::new())
}

/// Recorded cases, each with its name, for a program.
pub fn recorded<'a>(knowledge: &'a Knowledge, scores: &'a Scores) -> RehearsalOut<'a> {
    let cases = scores.cases.iter().map(case).collect();
    let left_out = scores.left_out.iter().map(|(case, why)| LeftOut { case, why }).collect();
    let figures_not_proved = scores.not_proved().as_ref().map(figures);
    let figures = scores.figures().as_ref().map(figures);
    RehearsalOut { figures, figures_not_proved, left_out, ..out(knowledge, None, Vec::new(), cases) }
}

/// Two versions on the same cases, for a program: before and after, each with its judgement.
pub fn compared<'a>(
    [before, after]: [(&'a Knowledge, &Scores); 2],
    comparison: &'a Comparison,
    (loss, fails): (Loss, Option<&'a str>),
    seed: Option<u64>,
) -> ComparedOut<'a> {
    let side = |(knowledge, scores): (&'a Knowledge, &Scores)| SideOut {
        knowledge: KnowledgeOut { version: &knowledge.version, hash: &knowledge.hash },
        figures: scores.figures().as_ref().map(figures),
    };
    let not_proved = comparison.not_proved.map(|(cases, log)| NotProvedOut { cases, log_score: mean(log) });
    ComparedOut {
        format: "handlamp-rehearsal-compared/1",
        seed,
        cases: comparison.cases,
        before: side(before),
        after: side(after),
        change: change(comparison),
        not_proved,
        listed_past_share_factor: MOVED,
        worse: comparison.worse.iter().map(moved).collect(),
        better: comparison.better.iter().map(moved).collect(),
        fell_short: &comparison.fell_short,
        judged_no_more: comparison.lost.iter().map(|(case, why)| LeftOut { case, why }).collect(),
        judged_now_only: &comparison.gained,
        held_against_another_cause: &comparison.other_cause,
        loss_put_up_with: loss.log,
        case_loss_put_up_with: loss.case,
        fails,
    }
}

fn change(comparison: &Comparison) -> ChangeOut {
    ChangeOut {
        log_score: mean(comparison.log),
        brier: mean(comparison.brier),
        first: mean(comparison.first),
        first_three: mean(comparison.first_three),
        checks: mean(comparison.checks),
        lockouts: mean(comparison.lockouts),
        minutes_by_the_book: mean(comparison.minutes),
        sent: mean(comparison.sent),
    }
}

fn moved(changed: &Changed) -> MovedOut<'_> {
    MovedOut {
        case: &changed.name,
        place_before: changed.before.0,
        share_before: changed.before.1,
        place_after: changed.after.0,
        share_after: changed.after.1,
    }
}

fn mean(mean: Mean) -> MeanOut {
    MeanOut { mean: mean.mean, error: mean.error }
}

fn figures(figures: &Figures) -> FiguresOut {
    let band = |(band, (causes, it_was)): (usize, &(usize, usize))| BandOut {
        from: band as f64 / BANDS as f64,
        to: (band + 1) as f64 / BANDS as f64,
        causes: *causes,
        it_was: *it_was,
    };
    FiguresOut {
        cases: figures.cases,
        first: mean(figures.first),
        first_three: mean(figures.first_three),
        log_score: mean(figures.log),
        brier: mean(figures.brier),
        checks: mean(figures.checks),
        lockouts: mean(figures.lockouts),
        minutes_by_the_book: mean(figures.minutes),
        sent: mean(figures.sent),
        calibration: figures.calibration.iter().enumerate().map(band).collect(),
    }
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
        figures: None,
        figures_not_proved: None,
        left_out: Vec::new(),
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

fn case(score: &CaseScore) -> CaseOut<'_> {
    let verdict = match (score.place, score.within) {
        (1, _) => "first",
        (place, Some(within)) if place > within => "fell-short",
        (_, Some(_)) => "within",
        (_, None) => "further-down",
    };
    CaseOut {
        case: &score.name,
        machine: score.machine.as_str(),
        expected: Some(score.cause.as_str()),
        known_by: match score.known {
            Known::Expected => "expected",
            Known::Proved => "proved",
            Known::NotProved => "gone-not-proved",
        },
        place: Some(score.place),
        share: score.share,
        within: score.within,
        leads: score.leads.as_ref().map(CauseId::as_str),
        verdict,
    }
}
