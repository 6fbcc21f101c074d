//! In which order a graph is summed out, as steps on a tape (bucket elimination, Dechter 1999).
//!
//! A finding is the largest of independent influences, and the largest is the same in whatever order they are put together. So no
//! table spells a finding out over all its parents: each link is a small table over its parent and over what it drives the
//! finding to, and where two tables that bear on one finding meet, their states are joined (heterogeneous factors, Zhang and
//! Poole 1996). Once all its parents have been joined, a finding drives those below it; once it and all that it shares answers
//! with have, the answers are weighed in and its state is forgotten. What goes next is what makes the smallest tables. The cost,
//! the table entries touched, is counted before anything is computed.

use super::assembly::{Graph, Leaf};
use super::bundle::{Bundle, StateId};
use super::classes::Classes;
use super::evidence::BeliefError;
use super::outline;
use super::piece::{Piece, joined, settled, started, summed, undriven};
use super::tape::{Act, Axis, Step, Tape, Var};

/// One more rule is tried for each time that the best order so far touches so many: about what choosing one costs.
const WORTH_A_TRY: f64 = 1.5e5;

/// Where the weights of one variable can be read.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Reading {
    pub(crate) step: Step,
    pub(crate) stride: usize,
    pub(crate) states: usize,
}

/// Where what is asked of one bundle can be read.
#[derive(Debug)]
pub(crate) struct Asked {
    pub(crate) bundle: usize,
    pub(crate) step: Step,
    /// The bundle's state in each cell.
    pub(crate) states: Vec<StateId>,
}

/// A graph as a tape, whose last step is the total, over the variable kept if there is one.
#[derive(Debug, Default)]
pub(crate) struct Order {
    pub(crate) tape: Tape,
    /// By variable.
    pub(crate) readings: Vec<Option<Reading>>,
    pub(crate) asked: Vec<Asked>,
    /// What it takes.
    pub(crate) cost: Cost,
    /// The most that it may take.
    most: Cost,
}

/// What a sum takes, in table entries.
#[derive(Debug, Default, Clone, Copy)]
pub(crate) struct Cost {
    /// Touched.
    pub(crate) touched: f64,
    /// Held at once: a table is kept until all is read back.
    pub(crate) held: f64,
}

impl Cost {
    /// Most of any sum: half a second or so, and 100 MB.
    pub(crate) const MOST: Self = Self { touched: 5e7, held: 1.25e7 };

    /// The same room for tables, but less work.
    pub(crate) fn touching(self, touched: f64) -> Self {
        Self { touched, ..self }
    }
}

impl Order {
    /// Counts work to come.
    pub(super) fn spend(&mut self, entries: f64) -> Result<(), BeliefError> {
        self.cost.touched += entries;
        self.within()
    }

    /// Takes the next step, whose table has so many cells and rows.
    pub(super) fn push(
        &mut self,
        act: Act,
        [cells, rows]: [usize; 2],
        classes: Classes,
    ) -> Result<Step, BeliefError> {
        self.cost.held += cells as f64 * rows as f64 * classes.count() as f64;
        self.within()?;
        Ok(self.tape.push(act, cells, rows, classes))
    }

    fn within(&self) -> Result<(), BeliefError> {
        let Cost { touched, held } = self.cost;
        let fits = touched <= self.most.touched && held <= self.most.held;
        if fits { Ok(()) } else { Err(BeliefError::TooLarge { cost: touched }) }
    }
}

/// What can be done next.
#[derive(Debug)]
enum Kind {
    Sum(Var),
    /// This finding drives those below it, and stays.
    Drive(usize),
    /// A bundle is weighed and forgotten; a finding alone in its bundle drives those below it at the same time.
    Weigh(usize),
}

#[derive(Debug)]
struct Next {
    kind: Kind,
    drives: Vec<usize>,
    /// Findings that have to be driven before.
    needs: Vec<usize>,
    /// What the rule says of it; none if it is out of date.
    score: Option<f64>,
}

