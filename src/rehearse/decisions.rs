//! What decides in simulated calls: which questions are ever put, and which numbers of the book move the next step.
//!
//! The situations in which the plan chose are collected from calls as [`simulate`](super::simulate) plays them. For a sample
//! of them everything is worked out anew with one [number](super::nudge) moved: belief, leading combinations, plan. Nothing is
//! approximated; a situation out of reach of the exact sums is counted and left out.

use std::collections::{BTreeMap, BTreeSet};

use super::book::Book;
use super::chance::{dice, mixed};
use super::course::{Decision, Room, watched};
use super::mind::{Memory, Mind};
use super::nudge::{Number, Way, nudged, numbers, place};
use super::policy::{Chosen, Move, Policy};
use super::record::{Question, Record, Spot};
use super::simulate::{SimulationError, in_parallel, worlds};
use crate::belief::{self, Evidence, Network};
use crate::casebook::Case;
use crate::ids::MachineId;
use crate::knowledge::Knowledge;
use crate::plan;
use crate::walk::{Desk, REACH};

/// At most so many situations are looked at with other numbers, on all machines together.
pub const MOST_SITUATIONS: usize = 40;
/// So many numbers are named.
const NAMED: usize = 20;

/// Where decisions are looked for.
#[derive(Debug, Clone, PartialEq)]
pub struct Calls {
    /// Calls for each machine.
    pub cases: usize,
    /// Where all luck comes from.
    pub seed: u64,
    /// The machines.
    pub machines: Vec<MachineId>,
    /// How many at a time.
    pub threads: usize,
}

/// How far it has come on one machine.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Stage {
    /// So many calls of so many are played.
    Calls(usize, usize),
    /// So many moved numbers of so many are tried.
    Numbers(usize, usize),
}

/// What decides.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Decisions {
    /// Calls for each machine.
    pub cases: usize,
    /// Where all luck came from.
    pub seed: u64,
    /// Calls in all.
    pub calls: usize,
    /// What was asked, the most often first.
    pub asked: Vec<Asked>,
    /// What was never asked, nor worth anything among the plan's first eight steps.
    pub never_asked: Vec<Idle>,
    /// Situations looked at with other numbers.
    pub situations: usize,
    /// Numbers tried in them, each one lower and higher; different ones.
    pub tried: usize,
    /// How many of these moved the next step at least once.
    pub moving: usize,
    /// The numbers that move it most often.
    pub moves: Vec<Moved>,
    /// Trials that were out of reach of exact sums.
    pub not_weighed: usize,
}

/// How often a check or a circumstance is asked about.
#[derive(Debug, Clone, PartialEq)]
pub struct Asked {
    /// `check/id` or `circumstance/id`.
    pub entry: String,
    /// Share of the calls on its machines in which it was the first question.
    pub first: f64,
    /// Share of those calls in which it was asked at all.
    pub share: f64,
}

/// Something that is never worth asking.
#[derive(Debug, Clone, PartialEq)]
pub struct Idle {
    /// `check/id` or `circumstance/id`.
    pub entry: String,
    /// Calls in which it could have been asked.
    pub calls: usize,
    /// Remedies that wait for it or are proved by it: it is needed all the same.
    pub remedies: usize,
}

/// A number that moves decisions.
#[derive(Debug, Clone, PartialEq)]
pub struct Moved {
    /// The entry, as `kind/id`.
    pub entry: String,
    /// The field: `machines.ID` for a rate, `leads_to.ID` for a strength.
    pub field: String,
    /// Share of all situations looked at in which it moved the next step, either way.
    pub share: f64,
    /// The same when it is lower.
    pub lower: f64,
    /// The same when it is higher.
    pub higher: f64,
}

/// Looks for what decides; `progress` is told after each call and each number.
pub fn decisions(
    knowledge: &Knowledge,
    calls: &Calls,
    progress: &(dyn Fn(Stage) + Sync),
) -> Result<Decisions, SimulationError> {
    let mut tally = Tally::default();
    let machines = calls.machines.len().max(1);
    for (place, machine) in calls.machines.iter().enumerate() {
        let desk = Desk::for_case(knowledge, &Case::of(machine.clone()))?;
        let book = Book::new(&desk);
        let (mind, plans) = (Mind::new(), Memory::new());
        let room = Room { book: &book, mind: &mind, plans: &plans, policy: Policy::Planner };
        let met = played(&room, calls, progress)?;
        tally.questions(&book, &met);
        let most = MOST_SITUATIONS * (place + 1) / machines - MOST_SITUATIONS * place / machines;
        tally.numbers(&room, calls.threads, &sample(&met, most, calls.seed), progress);
    }
    Ok(tally.into_decisions(calls))
}

