//! `show`: one entry of any kind with what it is linked to. Cautions stand before steps; a lockout is said once.

mod links;
mod machine;
mod near;
mod work;

pub use work::{OnMachine, steps_by_machine};

use std::collections::BTreeMap;

use super::{Block, Page, Words, words};
use crate::graph::{FaultGraph, Node};
use crate::ids::MachineId;
use crate::knowledge::{
    Cause, CautionEntry, Check, Circumstance, Finding, FindingKind, Head, Knowledge, LessonEntry, Machine,
    Remedy, Rule, Setting, Sign,
};

/// An entry of any kind.
#[derive(Debug, Clone, Copy)]
pub enum Entry<'k> {
    /// A family of machines.
    Machine(&'k Machine),
    /// Something that happened before.
    Circumstance(&'k Circumstance),
    /// A symptom or a condition.
    Finding(&'k Finding),
    /// What is wrong.
    Cause(&'k Cause),
    /// A question, a measurement or a test.
    Check(&'k Check),
    /// What puts a cause right.
    Remedy(&'k Remedy),
    /// A hazard.
    Caution(&'k CautionEntry),
    /// What fills may weigh.
    Rule(&'k Rule),
    /// What a visit taught.
    Lesson(&'k LessonEntry),
    /// A setting, with the machine whose words are shown.
    Setting(&'k Machine, &'k Setting),
    /// A lamp or a reading, with the machine whose words are shown.
    Sign(&'k Machine, &'k Sign),
}

impl<'k> Entry<'k> {
    /// Every entry, in the order of kinds and then of ids. A setting or sign that several machines have is one entry,
    /// in the words of the first.
    pub fn all(knowledge: &'k Knowledge) -> impl Iterator<Item = Entry<'k>> {
        let (mut settings, mut signs) = (BTreeMap::new(), BTreeMap::new());
        for m in knowledge.machines.values() {
            for s in &m.settings {
                settings.entry(&s.id).or_insert(Entry::Setting(m, s));
            }
            for s in &m.signs {
                signs.entry(&s.id).or_insert(Entry::Sign(m, s));
            }
        }
        knowledge
            .machines
            .values()
            .map(Entry::Machine)
            .chain(knowledge.circumstances.values().map(Entry::Circumstance))
            .chain(knowledge.findings.values().map(Entry::Finding))
            .chain(knowledge.causes.values().map(Entry::Cause))
            .chain(knowledge.checks.values().map(Entry::Check))
            .chain(knowledge.remedies.values().map(Entry::Remedy))
            .chain(knowledge.cautions.values().map(Entry::Caution))
            .chain(knowledge.rules.values().map(Entry::Rule))
            .chain(knowledge.lessons.values().map(Entry::Lesson))
            .chain(settings.into_values())
            .chain(signs.into_values())
    }

    /// The entries that an id names now or named before; several when kinds or machines share it.
    pub fn named(knowledge: &'k Knowledge, id: &str) -> Vec<Entry<'k>> {
        let found: Vec<_> = Self::all(knowledge).filter(|e| e.id() == id).collect();
        match (found.is_empty(), knowledge.was.get(id)) {
            (true, Some(now)) => Self::all(knowledge).filter(|e| e.id() == now).collect(),
            _ => found,
        }
    }

    /// The same entry in the words of one machine; `None` when that machine has no such setting or sign.
    pub fn on(self, machine: &'k Machine) -> Option<Entry<'k>> {
        match self {
            Entry::Setting(_, this) => machine.setting(&this.id).map(|s| Entry::Setting(machine, s)),
            Entry::Sign(_, this) => {
                machine.signs.iter().find(|s| s.id == this.id).map(|s| Entry::Sign(machine, s))
            }
            other => Some(other),
        }
    }

    /// Every machine that has this setting or sign, in order of id; none for other kinds.
    pub fn machines(self, knowledge: &'k Knowledge) -> Vec<&'k Machine> {
        let single = matches!(self, Entry::Setting(..) | Entry::Sign(..));
        knowledge.machines.values().filter(|m| single && self.on(m).is_some()).collect()
    }

    /// Its id.
    pub fn id(self) -> &'k str {
        match self {
            Entry::Machine(e) => e.id.as_str(),
            Entry::Circumstance(e) => e.id.as_str(),
            Entry::Finding(e) => e.id.as_str(),
            Entry::Cause(e) => e.id.as_str(),
            Entry::Check(e) => e.id.as_str(),
            Entry::Remedy(e) => e.id.as_str(),
            Entry::Caution(e) => e.caution.id.as_str(),
            Entry::Rule(e) => e.id.as_str(),
            Entry::Lesson(e) => e.id.as_str(),
            Entry::Setting(_, e) => e.id.as_str(),
            Entry::Sign(_, e) => e.id.as_str(),
        }
    }

    /// The word for its kind.
    pub fn kind(self) -> &'static str {
        match self {
            Entry::Machine(_) => "machine",
            Entry::Circumstance(_) => "circumstance",
            Entry::Finding(e) if e.kind == FindingKind::Symptom => "symptom",
            Entry::Finding(_) => "condition",
            Entry::Cause(_) => "cause",
            Entry::Check(_) => "check",
            Entry::Remedy(_) => "remedy",
            Entry::Caution(_) => "caution",
            Entry::Rule(_) => "rule",
            Entry::Lesson(_) => "lesson",
            Entry::Setting(..) => "setting",
            Entry::Sign(..) => "sign",
        }
    }

    /// Its title.
    pub fn title(self) -> &'k str {
        match self {
            Entry::Setting(_, setting) => &setting.title,
            Entry::Sign(_, sign) => &sign.title,
            _ => self.head().map_or("", |head| &head.title),
        }
    }

    /// What every entry but a setting and a sign has.
    pub fn head(self) -> Option<&'k Head> {
        match self {
            Entry::Machine(e) => Some(&e.head),
            Entry::Circumstance(e) => Some(&e.head),
            Entry::Finding(e) => Some(&e.head),
            Entry::Cause(e) => Some(&e.head),
            Entry::Check(e) => Some(&e.head),
            Entry::Remedy(e) => Some(&e.head),
            Entry::Caution(e) => Some(&e.head),
            Entry::Rule(e) => Some(&e.head),
            Entry::Lesson(e) => Some(&e.head),
            Entry::Setting(..) | Entry::Sign(..) => None,
        }
    }

    /// How people say it.
    pub fn said(self) -> &'k [String] {
        match self {
            Entry::Sign(_, sign) => &sign.said,
            _ => self.head().map_or(&[], |head| &head.said),
        }
    }

    /// Its place in the fault graph, for the kinds that have one.
    pub fn node(self) -> Option<Node> {
        match self {
            Entry::Circumstance(e) => Some(Node::Circumstance(e.id.clone())),
            Entry::Finding(e) => Some(Node::Finding(e.id.clone())),
            Entry::Cause(e) => Some(Node::Cause(e.id.clone())),
            Entry::Check(e) => Some(Node::Check(e.id.clone())),
            Entry::Remedy(e) => Some(Node::Remedy(e.id.clone())),
            Entry::Machine(_)
            | Entry::Caution(_)
            | Entry::Rule(_)
            | Entry::Lesson(_)
            | Entry::Setting(..)
            | Entry::Sign(..) => None,
        }
    }
}

/// The page of an entry, on one machine if given.
pub fn page(knowledge: &Knowledge, graph: &FaultGraph, entry: Entry<'_>, machine: Option<&Machine>) -> Page {
    let mut page = Page::titled(entry.title());
    let stop = matches!(entry, Entry::Finding(finding) if finding.stop_first);
    if stop {
        page.text(Words::new().strong("Stop the machine and make it safe before anything else."));
    }
    page.text(Words::new().plain(format!("{} ", words::sentence_start(entry.kind()))).strong(entry.id()));
    if let Some(about) = entry.head().and_then(|head| head.about.as_ref()) {
        page.text(about.as_str());
    }
    body(&mut page, knowledge, entry, machine);
    links::add(&mut page, knowledge, graph, entry, machine);
    if let Some(head) = entry.head() {
        origin(&mut page, knowledge, head);
    }
    if stop || matches!(entry, Entry::Machine(_)) {
        page.push(Block::Notice);
    }
    page
}

fn body(page: &mut Page, knowledge: &Knowledge, entry: Entry<'_>, machine: Option<&Machine>) {
    match entry {
        Entry::Machine(e) => machine::machine(page, e),
        Entry::Setting(m, e) => machine::setting(page, knowledge, m, e),
        Entry::Sign(m, e) => machine::sign(page, knowledge, m, e),
        Entry::Circumstance(e) => {
            page.text(Words::new().plain("Ask: ").strong(&e.asked));
            page.text(format!("Before a call it is so in {} of cases.", words::percent(e.usual)));
        }
        Entry::Finding(e) => finding(page, e),
        Entry::Cause(e) => cause(page, knowledge, e),
        Entry::Check(e) => work::check(page, knowledge, e, machine),
        Entry::Remedy(e) => work::remedy(page, knowledge, e, machine),
        Entry::Caution(e) => page.push(Block::Caution(e.caution.clone())),
        Entry::Rule(e) => crate::view::tolerance::rule(page, e),
        Entry::Lesson(e) => crate::view::lessons::accepted(page, &e.lesson),
    }
    let said = entry.said();
    page.section("How people say it", said.iter().take(MOST_SAID).map(|s| format!("“{s}”")));
    if said.len() > MOST_SAID {
        page.text(format!("And {} in all with --json.", words::count(said.len(), "phrase", "phrases")));
    }
}

/// Phrases shown; search knows them all.
const MOST_SAID: usize = 5;

fn finding(page: &mut Page, finding: &Finding) {
    if finding.degrees == 2 {
        page.text("It can be there some or much.");
    }
}

fn cause(page: &mut Page, knowledge: &Knowledge, cause: &Cause) {
    let machine =
        |id: &MachineId| knowledge.machines.get(id).map_or(id.as_str(), |m| m.head.title.as_str()).to_owned();
    let mut by_rate: BTreeMap<String, Vec<String>> = BTreeMap::new();
    for (id, rate) in &cause.machines {
        by_rate.entry(crate::graph::rate_word(rate.value, &knowledge.scale)).or_default().push(machine(id));
    }
    for (rate, machines) in by_rate {
        page.text(format!("{} on: {}.", words::sentence_start(&rate), words::and(&machines)));
    }
    if cause.comes_and_goes {
        page.text("It comes and goes: check while it is doing it.");
    }
}

/// Where the numbers come from.
fn origin(page: &mut Page, knowledge: &Knowledge, head: &Head) {
    let Some(basis) = &head.basis else { return };
    let from = knowledge.origins.get(&basis.from.value).map_or(basis.from.value.as_str(), String::as_str);
    page.text(format!("Basis: {} ({from}).", words::clause(&basis.text)));
}
