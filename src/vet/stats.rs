//! How much the knowledge holds, and how much of it is complete.
//!
//! An entry is complete when it has, as it applies to its kind, the reading to expect, what it means, a rival that it
//! separates, and a named safety reader:
//!
//! | kind | reading to expect | what it means | rival | safety reader |
//! |---|---|---|---|---|
//! | machine | usual spread and settings | `about` | has causes | energies to isolate where guarded |
//! | circumstance | a question | – | raises some causes and not all | – |
//! | symptom, condition | a check bears on it | `about` or callers' words | comes from some causes and not from all | – |
//! | cause | a check can see it | `about` or `basis` | told apart on each of its machines; has a remedy | – |
//! | check | each step says what to expect | each outcome but the normal one has `means` | bears on what some causes bring and others do not | if hands-on |
//! | remedy | each step says what to expect; at least one step | its cause names it; has a proof | waits for a reading, or can be undone | if hands-on |
//! | caution | – | hazard, what can happen, what to do (loading asks for them) | an entry names it | – |

use std::collections::{BTreeMap, BTreeSet};

use serde::Serialize;

use super::numbers::causes_a_call;
use crate::graph::{FaultGraph, Node, Relation, Towards, machine_view, not_told_apart};
use crate::ids::{CauseId, FindingId};
use crate::knowledge::{Asks, Check, Finding, FindingKind, Knowledge, Machine, Remedy, Work};
use crate::safety::Exposures;
use crate::units::significant;

/// Whole numbers by kind.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize)]
#[expect(missing_docs, reason = "each field is the plural of its kind")]
pub struct Counts {
    pub machines: usize,
    pub circumstances: usize,
    pub symptoms: usize,
    pub conditions: usize,
    pub causes: usize,
    pub checks: usize,
    pub remedies: usize,
    pub cautions: usize,
}

/// What `knowledge stats` says.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Stats {
    /// Complete entries by kind; at the top level of the JSON.
    #[serde(flatten)]
    pub complete: Counts,
    /// All entries by kind.
    pub all: Counts,
    /// Expected number of causes a call, by machine.
    pub causes_a_call: BTreeMap<String, f64>,
    /// Groups of causes that no check of a machine tells apart, by machine; machines without any are left out.
    pub not_told_apart: BTreeMap<String, Vec<Vec<CauseId>>>,
    /// Findings that lead nowhere, by kind and id, and why.
    pub lead_nowhere: BTreeMap<String, &'static str>,
    /// What each incomplete entry lacks, by kind and id: `check/level-and-feet`.
    pub lacking: BTreeMap<String, Vec<&'static str>>,
}

/// Counts everything.
pub fn stats(knowledge: &Knowledge) -> Stats {
    let counter = Counter::new(knowledge);
    let mut lacking: BTreeMap<String, Vec<&'static str>> = BTreeMap::new();
    let mut complete = |kind: &str, id: &str, lacks: Vec<&'static str>| -> usize {
        if lacks.is_empty() {
            return 1;
        }
        lacking.insert(format!("{kind}/{id}"), lacks);
        0
    };
    let findings = |kind| knowledge.findings.values().filter(move |f| f.kind == kind);
    let counts = Counts {
        machines: knowledge
            .machines
            .values()
            .map(|m| complete("machine", m.id.as_str(), counter.machine(m)))
            .sum(),
        circumstances: knowledge
            .circumstances
            .keys()
            .map(|id| {
                complete("circumstance", id.as_str(), counter.circumstance(&Node::Circumstance(id.clone())))
            })
            .sum(),
        symptoms: findings(FindingKind::Symptom)
            .map(|f| complete("symptom", f.id.as_str(), counter.finding(f)))
            .sum(),
        conditions: findings(FindingKind::Condition)
            .map(|f| complete("condition", f.id.as_str(), counter.finding(f)))
            .sum(),
        causes: knowledge.causes.keys().map(|id| complete("cause", id.as_str(), counter.cause(id))).sum(),
        checks: knowledge.checks.values().map(|c| complete("check", c.id.as_str(), counter.check(c))).sum(),
        remedies: knowledge
            .remedies
            .values()
            .map(|r| complete("remedy", r.id.as_str(), counter.remedy(r)))
            .sum(),
        cautions: knowledge
            .cautions
            .keys()
            .map(|id| complete("caution", id.as_str(), counter.caution(id.as_str())))
            .sum(),
    };
    Stats {
        complete: counts,
        all: all(knowledge),
        lead_nowhere: counter.lead_nowhere(),
        causes_a_call: counter.causes_a_call,
        not_told_apart: counter.not_told_apart,
        lacking,
    }
}

