//! The best course of remedies when nothing more is asked: which, in what order, which of them in one lockout, and where
//! somebody is sent instead.
//!
//! `ECR = Σ C_i · P(not gone before i) + P(not gone at the end) · call`. The order is by efficiency (what a step takes off what
//! is left, by its minutes) with one opening cost a lockout: members by P/C, the best prefix `max_k Σp / (K + ΣC)`, which is
//! optimal where a cure can be proved inside (Ottosen, Jensen, UAI 2010). Where the guard must be shut to prove it, the prefix is
//! one batch with one proof, and up to [`super::batch::MOST`] remedies are searched exactly.

use super::batch;
use super::prospect::{Act, Pair, Prospect};
use super::state::State;

/// Longest course looked at; beyond it somebody is sent.
const LONGEST: usize = 12;
/// An act that takes off less than this share is not worth naming in a course.
const LEAST_HELP: f64 = 1e-4;
/// Two acts are weighed together when at least this share of what is left hangs on both.
const SHARED: f64 = 0.02;
/// A weighty act waits until it is this likely to help.
pub(super) const EVEN_ODDS: f64 = 0.5;

/// A course of action and its cost.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Course {
    /// Expected minutes, times the probability of beginning it.
    pub minutes: f64,
    /// What is done before each proof, in order; empty means send somebody now.
    pub batches: Vec<Vec<usize>>,
}

impl Course {
    /// Acts in order.
    pub(super) fn order(&self) -> impl Iterator<Item = usize> {
        self.batches.iter().flatten().copied()
    }
}

/// Acts to be done before the next proof, what they cost, and what is left when they fail.
#[derive(Debug, Clone)]
struct Batch {
    acts: Vec<usize>,
    /// Minutes times the probability of being here.
    cost: f64,
    /// What is taken off by the minute, by these acts or by the block that they open.
    efficiency: f64,
}

/// The best course found: greedy, or by search where guards have to be shut for a proof.
pub(super) fn best(prospect: &Prospect, state: &State) -> Course {
    let greedy = greedy(prospect, state);
    match batch::search(prospect, state, &greedy) {
        Some(searched) if searched.minutes < greedy.minutes => searched,
        _ => greedy,
    }
}

/// The best greedy course.
pub(super) fn greedy(prospect: &Prospect, start: &State) -> Course {
    let mut best = Course { minutes: start.call(prospect), batches: Vec::new() };
    let (mut state, mut spent) = (start.clone(), 0.0);
    let (mut batches, mut done) = (Vec::new(), 0);
    while done < LONGEST && state.left > 0.0 {
        let Some(batch) = next(prospect, &state) else { break };
        spent += batch.cost;
        done += batch.acts.len();
        follow(prospect, &mut state, &batch.acts);
        batches.push(batch.acts);
        let minutes = spent + state.call(prospect);
        if minutes < best.minutes {
            best.minutes = minutes;
            best.batches.clone_from(&batches);
        }
        if spent >= best.minutes {
            break;
        }
    }
    best
}

/// The state when a batch was done and proved nothing.
pub(super) fn follow(prospect: &Prospect, state: &mut State, batch: &[usize]) {
    for &act in batch {
        state.act(prospect, act);
        if let Some(lockout) = prospect.acts[act].lockout {
            state.stands[lockout] = true;
        }
    }
    state.shut(prospect);
}

/// What doing these acts before one proof costs.
pub(super) fn cost(
    prospect: &Prospect,
    state: &State,
    acts: impl IntoIterator<Item = usize>,
    after: f64,
) -> f64 {
    let (mut minutes, mut proof, mut undo, mut around) = (0.0, 0.0_f64, 0.0, 0.0);
    for act in acts.into_iter().map(|act| &prospect.acts[act]) {
        around = state.around(prospect, act.lockout);
        minutes += act.minutes;
        proof = proof.max(act.proof);
        undo += act.undo;
    }
    state.left * (around + minutes + proof) + after * undo
}

/// The most efficient batch; weighty acts wait for even odds or until nothing else is left.
fn next(prospect: &Prospect, state: &State) -> Option<Batch> {
    let mut ready: Vec<(usize, f64)> = Vec::new();
    let mut waiting: Vec<(usize, f64)> = Vec::new();
    for &act in &state.free {
        let after = state.left_after(prospect, act);
        if state.left - after < LEAST_HELP * state.left {
            continue;
        }
        let weighty = prospect.acts[act].weighty && state.left - after < EVEN_ODDS * state.left;
        if weighty { &mut waiting } else { &mut ready }.push((act, after));
    }
    if ready.is_empty() {
        ready = waiting;
    }
    let single = most_efficient(prospect, state, &ready);
    let pair = best_pair(prospect, state);
    match (single, pair) {
        (Some(single), Some((efficiency, _))) if single.efficiency >= efficiency => Some(single),
        (_, Some((_, first))) => Some(alone(prospect, state, first, state.left_after(prospect, first))),
        (single, None) => single,
    }
}

