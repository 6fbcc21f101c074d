//! What the knowledge says about one machine: the part that the belief network is compiled from.

use std::collections::{BTreeMap, BTreeSet};

use petgraph::algo::toposort;
use petgraph::graph::DiGraph;

use super::Node;
use crate::ids::{FindingId, MachineId, OptionId};
use crate::knowledge::{
    Asks, Cause, Check, Circumstance, Finding, FindingKind, Knowledge, Machine, PATTERNS, Remedy,
};

/// Everything that applies to one machine with these options. Sorted by id, findings parents first.
#[derive(Debug, Clone)]
pub struct View<'k> {
    /// The machine.
    pub machine: &'k Machine,
    /// Circumstances that raise a cause which is here.
    pub circumstances: Vec<&'k Circumstance>,
    /// Causes with a rate here whose options may be fitted.
    pub causes: Vec<&'k Cause>,
    /// Findings that a cause here can bring about, that name this machine, or that a check here bears on; with all
    /// that they lead to. Parents stand before their children.
    pub findings: Vec<&'k Finding>,
    /// Checks that can be done here and bear on something here.
    pub checks: Vec<&'k Check>,
    /// Remedies that can be done here and cure a cause which is here.
    pub remedies: Vec<&'k Remedy>,
    /// For every run finding the symptom that it is on this machine, if there is one.
    pub patterns: BTreeMap<&'static str, Option<&'k Finding>>,
}

impl View<'_> {
    /// Probability a call of a cause on this machine, without circumstances; `None` if it does not occur here.
    pub fn rate(&self, cause: &Cause) -> Option<f64> {
        cause.machines.get(&self.machine.id).map(|rate| rate.value)
    }

    /// Whether a finding is part of this view.
    pub fn has_finding(&self, id: &FindingId) -> bool {
        self.findings.iter().any(|f| f.id == *id)
    }

    /// Its entries as nodes of the fault graph.
    pub fn nodes(&self) -> impl Iterator<Item = Node> + '_ {
        let circumstances = self.circumstances.iter().map(|e| Node::Circumstance(e.id.clone()));
        let causes = self.causes.iter().map(|e| Node::Cause(e.id.clone()));
        let findings = self.findings.iter().map(|e| Node::Finding(e.id.clone()));
        let checks = self.checks.iter().map(|e| Node::Check(e.id.clone()));
        let remedies = self.remedies.iter().map(|e| Node::Remedy(e.id.clone()));
        circumstances.chain(causes).chain(findings).chain(checks).chain(remedies)
    }
}

/// What applies to a machine. `fitted` left out means that any option may be there.
pub fn machine_view<'k>(
    knowledge: &'k Knowledge,
    machine: &'k Machine,
    fitted: Option<&BTreeSet<OptionId>>,
) -> View<'k> {
    let here = |cause: &&Cause| {
        cause.machines.contains_key(&machine.id)
            && cause.needs_option.iter().all(|o| machine.may_have(&o.value, fitted))
    };
    let causes: Vec<_> = knowledge.causes.values().filter(here).collect();
    let raised: BTreeSet<_> = causes.iter().flat_map(|c| &c.after).map(|(c, _)| &c.value).collect();
    let doable: Vec<_> = knowledge.checks.values().filter(|c| machine.can_do(&c.work, fitted)).collect();
    let findings = findings_here(knowledge, &machine.id, &causes, &doable);
    let cured: BTreeSet<_> = causes.iter().map(|c| &c.id).collect();
    let remedies = knowledge.remedies.values();
    View {
        machine,
        circumstances: knowledge.circumstances.values().filter(|c| raised.contains(&c.id)).collect(),
        checks: doable.into_iter().filter(|c| bears_on_any(c, &findings)).collect(),
        remedies: remedies
            .filter(|r| cured.contains(&r.cures.value) && machine.can_do(&r.work, fitted))
            .collect(),
        patterns: patterns(&findings),
        findings: parents_first(findings),
        causes,
    }
}

/// Whether a finding is not kept to other machines.
fn allowed(finding: &Finding, machine: &MachineId) -> bool {
    finding.machines.as_ref().is_none_or(|all| all.iter().any(|m| m.value == *machine))
}

fn findings_here<'k>(
    knowledge: &'k Knowledge,
    machine: &MachineId,
    causes: &[&'k Cause],
    checks: &[&'k Check],
) -> BTreeMap<&'k FindingId, &'k Finding> {
    let led = causes.iter().flat_map(|c| &c.leads_to).map(|lead| &lead.finding.value);
    let seen = checks.iter().flat_map(|c| &c.outcomes).flat_map(|o| &o.means).map(|m| &m.finding.value);
    let named = knowledge.findings.values().filter(|f| f.machines.is_some()).map(|f| &f.id);
    let mut open: Vec<_> = led.chain(seen).chain(named).collect();
    let mut here = BTreeMap::new();
    while let Some(id) = open.pop() {
        let Some(finding) = knowledge.findings.get(id).filter(|f| allowed(f, machine)) else { continue };
        if here.insert(&finding.id, finding).is_none() {
            open.extend(finding.leads_to.iter().map(|lead| &lead.finding.value));
        }
    }
    here
}

fn bears_on_any(check: &Check, findings: &BTreeMap<&FindingId, &Finding>) -> bool {
    let symptoms = || findings.values().filter(|f| f.kind == FindingKind::Symptom);
    match check.asks {
        // A run is also what proves a cure, whether or not a symptom here is one of its patterns.
        Asks::Run => true,
        Asks::Complaint => symptoms().next().is_some(),
        Asks::Choice | Asks::Quantity(_) => {
            let means = check.outcomes.iter().flat_map(|o| &o.means);
            means.into_iter().any(|m| findings.contains_key(&m.finding.value))
        }
    }
}

fn patterns<'k>(
    findings: &BTreeMap<&'k FindingId, &'k Finding>,
) -> BTreeMap<&'static str, Option<&'k Finding>> {
    let is = |finding: &Finding, pattern: &str| finding.pattern.as_ref().is_some_and(|p| p.value == pattern);
    let symptom = |pattern: &str| findings.values().find(|f| is(f, pattern)).copied();
    PATTERNS.iter().map(|&pattern| (pattern, symptom(pattern))).collect()
}

/// Parents before children. A ring has no such order; vetting refuses it, and here ids decide.
fn parents_first<'k>(findings: BTreeMap<&'k FindingId, &'k Finding>) -> Vec<&'k Finding> {
    let mut graph = DiGraph::new();
    let index: BTreeMap<_, _> = findings.values().map(|f| (&f.id, graph.add_node(*f))).collect();
    for finding in findings.values() {
        for lead in &finding.leads_to {
            if let Some(&child) = index.get(&lead.finding.value) {
                graph.add_edge(index[&finding.id], child, ());
            }
        }
    }
    match toposort(&graph, None) {
        Ok(order) => order.into_iter().map(|i| graph[i]).collect(),
        Err(_) => findings.into_values().collect(),
    }
}
