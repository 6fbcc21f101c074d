//! What to do with the in-flight allowance after a run.
//!
//! Heavy fills mean that more is still on its way at cut-off than the allowance takes into account, so the allowance
//! rises by the mean error (times a damping): the feed stops earlier.

use serde::Serialize;

use super::pattern::{Pattern, Patterns, Verdict};
use super::run::Run;
use super::stats::{CONFIDENCE, fills_for_mean};
use super::summary::{Question, summarise};

/// Fills asked for when the spread is not usual and nothing else settles the number.
const FRESH_RUN: usize = 20;

/// What is advised. Masses are grams.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[serde(rename_all = "kebab-case", tag = "advice")]
pub enum Advice {
    /// Set the allowance to this.
    Set {
        /// Old value.
        old: f64,
        /// New value.
        new: f64,
        /// Weight at which the feed is cut off with it.
        cut_off: f64,
    },
    /// Leave it: the mean is on target as far as is wanted.
    Leave,
    /// Weigh more first.
    RunMore {
        /// How many more fills.
        more: usize,
    },
    /// The run is not steady; an allowance cures an offset only.
    NotSteady {
        /// What the run shows besides.
        shows: Vec<Pattern>,
    },
    /// There is no target to measure against.
    NoTarget,
    /// The new value would be below zero: the allowance is not what makes the fills light.
    BelowZero {
        /// Old value.
        old: f64,
        /// Mean error.
        error: f64,
    },
}

/// Advises on the allowance (`old`, grams) after a run; `damping` is 1 for the full step, 0.5 for a cautious half.
pub fn advise(run: &Run, question: &Question, patterns: &Patterns, old: f64, damping: f64) -> Advice {
    let summary = summarise(run, question);
    let (Some(target), Some(error)) = (run.target(), summary.mean_error) else { return Advice::NoTarget };
    if summary.more_for_advice > 0 {
        return Advice::RunMore { more: summary.more_for_advice };
    }
    let besides: Vec<Pattern> = match &patterns.verdict {
        Verdict::Shows(shows) => {
            shows.iter().copied().filter(|p| !matches!(p, Pattern::Light | Pattern::Heavy)).collect()
        }
        _ => Vec::new(),
    };
    if !besides.is_empty() {
        return Advice::NotSteady { shows: besides };
    }
    let Some(interval) = summary.error else { return Advice::RunMore { more: FRESH_RUN } };
    if let Verdict::CannotTell { more, .. } = patterns.verdict {
        return Advice::RunMore { more };
    }
    if !interval.excludes_zero() {
        let wanted = question.mean_within.or(question.tolerance.map(|t| t / 4.0));
        if wanted.is_some_and(|w| interval.inside(w)) {
            return Advice::Leave;
        }
        return Advice::RunMore {
            more: more_to_tell(summary.spread.map(|s| s.estimate), error, summary.n, wanted),
        };
    }
    let new = old + damping * error;
    if new < 0.0 {
        return Advice::BelowZero { old, error };
    }
    Advice::Set { old, new, cut_off: target - new }
}

/// Fills until the mean's interval is as narrow as is wanted, or excludes zero if the error is what it looks like.
fn more_to_tell(spread: Option<f64>, error: f64, n: usize, wanted: Option<f64>) -> usize {
    let width = wanted.unwrap_or(0.0).max(error.abs());
    let total = spread.and_then(|s| fills_for_mean(s, width, CONFIDENCE));
    total.map_or(FRESH_RUN, |t| t.saturating_sub(n)).clamp(5, 200)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::weights::pattern::find_patterns;
    use crate::weights::run::RunInput;

    const HEAVY: [f64; 10] = [504.1, 503.6, 504.8, 503.9, 504.4, 503.2, 504.6, 504.0, 503.7, 504.7];

    fn advice(values: &[f64], old: f64, damping: f64) -> Advice {
        let run = Run::new(RunInput { values: values.to_vec(), target: Some(500.0), ..RunInput::default() })
            .unwrap();
        let question = Question { usual_spread: Some(0.5), tolerance: Some(2.0), ..Question::default() };
        advise(&run, &question, &find_patterns(&run, &question), old, damping)
    }

    #[test]
    fn heavy_fills_raise_the_allowance_as_worked_by_hand() {
        let set = |damping| match advice(&HEAVY, 12.0, damping) {
            Advice::Set { new, cut_off, .. } => (new, cut_off),
            other => panic!("{other:?}"),
        };
        let (full, cut_off) = set(1.0);
        assert!((full - 16.1).abs() < 0.05 && (cut_off - 483.9).abs() < 0.05);
        assert!((set(0.5).0 - 14.05).abs() < 0.005);
    }

    #[test]
    fn fewer_than_five_fills_never_move_a_setting() {
        assert_eq!(advice(&HEAVY[..4], 12.0, 1.0), Advice::RunMore { more: 1 });
        assert_eq!(advice(&HEAVY[..1], 12.0, 1.0), Advice::RunMore { more: 4 });
    }

    #[test]
    fn an_error_that_may_be_none_asks_for_more_fills_or_is_left() {
        let near = [500.4, 500.1, 499.7, 499.9, 500.3, 500.0, 500.2, 499.6, 499.9, 500.1];
        assert_eq!(advice(&near, 12.0, 1.0), Advice::Leave);
        let loose = [500.9, 499.3, 500.6, 499.9, 500.2];
        assert!(matches!(advice(&loose, 12.0, 1.0), Advice::RunMore { more } if more >= 5));
    }

    #[test]
    fn scatter_or_drift_is_not_an_allowance_job() {
        let wild: Vec<f64> = HEAVY.iter().map(|v| 504.1 + (v - 504.1) * 12.0).collect();
        assert!(matches!(advice(&wild, 12.0, 1.0), Advice::NotSteady { .. }));
    }

    #[test]
    fn an_allowance_never_goes_below_zero() {
        let light: Vec<f64> = HEAVY.iter().map(|v| v - 12.0).collect();
        assert!(matches!(advice(&light, 2.0, 1.0), Advice::BelowZero { .. }));
    }
}
