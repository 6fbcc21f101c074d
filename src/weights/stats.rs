//! Sums that the rest builds on: quantiles, intervals, robust centre and spread.
//!
//! The quantiles come from statrs inside the range where it was checked against tables; beyond (more than ten
//! thousand degrees of freedom) textbook expansions take over.

use serde::Serialize;
use statrs::distribution::{ChiSquared, ContinuousCDF, FisherSnedecor, Normal, StudentsT};

/// Confidence of every interval in a summary.
pub const CONFIDENCE: f64 = 0.95;

/// An estimate with the interval it lies in.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Interval {
    /// Best single value.
    pub estimate: f64,
    /// Lower end.
    pub low: f64,
    /// Upper end.
    pub high: f64,
}

impl Interval {
    /// An estimate with the same width to both sides.
    pub fn around(estimate: f64, half: f64) -> Self {
        Self { estimate, low: estimate - half, high: estimate + half }
    }

    /// Half its width.
    pub fn half(&self) -> f64 {
        (self.high - self.low) / 2.0
    }

    /// Whether it has zero on one side only.
    pub fn excludes_zero(&self) -> bool {
        self.low > 0.0 || self.high < 0.0
    }

    /// Whether all of it lies within ± `limit`.
    pub fn inside(&self, limit: f64) -> bool {
        self.low >= -limit && self.high <= limit
    }
}

/// Degrees of freedom up to which the distributions of statrs are used.
const CHECKED_FREEDOM: f64 = 1e4;

/// Probability that a standard normal value lies below `z`.
pub fn normal_below(z: f64) -> f64 {
    Normal::standard().cdf(z)
}

/// The value that a standard normal lies below with probability `p`.
pub fn normal_quantile(p: f64) -> f64 {
    Normal::standard().inverse_cdf(p.clamp(1e-12, 1.0 - 1e-12))
}

/// Quantile of Student's distribution.
pub fn student_quantile(p: f64, freedom: f64) -> f64 {
    let freedom = freedom.max(1.0);
    if freedom <= CHECKED_FREEDOM
        && let Ok(student) = StudentsT::new(0.0, 1.0, freedom)
    {
        return student.inverse_cdf(p.clamp(1e-6, 1.0 - 1e-6));
    }
    let z = normal_quantile(p);
    z + (z.powi(3) + z) / (4.0 * freedom)
}

/// Quantile of the chi-square distribution (Wilson and Hilferty 1931 beyond the checked range).
pub fn chi_square_quantile(p: f64, freedom: f64) -> f64 {
    let freedom = freedom.max(1.0);
    if freedom <= CHECKED_FREEDOM
        && let Ok(chi) = ChiSquared::new(freedom)
    {
        return chi.inverse_cdf(p.clamp(1e-6, 1.0 - 1e-6));
    }
    let part = 2.0 / (9.0 * freedom);
    freedom * (1.0 - part + normal_quantile(p) * part.sqrt()).powi(3)
}

/// Probability that a Student value lies further from zero than `t`, to either side.
pub fn student_beyond(t: f64, freedom: f64) -> f64 {
    let freedom = freedom.max(1.0);
    match StudentsT::new(0.0, 1.0, freedom) {
        Ok(student) if freedom <= CHECKED_FREEDOM && t.is_finite() => (2.0 * student.sf(t.abs())).min(1.0),
        _ if t.is_nan() => 1.0,
        _ => 2.0 * normal_below(-t.abs()),
    }
}

/// Fisher's F; more than ten thousand degrees of freedom count as ten thousand.
fn fisher(over: f64, under: f64) -> Option<FisherSnedecor> {
    let checked = |freedom: f64| freedom.clamp(1.0, CHECKED_FREEDOM);
    FisherSnedecor::new(checked(over), checked(under)).ok()
}

/// Probability that a ratio of two variances lies above `ratio` by chance, with these degrees of freedom of the upper
/// and the lower one.
pub fn fisher_above(ratio: f64, over: f64, under: f64) -> f64 {
    if ratio.is_nan() {
        return 1.0;
    }
    fisher(over, under).map_or(1.0, |f| f.sf(ratio.max(0.0)))
}

/// Quantile of Fisher's F, by halving: its distribution is checked, an inverse is not needed.
pub fn fisher_quantile(p: f64, over: f64, under: f64) -> f64 {
    let above = 1.0 - p.clamp(1e-9, 1.0 - 1e-9);
    let (mut low, mut high) = (-60.0_f64, 60.0_f64);
    for _ in 0..100 {
        let middle = f64::midpoint(low, high);
        if fisher_above(middle.exp(), over, under) > above { low = middle } else { high = middle }
    }
    f64::midpoint(low, high).exp()
}

/// Arithmetic mean; `None` of nothing.
pub fn mean(values: &[f64]) -> Option<f64> {
    (!values.is_empty()).then(|| values.iter().sum::<f64>() / values.len() as f64)
}

