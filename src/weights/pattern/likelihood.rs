//! The marginal likelihood of one combination: everything unknown in it summed or integrated out.
//!
//! Level and sizes of the shapes are normal, so given the scatter and the strays they integrate exactly (Bayesian
//! linear regression; a level bound to one side adds one normal probability, Φ of its posterior). The scatter is summed
//! over a grid. Which fills are strays is summed along one path: the furthest fill is taken out first, then the furthest
//! of the rest, and so on. That leaves out sets far less likely than those on the path, so the sum is a slight
//! underestimate for strays only.

use std::f64::consts::PI;

use statrs::function::gamma::ln_gamma;

use super::super::stats::normal_below;
use super::model::{COLUMNS, Design, Level, Scene};
use super::{Combination, Pattern};

/// Prior weight of 'no stray' against one for each kind of stray: about one fill in ten is one.
const PLAIN_WEIGHT: f64 = 9.0;
/// At most this share of the fills are strays; more are another pattern.
const MOST_STRAYS: usize = 3;
/// The path ends when it has fallen this far below its best (in ln).
const PATH_END: f64 = 8.0;
/// So many designs of a combination are summed in full; the others, which fit worse, are taken as the same factor above
/// their quick score.
const IN_FULL: usize = 3;
/// Grid points that fit worse than the best by more than this (in ln) are left out.
const HOPELESS: f64 = 12.0;

/// ln of the marginal likelihood of the fills under a combination (up to a constant common to all).
pub(super) fn ln_marginal(scene: &Scene, combination: &Combination) -> f64 {
    let level = scene.level(combination);
    let scatter = scene.scatter(combination);
    let sides = Sides {
        light: combination.contains(&Pattern::StraysLight),
        heavy: combination.contains(&Pattern::StraysHeavy),
    };
    let designs = scene.designs(combination);
    if let [only] = designs.as_slice() {
        return along_path(scene, only, &level, &scatter, sides);
    }
    let mut quick: Vec<(f64, usize)> =
        designs.iter().map(|d| Sums::of(scene, d).quick(d, &level)).zip(0..).collect();
    quick.sort_by(|a, b| b.0.total_cmp(&a.0).then(a.1.cmp(&b.1)));
    let mut total = LogSum::default();
    let mut correction = f64::NEG_INFINITY;
    for (rank, (rough, at)) in quick.iter().enumerate() {
        if rank < IN_FULL {
            let full = along_path(scene, &designs[*at], &level, &scatter, sides);
            correction = correction.max(full - rough);
            total.add(full);
        } else {
            total.add(rough + correction);
        }
    }
    total.value() - (designs.len() as f64).ln()
}

#[derive(Clone, Copy)]
struct Sides {
    light: bool,
    heavy: bool,
}

/// Sum of exponentials kept in logarithms.
struct LogSum {
    top: f64,
    sum: f64,
}

impl Default for LogSum {
    fn default() -> Self {
        Self { top: f64::NEG_INFINITY, sum: 0.0 }
    }
}

impl LogSum {
    fn add(&mut self, ln: f64) {
        if ln > self.top {
            self.sum = self.sum * (self.top - ln).exp() + 1.0;
            self.top = ln;
        } else if ln.is_finite() {
            self.sum += (ln - self.top).exp();
        }
    }

    /// A model that fits nothing is as bad as a number can be, not infinitely so.
    fn value(&self) -> f64 {
        (self.top + self.sum.ln()).max(-1e300)
    }
}

/// Takes strays out one by one and sums the likelihoods on the way.
fn along_path(scene: &Scene, design: &Design, level: &Level, scatter: &[(f64, f64)], sides: Sides) -> f64 {
    let n = scene.fills.len();
    let most = if sides.light || sides.heavy { n / MOST_STRAYS } else { 0 };
    let mut left = vec![true; n];
    let mut sums = Sums::of(scene, design);
    let mut strays: Vec<usize> = Vec::new();
    let mut total = LogSum::default();
    let mut best = f64::NEG_INFINITY;
    loop {
        let here =
            over_scatter(scene, design, level, scatter, &sums, &strays) + ln_which(n, &strays, scene, sides);
        total.add(here);
        best = best.max(here);
        if strays.len() >= most || here < best - PATH_END {
            return total.value();
        }
        let Some(next) = furthest(scene, design, level, &sums, &left, sides) else { return total.value() };
        left[next] = false;
        sums.remove(scene, design, next);
        strays.push(next);
    }
}

