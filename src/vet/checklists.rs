//! Judging checklists: what loading cannot see in one item alone. Hands go in only where nothing is connected, where
//! everything is locked out, or where guards and stops stand proved; every figure has a limit; nobody slips past a hold;
//! every item can come up.

use std::collections::{BTreeMap, BTreeSet};

use super::{Job, Judge, hands_on, listed, reading, steps};
use crate::checklist::{Checklist, Checklists, Condition, Item, Kind, Section};
use crate::diag::{Code, Diagnostic, in_order};
use crate::ids::{ItemId, ListId, OutcomeId};
use crate::knowledge::{Knowledge, Machine, read_again, yaml};
use crate::safety::{Exposure, Exposures};

/// Every problem beyond those of loading, by file and place. Spans point into the sources of the lists.
pub fn judge(lists: &Checklists, knowledge: &Knowledge) -> Vec<Diagnostic> {
    let mut judge = Judge { knowledge, views: Vec::new(), problems: Vec::new() };
    for list in lists.lists.values() {
        for (_, item) in list.items() {
            let job = Job { kind: "item", id: item.id.value.as_str(), span: item.id.span, work: &item.work };
            hands_on::one(&mut judge, &job);
            steps::one(&mut judge, &job);
        }
        let mut one = One { list, lists: &lists.lists, knowledge, problems: Vec::new() };
        one.order();
        one.items();
        judge.problems.extend(one.problems);
    }
    let mut problems = judge.problems;
    for file in lists.sources.ids() {
        if let Ok(node) = yaml::parse(&lists.sources, file) {
            reading::read(&mut problems, knowledge, &lists.sources, "", &node);
        }
    }
    problems.extend(read_again(&lists.sources));
    // What stands in a file of the knowledge has no place among the files of the lists.
    problems.iter_mut().for_each(|problem| problem.related.clear());
    in_order(&mut problems);
    problems
}

struct One<'l> {
    list: &'l Checklist,
    lists: &'l BTreeMap<ListId, Checklist>,
    knowledge: &'l Knowledge,
    problems: Vec<Diagnostic>,
}

/// A hold that everything after it leans on, and the conditions under which it comes up.
struct Leant<'l>(Vec<&'l Condition>);

impl Leant<'_> {
    /// Whether it has come up wherever an item does.
    fn stands_for(&self, section: &Section, item: &Item) -> bool {
        let mine: Vec<_> = Checklist::conditions(section, item).collect();
        self.0.iter().all(|wanted| mine.iter().any(|c| c.same(wanted)))
    }
}

