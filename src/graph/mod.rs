//! The fault graph: how circumstances, causes, conditions, symptoms, checks and remedies hang together.
//!
//! [`FaultGraph`] is for looking: neighbours, chains, rings, drawings. What the belief network is compiled from is
//! the [`View`] of one machine. Both are plain values without IO; equal knowledge gives equal answers in equal order.

mod apart;
mod dot;
mod nearby;
mod rings;
mod view;
mod words;

#[cfg(test)]
mod tests;

use std::collections::{BTreeMap, BTreeSet};

use petgraph::Direction;
use petgraph::algo::{astar, toposort};
use petgraph::graph::{DiGraph, NodeIndex};
use petgraph::visit::{EdgeFiltered, EdgeRef};

use crate::diag::Diagnostic;
use crate::ids::{CauseId, CheckId, CircumstanceId, FindingId, OutcomeId, RemedyId};
use crate::knowledge::{Asks, FindingKind, How, Knowledge, LeadsTo, Strength};

pub use apart::{Loose, loose_ends, not_told_apart};
pub use nearby::{Behind, Rival, Surroundings, chance};
pub use view::{View, machine_view};
pub use words::{rate_word, strength_word, strength_words};

/// One entry of the fault graph. An id alone is not enough: a check may be called like a finding.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Node {
    /// Something that happened before.
    Circumstance(CircumstanceId),
    /// What is wrong.
    Cause(CauseId),
    /// A condition or a symptom.
    Finding(FindingId),
    /// A question, a measurement or a test.
    Check(CheckId),
    /// What puts a cause right.
    Remedy(RemedyId),
}

impl Node {
    /// The id as text.
    pub fn id(&self) -> &str {
        match self {
            Node::Circumstance(id) => id.as_str(),
            Node::Cause(id) => id.as_str(),
            Node::Finding(id) => id.as_str(),
            Node::Check(id) => id.as_str(),
            Node::Remedy(id) => id.as_str(),
        }
    }

    /// The word for its kind; a finding that the knowledge does not have is 'finding'.
    pub fn kind(&self, knowledge: &Knowledge) -> &'static str {
        match self {
            Node::Circumstance(_) => "circumstance",
            Node::Cause(_) => "cause",
            Node::Finding(id) => match knowledge.findings.get(id).map(|f| f.kind) {
                Some(FindingKind::Condition) => "condition",
                Some(FindingKind::Symptom) => "symptom",
                None => "finding",
            },
            Node::Check(_) => "check",
            Node::Remedy(_) => "remedy",
        }
    }

    /// The title of its entry, or its id when the knowledge does not have it.
    pub fn title<'a>(&'a self, knowledge: &'a Knowledge) -> &'a str {
        let head = match self {
            Node::Circumstance(id) => knowledge.circumstances.get(id).map(|e| &e.head),
            Node::Cause(id) => knowledge.causes.get(id).map(|e| &e.head),
            Node::Finding(id) => knowledge.findings.get(id).map(|e| &e.head),
            Node::Check(id) => knowledge.checks.get(id).map(|e| &e.head),
            Node::Remedy(id) => knowledge.remedies.get(id).map(|e| &e.head),
        };
        head.map_or(self.id(), |head| head.title.as_str())
    }

    /// Every entry of the knowledge, in the order of kinds and then of ids.
    pub fn all(knowledge: &Knowledge) -> impl Iterator<Item = Node> + '_ {
        let circumstances = knowledge.circumstances.keys().cloned().map(Node::Circumstance);
        let causes = knowledge.causes.keys().cloned().map(Node::Cause);
        let findings = knowledge.findings.keys().cloned().map(Node::Finding);
        let checks = knowledge.checks.keys().cloned().map(Node::Check);
        let remedies = knowledge.remedies.keys().cloned().map(Node::Remedy);
        circumstances.chain(causes).chain(findings).chain(checks).chain(remedies)
    }

    /// The entries that have this id; more than one when kinds share it.
    pub fn named(knowledge: &Knowledge, id: &str) -> Vec<Node> {
        Self::all(knowledge).filter(|node| node.id() == id).collect()
    }
}

/// What one entry has to do with another; the direction is from the first to the second.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Relation {
    /// A circumstance raises a cause.
    Raises,
    /// A cause or condition leads to a finding.
    LeadsTo,
    /// A check bears on a finding.
    BearsOn,
    /// A remedy cures a cause.
    Cures,
    /// A check proves a remedy.
    Proves,
}

impl Relation {
    /// In words, read from the first entry to the second or back.
    pub fn words(self, towards: Towards) -> &'static str {
        match (self, towards) {
            (Relation::Raises, Towards::Other) => "raises",
            (Relation::Raises, Towards::This) => "is raised by",
            (Relation::LeadsTo, Towards::Other) => "leads to",
            (Relation::LeadsTo, Towards::This) => "comes from",
            (Relation::BearsOn, Towards::Other) => "bears on",
            (Relation::BearsOn, Towards::This) => "is seen by",
            (Relation::Cures, Towards::Other) => "cures",
            (Relation::Cures, Towards::This) => "is cured by",
            (Relation::Proves, Towards::Other) => "proves",
            (Relation::Proves, Towards::This) => "is proved by",
        }
    }
}

