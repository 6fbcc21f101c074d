//! What hangs loose in the knowledge, and which causes no check tells apart.

use std::collections::{BTreeMap, BTreeSet};

use super::{FaultGraph, Node, Relation, Towards, View};
use crate::ids::{CauseId, FindingId};
use crate::knowledge::Knowledge;

/// How an entry hangs loose.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Loose {
    /// A circumstance that raises no cause.
    RaisesNothing,
    /// A cause that leads to no finding.
    LeadsNowhere,
    /// A cause that no remedy cures.
    HasNoRemedy,
    /// A finding that no cause leads to.
    ComesFromNothing,
    /// A finding that no check bears on.
    IsNotSeen,
    /// A check that bears on nothing.
    BearsOnNothing,
}

/// Every entry that hangs loose, by entry.
pub fn loose_ends(graph: &FaultGraph) -> Vec<(Node, Loose)> {
    let caused: BTreeSet<_> = graph
        .nodes()
        .filter(|node| matches!(node, Node::Cause(_)))
        .flat_map(|cause| graph.reach(cause))
        .collect();
    let has = |node: &Node, relation, towards| {
        graph.neighbours(node).iter().any(|n| n.link.relation == relation && n.towards == towards)
    };
    let mut loose = Vec::new();
    for node in graph.nodes() {
        let mut when = |is: bool, how: Loose| {
            if is {
                loose.push((node.clone(), how));
            }
        };
        match node {
            Node::Circumstance(_) => {
                when(!has(node, Relation::Raises, Towards::Other), Loose::RaisesNothing);
            }
            Node::Cause(_) => {
                when(!has(node, Relation::LeadsTo, Towards::Other), Loose::LeadsNowhere);
                when(!has(node, Relation::Cures, Towards::This), Loose::HasNoRemedy);
            }
            Node::Finding(id) => {
                when(!caused.contains(id), Loose::ComesFromNothing);
                when(!has(node, Relation::BearsOn, Towards::This), Loose::IsNotSeen);
            }
            Node::Check(_) => when(!has(node, Relation::BearsOn, Towards::Other), Loose::BearsOnNothing),
            Node::Remedy(_) => {}
        }
    }
    loose
}

/// Groups of causes of a machine that show in exactly the same answers of its checks, sorted.
///
/// Only which answers a cause can bring about is compared, not how strongly: two causes that differ in nothing but
/// strengths need many answers to be told apart, so an author should look at what differs between them.
pub fn not_told_apart(knowledge: &Knowledge, view: &View<'_>) -> Vec<Vec<CauseId>> {
    let graph = FaultGraph::of_machine(knowledge, view);
    let shown_by: BTreeMap<_, _> = view.findings.iter().map(|f| (&f.id, answers(&graph, &f.id))).collect();
    let mut causes: BTreeMap<BTreeSet<Answer>, Vec<CauseId>> = BTreeMap::new();
    for cause in &view.causes {
        let reach = graph.reach(&Node::Cause(cause.id.clone()));
        let shown = reach.iter().filter_map(|f| shown_by.get(f)).flatten().cloned().collect();
        causes.entry(shown).or_default().push(cause.id.clone());
    }
    let mut groups: Vec<_> = causes.into_values().filter(|group| group.len() > 1).collect();
    groups.sort();
    groups
}

/// A check, with an outcome of it or with the finding where the check has none.
pub(super) type Answer = (String, String);

/// The answers that show a finding.
pub(super) fn answers(graph: &FaultGraph, finding: &FindingId) -> BTreeSet<Answer> {
    let near = graph.neighbours(&Node::Finding(finding.clone())).into_iter();
    let seen = near.filter(|n| n.link.relation == Relation::BearsOn);
    seen.map(|n| {
        let outcome = n.link.outcome.map_or_else(|| finding.to_string(), |outcome| outcome.to_string());
        (n.node.id().to_owned(), outcome)
    })
    .collect()
}
