//! What entries say about each other: both sides agree, nothing hangs loose, causes can be told apart.

use std::collections::{BTreeMap, BTreeSet};

use super::{Judge, jobs, listed};
use crate::diag::{Code, Diagnostic, Span};
use crate::graph::{FaultGraph, Loose, Node, loose_ends, not_told_apart};
use crate::ids::{CauseId, FindingId};
use crate::knowledge::{At, Cause, Head, Knowledge, Remedy};

pub(super) fn judge(judge: &mut Judge<'_>, graph: &FaultGraph) {
    let knowledge = judge.knowledge;
    named_twice(judge);
    knowledge.causes.values().for_each(|cause| remedies_of(judge, cause));
    knowledge.remedies.values().for_each(|remedy| remedy_holds(judge, remedy));
    // With an entry missing, much hangs loose that does not when its own problem is mended.
    if knowledge.refused.is_empty() {
        loose(judge, graph);
        nowhere(judge);
        cautions(judge);
        apart(judge);
    }
}

fn head<'k>(knowledge: &'k Knowledge, node: &Node) -> Option<&'k Head> {
    match node {
        Node::Circumstance(id) => knowledge.circumstances.get(id).map(|e| &e.head),
        Node::Cause(id) => knowledge.causes.get(id).map(|e| &e.head),
        Node::Finding(id) => knowledge.findings.get(id).map(|e| &e.head),
        Node::Check(id) => knowledge.checks.get(id).map(|e| &e.head),
        Node::Remedy(id) => knowledge.remedies.get(id).map(|e| &e.head),
    }
}

fn loose(judge: &mut Judge<'_>, graph: &FaultGraph) {
    for (node, how) in loose_ends(graph) {
        let (what, help) = match how {
            Loose::RaisesNothing => ("raises no cause", "name it under `after:` of a cause, or take it out"),
            Loose::LeadsNowhere => {
                ("leads to nothing that shows", "say under `leads_to:` what it brings about")
            }
            Loose::HasNoRemedy => ("has no remedy", "write a remedy that `cures:` it, and name it here"),
            Loose::ComesFromNothing => {
                ("comes from no cause", "name it under `leads_to:` of what brings it about")
            }
            Loose::IsNotSeen => ("is seen by no check", "write a check whose outcome means it"),
            Loose::BearsOnNothing => ("bears on nothing", "say under `means:` what its outcomes speak for"),
        };
        // What is written and names the wrong thing has its own problem already.
        let written = match (&node, how) {
            (Node::Cause(id), Loose::LeadsNowhere) => !judge.knowledge.causes[id].leads_to.is_empty(),
            (Node::Cause(id), Loose::HasNoRemedy) => !judge.knowledge.causes[id].remedies.is_empty(),
            (Node::Check(id), Loose::BearsOnNothing) => {
                judge.knowledge.checks[id].outcomes.iter().any(|o| !o.means.is_empty())
            }
            _ => false,
        };
        if written {
            continue;
        }
        let span = head(judge.knowledge, &node).map(|head| head.span);
        let message = format!("the {} '{}' {what}", node.kind(judge.knowledge), node.id());
        judge.push(Diagnostic::warning(Code::Unreachable, span, message).label(what).help(help.to_owned()));
    }
}

/// The same name twice in one list would count twice in the belief.
fn named_twice(judge: &mut Judge<'_>) {
    let knowledge = judge.knowledge;
    let mut lists: Vec<(&str, Vec<&At<FindingId>>)> = Vec::new();
    for cause in knowledge.causes.values() {
        lists.push(("leads_to", cause.leads_to.iter().map(|l| &l.finding).collect()));
    }
    for finding in knowledge.findings.values() {
        lists.push(("leads_to", finding.leads_to.iter().map(|l| &l.finding).collect()));
    }
    for outcome in knowledge.checks.values().flat_map(|c| &c.outcomes) {
        lists.push(("means", outcome.means.iter().map(|m| &m.finding).collect()));
    }
    for (key, list) in lists {
        let mut seen: BTreeMap<&FindingId, Span> = BTreeMap::new();
        for name in list {
            if let Some(first) = seen.insert(&name.value, name.span) {
                judge.push(
                    Diagnostic::error(
                        Code::BadValue,
                        name.span,
                        format!("'{}' stands twice under `{key}`", name.value),
                    )
                    .label("again here")
                    .related(first, "first here")
                    .help("keep one of them".to_owned()),
                );
            }
        }
    }
}