/// Which way a link runs, seen from one entry.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Towards {
    /// From this entry to the other.
    Other,
    /// From the other entry to this.
    This,
}

/// One link of the graph.
#[derive(Debug, Clone, PartialEq)]
pub struct Link {
    /// What it says.
    pub relation: Relation,
    /// For a check with outcomes: the outcome that speaks for the finding.
    pub outcome: Option<OutcomeId>,
    /// Its probability: of raising, of bringing about, of showing, of working. `None` where there is no number.
    pub strength: Option<f64>,
    /// The same in the words of the scale; empty where there is no number.
    pub words: String,
}

/// An entry that another is linked to.
#[derive(Debug, Clone, PartialEq)]
pub struct Neighbour {
    /// Which way the link runs.
    pub towards: Towards,
    /// The entry at the other end.
    pub node: Node,
    /// The link.
    pub link: Link,
}

/// The graph over all entries, or over those of one machine.
#[derive(Debug, Clone, Default)]
pub struct FaultGraph {
    graph: DiGraph<Node, Link>,
    index: BTreeMap<Node, NodeIndex>,
}

impl FaultGraph {
    /// The graph of the whole knowledge, and every ring among its findings.
    pub fn build(knowledge: &Knowledge) -> (Self, Vec<Diagnostic>) {
        let graph = Self::over(knowledge, Node::all(knowledge));
        let rings = graph.rings(knowledge);
        (graph, rings)
    }

    /// The graph of what one machine has.
    pub fn of_machine(knowledge: &Knowledge, view: &View<'_>) -> Self {
        Self::over(knowledge, view.nodes())
    }

    fn over(knowledge: &Knowledge, nodes: impl Iterator<Item = Node>) -> Self {
        let mut this = Self::default();
        for node in nodes.collect::<BTreeSet<_>>() {
            let index = this.graph.add_node(node.clone());
            this.index.insert(node, index);
        }
        for node in this.index.keys().cloned().collect::<Vec<_>>() {
            this.link_from(knowledge, &node);
        }
        this
    }

    fn link_from(&mut self, knowledge: &Knowledge, node: &Node) {
        match node {
            Node::Circumstance(_) => {}
            Node::Cause(id) => {
                if let Some(cause) = knowledge.causes.get(id) {
                    for (circumstance, chance) in &cause.after {
                        let from = Node::Circumstance(circumstance.value.clone());
                        let words = rate_word(*chance, &knowledge.scale);
                        self.link(&from, node, Relation::Raises, None, Some(*chance), words);
                    }
                    self.leads(knowledge, node, &cause.leads_to);
                }
            }
            Node::Finding(id) => {
                if let Some(finding) = knowledge.findings.get(id) {
                    self.leads(knowledge, node, &finding.leads_to);
                }
            }
            Node::Check(id) => self.bears(knowledge, node, id),
            Node::Remedy(id) => {
                if let Some(remedy) = knowledge.remedies.get(id) {
                    let words = strength_word(remedy.works, &knowledge.scale);
                    let cause = Node::Cause(remedy.cures.value.clone());
                    self.link(node, &cause, Relation::Cures, None, Some(remedy.works), words);
                    let proof = Node::Check(remedy.proved_by.value.clone());
                    self.link(&proof, node, Relation::Proves, None, None, String::new());
                }
            }
        }
    }

    fn leads(&mut self, knowledge: &Knowledge, from: &Node, leads: &[LeadsTo]) {
        for lead in leads {
            let to = Node::Finding(lead.finding.value.clone());
            let words = strength_words(&lead.strength.value, &knowledge.scale);
            let strength = Some(likeliest(&lead.strength.value));
            self.link(from, &to, Relation::LeadsTo, None, strength, words);
        }
    }

    /// What the caller says bears on every symptom, and a run of fills on every symptom that is a run finding.
    fn bears(&mut self, knowledge: &Knowledge, from: &Node, id: &CheckId) {
        let Some(check) = knowledge.checks.get(id) else { return };
        let of_itself = |pattern_only: bool| {
            let symptoms = knowledge.findings.values().filter(|f| f.kind == FindingKind::Symptom);
            symptoms.filter(move |f| !pattern_only || f.pattern.is_some()).map(|f| f.id.clone())
        };
        match check.asks {
            Asks::Complaint => {
                let hit = knowledge.scale.hits.get(&How::Told).map(|(hit, _)| *hit);
                let words = hit.map_or_else(String::new, |hit| strength_word(hit, &knowledge.scale));
                for symptom in of_itself(false) {
                    let to = Node::Finding(symptom);
                    self.link(from, &to, Relation::BearsOn, None, hit, words.clone());
                }
            }
            Asks::Run => {
                for symptom in of_itself(true) {
                    let to = Node::Finding(symptom);
                    self.link(from, &to, Relation::BearsOn, None, None, String::new());
                }
            }
            Asks::Choice | Asks::Quantity(_) => {
                for outcome in &check.outcomes {
                    for means in &outcome.means {
                        let to = Node::Finding(means.finding.value.clone());
                        let words = strength_word(means.hit, &knowledge.scale);
                        let outcome = Some(outcome.id.value.clone());
                        self.link(from, &to, Relation::BearsOn, outcome, Some(means.hit), words);
                    }
                }
            }
        }
    }

