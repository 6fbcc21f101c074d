//! What is always answered about a run, before any pattern is looked for.

use serde::Serialize;

use super::remark::Remark;
use super::run::{Run, TareKind};
use super::stats::{
    CONFIDENCE, Interval, counted_share, fills_for_mean, lag_one, long_run_share, mean, mean_interval,
    median, normal_quantile, robust_spread, spread, spread_interval, student_quantile,
};
use crate::units::Unit;

/// Fewer fills than this carry no advice on a setting.
pub const FEWEST_FOR_ADVICE: usize = 5;
/// Correlation of neighbours beyond which the mean's interval is widened.
const CORRELATED: f64 = 0.3;
/// Robust spreads from the middle beyond which a fill is a stray (Iglewicz and Hoaglin 1993).
const STRAY: f64 = 3.5;
/// Share of the variance beyond which rounding is worth a remark.
const COARSE_SHARE: f64 = 0.1;

/// How the run began.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Start {
    /// Right after a stop: the first two fills are set apart.
    AfterStop,
    /// The machine had been running.
    Running,
    /// Nobody said: the first fills are set apart only when they plainly stand out.
    #[default]
    Unknown,
}

/// What the person wants to know a run against; masses are grams.
#[derive(Debug, Clone, Default)]
pub struct Question {
    /// Half width of the tolerance around the target.
    pub tolerance: Option<f64>,
    /// The machine's usual spread on such a product.
    pub usual_spread: Option<f64>,
    /// How the run began.
    pub start: Start,
    /// How closely the mean is wanted; a quarter of the tolerance when not said.
    pub mean_within: Option<f64>,
}

impl Question {
    /// How closely the mean is wanted, grams.
    pub(super) fn wanted_mean(&self) -> Option<f64> {
        self.mean_within.or(self.tolerance.map(|t| t / 4.0)).filter(|w| *w > 0.0)
    }
}

/// Fills outside the tolerance, as shares from 0 to 1.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Outside {
    /// How many were too light and too heavy.
    pub light: usize,
    /// How many were too heavy.
    pub heavy: usize,
    /// Share counted, with its interval.
    pub counted: Interval,
    /// Share that the mean and the spread would give in the long run, normal scatter taken.
    pub estimated: Option<Interval>,
}

/// Straight line through the fills.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Trend {
    /// Grams for each fill.
    pub per_fill: Interval,
    /// Grams an hour, when times were given.
    pub per_hour: Option<Interval>,
}

/// A fill far from the others.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Stray {
    /// Its place in the run, from one.
    pub place: usize,
    /// Its weight.
    pub value: f64,
    /// Robust spreads from the middle; negative when light.
    pub distance: f64,
}

/// What the step of the display does to the numbers.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Rounding {
    /// The step.
    pub division: f64,
    /// Worked out from the values, not told.
    pub inferred: bool,
    /// Spread that rounding alone gives, d/√12.
    pub spread: f64,
    /// Its share of the variance, 0 to 1.
    pub share: Option<f64>,
}

/// The same fills on the machine and on a second scale.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Pairs {
    /// Mean of value − shown: weighing, carry-over or loss.
    pub difference: Interval,
    /// Spread of value − shown.
    pub difference_spread: Option<Interval>,
    /// Mean of shown − target: feeding and cut-off.
    pub shown_error: Option<Interval>,
    /// Spread of what was shown.
    pub shown_spread: Option<Interval>,
}

/// The always-answered part. Masses are grams; intervals are of 95 %.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Summary {
    /// Fills counted, without those set apart.
    pub n: usize,
    /// Fills at the start that are not counted.
    pub apart: usize,
    /// Mean weight.
    pub mean: f64,
    /// Mean weight less target.
    pub mean_error: Option<f64>,
    /// The same with its interval; from two fills on.
    pub error: Option<Interval>,
    /// Standard deviation.
    pub spread: Option<Interval>,
    /// Its robust twin (MAD).
    pub robust_spread: Option<f64>,
    /// Lightest fill.
    pub lightest: f64,
    /// Heaviest fill.
    pub heaviest: f64,
    /// Fills outside the tolerance.
    pub outside: Option<Outside>,
    /// Straight line through the fills.
    pub trend: Option<Trend>,
    /// Correlation of each fill with the next.
    pub lag_one: Option<f64>,
    /// How many independent fills the run is worth.
    pub worth: f64,
    /// Fills far from the others.
    pub strays: Vec<Stray>,
    /// What the display step does.
    pub rounding: Option<Rounding>,
    /// More fills until the mean is known as closely as wanted; 0 when it is.
    pub more_for_mean: Option<usize>,
    /// Fills missing for advice on a setting; 0 when there are five.
    pub more_for_advice: usize,
    /// Pairs with what the machine showed.
    pub pairs: Option<Pairs>,
    /// What to know before trusting the numbers.
    pub remarks: Vec<Remark>,
}

