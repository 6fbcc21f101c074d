//! Many simulated calls for each machine and each policy, in parallel; what comes out does not depend on the threads.

use std::sync::atomic::{AtomicUsize, Ordering};
use std::sync::{Mutex, PoisonError};

use super::book::Book;
use super::chance::{dice, mixed};
use super::course::{Ended, Room, play};
use super::mind::{Memory, Mind};
use super::policy::Policy;
use super::world::World;
use crate::casebook::Case;
use crate::ids::MachineId;
use crate::knowledge::Knowledge;
use crate::walk::{Desk, DeskError};

/// Causes that count as among the first.
const FIRST_FEW: usize = 3;

/// What to simulate.
#[derive(Debug, Clone, PartialEq)]
pub struct Simulation {
    /// Calls for each machine.
    pub cases: usize,
    /// Where all luck comes from.
    pub seed: u64,
    /// The machines.
    pub machines: Vec<MachineId>,
    /// The policies, each on the same calls.
    pub policies: Vec<Policy>,
    /// How many calls at a time.
    pub threads: usize,
}

/// A mean with its standard error.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Mean {
    /// The mean.
    pub mean: f64,
    /// Its standard error; none from a single call.
    pub error: Option<f64>,
}

impl Mean {
    pub(super) fn of(values: &[f64]) -> Self {
        let n = values.len() as f64;
        let mean = values.iter().sum::<f64>() / n;
        let squares: f64 = values.iter().map(|value| (value - mean).powi(2)).sum();
        Self { mean, error: (values.len() > 1).then(|| (squares / (n - 1.0) / n).sqrt()) }
    }
}

/// How one policy did on one machine.
#[derive(Debug, Clone, PartialEq)]
pub struct Row {
    /// Which policy.
    pub policy: Policy,
    /// On which machine.
    pub machine: MachineId,
    /// Calls.
    pub cases: usize,
    /// Share of calls in which the cause that led when the policy acted was behind the complaint.
    pub first: Mean,
    /// Share of calls in which one of the first three was.
    pub first_three: Mean,
    /// Minutes of held line.
    pub held_minutes: Mean,
    /// The same less the planner's on the same calls, where the planner was simulated too.
    pub over_planner: Option<Mean>,
    /// Checks asked, questions about what happened before included, proofs not.
    pub checks: Mean,
    /// Lockouts before anybody comes.
    pub lockouts: Mean,
    /// Share of calls cured without anybody coming.
    pub cured_by_phone: Mean,
    /// Calls in which the belief was out of reach, so that somebody was sent.
    pub not_weighed: usize,
}

/// Why nothing can be simulated.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum SimulationError {
    /// The machine or its knowledge.
    #[error(transparent)]
    Desk(#[from] DeskError),
    /// No fault of this machine brings about anything that a caller would name.
    #[error("nothing that can go wrong with '{0}' brings about a symptom that a caller would name")]
    NothingToSimulate(MachineId),
}

/// Simulates; `progress` is told after each call how many are done.
pub fn simulate(
    knowledge: &Knowledge,
    simulation: &Simulation,
    progress: &(dyn Fn(usize) + Sync),
) -> Result<Vec<Row>, SimulationError> {
    let mut rows = Vec::new();
    for machine in &simulation.machines {
        let desk = Desk::for_case(knowledge, &Case::of(machine.clone()))?;
        let book = Book::new(&desk);
        let worlds = worlds(&book, simulation.cases, simulation.seed)?;
        let before = rows.len() * simulation.cases;
        rows.extend(on_one_machine(&book, simulation, &worlds, &|done| progress(before + done)));
    }
    rows.sort_by_key(|row| row.policy);
    Ok(rows)
}

/// So many calls about a machine.
pub(super) fn worlds<'d>(
    book: &Book<'d, '_>,
    cases: usize,
    seed: u64,
) -> Result<Vec<World<'d>>, SimulationError> {
    let machine = &book.desk.view.machine.id;
    let seed = dice(seed, machine.as_str(), 0).bits();
    let network = &book.desk.model.network;
    let world = |number: usize| {
        World::called_about(network, &book.symptoms, mixed(seed, number as u64))
            .ok_or_else(|| SimulationError::NothingToSimulate(machine.clone()))
    };
    (0..cases).map(world).collect()
}

