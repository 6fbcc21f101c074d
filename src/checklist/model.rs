//! A checklist as trusted.

use std::collections::{BTreeMap, BTreeSet};

use super::acceptance::Limits;
use crate::diag::Span;
use crate::ids::{CheckId, FindingId, ItemId, ListId, MachineId, OptionId, OutcomeId};
use crate::knowledge::{At, Basis, Machine, Work};
use crate::safety::{Exposure, Exposures, Traits};
use crate::units::{Kind as Measured, Unit};

/// A list.
#[derive(Debug, Clone, PartialEq)]
pub struct Checklist {
    /// Its id, the file's stem.
    pub id: ListId,
    /// One line that names it.
    pub title: String,
    /// What it is for and who does it.
    pub about: String,
    /// Only for these machines, if given.
    pub machines: Option<Vec<At<MachineId>>>,
    /// Counted up with every change that matters on paper.
    pub revision: u32,
    /// Lists that are signed before this one.
    pub after: Vec<At<ListId>>,
    /// Done before mains, air and neighbours are connected.
    pub unconnected: bool,
    /// About how long the whole takes, in minutes.
    pub minutes: f64,
    /// Where its figures come from.
    pub basis: Option<Basis>,
    /// The parts of the list, in order.
    pub sections: Vec<Section>,
    /// Where the list begins.
    pub span: Span,
}

/// A part of a list.
#[derive(Debug, Clone, PartialEq)]
pub struct Section {
    /// Its heading.
    pub title: String,
    /// All of these hold for every item of it.
    pub only_if: Vec<Condition>,
    /// In order.
    pub items: Vec<Item>,
}

/// One line of a list.
#[expect(clippy::struct_excessive_bools, reason = "each is a plain fact of the item")]
#[derive(Debug, Clone, PartialEq)]
pub struct Item {
    /// Its id, unique in the list; its words are the item's name.
    pub id: At<ItemId>,
    /// What is wanted of the person.
    pub kind: Kind,
    /// Place, minutes, cautions and steps.
    pub work: Work,
    /// The sight or reading to expect.
    pub expect: Option<String>,
    /// Why it is asked, or what it means when it is not so.
    pub why: Option<String>,
    /// Things needed, in words.
    pub needs: Vec<String>,
    /// All of these must hold for it to come up.
    pub only_if: Vec<Condition>,
    /// Whether the author lets it be skipped; none means as the kind has it.
    pub may_be_skipped: Option<bool>,
    /// Everything is isolated, locked and tried here.
    pub locks_out: bool,
    /// Locks come off and energies come back here.
    pub restores: bool,
    /// Guards, stops and isolation points stand proved from here on.
    pub proves_guards: bool,
    /// The open points of all lists of this machine are read out here.
    pub open_points: bool,
    /// Another list that is carried out and signed here.
    pub list: Option<At<ListId>>,
    /// A product is set up here; its sheet is what the item names.
    pub sets_up: bool,
    /// What a failure leads to.
    pub fails: Vec<Failure>,
}

/// What an item wants.
#[derive(Debug, Clone, PartialEq)]
pub enum Kind {
    /// Carried out.
    Do,
    /// Seen as expected.
    Look,
    /// A figure within limits.
    Measure(Measure),
    /// A run of fills, judged by its mean and its spread.
    Run(RunAsk),
    /// So many different people sign.
    Confirm(usize),
    /// So many different people sign, and nobody goes past it without.
    Hold(usize),
    /// A document or photograph is named.
    Photo,
    /// One of these.
    Choice(Vec<Choice>),
}

impl Kind {
    /// The word of the kind, as lists write it.
    pub fn word(&self) -> &'static str {
        match self {
            Kind::Do => "do",
            Kind::Look => "look",
            Kind::Measure(_) => "measure",
            Kind::Run(_) => "run",
            Kind::Confirm(_) => "confirm",
            Kind::Hold(_) => "hold",
            Kind::Photo => "photo",
            Kind::Choice(_) => "choice",
        }
    }
}

/// A figure that is asked for.
#[derive(Debug, Clone, PartialEq)]
pub struct Measure {
    /// What is measured.
    pub kind: Measured,
    /// In which unit people give it.
    pub unit: &'static Unit,
    /// Whether a known value stands beside it; limits are then of the difference.
    pub expected: bool,
    /// What it may be.
    pub limits: Limits,
    /// With what.
    pub instrument: Option<String>,
    /// Whether the instrument's number and due date are asked.
    pub due: bool,
}

