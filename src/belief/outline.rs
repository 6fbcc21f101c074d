//! How large pieces would be and what joining them would cost, before any of it is done.

use super::influence::State;
use super::piece::Piece;
use super::tape::{Axis, size};

/// So many pieces are looked at; more are joined smallest first.
const MOST: usize = 40;

/// A piece by its size alone.
#[derive(Clone)]
struct Outline {
    axes: Vec<Axis>,
    /// (bundle, about how many states, their bits).
    sets: Vec<(usize, f64, State)>,
}

impl Outline {
    fn of(piece: &Piece) -> Self {
        let sets = piece.sets.iter().map(|set| (set.bundle, set.states.len() as f64, set.bits));
        Self { axes: piece.axes.clone(), sets: sets.collect() }
    }

    fn cells(&self) -> f64 {
        self.sets.iter().map(|set| set.1).product()
    }

    fn entries(&self) -> f64 {
        self.cells() * size(&self.axes) as f64
    }

    /// The two as one, and what that costs.
    fn with(&self, other: &Self) -> (Self, f64) {
        let mut both = self.clone();
        both.axes.extend(other.axes.iter().filter(|axis| !self.axes.contains(axis)));
        for &(bundle, states, bits) in &other.sets {
            match both.sets.iter_mut().find(|set| set.0 == bundle) {
                Some(set) => {
                    set.2 |= bits;
                    set.1 = (set.1 * states).min(f64::from(set.2.count_ones()).exp2());
                }
                None => both.sets.push((bundle, states, bits)),
            }
        }
        let cost = self.cells() * other.cells() * size(&both.axes) as f64;
        (both, cost)
    }
}

/// Whether these, largest first, are cheaper joined one after the other onto the largest than smallest first.
pub(super) fn is_cheaper_onto_the_largest(pieces: &[Piece]) -> bool {
    if !(3..=MOST).contains(&pieces.len()) {
        return false;
    }
    let outlines: Vec<Outline> = pieces.iter().map(Outline::of).collect();
    onto_the_largest(&outlines) < smallest_first(outlines)
}

fn onto_the_largest(outlines: &[Outline]) -> f64 {
    let mut all = outlines[0].clone();
    let mut cost = 0.0;
    for outline in &outlines[1..] {
        let (both, own) = all.with(outline);
        (all, cost) = (both, cost + own);
    }
    cost
}

fn smallest_first(mut outlines: Vec<Outline>) -> f64 {
    let mut cost = 0.0;
    while let (Some(left), Some(right)) = (outlines.pop(), outlines.pop()) {
        let (both, own) = left.with(&right);
        cost += own;
        if outlines.is_empty() {
            break;
        }
        let place = outlines.partition_point(|outline| outline.entries() > both.entries());
        outlines.insert(place, both);
    }
    cost
}
