//! What stands around one entry: the causes behind a finding by how common they are, the rivals of a cause and what
//! tells it from them, and the part of the graph that is worth drawing.

use std::collections::{BTreeMap, BTreeSet};

use super::apart::answers;
use super::{FaultGraph, Neighbour, Node, Relation, Towards};
use crate::ids::{CauseId, CheckId, FindingId, MachineId};
use crate::knowledge::{Asks, Cause, FindingKind, Knowledge};

/// A cause that can bring a finding about.
#[derive(Debug, Clone, PartialEq)]
pub struct Behind {
    /// The cause.
    pub cause: CauseId,
    /// Probability that it is there in a call, circumstances at their usual.
    pub chance: f64,
    /// Product of the strengths along its likeliest way to the finding.
    pub strength: f64,
    /// The findings between the two on that way, in order.
    pub through: Vec<FindingId>,
}

/// Another cause that shows in the same symptom.
#[derive(Debug, Clone, PartialEq)]
pub struct Rival {
    /// The other cause.
    pub cause: CauseId,
    /// Probability that it is there in a call.
    pub chance: f64,
    /// Checks with an answer that only one of the two brings about; those that look deepest first.
    pub told_by: Vec<CheckId>,
}

/// The part of the graph around one entry, each list with what matters most first.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Surroundings {
    /// Causes.
    pub causes: Vec<CauseId>,
    /// Conditions.
    pub conditions: Vec<FindingId>,
    /// Symptoms.
    pub symptoms: Vec<FindingId>,
}

/// P(cause) in a call: 1 − (1 − base)·Π(1 − after·usual). `base` is its rate on a machine.
pub fn chance(knowledge: &Knowledge, cause: &Cause, base: f64) -> f64 {
    let without = cause.after.iter().map(|(circumstance, after)| {
        let usual = knowledge.circumstances.get(&circumstance.value).map_or(0.0, |c| c.usual);
        1.0 - after * usual
    });
    1.0 - without.fold(1.0 - base, |product, factor| product * factor)
}

/// How common a cause is on one machine, or where it is commonest; `None` where it does not occur.
fn how_common(knowledge: &Knowledge, id: &CauseId, machine: Option<&MachineId>) -> Option<f64> {
    let cause = knowledge.causes.get(id)?;
    let here = cause.machines.iter().filter(|(id, _)| machine.is_none_or(|only| only == *id));
    here.map(|(_, rate)| chance(knowledge, cause, rate.value)).max_by(f64::total_cmp)
}

impl FaultGraph {
    /// The causes behind a finding, through conditions too: those that most often bring it about first.
    pub fn behind(
        &self,
        knowledge: &Knowledge,
        finding: &FindingId,
        machine: Option<&MachineId>,
    ) -> Vec<Behind> {
        let goal = Node::Finding(finding.clone());
        let mut all: Vec<Behind> = self
            .causes()
            .filter_map(|cause| {
                let way = self.chain(&Node::Cause(cause.clone()), &goal)?;
                let strength = way.windows(2).map(|pair| self.strength(&pair[0], &pair[1])).product();
                let through = way.into_iter().filter_map(|node| match node {
                    Node::Finding(id) if id != *finding => Some(id),
                    _ => None,
                });
                let (through, chance) = (through.collect(), how_common(knowledge, cause, machine)?);
                Some(Behind { cause: cause.clone(), chance, strength, through })
            })
            .collect();
        let often = |b: &Behind| b.chance * b.strength;
        all.sort_by(|a, b| often(b).total_cmp(&often(a)).then_with(|| a.cause.cmp(&b.cause)));
        all
    }

    /// Causes that show in a symptom that this cause shows in, the commonest first.
    pub fn rivals(&self, knowledge: &Knowledge, cause: &CauseId, machine: Option<&MachineId>) -> Vec<Rival> {
        let symptom =
            |id: &&FindingId| knowledge.findings.get(*id).is_some_and(|f| f.kind == FindingKind::Symptom);
        let own = self.reach(&Node::Cause(cause.clone()));
        let shows: BTreeSet<_> = own.iter().filter(symptom).collect();
        let mut all: Vec<Rival> = self
            .causes()
            .filter(|other| *other != cause)
            .filter_map(|other| {
                let theirs = self.reach(&Node::Cause(other.clone()));
                let shared = theirs.iter().any(|id| shows.contains(id));
                let chance = how_common(knowledge, other, machine).filter(|_| shared)?;
                Some(Rival { cause: other.clone(), chance, told_by: self.telling(knowledge, &own, &theirs) })
            })
            .collect();
        all.sort_by(|a, b| b.chance.total_cmp(&a.chance).then_with(|| a.cause.cmp(&b.cause)));
        all
    }