impl One<'_> {
    fn push(&mut self, item: &Item, code: Code, message: String, help: &str) {
        self.problems.push(Diagnostic::error(code, item.id.span, message).help(help.to_owned()));
    }

    fn exposures(&self, item: &Item) -> Exposures {
        let machines = self.knowledge.machines.values().filter(|m| self.list.is_for(&m.id));
        machines.fold(Exposures::outside(), |all, machine| all.union(&machine.exposures(&item.work)))
    }

    /// Whether guards and stops stand proved by a list that comes before this one.
    fn proved_before(&self) -> bool {
        let proves = |(section, item): (&Section, &Item)| {
            item.proves_guards && Checklist::conditions(section, item).next().is_none()
        };
        self.list.before(self.lists).iter().any(|list| list.items().any(proves))
    }

    /// Hands-on items in the order of the list.
    fn order(&mut self) {
        let list = self.list;
        let mut proved = self.proved_before().then(|| Leant(Vec::new()));
        let mut locked: Option<Leant<'_>> = None;
        for (section, item) in list.items() {
            let exposures = self.exposures(item);
            let stands =
                |leant: &Option<Leant<'_>>| leant.as_ref().is_some_and(|l| l.stands_for(section, item));
            let safe = list.unconnected || stands(&locked) || stands(&proved);
            // Live parts are for the qualified person under their own permit, whom the walk asks for by name.
            let live_only = exposures.has(Exposure::Energised) && !exposures.has(Exposure::AtScale);
            if exposures.hands_on() && !safe && !live_only {
                let message = format!(
                    "'{}' is hands-on ({exposures}) before guards and stops are proved",
                    item.id.value
                );
                let help = "put it behind a `locks_out` hold or a `proves_guards` hold of this list, let the list come `after` \
                            one that proves guards, or say `unconnected: true` where nothing is connected yet";
                self.push(item, Code::GuardsNotProved, message, help);
            }
            self.at_the_scale(section, item, &exposures);
            let here = || Leant(Checklist::conditions(section, item).collect());
            if item.locks_out {
                locked = Some(here());
            }
            if item.restores {
                locked = None;
            }
            if item.proves_guards {
                proved = Some(here());
            }
        }
        if list.unconnected
            && let Some(id) = self.restored_before()
        {
            let message =
                format!("'{}' is unconnected and comes after '{id}', which brings energy back", list.id);
            let help = "take `unconnected` out and lock out instead";
            self.problems
                .push(Diagnostic::error(Code::GuardsNotProved, list.span, message).help(help.to_owned()));
        }
    }

    /// A list before this one after which the machine has power or air.
    fn restored_before(&self) -> Option<ListId> {
        let mut before = self.list.before(self.lists).into_iter();
        before.find(|list| list.items().any(|(_, item)| item.restores)).map(|list| list.id.clone())
    }

    /// A test weight goes on a live scale only where somebody said that each motion locks off without it.
    fn at_the_scale(&mut self, section: &Section, item: &Item, exposures: &Exposures) {
        let chosen = Checklist::conditions(section, item).any(|c| matches!(c, Condition::Answer { .. }));
        if exposures.has(Exposure::AtScale) && !self.list.unconnected && !chosen {
            let message = format!("'{}' is at the live scale whatever feeds it", item.id.value);
            let help =
                "ask first, by a choice, whether the scale has a supply of its own, and depend on the answer";
            self.push(item, Code::GuardsNotProved, message, help);
        }
    }

    fn items(&mut self) {
        let list = self.list;
        for (section, item) in list.items() {
            if let Kind::Measure(measure) = &item.kind
                && measure.limits.least.is_none()
                && measure.limits.most.is_none()
            {
                let message = format!("'{}' measures and has no limit", item.id.value);
                self.push(item, Code::NoLimit, message, "say `least:`, `most:` or both under `asks:`");
            }
            self.hold(section, item);
            self.reachable(section, item);
        }
    }

    /// Nobody slips past a hold, nor past the roles that only a hold can have.
    fn hold(&mut self, section: &Section, item: &Item) {
        let id = &item.id.value;
        let is_hold = matches!(item.kind, Kind::Hold(_));
        let help = "take that out: a hold is passed by name only";
        if is_hold && item.may_be_skipped == Some(true) {
            self.push(item, Code::HoldPassed, format!("the hold '{id}' may be skipped"), help);
        }
        if matches!(item.kind, Kind::Hold(0)) {
            self.push(
                item,
                Code::HoldPassed,
                format!("nobody signs the hold '{id}'"),
                "ask for at least one name",
            );
        }
        let chosen = Checklist::conditions(section, item).filter_map(|condition| match condition {
            Condition::Answer { item, .. } => self.list.item(&item.value),
            _ => None,
        });
        let passed = chosen.into_iter().find(|choice| choice.may_be_skipped == Some(true));
        if let Some(choice) = passed.filter(|_| is_hold) {
            let message = format!(
                "the hold '{id}' hangs on the choice '{}', which may be skipped and the hold with it",
                choice.id.value
            );
            self.push(item, Code::HoldPassed, message, help);
        }
        if (item.locks_out || item.proves_guards) && !is_hold {
            let message = format!("'{id}' locks out or proves guards and is no hold, so it can be passed");
            self.push(item, Code::HoldPassed, message, "make it an item of `kind: hold`");
        }
        if item.proves_guards && matches!(item.kind, Kind::Hold(names) if names < 2) {
            let message = format!("'{id}' proves guards with one name");
            self.push(item, Code::HoldPassed, message, "two people prove guards: write `names: 2`");
        }
    }

    /// An item that no machine, option or answer brings up is read by nobody.
    fn reachable(&mut self, section: &Section, item: &Item) {
        let machines = self.knowledge.machines.values().filter(|m| self.list.is_for(&m.id));
        if machines.into_iter().any(|machine| self.comes_up_on(machine, section, item)) {
            return;
        }
        let all: Vec<_> = self.knowledge.machines.keys().filter(|id| self.list.is_for(id)).collect();
        let message = format!("'{}' can never come up on {}", item.id.value, listed(&all));
        let help = "look at `only_if` here, of its section, and of the choices it hangs on";
        self.push(item, Code::Unreachable, message, help);
    }

    fn comes_up_on(&self, machine: &Machine, section: &Section, item: &Item) -> bool {
        let mut allowed: BTreeMap<&ItemId, BTreeSet<&OutcomeId>> = BTreeMap::new();
        let mut open: Vec<&Condition> = Checklist::conditions(section, item).collect();
        let mut followed = BTreeSet::new();
        while let Some(condition) = open.pop() {
            match condition {
                Condition::Machine(wanted) if wanted.value != machine.id => return false,
                Condition::Option(option) if !machine.options.contains_key(&option.value) => return false,
                Condition::Answer { item: choice, is } => {
                    let these: BTreeSet<_> = is.iter().map(|a| &a.value).collect();
                    let left = allowed.entry(&choice.value).or_insert_with(|| these.clone());
                    left.retain(|answer| these.contains(answer));
                    let choices = self.list.item(&choice.value).map(|item| &item.kind);
                    if let Some(Kind::Choice(known)) = choices {
                        left.retain(|answer| known.iter().any(|c| c.id.value == **answer));
                    }
                    if left.is_empty() {
                        return false;
                    }
                    // The choice itself must come up too.
                    if followed.insert(&choice.value)
                        && let Some((section, item)) =
                            self.list.items().find(|(_, i)| i.id.value == choice.value)
                    {
                        open.extend(Checklist::conditions(section, item));
                    }
                }
                Condition::Machine(_) | Condition::Option(_) => {}
            }
        }
        true
    }
}
