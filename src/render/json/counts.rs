//! `knowledge stats --json`, as `handlamp-stats/1`: complete entries by kind at the top level, all under `all`; what decides in
//! simulated calls under `decisions`, when it was asked for.

use serde::Serialize;

use crate::rehearse::{Asked, Decisions, Idle, Moved};
use crate::vet::Stats;

/// Counts for a program.
#[derive(Debug, Serialize)]
pub struct CountsOut<'a> {
    format: &'static str,
    #[serde(flatten)]
    stats: &'a Stats,
    #[serde(skip_serializing_if = "Option::is_none")]
    decisions: Option<DecisionsOut<'a>>,
}

/// What decides. `cases` is calls a machine; entries are `kind/id`; shares go from 0 to 1: in `asked` of the calls in which it
/// could be asked, in `moves` of `situations`. `remedies` wait for what is never asked, or are proved by it.
#[derive(Debug, Serialize)]
struct DecisionsOut<'a> {
    cases: usize,
    seed: u64,
    asked: Vec<AskedOut<'a>>,
    never_asked: Vec<IdleOut<'a>>,
    situations: usize,
    numbers_tried: usize,
    numbers_moving: usize,
    moves: Vec<MovedOut<'a>>,
    not_weighed: usize,
}

#[derive(Debug, Serialize)]
struct AskedOut<'a> {
    entry: &'a str,
    first: f64,
    share: f64,
}

#[derive(Debug, Serialize)]
struct IdleOut<'a> {
    entry: &'a str,
    calls: usize,
    remedies: usize,
}

#[derive(Debug, Serialize)]
struct MovedOut<'a> {
    entry: &'a str,
    field: &'a str,
    share: f64,
    lower: f64,
    higher: f64,
}

/// The counts for a program.
pub fn counts<'a>(stats: &'a Stats, decided: Option<&'a Decisions>) -> CountsOut<'a> {
    CountsOut { format: "handlamp-stats/1", stats, decisions: decided.map(decisions) }
}

fn decisions(decided: &Decisions) -> DecisionsOut<'_> {
    DecisionsOut {
        cases: decided.cases,
        seed: decided.seed,
        asked: decided.asked.iter().map(asked).collect(),
        never_asked: decided.never_asked.iter().map(idle).collect(),
        situations: decided.situations,
        numbers_tried: decided.tried,
        numbers_moving: decided.moving,
        moves: decided.moves.iter().map(moved).collect(),
        not_weighed: decided.not_weighed,
    }
}

fn asked(asked: &Asked) -> AskedOut<'_> {
    AskedOut { entry: &asked.entry, first: asked.first, share: asked.share }
}

fn idle(idle: &Idle) -> IdleOut<'_> {
    IdleOut { entry: &idle.entry, calls: idle.calls, remedies: idle.remedies }
}

fn moved(moved: &Moved) -> MovedOut<'_> {
    let Moved { entry, field, share, lower, higher } = moved;
    MovedOut { entry, field, share: *share, lower: *lower, higher: *higher }
}
