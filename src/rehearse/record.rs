//! What is known in a simulated call, in one form however it came about: the key by which what was thought is remembered.
//!
//! Between two remedies the order of answers does not matter, so answers stand there sorted. Evidence and the plan's view
//! are made from the record alone; equal records give equal sums to the last bit, whichever call came first.

use std::collections::{BTreeMap, BTreeSet};

use super::book::Book;
use crate::belief::{Combination, Evidence, Item, Moment};
use crate::knowledge::{Asks, Check};
use crate::plan::{Lock, Situation, TOLD};
use crate::walk::{said, told_result};

/// Fills in a simulated run.
const FILLS: usize = 10;

/// Something asked, by number.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub(super) enum Question {
    /// Whether something happened before.
    Circumstance(usize),
    /// A check.
    Check(usize),
}

/// What ends a stretch of answers whose order does not matter.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
enum End {
    /// A remedy was done, and what was complained of is still there.
    Remedy(usize),
    /// A remedy was done, and another in the same lockout before anybody tried.
    Untried(usize),
    /// A check was done that disturbs what others look at.
    Disturbed(usize),
}

/// A stretch of answers: outcome by number (of a run the set of findings that it shows), `None` for 'cannot tell'.
#[derive(Debug, Clone, Default, PartialEq, Eq, PartialOrd, Ord)]
struct Stretch {
    answers: BTreeMap<Question, Option<usize>>,
    end: Option<End>,
}

/// What is known and believed from: complaint, answers, remedies.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
pub(super) struct Record {
    complaint: Vec<usize>,
    stretches: Vec<Stretch>,
}

/// Where the call stands besides: who is there, where they stand, whether the machine is locked off.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub(super) struct Spot<'k> {
    pub(super) setting: usize,
    pub(super) place: Option<&'k str>,
    pub(super) locked: bool,
}

impl Record {
    pub(super) fn new(complaint: Vec<usize>) -> Self {
        Self { complaint, stretches: vec![Stretch::default()] }
    }

    /// The symptoms complained of, by number.
    pub(super) fn complaint(&self) -> &[usize] {
        &self.complaint
    }

    /// Answers and remedies so far.
    pub(super) fn length(&self) -> usize {
        self.stretches.iter().map(|stretch| stretch.answers.len() + usize::from(stretch.end.is_some())).sum()
    }

    pub(super) fn answer(&mut self, question: Question, outcome: Option<usize>, disturbs: bool) {
        let Some(stretch) = self.stretches.last_mut() else { return };
        stretch.answers.insert(question, outcome);
        if let (Question::Check(check), true, Some(_)) = (question, disturbs, outcome) {
            self.end(End::Disturbed(check));
        }
    }

    pub(super) fn still_there_after(&mut self, remedy: usize) {
        self.end(End::Remedy(remedy));
    }

    pub(super) fn not_tried_after(&mut self, remedy: usize) {
        self.end(End::Untried(remedy));
    }

    fn end(&mut self, end: End) {
        if let Some(stretch) = self.stretches.last_mut() {
            stretch.end = Some(end);
        }
        self.stretches.push(Stretch::default());
    }

    /// Whether it was asked at any time in this call.
    pub(super) fn was_asked(&self, question: Question) -> bool {
        self.stretches.iter().any(|stretch| stretch.answers.contains_key(&question))
    }

    /// How many remedies were done.
    pub(super) fn remedies(&self) -> u64 {
        self.stretches.iter().filter(|stretch| stretch.remedy().is_some()).count() as u64
    }

    /// The answers since the last remedy.
    fn latest(&self) -> impl Iterator<Item = (&Question, &Option<usize>)> {
        let from =
            self.stretches.iter().rposition(|stretch| stretch.remedy().is_some()).map_or(0, |last| last + 1);
        self.stretches[from..].iter().flat_map(|stretch| &stretch.answers)
    }

    /// All of it for the belief, as a walk would take it.
    pub(super) fn evidence(&self, book: &Book<'_, '_>) -> Evidence {
        let desk = book.desk;
        let mut items: Vec<Item> =
            self.complaint.iter().filter_map(|&f| said(desk, book.finding(f))).collect();
        for stretch in &self.stretches {
            items.extend(
                stretch.answers.iter().filter_map(|(asked, outcome)| item(book, *asked, (*outcome)?)),
            );
            match stretch.end {
                Some(End::Remedy(remedy)) => {
                    done(book, remedy, &mut items);
                    let complaint: Vec<_> = self.complaint.iter().map(|&f| book.finding(f).clone()).collect();
                    items.extend(told_result(desk, &complaint, true));
                }
                Some(End::Untried(remedy)) => done(book, remedy, &mut items),
                Some(End::Disturbed(check)) => {
                    afresh(book.disturbed(&book.checks[check].entry.work), &mut items);
                }
                None => {}
            }
        }
        Evidence(items)
    }

