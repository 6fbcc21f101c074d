//! A sum as a list of small steps: run forward it gives the total, run backward what everything else says of each table.
//!
//! A table has one *cell* for each joint state of the bundles that it still holds, in each cell one *row* for each joint state of its
//! variables, and in each row one entry for each class of scenarios that it tells apart. Going backward, each step hands on how the total depends on its inputs (reverse accumulation, Linnainmaa
//! 1976); all of it are sums of products of numbers from 0 up, nothing is subtracted and nothing divided.

use std::borrow::Cow;

use super::classes::Classes;

/// A variable: a circumstance or a cause.
pub(crate) type Var = u32;
/// A variable with its number of states.
pub(crate) type Axis = (Var, usize);
/// Number of a step, whose result is a table.
pub(crate) type Step = usize;

/// Tables leave this range only to be scaled.
const SMALLEST: f64 = 1e-30;

/// Number of rows over these axes.
pub(crate) fn size(axes: &[Axis]) -> usize {
    axes.iter().map(|axis| axis.1).product()
}

/// The rows of a table as seen from a larger table; nothing when they are the same rows.
#[derive(Debug)]
pub(crate) struct Rows(Option<Vec<u32>>);

impl Rows {
    /// For each row over `outer` the row over `inner`, whose axes are among those of `outer`; the last axis fastest.
    pub(crate) fn of(inner: &[Axis], outer: &[Axis]) -> Self {
        if inner == outer {
            return Self(None);
        }
        let mut stride = 1;
        let strides: Vec<(Var, u32)> = (inner.iter().rev())
            .map(|axis| {
                stride *= axis.1 as u32;
                (axis.0, stride / axis.1 as u32)
            })
            .collect();
        let mut strides = strides.into_iter().peekable();
        let mut rows = Vec::with_capacity(size(outer));
        rows.push(0u32);
        for axis in outer.iter().rev() {
            let stride = strides.next_if(|own| own.0 == axis.0).map_or(0, |own| own.1);
            let block = rows.len();
            for digit in 1..axis.1 {
                let step = digit as u32 * stride;
                rows.extend_from_within(..block);
                rows[digit * block..].iter_mut().for_each(|row| *row += step);
            }
        }
        Self(Some(rows))
    }

    /// A table with `inner` rows of `width` entries, its rows repeated to those of the larger one, and in each row its entries as
    /// `entries` says.
    fn repeated<'t>(
        &self,
        table: &'t [f64],
        (inner, width): (usize, usize),
        entries: Option<&[u32]>,
    ) -> Cow<'t, [f64]> {
        if self.0.is_none() && entries.is_none() {
            return Cow::Borrowed(table);
        }
        let Some(entries) = entries else { return Cow::Owned(self.spread(table, inner, width)) };
        let spread =
            if self.0.is_none() { Cow::Borrowed(table) } else { self.spread(table, inner, width).into() };
        let told = |row: &[f64]| entries.iter().map(|&entry| row[entry as usize]).collect::<Vec<_>>();
        Cow::Owned(spread.chunks_exact(width).flat_map(told).collect())
    }

    /// A table with its rows repeated to those of the larger one.
    fn spread(&self, table: &[f64], inner: usize, width: usize) -> Vec<f64> {
        let Some(rows) = &self.0 else { return table.to_vec() };
        let mut all = Vec::with_capacity(table.len() / inner * rows.len());
        for cell in table.chunks_exact(inner * width) {
            if width == 1 {
                all.extend(rows.iter().map(|&row| cell[row as usize]));
            } else {
                rows.iter().for_each(|&row| all.extend_from_slice(&cell[row as usize * width..][..width]));
            }
        }
        all
    }

    /// The rows of the larger table, each of `width` entries, summed onto those of the smaller.
    fn summed(&self, table: Vec<f64>, inner: usize, width: usize) -> Vec<f64> {
        let Some(rows) = &self.0 else { return table };
        let mut sums = vec![0.0; table.len() / rows.len() * inner];
        for (cell, sum) in table.chunks_exact(rows.len() * width).zip(sums.chunks_exact_mut(inner * width)) {
            if width == 1 {
                cell.iter().zip(rows).for_each(|(entry, &place)| sum[place as usize] += entry);
                continue;
            }
            for (row, &place) in cell.chunks_exact(width).zip(rows) {
                let sum = &mut sum[place as usize * width..][..width];
                sum.iter_mut().zip(row).for_each(|(sum, entry)| *sum += entry);
            }
        }
        sums
    }
}