/// Answers what is always answered.
pub fn summarise(run: &Run, question: &Question) -> Summary {
    let apart = set_apart(run.values(), question.start);
    let fills = &run.values()[apart..];
    let centre = mean(fills).unwrap_or(run.values()[0]);
    let scatter = spread(fills).filter(|s| *s > 0.0);
    let lag_one = lag_one(fills);
    let worth = worth(fills.len(), lag_one);
    let spread = scatter.map(|s| spread_interval(s, worth, CONFIDENCE));
    let mean_error = run.target().map(|target| centre - target);
    // A display that never moves still hides half a step.
    let blur = scatter.or(run.division().map(|d| d.grams / 12f64.sqrt())).unwrap_or(0.0);
    let wanted = question.wanted_mean();
    let more_for_mean = scatter.zip(wanted).and_then(|(s, w)| {
        let independent = fills_for_mean(s, w, CONFIDENCE)? as f64;
        Some(((independent * fills.len() as f64 / worth).ceil() as usize).saturating_sub(fills.len()))
    });
    let mut summary = Summary {
        n: fills.len(),
        apart,
        mean: centre,
        mean_error,
        error: mean_error
            .filter(|_| fills.len() > 1)
            .map(|error| mean_interval(error, blur, worth, CONFIDENCE)),
        spread,
        robust_spread: robust_spread(fills),
        lightest: fills.iter().copied().min_by(f64::total_cmp).unwrap_or(centre),
        heaviest: fills.iter().copied().max_by(f64::total_cmp).unwrap_or(centre),
        outside: outside(fills, run.target(), question.tolerance, scatter, worth),
        trend: trend(fills, run.times().map(|t| &t[apart..])),
        lag_one,
        worth,
        strays: strays(fills, apart, run.division().map(|d| d.grams)),
        rounding: rounding(run, scatter),
        more_for_mean,
        more_for_advice: FEWEST_FOR_ADVICE.saturating_sub(fills.len()),
        pairs: pairs(run, apart),
        remarks: Vec::new(),
    };
    summary.remarks = remarks(run, &summary, question);
    summary
}

/// n·(1 − r)/(1 + r) when neighbours are alike, never under two.
pub(super) fn worth(n: usize, lag_one: Option<f64>) -> f64 {
    let n = n as f64;
    match lag_one {
        Some(r) if r > CORRELATED => (n * (1.0 - r) / (1.0 + r)).max(2.0).min(n),
        _ => n,
    }
}

/// How many fills at the start are not counted: two after a stop; otherwise those of the first two that stand out
/// while none later does.
fn set_apart(values: &[f64], start: Start) -> usize {
    match start {
        Start::AfterStop if values.len() > 2 => 2,
        Start::Unknown if values.len() >= 8 => plain_start_up(values),
        _ => 0,
    }
}

fn plain_start_up(values: &[f64]) -> usize {
    let later = &values[2..];
    let (Some(centre), Some(robust)) = (median(later), robust_spread(later)) else { return 0 };
    let scale = robust.max(spread(later).unwrap_or(0.0));
    let far = |v: &f64| scale > 0.0 && (v - centre).abs() > STRAY * scale;
    if later.iter().any(far) || !far(&values[0]) {
        return 0;
    }
    let same_side = (values[0] > centre) == (values[1] > centre);
    if far(&values[1]) && same_side { 2 } else { 1 }
}

fn outside(
    fills: &[f64],
    target: Option<f64>,
    tolerance: Option<f64>,
    scatter: Option<f64>,
    worth: f64,
) -> Option<Outside> {
    let (target, tolerance) = (target?, tolerance?);
    let slack = 1e-9 * target;
    let light = fills.iter().filter(|v| **v < target - tolerance - slack).count();
    let heavy = fills.iter().filter(|v| **v > target + tolerance + slack).count();
    let counted = counted_share(light + heavy, fills.len(), CONFIDENCE)?;
    let error = mean(fills)? - target;
    let estimated = scatter.map(|s| {
        let below = long_run_share((-tolerance - error) / s, worth);
        let above = long_run_share((error - tolerance) / s, worth);
        Interval {
            estimate: below.estimate + above.estimate,
            low: below.low + above.low,
            high: (below.high + above.high).min(1.0),
        }
    });
    Some(Outside { light, heavy, counted, estimated })
}

fn trend(fills: &[f64], times: Option<&[f64]>) -> Option<Trend> {
    let order: Vec<f64> = (0..fills.len()).map(|i| i as f64).collect();
    let per_hour = times.and_then(|t| slope(&t.iter().map(|s| s / 3600.0).collect::<Vec<_>>(), fills));
    Some(Trend { per_fill: slope(&order, fills)?, per_hour })
}

/// Least-squares slope with Student's interval.
fn slope(x: &[f64], y: &[f64]) -> Option<Interval> {
    let (x0, y0) = (mean(x)?, mean(y)?);
    let xx: f64 = x.iter().map(|x| (x - x0).powi(2)).sum();
    if x.len() < 3 || xx <= 0.0 {
        return None;
    }
    let b = x.iter().zip(y).map(|(x, y)| (x - x0) * (y - y0)).sum::<f64>() / xx;
    let rest: f64 = x.iter().zip(y).map(|(x, y)| (y - y0 - b * (x - x0)).powi(2)).sum();
    let freedom = x.len() as f64 - 2.0;
    let t = student_quantile(f64::midpoint(1.0, CONFIDENCE), freedom);
    Some(Interval::around(b, t * (rest / freedom / xx).sqrt()))
}