/// What a cause says about its remedies holds, and on every machine one of them can be done.
fn remedies_of(judge: &mut Judge<'_>, cause: &Cause) {
    for named in &cause.remedies {
        let Some(remedy) = judge.knowledge.remedies.get(&named.value) else { continue };
        let known = judge.knowledge.causes.contains_key(&remedy.cures.value);
        if known && remedy.cures.value != cause.id {
            let message = format!("'{}' cures '{}', and not '{}'", remedy.id, remedy.cures.value, cause.id);
            judge.push(
                Diagnostic::error(Code::BadValue, named.span, message)
                    .label("named here as its remedy")
                    .related(remedy.cures.span, "what it cures")
                    .help("take it out here, or write a remedy of its own for this cause".to_owned()),
            );
        }
    }
    let all = judge.knowledge.remedies.values();
    let cures: Vec<_> = all.filter(|r| r.cures.value == cause.id).collect();
    for (id, rate) in &cause.machines {
        let Some(machine) = judge.knowledge.machines.get(id) else { continue };
        let impossible = cause.needs_option.iter().find(|o| !machine.options.contains_key(&o.value));
        if let Some(option) = impossible {
            let message =
                format!("'{}' is said of {id}, which never has the option '{}'", cause.id, option.value);
            judge.push(
                Diagnostic::warning(Code::Unreachable, rate.span, message)
                    .label("it cannot occur here")
                    .help("take this machine out, or add the option to it".to_owned()),
            );
        } else if !cures.is_empty() && !cures.iter().any(|r| machine.can_do(&r.work, None)) {
            let message = format!("none of the remedies of '{}' can be done on {id}", cause.id);
            judge.push(
                Diagnostic::warning(Code::Unreachable, rate.span, message)
                    .label("no remedy here")
                    .help("write a remedy for this machine, at a place that it has".to_owned()),
            );
        }
    }
}

/// What a remedy says about its cause, its proof and its gates holds.
fn remedy_holds(judge: &mut Judge<'_>, remedy: &Remedy) {
    let knowledge = judge.knowledge;
    let cause = knowledge.causes.get(&remedy.cures.value);
    if let Some(cause) = cause.filter(|c| c.remedies.iter().all(|r| r.value != remedy.id)) {
        let message = format!("'{}' cures '{}', which does not name it", remedy.id, cause.id);
        judge.push(
            Diagnostic::warning(Code::Unreachable, remedy.cures.span, message)
                .label("its cause does not know of it")
                .related(cause.head.span, "the cause")
                .help(format!("add {} under `remedies:` of that cause", remedy.id)),
        );
    }
    if remedy.calibrates && remedy.only_after.is_empty() {
        let message =
            format!("'{}' touches zero, span, filter or learned values and waits for nothing", remedy.id);
        judge.push(
            Diagnostic::error(Code::MissingKey, remedy.head.span, message).label("no `only_after`").help(
                "name the checks for pan free, level, warm and a known weight under `only_after:`".to_owned(),
            ),
        );
    }
    let proof = std::iter::once((&remedy.proved_by, "its proof"));
    let gates = remedy.only_after.iter().map(|gate| (&gate.check, "what it waits for"));
    for (named, what) in proof.chain(gates) {
        let Some(check) = knowledge.checks.get(&named.value) else { continue };
        let mut here = judge.machines_for(&remedy.work);
        if let Some(machine) = here.find(|m| !m.can_do(&check.work, None)) {
            let message =
                format!("'{}' can be done on {}, and {what}, '{}', cannot", remedy.id, machine.id, check.id);
            judge.push(
                Diagnostic::error(Code::BadValue, named.span, message)
                    .label("not on every machine of this remedy")
                    .help("name a check that each of its machines has, or keep the remedy to some with `machines:`".to_owned()),
            );
        }
    }
}

/// Work and causes that no machine has.
fn nowhere(judge: &mut Judge<'_>) {
    for job in jobs(judge.knowledge) {
        if judge.machines_for(job.work).next().is_none() {
            let message = format!("the {} '{}' can be done on no machine", job.kind, job.id);
            judge.push(
                Diagnostic::warning(Code::Unreachable, job.work.place.span, message)
                    .label("no machine has this place with its options")
                    .help(
                        "add the place to a machine, or look at `needs_option:` and `machines:`".to_owned(),
                    ),
            );
        }
    }
    for cause in judge.knowledge.causes.values().filter(|c| c.machines.is_empty()) {
        let message = format!("the cause '{}' occurs on no machine", cause.id);
        judge.push(
            Diagnostic::warning(Code::Unreachable, cause.head.span, message)
                .label("no machine")
                .help("give its rate under `machines:`".to_owned()),
        );
    }
}

fn cautions(judge: &mut Judge<'_>) {
    let named: BTreeSet<_> =
        jobs(judge.knowledge).flat_map(|job| &job.work.cautions).map(|c| &c.value).collect();
    for (id, caution) in &judge.knowledge.cautions {
        if !named.contains(id) {
            judge.problems.push(
                Diagnostic::warning(
                    Code::Unreachable,
                    caution.head.span,
                    format!("no check or remedy names the caution '{id}'"),
                )
                .label("never shown")
                .help("name it under `cautions:` where it belongs, or take it out".to_owned()),
            );
        }
    }
}

/// One warning a group of causes, with the machines on which no check tells them apart.
fn apart(judge: &mut Judge<'_>) {
    let mut groups: BTreeMap<Vec<CauseId>, Vec<String>> = BTreeMap::new();
    for view in &judge.views {
        for group in not_told_apart(judge.knowledge, view) {
            groups.entry(group).or_default().push(view.machine.id.to_string());
        }
    }
    for (group, machines) in groups {
        let message = format!("on {} no check tells {} apart", listed(&machines), listed(&group));
        let mut places =
            group.iter().filter_map(|id| judge.knowledge.causes.get(id)).map(|c| (&c.id, c.head.span));
        let first = places.next().map(|(_, span)| span);
        let problem = Diagnostic::warning(Code::NotToldApart, first, message)
            .label("shows in the same answers as the others")
            .help("write a check whose outcomes differ between them".to_owned());
        judge.problems.push(places.fold(problem, |p, (id, span)| p.related(span, format!("'{id}'"))));
    }
}