fn on_one_machine(
    book: &Book<'_, '_>,
    simulation: &Simulation,
    worlds: &[World<'_>],
    progress: &(dyn Fn(usize) + Sync),
) -> Vec<Row> {
    let (mind, plans) = (Mind::new(), Memory::new());
    let all = simulation.policies.iter().enumerate().map(|(place, &policy)| {
        let room = Room { book, mind: &mind, plans: &plans, policy };
        let before = place * worlds.len();
        let ended = in_parallel(simulation.threads, worlds.len(), &|number, done| {
            let ended = play(&room, worlds[number].clone());
            progress(before + done());
            ended
        });
        (policy, ended)
    });
    let all: Vec<(Policy, Vec<Ended>)> = all.collect();
    let planned = all.iter().find(|(policy, _)| *policy == Policy::Planner).map(|(_, ended)| ended);
    all.iter().map(|(policy, ended)| row(book, *policy, ended, planned)).collect()
}

/// What `of` says of each number, in their order, so many at a time. It is handed a count of those done before.
pub(crate) fn in_parallel<R: Send>(
    threads: usize,
    count: usize,
    of: &(dyn Fn(usize, &dyn Fn() -> usize) -> R + Sync),
) -> Vec<R> {
    let (next, done) = (AtomicUsize::new(0), AtomicUsize::new(0));
    let finished = Mutex::new(Vec::with_capacity(count));
    std::thread::scope(|scope| {
        for _ in 0..threads.clamp(1, count.max(1)) {
            scope.spawn(|| {
                loop {
                    let number = next.fetch_add(1, Ordering::Relaxed);
                    if number >= count {
                        return;
                    }
                    let result = of(number, &|| done.fetch_add(1, Ordering::Relaxed) + 1);
                    finished.lock().unwrap_or_else(PoisonError::into_inner).push((number, result));
                }
            });
        }
    });
    let mut finished = finished.into_inner().unwrap_or_else(PoisonError::into_inner);
    finished.sort_by_key(|(number, _)| *number);
    finished.into_iter().map(|(_, result)| result).collect()
}

fn row(book: &Book<'_, '_>, policy: Policy, ended: &[Ended], planned: Option<&Vec<Ended>>) -> Row {
    let mean = |of: &dyn Fn(&Ended) -> f64| Mean::of(&ended.iter().map(of).collect::<Vec<f64>>());
    let share = |of: fn(&Ended) -> bool| mean(&|ended| f64::from(u8::from(of(ended))));
    let over = planned.filter(|_| policy != Policy::Planner).map(|planned| {
        let pairs = ended.iter().zip(planned);
        Mean::of(&pairs.map(|(own, planned)| own.minutes - planned.minutes).collect::<Vec<f64>>())
    });
    Row {
        policy,
        machine: book.desk.view.machine.id.clone(),
        cases: ended.len(),
        first: share(|ended| ended.place == Some(0)),
        first_three: share(|ended| ended.place.is_some_and(|place| place < FIRST_FEW)),
        held_minutes: mean(&|ended| ended.minutes),
        over_planner: over,
        checks: mean(&|ended| ended.checks as f64),
        lockouts: mean(&|ended| ended.lockouts as f64),
        cured_by_phone: share(|ended| ended.by_phone),
        not_weighed: ended.iter().filter(|ended| ended.not_weighed).count(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn results_stand_in_order_however_many_threads_there_are() {
        for threads in [1, 2, 7] {
            let all = in_parallel(threads, 20, &|number, _| number * number);
            assert_eq!(all, (0..20).map(|n| n * n).collect::<Vec<_>>());
        }
    }

    #[test]
    fn a_mean_comes_with_its_standard_error() {
        let mean = Mean::of(&[1.0, 2.0, 3.0]);
        assert_eq!(mean.mean, 2.0);
        assert!((mean.error.unwrap() - (1.0f64 / 3.0).sqrt()).abs() < 1e-12);
        assert_eq!(Mean::of(&[4.0]).error, None);
    }
}
