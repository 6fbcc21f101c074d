//! Judging knowledge beyond what loading finds: safety first, then links, then numbers and reading.
//!
//! Errors refuse the knowledge; warnings are for an author to look at. Loading has checked keys, types, names and
//! ranges before; here entries are judged together and on each machine.

mod checklists;
mod hands_on;
mod links;
mod numbers;
mod reading;
mod sentences;
mod stats;
mod steps;

#[cfg(test)]
mod tests;

use crate::diag::{Diagnostic, Span, in_order};
use crate::graph::{FaultGraph, View, machine_view};
use crate::knowledge::{Knowledge, Machine, Texts, Work, read_twice};

pub use checklists::judge as judge_checklists;
pub use stats::{Counts, Stats, stats};

/// Every problem beyond those of loading, by file and place. Spans point into `knowledge.sources`, so `texts` must be
/// those that the knowledge was loaded from. `built_in` adds what only the whole built-in knowledge must hold.
pub fn judge(knowledge: &Knowledge, texts: &Texts, built_in: bool) -> Vec<Diagnostic> {
    let (graph, mut problems) = FaultGraph::build(knowledge);
    let views: Vec<_> = knowledge.machines.values().map(|m| machine_view(knowledge, m, None)).collect();
    let mut judge = Judge { knowledge, views, problems: Vec::new() };
    hands_on::judge(&mut judge);
    steps::judge(&mut judge);
    links::judge(&mut judge, &graph);
    numbers::judge(&mut judge, built_in);
    reading::judge(&mut judge, texts);
    problems.extend(judge.problems);
    problems.extend(read_twice(texts).1);
    in_order(&mut problems);
    problems
}

/// What every judgement needs.
struct Judge<'k> {
    knowledge: &'k Knowledge,
    /// One for each machine, any option possible.
    views: Vec<View<'k>>,
    problems: Vec<Diagnostic>,
}

impl<'k> Judge<'k> {
    fn push(&mut self, problem: Diagnostic) {
        self.problems.push(problem);
    }

    /// The machines on which a piece of work can be done.
    fn machines_for(&self, work: &'k Work) -> impl Iterator<Item = &'k Machine> + use<'k> {
        self.knowledge.machines.values().filter(move |m| m.can_do(work, None))
    }
}

/// A check or a remedy, as far as its work goes.
struct Job<'k> {
    kind: &'static str,
    id: &'k str,
    span: Span,
    work: &'k Work,
}

/// Checks, then remedies.
fn jobs(knowledge: &Knowledge) -> impl Iterator<Item = Job<'_>> {
    let checks = knowledge.checks.values();
    let remedies = knowledge.remedies.values();
    checks
        .map(|c| Job { kind: "check", id: c.id.as_str(), span: c.head.span, work: &c.work })
        .chain(remedies.map(|r| Job { kind: "remedy", id: r.id.as_str(), span: r.head.span, work: &r.work }))
}

/// `a`, `a and b`, `a, b and c`.
fn listed<T: std::fmt::Display>(all: &[T]) -> String {
    let words: Vec<String> = all.iter().map(ToString::to_string).collect();
    match words.as_slice() {
        [] => String::new(),
        [one] => one.clone(),
        [most @ .., last] => format!("{} and {last}", most.join(", ")),
    }
}
