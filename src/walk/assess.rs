//! What is believed of a case now, why, and what to do next: everything that a screen or a file answers from.

use super::cure;
use super::desk::{Desk, DeskError, hands, sealed};
use super::evidence::{Gathered, Heard, complaint, gather};
use crate::belief::{self, BeliefError, Combination, Posterior, Readings};
use crate::casebook::{Case, RemedyResult, What};
use crate::ids::{CauseId, CheckId, FindingId, PlaceId};
use crate::knowledge::{Asks, Check, FindingKind, Work};
use crate::plan::{self, Lock, Plan, Situation};
use crate::weights::proof::Proof;

/// Causes listed in an answer are likelier than this.
const LISTED: f64 = 0.005;
/// Reasons are given for so many leading causes.
const REASONED: usize = 5;
/// So many sets of causes are named together.
const TOGETHER: usize = 5;
/// A reading that moves the odds less than this factor is no reason.
const LEAST_REASON: f64 = 1.1;
/// A cause less likely than this is called unlikely; it is ruled out…
pub const UNLIKELY: f64 = 0.05;
/// …when it would be likelier than this without one of the readings.
const IN_QUESTION: f64 = 0.15;
/// Asking again is proposed when it costs at most so many minutes from outside.
const CHEAP: f64 = 3.0;
/// How far combinations of causes are looked for: enough for a plan, and quick.
pub const REACH: belief::Reach =
    belief::Reach { least: 0.01, cover: 0.995, weighed: 200, kept: 40, bystanders: false };

/// What is believed of one cause.
#[derive(Debug, Clone, PartialEq)]
pub struct Suspect {
    /// Which.
    pub id: CauseId,
    /// P(it was there when the case began).
    pub probability: f64,
    /// P(it is still there after what was done).
    pub now: f64,
    /// The readings that speak for or against it, strongest first.
    pub because: Vec<Because>,
}

/// What one reading does to the odds of a cause.
#[derive(Debug, Clone, PartialEq)]
pub struct Because {
    /// Index into [`Assessment::heard`]; none for the rate on this machine.
    pub heard: Option<usize>,
    /// Factor on the odds: what leaving the reading out would take away.
    pub odds: f64,
}

/// A cause that was in question and is not any more.
#[derive(Debug, Clone, PartialEq)]
pub struct RuledOut {
    /// Which.
    pub id: CauseId,
    /// P(it was there when the case began), all readings counted.
    pub probability: f64,
    /// P(the same) without the reading that spoke most against it.
    pub without: f64,
    /// That reading: index into [`Assessment::heard`].
    pub heard: usize,
}

/// A reading that does not go with the rest.
#[derive(Debug, Clone, PartialEq)]
pub struct Conflict {
    /// Index into [`Assessment::heard`].
    pub heard: usize,
    /// How many times likelier the rest is without it.
    pub factor: f64,
}

/// Everything known of a case at one moment.
#[derive(Debug, Clone)]
pub struct Assessment {
    /// Causes over half a per cent, most likely first.
    pub causes: Vec<Suspect>,
    /// P(no cause of the book was there).
    pub nothing_known: f64,
    /// Causes that a reading ruled out, the likeliest without it first.
    pub ruled_out: Vec<RuledOut>,
    /// Leading combinations that are there now.
    pub together: Vec<(Vec<CauseId>, f64)>,
    /// The answers that count.
    pub heard: Vec<Heard>,
    /// A reading worth asking again.
    pub conflict: Option<Conflict>,
    /// What to do next.
    pub plan: Plan,
    /// What is complained of.
    pub complaint: Vec<FindingId>,
    /// Every symptom that this machine can show.
    pub symptoms: Vec<FindingId>,
    /// The events as evidence.
    pub gathered: Gathered,
    /// Marginals by index.
    pub posterior: Posterior,
    /// Whether the run since the last remedy proves the cure; none before there is one.
    pub proof: Option<Proof>,
}

