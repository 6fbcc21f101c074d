//! Every name that a list uses must name something; what does not is a problem with the nearest names.

use std::collections::{BTreeMap, BTreeSet};

use super::model::{Checklist, Condition, Failure, Item, Kind, Leads, On, Section};
use crate::diag::{Code, Diagnostic, Span};
use crate::ids::{self, ItemId, ListId, OutcomeId};
use crate::knowledge::{Asks, Knowledge, Machine, unknown};

/// Looks every name of every list up.
pub(super) fn resolve(lists: &BTreeMap<ListId, Checklist>, knowledge: &Knowledge) -> Vec<Diagnostic> {
    let mut problems = Vec::new();
    for list in lists.values() {
        let mut lookup = Lookup { list, knowledge, lists, problems: Vec::new() };
        lookup.head();
        lookup.items();
        problems.extend(lookup.problems);
    }
    problems.extend(rings(lists));
    problems
}

struct Lookup<'l> {
    list: &'l Checklist,
    knowledge: &'l Knowledge,
    lists: &'l BTreeMap<ListId, Checklist>,
    problems: Vec<Diagnostic>,
}

impl<'l> Lookup<'l> {
    fn known<'a>(
        &mut self,
        what: &str,
        name: &str,
        span: Span,
        all: impl Iterator<Item = &'a str> + Clone,
    ) -> bool {
        let problem = unknown(what, name, span, all);
        let found = problem.is_none();
        self.problems.extend(problem);
        found
    }

    fn wrong(&mut self, code: Code, span: Span, message: impl Into<String>) {
        self.problems.push(Diagnostic::error(code, span, message));
    }

    fn head(&mut self) {
        let (k, lists) = (self.knowledge, self.lists);
        for machine in self.list.machines.iter().flatten() {
            let all = k.machines.keys().map(ids::MachineId::as_str);
            self.known("machine", machine.value.as_str(), machine.span, all);
        }
        for before in &self.list.after {
            self.known("checklist", before.value.as_str(), before.span, lists.keys().map(ListId::as_str));
        }
        if let Some(basis) = &self.list.basis {
            let all = k.origins.keys().map(String::as_str).chain(["judgement"]);
            self.known("source", &basis.from.value, basis.from.span, all);
        }
    }

    fn items(&mut self) {
        let mut earlier: BTreeMap<&ItemId, &Item> = BTreeMap::new();
        for section in &self.list.sections {
            if section.items.is_empty() {
                self.wrong(
                    Code::BadValue,
                    self.list.span,
                    format!("the section '{}' has no items", section.title),
                );
            }
            self.conditions(&section.only_if, &earlier);
            for item in &section.items {
                self.conditions(&item.only_if, &earlier);
                self.item(section, item);
                if earlier.insert(&item.id.value, item).is_some() {
                    let message = format!("'{}' is an item of this list already", item.id.value);
                    self.wrong(Code::BadId, item.id.span, message);
                }
            }
        }
    }

    fn conditions(&mut self, conditions: &[Condition], earlier: &BTreeMap<&ItemId, &Item>) {
        let k = self.knowledge;
        for condition in conditions {
            match condition {
                Condition::Machine(machine) => {
                    let all = k.machines.keys().map(ids::MachineId::as_str);
                    self.known("machine", machine.value.as_str(), machine.span, all);
                }
                Condition::Option(option) => {
                    let all = k.machines.values().flat_map(|m| m.options.keys()).map(ids::OptionId::as_str);
                    self.known("option", option.value.as_str(), option.span, all);
                }
                Condition::Answer { item, is } => {
                    let names = earlier.keys().map(|id| id.as_str());
                    if !self.known("earlier item", item.value.as_str(), item.span, names) {
                        continue;
                    }
                    let Kind::Choice(answers) = &earlier[&item.value].kind else {
                        let message =
                            format!("'{}' is no choice, so nothing can depend on its answer", item.value);
                        self.wrong(Code::BadValue, item.span, message);
                        continue;
                    };
                    for answer in is {
                        let all = answers.iter().map(|a| a.id.value.as_str());
                        self.known("answer", answer.value.as_str(), answer.span, all);
                    }
                }
            }
        }
    }

    /// The machines that an item can come up on.
    fn machines(&self, section: &Section, item: &Item) -> Vec<&'l Machine> {
        let named: BTreeSet<&str> = Checklist::conditions(section, item)
            .filter_map(|c| if let Condition::Machine(m) = c { Some(m.value.as_str()) } else { None })
            .collect();
        let fits = |m: &&Machine| self.list.is_for(&m.id) && named.iter().all(|name| *name == m.id.as_str());
        self.knowledge.machines.values().filter(fits).collect()
    }

    fn item(&mut self, section: &Section, item: &Item) {
        let k = self.knowledge;
        let named = item.work.steps.iter().filter_map(|s| s.place.as_ref()).chain([&item.work.place]);
        for place in named {
            for machine in self.machines(section, item) {
                let what = format!("place on the {}", machine.head.title);
                let all = machine.places.keys().map(ids::PlaceId::as_str);
                if !self.known(&what, place.value.as_str(), place.span, all) {
                    break;
                }
            }
        }
        for caution in &item.work.cautions {
            let all = k.cautions.keys().map(ids::CautionId::as_str);
            self.known("caution", caution.value.as_str(), caution.span, all);
        }
        if let Some(list) = &item.list {
            let all = self.lists;
            self.known("checklist", list.value.as_str(), list.span, all.keys().map(ListId::as_str));
        }
        let mut answers = BTreeSet::new();
        if let Kind::Choice(choices) = &item.kind {
            for choice in choices {
                if !answers.insert(&choice.id.value) {
                    self.wrong(
                        Code::BadId,
                        choice.id.span,
                        format!("'{}' is an answer already", choice.id.value),
                    );
                }
            }
        }
        for failure in &item.fails {
            self.failure(item, failure, &answers);
        }
    }

    fn failure(&mut self, item: &Item, failure: &Failure, answers: &BTreeSet<&OutcomeId>) {
        for on in &failure.on {
            let fits = match (&on.value, &item.kind) {
                (On::Below | On::Above, Kind::Measure(_) | Kind::Run(_)) | (On::Scattered, Kind::Run(_)) => {
                    true
                }
                (On::Chosen(answer), Kind::Choice(_)) => {
                    let all = answers.iter().map(|a| a.as_str());
                    self.known("answer", answer.as_str(), on.span, all);
                    continue;
                }
                _ => false,
            };
            if !fits {
                let message = format!("an item of kind {} does not fail in this way", item.kind.word());
                self.wrong(Code::BadValue, on.span, message);
            }
        }
        if failure.on.is_empty() && matches!(item.kind, Kind::Choice(_)) {
            let message = "a choice fails by its answers; name them with `on:`";
            self.wrong(Code::MissingKey, failure.span, message);
        }
        let Leads::Opens { finding, check, outcome, .. } = &failure.leads else { return };
        let k = self.knowledge;
        self.known(
            "finding",
            finding.value.as_str(),
            finding.span,
            k.findings.keys().map(ids::FindingId::as_str),
        );
        let Some(check) = check else { return };
        let all = k.checks.keys().map(ids::CheckId::as_str);
        if !self.known("check", check.value.as_str(), check.span, all) {
            return;
        }
        let asked = &k.checks[&check.value];
        match outcome {
            Some(outcome) => {
                let all = asked.outcomes.iter().map(|o| o.id.value.as_str());
                self.known("outcome", outcome.value.as_str(), outcome.span, all);
            }
            None if hands_its_figure_over(item, &asked.asks) => {}
            None => {
                let message = format!(
                    "'{}' does not ask for this item's figure, so say which outcome it is",
                    check.value
                );
                self.wrong(Code::MissingKey, check.span, message);
            }
        }
    }
}

/// Whether the item's own figure is what the check asks.
fn hands_its_figure_over(item: &Item, asks: &Asks) -> bool {
    match (&item.kind, asks) {
        (Kind::Run(_), Asks::Run) => true,
        (Kind::Measure(measure), Asks::Quantity(asked)) => measure.kind == asked.kind,
        _ => false,
    }
}

/// Lists that wait for each other in a ring.
fn rings(lists: &BTreeMap<ListId, Checklist>) -> Vec<Diagnostic> {
    let mut problems = Vec::new();
    for list in lists.values().filter(|list| list.before(lists).iter().any(|before| before.id == list.id)) {
        let message = format!("'{}' comes after itself, so it can never begin", list.id);
        problems.push(Diagnostic::error(Code::Cycle, list.after[0].span, message));
    }
    problems
}
