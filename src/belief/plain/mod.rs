//! The same distribution for other programs: plain variables, each with a small table over at most a few parents.
//!
//! A noisy-MAX with many parents has no small table. So each link gets a helper that says how far it drives, and a chain of helpers
//! with two parents each takes the largest, leak first. What an answer says is a child of the findings that it bears on, observed in
//! its state 1. Where a finding is looked at in more than one state (remedies, fresh starts, faults that come and go), how far each link would drive
//! is a variable of its own that all times share, as link noise lasts.
//!
//! Nothing of the engine's sums is used, so that another program's answer is an outside judgement on them.

mod answers;
mod believed;
mod findings;

pub use believed::Believed;

use std::collections::BTreeMap;

use super::evidence::{BeliefError, Evidence, Item, Moment};
use super::network::Network;

/// A variable with its table.
#[derive(Debug, Clone, PartialEq)]
pub struct Variable {
    /// Letters, digits and `_` alone: `h_` circumstances, `c_` causes, `n_` causes as they are now, `f_` findings as they are now,
    /// `e_` evidence, `r_` readers of runs, `d_` draws, `x_` other helpers.
    pub id: String,
    /// Number of states; 0 is absent, did not happen, normal.
    pub states: usize,
    /// Its parents, by place; all stand before it.
    pub parents: Vec<usize>,
    /// P(state | parents), row-major, the last parent faster than the first and the state itself fastest.
    pub table: Vec<f64>,
}

/// A network of one machine, with or without a case, as plain variables.
#[derive(Debug, Clone, PartialEq)]
pub struct Plain {
    /// Parents before children.
    pub variables: Vec<Variable>,
    /// The variable of each circumstance.
    pub circumstances: Vec<usize>,
    /// The variable of each cause: was it there when the case began?
    pub causes: Vec<usize>,
    /// The variable of each cause: is it there after the remedies done? The same as before where none was done.
    pub causes_now: Vec<usize>,
    /// The variable of each finding as it is now, faults that come and go awake.
    pub findings: Vec<usize>,
    /// Helpers that read a run finding by finding: which listed combination it can still become, 0 being none.
    pub readers: Vec<usize>,
    /// Helpers that say how many of the faults that come and go an answer missed.
    pub draws: Vec<usize>,
    /// Evidence variables, all observed in state 1.
    pub observed: Vec<usize>,
    /// ln of what the likelihoods were divided by: ln P(evidence) of the engine is this plus ln P(observed).
    pub ln_scale: f64,
}

/// The network with this evidence as plain variables.
pub fn plain(network: &Network, evidence: &Evidence) -> Result<Plain, BeliefError> {
    evidence.check(network)?;
    let mut writer = Writer::new(network, evidence);
    writer.roots();
    let now = When { items: evidence.0.len(), depth: 0 };
    let findings = (0..network.findings().len()).map(|finding| writer.finding(finding, now)).collect();
    for place in 0..evidence.0.len() {
        writer.item(place);
    }
    let causes_now = (0..network.causes().len()).map(|cause| writer.cause(cause, now.items)).collect();
    let mut plain = Plain {
        variables: writer.variables,
        circumstances: writer.circumstances,
        causes: writer.causes.iter().map(|states| states[0]).collect(),
        causes_now,
        findings,
        readers: writer.readers,
        draws: writer.draws,
        observed: writer.observed,
        ln_scale: writer.ln_scale,
    };
    plain.call();
    Ok(plain)
}

impl Plain {
    /// Gives every variable its id.
    fn call(&mut self) {
        for (place, variable) in self.variables.iter_mut().enumerate() {
            variable.id = format!("x_{:04}", place + 1);
        }
        let named = [
            ('h', &self.circumstances),
            ('n', &self.causes_now),
            ('c', &self.causes),
            ('f', &self.findings),
            ('r', &self.readers),
            ('d', &self.draws),
            ('e', &self.observed),
        ];
        for (letter, variables) in named {
            for (index, &variable) in variables.iter().enumerate() {
                self.variables[variable].id = format!("{letter}_{:04}", index + 1);
            }
        }
    }
}

/// How much of the case has passed, and how many of the chances of being caught, from the smallest, are missed.
#[derive(Debug, Clone, Copy)]
struct When {
    items: usize,
    depth: usize,
}

/// A finding with its fresh starts so far and the variables that drive it; none for a cause that sleeps.
type Looked = (usize, usize, Vec<Option<usize>>);

