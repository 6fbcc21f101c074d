//! The tables of a sum in the making: which states and rows they tell apart, and the steps from one to the next.

use super::assembly::{Graph, Leaf};
use super::bundle::{Place, StateId};
use super::classes::Classes;
use super::evidence::BeliefError;
use super::influence::{Spread, State};
use super::order::{Asked, Order, Reading};
use super::tape::{Act, Axis, Meetings, Rows, Step, Var, size};

/// The states of one bundle that a table tells apart.
#[derive(Debug, Clone)]
pub(super) struct Set {
    pub(super) bundle: usize,
    /// Ascending.
    pub(super) states: Vec<StateId>,
    /// All bits that occur.
    pub(super) bits: State,
}

/// A table that is not used up yet. Sets by bundle, axes by variable, ascending; axes with a single state are left out.
#[derive(Debug)]
pub(super) struct Piece {
    pub(super) step: Step,
    pub(super) sets: Vec<Set>,
    pub(super) axes: Vec<Axis>,
    pub(super) classes: Classes,
}

impl Piece {
    fn cells(&self) -> usize {
        self.sets.iter().map(|set| set.states.len()).product()
    }

    pub(super) fn entries(&self) -> usize {
        self.cells() * self.entries_a_cell()
    }

    fn entries_a_cell(&self) -> usize {
        size(&self.axes) * self.classes.count()
    }

    /// Whether a state in which the finding is not normal occurs.
    pub(super) fn bears_on(&self, finding: Place) -> bool {
        self.sets.iter().any(|set| set.bundle == finding.bundle && set.bits & finding.mask != 0)
    }
}

fn set_of(graph: &Graph<'_>, bundle: usize, mut states: Vec<StateId>) -> Set {
    states.sort_unstable();
    states.dedup();
    let bits = states.iter().fold(0, |bits, &id| bits | graph.bundles[bundle].state(id));
    Set { bundle, states, bits }
}

/// A given table, its states brought to those that stand for them.
pub(super) fn started(graph: &mut Graph<'_>, order: &mut Order, leaf: &Leaf) -> Result<Piece, BeliefError> {
    let (rows, classes) = (size(&leaf.axes), leaf.classes.clone());
    let entries = rows * classes.count();
    let axes = leaf.axes.clone();
    let Some((bundle, states)) = &leaf.states else {
        order.spend(entries as f64)?;
        let step = order.push(Act::Given(leaf.table.clone()), [1, rows], classes.clone())?;
        return Ok(Piece { step, sets: Vec::new(), axes, classes });
    };
    let ids = states.iter().map(|&state| graph.bundles[*bundle].id(state)).collect::<Result<Vec<_>, _>>()?;
    let set = set_of(graph, *bundle, ids.iter().copied().flatten().collect());
    let mut table = vec![0.0; set.states.len() * entries];
    for (cell, id) in leaf.table.chunks_exact(entries).zip(ids) {
        if let Some(place) = id.and_then(|id| set.states.binary_search(&id).ok()) {
            table[place * entries..(place + 1) * entries]
                .iter_mut()
                .zip(cell)
                .for_each(|(sum, entry)| *sum += entry);
        }
    }
    order.spend(table.len() as f64)?;
    let step = order.push(Act::Given(table), [set.states.len(), rows], classes.clone())?;
    Ok(Piece { step, sets: telling(graph, vec![set])?, axes, classes })
}

/// The chance of all that is said of a bundle that nothing drives, as a number.
pub(super) fn undriven(
    graph: &mut Graph<'_>,
    order: &mut Order,
    bundle: usize,
) -> Result<Option<Piece>, BeliefError> {
    let normal = graph.bundles[bundle].id(0)?;
    let worth = normal.map_or(0.0, |id| graph.bundles[bundle].worth(id));
    if worth == 1.0 {
        return Ok(None);
    }
    order.spend(1.0)?;
    let classes = graph.alike();
    let step = order.push(Act::Given(vec![worth]), [1, 1], classes.clone())?;
    Ok(Some(Piece { step, sets: Vec::new(), axes: Vec::new(), classes }))
}

