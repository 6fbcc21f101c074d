//! One noisy-MAX gate over all the moments at which a finding matters, as a chain of small positive tables.
//!
//! A finding has one state a *version* (a moment at which its parents may differ). A state is written in bits, `degrees` bits a
//! version, the lowest `s` of them set for degree `s`; so the larger of two states is their bitwise or. Each link, and the
//! leak, draws one uniform level `V` a block of versions and drives version `k` to the largest `s` with
//! `V < P(at least s | parent's state at k)`: noise persists, so P(before ≤ s, after ≤ t) = leak(min) · Π_p min(c, c).
//! No signed difference of cumulative tables is ever formed, so nothing cancels.

use super::evidence::BeliefError;
use super::factor::{Axis, Factor, Var};

/// States of a finding at all its versions, as bits.
pub(crate) type State = u128;
/// Most bits of a state.
pub(crate) const MOST_BITS: usize = 128;
/// Most states of one finding.
const MOST_STATES: usize = 4096;
/// What one influence can do, with probabilities; states ascending.
pub(crate) type Spread = Vec<(State, f64)>;

/// Degree of one version.
pub(crate) fn degree(state: State, version: usize, degrees: usize) -> usize {
    ((state >> (version * degrees)) & ((1 << degrees) - 1)).count_ones() as usize
}

/// What one link does: `levels[k]` = P(drives version k to at least 1, 2…), empty where it does not act; versions of the same
/// block share one draw.
pub(crate) fn spread(levels: &[&[f64]], blocks: &[usize], degrees: usize) -> Spread {
    let mut all: Spread = vec![(0, 1.0)];
    let mut done: Vec<usize> = Vec::new();
    for &block in blocks {
        if !done.contains(&block) {
            done.push(block);
            all = stronger(&all, &spread_of_block(levels, blocks, block, degrees));
        }
    }
    all
}

fn spread_of_block(levels: &[&[f64]], blocks: &[usize], block: usize, degrees: usize) -> Spread {
    let inside = || levels.iter().enumerate().filter(|(version, _)| blocks[*version] == block);
    let mut bounds: Vec<f64> =
        inside().flat_map(|(_, row)| row.iter().copied()).filter(|bound| *bound > 0.0).collect();
    bounds.sort_unstable_by(|a, b| b.total_cmp(a));
    bounds.dedup();
    let mut spread: Spread = vec![(0, 1.0 - bounds.first().copied().unwrap_or(0.0))];
    for (place, &bound) in bounds.iter().enumerate() {
        let below = bounds.get(place + 1).copied().unwrap_or(0.0);
        let mut state: State = 0;
        for (version, row) in inside() {
            let reached = row.iter().filter(|level| **level >= bound).count();
            state |= ((1 << reached) - 1) << (version * degrees);
        }
        spread.push((state, bound - below));
    }
    tidy(spread)
}

/// The larger of two independent influences.
fn stronger(left: &Spread, right: &Spread) -> Spread {
    tidy(left.iter().flat_map(|&(a, p)| right.iter().map(move |&(b, q)| (a | b, p * q))).collect())
}

fn tidy(mut spread: Spread) -> Spread {
    spread.sort_by_key(|entry| entry.0);
    spread.dedup_by(|next, kept| {
        let same = next.0 == kept.0;
        if same {
            kept.1 += next.1;
        }
        same
    });
    spread.retain(|entry| entry.1 > 0.0);
    spread
}

/// One parent: what it does in each of its states.
pub(crate) struct Input {
    pub(crate) var: Var,
    pub(crate) by_state: Vec<Spread>,
}

/// A gate that is being built: start from the leak, then one step a parent.
pub(crate) struct Gate {
    start: Spread,
    inputs: Vec<Input>,
    /// States reachable after the start and after each input.
    domains: Vec<Vec<State>>,
}