struct Writer<'a> {
    network: &'a Network,
    evidence: &'a Evidence,
    variables: Vec<Variable>,
    circumstances: Vec<usize>,
    /// For each cause its variable after none, one, two… of its remedies.
    causes: Vec<Vec<usize>>,
    /// The different chances of being caught, rising.
    catches: Vec<f64>,
    /// Whether a finding may be looked at in more than one state.
    lasts: bool,
    looked: BTreeMap<Looked, usize>,
    /// (finding, fresh starts, link; the leak is last) → how far it would drive.
    levels: BTreeMap<(usize, usize, usize), usize>,
    readers: Vec<usize>,
    draws: Vec<usize>,
    observed: Vec<usize>,
    ln_scale: f64,
}

impl<'a> Writer<'a> {
    fn new(network: &'a Network, evidence: &'a Evidence) -> Self {
        let mut catches: Vec<f64> = network.causes().iter().filter_map(|cause| cause.catch).collect();
        catches.sort_by(f64::total_cmp);
        catches.dedup();
        let again = |item: &Item| match item {
            Item::Answer { moment, .. } | Item::Run { moment, .. } => {
                *moment != Moment::Bad && !catches.is_empty()
            }
            Item::Remedy { .. } | Item::Afresh { .. } => true,
            Item::Circumstance { .. } => false,
        };
        let lasts = evidence.0.iter().any(again);
        Self {
            network,
            evidence,
            variables: Vec::new(),
            circumstances: Vec::new(),
            causes: Vec::new(),
            catches,
            lasts,
            looked: BTreeMap::new(),
            levels: BTreeMap::new(),
            readers: Vec::new(),
            draws: Vec::new(),
            observed: Vec::new(),
            ln_scale: 0.0,
        }
    }

    /// Circumstances, causes, and causes after each of their remedies.
    fn roots(&mut self) {
        for circumstance in self.network.circumstances() {
            let root = self.root(vec![1.0 - circumstance.usual, circumstance.usual]);
            self.circumstances.push(root);
        }
        for (index, cause) in self.network.causes().iter().enumerate() {
            let mut state = self.root(vec![1.0 - cause.base, cause.base]);
            for &(circumstance, chance) in &cause.after {
                let circumstance = self.circumstances[circumstance];
                let brought = self.add(2, vec![circumstance], vec![1.0, 0.0, 1.0 - chance, chance]);
                state = self.larger(state, brought);
            }
            let mut states = vec![state];
            for item in &self.evidence.0 {
                if let Item::Remedy { cause: cured, works } = item
                    && *cured == index
                {
                    let worked = self.root(vec![1.0 - works, *works]);
                    state = self.function(2, vec![state, worked], |at| usize::from(at == [1, 0]));
                    states.push(state);
                }
            }
            self.causes.push(states);
        }
    }

    /// The variable of a cause after the first `items` items.
    fn cause(&self, cause: usize, items: usize) -> usize {
        let cures = |item: &&Item| matches!(item, Item::Remedy { cause: cured, .. } if *cured == cause);
        self.causes[cause][self.evidence.0[..items].iter().filter(cures).count()]
    }

    fn root(&mut self, table: Vec<f64>) -> usize {
        self.add(table.len(), Vec::new(), table)
    }

    fn add(&mut self, states: usize, parents: Vec<usize>, table: Vec<f64>) -> usize {
        self.variables.push(Variable { id: String::new(), states, parents, table });
        self.variables.len() - 1
    }

    /// The larger of two states.
    fn larger(&mut self, a: usize, b: usize) -> usize {
        let states = self.variables[a].states.max(self.variables[b].states);
        self.function(states, vec![a, b], |at| at[0].max(at[1]))
    }

    /// A variable that its parents determine.
    fn function(&mut self, states: usize, parents: Vec<usize>, of: impl Fn(&[usize]) -> usize) -> usize {
        let row = |at: &[usize]| {
            let mut row = vec![0.0; states];
            row[of(at)] = 1.0;
            row
        };
        let table = self.joint(&parents).iter().flat_map(|at| row(at)).collect();
        self.add(states, parents, table)
    }

    /// Every joint state of some variables, the last fastest.
    fn joint(&self, variables: &[usize]) -> Vec<Vec<usize>> {
        variables.iter().fold(vec![Vec::new()], |rows, &variable| {
            let states = self.variables[variable].states;
            let longer =
                |row: Vec<usize>| (0..states).map(move |state| row.iter().copied().chain([state]).collect());
            rows.into_iter().flat_map(longer).collect()
        })
    }
}