fn alone(prospect: &Prospect, state: &State, act: usize, after: f64) -> Batch {
    let cost = cost(prospect, state, [act], after);
    Batch { acts: vec![act], cost, efficiency: (state.left - after) / cost.max(f64::MIN_POSITIVE) }
}

/// The most efficient of single acts outside and of the best prefix in each lockout.
fn most_efficient(prospect: &Prospect, state: &State, ready: &[(usize, f64)]) -> Option<Batch> {
    let mut best: Option<Batch> = None;
    let mut offer = |batch: Batch| {
        if best.as_ref().is_none_or(|known| batch.efficiency > known.efficiency) {
            best = Some(batch);
        }
    };
    for &(act, after) in ready.iter().filter(|(act, _)| prospect.acts[*act].lockout.is_none()) {
        offer(alone(prospect, state, act, after));
    }
    for (lockout, shared) in prospect.lockouts.iter().enumerate() {
        let inside = |(act, _): &&(usize, f64)| prospect.acts[*act].lockout == Some(lockout);
        let members: Vec<(usize, f64)> = ready.iter().filter(inside).copied().collect();
        if !members.is_empty() {
            offer(best_prefix(prospect, state, shared.proves_inside, members));
        }
    }
    best
}

/// Members of one lockout by P/C, as far as they raise what is taken off by the minute. Where each is proved inside, only the
/// first is done for now: with the guard open the rest is weighed anew.
fn best_prefix(
    prospect: &Prospect,
    state: &State,
    proves_inside: bool,
    mut members: Vec<(usize, f64)>,
) -> Batch {
    let own = |act: &Act| act.minutes + if proves_inside { act.proof } else { 0.0 };
    let ratio =
        |&(act, after): &(usize, f64)| (state.left - after) / own(&prospect.acts[act]).max(f64::MIN_POSITIVE);
    members.sort_by(|a, b| ratio(b).total_cmp(&ratio(a)).then(a.0.cmp(&b.0)));
    let mut grown = state.clone();
    let mut acts = Vec::new();
    let mut minutes = state.left * state.around(prospect, prospect.acts[members[0].0].lockout);
    let mut best = Batch { acts: Vec::new(), cost: 0.0, efficiency: f64::NEG_INFINITY };
    for &(act, _) in &members {
        grown.act(prospect, act);
        acts.push(act);
        let spent = if proves_inside {
            minutes += state.left * own(&prospect.acts[act]);
            minutes
        } else {
            cost(prospect, state, acts.iter().copied(), grown.left)
        };
        let efficiency = (state.left - grown.left) / spent.max(f64::MIN_POSITIVE);
        if efficiency > best.efficiency {
            best = Batch { acts: acts.clone(), cost: spent, efficiency };
        }
    }
    if proves_inside {
        best.acts.truncate(1);
        let first = best.acts[0];
        best.cost = cost(prospect, state, [first], state.left_after(prospect, first));
    }
    best
}

/// Two faults at once: neither remedy alone ends the complaint, so the two are weighed together. Gives the efficiency of the
/// pair and which of them to do first.
fn best_pair(prospect: &Prospect, state: &State) -> Option<(f64, usize)> {
    let open = |pair: &&Pair| state.free.contains(&pair.acts.0) && state.free.contains(&pair.acts.1);
    let mut best: Option<(f64, usize)> = None;
    for pair in prospect.pairs.iter().filter(open).filter(|p| state.hangs(p) >= SHARED * state.left) {
        let after = state.left_after_both(prospect, pair);
        let (a, b) = pair.acts;
        let minutes = state.alone(prospect, a) + state.alone(prospect, b);
        let efficiency = (state.left - after) / (state.left * minutes).max(f64::MIN_POSITIVE);
        if state.left - after > LEAST_HELP * state.left && best.is_none_or(|(known, _)| efficiency > known) {
            let first = if state.left_after(prospect, b) < state.left_after(prospect, a) { b } else { a };
            best = Some((efficiency, first));
        }
    }
    best
}
