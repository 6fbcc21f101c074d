//! A diagnosis for programs, `handlamp-diagnosis/1`. No time, no path and no store stands in it: the same case and
//! knowledge give the same bytes.

use std::collections::BTreeSet;

use serde::Serialize;

use super::CautionOut;
use crate::belief::Sampled;
use crate::ids::CautionId;
use crate::knowledge::Knowledge;
use crate::plan::{Candidate, Kind, Then, Visit};
use crate::safety::STANDING_NOTICE;
use crate::search::Proposal;
use crate::search::talk::{Meaning, Told};
use crate::view::diagnosis;
use crate::walk::{Assessment, Because, Suspect};

/// What the complaint's words may mean and nobody confirmed; never evidence.
#[derive(Debug, Default)]
pub struct Proposed {
    /// Symptoms whose words they fit.
    pub symptoms: Vec<Proposal>,
    /// What they tell of history, time and amounts.
    pub told: Vec<Told>,
}

/// The answer.
#[derive(Debug, Serialize)]
pub struct Diagnosis {
    format: &'static str,
    causes: Vec<CauseOut>,
    nothing_known: f64,
    /// Whether the probabilities are exact; else they are sampled.
    exact: bool,
    /// Largest standard error of a cause's probability; none where they are exact.
    standard_error: Option<f64>,
    conflict: Option<ConflictOut>,
    next: Vec<NextOut>,
    expected: ExpectedOut,
    visit: Option<VisitOut>,
    proposed_symptoms: Vec<ProposedOut>,
    proposed: Vec<ToldOut>,
    evidence: Vec<EvidenceOut>,
    cautions: Vec<CautionOut>,
    limits: &'static str,
    knowledge: KnowledgeOut,
}

#[derive(Debug, Serialize)]
struct CauseOut {
    id: String,
    title: String,
    probability: f64,
    still_there: f64,
    because: Vec<BecauseOut>,
}

#[derive(Debug, Serialize)]
struct BecauseOut {
    reading: String,
    says: String,
    odds: f64,
}

#[derive(Debug, Serialize)]
struct ConflictOut {
    event: usize,
    check: String,
    why: String,
}

#[derive(Debug, Serialize)]
struct NextOut {
    id: String,
    kind: &'static str,
    title: String,
    minutes: f64,
    minutes_saved: f64,
    exposures: Vec<&'static str>,
    cautions: Vec<String>,
    why: String,
    with: Vec<String>,
    then: Vec<ThenOut>,
}

#[derive(Debug, Serialize)]
struct ThenOut {
    outcome: String,
    probability: f64,
    kind: &'static str,
    next: String,
    then: Vec<ThenOut>,
}

/// Minutes of held line until the complaint is gone: expected with this plan, and what no plan can do better than.
#[derive(Debug, Serialize)]
struct ExpectedOut {
    minutes: f64,
    at_least: f64,
}

#[derive(Debug, Serialize)]
struct VisitOut {
    parts: Vec<String>,
    tools: Vec<String>,
    cover: f64,
    first_checks: Vec<String>,
    minutes: f64,
    until_then: Option<String>,
}

#[derive(Debug, Serialize)]
struct ToldOut {
    kind: &'static str,
    says: String,
    said: String,
    circumstance: Option<String>,
    happened: Option<bool>,
    amounts: Option<AmountsOut>,
}

#[derive(Debug, Serialize)]
struct AmountsOut {
    unit: &'static str,
    unit_said: bool,
    target: Option<f64>,
    error: Option<f64>,
    off: Option<f64>,
    shown: Option<f64>,
    weighed: Option<f64>,
}

#[derive(Debug, Serialize)]
struct ProposedOut {
    id: String,
    title: String,
    matched: String,
}

#[derive(Debug, Serialize)]
struct EvidenceOut {
    event: usize,
    check: String,
    outcome: String,
    by: Option<String>,
}

#[derive(Debug, Serialize)]
struct KnowledgeOut {
    version: String,
    hash: String,
}

/// Turns an assessment into the answer; `proposed` are text matches that nobody confirmed.
pub fn diagnosis(knowledge: &Knowledge, assessment: &Assessment, proposed: &Proposed) -> Diagnosis {
    let next: Vec<NextOut> = assessment.plan.next.iter().map(|c| next_out(knowledge, c)).collect();
    Diagnosis {
        format: "handlamp-diagnosis/1",
        causes: assessment.causes.iter().map(|c| cause(knowledge, assessment, c)).collect(),
        nothing_known: assessment.nothing_known,
        exact: assessment.posterior.sampled.is_none(),
        standard_error: assessment.posterior.sampled.as_ref().map(Sampled::standard_error),
        conflict: assessment.conflict.as_ref().map(|found| {
            let heard = &assessment.heard[found.heard];
            ConflictOut {
                event: heard.event,
                check: heard.id.clone(),
                why: format!(
                    "worth asking again: without it the rest fits {:.0} times better",
                    found.factor.min(1e6)
                ),
            }
        }),
        cautions: cautions(knowledge, &assessment.plan.next),
        next,
        expected: ExpectedOut { minutes: assessment.plan.minutes, at_least: assessment.plan.at_least },
        visit: assessment.plan.visit.as_ref().map(visit),
        proposed: told(knowledge, assessment, &proposed.told),
        proposed_symptoms: proposed
            .symptoms
            .iter()
            .filter(|p| !assessment.gathered.complained.contains(&p.symptom))
            .map(|p| ProposedOut {
                id: p.symptom.to_string(),
                title: diagnosis::title(knowledge, p.symptom.as_str()).to_owned(),
                matched: p.phrase.clone(),
            })
            .collect(),
        evidence: assessment
            .heard
            .iter()
            .map(|h| EvidenceOut {
                event: h.event,
                check: h.id.clone(),
                outcome: h.outcome.clone(),
                by: h.by.as_ref().map(ToString::to_string),
            })
            .collect(),
        limits: STANDING_NOTICE,
        knowledge: KnowledgeOut { version: knowledge.version.clone(), hash: knowledge.hash.clone() },
    }
}

