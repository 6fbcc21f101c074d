//! Whether a remedy cured it, and what must be asked to prove that.

use super::desk::Desk;
use super::evidence::{Gathered, complaint, pooled, to_run, usual_for};
use crate::casebook::{Case, Event, RemedyResult, What};
use crate::ids::{FindingId, RemedyId};
use crate::knowledge::{Asks, Check};
use crate::plan::{Candidate, Kind, Plan, Reason, Situation};
use crate::weights::proof::{Claim, Proof, prove};
use crate::weights::summarise;

/// How often strays came when the complaint is of strays and no run counted them.
const STRAYS_UNLESS_COUNTED: f64 = 0.1;

/// Judges the latest run since the last remedy against what 'cured' means; strays are judged by how often they came
/// in the run before. Where nobody complained of weights, the remedy's own check proves it.
pub(super) fn proof(desk: &Desk<'_>, case: &Case, gathered: &Gathered) -> Option<Proof> {
    if own_check_proves(desk, case, gathered) {
        return Some(Proof::Proved);
    }
    let remedy = case.events.iter().rposition(|e| matches!(e.what, What::Remedy { .. }))?;
    let last = remedy + 1 + case.events[remedy + 1..].iter().rposition(|e| e.fills().is_some())?;
    let after = pooled(&case.events[..last], case.events[last].fills()?);
    let before = case.events[..remedy].iter().rev().find_map(Event::fills);
    let machine = desk.view.machine;
    let question = usual_for(machine);
    let strays = |fills: &crate::casebook::Fills| {
        let run = to_run(fills).ok()?;
        let count = summarise(&run, &question).strays.len();
        (count > 0).then(|| count as f64 / run.values().len() as f64)
    };
    let of_strays = |f: &FindingId| {
        desk.knowledge
            .findings
            .get(f)
            .and_then(|f| f.pattern.as_ref())
            .is_some_and(|p| p.value.starts_with("strays"))
    };
    let stray_rate = complaint(desk, gathered)
        .iter()
        .any(of_strays)
        .then(|| before.and_then(strays).unwrap_or(STRAYS_UNLESS_COUNTED));
    let claim = Claim {
        tolerance: machine.tolerance,
        instrument: before.and_then(|b| b.instrument.clone()),
        stray_rate,
        question: question.clone(),
    };
    Some(prove(&to_run(&after).ok()?, &claim))
}

/// A machine that would not start is proved by its start: a run of fills needs product, and says nothing of it.
fn own_check_proves(desk: &Desk<'_>, case: &Case, gathered: &Gathered) -> bool {
    let of_weights = |id: &FindingId| {
        let finding = desk.knowledge.findings.get(id);
        finding.is_none_or(|f| f.pattern.is_some() || f.direction.as_deref().is_some_and(|d| d != "none"))
    };
    let gone = case.last_remedy().filter(|(_, result)| *result == RemedyResult::GoneNotProved);
    let check = gone
        .and_then(|(remedy, _)| desk.knowledge.remedies.get(remedy))
        .and_then(|remedy| desk.knowledge.checks.get(&remedy.proved_by.value))
        .filter(|check| !matches!(check.asks, Asks::Run));
    let Some(check) = check else { return false };
    let outcome = gathered.answered.get(&check.id).and_then(Option::as_ref);
    let right = check.outcomes.iter().any(|o| outcome == Some(&o.id.value) && o.means.is_empty());
    right && !gathered.complained.is_empty() && !gathered.complained.iter().any(of_weights)
}

/// While a remedy is said to have ended it and nothing proves that yet, the check that proves it comes before all else.
pub(super) fn prove_first(plan: &mut Plan, situation: &Situation<'_>, case: &Case, proof: Option<&Proof>) {
    let stop = plan.next.first().is_some_and(|c| c.kind == Kind::Stop || c.why == Reason::WhileLocked);
    let Some((remedy, check)) = to_prove(situation, case, proof).filter(|_| !stop) else { return };
    let known = plan.next.iter().position(|c| c.id == check.id.as_str());
    let why = Reason::Proves(remedy);
    let first = match known {
        Some(place) => Candidate { why, ..plan.next.remove(place) },
        None => Candidate::unplanned(situation, check, why),
    };
    plan.next.insert(0, first);
    plan.visit = None;
}

/// Whether a remedy was done in a lockout and nobody has tried yet whether it is gone.
pub(super) fn untried(case: &Case) -> bool {
    let remedy = case.events.iter().rposition(|event| matches!(event.what, What::Remedy { .. }));
    remedy.is_some_and(|at| {
        let not_tried = matches!(case.events[at].what, What::Remedy { result: RemedyResult::NotTried, .. });
        not_tried && case.events[at..].iter().all(|event| event.fills().is_none())
    })
}

/// The remedy's own proving check; once that reads right, the run of fills that every cure is proved by.
fn to_prove<'a>(
    situation: &Situation<'a>,
    case: &Case,
    proof: Option<&Proof>,
) -> Option<(RemedyId, &'a Check)> {
    let open = |result: &RemedyResult| matches!(result, RemedyResult::GoneNotProved | RemedyResult::NotTried);
    let (remedy, _) = case.last_remedy().filter(|(_, result)| open(result))?;
    if !matches!(proof, None | Some(Proof::GoneNotProved { more: Some(_), .. })) {
        return None;
    }
    let check = situation.knowledge.checks.get(&situation.knowledge.remedies.get(remedy)?.proved_by.value)?;
    let is_run = |check: &Check| matches!(check.asks, Asks::Run);
    let proving = match situation.answered.get(&check.id) {
        Some(Some(outcome)) if !is_run(check) => {
            let normal = check.outcomes.iter().any(|o| o.id.value == *outcome && o.means.is_empty());
            situation.view.checks.iter().find(|c| is_run(c)).copied().filter(|_| normal)?
        }
        _ => check,
    };
    Some((remedy.clone(), proving))
}
