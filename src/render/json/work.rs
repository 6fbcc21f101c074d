//! Checks and remedies for programs: what they share, and their steps with exposures and cautions side by side.

use serde::Serialize;

use super::entry::ids;
use super::{CautionOut, StepsOut, steps};
use crate::knowledge::{Against, Asks, Check, How, Knowledge, Machine, Outcome, Remedy, Work};
use crate::safety::Exposure;
use crate::view::entry as seen;

/// What a check and a remedy share. Exposures are over the machines it applies to, or of the one asked for; the
/// cautions stand beside them, here and in each of `on`.
#[derive(Debug, Serialize)]
struct WorkOut {
    place: String,
    minutes: f64,
    needs: Vec<String>,
    needs_option: Vec<String>,
    machines: Option<Vec<String>>,
    disturbs: Vec<String>,
    exposures: Vec<&'static str>,
    cautions: Vec<CautionOut>,
    safety_read: Option<SafetyReadOut>,
    on: Vec<OnOut>,
}

#[derive(Debug, Serialize)]
struct SafetyReadOut {
    by: String,
    date: String,
}

/// The steps on machines where exposures and lockout are equal; `kept_back` says why they are not shown.
#[derive(Debug, Serialize)]
struct OnOut {
    machines: Vec<String>,
    kept_back: Option<String>,
    #[serde(flatten)]
    steps: Option<StepsOut>,
}

fn work(knowledge: &Knowledge, work: &Work, machine: Option<&Machine>) -> WorkOut {
    let exposures = machine.map_or_else(|| knowledge.exposures_anywhere(work), |m| m.exposures(work));
    let mut cautions = knowledge.cautions_of(work);
    cautions.sort_by(|a, b| (a.word, &a.id).cmp(&(b.word, &b.id)));
    let on = seen::steps_by_machine(knowledge, work, machine).into_iter().map(|(machines, result)| OnOut {
        machines: machines.iter().map(|m| m.id.to_string()).collect(),
        kept_back: result.as_ref().err().map(ToString::to_string),
        steps: result.ok().map(|step| steps(&step)),
    });
    WorkOut {
        place: work.place.value.to_string(),
        minutes: work.minutes,
        needs: ids(&work.needs),
        needs_option: ids(&work.needs_option),
        machines: work.machines.as_ref().map(|all| ids(all)),
        disturbs: ids(&work.disturbs),
        exposures: exposures.iter().map(Exposure::as_str).collect(),
        cautions: cautions.iter().map(CautionOut::from).collect(),
        safety_read: work
            .safety_read
            .as_ref()
            .map(|(by, date)| SafetyReadOut { by: by.clone(), date: date.clone() }),
        on: on.collect(),
    }
}

#[derive(Debug, Serialize)]
pub(super) struct CheckOut {
    #[serde(flatten)]
    work: WorkOut,
    how: &'static str,
    asks: AsksOut,
    repeat: &'static str,
    ask: String,
    read_back: Option<String>,
    outcomes: Vec<OutcomeOut>,
}

#[derive(Debug, Serialize)]
#[serde(untagged)]
enum AsksOut {
    Word(&'static str),
    Quantity {
        quantity: &'static str,
        unit: &'static str,
        against: Option<&'static str>,
        division: Option<f64>,
        uncertainty: f64,
    },
}

#[derive(Debug, Serialize)]
struct OutcomeOut {
    id: String,
    answer: String,
    tells: Option<String>,
    when: Option<BandOut>,
    means: Vec<MeansOut>,
}

/// A band, in display steps or in the base unit of the quantity; an open end is null.
#[derive(Debug, Serialize)]
struct BandOut {
    low: Option<f64>,
    high: Option<f64>,
    counts: &'static str,
}

#[derive(Debug, Serialize)]
struct MeansOut {
    finding: String,
    at_least: usize,
    hit: f64,
    false_alarm: f64,
}

pub(super) fn check(knowledge: &Knowledge, check: &Check, machine: Option<&Machine>) -> CheckOut {
    CheckOut {
        work: work(knowledge, &check.work, machine),
        how: match check.how {
            How::Told => "told",
            How::Seen => "seen",
            How::Measured => "measured",
        },
        asks: asks(&check.asks),
        repeat: if check.fresh { "fresh" } else { "same" },
        ask: check.ask.clone(),
        read_back: check.read_back.clone(),
        outcomes: check.outcomes.iter().map(|o| outcome(o, &check.asks)).collect(),
    }
}

fn asks(asks: &Asks) -> AsksOut {
    match asks {
        Asks::Choice => AsksOut::Word("choice"),
        Asks::Complaint => AsksOut::Word("complaint"),
        Asks::Run => AsksOut::Word("run"),
        Asks::Quantity(q) => AsksOut::Quantity {
            quantity: q.kind.noun(),
            unit: q.unit.name,
            against: match q.against {
                Against::Nothing => None,
                Against::Expected => Some("expected"),
                Against::Shown => Some("shown"),
            },
            division: q.division,
            uncertainty: q.uncertainty,
        },
    }
}

fn outcome(outcome: &Outcome, asks: &Asks) -> OutcomeOut {
    let unit = match asks {
        Asks::Quantity(q) => q.kind.base().name,
        _ => "",
    };
    OutcomeOut {
        id: outcome.id.value.to_string(),
        answer: outcome.answer.clone(),
        tells: outcome.tells.clone(),
        when: outcome.when.map(|band| BandOut {
            low: band.low.is_finite().then_some(band.low),
            high: band.high.is_finite().then_some(band.high),
            counts: if band.in_divisions { "d" } else { unit },
        }),
        means: outcome
            .means
            .iter()
            .map(|m| MeansOut {
                finding: m.finding.value.to_string(),
                at_least: m.at_least,
                hit: m.hit,
                false_alarm: m.false_alarm,
            })
            .collect(),
    }
}

#[derive(Debug, Serialize)]
pub(super) struct RemedyOut {
    #[serde(flatten)]
    work: WorkOut,
    cures: String,
    works: f64,
    only_after: Vec<GateOut>,
    reversible: bool,
    undo_minutes: f64,
    changes: Option<String>,
    calibrates: bool,
    parts: Vec<PartOut>,
    proved_by: String,
}

#[derive(Debug, Serialize)]
struct GateOut {
    check: String,
    outcome: Option<String>,
    fills: usize,
}

#[derive(Debug, Serialize)]
struct PartOut {
    part: String,
    held_minutes: f64,
}

pub(super) fn remedy(knowledge: &Knowledge, r: &Remedy, machine: Option<&Machine>) -> RemedyOut {
    let gate = |g: &crate::knowledge::Gate| GateOut {
        check: g.check.value.to_string(),
        outcome: g.outcome.as_ref().map(|o| o.value.to_string()),
        fills: g.fills,
    };
    RemedyOut {
        work: work(knowledge, &r.work, machine),
        cures: r.cures.value.to_string(),
        works: r.works,
        only_after: r.only_after.iter().map(gate).collect(),
        reversible: r.reversible,
        undo_minutes: r.undo_minutes,
        changes: r.changes.as_ref().map(|s| s.value.to_string()),
        calibrates: r.calibrates,
        parts: r.parts.iter().map(|(p, held)| PartOut { part: p.clone(), held_minutes: *held }).collect(),
        proved_by: r.proved_by.value.to_string(),
    }
}