/// Fills further than 3.5 robust spreads from the middle (further in a long run, where chance alone goes so far). With most values equal the spread of the display's step, or
/// the mean distance, stands in for a MAD of zero.
fn strays(fills: &[f64], apart: usize, division: Option<f64>) -> Vec<Stray> {
    let (Some(centre), Some(robust)) = (median(fills), robust_spread(fills)) else { return Vec::new() };
    let distances: Vec<f64> = fills.iter().map(|v| (v - centre).abs()).collect();
    let fallback = mean(&distances).unwrap_or(0.0) * 1.2533;
    let step = division.unwrap_or(0.0) / 12f64.sqrt();
    let scale = if robust > 0.0 { robust.max(step) } else { fallback.max(step) };
    if fills.len() < FEWEST_FOR_ADVICE || scale <= 0.0 {
        return Vec::new();
    }
    let stray = |(at, &value): (usize, &f64)| Stray {
        place: apart + at + 1,
        value,
        distance: (value - centre) / scale,
    };
    let by_chance = normal_quantile(1.0 - 0.025 / fills.len() as f64);
    fills.iter().enumerate().map(stray).filter(|s| s.distance.abs() > STRAY.max(by_chance)).collect()
}

fn rounding(run: &Run, scatter: Option<f64>) -> Option<Rounding> {
    let division = run.division()?;
    let spread = division.grams / 12f64.sqrt();
    let share = scatter.map(|s| (spread / s).powi(2).min(1.0));
    Some(Rounding { division: division.grams, inferred: division.inferred, spread, share })
}

fn pairs(run: &Run, apart: usize) -> Option<Pairs> {
    let shown = &run.shown()?[apart..];
    let differences: Vec<f64> = run.values()[apart..].iter().zip(shown).map(|(v, s)| v - s).collect();
    let known = |list: &[f64]| {
        let worth = worth(list.len(), lag_one(list));
        let scatter = spread(list);
        let centre = mean_interval(mean(list)?, scatter.unwrap_or(0.0), worth, CONFIDENCE);
        Some((centre, scatter.filter(|s| *s > 0.0).map(|s| spread_interval(s, worth, CONFIDENCE))))
    };
    let (difference, difference_spread) = known(&differences)?;
    let (shown_mean, shown_spread) = known(shown)?;
    let shown_error = run.target().map(|target| Interval {
        estimate: shown_mean.estimate - target,
        low: shown_mean.low - target,
        high: shown_mean.high - target,
    });
    Some(Pairs { difference, difference_spread, shown_error, shown_spread })
}

fn remarks(run: &Run, summary: &Summary, question: &Question) -> Vec<Remark> {
    let mut remarks = Vec::new();
    let mut say = |remark: Option<Remark>| remarks.extend(remark);
    let too_few = summary.more_for_advice;
    say((too_few > 0).then_some(Remark::TooFew { missing: too_few }));
    let frozen = summary.n > 1 && summary.lightest == summary.heaviest;
    say(frozen.then_some(Remark::AllEqual { value: summary.mean }));
    say(run.target().is_none().then_some(Remark::NoTarget));
    say(run.target().and_then(|target| far_from_target(summary.mean, target)));
    let empty = run.values().iter().filter(|v| **v <= 0.0).count();
    say((empty > 0 && run.target().is_some()).then_some(Remark::NotPositive { fills: empty }));
    let gross = run.tare().is_some_and(|tare| tare.kind == TareKind::None);
    say(gross.then_some(Remark::Gross));
    let told = question.start == Start::AfterStop;
    say((summary.apart > 0).then_some(Remark::StartUpApart { fills: summary.apart, told }));
    let widened = summary.lag_one.filter(|_| summary.worth < summary.n as f64);
    say(widened.map(|lag_one| Remark::Correlated { lag_one, worth: summary.worth }));
    if let Some(rounding) = &summary.rounding {
        let division = rounding.division;
        say(rounding.inferred.then_some(Remark::DivisionInferred { division }));
        let share = rounding.share.filter(|share| *share > COARSE_SHARE);
        say(share.map(|share| Remark::CoarseDivision { division, share }));
    }
    remarks
}

/// A mean beyond half or twice the target is no fault of a filler; a known ratio of units within 3 % names the slip.
fn far_from_target(mean: f64, target: f64) -> Option<Remark> {
    let ratio = mean / target;
    if (0.5..=2.0).contains(&ratio) {
        return None;
    }
    // Values read as grams that were in another unit stand to the target as one gram to that unit.
    let slip = |unit: &&'static str| {
        Unit::find(unit).is_some_and(|u| {
            let size = u.to_base(1.0);
            (ratio * size - 1.0).abs() <= 0.03
        })
    };
    let perhaps = ["kg", "lb", "oz", "mg"].iter().find(|unit| slip(unit)).copied();
    Some(Remark::FarFromTarget { ratio, perhaps })
}

#[cfg(test)]
#[path = "summary_tests.rs"]
mod tests;
