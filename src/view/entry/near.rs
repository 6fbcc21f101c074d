//! What stands around a finding or a cause beyond its direct links: the same that the drawing of it shows.

use std::collections::BTreeSet;

use super::super::{Page, Words, words};
use super::links::named;
use crate::graph::{FaultGraph, Node, Relation, Rival, Towards, rate_word, strength_word};
use crate::ids::{CauseId, FindingId, MachineId};
use crate::knowledge::{Cause, Knowledge};

/// Rivals beyond these are rare or far from the cause.
const MOST_RIVALS: usize = 8;
/// Checks named for one rival.
const MOST_CHECKS: usize = 2;

/// The causes behind a finding by how common they are, then the conditions that lead to it directly.
pub(super) fn behind(
    page: &mut Page,
    knowledge: &Knowledge,
    graph: &FaultGraph,
    finding: &FindingId,
    machine: Option<&MachineId>,
) {
    let all = graph.behind(knowledge, finding, machine);
    let line = |b: &crate::graph::Behind| {
        let scale = &knowledge.scale;
        let mut how = format!("{}, {}", rate_word(b.chance, scale), strength_word(b.strength, scale));
        let through: Vec<String> = b.through.iter().map(|f| words::clause(title(knowledge, f))).collect();
        if !through.is_empty() {
            how.push_str(&format!(", through: {}", through.join(", then ")));
        }
        named(cause_title(knowledge, &b.cause), &how, b.cause.as_str())
    };
    page.section("What can be behind it, most often first", all.iter().map(line));
    let near = graph.neighbours(&Node::Finding(finding.clone()));
    let conditions = near.iter().filter(|n| {
        n.link.relation == Relation::LeadsTo
            && n.towards == Towards::This
            && matches!(n.node, Node::Finding(_))
    });
    page.section(
        "Conditions that lead to it",
        conditions.map(|n| named(n.node.title(knowledge), &n.link.words, n.node.id())),
    );
}

/// What a cause brings about in the end, beyond what it leads to directly.
pub(super) fn further(page: &mut Page, knowledge: &Knowledge, graph: &FaultGraph, cause: &Cause) {
    let direct: BTreeSet<_> = cause.leads_to.iter().map(|lead| &lead.finding.value).collect();
    let all = graph.reach(&Node::Cause(cause.id.clone()));
    let further = all.iter().filter(|id| !direct.contains(id));
    page.section("And so to", further.map(|id| named(title(knowledge, id), "", id.as_str())));
}

/// Causes that show in the same symptoms, and the checks that tell this one from each.
pub(super) fn rivals(
    page: &mut Page,
    knowledge: &Knowledge,
    graph: &FaultGraph,
    cause: &CauseId,
    machine: Option<&MachineId>,
) {
    let all = graph.rivals(knowledge, cause, machine);
    page.section("Told apart from its rivals", all.iter().take(MOST_RIVALS).map(|r| rival(knowledge, r)));
    if all.len() > MOST_RIVALS {
        page.text(format!("And from {} less common ones.", all.len() - MOST_RIVALS));
    }
}

fn rival(knowledge: &Knowledge, rival: &Rival) -> Words {
    let rate = rate_word(rival.chance, &knowledge.scale);
    let words = named(cause_title(knowledge, &rival.cause), &rate, rival.cause.as_str());
    if rival.told_by.is_empty() {
        return words.plain(": no check tells them apart");
    }
    let check = |id: &crate::ids::CheckId| {
        let title = knowledge.checks.get(id).map_or(id.as_str(), |c| c.head.title.as_str());
        format!("{} [{id}]", words::clause(title))
    };
    let checks: Vec<String> = rival.told_by.iter().take(MOST_CHECKS).map(check).collect();
    words.plain(format!(": by {}", words::or(&checks)))
}

fn title<'k>(knowledge: &'k Knowledge, id: &'k FindingId) -> &'k str {
    knowledge.findings.get(id).map_or(id.as_str(), |f| &f.head.title)
}

fn cause_title<'k>(knowledge: &'k Knowledge, id: &'k CauseId) -> &'k str {
    knowledge.causes.get(id).map_or(id.as_str(), |c| &c.head.title)
}