    /// Checks with an answer that shows findings of one side only; those on conditions before those on symptoms.
    fn telling(
        &self,
        knowledge: &Knowledge,
        a: &BTreeSet<FindingId>,
        b: &BTreeSet<FindingId>,
    ) -> Vec<CheckId> {
        let shown = |side: &BTreeSet<FindingId>| -> BTreeMap<_, FindingId> {
            side.iter()
                .flat_map(|f| answers(self, f).into_iter().map(move |answer| (answer, f.clone())))
                .collect()
        };
        let (a, b) = (shown(a), shown(b));
        let only = a
            .iter()
            .filter(|(k, _)| !b.contains_key(*k))
            .chain(b.iter().filter(|(k, _)| !a.contains_key(*k)));
        let mut checks: BTreeMap<CheckId, bool> = BTreeMap::new();
        // That callers would complain of something else is known before any check.
        let asked = |check: &str| knowledge.checks.get(check).is_none_or(|c| c.asks != Asks::Complaint);
        for ((check, _), finding) in only.filter(|((check, _), _)| asked(check)) {
            let deep = knowledge.findings.get(finding).is_some_and(|f| f.kind == FindingKind::Condition);
            *checks.entry(check.as_str().into()).or_default() |= deep;
        }
        let (deep, shallow): (Vec<_>, Vec<_>) = checks.into_iter().partition(|(_, deep)| *deep);
        deep.into_iter().chain(shallow).map(|(check, _)| check).collect()
    }

    fn causes(&self) -> impl Iterator<Item = &CauseId> {
        self.nodes().filter_map(|node| match node {
            Node::Cause(id) => Some(id),
            _ => None,
        })
    }

    /// The strongest link by which one entry brings the next about.
    fn strength(&self, from: &Node, to: &Node) -> f64 {
        let near = self.neighbours(from).into_iter();
        let leads = near.filter(|n| n.link.relation == Relation::LeadsTo && n.node == *to);
        leads.filter_map(|n| n.link.strength).fold(0.0, f64::max)
    }

    /// What is worth drawing around an entry: what can be behind it, and what comes of it.
    pub fn surroundings(
        &self,
        knowledge: &Knowledge,
        centre: &Node,
        machine: Option<&MachineId>,
    ) -> Surroundings {
        let mut around = Around { graph: self, knowledge, machine, found: Surroundings::default() };
        match centre {
            Node::Finding(id) => around.finding(id),
            Node::Cause(id) => around.cause(id),
            Node::Remedy(_) | Node::Circumstance(_) => {
                let causes = self.linked(centre, Towards::Other, &[Relation::Cures, Relation::Raises]);
                for neighbour in causes {
                    if let Node::Cause(id) = &neighbour.node {
                        around.cause(id);
                    }
                }
            }
            Node::Check(_) => {
                for neighbour in self.linked(centre, Towards::Other, &[Relation::BearsOn]) {
                    if let Node::Finding(id) = &neighbour.node {
                        around.finding(id);
                    }
                }
            }
        }
        around.found
    }

    fn linked(&self, node: &Node, towards: Towards, relations: &[Relation]) -> Vec<Neighbour> {
        let near = self.neighbours(node).into_iter();
        near.filter(|n| n.towards == towards && relations.contains(&n.link.relation)).collect()
    }
}

/// Gathers surroundings, each entry once.
struct Around<'a> {
    graph: &'a FaultGraph,
    knowledge: &'a Knowledge,
    machine: Option<&'a MachineId>,
    found: Surroundings,
}

impl Around<'_> {
    fn finding(&mut self, id: &FindingId) {
        self.keep(id);
        for behind in self.graph.behind(self.knowledge, id, self.machine) {
            behind.through.iter().for_each(|between| self.keep(between));
            keep(&mut self.found.causes, &behind.cause);
        }
        self.what_comes_of(&Node::Finding(id.clone()));
    }

    fn cause(&mut self, id: &CauseId) {
        keep(&mut self.found.causes, id);
        self.what_comes_of(&Node::Cause(id.clone()));
    }

    fn what_comes_of(&mut self, from: &Node) {
        let direct = self.graph.linked(from, Towards::Other, &[Relation::LeadsTo]);
        for neighbour in direct {
            if let Node::Finding(id) = &neighbour.node {
                self.keep(id);
            }
        }
        self.graph.reach(from).iter().for_each(|id| self.keep(id));
    }

    fn keep(&mut self, id: &FindingId) {
        match self.knowledge.findings.get(id).map(|f| f.kind) {
            Some(FindingKind::Condition) => keep(&mut self.found.conditions, id),
            Some(FindingKind::Symptom) => keep(&mut self.found.symptoms, id),
            None => {}
        }
    }
}

fn keep<T: Clone + PartialEq>(all: &mut Vec<T>, one: &T) {
    if !all.contains(one) {
        all.push(one.clone());
    }
}