/// Which cells of two tables meet in which cell of their product: bundle by bundle which states meet in which, each bundle with
/// its number of states in the two and in the product.
#[derive(Debug, Default)]
pub(crate) struct Meetings(Vec<(Vec<[u32; 3]>, [u32; 3])>);

impl Meetings {
    /// The next bundle, whose states change faster than those before.
    pub(crate) fn and(&mut self, pairs: Vec<[u32; 3]>, states: [usize; 3]) {
        self.0.push((pairs, states.map(|count| count as u32)));
    }

    fn each(&self, mut meet: impl FnMut([usize; 3])) {
        each(&self.0, [0; 3], &mut meet);
    }
}

fn each(bundles: &[(Vec<[u32; 3]>, [u32; 3])], cells: [u32; 3], meet: &mut impl FnMut([usize; 3])) {
    let Some(((pairs, states), rest)) = bundles.split_first() else {
        return meet(cells.map(|cell| cell as usize));
    };
    let first = [0, 1, 2].map(|side| cells[side] * states[side]);
    for pair in pairs {
        let cells = [0, 1, 2].map(|side| first[side] + pair[side]);
        if rest.is_empty() {
            meet(cells.map(|cell| cell as usize));
        } else {
            each(rest, cells, meet);
        }
    }
}

/// How a table comes about.
#[derive(Debug)]
pub(crate) enum Act {
    /// It is given.
    Given(Vec<f64>),
    /// From two: rows multiply, cells meet.
    Meet { from: [Step; 2], rows: [Rows; 2], meetings: Meetings },
    /// One variable is summed out: it has `states`, and stands every `stride` rows.
    Sum { from: Step, stride: usize, states: usize },
    /// Cells go over into others with weights.
    Move { from: Step, moves: Vec<(u32, u32, f64)> },
}

#[derive(Debug)]
struct Entry {
    act: Act,
    cells: usize,
    rows: usize,
    classes: Classes,
}

impl Entry {
    fn size(&self) -> usize {
        self.cells * self.rows * self.classes.count()
    }
}

/// The steps, each after those that it needs.
#[derive(Debug, Default)]
pub(crate) struct Tape {
    steps: Vec<Entry>,
}

impl Tape {
    pub(crate) fn push(&mut self, act: Act, cells: usize, rows: usize, classes: Classes) -> Step {
        self.steps.push(Entry { act, cells, rows, classes });
        self.steps.len() - 1
    }

    /// The last step so far.
    pub(crate) fn last(&self) -> Step {
        self.steps.len().saturating_sub(1)
    }

    fn inputs(&self, step: Step) -> [Option<Step>; 2] {
        match self.steps[step].act {
            Act::Given(_) => [None, None],
            Act::Meet { from: [left, right], .. } => [Some(left), Some(right)],
            Act::Sum { from, .. } | Act::Move { from, .. } => [Some(from), None],
        }
    }

    /// Every table in turn.
    pub(crate) fn forward(self) -> Run {
        let mut tables: Vec<Vec<f64>> = Vec::with_capacity(self.steps.len());
        let mut lns = vec![0.0; self.steps.len()];
        for (step, entry) in self.steps.iter().enumerate() {
            let width = entry.classes.count();
            let mut table = match &entry.act {
                Act::Given(table) => table.clone(),
                Act::Meet { from, rows, meetings } => {
                    let sides = [0, 1].map(|side| {
                        let own = &self.steps[from[side]];
                        let entries = own.classes.within(&entry.classes);
                        let shape = (own.rows, own.classes.count());
                        rows[side].repeated(&tables[from[side]], shape, entries.as_deref())
                    });
                    let mut table = vec![0.0; entry.size()];
                    meet(&sides[0], &sides[1], meetings, entry.rows * width, &mut table);
                    table
                }
                Act::Sum { from, stride, states } => {
                    summed(&tables[*from], stride * width, *states, entry.size())
                }
                Act::Move { from, moves } => {
                    let mut table = vec![0.0; entry.size()];
                    moved(&tables[*from], moves, entry.rows * width, &mut table);
                    table
                }
            };
            lns[step] = scale(&mut table);
            for input in self.inputs(step).into_iter().flatten() {
                lns[step] += lns[input];
            }
            tables.push(table);
        }
        Run { tape: self, tables, lns, back: Vec::new() }
    }
}

/// Brings a table back into range; gives the logarithm of what was taken out.
fn scale(table: &mut [f64]) -> f64 {
    let largest = table.iter().copied().fold(0.0, f64::max);
    if largest == 0.0 || (SMALLEST..=1.0 / SMALLEST).contains(&largest) {
        return 0.0;
    }
    table.iter_mut().for_each(|entry| *entry /= largest);
    largest.ln()
}

