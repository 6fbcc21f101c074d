//! Summing out variables one after another (bucket elimination, Dechter 1999), in a greedy order by table size.
//!
//! The cost of an order, the table entries it touches, is counted before anything is computed.

use std::collections::BTreeMap;

use super::evidence::BeliefError;
use super::factor::{Axis, Factor, Var, product, project, size};

/// Most table entries that one elimination may touch.
pub(crate) const MOST_ENTRIES: f64 = 5e7;

/// Which variable goes when, and what it costs.
#[derive(Debug, Default)]
pub(crate) struct Order {
    vars: Vec<Var>,
    /// Table entries touched.
    pub(crate) cost: f64,
}

/// A graph of variables that stand in one factor together, as rows of bits.
struct Graph {
    axes: Vec<Axis>,
    words: usize,
    rows: Vec<u64>,
}

impl Graph {
    fn new(factors: &[Factor]) -> Self {
        let mut axes: Vec<Axis> = factors.iter().flat_map(|factor| factor.axes.iter().copied()).collect();
        axes.sort_unstable();
        axes.dedup();
        let words = axes.len().div_ceil(64);
        let rows = vec![0; words * axes.len()];
        let mut graph = Self { axes, words, rows };
        let mut places = Vec::new();
        for factor in factors {
            places.clear();
            places.extend(factor.axes.iter().filter_map(|axis| graph.place(axis.0)));
            graph.join(&places);
        }
        graph
    }

    fn place(&self, var: Var) -> Option<usize> {
        self.axes.binary_search_by_key(&var, |axis| axis.0).ok()
    }

    fn join(&mut self, places: &[usize]) {
        for &a in places {
            for &b in places {
                if a != b {
                    self.rows[a * self.words + b / 64] |= 1 << (b % 64);
                }
            }
        }
    }

    fn neighbours(&self, place: usize, into: &mut Vec<usize>) {
        into.clear();
        for (word, &bits) in self.rows[place * self.words..(place + 1) * self.words].iter().enumerate() {
            let mut bits = bits;
            while bits != 0 {
                into.push(word * 64 + bits.trailing_zeros() as usize);
                bits &= bits - 1;
            }
        }
    }

    fn weight(&self, place: usize, scratch: &mut Vec<usize>) -> f64 {
        self.neighbours(place, scratch);
        scratch.iter().map(|&other| self.axes[other].1 as f64).product::<f64>() * self.axes[place].1 as f64
    }

    fn remove(&mut self, place: usize, neighbours: &[usize]) {
        for &other in neighbours {
            self.rows[other * self.words + place / 64] &= !(1 << (place % 64));
        }
        self.join(neighbours);
    }
}

/// The order that next takes the variable with the smallest table; equal ones by number. `keep` stay.
pub(crate) fn order(factors: &[Factor], keep: &[Var]) -> Order {
    let mut graph = Graph::new(factors);
    let (mut scratch, mut neighbours) = (Vec::new(), Vec::new());
    let mut weights: Vec<f64> = (0..graph.axes.len())
        .map(|place| {
            if keep.contains(&graph.axes[place].0) {
                f64::INFINITY
            } else {
                graph.weight(place, &mut scratch)
            }
        })
        .collect();
    let mut order = Order::default();
    for _ in 0..weights.len() {
        let best = (0..weights.len()).min_by(|&a, &b| weights[a].total_cmp(&weights[b]));
        let Some(best) = best.filter(|&best| weights[best].is_finite()) else { break };
        order.vars.push(graph.axes[best].0);
        order.cost += weights[best];
        weights[best] = f64::INFINITY;
        graph.neighbours(best, &mut neighbours);
        graph.remove(best, &neighbours);
        for &other in &neighbours {
            if weights[other].is_finite() {
                weights[other] = graph.weight(other, &mut scratch);
            }
        }
    }
    order
}

/// One variable's table on its way out: everything known of it and its neighbours.
#[derive(Debug)]
struct Bucket {
    var: Var,
    scope: Vec<Axis>,
    table: Vec<f64>,
    /// What it told the next: the sum over the variable.
    told: Vec<f64>,
    next: Option<usize>,
}

/// An elimination that remembers its tables, for all marginals at once.
#[derive(Debug)]
pub(crate) struct Tree {
    buckets: Vec<Bucket>,
    place: BTreeMap<Var, usize>,
    /// What is left: a number, or a table over the variables kept.
    pub(crate) rest: Vec<Factor>,
}

/// A factor waiting to be taken up, with the bucket that it came from.
struct Waiting {
    factor: Factor,
    from: Option<usize>,
}