    /// Adds a link when both ends are in the graph.
    fn link(
        &mut self,
        from: &Node,
        to: &Node,
        relation: Relation,
        outcome: Option<OutcomeId>,
        strength: Option<f64>,
        words: String,
    ) {
        if let (Some(&from), Some(&to)) = (self.index.get(from), self.index.get(to)) {
            self.graph.add_edge(from, to, Link { relation, outcome, strength, words });
        }
    }

    /// The entries, in the order of kinds and then of ids.
    pub fn nodes(&self) -> impl Iterator<Item = &Node> {
        self.index.keys()
    }

    /// Every link, as its two ends and what it says, in the order of its ends.
    pub fn links(&self) -> Vec<(&Node, &Node, &Link)> {
        let edges = self.graph.edge_references();
        let mut links: Vec<_> =
            edges.map(|e| (&self.graph[e.source()], &self.graph[e.target()], e.weight())).collect();
        links.sort_by(|a, b| {
            (a.0, a.1, a.2.relation, &a.2.outcome).cmp(&(b.0, b.1, b.2.relation, &b.2.outcome))
        });
        links
    }

    /// What an entry is linked to, in both directions: by relation, strongest first, then by id.
    pub fn neighbours(&self, node: &Node) -> Vec<Neighbour> {
        let Some(&index) = self.index.get(node) else { return Vec::new() };
        let mut near = Vec::new();
        for (direction, towards) in
            [(Direction::Outgoing, Towards::Other), (Direction::Incoming, Towards::This)]
        {
            for edge in self.graph.edges_directed(index, direction) {
                let other = if towards == Towards::Other { edge.target() } else { edge.source() };
                near.push(Neighbour {
                    towards,
                    node: self.graph[other].clone(),
                    link: edge.weight().clone(),
                });
            }
        }
        let strength = |n: &Neighbour| n.link.strength.unwrap_or(0.0);
        near.sort_by(|a, b| {
            (a.link.relation, a.towards)
                .cmp(&(b.link.relation, b.towards))
                .then(strength(b).total_cmp(&strength(a)))
                .then_with(|| (&a.node, &a.link.outcome).cmp(&(&b.node, &b.link.outcome)))
        });
        near
    }

    /// Findings with parents before children. Findings in a ring have no such order; then it is that of ids.
    pub fn findings_in_order(&self) -> Vec<FindingId> {
        let indices = toposort(&self.graph, None).unwrap_or_else(|_| self.graph.node_indices().collect());
        let finding = |i: NodeIndex| match &self.graph[i] {
            Node::Finding(id) => Some(id.clone()),
            _ => None,
        };
        indices.into_iter().filter_map(finding).collect()
    }

    /// Every finding that an entry can bring about, through conditions too.
    pub fn reach(&self, from: &Node) -> BTreeSet<FindingId> {
        let mut seen = BTreeSet::new();
        let mut open: Vec<_> = self.index.get(from).copied().into_iter().collect();
        while let Some(at) = open.pop() {
            for edge in self.graph.edges(at).filter(|e| brings(e.weight().relation)) {
                match &self.graph[edge.target()] {
                    Node::Finding(id) if !seen.insert(id.clone()) => {}
                    _ => open.push(edge.target()),
                }
            }
        }
        seen
    }

    /// The likeliest way from a circumstance, cause or condition to a finding: the largest product of strengths.
    /// Both ends are in it; `None` when no way leads there.
    pub fn chain(&self, from: &Node, to: &Node) -> Option<Vec<Node>> {
        let (&start, &goal) = (self.index.get(from)?, self.index.get(to)?);
        let brings = EdgeFiltered::from_fn(&self.graph, |e: petgraph::graph::EdgeReference<'_, Link>| {
            brings(e.weight().relation)
        });
        let cost = |e: petgraph::graph::EdgeReference<'_, Link>| {
            -e.weight().strength.unwrap_or(1.0).clamp(1e-6, 1.0).ln()
        };
        let (_, path) = astar(&brings, start, |at| at == goal, cost, |_| 0.0)?;
        Some(path.into_iter().map(|i| self.graph[i].clone()).collect())
    }
}

/// Whether a link is a way by which things come about.
fn brings(relation: Relation) -> bool {
    matches!(relation, Relation::Raises | Relation::LeadsTo)
}

/// The largest chance that a strength stands for.
fn likeliest(strength: &Strength) -> f64 {
    match strength {
        Strength::One(w) | Strength::Each(w, _) => *w,
        Strength::ByDegree(some, much) => likeliest(some).max(likeliest(much)),
    }
}
