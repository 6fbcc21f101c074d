//! What each pattern does to the weights.
//!
//! All in units of the machine's usual spread: fill i is `level + Σ size·shape(i) + scatter`, or a stray. Levels and
//! sizes are normal around zero, narrow when the pattern is absent and wide when it is present; scatter is log-normal
//! around usual, or wide. The widths are ours (judgement): a machine in order is off by about a quarter of its spread
//! or a sixteenth of the tolerance, and faults are of the size of a few spreads or of the tolerance, sometimes far larger.

use std::collections::BTreeMap;
use std::f64::consts::PI;

use super::super::run::Run;
use super::super::summary::Question;
use super::{Combination, Pattern, short_term_spread};

/// Most columns of a design: level, tilt, and what three patterns add.
pub(super) const COLUMNS: usize = 6;
/// A fill this many spreads away is as far as any: it keeps sums of squares exact enough.
const FARTHEST: f64 = 1e4;
/// Tolerance taken when none is given, in usual spreads.
const TOLERANCE_IN_SPREADS: f64 = 4.0;
/// Where a step is looked for, at most so many places.
const STEP_PLACES: usize = 40;
/// Up to so many fills a step and a wave together are looked for in every place and period.
const FINE_FILLS: usize = 22;
/// At most so many periods of a wave are tried.
const WAVE_PERIODS: usize = 24;

/// A run made ready for comparison.
pub(super) struct Scene {
    /// Fill less target (or less the middle), in usual spreads.
    pub(super) fills: Vec<f64>,
    /// Usual spread, grams.
    pub(super) usual_spread: f64,
    /// Tolerance, grams to either side.
    pub(super) tolerance: f64,
    /// Tolerance in usual spreads.
    reach: f64,
    /// Scatter that rounding alone gives, in usual spreads.
    pub(super) rounding: f64,
    /// How far off an empty or a double fill is, in usual spreads.
    pub(super) whole_fill: f64,
    has_target: bool,
    has_usual: bool,
    /// Every shape along the run that any combination uses; 0 is the level, 1 the slight tilt of every machine.
    pub(super) columns: Vec<Column>,
    /// Products of each column with each before it and itself.
    pub(super) products: Vec<Vec<f64>>,
    /// Sum of the squares of the fills.
    pub(super) squares: f64,
    /// Products of each column with the fills.
    pub(super) with_fills: Vec<f64>,
    /// Which columns each way of a pattern takes, fine and coarse.
    ways: BTreeMap<(Pattern, bool), Vec<Vec<usize>>>,
}

impl Scene {
    pub(super) fn new(values: &[f64], run: &Run, question: &Question) -> Self {
        let positive = |x: Option<f64>| x.filter(|x| x.is_finite() && *x > 0.0);
        let middle = super::super::stats::median(values).unwrap_or(0.0);
        let division = run.division().map(|d| d.grams);
        let given = positive(question.usual_spread);
        let own = || short_term_spread(values).or(division).unwrap_or_else(|| middle.abs().max(1.0) * 1e-4);
        let usual_spread = given.unwrap_or_else(own).max(1e-9);
        let tolerance = positive(question.tolerance).unwrap_or(TOLERANCE_IN_SPREADS * usual_spread);
        let centre = run.target().unwrap_or(middle);
        let mut scene = Self {
            fills: values.iter().map(|v| ((v - centre) / usual_spread).clamp(-FARTHEST, FARTHEST)).collect(),
            usual_spread,
            tolerance,
            reach: (tolerance / usual_spread).clamp(1.0, 30.0),
            rounding: division.unwrap_or(0.0) / 12f64.sqrt() / usual_spread,
            whole_fill: (centre.abs() / usual_spread).clamp(30.0, FARTHEST),
            has_target: run.target().is_some(),
            has_usual: given.is_some(),
            columns: Vec::new(),
            products: Vec::new(),
            squares: 0.0,
            with_fills: Vec::new(),
            ways: BTreeMap::new(),
        };
        scene.draw();
        scene
    }