fn all(knowledge: &Knowledge) -> Counts {
    let findings = |kind| knowledge.findings.values().filter(|f| f.kind == kind).count();
    Counts {
        machines: knowledge.machines.len(),
        circumstances: knowledge.circumstances.len(),
        symptoms: findings(FindingKind::Symptom),
        conditions: findings(FindingKind::Condition),
        causes: knowledge.causes.len(),
        checks: knowledge.checks.len(),
        remedies: knowledge.remedies.len(),
        cautions: knowledge.cautions.len(),
    }
}

/// What all counts look up.
struct Counter<'k> {
    knowledge: &'k Knowledge,
    graph: FaultGraph,
    /// For each finding, the causes that can bring it about.
    brought: BTreeMap<FindingId, BTreeSet<CauseId>>,
    /// Causes that a machine of theirs cannot tell from each other, by machine.
    not_told_apart: BTreeMap<String, Vec<Vec<CauseId>>>,
    /// Cautions that an entry names.
    named: BTreeSet<&'k str>,
    causes_a_call: BTreeMap<String, f64>,
}

/// Names those requirements that are not met.
fn lacks<const N: usize>(met: [(bool, &'static str); N]) -> Vec<&'static str> {
    met.into_iter().filter(|(met, _)| !met).map(|(_, what)| what).collect()
}

impl<'k> Counter<'k> {
    fn new(knowledge: &'k Knowledge) -> Self {
        let graph = FaultGraph::build(knowledge).0;
        let mut brought: BTreeMap<FindingId, BTreeSet<CauseId>> = BTreeMap::new();
        for id in knowledge.causes.keys() {
            for finding in graph.reach(&Node::Cause(id.clone())) {
                brought.entry(finding).or_default().insert(id.clone());
            }
        }
        let mut confused = BTreeMap::new();
        let mut sums = BTreeMap::new();
        for machine in knowledge.machines.values() {
            let view = machine_view(knowledge, machine, None);
            let groups = not_told_apart(knowledge, &view);
            if !groups.is_empty() {
                confused.insert(machine.id.to_string(), groups);
            }
            sums.insert(machine.id.to_string(), significant(causes_a_call(knowledge, &view)));
        }
        let named =
            super::jobs(knowledge).flat_map(|job| &job.work.cautions).map(|c| c.value.as_str()).collect();
        Self { knowledge, graph, brought, not_told_apart: confused, named, causes_a_call: sums }
    }

    /// Whether some causes bring it about and others do not.
    fn separates(&self, finding: &FindingId) -> bool {
        self.brought.get(finding).is_some_and(|by| by.len() < self.knowledge.causes.len())
    }

    fn linked(&self, node: &Node, relation: Relation, towards: Towards) -> Vec<Node> {
        let near = self.graph.neighbours(node).into_iter();
        near.filter(|n| n.link.relation == relation && n.towards == towards).map(|n| n.node).collect()
    }

    /// Whether some machine of a cause cannot tell it from another.
    fn confused(&self, id: &CauseId) -> bool {
        self.not_told_apart.values().flatten().any(|group| group.contains(id))
    }

    fn is_seen(&self, finding: &FindingId) -> bool {
        !self.linked(&Node::Finding(finding.clone()), Relation::BearsOn, Towards::This).is_empty()
    }

    /// Findings that nothing brings about, or from which no answer ever comes.
    fn lead_nowhere(&self) -> BTreeMap<String, &'static str> {
        let why = |finding: &Finding| {
            if !self.brought.contains_key(&finding.id) {
                return Some("no cause leads to it, through conditions either");
            }
            let below = self.graph.reach(&Node::Finding(finding.id.clone()));
            let asked = self.is_seen(&finding.id) || below.iter().any(|below| self.is_seen(below));
            (!asked).then_some("no check asks about it or about anything that it leads to")
        };
        let named = |finding: &Finding| {
            let kind = match finding.kind {
                FindingKind::Symptom => "symptom",
                FindingKind::Condition => "condition",
            };
            Some((format!("{kind}/{}", finding.id), why(finding)?))
        };
        self.knowledge.findings.values().filter_map(named).collect()
    }

    fn safe(&self, work: &Work) -> bool {
        !self.knowledge.exposures_anywhere(work).hands_on() || work.safety_read.is_some()
    }

    fn machine(&self, machine: &Machine) -> Vec<&'static str> {
        let guarded = machine.places.values().any(|p| Exposures::at(&p.traits, &[]).needs_isolation());
        let has_causes = self.knowledge.causes.values().any(|c| c.machines.contains_key(&machine.id));
        lacks([
            (!machine.settings.is_empty(), "settings"),
            (machine.head.about.is_some(), "what it is"),
            (has_causes, "causes"),
            (!guarded || !machine.energies.is_empty(), "energies to isolate"),
        ])
    }

    fn circumstance(&self, node: &Node) -> Vec<&'static str> {
        let raised: BTreeSet<_> = self.linked(node, Relation::Raises, Towards::Other).into_iter().collect();
        lacks([(
            !raised.is_empty() && raised.len() < self.knowledge.causes.len(),
            "some causes that it raises, and not all",
        )])
    }

    fn finding(&self, finding: &Finding) -> Vec<&'static str> {
        lacks([
            (self.is_seen(&finding.id), "a check that bears on it"),
            (finding.head.about.is_some() || !finding.head.said.is_empty(), "what it means"),
            (self.separates(&finding.id), "some causes that bring it about, and not all"),
        ])
    }

    fn cause(&self, id: &CauseId) -> Vec<&'static str> {
        let node = Node::Cause(id.clone());
        let shows = self.graph.reach(&node);
        let head = self.knowledge.causes.get(id).map(|c| &c.head);
        lacks([
            (shows.iter().any(|finding| self.is_seen(finding)), "a check that can see it"),
            (head.is_some_and(|h| h.about.is_some() || h.basis.is_some()), "what it means"),
            (!self.confused(id), "a check that tells it from its rivals"),
            (!self.linked(&node, Relation::Cures, Towards::This).is_empty(), "a remedy"),
        ])
    }

    fn check(&self, check: &Check) -> Vec<&'static str> {
        let bears = self.linked(&Node::Check(check.id.clone()), Relation::BearsOn, Towards::Other);
        let rival = bears.iter().any(|node| matches!(node, Node::Finding(f) if self.separates(f)));
        let own_outcomes = matches!(check.asks, Asks::Run | Asks::Complaint);
        let meant = own_outcomes || check.outcomes.iter().filter(|o| o.means.is_empty()).count() == 1;
        lacks([
            (check.work.steps.iter().all(|s| s.text.says_what_to_expect()), "what to expect at each step"),
            (meant && !bears.is_empty(), "what its outcomes mean"),
            (rival, "causes that it separates"),
            (self.safe(&check.work), "a safety reader"),
        ])
    }

    fn remedy(&self, remedy: &Remedy) -> Vec<&'static str> {
        let steps = &remedy.work.steps;
        let cause = self.knowledge.causes.get(&remedy.cures.value);
        let agreed = cause.is_some_and(|c| c.remedies.iter().any(|r| r.value == remedy.id));
        let proved = self.knowledge.checks.contains_key(&remedy.proved_by.value);
        let expects = !steps.is_empty() && steps.iter().all(|s| s.text.says_what_to_expect());
        lacks([
            (expects, "steps that each say what to expect"),
            (agreed, "a cause that names it"),
            (proved, "a check that proves it"),
            (!remedy.only_after.is_empty() || remedy.reversible, "a reading that it waits for"),
            (self.safe(&remedy.work), "a safety reader"),
        ])
    }

    fn caution(&self, id: &str) -> Vec<&'static str> {
        lacks([(self.named.contains(id), "an entry that names it")])
    }
}