/// Sample standard deviation; `None` of fewer than two.
pub fn spread(values: &[f64]) -> Option<f64> {
    let centre = mean(values)?;
    let squares: f64 = values.iter().map(|v| (v - centre).powi(2)).sum();
    (values.len() > 1).then(|| (squares / (values.len() - 1) as f64).sqrt())
}

/// Middle value; `None` of nothing.
pub fn median(values: &[f64]) -> Option<f64> {
    let mut sorted = values.to_vec();
    sorted.sort_by(f64::total_cmp);
    let half = sorted.len() / 2;
    match sorted.len() {
        0 => None,
        n if n % 2 == 1 => Some(sorted[half]),
        _ => Some(f64::midpoint(sorted[half - 1], sorted[half])),
    }
}

/// Spread that a few wild fills cannot move: 1.4826 times the median distance from the median, which equals the
/// standard deviation for normal scatter. `None` of fewer than two.
pub fn robust_spread(values: &[f64]) -> Option<f64> {
    let centre = median(values)?;
    let distances: Vec<f64> = values.iter().map(|v| (v - centre).abs()).collect();
    (values.len() > 1).then(|| median(&distances).map(|mad| 1.4826 * mad)).flatten()
}

/// Correlation of each fill with the next; `None` of fewer than three or of equal values.
pub fn lag_one(values: &[f64]) -> Option<f64> {
    let centre = mean(values)?;
    let squares: f64 = values.iter().map(|v| (v - centre).powi(2)).sum();
    let products: f64 = values.windows(2).map(|pair| (pair[0] - centre) * (pair[1] - centre)).sum();
    (values.len() > 2 && squares > 0.0).then(|| products / squares)
}

/// Interval of a mean: t(1 − α/2, n − 1)·s/√n with α = 1 − `confidence`; `n` may be an effective number.
pub fn mean_interval(mean: f64, spread: f64, n: f64, confidence: f64) -> Interval {
    let t = student_quantile(f64::midpoint(1.0, confidence), n - 1.0);
    Interval::around(mean, t * spread / n.max(1.0).sqrt())
}

/// Interval of a standard deviation by the chi-square distribution.
pub fn spread_interval(spread: f64, n: f64, confidence: f64) -> Interval {
    let freedom = (n - 1.0).max(1.0);
    let end = |p: f64| spread * (freedom / chi_square_quantile(p, freedom).max(f64::MIN_POSITIVE)).sqrt();
    let tail = (1.0 - confidence) / 2.0;
    Interval { estimate: spread, low: end(1.0 - tail), high: end(tail) }
}

/// Interval of a share that was counted (Wilson 1927).
pub fn counted_share(count: usize, n: usize, confidence: f64) -> Option<Interval> {
    if n == 0 {
        return None;
    }
    let (n, share) = (n as f64, count as f64 / n as f64);
    let z = normal_quantile(f64::midpoint(1.0, confidence));
    let centre = (share + z * z / (2.0 * n)) / (1.0 + z * z / n);
    let half = z / (1.0 + z * z / n) * (share * (1.0 - share) / n + z * z / (4.0 * n * n)).sqrt();
    Some(Interval { estimate: share, low: (centre - half).max(0.0), high: (centre + half).min(1.0) })
}

/// The smallest number of fills whose mean is known to ± `half_width`, with the spread itself estimated:
/// t(1 − α/2, n − 1)·s/√n ≤ half width. `None` when the width is not positive or it takes over a million.
pub fn fills_for_mean(spread: f64, half_width: f64, confidence: f64) -> Option<usize> {
    let p = f64::midpoint(1.0, confidence);
    let enough = |n: usize| student_quantile(p, n as f64 - 1.0) * spread / (n as f64).sqrt() <= half_width;
    let start = (normal_quantile(p) * spread / half_width).powi(2).ceil();
    if half_width <= 0.0 || !start.is_finite() || start > 1e6 {
        return None;
    }
    // Student's quantile is above the normal one, so the answer is never below the start.
    (start.max(2.0) as usize..).take(10_000).find(|&n| enough(n))
}

/// How often six spreads go into the tolerance, and the same for the nearer limit from where the mean is: Cp and Cpk
/// (Montgomery, Introduction to Statistical Quality Control). Limits, mean and spread in one unit; none without a spread.
pub fn capability(limits: (f64, f64), mean: f64, spread: f64) -> Option<(f64, f64)> {
    let (lower, upper) = limits;
    (spread > 0.0 && upper > lower)
        .then(|| ((upper - lower) / (6.0 * spread), (upper - mean).min(mean - lower) / (3.0 * spread)))
}

