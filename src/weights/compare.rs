//! Did a change help: a run before it beside a run after it.
//!
//! Means by Welch (1947), spreads by the ratio of variances (F), shares outside by Newcombe's interval from two of
//! Wilson's (Newcombe 1998, method 10). Where neighbouring fills are alike, each run counts as the independent fills it is
//! worth. All intervals are of 95 %.

use serde::Serialize;

use super::run::Run;
use super::stats::{
    CONFIDENCE, Interval, counted_share, fisher_above, fisher_quantile, student_beyond, student_quantile,
};
use super::summary::{FEWEST_FOR_ADVICE, Outside, Question, Summary, summarise};

/// More fills than this settle nothing in a day's work.
const MOST_MORE: usize = 10_000;
/// Spreads within this factor of each other are as good as equal.
const SAME_SPREAD: f64 = 1.5;

/// One run in three figures.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Moments {
    /// Its independent fills.
    pub n: f64,
    /// Mean, grams.
    pub mean: f64,
    /// Standard deviation, grams.
    pub spread: f64,
}

impl Moments {
    fn of(summary: &Summary) -> Self {
        // A display that never moves still hides half a step.
        let blur = summary.rounding.as_ref().map_or(0.0, |r| r.spread);
        let spread = summary.spread.as_ref().map_or(blur, |s| s.estimate);
        Self { n: summary.worth, mean: summary.mean, spread }
    }

    fn error(self) -> f64 {
        self.spread.powi(2) / self.n
    }

    fn freedom(self) -> f64 {
        (self.n - 1.0).max(1.0)
    }
}

/// Welch's comparison of two means.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Welch {
    /// Mean after less mean before, grams.
    pub change: Interval,
    /// Standard error of that difference, grams.
    pub error: f64,
    /// Degrees of freedom (Welch and Satterthwaite).
    pub freedom: f64,
    /// Chance of a difference at least so large, to either side, when nothing changed.
    pub chance: f64,
}

/// t = difference / √(s₁²/n₁ + s₂²/n₂), with Welch's degrees of freedom. `None` without any scatter.
pub fn welch(before: Moments, after: Moments) -> Option<Welch> {
    let (a, b) = (before.error(), after.error());
    let error = (a + b).sqrt();
    if error <= 0.0 || !error.is_finite() {
        return None;
    }
    let freedom = (a + b).powi(2) / (a.powi(2) / before.freedom() + b.powi(2) / after.freedom());
    let change = after.mean - before.mean;
    let t = student_quantile(f64::midpoint(1.0, CONFIDENCE), freedom);
    let chance = student_beyond(change / error, freedom);
    Some(Welch { change: Interval::around(change, t * error), error, freedom, chance })
}

/// Spread after over spread before.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct SpreadChange {
    /// The ratio; under 1 the spread became smaller.
    pub ratio: Interval,
    /// F, the variance before over the variance after.
    pub f: f64,
    /// Chance of an F at least so large when the spread did not become smaller.
    pub chance_smaller: f64,
}

/// F = s²before / s²after with its degrees of freedom, turned into an interval of the ratio of spreads. `None` when either
/// has no scatter.
pub fn spread_change(before: Moments, after: Moments) -> Option<SpreadChange> {
    let f = (before.spread / after.spread).powi(2);
    if before.spread <= 0.0 || after.spread <= 0.0 || !f.is_finite() || f <= 0.0 {
        return None;
    }
    let (over, under) = (before.freedom(), after.freedom());
    let end = |p: f64| (fisher_quantile(p, over, under) / f).sqrt();
    let tail = (1.0 - CONFIDENCE) / 2.0;
    Some(SpreadChange {
        ratio: Interval { estimate: f.sqrt().recip(), low: end(tail), high: end(1.0 - tail) },
        f,
        chance_smaller: fisher_above(f, over, under),
    })
}

/// Difference of two counted shares, after less before.
fn share_change(before: &Outside, n: usize, after: &Outside, m: usize) -> Option<Interval> {
    let p = counted_share(before.light + before.heavy, n, CONFIDENCE)?;
    let q = counted_share(after.light + after.heavy, m, CONFIDENCE)?;
    let estimate = q.estimate - p.estimate;
    let down = (q.estimate - q.low).hypot(p.high - p.estimate);
    let up = (q.high - q.estimate).hypot(p.estimate - p.low);
    Some(Interval { estimate, low: (estimate - down).max(-1.0), high: (estimate + up).min(1.0) })
}

/// Which way a thing went, as far as it is proved.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Way {
    /// Plainly better.
    Better,
    /// Plainly worse.
    Worse,
    /// Not proved either way.
    Open,
}

/// Did it help?
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case", tag = "change")]
pub enum Helped {
    /// Something is better and nothing is worse.
    Yes,
    /// Something is worse and nothing is better.
    No,
    /// One is better, another worse.
    Both,
    /// Whatever it did is too small to matter.
    NoMatter,
    /// Not known yet.
    CannotTell {
        /// How many more fills after the change would settle it; `None` when none would, since too few were weighed before.
        more: Option<usize>,
    },
    /// Too few fills on a side.
    TooFew {
        /// Fills missing before.
        before: usize,
        /// Fills missing after.
        after: usize,
    },
}