/// A run of fills that is asked for.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct RunAsk {
    /// The fewest that will do.
    pub at_least: usize,
    /// How much of the tolerance the mean may be off by, 0 to 1.
    pub mean_within: f64,
}

/// One answer to choose.
#[derive(Debug, Clone, PartialEq)]
pub struct Choice {
    /// Its id.
    pub id: At<OutcomeId>,
    /// In a person's words.
    pub answer: String,
}

/// What must hold for an item to come up.
#[derive(Debug, Clone, PartialEq)]
pub enum Condition {
    /// The machine is this one.
    Machine(At<MachineId>),
    /// This option is, or may be, fitted.
    Option(At<OptionId>),
    /// An earlier choice was answered with one of these.
    Answer {
        /// Which choice.
        item: At<ItemId>,
        /// Any of these.
        is: Vec<At<OutcomeId>>,
    },
}

/// What a failure of an item leads to.
#[derive(Debug, Clone, PartialEq)]
pub struct Failure {
    /// Which failures it is for; none means all that no other one names.
    pub on: Vec<At<On>>,
    /// What comes of it.
    pub leads: Leads,
    /// Where it is written.
    pub span: Span,
}

/// A way in which an item fails.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum On {
    /// The figure, or the mean of the fills, is too low.
    Below,
    /// It is too high.
    Above,
    /// Fills lie outside although the mean is right.
    Scattered,
    /// This answer was chosen.
    Chosen(OutcomeId),
}

/// What comes of a failure.
#[derive(Debug, Clone, PartialEq)]
pub enum Leads {
    /// Stop, keep locked, call the maker: no deviation, no skip.
    Stop,
    /// A finding that a diagnosis starts from, with the reading already taken where a check fits.
    Opens {
        /// The finding.
        finding: At<FindingId>,
        /// The check.
        check: Option<At<CheckId>>,
        /// Its outcome, where the figure itself is not what it asks.
        outcome: Option<At<OutcomeId>>,
        /// Whether somebody who may can let the work go on all the same.
        deviation: bool,
    },
}

/// Chosen answers by item.
pub type Chosen = BTreeMap<ItemId, OutcomeId>;

/// What decides which items come up.
#[derive(Debug, Clone, Copy)]
pub struct Situation<'s> {
    /// The machine.
    pub machine: &'s MachineId,
    /// Options fitted; none given means any may be.
    pub fitted: Option<&'s BTreeSet<OptionId>>,
    /// Options that this machine can have.
    pub options: &'s BTreeMap<OptionId, String>,
    /// Choices made so far.
    pub chosen: &'s Chosen,
}

impl Condition {
    /// Whether it holds.
    pub fn holds(&self, now: &Situation<'_>) -> bool {
        match self {
            Condition::Machine(machine) => machine.value == *now.machine,
            Condition::Option(option) => {
                now.options.contains_key(&option.value)
                    && now.fitted.is_none_or(|fitted| fitted.contains(&option.value))
            }
            Condition::Answer { item, is } => {
                now.chosen.get(&item.value).is_some_and(|chosen| is.iter().any(|a| a.value == *chosen))
            }
        }
    }
}

impl Checklist {
    /// Whether it is for this machine.
    pub fn is_for(&self, machine: &MachineId) -> bool {
        self.machines.as_ref().is_none_or(|all| all.iter().any(|m| m.value == *machine))
    }

    /// Every item with its section, in order.
    pub fn items(&self) -> impl Iterator<Item = (&Section, &Item)> {
        self.sections.iter().flat_map(|section| section.items.iter().map(move |item| (section, item)))
    }

    /// The item of this id.
    pub fn item(&self, id: &ItemId) -> Option<&Item> {
        self.items().map(|(_, item)| item).find(|item| item.id.value == *id)
    }