/// What is proposed and was not answered as a circumstance already.
fn told(knowledge: &Knowledge, assessment: &Assessment, told: &[Told]) -> Vec<ToldOut> {
    let answered = |t: &&Told| match &t.means {
        Meaning::Circumstance(id, _) => !assessment.heard.iter().any(|h| h.id == id.as_str()),
        _ => true,
    };
    let one = |t: &Told| {
        let (circumstance, happened) = match &t.means {
            Meaning::Circumstance(id, happened) => (Some(id.to_string()), Some(*happened)),
            _ => (None, None),
        };
        let amounts = match &t.means {
            Meaning::Amounts(a) => Some(AmountsOut {
                unit: a.unit.name,
                unit_said: a.unit_said,
                target: a.target,
                error: a.error,
                off: a.off,
                shown: a.shown,
                weighed: a.weighed,
            }),
            _ => None,
        };
        let (kind, says) = (told_kind(&t.means), diagnosis::meaning(knowledge, t));
        ToldOut { kind, says, said: t.said.clone(), circumstance, happened, amounts }
    };
    told.iter().filter(answered).map(one).collect()
}

fn told_kind(means: &Meaning) -> &'static str {
    match means {
        Meaning::EverRight(_) => "ever-right",
        Meaning::Since(_) => "since",
        Meaning::ComesAndGoes(_) => "comes-and-goes",
        Meaning::When(_) => "when",
        Meaning::Circumstance(..) => "circumstance",
        Meaning::Share(_) => "share",
        Meaning::Amounts(_) => "amounts",
    }
}

fn cause(knowledge: &Knowledge, assessment: &Assessment, suspect: &Suspect) -> CauseOut {
    let said = diagnosis::because(knowledge, assessment, suspect);
    let because = |(index, reason): (usize, &Because)| BecauseOut {
        reading: reason
            .heard
            .map_or_else(|| "rate-on-this-machine".to_owned(), |heard| assessment.heard[heard].id.clone()),
        says: said.get(index).cloned().unwrap_or_default(),
        odds: reason.odds,
    };
    CauseOut {
        id: suspect.id.to_string(),
        title: diagnosis::title(knowledge, suspect.id.as_str()).to_owned(),
        probability: suspect.probability,
        still_there: suspect.now,
        because: suspect.because.iter().enumerate().map(because).collect(),
    }
}

fn kind(kind: Kind) -> &'static str {
    match kind {
        Kind::Stop => "stop",
        Kind::Check => "check",
        Kind::Remedy => "remedy",
        Kind::Send => "send",
    }
}

fn then_out(then: &Then) -> ThenOut {
    ThenOut {
        outcome: then.outcome.clone(),
        probability: then.probability,
        kind: kind(then.kind),
        next: then.next.clone(),
        then: then.then.iter().map(then_out).collect(),
    }
}

fn next_out(knowledge: &Knowledge, candidate: &Candidate) -> NextOut {
    NextOut {
        id: candidate.id.clone(),
        kind: kind(candidate.kind),
        title: diagnosis::title(knowledge, &candidate.id).to_owned(),
        minutes: candidate.minutes,
        minutes_saved: candidate.minutes_saved,
        exposures: candidate.exposures.iter().map(crate::safety::Exposure::as_str).collect(),
        cautions: candidate.cautions.iter().map(ToString::to_string).collect(),
        why: diagnosis::reason(knowledge, candidate),
        with: candidate.with.clone(),
        then: candidate.then.iter().map(then_out).collect(),
    }
}

fn visit(visit: &Visit) -> VisitOut {
    VisitOut {
        parts: visit.parts.clone(),
        tools: visit.tools.iter().map(ToString::to_string).collect(),
        cover: visit.cover,
        first_checks: visit.first_checks.iter().map(ToString::to_string).collect(),
        minutes: visit.minutes,
        until_then: visit.until_then.as_ref().map(ToString::to_string),
    }
}

/// Every caution that the next steps name, greatest hazard first.
fn cautions(knowledge: &Knowledge, next: &[Candidate]) -> Vec<CautionOut> {
    let named: BTreeSet<&CautionId> = next.iter().flat_map(|c| &c.cautions).collect();
    let mut known: Vec<_> = named.into_iter().filter_map(|id| knowledge.cautions.get(id)).collect();
    known.sort_by(|a, b| (a.caution.word, &a.caution.id).cmp(&(b.caution.word, &b.caution.id)));
    known.into_iter().map(|entry| CautionOut::from(&entry.caution)).collect()
}
