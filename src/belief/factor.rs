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

/// Steps in `axes`' table for one step along each axis of `scope` (0 where it does not stand).
fn strides(axes: &[Axis], scope: &[Axis]) -> Vec<usize> {
    let mut strides = vec![0; scope.len()];
    let mut step = 1;
    for axis in axes.iter().rev() {
        if let Some(place) = scope.iter().position(|other| other.0 == axis.0) {
            strides[place] = step;
        }
        step *= axis.1;
    }
    strides
}

/// Walks a table over `scope` row by row: calls `row(start in scope's table, start in the other table)`.
fn rows(scope: &[Axis], strides: &[usize], mut row: impl FnMut(usize, usize)) {
    let outer = scope.len().saturating_sub(1);
    let width = scope.last().map_or(1, |axis| axis.1);
    let mut digits = vec![0; outer];
    let (mut here, mut there) = (0, 0);
    loop {
        row(here, there);
        here += width;
        let mut place = outer;
        loop {
            if place == 0 {
                return;
            }
            place -= 1;
            digits[place] += 1;
            there += strides[place];
            if digits[place] < scope[place].1 {
                break;
            }
            there -= strides[place] * scope[place].1;
            digits[place] = 0;
        }
    }
}

/// Multiplies a factor into a table over `scope`, which holds all its axes.
pub(crate) fn multiply(table: &mut [f64], scope: &[Axis], factor: &Factor) {
    let strides = strides(&factor.axes, scope);
    let width = scope.last().map_or(1, |axis| axis.1);
    let step = strides.last().copied().unwrap_or(0);
    rows(scope, &strides, |here, there| {
        for (place, entry) in table[here..here + width].iter_mut().enumerate() {
            *entry *= factor.table[there + place * step];
        }
    });
}

/// Sums a table over `scope` onto the axes kept.
pub(crate) fn project(table: &[f64], scope: &[Axis], keep: &[Axis]) -> Vec<f64> {
    let strides = strides(keep, scope);
    let width = scope.last().map_or(1, |axis| axis.1);
    let step = strides.last().copied().unwrap_or(0);
    let mut sums = vec![0.0; size(keep)];
    rows(scope, &strides, |here, there| {
        for (place, entry) in table[here..here + width].iter().enumerate() {
            sums[there + place * step] += entry;
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
