//! Sums of setting a product up: which figure a dial wants next, how the time of a fill is shared out, and what fills
//! weighed at several allowances say together.
//!
//! Masses are grams, times seconds, flows grams a second; dials count in their own unit.

use super::stats::{Interval, mean, mean_interval, spread};

/// Flow goes about as this power of the dial's figure, until two trials of the same product say better (judgement: a
/// tray gives nothing at the lowest figures and more than its share above).
const USUAL_ANSWER: f64 = 1.6;
/// Answers outside of this are mistakes of measuring.
const ANSWERS: (f64, f64) = (0.8, 3.5);
/// Two figures of a dial closer than this share say nothing of how it answers.
const APART: f64 = 0.05;

/// The dial's figure for a wanted flow, from trials (figure, flow) of the same product on the same layer, latest last.
/// None without a trial that gave any flow.
pub fn dial_for(trials: &[(f64, f64)], wanted: f64) -> Option<f64> {
    let good = |(dial, flow): &&(f64, f64)| *dial > 0.0 && *flow > 0.0 && flow.is_finite();
    let (dial, flow) = *trials.iter().rev().find(good)?;
    let other = trials.iter().rev().filter(good).find(|t| (t.0 / dial).ln().abs() > APART);
    let answer = other.map_or(USUAL_ANSWER, |(other_dial, other_flow)| {
        ((other_flow / flow).ln() / (other_dial / dial).ln()).clamp(ANSWERS.0, ANSWERS.1)
    });
    (wanted > 0.0).then(|| dial * (wanted / flow).powf(1.0 / answer)).filter(|d| d.is_finite())
}

/// How long one fill takes and what of it is feeding, seconds.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct FillTimes {
    /// Coarse feed, from the start to the coarse cut-off.
    pub coarse: f64,
    /// Fine feed, from there to the cut-off.
    pub fine: f64,
    /// From fill to fill.
    pub whole: f64,
}

impl FillTimes {
    /// What is neither coarse nor fine feed: coming to rest, emptying, tare.
    pub fn rest(&self) -> f64 {
        (self.whole - self.coarse - self.fine).max(0.0)
    }
}

/// A mean error found over several runs in which nothing but the allowance differed.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct MeanError {
    /// How many fills.
    pub fills: usize,
    /// Mean less target, as it is with the allowance of now.
    pub error: f64,
    /// Its 95 % interval; none when nothing can be said.
    pub interval: Option<Interval>,
    /// Half the width of its 90 % interval.
    pub within: Option<f64>,
    /// Spread of the fills.
    pub spread: Option<f64>,
}

/// The mean error from fills (weight, allowance that it was filled with). A fill is lighter by just what the allowance
/// is more, so runs that differ in nothing else count together.
pub fn mean_error(fills: &[(f64, f64)], target: f64, allowance: f64) -> Option<MeanError> {
    let now: Vec<f64> = fills.iter().map(|(weight, then)| weight + then - allowance - target).collect();
    let error = mean(&now)?;
    let scatter = spread(&now).filter(|s| *s > 0.0);
    let around = |confidence| scatter.map(|s| mean_interval(error, s, now.len() as f64, confidence));
    let within = around(0.9).map(|i| (i.high - i.low) / 2.0);
    Some(MeanError { fills: now.len(), error, interval: around(0.95), within, spread: scatter })
}
