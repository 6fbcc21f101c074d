//! Small tables over a few variables, all entries from 0 up. Nothing here subtracts.

/// A variable of the factor graph.
pub(crate) type Var = u32;
/// A variable with its number of states.
pub(crate) type Axis = (Var, usize);

/// A table: the product with `exp(ln)` is meant. Row-major, the last axis fastest; axes with a single state are left out.
#[derive(Debug, Clone)]
pub(crate) struct Factor {
    pub(crate) axes: Vec<Axis>,
    pub(crate) table: Vec<f64>,
    pub(crate) ln: f64,
}

impl Factor {
    /// A table over these axes.
    pub(crate) fn new(axes: &[Axis], table: Vec<f64>) -> Self {
        debug_assert_eq!(table.len(), size(axes));
        Self { axes: axes.iter().copied().filter(|axis| axis.1 != 1).collect(), table, ln: 0.0 }
    }

    /// A plain number.
    pub(crate) fn number(value: f64) -> Self {
        Self { axes: Vec::new(), table: vec![value], ln: 0.0 }
    }

    /// Brings the largest entry to 1 and keeps the rest in `ln`; an all-zero table stays as it is.
    pub(crate) fn scaled(mut self) -> Self {
        let largest = self.table.iter().copied().fold(0.0, f64::max);
        if largest > 0.0 {
            self.table.iter_mut().for_each(|entry| *entry /= largest);
            self.ln += largest.ln();
        }
        self
    }
}

/// Number of entries over these axes.
pub(crate) fn size(axes: &[Axis]) -> usize {
    axes.iter().map(|axis| axis.1).product()
}

/// A walk through one table beside another: (states, step in the other table) from slow to fast.
struct Walk(Vec<(usize, usize)>);

impl Walk {
    /// Through a table over `scope`, beside one over `axes`. Neighbouring axes that are walked as one are merged, so the inner
    /// loop is long.
    fn new(scope: &[Axis], axes: &[Axis]) -> Self {
        let mut legs: Vec<(usize, usize)> = Vec::with_capacity(scope.len() + 1);
        for &(var, states) in scope {
            let place = axes.iter().position(|axis| axis.0 == var);
            let step = place.map_or(0, |place| size(&axes[place + 1..]));
            match legs.last_mut() {
                Some(leg) if leg.1 == step * states => *leg = (leg.0 * states, step),
                _ => legs.push((states, step)),
            }
        }
        if legs.is_empty() {
            legs.push((1, 0));
        }
        Self(legs)
    }

    /// The inner loop: its length and its step in the other table.
    fn inner(&self) -> (usize, usize) {
        self.0[self.0.len() - 1]
    }

    /// Calls `row(start in the table walked, start in the other)` for each inner loop.
    fn rows(&self, mut row: impl FnMut(usize, usize)) {
        let (width, outer) = (self.inner().0, &self.0[..self.0.len() - 1]);
        let mut digits = vec![0; outer.len()];
        let (mut here, mut there) = (0, 0);
        loop {
            row(here, there);
            here += width;
            let mut place = outer.len();
            loop {
                if place == 0 {
                    return;
                }
                place -= 1;
                let (states, step) = outer[place];
                digits[place] += 1;
                there += step;
                if digits[place] < states {
                    break;
                }
                there -= step * states;
                digits[place] = 0;
            }
        }
    }
}

/// Multiplies a factor into a table over `scope`, which holds all its axes.
pub(crate) fn multiply(table: &mut [f64], scope: &[Axis], factor: &Factor) {
    let walk = Walk::new(scope, &factor.axes);
    let (width, step) = walk.inner();
    walk.rows(|here, there| {
        let row = &mut table[here..here + width];
        match step {
            0 => row.iter_mut().for_each(|entry| *entry *= factor.table[there]),
            1 => row.iter_mut().zip(&factor.table[there..there + width]).for_each(|(entry, by)| *entry *= by),
            _ => row
                .iter_mut()
                .zip(factor.table[there..].iter().step_by(step))
                .for_each(|(entry, by)| *entry *= by),
        }
    });
}

/// Sums a table over `scope` onto the axes kept.
pub(crate) fn project(table: &[f64], scope: &[Axis], keep: &[Axis]) -> Vec<f64> {
    let walk = Walk::new(scope, keep);
    let (width, step) = walk.inner();
    let mut sums = vec![0.0; size(keep)];
    walk.rows(|here, there| {
        let row = &table[here..here + width];
        match step {
            0 => sums[there] += row.iter().sum::<f64>(),
            1 => sums[there..there + width].iter_mut().zip(row).for_each(|(sum, entry)| *sum += entry),
            _ => sums[there..].iter_mut().step_by(step).zip(row).for_each(|(sum, entry)| *sum += entry),
        }
    });
    sums
}

/// The product of factors over exactly these axes.
pub(crate) fn product<'a>(factors: impl IntoIterator<Item = &'a Factor>, scope: Vec<Axis>) -> Factor {
    let table = vec![1.0; size(&scope)];
    let mut joint = Factor { axes: scope, table, ln: 0.0 };
    for (place, factor) in factors.into_iter().enumerate() {
        multiply(&mut joint.table, &joint.axes, factor);
        joint.ln += factor.ln;
        // Hundreds of small numbers in a row must not run out of range.
        if place % 16 == 15 {
            joint = joint.scaled();
        }
    }
    joint
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn product_and_sum_follow_the_axes_whatever_their_order() {
        let left = Factor::new(&[(1, 2), (0, 3)], vec![1.0, 2.0, 3.0, 4.0, 5.0, 6.0]);
        let right = Factor::new(&[(2, 2), (1, 2)], vec![10.0, 20.0, 30.0, 40.0]);
        let scope = vec![(0, 3), (1, 2), (2, 2)];
        let joint = product([&left, &right], scope.clone());
        // Entry (0 → 2, 1 → 1, 2 → 0) = left[1][2] · right[0][1].
        assert_eq!(joint.table[2 * 4 + 2], 6.0 * 20.0);
        let sum = project(&joint.table, &scope, &[(2, 2)]);
        assert_eq!(sum, vec![10.0 * 6.0 + 20.0 * 15.0, 30.0 * 6.0 + 40.0 * 15.0]);
    }

    #[test]
    fn a_number_multiplies_and_sums_without_axes() {
        let joint = product([&Factor::number(2.0), &Factor::number(3.0)], Vec::new());
        assert_eq!(project(&joint.table, &[], &[]), vec![6.0]);
    }
}