/// What a greedy choice holds small.
#[derive(Debug, Clone, Copy)]
enum Rule {
    /// The larger of the tables before and after, among equals what puts fewer together.
    Larger,
    /// What is left, as a share of all that it is made of.
    Share,
    /// By how much it is more than all that it is made of.
    Net,
    /// What is left, large steps being preferred less than by their share.
    Evened,
}

/// None is best everywhere, so all are tried where it is worth it: the first is best on knowledge as it is written, the second on
/// networks of several layers made up at random.
const RULES: [Rule; 4] = [Rule::Larger, Rule::Share, Rule::Net, Rule::Evened];

impl Rule {
    /// What a step is worth that puts so many tables of `before` entries together to `joint` and leaves `after`; the least is best.
    fn score(self, tables: usize, [before, joint, after]: [f64; 3]) -> f64 {
        match self {
            Self::Larger => joint.max(after) + tables as f64,
            Self::Share => after / before,
            Self::Net => after - before,
            Self::Evened => after / before.powf(0.6),
        }
    }
}

struct Planner<'g, 'a> {
    graph: &'g mut Graph<'a>,
    order: Order,
    pieces: Vec<Option<Piece>>,
    by_var: Vec<Vec<usize>>,
    by_bundle: Vec<Vec<usize>>,
    driven: Vec<bool>,
    /// By finding: whether it can be nothing but normal.
    firm: Vec<bool>,
    rule: Rule,
}

/// Plans the sum over every variable of the graph below `vars`, taking at most so much; others stay.
pub(crate) fn order(graph: &mut Graph<'_>, vars: usize, most: Cost) -> Result<Order, BeliefError> {
    let leaves = std::mem::take(&mut graph.leaves);
    let mut best: Result<Order, BeliefError> = Err(BeliefError::TooLarge { cost: most.touched });
    for (tried, rule) in RULES.into_iter().enumerate() {
        let most = match &best {
            Ok(known) if known.cost.touched <= WORTH_A_TRY * tried as f64 => break,
            Ok(known) => most.touching(known.cost.touched),
            // A sum that need only be cheap has another way when it is not.
            Err(_) if tried > 0 && most.touched < Cost::MOST.touched => break,
            Err(_) => most,
        };
        match (planned(graph, &leaves, (vars, most), rule), &best) {
            (Err(BeliefError::TooLarge { .. }), Ok(_)) => {}
            (next, _) => best = next,
        }
        if best.is_err() {
            graph.bundles.iter_mut().for_each(Bundle::forget);
        }
    }
    best
}

/// The sum in the order that one rule chooses.
fn planned(
    graph: &mut Graph<'_>,
    leaves: &[Leaf],
    (vars, most): (usize, Cost),
    rule: Rule,
) -> Result<Order, BeliefError> {
    let mut todo: Vec<Next> = (0..vars as Var)
        .map(|var| Next { kind: Kind::Sum(var), drives: Vec::new(), needs: Vec::new(), score: None })
        .collect();
    todo.extend(settling(graph));
    let mut planner = Planner {
        order: Order { readings: vec![None; vars], most, ..Order::default() },
        pieces: Vec::new(),
        by_var: vec![Vec::new(); vars],
        by_bundle: vec![Vec::new(); graph.bundles.len()],
        driven: vec![false; graph.places.len()],
        firm: graph.firm()?,
        rule,
        graph,
    };
    for leaf in leaves {
        let piece = started(planner.graph, &mut planner.order, leaf)?;
        planner.keep(piece);
    }
    while let Some(best) = planner.best(&mut todo) {
        let next = todo.swap_remove(best);
        let touched = planner.pieces.len();
        planner.perform(&next)?;
        for other in &mut todo {
            let near =
                planner.pieces.get(touched).is_some_and(|piece| planner.is_near(other, piece.as_ref()));
            if near || next.drives.iter().any(|driven| other.needs.contains(driven)) {
                other.score = None;
            }
        }
    }
    let rest = (0..planner.pieces.len()).collect();
    planner.join(rest)?;
    Ok(planner.order)
}