/// The decisions of every call, in their order.
fn played<'k>(
    room: &Room<'_, '_, 'k>,
    calls: &Calls,
    progress: &(dyn Fn(Stage) + Sync),
) -> Result<Vec<Vec<Decision<'k>>>, SimulationError> {
    let worlds = worlds(room.book, calls.cases, calls.seed)?;
    Ok(in_parallel(calls.threads, worlds.len(), &|number, done| {
        let mut met = Vec::new();
        watched(room, worlds[number].clone(), &mut |decision| met.push(decision));
        progress(Stage::Calls(done(), worlds.len()));
        met
    }))
}

/// A situation, what was chosen in it, and how many times it is in the sample.
type Sample<'m, 'k> = BTreeMap<(&'m Record, Spot<'k>), (&'m Move, usize)>;

/// So many of the situations met, drawn without putting back: what is met often is likely to be in.
fn sample<'m, 'k>(met: &'m [Vec<Decision<'k>>], most: usize, seed: u64) -> Sample<'m, 'k> {
    let mut drawn: Vec<(u64, &Decision<'k>)> = Vec::new();
    for (call, decisions) in met.iter().enumerate() {
        for (step, decision) in decisions.iter().enumerate() {
            let time = mixed(call as u64, step as u64);
            drawn.push((dice(seed, "situation", time).bits(), decision));
        }
    }
    drawn.sort_by_key(|(order, _)| *order);
    let mut sample = Sample::new();
    for (_, decision) in drawn.into_iter().take(most) {
        let key = (&decision.record, decision.spot);
        sample.entry(key).or_insert((&decision.chosen.step, 0)).1 += 1;
    }
    sample
}

/// Counts over all machines, by entry.
#[derive(Default)]
struct Tally {
    questions: BTreeMap<String, Put>,
    numbers: BTreeMap<(String, String), Hit>,
    situations: usize,
    not_weighed: usize,
}

#[derive(Default)]
struct Put {
    calls: usize,
    first: usize,
    asked: usize,
    near: bool,
    remedies: BTreeSet<String>,
}

/// Situations in which a number moved the next step.
#[derive(Default)]
struct Hit {
    lower: usize,
    higher: usize,
    either: usize,
}

impl Tally {
    fn questions(&mut self, book: &Book<'_, '_>, met: &[Vec<Decision<'_>>]) {
        for question in book.questions() {
            let put = self.questions.entry(entry(book, question)).or_default();
            put.calls += met.len();
            put.remedies.extend(book.needing(question));
        }
        for call in met {
            let asked = |decision: &Decision<'_>| match decision.chosen.step {
                Move::Ask(question) => Some(question),
                _ => None,
            };
            if let Some(first) = call.iter().find_map(asked) {
                self.questions.entry(entry(book, first)).or_default().first += 1;
            }
            for question in call.iter().filter_map(asked).collect::<BTreeSet<_>>() {
                self.questions.entry(entry(book, question)).or_default().asked += 1;
            }
            for question in call.iter().flat_map(|d| &d.chosen.near).collect::<BTreeSet<_>>() {
                self.questions.entry(entry(book, *question)).or_default().near = true;
            }
        }
    }

    /// Tries every number of every situation of the sample, lower and higher.
    fn numbers(
        &mut self,
        room: &Room<'_, '_, '_>,
        threads: usize,
        sample: &Sample<'_, '_>,
        progress: &(dyn Fn(Stage) + Sync),
    ) {
        let book = room.book;
        let mut situations = Vec::new();
        let mut trials: Vec<(usize, Number)> = Vec::new();
        for (&(record, spot), &(step, times)) in sample {
            // It was thought over when it was met.
            let Ok(thought) = room.mind.of(book, record) else { continue };
            trials.extend(numbers(book, &thought).into_iter().map(|number| (situations.len(), number)));
            situations.push((Met { record, spot, evidence: thought.evidence.clone() }, step, times));
            self.situations += times;
        }
        let moved = in_parallel(threads, trials.len(), &|trial, done| {
            let (situation, number) = trials[trial];
            let (met, step, _) = &situations[situation];
            let moved = [Way::Lower, Way::Higher].map(|way| met.moves(book, step, number, way));
            progress(Stage::Numbers(done(), trials.len()));
            moved
        });
        for ((situation, number), [lower, higher]) in trials.into_iter().zip(moved) {
            let times = situations[situation].2;
            let hit = self.numbers.entry(place(book, number)).or_default();
            let count = |moved: bool| if moved { times } else { 0 };
            hit.lower += count(lower == Some(true));
            hit.higher += count(higher == Some(true));
            hit.either += count(lower == Some(true) || higher == Some(true));
            self.not_weighed += usize::from(lower.is_none()) + usize::from(higher.is_none());
        }
    }

    fn into_decisions(self, calls: &Calls) -> Decisions {
        let (mut asked, mut never_asked) = (Vec::new(), Vec::new());
        for (entry, put) in self.questions {
            if put.asked > 0 {
                let share = |count: usize| count as f64 / put.calls.max(1) as f64;
                asked.push(Asked { entry, first: share(put.first), share: share(put.asked) });
            } else if !put.near {
                never_asked.push(Idle { entry, calls: put.calls, remedies: put.remedies.len() });
            }
        }
        asked.sort_by(|a, b| b.share.total_cmp(&a.share).then(b.first.total_cmp(&a.first)));
        let tried = self.numbers.len();
        let share = |count: usize| count as f64 / self.situations.max(1) as f64;
        let moving = self.numbers.into_iter().filter(|(_, hit)| hit.either > 0);
        let mut moves: Vec<Moved> = moving
            .map(|((entry, field), hit)| {
                let (lower, higher) = (share(hit.lower), share(hit.higher));
                Moved { entry, field, share: share(hit.either), lower, higher }
            })
            .collect();
        moves.sort_by(|a, b| b.share.total_cmp(&a.share));
        let moving = moves.len();
        moves.truncate(NAMED);
        Decisions {
            cases: calls.cases,
            seed: calls.seed,
            calls: calls.cases * calls.machines.len(),
            asked,
            never_asked,
            situations: self.situations,
            tried,
            moving,
            moves,
            not_weighed: self.not_weighed,
        }
    }
}

fn entry(book: &Book<'_, '_>, question: Question) -> String {
    let kind = match question {
        Question::Circumstance(_) => "circumstance",
        Question::Check(_) => "check",
    };
    format!("{kind}/{}", book.id(question))
}

/// A situation that was met.
struct Met<'m, 'k> {
    record: &'m Record,
    spot: Spot<'k>,
    evidence: Evidence,
}

impl Met<'_, '_> {
    /// Whether a moved number moves the next step; `None` where that is out of reach of exact sums.
    fn moves(&self, book: &Book<'_, '_>, step: &Move, number: Number, way: Way) -> Option<bool> {
        let network = nudged(book, number, way).ok()?;
        self.chosen(book, network).map(|chosen| !begins_alike(&chosen.step, step))
    }

    /// What the plan would choose here if the book said otherwise.
    fn chosen(&self, book: &Book<'_, '_>, network: Network) -> Option<Chosen> {
        let mut model = book.desk.model.clone();
        model.network = network;
        let believed = belief::posterior(&model.network, &self.evidence).ok()?;
        let leading = belief::leading(&model.network, &self.evidence, &believed, REACH).ok()?;
        let mut situation = self.record.situation(book, self.spot, &self.evidence, &leading);
        situation.model = &model;
        plan::plan(&situation).ok().map(|plan| Chosen::by(book, &plan))
    }
}

/// Whether two steps begin with the same thing to do; what follows in the same lockout does not count.
fn begins_alike(one: &Move, other: &Move) -> bool {
    match (one, other) {
        (Move::Remedies(one), Move::Remedies(other)) => one.first() == other.first(),
        _ => one == other,
    }
}