/// Why a case cannot be thought over.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum AssessError {
    /// The machine or its knowledge.
    #[error(transparent)]
    Desk(#[from] DeskError),
    /// The belief.
    #[error("the evidence cannot be weighed: {0}")]
    Belief(#[from] BeliefError),
}

/// Thinks a case over. `place` is where the caller stands, when something else than the last answer tells it.
pub fn assess(desk: &Desk<'_>, case: &Case, place: Option<PlaceId>) -> Result<Assessment, AssessError> {
    let gathered = gather(desk, case);
    let network = &desk.model.network;
    let posterior = belief::posterior(network, &gathered.evidence)?;
    let nothing_known =
        belief::nothing_known(network, &gathered.evidence, &posterior, Some(desk.model.outside()))?;
    let leading = belief::leading(network, &gathered.evidence, &posterior, REACH)?;
    let ranked = ranked(desk, &posterior);
    let all: Vec<usize> = (0..desk.model.causes.len()).collect();
    let readings = belief::readings(network, &gathered.evidence, &posterior, &all)?;
    let ruled_out = ruled_out(desk, &gathered, (&posterior, &readings));
    let conflict = conflict(desk, case, &gathered, &readings);
    let situation = situation(desk, case, &gathered, &leading, place);
    let mut plan = plan::plan(&situation)?;
    let proof = cure::proof(desk, case, &gathered);
    cure::prove_first(&mut plan, &situation, case, proof.as_ref());
    let complaint = situation.complaint;
    let causes = suspects(desk, &gathered, (&posterior, &readings), ranked);
    let together = together(desk, &leading);
    let heard = gathered.heard.clone();
    let symptoms = desk.view.findings.iter().filter(|f| f.kind == FindingKind::Symptom);
    let symptoms = symptoms.map(|f| f.id.clone()).collect();
    Ok(Assessment {
        causes,
        nothing_known,
        ruled_out,
        together,
        heard,
        conflict,
        plan,
        complaint,
        symptoms,
        gathered,
        posterior,
        proof,
    })
}

/// The plan's view of a case.
pub fn situation<'a>(
    desk: &'a Desk<'_>,
    case: &Case,
    gathered: &'a Gathered,
    leading: &'a [Combination],
    place: Option<PlaceId>,
) -> Situation<'a> {
    let danger = case.opening.danger_said().is_some();
    let stop_first = |id: &FindingId| desk.knowledge.findings.get(id).is_some_and(|f| f.stop_first);
    Situation {
        knowledge: desk.knowledge,
        view: &desk.view,
        model: &desk.model,
        evidence: &gathered.evidence,
        leading,
        heard: !gathered.complained.is_empty() || gathered.run.is_some(),
        stop: danger || gathered.complained.iter().any(stop_first) || shown(desk, gathered).any(stop_first),
        complaint: complaint(desk, gathered),
        answered: gathered.answered.clone(),
        asked: gathered.asked.clone(),
        fills: gathered.fills,
        done: gathered.done.clone(),
        hands: hands(case),
        sealed: sealed(case),
        supply: desk.supply(case),
        visit: desk.visit(case),
        place: place.or_else(|| last_place(desk, case)),
        lock: lock(desk, case),
    }
}

/// The findings that answered checks speak for.
fn shown<'a>(desk: &'a Desk<'_>, gathered: &'a Gathered) -> impl Iterator<Item = &'a FindingId> {
    let outcomes = gathered.answered.iter().filter_map(|(check, outcome)| {
        let check = desk.knowledge.checks.get(check)?;
        check.outcomes.iter().find(|o| outcome.as_ref() == Some(&o.id.value))
    });
    outcomes.flat_map(|outcome| outcome.means.iter().map(|means| &means.finding.value))
}

/// Whether the last step was done in a lockout and nothing has run since.
fn lock(desk: &Desk<'_>, case: &Case) -> Lock {
    let inside = |work: &Work| desk.view.machine.exposures(work).needs_isolation();
    let last = case.events.iter().rev().find_map(|event| match &event.what {
        What::Reading { check, .. } => desk.knowledge.checks.get(check).map(|check| inside(&check.work)),
        What::Remedy { id, result } => {
            let tried = *result != RemedyResult::NotTried;
            desk.knowledge.remedies.get(id).map(|remedy| inside(&remedy.work) && !tried)
        }
        _ => None,
    });
    match last {
        Some(true) if cure::untried(case) => Lock::Untried,
        Some(true) => Lock::On,
        _ => Lock::Off,
    }
}

/// Where the last answer was taken, or the last remedy done.
fn last_place(desk: &Desk<'_>, case: &Case) -> Option<PlaceId> {
    case.events.iter().rev().find_map(|event| {
        let work = match &event.what {
            What::Reading { check, .. } => desk.knowledge.checks.get(check).map(|c| &c.work),
            What::Remedy { id, .. } => desk.knowledge.remedies.get(id).map(|r| &r.work),
            _ => None,
        };
        work.map(|work| work.place.value.clone())
    })
}

/// The causes worth a line, likeliest first.
fn ranked(desk: &Desk<'_>, posterior: &Posterior) -> Vec<usize> {
    let mut order: Vec<usize> =
        (0..desk.model.causes.len()).filter(|&c| posterior.causes[c].was > LISTED).collect();
    order.sort_by(|&a, &b| {
        posterior.causes[b]
            .was
            .total_cmp(&posterior.causes[a].was)
            .then_with(|| desk.model.causes[a].cmp(&desk.model.causes[b]))
    });
    order
}