/// Sets without those that hold nothing but normal: put together with others it changes nothing, so that it would only tie
/// what a normal finding has no need to tie. Where something is asked, they stay.
fn telling(graph: &mut Graph<'_>, mut sets: Vec<Set>) -> Result<Vec<Set>, BeliefError> {
    for place in (0..sets.len()).rev() {
        let bundle = &mut graph.bundles[sets[place].bundle];
        let normal = bundle.id(0)?;
        let only = if let [only] = sets[place].states[..] { Some(only) } else { None };
        if only.is_some() && only == normal && bundle.questions.is_empty() {
            sets.remove(place);
        }
    }
    Ok(sets)
}

/// The product of two: rows multiply, states are joined.
pub(super) fn joined(
    graph: &mut Graph<'_>,
    order: &mut Order,
    left: &Piece,
    right: &Piece,
) -> Result<Piece, BeliefError> {
    let mut axes: Vec<Axis> = left.axes.iter().chain(&right.axes).copied().collect();
    axes.sort_unstable();
    axes.dedup();
    let classes = left.classes.both(&right.classes);
    let rows = size(&axes);
    order.spend(left.cells() as f64 * right.cells() as f64 * (rows * classes.count()) as f64)?;
    let mut meetings = Meetings::default();
    let mut sets = Vec::new();
    for bundle in bundles_of([left, right]) {
        let sides = [left, right].map(|piece| piece.sets.iter().find(|set| set.bundle == bundle));
        let pairs = match sides {
            [Some(own), Some(other)] => pairs(graph, &mut sets, own, other)?,
            [Some(own), None] => alone(&mut sets, own, |place| [place, 0, place]),
            [None, Some(other)] => alone(&mut sets, other, |place| [0, place, place]),
            [None, None] => continue,
        };
        let [own, other] = sides.map(|set| set.map_or(1, |set| set.states.len()));
        meetings.and(pairs, [own, other, sets.last().map_or(1, |set: &Set| set.states.len())]);
    }
    let cells = sets.iter().map(|set| set.states.len()).product();
    let act = Act::Meet {
        from: [left, right].map(|piece| piece.step),
        rows: [left, right].map(|piece| Rows::of(&piece.axes, &axes)),
        meetings,
    };
    let step = order.push(act, [cells, rows], classes.clone())?;
    Ok(Piece { step, sets: telling(graph, sets)?, axes, classes })
}

fn bundles_of(pieces: [&Piece; 2]) -> Vec<usize> {
    let mut bundles: Vec<usize> = pieces.iter().flat_map(|piece| &piece.sets).map(|set| set.bundle).collect();
    bundles.sort_unstable();
    bundles.dedup();
    bundles
}

fn alone(sets: &mut Vec<Set>, set: &Set, meeting: impl Fn(u32) -> [u32; 3]) -> Vec<[u32; 3]> {
    sets.push(set.clone());
    (0..set.states.len() as u32).map(meeting).collect()
}

/// Which states of one bundle meet in which.
fn pairs(
    graph: &mut Graph<'_>,
    sets: &mut Vec<Set>,
    own: &Set,
    other: &Set,
) -> Result<Vec<[u32; 3]>, BeliefError> {
    let mut met = Vec::with_capacity(own.states.len() * other.states.len());
    for (i, &a) in own.states.iter().enumerate() {
        for (j, &b) in other.states.iter().enumerate() {
            if let Some(id) = graph.bundles[own.bundle].larger(a, b)? {
                met.push((i as u32, j as u32, id));
            }
        }
    }
    let set = set_of(graph, own.bundle, met.iter().map(|pair| pair.2).collect());
    let pairs = met.into_iter().map(|(i, j, id)| [i, j, place_of(&set, id)]).collect();
    sets.push(set);
    Ok(pairs)
}