    /// The plan's view of it.
    pub(super) fn situation<'a>(
        &self,
        book: &'a Book<'_, '_>,
        spot: Spot<'_>,
        evidence: &'a Evidence,
        leading: &'a [Combination],
    ) -> Situation<'a> {
        let (desk, circle) = (book.desk, &book.circles[spot.setting]);
        let mut situation = Situation {
            knowledge: desk.knowledge,
            view: &desk.view,
            model: &desk.model,
            evidence,
            leading,
            complaint: self.complaint.iter().map(|&f| book.finding(f).clone()).collect(),
            heard: true,
            answered: BTreeMap::new(),
            asked: BTreeSet::new(),
            fills: 0,
            done: BTreeSet::new(),
            hands: circle.hands.clone(),
            sealed: circle.sealed,
            supply: circle.supply,
            visit: circle.visit,
            place: spot.place.map(Into::into),
            lock: if spot.locked { Lock::On } else { Lock::Off },
            stop: false,
        };
        self.answered(book, &mut situation);
        for stretch in &self.stretches {
            let circumstance = |asked: &Question| match asked {
                Question::Circumstance(index) => Some(desk.model.circumstances[*index].clone()),
                Question::Check(_) => None,
            };
            situation.asked.extend(stretch.answers.keys().filter_map(circumstance));
            if let Some(remedy) = stretch.remedy() {
                situation.done.insert(book.remedies[remedy].id.clone());
            }
        }
        let stops = |id| desk.knowledge.findings.get(id).is_some_and(|finding| finding.stop_first);
        situation.stop = situation.complaint.iter().any(stops) || self.shows(book).any(stops);
        situation
    }

    fn answered(&self, book: &Book<'_, '_>, situation: &mut Situation<'_>) {
        for (asked, outcome) in self.latest() {
            let Question::Check(check) = asked else { continue };
            let entry = book.checks[*check].entry;
            if is_run(entry) && outcome.is_some() {
                situation.fills = FILLS;
            }
            let named = outcome.map(|outcome| match entry.outcomes.get(outcome) {
                Some(known) => known.id.value.clone(),
                // A run has no outcomes of its own; that it was made is what opens a gate.
                None => "weighed".into(),
            });
            situation.answered.insert(entry.id.clone(), named);
        }
    }

    /// The findings that answers since the last remedy speak for.
    fn shows<'a>(&'a self, book: &'a Book<'_, '_>) -> impl Iterator<Item = &'a crate::ids::FindingId> {
        let outcome = |(asked, outcome): (&Question, &Option<usize>)| match asked {
            Question::Check(check) => book.checks[*check].entry.outcomes.get((*outcome)?),
            Question::Circumstance(_) => None,
        };
        self.latest().filter_map(outcome).flat_map(|o| o.means.iter().map(|means| &means.finding.value))
    }
}

impl Stretch {
    /// The remedy that ended it.
    fn remedy(&self) -> Option<usize> {
        match self.end? {
            End::Remedy(remedy) | End::Untried(remedy) => Some(remedy),
            End::Disturbed(_) => None,
        }
    }
}

/// A remedy done, and what it disturbs.
fn done(book: &Book<'_, '_>, remedy: usize, items: &mut Vec<Item>) {
    let entry = book.remedies[remedy];
    items.push(Item::Remedy { cause: book.cured_by(remedy), works: entry.works });
    afresh(book.disturbed(&entry.work), items);
}

/// Whether a check is a run of fills.
pub(super) fn is_run(check: &Check) -> bool {
    matches!(check.asks, Asks::Run)
}

/// A run that shows this set of findings, as the plan values it: as a run, which the belief takes apart, and not as one table.
fn run(book: &Book<'_, '_>, judged: &[usize], outcomes: &[Vec<f64>], shown: usize) -> Item {
    let findings: Vec<usize> = book.desk.model.patterns.values().copied().collect();
    let place = |finding: &usize| judged.iter().position(|known| known == finding);
    let shows = |finding| place(finding).map_or(0, |place| shown >> place & 1);
    let combination = findings.iter().map(shows).collect();
    // With nothing there a run shows nothing with the chance that it shows the truth, any other with the rest.
    let chance = |outcome: usize| outcomes.get(outcome).and_then(|o| o.first()).copied().unwrap_or(1.0);
    Item::Run { floor: chance(1), combos: vec![(combination, chance(0))], findings, moment: Moment::Unknown }
}

fn afresh(findings: Vec<usize>, items: &mut Vec<Item>) {
    if !findings.is_empty() {
        items.push(Item::Afresh { findings });
    }
}

/// An answer as evidence.
fn item(book: &Book<'_, '_>, asked: Question, outcome: usize) -> Option<Item> {
    match asked {
        Question::Circumstance(index) => {
            let (hit, alarm) = TOLD;
            let likelihood = if outcome == 0 { [alarm, hit] } else { [1.0 - alarm, 1.0 - hit] };
            Some(Item::Circumstance { index, likelihood })
        }
        Question::Check(check) => {
            let table = &book.checks[check].table;
            if is_run(book.checks[check].entry) {
                return Some(run(book, &table.findings, &table.outcomes, outcome));
            }
            (!table.findings.is_empty()).then(|| Item::Answer {
                findings: table.findings.clone(),
                likelihood: table.outcomes[outcome].clone(),
                moment: table.moment,
            })
        }
    }
}