    /// Draws all shapes once, and their products: the sums of squares of every design are among these.
    fn draw(&mut self) {
        let (n, large) = (self.fills.len(), self.large());
        let along = |i: usize| i as f64 / (n.max(2) - 1) as f64;
        let mut columns = vec![Column::new(1.0, n, |_| 1.0), Column::new(0.3, n, |i| along(i) - 0.5)];
        for pattern in Pattern::SCORED {
            for coarse in [false, true] {
                let mut place = |shape: Column| {
                    columns.push(shape);
                    columns.len() - 1
                };
                let shapes = shapes(pattern, n, large, coarse);
                let ways = shapes.into_iter().map(|way| way.into_iter().map(&mut place).collect()).collect();
                self.ways.insert((pattern, coarse), ways);
            }
        }
        let dot = |a: &[f64], b: &[f64]| a.iter().zip(b).map(|(a, b)| a * b).sum::<f64>();
        self.products = (0..columns.len())
            .map(|i| (0..=i).map(|j| dot(&columns[i].at, &columns[j].at)).collect())
            .collect();
        self.squares = dot(&self.fills, &self.fills);
        self.with_fills = columns.iter().map(|c| dot(&c.at, &self.fills)).collect();
        self.columns = columns;
    }

    /// Whether the run can speak for or against a pattern.
    pub(super) fn can_judge(&self, pattern: Pattern) -> bool {
        match pattern {
            Pattern::Light | Pattern::Heavy => self.has_target,
            Pattern::Wide => self.has_usual,
            _ => true,
        }
    }

    /// The level as the combination has it: standard deviation with ln weight, and the side it is bound to.
    pub(super) fn level(&self, combination: &Combination) -> Level {
        let side = match (combination.contains(&Pattern::Light), combination.contains(&Pattern::Heavy)) {
            (true, _) => Some(-1.0),
            (_, true) => Some(1.0),
            _ => None,
        };
        let large = self.large();
        let mean = super::super::stats::mean(&self.fills).unwrap_or(0.0);
        let scales = if side.is_some() && mean.abs() < 1.5 * large {
            // Where the usual size explains the mean, the far larger ones add next to nothing.
            vec![(large, 0.7f64.ln())]
        } else if side.is_some() {
            vec![(large, 0.7f64.ln()), (8.0 * large, 0.2f64.ln()), (64.0 * large, 0.1f64.ln())]
        } else if self.has_target {
            vec![((self.reach / 16.0).max(0.25), 0.0)]
        } else {
            vec![(10.0 * large, 0.0)]
        };
        Level { side, scales }
    }

    /// The usual size of a fault, in spreads.
    fn large(&self) -> f64 {
        self.reach.max(3.0)
    }

    /// σ with ln weight: a grid in ln σ, whose step is under two standard errors of ln σ from so many fills.
    pub(super) fn scatter(&self, combination: &Combination) -> Vec<(f64, f64)> {
        let step = (1.8 / (2.0 * self.fills.len() as f64).sqrt()).clamp(0.05, 0.35);
        let wide = combination.contains(&Pattern::Wide);
        let (from, to) = if wide { (1.4f64.ln(), 60f64.ln()) } else { (0.2f64.ln(), 1.6f64.ln()) };
        let density = |ln_sigma: f64| {
            let width = match (wide, ln_sigma < 0.0) {
                (true, _) => 1.1,
                (false, true) => 0.5,
                (false, false) => 0.14,
            };
            let from = if wide { from } else { 0.0 };
            -0.5 * ((ln_sigma - from) / width).powi(2)
        };
        let count = ((to - from) / step).ceil() as usize;
        let nodes: Vec<f64> = (0..=count).map(|i| from + (to - from) * i as f64 / count as f64).collect();
        let total: f64 = nodes.iter().map(|x| density(*x).exp()).sum();
        let rounded = |x: f64| (x.exp().powi(2) + self.rounding.powi(2)).sqrt();
        nodes.iter().map(|x| (rounded(*x), density(*x) - total.ln())).collect()
    }

    /// Every way the combination can shape the fills, all equally likely: the product of what its patterns allow.
    pub(super) fn designs(&self, combination: &Combination) -> Vec<Design> {
        // In a long run every place of a step with every period of a wave would be a thousand designs.
        let both = combination.contains(&Pattern::Step) && combination.contains(&Pattern::Wave);
        let coarse = both && self.fills.len() > FINE_FILLS;
        // A drift takes the place of the slight tilt.
        let first: &[usize] = if combination.contains(&Pattern::Drift) { &[0] } else { &[0, 1] };
        let mut designs = vec![Design::default().with(self, first)];
        for pattern in combination {
            let ways = self.ways.get(&(*pattern, coarse)).map_or(&[][..], Vec::as_slice);
            if !ways.is_empty() {
                designs = designs.iter().flat_map(|d| ways.iter().map(|way| d.with(self, way))).collect();
            }
        }
        designs
    }
}