fn place_of(set: &Set, id: StateId) -> u32 {
    set.states.partition_point(|other| *other < id) as u32
}

/// Sums one variable out.
pub(super) fn summed(order: &mut Order, piece: Piece, var: Var) -> Result<Piece, BeliefError> {
    let Some(place) = piece.axes.iter().position(|axis| axis.0 == var) else { return Ok(piece) };
    let stride = size(&piece.axes[place + 1..]);
    let states = piece.axes[place].1;
    order.readings[var as usize] = Some(Reading { step: piece.step, stride, states });
    let act = Act::Sum { from: piece.step, stride, states };
    let rows = size(&piece.axes) / states;
    let step = order.push(act, [piece.cells(), rows], piece.classes.clone())?;
    let mut axes = piece.axes;
    axes.remove(place);
    Ok(Piece { step, axes, ..piece })
}

/// Lets findings drive those below them; then weighs one bundle, if it is to be, and forgets it.
pub(super) fn settled(
    graph: &mut Graph<'_>,
    order: &mut Order,
    piece: Piece,
    drives: &[usize],
    closes: Option<usize>,
) -> Result<Piece, BeliefError> {
    if let Some(bundle) = closes {
        note_questions(graph, order, &piece, bundle);
    }
    let mut moving = Moving::new(graph, &piece, drives, closes);
    let mut digits = vec![0; piece.sets.len()];
    for cell in 0..piece.cells() {
        let mut rest = cell;
        for (digit, set) in digits.iter_mut().zip(&piece.sets).rev() {
            *digit = rest % set.states.len();
            rest /= set.states.len();
        }
        moving.cell(graph, &piece, &digits, drives, closes)?;
    }
    order.spend((moving.weights.len() * piece.entries_a_cell()) as f64)?;
    let (sets, moves) = moving.finish(graph);
    let cells = sets.iter().map(|set| set.states.len()).product();
    let act = Act::Move { from: piece.step, moves };
    let step = order.push(act, [cells, size(&piece.axes)], piece.classes.clone())?;
    Ok(Piece { step, sets: telling(graph, sets)?, ..piece })
}

fn note_questions(graph: &Graph<'_>, order: &mut Order, piece: &Piece, bundle: usize) {
    if graph.bundles[bundle].questions.is_empty() {
        return;
    }
    let (mut before, mut after, mut own) = (1, 1, None);
    for set in &piece.sets {
        match own {
            _ if set.bundle == bundle => own = Some(set),
            None => before *= set.states.len(),
            Some(_) => after *= set.states.len(),
        }
    }
    let states = own.map_or(&[][..], |set| &set.states[..]);
    let states = (0..before).flat_map(|_| states.iter().flat_map(|&id| std::iter::repeat_n(id, after)));
    order.asked.push(Asked { bundle, step: piece.step, states: states.collect() });
}

/// Cells on their way into others.
struct Moving {
    /// Bundles told apart afterwards.
    bundles: Vec<usize>,
    /// For each the place of its set before.
    before: Vec<Option<usize>>,
    /// From cell, weight; the states after it stand in `ids`, one a bundle.
    weights: Vec<(u32, f64)>,
    ids: Vec<StateId>,
    effects: Vec<((usize, usize, State), Spread)>,
}

impl Moving {
    fn new(graph: &Graph<'_>, piece: &Piece, drives: &[usize], closes: Option<usize>) -> Self {
        let below = drives.iter().flat_map(|&finding| graph.below(finding));
        let driven = below.filter_map(|&(child, _)| graph.places[child].map(|place| place.bundle));
        let mut bundles: Vec<usize> = piece.sets.iter().map(|set| set.bundle).chain(driven).collect();
        bundles.sort_unstable();
        bundles.dedup();
        bundles.retain(|&bundle| Some(bundle) != closes);
        let before = bundles.iter().map(|&b| piece.sets.iter().position(|set| set.bundle == b)).collect();
        Self { bundles, before, weights: Vec::new(), ids: Vec::new(), effects: Vec::new() }
    }

