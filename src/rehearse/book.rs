//! What the book offers on one machine, laid out by number for many calls.

use std::collections::{BTreeMap, BTreeSet};
use std::sync::OnceLock;

use super::record::Question;
use super::world::Nameable;
use crate::belief::{self, BeliefError, Combination, Evidence};
use crate::casebook::{Case, May, Person, Visit, Whereabouts};
use crate::graph::View;
use crate::ids::{CheckId, FindingId, PersonId};
use crate::knowledge::{Asks, Check, FindingKind, Remedy};
use crate::plan::{self, Hands};
use crate::safety::ScaleSupply;
use crate::walk::{Desk, hands};

/// Who calls, what they may do, and what is known of the seal. How many calls are like each is judgement.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Setting {
    /// In words.
    pub title: &'static str,
    /// The share of calls.
    pub share: f64,
    /// Whether somebody stands at the machine.
    at_machine: bool,
    may: &'static [May],
    /// Whether the technician is there in person, and not at the end of the phone.
    on_site: bool,
    sealed: Option<bool>,
}

/// The settings of simulated calls; their shares add up to 1.
pub const SETTINGS: &[Setting] = &[
    Setting {
        title: "at the machine, may lock out, no seal",
        share: 0.40,
        at_machine: true,
        may: &[May::Isolate],
        on_site: false,
        sealed: Some(false),
    },
    Setting {
        title: "at the machine, may lock out, seal not known",
        share: 0.15,
        at_machine: true,
        may: &[May::Isolate],
        on_site: false,
        sealed: None,
    },
    Setting {
        title: "at the machine, may lock out, sealed",
        share: 0.05,
        at_machine: true,
        may: &[May::Isolate],
        on_site: false,
        sealed: Some(true),
    },
    Setting {
        title: "at the machine, may not lock out, seal not known",
        share: 0.20,
        at_machine: true,
        may: &[],
        on_site: false,
        sealed: None,
    },
    Setting {
        title: "nobody at the machine, seal not known",
        share: 0.10,
        at_machine: false,
        may: &[],
        on_site: false,
        sealed: None,
    },
    Setting {
        title: "the technician at the machine, no seal",
        share: 0.10,
        at_machine: true,
        may: &[May::Isolate, May::Electrical],
        on_site: true,
        sealed: Some(false),
    },
];

/// A setting as the plan takes it, on one machine.
#[derive(Debug, Clone)]
pub(super) struct Circle {
    pub(super) hands: Hands,
    pub(super) sealed: Option<bool>,
    pub(super) supply: ScaleSupply,
    pub(super) visit: f64,
}

impl Circle {
    fn of(desk: &Desk<'_>, setting: &Setting) -> Self {
        let case = setting.case(desk);
        Self {
            hands: hands(&case),
            sealed: setting.sealed,
            supply: desk.supply(&case),
            visit: desk.visit(&case),
        }
    }
}

impl Setting {
    fn case(&self, desk: &Desk<'_>) -> Case {
        let at = if self.at_machine { Whereabouts::Machine } else { Whereabouts::Desk };
        let caller = Person {
            id: PersonId::from("caller"),
            at,
            may: self.may.iter().copied().collect(),
            has: BTreeSet::new(),
        };
        let technician = Person {
            id: PersonId::from("technician"),
            at: Whereabouts::Phone,
            may: BTreeSet::new(),
            has: BTreeSet::new(),
        };
        let mut case = Case::of(desk.view.machine.id.clone());
        case.people = if self.on_site { vec![caller] } else { vec![caller, technician] };
        case.visit = None::<Visit>;
        case
    }
}

/// A check by number: as an entry, and as the belief takes it.
pub(super) struct Asked<'k> {
    pub(super) entry: &'k Check,
    pub(super) table: belief::Check,
}

/// What the book offers on one machine.
pub(super) struct Book<'d, 'k> {
    pub(super) desk: &'d Desk<'k>,
    /// Every check but what the caller says, in the order of ids.
    pub(super) checks: Vec<Asked<'k>>,
    /// Every remedy, in the order of ids.
    pub(super) remedies: Vec<&'k Remedy>,
    pub(super) symptoms: Vec<Nameable>,
    pub(super) circles: Vec<Circle>,
    by_check: BTreeMap<&'k CheckId, usize>,
    /// Worked out when a plain policy first asks for it; the planner never does.
    alone: OnceLock<Result<Alone, BeliefError>>,
}