/// What is to be done about findings.
fn settling(graph: &Graph<'_>) -> Vec<Next> {
    let mut todo = Vec::new();
    let next = |kind, drives, needs| Next { kind, drives, needs, score: None };
    for (bundle, own) in graph.bundles.iter().enumerate() {
        let above = own.members.iter().flat_map(|&(finding, ..)| graph.above(finding));
        if let [(finding, _, lasting)] = own.members[..] {
            let drives = if lasting { vec![finding] } else { Vec::new() };
            todo.push(next(Kind::Weigh(bundle), drives, above.collect()));
            continue;
        }
        let drivers = || own.members.iter().filter(|member| member.2).map(|member| member.0);
        todo.extend(
            drivers()
                .map(|finding| next(Kind::Drive(finding), vec![finding], graph.above(finding).collect())),
        );
        todo.push(next(Kind::Weigh(bundle), Vec::new(), above.chain(drivers()).collect()));
    }
    todo
}

impl Planner<'_, '_> {
    fn keep(&mut self, piece: Piece) {
        let place = self.pieces.len();
        for axis in &piece.axes {
            if let Some(list) = self.by_var.get_mut(axis.0 as usize) {
                list.push(place);
            }
        }
        for set in &piece.sets {
            self.by_bundle[set.bundle].push(place);
        }
        self.pieces.push(Some(piece));
    }

    fn take(&mut self, place: usize) -> Option<Piece> {
        let piece = self.pieces[place].take()?;
        for axis in &piece.axes {
            if let Some(list) = self.by_var.get_mut(axis.0 as usize) {
                list.retain(|other| *other != place);
            }
        }
        for set in &piece.sets {
            self.by_bundle[set.bundle].retain(|other| *other != place);
        }
        Some(piece)
    }

    /// The pieces that a step puts together.
    fn gathered(&self, kind: &Kind) -> Vec<usize> {
        match *kind {
            Kind::Sum(var) => self.by_var[var as usize].clone(),
            Kind::Weigh(bundle) => self.by_bundle[bundle].clone(),
            Kind::Drive(finding) => {
                let Some(own) = self.graph.places[finding] else { return Vec::new() };
                let bears =
                    |piece: &&usize| self.pieces[**piece].as_ref().is_some_and(|piece| piece.bears_on(own));
                self.by_bundle[own.bundle].iter().filter(bears).copied().collect()
            }
        }
    }

    fn is_near(&self, next: &Next, piece: Option<&Piece>) -> bool {
        piece.is_some_and(|piece| match next.kind {
            Kind::Sum(var) => piece.axes.iter().any(|axis| axis.0 == var),
            Kind::Weigh(bundle) => piece.sets.iter().any(|set| set.bundle == bundle),
            Kind::Drive(finding) => self.graph.places[finding].is_some_and(|own| piece.bears_on(own)),
        })
    }

    /// The step with the smallest tables among those that can be done.
    fn best(&self, todo: &mut [Next]) -> Option<usize> {
        for next in todo.iter_mut().filter(|next| next.score.is_none()) {
            next.score = Some(self.score(next));
        }
        let score = |place: usize| todo[place].score.unwrap_or(f64::INFINITY);
        let best = (0..todo.len()).min_by(|&a, &b| score(a).total_cmp(&score(b)))?;
        score(best).is_finite().then_some(best)
    }