/// `into[out] += left[a] · right[b]` for each meeting, row by row.
fn meet(left: &[f64], right: &[f64], meetings: &Meetings, rows: usize, into: &mut [f64]) {
    if rows == 1 {
        return meetings.each(|[a, b, out]| into[out] += left[a] * right[b]);
    }
    meetings.each(|cells| {
        let [a, b, out] = cells.map(|cell| cell * rows);
        let sides = left[a..a + rows].iter().zip(&right[b..b + rows]);
        for (sum, (left, right)) in into[out..out + rows].iter_mut().zip(sides) {
            *sum += left * right;
        }
    });
}

fn moved(table: &[f64], moves: &[(u32, u32, f64)], rows: usize, into: &mut [f64]) {
    for &(from, to, weight) in moves {
        let (from, to) = (from as usize * rows, to as usize * rows);
        for (sum, entry) in into[to..to + rows].iter_mut().zip(&table[from..from + rows]) {
            *sum += weight * entry;
        }
    }
}

fn summed(table: &[f64], stride: usize, states: usize, size: usize) -> Vec<f64> {
    let mut sums = vec![0.0; size];
    for (block, sum) in table.chunks_exact(stride * states).zip(sums.chunks_exact_mut(stride)) {
        for row in block.chunks_exact(stride) {
            for (sum, entry) in sum.iter_mut().zip(row) {
                *sum += entry;
            }
        }
    }
    sums
}

/// A tape that was run.
#[derive(Debug)]
pub(crate) struct Run {
    tape: Tape,
    tables: Vec<Vec<f64>>,
    lns: Vec<f64>,
    /// What all other tables together say of each table asked about; empty where nobody asked.
    back: Vec<Vec<f64>>,
}

impl Run {
    /// A table, for each row one entry a scenario, and the logarithm of its scale.
    pub(crate) fn table(&self, step: Step) -> (Cow<'_, [f64]>, f64) {
        (self.told_apart(step, &Rows(None)), self.lns[step])
    }

    /// A table with its rows repeated, and in each row one entry a scenario.
    fn told_apart(&self, step: Step, rows: &Rows) -> Cow<'_, [f64]> {
        let own = &self.tape.steps[step];
        let entries = (own.classes.scenarios() > 1).then(|| own.classes.of());
        rows.repeated(&self.tables[step], (own.rows, own.classes.count()), entries)
    }

    /// Goes back from the last table to those asked about, for each scenario by itself.
    pub(crate) fn backward(&mut self, asked: impl IntoIterator<Item = Step>) {
        let count = self.tables.len();
        let mut wanted = vec![false; count];
        let mut kept = vec![false; count];
        asked.into_iter().for_each(|step| (wanted[step], kept[step]) = (true, true));
        for step in 0..count {
            wanted[step] |= self.tape.inputs(step).into_iter().flatten().any(|input| wanted[input]);
        }
        self.back = vec![Vec::new(); count];
        if let Some(last) = self.tables.last() {
            let own = &self.tape.steps[count - 1];
            self.back[count - 1] = vec![1.0; last.len() / own.classes.count() * own.classes.scenarios()];
        }
        for step in (0..count).rev() {
            if wanted[step] && !self.back[step].is_empty() {
                self.hand_back(step, &wanted);
                if !kept[step] {
                    self.back[step] = Vec::new();
                }
            }
        }
    }

    fn hand_back(&mut self, step: Step, wanted: &[bool]) {
        let entry = &self.tape.steps[step];
        let back = std::mem::take(&mut self.back[step]);
        let scenarios = entry.classes.scenarios();
        let rows_back = entry.rows * scenarios;
        match &entry.act {
            Act::Given(_) => {}
            Act::Meet { from, rows, meetings } => {
                for side in [0, 1].into_iter().filter(|&side| wanted[from[side]]) {
                    let own = &self.tape.steps[from[side]];
                    let other = self.told_apart(from[1 - side], &rows[1 - side]);
                    let mut sums = vec![0.0; own.cells * rows_back];
                    unmeet(&other, &back, meetings, rows_back, side, &mut sums);
                    let mut sums = rows[side].summed(sums, own.rows, scenarios);
                    scale(&mut sums);
                    self.back[from[side]] = sums;
                }
            }
            Act::Sum { from, stride, states } => {
                let rows = back.chunks_exact(stride * scenarios);
                self.back[*from] =
                    rows.flat_map(|row| std::iter::repeat_n(row, *states).flatten().copied()).collect();
            }
            Act::Move { from, moves } => {
                let mut sums = vec![0.0; self.tape.steps[*from].cells * rows_back];
                for &(own, to, weight) in moves {
                    let (own, to) = (own as usize * rows_back, to as usize * rows_back);
                    let sum = sums[own..own + rows_back].iter_mut();
                    sum.zip(&back[to..to + rows_back]).for_each(|(sum, entry)| *sum += weight * entry);
                }
                scale(&mut sums);
                self.back[*from] = sums;
            }
        }
        self.back[step] = back;
    }

    /// A table asked about, and what all others together say of each of its entries: their product is how much of the total
    /// stands on it, for each scenario up to a factor of the scenario.
    pub(crate) fn sides(&self, step: Step) -> (Cow<'_, [f64]>, &[f64]) {
        (self.told_apart(step, &Rows(None)), &self.back[step])
    }

    /// The products themselves.
    pub(crate) fn shares(&self, step: Step) -> Vec<f64> {
        let (table, back) = self.sides(step);
        table.iter().zip(back).map(|(entry, back)| entry * back).collect()
    }
}

