//! Why: a step, a cause, an answer, each in one plain line.

use super::super::words::{self, and, clause, number_with_unit, or, sentence};
use super::title;
use crate::casebook::{Beside, Case, Fills, Happened, Reading, RemedyResult};
use crate::graph::{FaultGraph, Node, machine_view};
use crate::ids::{CauseId, CheckId};
use crate::knowledge::{Against, Asks, Knowledge};
use crate::plan::{Candidate, Hindrance, Kind, Plan, Reason, Then};
use crate::walk::{Assessment, Heard, HeardKind, NOT_CLEAR_YET, NOTHING_UNUSUAL, RuledOut, Suspect};

/// The reason of a step in one line.
pub fn reason(knowledge: &Knowledge, candidate: &Candidate) -> String {
    let named = |ids: &[crate::ids::CauseId]| -> Vec<String> {
        ids.iter().map(|id| clause(title(knowledge, id.as_str()))).collect()
    };
    match &candidate.why {
        Reason::Danger => "Nobody looks for a cause while it can hurt somebody.".to_owned(),
        Reason::Complaint => "Hear first what is wrong.".to_owned(),
        Reason::TellsApart(ids) if ids.len() > 1 => format!("It tells apart: {}.", or(&named(ids))),
        Reason::TellsApart(ids) if ids.len() == 1 => format!("It speaks for or against: {}.", named(ids)[0]),
        Reason::TellsApart(_) => "It tells little now, and costs little.".to_owned(),
        Reason::Happened(ids) if ids.is_empty() => "It is quickly asked.".to_owned(),
        Reason::Happened(ids) => format!("If so, look at: {}.", and(&named(ids))),
        Reason::NeededBefore(remedy) => {
            format!("It must be known before: {}.", clause(title(knowledge, remedy.as_str())))
        }
        Reason::Proves(remedy) => {
            format!(
                "It proves: {}; or it shows that the fault is still there.",
                clause(title(knowledge, remedy.as_str()))
            )
        }
        Reason::WhileLocked => "The lock is on: it is worth doing too, before anybody tries.".to_owned(),
        Reason::Cures(cause, _) => {
            format!("It puts right: {}.", clause(title(knowledge, cause.as_str())))
        }
        Reason::NothingElse(hindrance) => {
            format!("Nothing else from here is worth its minutes.{}", hindered(*hindrance))
        }
    }
}

fn hindered(hindrance: Option<Hindrance>) -> &'static str {
    match hindrance {
        Some(Hindrance::NobodyMayIsolate) => " What is left needs somebody who may lock the machine out.",
        Some(Hindrance::ScaleSupply) => " What is left needs the scale powered with every drive locked off.",
        Some(Hindrance::Electrical) => " What is left is for a qualified electrical person.",
        Some(Hindrance::Sealed) => {
            " The scale is sealed, or nobody knows: only the authorised body may adjust it."
        }
        Some(Hindrance::Stopped) => {
            " What is left needs the machine to run, and it stays stopped and locked."
        }
        None => "",
    }
}

/// What the answer to a question would change: what would be done without it, and which answers leave that as it is.
pub(super) fn what_changes(knowledge: &Knowledge, plan: &Plan, candidate: &Candidate) -> Option<String> {
    let (_, unasked) = &plan.unasked;
    let likely = || candidate.then.iter().filter(|then| then.probability > RARE);
    if candidate.kind != Kind::Check || candidate.id == *unasked || likely().count() < 2 {
        return None;
    }
    let words = |then: &Then| format!("'{}'", outcome_words(knowledge, &candidate.id, &then.outcome));
    let (same, other): (Vec<&Then>, Vec<&Then>) = likely().partition(|then| then.next == *unasked);
    let without = format!("Without asking, next would be: {}.", clause(title(knowledge, unasked)));
    let changes: Vec<String> = other.into_iter().map(words).collect();
    Some(match (same.is_empty(), changes.is_empty()) {
        (_, true) => format!("{without} No answer changes that."),
        (true, _) => format!("{without} Every answer leads elsewhere."),
        _ => format!("{without} What changes that: {}.", or(&changes)),
    })
}