/// The shapes one pattern may have, all equally likely; `large` is the usual size of a fault.
fn shapes(pattern: Pattern, n: usize, large: f64, coarse: bool) -> Vec<Vec<Column>> {
    let (places, periods) = if coarse { (12, 12) } else { (STEP_PLACES, WAVE_PERIODS) };
    let one = |size: f64, f: &dyn Fn(usize) -> f64| vec![Column::new(size, n, f)];
    let along = |i: usize| i as f64 / (n.max(2) - 1) as f64;
    match pattern {
        // Right at the start and going off, or caught midway.
        Pattern::Drift => vec![one(large, &along), one(large, &|i| along(i) - 0.5)],
        // Right before, wrong after.
        Pattern::Step => step_places(n, places)
            .into_iter()
            .map(|t| one(large, &move |i| f64::from(u8::from(i >= t))))
            .collect(),
        Pattern::Wave => wave_periods(n, periods)
            .into_iter()
            .map(|period| {
                let turn = move |i: usize| 2.0 * PI * i as f64 / period;
                vec![
                    Column::new(large / 2.0, n, |i| turn(i).sin()),
                    Column::new(large / 2.0, n, |i| turn(i).cos()),
                ]
            })
            .collect(),
        Pattern::SeeSaw => vec![one(large, &|i| if i % 2 == 0 { 0.5 } else { -0.5 })],
        Pattern::StartUp => vec![
            one(2.0 * large, &|i| f64::from(u8::from(i < 1))),
            one(2.0 * large, &|i| f64::from(u8::from(i < 2))),
            one(2.0 * large, &|i| (-(i as f64) / 2.0).exp()),
        ],
        _ => Vec::new(),
    }
}

/// Places for a step, at least three fills from either end (two in a short run), evenly thinned.
fn step_places(n: usize, most: usize) -> Vec<usize> {
    let margin = if n < 12 { 2 } else { 3 };
    let places: Vec<usize> = (margin..n.saturating_sub(margin - 1)).collect();
    let every = places.len().div_ceil(most).max(1);
    places.into_iter().step_by(every).collect()
}

/// Periods from three fills to the length of the run: half a turn of the run apart, in a long run further.
fn wave_periods(n: usize, most: usize) -> Vec<f64> {
    let n = n as f64;
    let halves = (2.0 * (n / 3.0 - 1.0)).floor();
    if halves < 0.0 {
        return Vec::new();
    }
    let step = (halves / (most - 1) as f64).max(1.0);
    let count = (halves / step).floor() as usize;
    (0..=count).map(|i| n / (1.0 + i as f64 * step / 2.0)).collect()
}

/// Where the mean may lie.
pub(super) struct Level {
    /// −1 or 1 when it is bound to one side of the target.
    pub(super) side: Option<f64>,
    /// Standard deviations with the ln of their weight.
    pub(super) scales: Vec<(f64, f64)>,
}

/// One shape along the run with the standard deviation of its size.
pub(super) struct Column {
    size: f64,
    pub(super) at: Vec<f64>,
}

impl Column {
    fn new(size: f64, n: usize, f: impl Fn(usize) -> f64) -> Self {
        Self { size, at: (0..n).map(f).collect() }
    }
}

/// Which columns of the scene make up the fills, and how large each may be.
#[derive(Clone, Copy, Default)]
pub(super) struct Design {
    /// Places among the columns of the scene; the level comes first.
    pub(super) columns: [usize; COLUMNS],
    /// Prior standard deviation of each; that of the level is put in by the caller.
    pub(super) sizes: [f64; COLUMNS],
    pub(super) count: usize,
}

impl Design {
    fn with(mut self, scene: &Scene, columns: &[usize]) -> Self {
        for column in columns {
            self.columns[self.count] = *column;
            self.sizes[self.count] = scene.columns[*column].size;
            self.count += 1;
        }
        self
    }
}