impl Gate {
    /// Takes the leak and the parents; a parent with a single state is folded into the start.
    pub(crate) fn new(leak: Spread, inputs: Vec<Input>) -> Result<Self, BeliefError> {
        let (fixed, inputs): (Vec<_>, Vec<_>) =
            inputs.into_iter().partition(|input| input.by_state.len() == 1);
        let start = fixed.iter().fold(leak, |start, input| stronger(&start, &input.by_state[0]));
        let mut domains = vec![start.iter().map(|entry| entry.0).collect::<Vec<_>>()];
        for input in &inputs {
            let mut effects: Vec<State> = input.by_state.iter().flatten().map(|entry| entry.0).collect();
            effects.sort_unstable();
            effects.dedup();
            let last = &domains[domains.len() - 1];
            let mut next: Vec<State> = last.iter().flat_map(|a| effects.iter().map(move |b| a | b)).collect();
            next.sort_unstable();
            next.dedup();
            if next.len() > MOST_STATES {
                return Err(BeliefError::TooLarge { cost: (next.len() as f64).powi(2) });
            }
            domains.push(next);
        }
        Ok(Self { start, inputs, domains })
    }

    /// The states that the finding can be in.
    pub(crate) fn states(&self) -> &[State] {
        &self.domains[self.domains.len() - 1]
    }

    /// Forgets the final states that evidence rules out, and with them every state on the way that is above all the rest.
    pub(crate) fn allow(&mut self, allowed: &[State]) {
        for domain in &mut self.domains {
            domain.retain(|state| allowed.iter().any(|top| state & !top == 0));
        }
        if let Some(last) = self.domains.last_mut() {
            *last = allowed.to_vec();
        }
    }

    /// The tables that define `output`, with `fresh` naming the variables on the way.
    pub(crate) fn factors(&self, output: Var, mut fresh: impl FnMut() -> Var, into: &mut Vec<Factor>) {
        let Some(last) = self.inputs.len().checked_sub(1) else {
            let table = self.states().iter().map(|state| chance(&self.start, *state)).collect();
            into.push(Factor::new(&[(output, self.states().len())], table));
            return;
        };
        let mut before: Option<Axis> = None;
        for (step, input) in self.inputs.iter().enumerate() {
            let after = (if step == last { output } else { fresh() }, self.domains[step + 1].len());
            into.push(self.step(step, input, before, after));
            before = Some(after);
        }
    }

    /// P(state after this parent | its state, state before); the first step sums over the start.
    fn step(&self, step: usize, input: &Input, before: Option<Axis>, after: Axis) -> Factor {
        let (from, to) = (&self.domains[step], &self.domains[step + 1]);
        let rows = if before.is_some() { from.len() } else { 1 };
        let mut table = vec![0.0; input.by_state.len() * rows * to.len()];
        for (u, effects) in input.by_state.iter().enumerate() {
            for (place, &state) in from.iter().enumerate() {
                let (row, weight) =
                    if before.is_some() { (place, 1.0) } else { (0, chance(&self.start, state)) };
                for &(effect, p) in effects {
                    if let Ok(column) = to.binary_search(&(state | effect)) {
                        table[(u * rows + row) * to.len() + column] += weight * p;
                    }
                }
            }
        }
        let axes: Vec<Axis> =
            [Some((input.var, input.by_state.len())), before, Some(after)].into_iter().flatten().collect();
        Factor::new(&axes, table)
    }
}

fn chance(spread: &Spread, state: State) -> f64 {
    spread.binary_search_by_key(&state, |entry| entry.0).map_or(0.0, |place| spread[place].1)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_link_that_fired_before_fires_again_with_the_weaker_parent_only_as_often_as_that_allows() {
        // Before: P(≥1) = .8, P(≥2) = .5; after: P(≥1) = .3, P(≥2) = 0. Two degrees, two bits a version.
        let spread = spread(&[&[0.8, 0.5], &[0.3, 0.0]], &[0, 0], 2);
        let p = |before: usize, after: usize| -> f64 {
            spread
                .iter()
                .filter(|(s, _)| degree(*s, 0, 2) <= before && degree(*s, 1, 2) <= after)
                .map(|e| e.1)
                .sum()
        };
        for (before, after, expected) in
            [(0, 0, 0.2), (1, 0, 0.5), (1, 1, 0.5), (2, 0, 0.7), (0, 2, 0.2), (2, 2, 1.0)]
        {
            assert!((p(before, after) - expected).abs() < 1e-15, "{before} {after}");
        }
    }

    #[test]
    fn blocks_draw_independently() {
        let spread = spread(&[&[0.5], &[0.5]], &[0, 1], 1);
        assert!(spread.len() == 4 && spread.iter().all(|entry| (entry.1 - 0.25).abs() < 1e-15));
    }
}
