//! Findings that lead to each other in a ring, which no order of cause and effect can have.

use petgraph::algo::{astar, tarjan_scc};
use petgraph::graph::NodeIndex;

use super::{FaultGraph, Node};
use crate::diag::{Code, Diagnostic, Span};
use crate::ids::FindingId;
use crate::knowledge::Knowledge;

impl FaultGraph {
    /// One problem for each knot of findings that lead to each other, with its shortest ring in words.
    pub(super) fn rings(&self, knowledge: &Knowledge) -> Vec<Diagnostic> {
        let mut problems: Vec<_> = tarjan_scc(&self.graph)
            .into_iter()
            .filter_map(|knot| {
                let first = knot.into_iter().min_by_key(|&i| &self.graph[i])?;
                self.ring_through(first)
            })
            .map(|ring| ring_problem(knowledge, &ring))
            .collect();
        crate::diag::in_order(&mut problems);
        problems
    }

    /// The shortest ring through one entry, which stands at both ends of it.
    fn ring_through(&self, first: NodeIndex) -> Option<Vec<FindingId>> {
        let next = self.graph.neighbors(first);
        let ways = next.filter_map(|at| astar(&self.graph, at, |i| i == first, |_| 1usize, |_| 0));
        let (_, back) = ways.min_by_key(|(steps, way)| {
            (*steps, way.iter().map(|&i| self.graph[i].clone()).collect::<Vec<_>>())
        })?;
        let finding = |i: NodeIndex| match &self.graph[i] {
            Node::Finding(id) => Some(id.clone()),
            _ => None,
        };
        std::iter::once(first).chain(back).map(finding).collect()
    }
}

fn ring_problem(knowledge: &Knowledge, ring: &[FindingId]) -> Diagnostic {
    let place = |from: &FindingId, to: &FindingId| -> Option<Span> {
        let leads = &knowledge.findings.get(from)?.leads_to;
        leads.iter().find(|lead| lead.finding.value == *to).map(|lead| lead.finding.span)
    };
    let names: Vec<_> = ring.iter().map(FindingId::as_str).collect();
    let message = match names.as_slice() {
        [one, _] => format!("'{one}' leads to itself"),
        _ => format!("these findings lead to each other in a ring: {}", names.join(" → ")),
    };
    let mut links = ring.windows(2).map(|pair| (place(&pair[0], &pair[1]), &pair[1]));
    let first = links.next().and_then(|(span, _)| span);
    let problem = Diagnostic::error(Code::Cycle, first, message)
        .label("the ring begins here")
        .help("take one of these links out; what is there first leads to what follows".to_owned());
    links.fold(problem, |problem, (span, to)| match span {
        Some(span) => problem.related(span, format!("and on to '{to}'")),
        None => problem,
    })
}