fn suspects(
    desk: &Desk<'_>,
    gathered: &Gathered,
    (posterior, readings): (&Posterior, &Readings),
    ranked: Vec<usize>,
) -> Vec<Suspect> {
    let suspect = |(rank, cause): (usize, usize)| Suspect {
        id: desk.model.causes[cause].clone(),
        probability: posterior.causes[cause].was,
        now: posterior.causes[cause].now,
        because: if rank < REASONED { because(gathered, &readings.weights, cause) } else { Vec::new() },
    };
    ranked.into_iter().enumerate().map(suspect).collect()
}

/// Causes that would be in question but for one reading.
fn ruled_out(
    desk: &Desk<'_>,
    gathered: &Gathered,
    (posterior, readings): (&Posterior, &Readings),
) -> Vec<RuledOut> {
    let of = |cause: usize| {
        let probability = posterior.causes[cause].was;
        let against = |(index, heard): (usize, &Heard)| Some((readings.weights[heard.item?][cause]?, index));
        let (weight, heard) =
            gathered.heard.iter().enumerate().filter_map(against).min_by(|a, b| a.0.total_cmp(&b.0))?;
        let odds = (posterior.causes[cause].ln_odds - weight).exp();
        let without = odds / (1.0 + odds);
        let ruled = probability < UNLIKELY && without > IN_QUESTION;
        ruled.then(|| RuledOut { id: desk.model.causes[cause].clone(), probability, without, heard })
    };
    let mut all: Vec<RuledOut> = (0..desk.model.causes.len()).filter_map(of).collect();
    all.sort_by(|a, b| b.without.total_cmp(&a.without).then_with(|| a.id.cmp(&b.id)));
    all.truncate(REASONED);
    all
}

/// The readings that move a cause, strongest first; its rate here when none does.
fn because(gathered: &Gathered, weights: &[Vec<Option<f64>>], column: usize) -> Vec<Because> {
    let mut reasons: Vec<Because> = gathered
        .heard
        .iter()
        .enumerate()
        .filter_map(|(index, heard)| {
            let odds = weights[heard.item?][column]?.exp();
            (odds.max(1.0 / odds) >= LEAST_REASON).then_some(Because { heard: Some(index), odds })
        })
        .collect();
    reasons.sort_by(|a, b| b.odds.ln().abs().total_cmp(&a.odds.ln().abs()).then(a.heard.cmp(&b.heard)));
    if reasons.is_empty() {
        reasons.push(Because { heard: None, odds: 1.0 });
    }
    reasons
}

/// The strongest conflict whose reading is cheap to ask again from outside.
fn conflict(desk: &Desk<'_>, case: &Case, gathered: &Gathered, readings: &Readings) -> Option<Conflict> {
    let cheap = |check: &Check| {
        !desk.view.machine.exposures(&check.work).hands_on()
            && check.work.minutes <= CHEAP
            && !matches!(check.asks, Asks::Run)
    };
    for found in &readings.conflicts {
        let Some(index) = gathered.heard.iter().position(|h| h.item == Some(found.item)) else { continue };
        let heard = &gathered.heard[index];
        let is_cheap = desk.knowledge.checks.get(&CheckId::new(heard.id.clone())).is_some_and(cheap);
        let is_circumstance = desk.knowledge.circumstances.contains_key(heard.id.as_str());
        debug_assert!(heard.event < case.events.len());
        if is_cheap || is_circumstance {
            return Some(Conflict { heard: index, factor: found.factor });
        }
    }
    None
}

fn together(desk: &Desk<'_>, leading: &[Combination]) -> Vec<(Vec<CauseId>, f64)> {
    let named = |c: &Combination| -> Vec<CauseId> {
        c.causes.iter().filter_map(|&i| desk.model.causes.get(i)).cloned().collect()
    };
    let mut all: Vec<(Vec<CauseId>, f64)> = Vec::new();
    for (causes, probability) in leading.iter().map(|c| (named(c), c.probability)) {
        // With something that is in no book, or without: no name tells the two apart.
        match all.iter_mut().find(|(known, _)| *known == causes) {
            Some((_, sum)) => *sum += probability,
            None => all.push((causes, probability)),
        }
    }
    all.sort_by(|a, b| b.1.total_cmp(&a.1).then_with(|| a.0.cmp(&b.0)));
    all.truncate(TOGETHER);
    all
}