/// What spoke against a cause that is ruled out, as a person would repeat it to the customer.
pub(super) fn ruled_out(knowledge: &Knowledge, assessment: &Assessment, ruled: &RuledOut) -> String {
    let cause = title(knowledge, ruled.id.as_str());
    let Some(heard) = assessment.heard.get(ruled.heard) else { return sentence(cause) };
    format!("{cause}: unlikely. {}.", heard_words(knowledge, heard))
}

/// The fault graph of the machine of a case, for its chains.
pub(super) fn graph(knowledge: &Knowledge, case: &Case) -> Option<FaultGraph> {
    let machine = knowledge.machines.get(&case.machine)?;
    Some(FaultGraph::of_machine(knowledge, &machine_view(knowledge, machine, case.fitted.as_ref())))
}

/// How a cause comes to be noticed: cause, conditions, symptom.
pub(super) fn chain(
    knowledge: &Knowledge,
    graph: &FaultGraph,
    assessment: &Assessment,
    cause: &CauseId,
) -> Option<String> {
    let complaint = assessment.complaint.iter().map(|finding| Node::Finding(finding.clone()));
    let chain = complaint
        .filter_map(|symptom| graph.chain(&Node::Cause(cause.clone()), &symptom))
        .min_by_key(Vec::len)?;
    let mut titles: Vec<String> = chain.iter().map(|node| clause(node.title(knowledge))).collect();
    titles.dedup();
    Some(format!("How it shows: {}.", titles.join(" → ")))
}

/// An answer less likely than this is not worth a line of 'then, if …'.
const RARE: f64 = 0.02;

/// 'then, if …' lines for a step, two deep: what each answer would lead to.
pub fn then_lines(knowledge: &Knowledge, candidate: &Candidate) -> Vec<String> {
    let line = |then: &Then| {
        let onward: Vec<&Then> = then.then.iter().filter(|t| t.probability > RARE).collect();
        // One thing whatever is answered is no branch.
        let apart = onward.iter().any(|other| other.next != onward[0].next);
        let further = onward.iter().take(3).map(|t| then_line(knowledge, &then.next, t));
        let further: Vec<String> = if apart { further.collect() } else { Vec::new() };
        let line = then_line(knowledge, &candidate.id, then);
        if further.is_empty() {
            format!("If {line}.")
        } else {
            format!("If {line}; there, if {}.", further.join("; if "))
        }
    };
    candidate.then.iter().filter(|t| t.probability > RARE).take(5).map(line).collect()
}

fn then_line(knowledge: &Knowledge, asked: &str, then: &Then) -> String {
    let answer = outcome_words(knowledge, asked, &then.outcome);
    let next = clause(title(knowledge, &then.next));
    let ask = if then.kind == Kind::Check { "ask " } else { "" };
    format!("'{answer}': {ask}{next}")
}

/// An outcome in the words a person would pick.
pub fn outcome_words(knowledge: &Knowledge, id: &str, outcome: &str) -> String {
    if let Some(check) = knowledge.checks.get(id) {
        if matches!(check.asks, Asks::Run) {
            return run_words(outcome);
        }
        if let Some(known) = check.outcomes.iter().find(|o| o.id.value.as_str() == outcome) {
            return clause(&known.answer);
        }
        if let Some(finding) = knowledge.findings.get(outcome) {
            return clause(&finding.head.title);
        }
    }
    match outcome {
        "happened" => "yes".to_owned(),
        "did-not" => "no".to_owned(),
        "gone" => "it is gone".to_owned(),
        "still-there" => "still there".to_owned(),
        "gone-not-proved" => "gone, not proved".to_owned(),
        "not-tried" => "done, not tried yet".to_owned(),
        "proved-gone" => "proved gone".to_owned(),
        other => other.replace('-', " "),
    }
}

fn run_words(outcome: &str) -> String {
    match outcome {
        NOTHING_UNUSUAL => "nothing unusual".to_owned(),
        NOT_CLEAR_YET => "not clear yet".to_owned(),
        patterns => and(&patterns.split('+').map(|p| p.replace('-', " ")).collect::<Vec<_>>()),
    }
}