    fn score(&self, next: &Next) -> f64 {
        if !next.needs.iter().all(|&need| self.driven[need]) {
            return f64::INFINITY;
        }
        let mut axes: Vec<Axis> = Vec::new();
        let mut sets: Vec<(usize, f64, u128)> = Vec::new();
        let mut classes = 1.0_f64;
        let gathered = self.gathered(&next.kind);
        for piece in gathered.iter().filter_map(|&piece| self.pieces[piece].as_ref()) {
            classes = (classes * piece.classes.count() as f64).min(piece.classes.scenarios() as f64);
            for axis in &piece.axes {
                if !axes.contains(axis) {
                    axes.push(*axis);
                }
            }
            for set in &piece.sets {
                let states = set.states.len() as f64;
                match sets.iter_mut().find(|known| known.0 == set.bundle) {
                    Some(known) => (known.1, known.2) = (known.1 * states, known.2 | set.bits),
                    None => sets.push((set.bundle, states, set.bits)),
                }
            }
        }
        let likely = |set: &(usize, f64, u128)| set.1.min(f64::from(set.2.count_ones()).exp2());
        let inside: f64 =
            axes.iter().map(|axis| axis.1 as f64).product::<f64>() * sets.iter().map(likely).product::<f64>();
        let gone = match next.kind {
            Kind::Sum(var) => axes.iter().find(|axis| axis.0 == var).map_or(1.0, |axis| axis.1 as f64),
            Kind::Weigh(bundle) => sets.iter().find(|set| set.0 == bundle).map_or(1.0, likely),
            Kind::Drive(_) => 1.0,
        };
        let fresh = |child: usize| {
            !self.firm[child]
                && self.graph.places[child]
                    .is_some_and(|own| sets.iter().all(|set| set.0 != own.bundle || set.2 & own.mask == 0))
        };
        let below = next.drives.iter().flat_map(|&finding| self.graph.below(finding));
        let new = below.filter(|&&(child, _)| fresh(child)).count() as f64;
        let sizes = gathered.iter().filter_map(|&piece| self.pieces[piece].as_ref());
        let before = sizes.map(|piece| piece.entries() as f64).sum::<f64>() + 1.0;
        self.rule.score(gathered.len(), [before, inside, inside / gone * new.exp2()])
    }

    fn perform(&mut self, next: &Next) -> Result<(), BeliefError> {
        let Some(piece) = self.join(self.gathered(&next.kind))? else {
            next.drives.iter().for_each(|&finding| self.driven[finding] = true);
            if let Kind::Weigh(bundle) = next.kind
                && let Some(piece) = undriven(self.graph, &mut self.order, bundle)?
            {
                self.keep(piece);
            }
            return Ok(());
        };
        let piece = match next.kind {
            Kind::Sum(var) => summed(&mut self.order, piece, var)?,
            Kind::Drive(_) => settled(self.graph, &mut self.order, piece, &next.drives, None)?,
            Kind::Weigh(bundle) => settled(self.graph, &mut self.order, piece, &next.drives, Some(bundle))?,
        };
        next.drives.iter().for_each(|&finding| self.driven[finding] = true);
        self.keep(piece);
        Ok(())
    }

    /// All these as one, in the cheaper of two ways: the smallest two first, or each onto the largest. Nothing of nothing.
    fn join(&mut self, places: Vec<usize>) -> Result<Option<Piece>, BeliefError> {
        let mut pieces: Vec<Piece> = places.into_iter().filter_map(|place| self.take(place)).collect();
        let size = |piece: &Piece| (piece.entries(), piece.step);
        pieces.sort_by_cached_key(|piece| std::cmp::Reverse(size(piece)));
        if outline::is_cheaper_onto_the_largest(&pieces) {
            let mut rest = pieces.into_iter();
            let Some(mut all) = rest.next() else { return Ok(None) };
            for piece in rest {
                all = joined(self.graph, &mut self.order, &all, &piece)?;
            }
            return Ok(Some(all));
        }
        loop {
            let last = pieces.pop();
            let (Some(left), Some(right)) = (&last, pieces.pop()) else { return Ok(last) };
            let both = joined(self.graph, &mut self.order, left, &right)?;
            let place = pieces.partition_point(|piece| size(piece) > size(&both));
            pieces.insert(place, both);
        }
    }
}
