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

/// How a dial answers: the latest trial (figure, flow), and the power of the figure that the flow goes by.
fn answer(trials: &[(f64, f64)]) -> Option<((f64, f64), f64)> {
    let good = |(dial, flow): &&(f64, f64)| *dial > 0.0 && *flow > 0.0 && flow.is_finite();
    let (dial, flow) = *trials.iter().rev().find(good)?;
    let other = trials.iter().rev().filter(good).find(|t| (t.0 / dial).ln().abs() > APART);
    let power = other.map_or(USUAL_ANSWER, |(other_dial, other_flow)| {
        ((other_flow / flow).ln() / (other_dial / dial).ln()).clamp(ANSWERS.0, ANSWERS.1)
    });
    Some(((dial, flow), power))
}

/// The dial's figure for a wanted flow, from trials (figure, flow) of the same product on the same layer, latest last.
/// None without a trial that gave any flow.
pub fn dial_for(trials: &[(f64, f64)], wanted: f64) -> Option<f64> {
    let ((dial, flow), power) = answer(trials)?;
    (wanted > 0.0).then(|| dial * (wanted / flow).powf(1.0 / power)).filter(|d| d.is_finite())
}

/// The flow that a figure of the dial should give, from the same trials.
pub fn flow_at(trials: &[(f64, f64)], figure: f64) -> Option<f64> {
    let ((dial, flow), power) = answer(trials)?;
    (figure > 0.0).then(|| flow * (figure / dial).powf(power)).filter(|f| f.is_finite())
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

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_a_figure_should_give_is_what_it_was_worked_out_for() {
        for trials in [vec![(70.0, 105.0)], vec![(60.0, 80.0), (70.0, 105.0)]] {
            let dial = dial_for(&trials, 150.0).unwrap();
            assert!((flow_at(&trials, dial).unwrap() - 150.0).abs() < 1e-9 && dial > 70.0);
        }
        assert_eq!((dial_for(&[], 1.0), flow_at(&[(70.0, 0.0)], 60.0)), (None, None));
    }

    #[test]
    fn fills_at_two_allowances_count_together() {
        let found = mean_error(&[(252.0, 0.0), (250.2, 2.0), (249.8, 2.0)], 250.0, 2.0).unwrap();
        assert!(found.error.abs() < 1e-9 && found.fills == 3 && found.within.is_some());
        assert_eq!(mean_error(&[(250.0, 0.0)], 250.0, 0.0).unwrap().within, None);
    }
}