/// A run before a change beside one after it.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Change {
    /// What is always answered, before.
    pub before: Summary,
    /// Change of the mean.
    pub mean: Option<Welch>,
    /// Change of the spread.
    pub spread: Option<SpreadChange>,
    /// Change of the share outside, from −1 to 1.
    pub outside: Option<Interval>,
    /// Whether the mean came closer to the target; open without a target.
    pub mean_way: Way,
    /// Whether the spread became smaller.
    pub spread_way: Way,
    /// Whether fewer lie outside the tolerance.
    pub outside_way: Way,
    /// All together.
    pub helped: Helped,
}

/// Compares a run before a change with what `after` says of the run after it. The target is that of the run after.
pub fn compare(before: &Run, after: &Summary, target: Option<f64>, question: &Question) -> Change {
    let before = match target {
        Some(target) => before.clone().with_target(target).unwrap_or_else(|_| before.clone()),
        None => before.clone(),
    };
    let first = summarise(&before, question);
    let (a, b) = (Moments::of(&first), Moments::of(after));
    let mean = welch(a, b);
    let spread = spread_change(a, b).filter(|_| first.spread.is_some() && after.spread.is_some());
    let outside = first
        .outside
        .as_ref()
        .zip(after.outside.as_ref())
        .and_then(|(p, q)| share_change(p, first.n, q, after.n));
    let mean_way = mean.zip(target).map_or(Way::Open, |(welch, target)| closer(a, b, &welch, target));
    let spread_way = spread.map_or(Way::Open, |s| way(s.ratio.low - 1.0, s.ratio.high - 1.0));
    let outside_way = outside.map_or(Way::Open, |o| way(o.low, o.high));
    let mut change = Change {
        before: first,
        mean,
        spread,
        outside,
        mean_way,
        spread_way,
        outside_way,
        helped: Helped::Yes,
    };
    change.helped = change.verdict(a, b, after, target, question);
    change
}

/// Better when all of the interval is below zero.
fn way(low: f64, high: f64) -> Way {
    match (low, high) {
        (_, high) if high < 0.0 => Way::Better,
        (low, _) if low > 0.0 => Way::Worse,
        _ => Way::Open,
    }
}

/// Closer to the target is |after| < |before|, that is (before − after)·(before + after) > 0 of the two errors: proved
/// when the intervals of both factors are on one side of zero, each with the same standard error.
fn closer(before: Moments, after: Moments, welch: &Welch, target: f64) -> Way {
    let half = welch.change.half();
    let fell = Interval::around(before.mean - after.mean, half);
    let sum = Interval::around(before.mean + after.mean - 2.0 * target, half);
    if !fell.excludes_zero() || !sum.excludes_zero() {
        return Way::Open;
    }
    if (fell.low > 0.0) == (sum.low > 0.0) { Way::Better } else { Way::Worse }
}

impl Change {
    fn verdict(
        &self,
        a: Moments,
        b: Moments,
        after: &Summary,
        target: Option<f64>,
        question: &Question,
    ) -> Helped {
        let missing = |n: usize| FEWEST_FOR_ADVICE.saturating_sub(n);
        if missing(self.before.n) + missing(after.n) > 0 {
            return Helped::TooFew { before: missing(self.before.n), after: missing(after.n) };
        }
        let ways = [self.mean_way, self.spread_way, self.outside_way];
        match (ways.contains(&Way::Better), ways.contains(&Way::Worse)) {
            (true, false) => return Helped::Yes,
            (false, true) => return Helped::No,
            (true, true) => return Helped::Both,
            (false, false) => {}
        }
        let matters = question.wanted_mean();
        let small = self.mean.zip(matters).is_some_and(|(welch, limit)| welch.change.inside(limit));
        let same =
            self.spread.is_none_or(|s| s.ratio.low >= SAME_SPREAD.recip() && s.ratio.high <= SAME_SPREAD);
        if small && same {
            return Helped::NoMatter;
        }
        let least = matters.unwrap_or(a.spread / 2.0);
        let for_mean = target.and_then(|_| {
            more(b, |after| {
                let looked_for = (b.mean - a.mean).abs().max(least);
                welch(a, after).is_some_and(|w| w.change.half() < looked_for)
            })
        });
        let for_spread = self.spread.and_then(|s| {
            let ratio = s.ratio.estimate;
            let ratio = if ratio > 1.0 { ratio.max(SAME_SPREAD) } else { ratio.min(SAME_SPREAD.recip()) };
            more(b, |after| {
                let after = Moments { spread: a.spread * ratio, ..after };
                spread_change(a, after).is_some_and(|s| s.ratio.low > 1.0 || s.ratio.high < 1.0)
            })
        });
        // Fills that are alike say less: so many more are needed.
        let dilution = after.n as f64 / after.worth;
        let more = for_mean.into_iter().chain(for_spread).min();
        Helped::CannotTell { more: more.map(|n| (n as f64 * dilution).ceil() as usize) }
    }
}