/// Sums out every variable of the order, remembering the tables if asked.
pub(crate) fn eliminate(factors: Vec<Factor>, order: &Order, remember: bool) -> Result<Tree, BeliefError> {
    if order.cost > MOST_ENTRIES {
        return Err(BeliefError::TooLarge { cost: order.cost });
    }
    let place: BTreeMap<Var, usize> =
        order.vars.iter().enumerate().map(|(place, &var)| (var, place)).collect();
    let mut queues: Vec<Vec<Waiting>> = order.vars.iter().map(|_| Vec::new()).collect();
    let mut rest = Vec::new();
    let mut buckets: Vec<Bucket> = Vec::new();
    let first = |factor: &Factor| factor.axes.iter().filter_map(|axis| place.get(&axis.0)).min().copied();
    for factor in factors {
        match first(&factor) {
            Some(bucket) => queues[bucket].push(Waiting { factor, from: None }),
            None => rest.push(factor),
        }
    }
    for (here, &var) in order.vars.iter().enumerate() {
        let waiting = std::mem::take(&mut queues[here]);
        let joint = product(waiting.iter().map(|item| &item.factor), scope_of(&waiting));
        let outer: Vec<Axis> = joint.axes.iter().copied().filter(|axis| axis.0 != var).collect();
        let told = project(&joint.table, &joint.axes, &outer);
        let message = Factor { axes: outer, table: told, ln: joint.ln }.scaled();
        let next = first(&message);
        if remember {
            for item in &waiting {
                if let Some(from) = item.from {
                    buckets[from].next = Some(here);
                }
            }
            buckets.push(Bucket {
                var,
                scope: joint.axes,
                table: joint.table,
                told: message.table.clone(),
                next: None,
            });
        }
        match next {
            Some(bucket) => queues[bucket].push(Waiting { factor: message, from: Some(here) }),
            None => rest.push(message),
        }
    }
    Ok(Tree { buckets, place, rest })
}

/// The union of the axes, the one with most states last: it is the inner loop.
fn scope_of(waiting: &[Waiting]) -> Vec<Axis> {
    let mut scope: Vec<Axis> = waiting.iter().flat_map(|item| item.factor.axes.iter().copied()).collect();
    scope.sort_unstable_by_key(|axis| (axis.1, axis.0));
    scope.dedup();
    scope
}

impl Tree {
    /// Logarithm of the total, if everything was summed out; `None` when the total is zero.
    pub(crate) fn ln_total(&self) -> Option<f64> {
        let mut ln = 0.0;
        for factor in &self.rest {
            let value: f64 = factor.table.iter().sum();
            if value <= 0.0 {
                return None;
            }
            ln += value.ln() + factor.ln;
        }
        Some(ln)
    }

    /// Turns each remembered table into the joint weights of its variables given everything, last bucket first:
    /// own table · (what the next one believes of the shared axes) / (what was told to it), with 0 / 0 = 0.
    pub(crate) fn spread_back(&mut self) {
        for here in (0..self.buckets.len()).rev() {
            let (head, tail) = self.buckets.split_at_mut(here + 1);
            let bucket = &mut head[here];
            if let Some(next) = bucket.next {
                let shared: Vec<Axis> =
                    bucket.scope.iter().copied().filter(|axis| axis.0 != bucket.var).collect();
                let next = &tail[next - here - 1];
                let mut ratio = project(&next.table, &next.scope, &shared);
                for (value, told) in ratio.iter_mut().zip(&bucket.told) {
                    *value = if *told > 0.0 { *value / told } else { 0.0 };
                }
                let ratio = Factor { axes: shared, table: ratio, ln: 0.0 };
                super::factor::multiply(&mut bucket.table, &bucket.scope, &ratio);
            }
            let total: f64 = bucket.table.iter().sum();
            if total > 0.0 {
                bucket.table.iter_mut().for_each(|entry| *entry /= total);
            }
        }
    }

    /// The distribution of one variable after `spread_back`; `None` if it is not in the tree (it has one state).
    pub(crate) fn marginal(&self, var: Var) -> Option<Vec<f64>> {
        let bucket = &self.buckets[*self.place.get(&var)?];
        let own = bucket.scope.iter().find(|axis| axis.0 == var)?;
        Some(project(&bucket.table, &bucket.scope, &[*own]))
    }
}

/// Sums out everything but `keep`; what is left stays a list of factors over them.
pub(crate) fn reduce(factors: Vec<Factor>, keep: &[Var]) -> Result<Vec<Factor>, BeliefError> {
    let order = order(&factors, keep);
    Ok(eliminate(factors, &order, false)?.rest)
}

/// Sums out everything but one variable: its weights, scaled, with their logarithm.
pub(crate) fn weights_of(factors: Vec<Factor>, axis: Axis) -> Result<Factor, BeliefError> {
    let scope = if axis.1 == 1 { Vec::new() } else { vec![axis] };
    let rest = reduce(factors, &[axis.0])?;
    debug_assert!(size(&scope) == axis.1);
    Ok(product(&rest, scope).scaled())
}