/// `into[own] += other · back[out]` for each meeting.
fn unmeet(other: &[f64], back: &[f64], meetings: &Meetings, rows: usize, side: usize, into: &mut [f64]) {
    if rows == 1 {
        return meetings.each(|cells| into[cells[side]] += other[cells[1 - side]] * back[cells[2]]);
    }
    meetings.each(|cells| {
        let (own, cell, out) = (cells[side] * rows, cells[1 - side] * rows, cells[2] * rows);
        let sides = other[cell..cell + rows].iter().zip(&back[out..out + rows]);
        for (sum, (other, back)) in into[own..own + rows].iter_mut().zip(sides) {
            *sum += other * back;
        }
    });
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Two cells over variable 0 with three states, two over variables 0 and 1, for two scenarios that only the second tells apart.
    fn two_tables() -> (Tape, [Vec<f64>; 2]) {
        let (same, apart) = (Classes::one(2), Classes::by([0, 1].into_iter()));
        let left: Vec<f64> = (1..=6).map(f64::from).collect();
        let right: Vec<f64> = (1..=24).map(f64::from).collect();
        let (short, long) = ([(0, 3)], [(0, 3), (1, 2)]);
        let mut tape = Tape::default();
        let a = tape.push(Act::Given(left.clone()), 2, 3, same);
        let b = tape.push(Act::Given(right.clone()), 2, 6, apart.clone());
        let rows = [Rows::of(&short, &long), Rows::of(&long, &long)];
        // The larger of the two cells.
        let mut meetings = Meetings::default();
        meetings.and(vec![[0, 0, 0], [0, 1, 1], [1, 0, 1], [1, 1, 1]], [2, 2, 2]);
        let both = tape.push(Act::Meet { from: [a, b], rows, meetings }, 2, 6, apart.clone());
        let first = tape.push(Act::Sum { from: both, stride: 2, states: 3 }, 2, 2, apart.clone());
        let second = tape.push(Act::Sum { from: first, stride: 1, states: 2 }, 2, 1, apart.clone());
        tape.push(Act::Move { from: second, moves: vec![(0, 0, 0.5), (1, 0, 2.0)] }, 1, 1, apart);
        (tape, [left, right])
    }

    /// The same sum, entry by entry: `[scenario][left entry]`.
    fn by_hand([left, right]: &[Vec<f64>; 2]) -> Vec<Vec<f64>> {
        let mut shares = vec![vec![0.0; 6]; 2];
        for (own, entry) in left.iter().enumerate() {
            for (other, value) in right.iter().enumerate() {
                let (scenario, row, cell) = (other % 2, other / 4 % 3, other / 12);
                if own % 3 == row {
                    let weight = if own / 3 == 0 && cell == 0 { 0.5 } else { 2.0 };
                    shares[scenario][own] += entry * value * weight;
                }
            }
        }
        shares
    }

    #[test]
    fn forward_gives_the_total_of_each_scenario() {
        let (tape, tables) = two_tables();
        let last = tape.last();
        let run = tape.forward();
        let totals: Vec<f64> = by_hand(&tables).iter().map(|shares| shares.iter().sum()).collect();
        assert_eq!(run.table(last), (Cow::from(totals), 0.0));
    }

    #[test]
    fn backward_gives_what_stands_on_each_entry_in_each_scenario() {
        let (tape, tables) = two_tables();
        let mut run = tape.forward();
        run.backward([0]);
        let shares = by_hand(&tables);
        let wanted: Vec<f64> = (0..6).flat_map(|own| [shares[0][own], shares[1][own]]).collect();
        assert_eq!(run.shares(0), wanted);
    }
}