impl<'d, 'k> Book<'d, 'k> {
    pub(super) fn new(desk: &'d Desk<'k>) -> Self {
        let circles: Vec<Circle> = SETTINGS.iter().map(|setting| Circle::of(desk, setting)).collect();
        let known = desk.view.checks.iter().filter(|check| !matches!(check.asks, Asks::Complaint));
        let checks: Vec<Asked<'k>> = known
            .map(|&entry| Asked { entry, table: plan::as_asked(&desk.model, &desk.view, entry) })
            .collect();
        Self {
            alone: OnceLock::new(),
            by_check: checks.iter().enumerate().map(|(place, asked)| (&asked.entry.id, place)).collect(),
            checks,
            remedies: desk.view.remedies.clone(),
            symptoms: nameable(&desk.view, desk),
            circles,
            desk,
        }
    }

    /// What each cause alone would answer to a question, and last what a machine with nothing wrong would.
    pub(super) fn alone(&self, question: Question) -> Result<&[Vec<f64>], BeliefError> {
        let place = match question {
            Question::Check(check) => check,
            Question::Circumstance(index) => self.checks.len() + index,
        };
        let known = self.alone.get_or_init(|| alone(self.desk, &self.checks));
        known.as_ref().map(|known| known[place].as_slice()).map_err(Clone::clone)
    }

    /// The number of a check.
    pub(super) fn check(&self, id: &CheckId) -> Option<usize> {
        self.by_check.get(id).copied()
    }

    /// The id of what is asked.
    pub(super) fn id(&self, question: Question) -> &str {
        match question {
            Question::Circumstance(index) => self.desk.model.circumstances[index].as_str(),
            Question::Check(check) => self.checks[check].entry.id.as_str(),
        }
    }

    /// Everything that can be asked.
    pub(super) fn questions(&self) -> impl Iterator<Item = Question> + use<> {
        let circumstances = (0..self.desk.model.circumstances.len()).map(Question::Circumstance);
        (0..self.checks.len()).map(Question::Check).chain(circumstances)
    }

    /// The remedies that wait for the answer or are proved by it.
    pub(super) fn needing(&self, question: Question) -> impl Iterator<Item = String> + '_ {
        let check = match question {
            Question::Check(check) => Some(&self.checks[check].entry.id),
            Question::Circumstance(_) => None,
        };
        let needs = move |remedy: &&&Remedy| {
            let mut waits = remedy.only_after.iter().map(|gate| &gate.check.value);
            check.is_some_and(|check| remedy.proved_by.value == *check || waits.any(|gate| gate == check))
        };
        self.remedies.iter().filter(needs).map(|remedy| remedy.id.to_string())
    }

    /// The number of the cause that a remedy cures; every remedy of a view cures a cause that is here.
    pub(super) fn cured_by(&self, remedy: usize) -> usize {
        self.desk.model.cause(&self.remedies[remedy].cures.value).unwrap_or_else(|| self.desk.model.outside())
    }

    /// The findings that a piece of work disturbs, by number.
    pub(super) fn disturbed(&self, work: &crate::knowledge::Work) -> Vec<usize> {
        work.disturbs.iter().filter_map(|finding| self.desk.model.finding(&finding.value)).collect()
    }

    /// A finding's id.
    pub(super) fn finding(&self, index: usize) -> &FindingId {
        &self.desk.model.findings[index]
    }
}

/// `[check or, after the last, circumstance][cause alone, then none][outcome]` = P(outcome), nothing else being known.
type Alone = Vec<Vec<Vec<f64>>>;

fn alone(desk: &Desk<'_>, checks: &[Asked<'_>]) -> Result<Alone, BeliefError> {
    let (model, nothing) = (&desk.model, Evidence::default());
    let network = &model.network;
    let causes = (0..network.causes().len()).map(|cause| vec![cause]).chain([Vec::new()]);
    let each: Vec<Combination> = causes.map(|causes| Combination { causes, probability: 1.0 }).collect();
    let tables: Vec<belief::Check> = checks.iter().map(|check| check.table.clone()).collect();
    let outlook = belief::outlook(network, &nothing, &each, &tables, &[])?;
    let happened: Vec<Vec<f64>> =
        each.iter().map(|alone| plan::given_causes(model, &nothing, &alone.causes)).collect();
    let check = |place: usize| outlook.iter().map(|alone| alone.outcomes[place].clone()).collect();
    let circumstance = |index: usize| happened.iter().map(|all| plan::told(all[index])).collect();
    Ok((0..checks.len()).map(check).chain((0..model.circumstances.len()).map(circumstance)).collect())
}

fn nameable(view: &View<'_>, desk: &Desk<'_>) -> Vec<Nameable> {
    let symptoms = view.findings.iter().filter(|finding| finding.kind == FindingKind::Symptom);
    symptoms
        .filter_map(|symptom| {
            let (hit, alarm) = symptom.said;
            Some(Nameable { finding: desk.model.finding(&symptom.id)?, hit, alarm })
        })
        .collect()
}