    /// Every list that comes before this one, however far back, each once; itself too where lists wait in a ring.
    pub fn before<'l>(&self, lists: &'l BTreeMap<ListId, Checklist>) -> Vec<&'l Checklist> {
        let mut before: Vec<&Checklist> = Vec::new();
        let mut open: Vec<&ListId> = self.after.iter().map(|a| &a.value).collect();
        while let Some(list) = open.pop().map(|id| lists.get(id)) {
            let Some(list) = list.filter(|list| before.iter().all(|known| known.id != list.id)) else {
                continue;
            };
            open.extend(list.after.iter().map(|a| &a.value));
            before.push(list);
        }
        before
    }

    /// The items that come up now, in order.
    pub fn coming_up<'l>(&'l self, now: &Situation<'_>) -> Vec<(&'l Section, &'l Item)> {
        let comes = |(section, item): &(&Section, &Item)| {
            section.only_if.iter().chain(&item.only_if).all(|condition| condition.holds(now))
        };
        self.items().filter(comes).collect()
    }

    /// Every condition that an item stands under, its section's and its own.
    pub fn conditions<'l>(section: &'l Section, item: &'l Item) -> impl Iterator<Item = &'l Condition> {
        section.only_if.iter().chain(&item.only_if)
    }

    /// Where bodies are while everything stands locked out by this hold. Whatever is live is the qualified person's under
    /// their own permit, and no part of the lockout.
    pub fn under_lock(&self, hold: &Item, machine: &Machine) -> Exposures {
        let inside = Exposures::at(&Traits::default(), &[Exposure::Inside]);
        let after = self.items().map(|(_, item)| item).skip_while(|item| item.id != hold.id).skip(1);
        after
            .take_while(|item| !item.restores && !item.locks_out)
            .map(|item| machine.exposures(&item.work))
            .filter(|exposures| !exposures.has(Exposure::Energised))
            .fold(inside, |all, one| all.union(&one))
    }

    /// Whether an item may be left out, with a reason: never a hold, never what may stop the work, never a choice that decides whether a hold or a
    /// hands-on item comes up.
    pub fn may_be_skipped(&self, item: &Item) -> bool {
        let decides = || {
            self.items().any(|(section, later)| {
                let hangs_on_it = Self::conditions(section, later).any(
                    |c| matches!(c, Condition::Answer { item: choice, .. } if choice.value == item.id.value),
                );
                hangs_on_it && (matches!(later.kind, Kind::Hold(_)) || !later.work.cautions.is_empty())
            })
        };
        let may_stop = item.fails.iter().any(|failure| failure.leads == Leads::Stop);
        let held = match item.kind {
            Kind::Hold(_) => true,
            Kind::Choice(_) => decides(),
            _ => false,
        };
        !held && !may_stop && item.may_be_skipped != Some(false)
    }
}

impl Condition {
    /// Whether both say the same, wherever they stand.
    pub fn same(&self, other: &Condition) -> bool {
        match (self, other) {
            (Condition::Machine(a), Condition::Machine(b)) => a.value == b.value,
            (Condition::Option(a), Condition::Option(b)) => a.value == b.value,
            (Condition::Answer { item: a, is }, Condition::Answer { item: b, is: of }) => {
                a.value == b.value
                    && is.len() == of.len()
                    && is.iter().all(|x| of.iter().any(|y| x.value == y.value))
            }
            _ => false,
        }
    }
}

impl Item {
    /// What a failure of this kind leads to.
    pub fn leads(&self, on: Option<&On>) -> Option<&Leads> {
        let named = |failure: &&Failure| on.is_some_and(|on| failure.on.iter().any(|o| o.value == *on));
        let found = self.fails.iter().find(named).or_else(|| self.fails.iter().find(|f| f.on.is_empty()));
        // Told in words, nobody knows which failure it was: the gravest counts.
        let gravest = || self.fails.iter().find(|f| on.is_none() && f.leads == Leads::Stop);
        found.or_else(gravest).map(|failure| &failure.leads)
    }

    /// With what its figure is read.
    pub fn instrument(&self) -> Option<&str> {
        match &self.kind {
            Kind::Measure(measure) => measure.instrument.as_deref(),
            _ => None,
        }
    }

    /// An answer of its choice in a person's words; the bare id where it has no such answer.
    pub fn answer<'i>(&'i self, id: &'i OutcomeId) -> &'i str {
        let choices = if let Kind::Choice(choices) = &self.kind { choices.as_slice() } else { &[] };
        choices.iter().find(|choice| choice.id.value == *id).map_or(id.as_str(), |choice| &choice.answer)
    }

    /// The name of the item: the words of its id.
    pub fn name(&self) -> String {
        let mut words = self.id.value.as_str().replace('-', " ");
        if let Some(first) = words.get_mut(..1) {
            first.make_ascii_uppercase();
        }
        words
    }
}
