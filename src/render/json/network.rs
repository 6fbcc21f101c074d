//! `knowledge export --format json`, as `handlamp-network/1`: the variables with their tables, what is observed, and what the engine
//! believes of every variable that stands for something. `noisy` is the same network as the engine holds it, by index: noisy-MAX
//! with as many parents as there are, its evidence beside it.

use std::collections::BTreeMap;

use serde::Serialize;

use crate::belief::{Believed, Evidence, Network, Plain};
use crate::view::network::Described;

/// A network for a program.
#[derive(Debug, Serialize)]
pub struct NetworkOut<'a> {
    format: &'static str,
    title: &'a str,
    variables: Vec<VariableOut<'a>>,
    /// From evidence variable to its observed state.
    observed: BTreeMap<&'a str, &'a str>,
    /// From variable to P(state | observed) of each of its states.
    posterior: BTreeMap<&'a str, &'a [f64]>,
    ln_observed: f64,
    nothing_known: f64,
    noisy: &'a Network,
    evidence: &'a Evidence,
}

#[derive(Debug, Serialize)]
struct VariableOut<'a> {
    id: &'a str,
    kind: &'static str,
    name: Option<&'a str>,
    states: &'a [String],
    parents: Vec<&'a str>,
    /// P(state | parents): the state fastest, then the last parent.
    table: &'a [f64],
}

/// A network as an answer.
pub fn network<'a>(
    title: &'a str,
    plain: &'a Plain,
    described: &'a [Described],
    believed: &'a Believed,
    (noisy, evidence): (&'a Network, &'a Evidence),
) -> NetworkOut<'a> {
    let id = |variable: usize| plain.variables[variable].id.as_str();
    let variable = |(place, described): (usize, &'a Described)| VariableOut {
        id: id(place),
        kind: described.kind,
        name: described.name.as_deref(),
        states: &described.states,
        parents: plain.variables[place].parents.iter().map(|&parent| id(parent)).collect(),
        table: &plain.variables[place].table,
    };
    NetworkOut {
        format: "handlamp-network/1",
        title,
        variables: described.iter().enumerate().map(variable).collect(),
        observed: plain.observed.iter().map(|&v| (id(v), described[v].states[1].as_str())).collect(),
        posterior: believed.states.iter().map(|(&v, states)| (id(v), states.as_slice())).collect(),
        ln_observed: believed.ln_observed,
        nothing_known: believed.nothing_known,
        noisy,
        evidence,
    }
}