/// A reading in words.
pub(super) fn reading_words(knowledge: &Knowledge, check: &CheckId, reading: &Reading) -> String {
    match reading {
        Reading::Outcome(outcome) => outcome_words(knowledge, check.as_str(), outcome.as_str()),
        Reading::CannotTell => "cannot tell".to_owned(),
        Reading::Value { value, against } => {
            let beside = match against {
                Some(Beside::Expected(known)) => format!(" for {known}"),
                Some(Beside::Shown(shown)) => format!(", shown {shown}"),
                None => String::new(),
            };
            format!("{value}{beside}")
        }
        Reading::Fills(fills) => fills_words(fills),
    }
}

fn fills_words(fills: &Fills) -> String {
    let mean = fills.values.iter().sum::<f64>() / fills.values.len().max(1) as f64;
    let target = number_with_unit(fills.target, &fills.unit);
    let count = words::count(fills.values.len(), "fill", "fills");
    format!("{count}, mean {} against {target}", number_with_unit(mean, &fills.unit))
}

pub(super) fn happened_words(answer: Happened) -> &'static str {
    match answer {
        Happened::Happened => "Yes.",
        Happened::DidNot => "No.",
        Happened::CannotTell => "Cannot tell.",
    }
}

pub(super) fn result_words(result: RemedyResult) -> &'static str {
    match result {
        RemedyResult::ProvedGone => "proved gone",
        RemedyResult::GoneNotProved => "gone, not proved",
        RemedyResult::StillThere => "still there",
        RemedyResult::Changed => "something else changed",
        RemedyResult::NotTried => "done, not tried yet",
    }
}

/// Most reasons on a screen or in a report; the rest stands in the JSON answer.
pub const MOST_REASONS: usize = 4;

/// What each reading says for a cause, in the order of its reasons, as a person would repeat it to the customer.
pub fn because(knowledge: &Knowledge, assessment: &Assessment, suspect: &Suspect) -> Vec<String> {
    suspect
        .because
        .iter()
        .map(|reason| match reason.heard.and_then(|index| assessment.heard.get(index)) {
            Some(heard) => format!("{}. It {}.", heard_words(knowledge, heard), weight(reason.odds)),
            None => "Nothing said so far bears on it; that is how often it happens here.".to_owned(),
        })
        .collect()
}

fn heard_words(knowledge: &Knowledge, heard: &Heard) -> String {
    let outcome = outcome_words(knowledge, &heard.id, &heard.outcome);
    let done = if heard.kind == HeardKind::Remedy { ", done" } else { "" };
    format!("{}{done}: {outcome}", title(knowledge, &heard.id))
}

/// A factor on the odds in words.
fn weight(odds: f64) -> &'static str {
    match odds {
        o if o >= 10.0 => "speaks strongly for it",
        o if o >= 3.0 => "speaks for it",
        o if o >= 1.0 => "speaks a little for it",
        o if o > 1.0 / 3.0 => "speaks a little against it",
        o if o > 0.1 => "speaks against it",
        _ => "speaks strongly against it",
    }
}

/// Whether a check asks for a pair, and how to type it.
pub(super) fn how_to_type(check: &crate::knowledge::Check) -> String {
    match &check.asks {
        Asks::Run => {
            "Type the weights in order, on one line or several; an empty line ends the run. With what the machine showed: 247.2/250.0."
                .to_owned()
        }
        Asks::Quantity(asked) => match asked.against {
            Against::Nothing => {
                format!("Type the reading, like 4.5 {}. ? if nobody can tell.", asked.unit.name)
            }
            Against::Expected => {
                format!(
                    "Type the reading, then the known one, like 199.4 {u}, 200 {u}. ? if nobody can tell.",
                    u = asked.unit.name
                )
            }
            Against::Shown => {
                format!(
                    "Type the second scale, then what the machine showed, like 247.1 {u}, 250.0 {u}. ? if nobody can tell.",
                    u = asked.unit.name
                )
            }
        },
        _ => "Type the number. ? if nobody can tell.".to_owned(),
    }
}