    /// Everything that one cell turns into.
    fn cell(
        &mut self,
        graph: &mut Graph<'_>,
        piece: &Piece,
        digits: &[usize],
        drives: &[usize],
        closes: Option<usize>,
    ) -> Result<(), BeliefError> {
        let id_in = |bundle: usize| {
            let place = piece.sets.iter().position(|set| set.bundle == bundle)?;
            Some(piece.sets[place].states[digits[place]])
        };
        let weight = match closes.and_then(|bundle| Some((bundle, id_in(bundle)?))) {
            Some((bundle, id)) => graph.bundles[bundle].worth(id),
            None => 1.0,
        };
        let mut first = Vec::with_capacity(self.bundles.len());
        for (&bundle, before) in self.bundles.iter().zip(&self.before) {
            let id = match before {
                Some(place) => Some(piece.sets[*place].states[digits[*place]]),
                None => graph.bundles[bundle].id(0)?,
            };
            let Some(id) = id else { return Ok(()) };
            first.push(id);
        }
        let mut found = vec![(weight, first)];
        for &finding in drives {
            let Some(place) = graph.places[finding] else { continue };
            let state = id_in(place.bundle).map_or(0, |id| graph.bundles[place.bundle].state(id));
            let state = (state & place.mask) >> place.first;
            for below in 0..graph.below(finding).len() {
                let (child, link) = graph.below(finding)[below];
                found = self.driven(graph, (child, link, state), found)?;
            }
        }
        let from =
            (digits.iter().zip(&piece.sets)).fold(0, |cell, (digit, set)| cell * set.states.len() + digit);
        for (weight, ids) in found.into_iter().filter(|(weight, _)| *weight > 0.0) {
            self.weights.push((from as u32, weight));
            self.ids.extend(ids);
        }
        Ok(())
    }

    /// Each of these after one link has acted.
    fn driven(
        &mut self,
        graph: &mut Graph<'_>,
        link: (usize, usize, State),
        found: Vec<(f64, Vec<StateId>)>,
    ) -> Result<Vec<(f64, Vec<StateId>)>, BeliefError> {
        let known = self.effects.iter().position(|(known, _)| *known == link).unwrap_or_else(|| {
            self.effects.push((link, graph.effect(link.0, link.1, link.2)));
            self.effects.len() - 1
        });
        let Some(place) = graph.places[link.0] else { return Ok(found) };
        let Some(column) = self.bundles.iter().position(|&bundle| bundle == place.bundle) else {
            return Ok(found);
        };
        let mut driven = Vec::with_capacity(found.len() * self.effects[known].1.len());
        for (weight, ids) in found {
            for &(effect, p) in &self.effects[known].1 {
                let bundle = &mut graph.bundles[place.bundle];
                let larger = bundle.state(ids[column]) | effect;
                if let Some(id) = bundle.id(larger)? {
                    let mut ids = ids.clone();
                    ids[column] = id;
                    driven.push((weight * p, ids));
                }
            }
        }
        Ok(driven)
    }

    fn finish(self, graph: &Graph<'_>) -> (Vec<Set>, Vec<(u32, u32, f64)>) {
        let width = self.bundles.len();
        let column = |place: usize| self.ids.iter().skip(place).step_by(width.max(1)).copied().collect();
        let sets: Vec<Set> =
            self.bundles.iter().enumerate().map(|(place, &b)| set_of(graph, b, column(place))).collect();
        let cell = |entry: usize| {
            let ids = &self.ids[entry * width..(entry + 1) * width];
            ids.iter()
                .zip(&sets)
                .fold(0, |cell, (&id, set)| cell * set.states.len() as u32 + place_of(set, id))
        };
        let moves =
            self.weights.iter().enumerate().map(|(entry, &(from, weight))| (from, cell(entry), weight));
        (sets.clone(), moves.collect())
    }
}