/// Prior of just these fills being strays: Dirichlet weights, nine for a plain fill and one for each kind in play.
fn ln_which(n: usize, strays: &[usize], scene: &Scene, sides: Sides) -> f64 {
    if !sides.light && !sides.heavy {
        return 0.0;
    }
    // Which side each lies on is settled where its distance is weighed; here only the numbers count.
    let heavy = strays.iter().filter(|i| sides.heavy && (!sides.light || scene.fills[**i] > 0.0)).count();
    let counts = [(sides.light, strays.len() - heavy), (sides.heavy, heavy)];
    let kinds = counts.iter().filter(|(in_play, _)| *in_play).count() as f64;
    let factorials: f64 = counts.iter().map(|(_, k)| ln_gamma(*k as f64 + 1.0)).sum();
    let plain = (n - strays.len()) as f64;
    factorials + ln_gamma(PLAIN_WEIGHT + plain) - ln_gamma(PLAIN_WEIGHT) + ln_gamma(PLAIN_WEIGHT + kinds)
        - ln_gamma(PLAIN_WEIGHT + kinds + n as f64)
}

/// The fill that lies furthest out, on a side where strays are in play, from a fit to those left.
fn furthest(
    scene: &Scene,
    design: &Design,
    level: &Level,
    sums: &Sums,
    left: &[bool],
    sides: Sides,
) -> Option<usize> {
    let fit = sums.fit(design, level.scales.last()?.0, 1.0)?;
    let outward = |i: usize| {
        let rest = scene.fills[i] - predicted(scene, design, i, &fit.sizes);
        match (sides.light, sides.heavy) {
            (true, true) => rest.abs(),
            (true, false) => -rest,
            _ => rest,
        }
    };
    let candidates = (0..left.len()).filter(|i| left[*i]).map(|i| (outward(i), i));
    candidates
        .filter(|(out, _)| *out > 0.0)
        .max_by(|a, b| a.0.total_cmp(&b.0).then(b.1.cmp(&a.1)))
        .map(|(_, i)| i)
}

fn predicted(scene: &Scene, design: &Design, at: usize, sizes: &[f64; COLUMNS]) -> f64 {
    let mut sum = 0.0;
    for (column, size) in design.columns.iter().zip(sizes).take(design.count) {
        sum += scene.columns[*column].at[at] * size;
    }
    sum
}

/// Sums over scatter and level scale for one set of strays.
fn over_scatter(
    scene: &Scene,
    design: &Design,
    level: &Level,
    scatter: &[(f64, f64)],
    sums: &Sums,
    strays: &[usize],
) -> f64 {
    let least = sums.least_squares(design);
    let bound = |sigma: f64| -sums.count * sigma.ln() - 0.5 * least / (sigma * sigma);
    let top = scatter.iter().map(|(s, w)| bound(*s) + w).max_by(f64::total_cmp).unwrap_or(0.0);
    let mut total = LogSum::default();
    for (sigma, ln_weight) in scatter.iter().filter(|(s, w)| bound(*s) + w > top - HOPELESS) {
        for (scale, ln_scale) in &level.scales {
            let Some(fit) = sums.fit(design, *scale, *sigma) else { continue };
            let side = level.side.map_or(0.0, |side| fit.ln_on_side(side));
            let far: f64 = strays
                .iter()
                .map(|i| {
                    ln_stray(
                        scene.fills[*i] - predicted(scene, design, *i, &fit.sizes),
                        *sigma,
                        scene.whole_fill,
                    )
                })
                .sum();
            total.add(ln_weight + ln_scale + fit.ln_evidence + side + far);
        }
    }
    total.value()
}

/// ln density of a stray at a distance: mostly some spreads out (log-normal around five), at times an empty or a
/// double fill (even up to a whole fill).
fn ln_stray(distance: f64, sigma: f64, whole_fill: f64) -> f64 {
    let out = (distance.abs() / sigma).max(1e-9);
    let spread = 0.6;
    let z = (out / 5.0).ln() / spread;
    let some = 0.85 * (-0.5 * z * z).exp() / (out * spread * (2.0 * PI).sqrt() * sigma);
    let whole = if distance.abs() <= 1.1 * whole_fill { 0.15 / (1.1 * whole_fill) } else { 1e-12 };
    (some + whole).ln()
}

/// Sums of squares and products of the fills that count as plain.
struct Sums {
    count: f64,
    xx: [[f64; COLUMNS]; COLUMNS],
    xy: [f64; COLUMNS],
    yy: f64,
}

/// A fit for one scatter and one level scale.
struct Fit {
    /// Posterior means of level and sizes.
    sizes: [f64; COLUMNS],
    /// Posterior standard deviation of the level.
    level_error: f64,
    ln_evidence: f64,
}

impl Fit {
    /// A level bound to one side has twice the density there; what counts is how much of the posterior lies there.
    fn ln_on_side(&self, side: f64) -> f64 {
        let there = normal_below(side * self.sizes[0] / self.level_error);
        (2.0 * there).max(1e-300).ln()
    }
}

