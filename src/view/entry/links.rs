//! What an entry is linked to, grouped as a technician would ask for it.

use std::collections::BTreeSet;

use super::super::{Page, Words};
use super::{Entry, near};
use crate::graph::{FaultGraph, Neighbour, Node, Relation, Towards};
use crate::knowledge::{Knowledge, Machine, Work};

/// Groups in the order in which they help.
const GROUPS: &[(Relation, Towards, &str)] = &[
    (Relation::Cures, Towards::Other, "Puts right"),
    (Relation::BearsOn, Towards::Other, "Tells about"),
    (Relation::LeadsTo, Towards::Other, "What it leads to"),
    (Relation::Raises, Towards::This, "Likelier after"),
    (Relation::Raises, Towards::Other, "Makes likelier"),
    (Relation::BearsOn, Towards::This, "How to check"),
    (Relation::Cures, Towards::This, "How to put it right"),
    (Relation::Proves, Towards::This, "Proved by"),
    (Relation::Proves, Towards::Other, "Proves the cure after"),
];

/// Adds the groups that are not empty.
pub(super) fn add(
    page: &mut Page,
    knowledge: &Knowledge,
    graph: &FaultGraph,
    entry: Entry<'_>,
    machine: Option<&Machine>,
) {
    let here = machine.map(|m| &m.id);
    match entry {
        Entry::Caution(e) => {
            let names = |work: &Work| work.cautions.iter().any(|c| c.value == e.caution.id);
            page.section("Stands before", of_work(knowledge, names));
        }
        Entry::Setting(_, setting) => {
            let changes = knowledge
                .remedies
                .values()
                .filter(|r| r.changes.as_ref().is_some_and(|s| s.value == setting.id));
            page.section("Changed by", changes.map(|r| named(&r.head.title, "", r.id.as_str())));
        }
        Entry::Machine(machine) => {
            let mut causes: Vec<_> = knowledge
                .causes
                .values()
                .filter_map(|c| Some((c.machines.get(&machine.id)?.value, c)))
                .collect();
            causes.sort_by(|a, b| b.0.total_cmp(&a.0).then_with(|| a.1.id.cmp(&b.1.id)));
            let line = |(rate, cause): (f64, &crate::knowledge::Cause)| {
                named(&cause.head.title, &crate::graph::rate_word(rate, &knowledge.scale), cause.id.as_str())
            };
            page.section("What can be wrong with it, commonest first", causes.into_iter().map(line));
        }
        _ => {
            let Some(node) = entry.node() else { return };
            let near = graph.neighbours(&node);
            if let Entry::Finding(finding) = entry {
                near::behind(page, knowledge, graph, &finding.id, here);
            }
            for (relation, towards, heading) in GROUPS {
                page.section(heading, group(knowledge, &near, *relation, *towards));
                if let (Entry::Cause(cause), Relation::LeadsTo) = (entry, relation) {
                    near::further(page, knowledge, graph, cause);
                }
            }
            if let Entry::Cause(cause) = entry {
                let findings = cause.leads_to.iter().map(|l| Node::Finding(l.finding.value.clone()));
                let near: Vec<Neighbour> = findings.flat_map(|f| graph.neighbours(&f)).collect();
                page.section("How to check", group(knowledge, &near, Relation::BearsOn, Towards::This));
                near::rivals(page, knowledge, graph, &cause.id, here);
            }
        }
    }
}

/// The neighbours of one group, each once. Runs and complaints bear on nearly everything and are left out of
/// 'how to check' lists that have something sharper.
fn group(knowledge: &Knowledge, near: &[Neighbour], relation: Relation, towards: Towards) -> Vec<Words> {
    let mut seen = BTreeSet::new();
    let of_group = near.iter().filter(|n| n.link.relation == relation && n.towards == towards);
    let once: Vec<&Neighbour> = of_group.filter(|n| seen.insert(&n.node)).collect();
    once.into_iter()
        .map(|n| {
            let strength = if relation == Relation::BearsOn { "" } else { n.link.words.as_str() };
            named(n.node.title(knowledge), strength, n.node.id())
        })
        .collect()
}

fn of_work(knowledge: &Knowledge, names: impl Fn(&Work) -> bool) -> Vec<Words> {
    let checks = knowledge.checks.values().filter(|c| names(&c.work)).map(|c| (&c.head, c.id.as_str()));
    let remedies = knowledge.remedies.values().filter(|r| names(&r.work)).map(|r| (&r.head, r.id.as_str()));
    checks.chain(remedies).map(|(head, id)| named(&head.title, "", id)).collect()
}

/// 'Title, usually [id]'.
pub(super) fn named(title: &str, how_much: &str, id: &str) -> Words {
    let how_much = if how_much.is_empty() { String::new() } else { format!(", {how_much}") };
    Words::from(format!("{title}{how_much} [{id}]"))
}