/// The smallest number of fills beyond those of `after` that is enough.
fn more(after: Moments, enough: impl Fn(Moments) -> bool) -> Option<usize> {
    let with = |n: usize| enough(Moments { n: after.n + n as f64, ..after });
    if !with(MOST_MORE) {
        return None;
    }
    let (mut short, mut long) = (0, MOST_MORE);
    while long - short > 1 {
        let middle = usize::midpoint(short, long);
        if with(middle) { long = middle } else { short = middle }
    }
    Some(long)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::weights::run::RunInput;

    fn near(found: f64, wanted: f64, within: f64) {
        assert!((found - wanted).abs() <= within, "{found} for {wanted}");
    }

    /// Figures of a worked example of before and after; its source is of the kind `textbook`.
    #[test]
    fn the_worked_example_has_its_figures() {
        let before = Moments { n: 20.0, mean: 503.1, spread: 3.2 };
        let after = Moments { n: 20.0, mean: 500.6, spread: 2.0 };
        let spread = spread_change(before, after).unwrap();
        near(spread.f, 2.56, 0.005);
        near(fisher_quantile(0.95, 19.0, 19.0), 2.168, 5e-4);
        near(spread.chance_smaller, 0.0235, 5e-5);
        assert!(spread.ratio.high < 1.0);
        let mean = welch(before, after).unwrap();
        near(-mean.change.estimate / mean.error, 2.963, 5e-4);
        near(mean.freedom, 31.88, 0.005);
        near(mean.chance, 0.0057, 5e-5);
        assert_eq!(closer(before, after, &mean, 500.0), Way::Better);
        // Away from another target it is the other way round.
        assert_eq!(closer(before, after, &mean, 505.0), Way::Worse);
        // To the other side of a target in the middle nothing is gained.
        assert_eq!(closer(before, after, &mean, 501.8), Way::Open);
    }

    fn compared(before: &[f64], after: &[f64], tolerance: Option<f64>) -> Change {
        let run = |values: &[f64]| {
            Run::new(RunInput { values: values.to_vec(), target: Some(500.0), ..RunInput::default() })
                .unwrap()
        };
        let question = Question { tolerance, ..Question::default() };
        compare(&run(before), &summarise(&run(after), &question), Some(500.0), &question)
    }

    /// Fills around a middle, without pattern.
    fn around(middle: f64, size: f64, n: usize) -> Vec<f64> {
        let steps = [0.3, -1.1, 0.8, -0.2, 1.4, -0.9, 0.1, -1.3, 1.0, -0.1];
        (0..n).map(|at| middle + size * steps[at % 10]).collect()
    }

    #[test]
    fn closer_and_tighter_helped_and_the_other_way_round_it_did_not() {
        let (off, on) = (around(504.0, 2.0, 20), around(500.2, 0.8, 20));
        let helped = compared(&off, &on, Some(5.0));
        assert_eq!(
            (helped.mean_way, helped.spread_way, helped.helped),
            (Way::Better, Way::Better, Helped::Yes)
        );
        assert_eq!(compared(&on, &off, Some(5.0)).helped, Helped::No);
        let mixed = compared(&around(504.0, 0.8, 20), &around(500.2, 2.4, 20), None);
        assert_eq!((mixed.mean_way, mixed.spread_way, mixed.helped), (Way::Better, Way::Worse, Helped::Both));
    }

    #[test]
    fn what_cannot_be_told_says_how_many_fills_tell() {
        let before = around(501.0, 2.0, 30);
        let open = compared(&before, &around(500.0, 2.0, 6), Some(4.0));
        let Helped::CannotTell { more: Some(more) } = open.helped else { panic!("{open:?}") };
        assert!((5..60).contains(&more), "{more}");
        assert_eq!(compared(&before, &around(500.0, 2.0, 6 + 2 * more), Some(4.0)).helped, Helped::Yes);
        let too_short = compared(&around(501.0, 2.0, 5), &around(500.9, 2.0, 40), Some(1.0));
        assert_eq!(too_short.helped, Helped::CannotTell { more: None });
        assert_eq!(compared(&before, &[500.0], None).helped, Helped::TooFew { before: 0, after: 4 });
    }

    #[test]
    fn the_same_again_makes_no_difference_that_matters() {
        let same = compared(&around(500.0, 0.5, 60), &around(500.1, 0.5, 60), Some(4.0));
        assert_eq!(same.helped, Helped::NoMatter);
        assert!(!format!("{:?}", compared(&[500.0; 9], &[500.0; 9], Some(1.0))).contains("NaN"));
    }

    #[test]
    fn shares_outside_differ_as_printed() {
        // Newcombe's own example: 56 of 70 less 48 of 80 is 0.2 (0.0524 to 0.3339).
        let outside = |light: usize, n: usize| Outside {
            light,
            heavy: 0,
            counted: counted_share(light, n, 0.95).unwrap(),
            estimated: None,
        };
        let found = share_change(&outside(48, 80), 80, &outside(56, 70), 70).unwrap();
        near(found.low, 0.0524, 5e-5);
        near(found.high, 0.3339, 5e-5);
    }
}