impl Sums {
    fn of(scene: &Scene, design: &Design) -> Self {
        let mut sums = Self {
            count: scene.fills.len() as f64,
            xx: [[0.0; COLUMNS]; COLUMNS],
            xy: [0.0; COLUMNS],
            yy: scene.squares,
        };
        for i in 0..design.count {
            let a = design.columns[i];
            sums.xy[i] = scene.with_fills[a];
            for j in 0..=i {
                let b = design.columns[j];
                sums.xx[i][j] = scene.products[a.max(b)][a.min(b)];
            }
        }
        sums
    }

    /// Takes one fill out.
    fn remove(&mut self, scene: &Scene, design: &Design, at: usize) {
        let (y, x) = (scene.fills[at], |k: usize| scene.columns[design.columns[k]].at[at]);
        self.count -= 1.0;
        self.yy -= y * y;
        for i in 0..design.count {
            self.xy[i] -= x(i) * y;
            for j in 0..=i {
                self.xx[i][j] -= x(i) * x(j);
            }
        }
    }

    /// Evidence at the one scatter that fits best, without strays: enough to rank designs of one combination.
    fn quick(&self, design: &Design, level: &Level) -> f64 {
        let sigma = (self.least_squares(design) / self.count).sqrt().max(0.3);
        let scale = level.scales.first().map_or(1.0, |s| s.0);
        self.fit(design, scale, sigma).map_or(-1e300, |fit| fit.ln_evidence)
    }

    /// The smallest sum of squares that any sizes can leave (a slight ridge keeps it solvable).
    fn least_squares(&self, design: &Design) -> f64 {
        let ridge = [1e-6; COLUMNS];
        let Some(root) = self.root(design.count, 1.0, &ridge) else { return 0.0 };
        let half = forward(&root, &self.xy, design.count);
        (self.yy - half.iter().map(|h| h * h).sum::<f64>()).max(0.0)
    }

    /// Cholesky root of X'X/σ² + ridge.
    #[expect(clippy::needless_range_loop, reason = "a triangle is walked by its indices")]
    fn root(&self, columns: usize, scale: f64, ridge: &[f64; COLUMNS]) -> Option<[[f64; COLUMNS]; COLUMNS]> {
        let mut root = [[0.0; COLUMNS]; COLUMNS];
        for i in 0..columns {
            for j in 0..=i {
                let mut rest = self.xx[i][j] * scale + if i == j { ridge[i] } else { 0.0 };
                for k in 0..j {
                    rest -= root[i][k] * root[j][k];
                }
                if i == j {
                    if rest <= 0.0 {
                        return None;
                    }
                    root[i][i] = rest.sqrt();
                } else {
                    root[i][j] = rest / root[j][j];
                }
            }
        }
        Some(root)
    }

    /// Posterior of the sizes and evidence of the plain fills, for one scatter and one width of the level.
    fn fit(&self, design: &Design, level: f64, sigma: f64) -> Option<Fit> {
        let columns = design.count;
        let precision = 1.0 / (sigma * sigma);
        let mut widths = design.sizes;
        widths[0] = level;
        let ridge = widths.map(|w| 1.0 / (w * w));
        let root = self.root(columns, precision, &ridge)?;
        let scaled = self.xy.map(|b| b * precision);
        let half = forward(&root, &scaled, columns);
        let sizes = backward(&root, &half, columns);
        let explained: f64 = half.iter().map(|h| h * h).sum();
        let ln_root = (0..columns).map(|i| root[i][i] * widths[i]).product::<f64>().ln();
        let quadratic = (self.yy * precision - explained).max(0.0);
        let ln_evidence = -0.5 * self.count * (2.0 * PI * sigma * sigma).ln() - 0.5 * quadratic - ln_root;
        let mut unit = [0.0; COLUMNS];
        unit[0] = 1.0;
        let first = forward(&root, &unit, columns);
        let level_error = first.iter().map(|h| h * h).sum::<f64>().sqrt();
        Some(Fit { sizes, level_error, ln_evidence })
    }
}

/// Solves root·x = b.
fn forward(root: &[[f64; COLUMNS]; COLUMNS], b: &[f64; COLUMNS], columns: usize) -> [f64; COLUMNS] {
    let mut x = [0.0; COLUMNS];
    for i in 0..columns {
        let mut rest = b[i];
        for k in 0..i {
            rest -= root[i][k] * x[k];
        }
        x[i] = rest / root[i][i];
    }
    x
}

/// Solves rootᵀ·x = b.
fn backward(root: &[[f64; COLUMNS]; COLUMNS], b: &[f64; COLUMNS], columns: usize) -> [f64; COLUMNS] {
    let mut x = [0.0; COLUMNS];
    for i in (0..columns).rev() {
        let mut rest = b[i];
        for k in i + 1..columns {
            rest -= root[k][i] * x[k];
        }
        x[i] = rest / root[i][i];
    }
    x
}