/// Share of normal scatter below a limit that lies `z` spreads from the mean, both estimated from `n` fills:
/// the standard error of z is √(1/n + z²/(2(n − 1))).
pub fn long_run_share(z: f64, n: f64) -> Interval {
    let error = (1.0 / n + z * z / (2.0 * (n - 1.0).max(1.0))).sqrt();
    let reach = normal_quantile(f64::midpoint(1.0, CONFIDENCE)) * error;
    Interval { estimate: normal_below(z), low: normal_below(z - reach), high: normal_below(z + reach) }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn near(found: f64, wanted: f64, within: f64) {
        assert!((found - wanted).abs() <= within, "{found} for {wanted}");
    }

    // A textbook's figures.
    #[test]
    fn capability_counts_spreads_in_the_tolerance_and_to_the_nearer_limit() {
        let (cp, cpk) = capability((497.0, 506.0), 500.8, 1.5).unwrap();
        assert!((cp - 1.0).abs() < 1e-9 && (cpk - 0.844).abs() < 0.0005, "{cp} {cpk}");
        assert!((normal_below((497.0 - 500.8) / 1.5) - 0.00565).abs() < 5e-6);
        assert_eq!(capability((497.0, 506.0), 500.8, 0.0), None);
    }

    #[test]
    fn quantiles_agree_with_printed_tables() {
        for (freedom, t) in
            [(1.0, 12.706), (4.0, 2.776), (9.0, 2.262), (30.0, 2.042), (1000.0, 1.962), (1e6, 1.960)]
        {
            near(student_quantile(0.975, freedom), t, 6e-4);
        }
        for (p, freedom, x) in
            [(0.025, 9.0, 2.700), (0.975, 9.0, 19.023), (0.95, 1.0, 3.841), (0.975, 100.0, 129.561)]
        {
            near(chi_square_quantile(p, freedom), x, 1e-3);
        }
        // Across the seam between the library and the expansion.
        near(student_quantile(0.975, 9_999.0), student_quantile(0.975, 10_001.0), 1e-7);
        near(chi_square_quantile(0.975, 9_999.0) + 2.0, chi_square_quantile(0.975, 10_001.0), 0.05);
    }

    #[test]
    fn ratios_of_variances_agree_with_printed_tables() {
        for (p, over, under, f) in [
            (0.95, 19.0, 19.0, 2.168),
            (0.975, 4.0, 4.0, 9.605),
            (0.95, 1.0, 10.0, 4.965),
            (0.99, 5.0, 20.0, 4.103),
        ] {
            near(fisher_quantile(p, over, under), f, 6e-4);
            near(fisher_above(f, over, under), 1.0 - p, 1e-4);
        }
        near(fisher_quantile(0.5, 1e6, 1e6), 1.0, 1e-3);
        near(student_beyond(-2.776, 4.0), 0.05, 1e-4);
        near(student_beyond(1.96, 1e6), 0.05, 1e-4);
        near(student_beyond(f64::NAN, 4.0), 1.0, 0.0);
        near(student_beyond(f64::INFINITY, 4.0), 0.0, 0.0);
    }

    #[test]
    fn a_spread_is_known_as_well_as_the_table_says() {
        let table = [
            (5, 0.599, 2.874),
            (10, 0.688, 1.826),
            (20, 0.760, 1.461),
            (30, 0.796, 1.344),
            (60, 0.848, 1.220),
        ];
        for (n, low, high) in table {
            let found = spread_interval(1.0, f64::from(n), 0.95);
            near(found.low, low, 5e-4);
            near(found.high, high, 5e-4);
        }
    }

    #[test]
    fn fills_needed_for_a_mean_agree_with_the_worked_values() {
        for (half, n) in [(2.0, 7), (1.0, 18), (0.5, 64)] {
            assert_eq!(fills_for_mean(2.0, half, 0.95), Some(n));
        }
        assert_eq!(fills_for_mean(2.0, 0.0, 0.95), None);
        assert_eq!(fills_for_mean(f64::NAN, 1.0, 0.95), None);
        assert_eq!(fills_for_mean(0.0, 1.0, 0.95), Some(2));
    }

    #[test]
    fn the_mean_of_ten_fills_has_its_worked_range() {
        let fills = [504.1, 503.6, 504.8, 503.9, 504.4, 503.2, 504.6, 504.0, 503.7, 504.7];
        let found = mean_interval(mean(&fills).unwrap(), spread(&fills).unwrap(), 10.0, 0.95);
        near(found.half(), 0.374, 5e-4);
        near(found.low, 503.73, 5e-3);
        near(found.high, 504.47, 5e-3);
    }

    #[test]
    fn a_few_wild_fills_do_not_move_the_robust_spread() {
        let calm = [1.0, 2.0, 3.0, 4.0, 5.0, 6.0, 7.0, 8.0, 9.0];
        let mut wild = calm;
        wild[8] = 900.0;
        assert_eq!(robust_spread(&calm), robust_spread(&wild));
        assert_eq!(robust_spread(&[1.0]), None);
        assert_eq!(median(&[]), None);
    }

    #[test]
    fn none_of_ten_outside_still_may_be_a_quarter() {
        let found = counted_share(0, 10, 0.95).unwrap();
        near(found.low, 0.0, 1e-12);
        near(found.high, 0.2775, 1e-3);
    }
}
