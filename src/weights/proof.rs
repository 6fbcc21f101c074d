//! Whether a run proves a cure.
//!
//! 'Gone' is what the fills look like; 'proved' is what their number allows to be said. A mean is proved on target when
//! its whole 90 % interval lies within a quarter of the tolerance; a spread when its upper limit is what the tolerance
//! needs; strays when a run as long as ln 0.05 / ln(1 − p) stays clean, p being how often they came before.

use serde::Serialize;

use super::run::Run;
use super::stats::{Interval, chi_square_quantile, fills_for_mean, mean_interval, spread_interval};
use super::summary::{Question, summarise};

/// Confidence of the mean's interval; its ends are one-sided limits of 95 %.
const CONFIDENCE: f64 = 0.9;
/// How many spreads must fit between the target and the limit: 1 in 370 outside when on target.
pub const SPREADS_IN_TOLERANCE: f64 = 3.0;
/// Chance left that strays at the old rate were only missed.
const CHANCE_LEFT: f64 = 0.05;
/// Longest run asked for.
const MOST_ASKED: usize = 10_000;

/// What must be shown. Masses are grams.
#[derive(Debug, Clone, Default)]
pub struct Claim {
    /// Half width of the tolerance.
    pub tolerance: f64,
    /// The instrument the fault was measured with.
    pub instrument: Option<String>,
    /// How often strays came before, 0 to 1, when they were the complaint.
    pub stray_rate: Option<f64>,
    /// What else to know about the run.
    pub question: Question,
}

/// What keeps a run from being proof.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[serde(rename_all = "kebab-case", tag = "reason")]
pub enum Doubt {
    /// No target to measure against.
    NoTarget,
    /// The tolerance is not more than zero.
    NoTolerance,
    /// Every value equal, or a single one: nothing can be said of the spread.
    NoScatter,
    /// Another scale than at the start.
    OtherInstrument {
        /// The one at the start.
        before: String,
    },
    /// The mean's interval reaches beyond a quarter of the tolerance.
    Mean {
        /// Mean error with its 90 % interval.
        error: Interval,
        /// A quarter of the tolerance.
        limit: f64,
    },
    /// The spread may be more than the tolerance needs.
    Spread {
        /// Spread with its 90 % interval.
        spread: Interval,
        /// The largest that will do.
        limit: f64,
    },
    /// Too few clean fills for the rate of strays.
    StraysNotSeenOut {
        /// Clean fills wanted in all.
        wanted: usize,
    },
    /// Strays came again.
    Strays {
        /// How many.
        count: usize,
    },
}

/// The judgement.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[serde(rename_all = "kebab-case", tag = "proof")]
pub enum Proof {
    /// Proved cured.
    Proved,
    /// It looks cured; so many fills are missing to say so.
    GoneNotProved {
        /// What is missing.
        doubts: Vec<Doubt>,
        /// About how many more fills; `None` when more fills alone will not do it.
        more: Option<usize>,
    },
    /// The run itself shows the fault.
    StillThere {
        /// What it shows.
        doubts: Vec<Doubt>,
    },
}

/// Clean fills that show strays of an old rate gone: ln 0.05 / ln(1 − p), rounded up.
pub fn clean_fills(rate: f64) -> Option<usize> {
    let fills = CHANCE_LEFT.ln() / (1.0 - rate).ln();
    (rate > 0.0 && rate < 1.0 && fills.is_finite() && fills < 1e9).then(|| fills.ceil() as usize)
}

/// Judges a run made after a remedy.
pub fn prove(run: &Run, claim: &Claim) -> Proof {
    let summary = summarise(run, &claim.question);
    let mut still = Vec::new();
    let mut doubts = Vec::new();
    let mut missing = Missing::default();
    if let Some(before) = claim.instrument.as_ref().filter(|i| run.instrument() != Some(i.as_str())) {
        doubts.push(Doubt::OtherInstrument { before: before.clone() });
        missing.never();
    }
    if claim.tolerance <= 0.0 || !claim.tolerance.is_finite() {
        doubts.push(Doubt::NoTolerance);
        missing.never();
        return Proof::GoneNotProved { doubts, more: None };
    }
    let scatter = summary.spread.map(|s| s.estimate);
    match (scatter, summary.mean_error) {
        (None, _) => {
            doubts.push(Doubt::NoScatter);
            if summary.n > 1 { missing.never() } else { missing.fills(5, summary.n) }
        }
        (_, None) => {
            doubts.push(Doubt::NoTarget);
            missing.never();
        }
        (Some(s), Some(error)) => {
            let found = (error, s, summary.worth, summary.n);
            judge_mean(found, claim.tolerance, &mut still, &mut doubts, &mut missing);
            judge_spread(found, claim.tolerance, &mut still, &mut doubts, &mut missing);
        }
    }
    if let Some(wanted) = claim.stray_rate.and_then(clean_fills) {
        let count = summary.strays.len();
        if count > 0 {
            still.push(Doubt::Strays { count });
        } else if summary.n < wanted {
            doubts.push(Doubt::StraysNotSeenOut { wanted });
            missing.fills(wanted, summary.n);
        }
    }
    if !still.is_empty() {
        Proof::StillThere { doubts: still }
    } else if doubts.is_empty() {
        Proof::Proved
    } else {
        Proof::GoneNotProved { doubts, more: missing.more }
    }
}

/// Mean error, spread, independent fills, fills.
type Found = (f64, f64, f64, usize);

fn judge_mean(
    found: Found,
    tolerance: f64,
    still: &mut Vec<Doubt>,
    doubts: &mut Vec<Doubt>,
    missing: &mut Missing,
) {
    let (mean_error, spread, worth, n) = found;
    let limit = tolerance / 4.0;
    let error = mean_interval(mean_error, spread, worth, CONFIDENCE);
    if error.inside(limit) {
        return;
    }
    if error.low > limit || error.high < -limit {
        still.push(Doubt::Mean { error, limit });
        return;
    }
    doubts.push(Doubt::Mean { error, limit });
    // As many fills as narrow the interval to the room between the mean and the limit.
    let needed = fills_for_mean(spread, limit - mean_error.abs(), CONFIDENCE);
    match needed.map(|k| (k as f64 * n as f64 / worth).ceil() as usize) {
        Some(needed) if needed <= MOST_ASKED => missing.fills(needed, n),
        _ => missing.never(),
    }
}

fn judge_spread(
    found: Found,
    tolerance: f64,
    still: &mut Vec<Doubt>,
    doubts: &mut Vec<Doubt>,
    missing: &mut Missing,
) {
    let (_, estimate, worth, n) = found;
    let limit = tolerance / SPREADS_IN_TOLERANCE;
    let spread = spread_interval(estimate, worth, CONFIDENCE);
    if spread.high <= limit {
        return;
    }
    if spread.low > limit {
        still.push(Doubt::Spread { spread, limit });
        return;
    }
    doubts.push(Doubt::Spread { spread, limit });
    let enough = |k: usize| {
        let freedom = k as f64 - 1.0;
        estimate * (freedom / chi_square_quantile(0.5 - CONFIDENCE / 2.0, freedom)).sqrt() <= limit
    };
    // The upper limit falls with every fill, so halving finds the first that will do.
    let (mut low, mut high) = (2, MOST_ASKED);
    if !enough(high) {
        missing.never();
        return;
    }
    while low < high {
        let middle = usize::midpoint(low, high);
        if enough(middle) { high = middle } else { low = middle + 1 }
    }
    missing.fills((high as f64 * n as f64 / worth).ceil() as usize, n);
}

/// How many more fills would settle all doubts.
struct Missing {
    more: Option<usize>,
}

impl Default for Missing {
    fn default() -> Self {
        Self { more: Some(0) }
    }
}

impl Missing {
    fn fills(&mut self, wanted: usize, have: usize) {
        self.more = self.more.map(|more| more.max(wanted.saturating_sub(have).max(1)));
    }

    fn never(&mut self) {
        self.more = None;
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::weights::run::RunInput;

    fn run(values: &[f64]) -> Run {
        let instrument = Some("bench scale".to_owned());
        Run::new(RunInput { values: values.to_vec(), target: Some(250.0), instrument, ..RunInput::default() })
            .unwrap()
    }

    fn claim(tolerance: f64) -> Claim {
        Claim { tolerance, instrument: Some("bench scale".to_owned()), ..Claim::default() }
    }

    const GOOD: [f64; 20] = [
        250.1, 249.9, 250.2, 249.8, 250.0, 250.3, 249.7, 250.1, 249.9, 250.0, 250.2, 249.8, 250.1, 249.9,
        250.0, 250.1, 249.9, 250.2, 249.8, 250.0,
    ];

    #[test]
    fn twenty_good_fills_prove_a_cure() {
        assert_eq!(prove(&run(&GOOD), &claim(2.0)), Proof::Proved);
    }

    #[test]
    fn five_good_fills_are_gone_not_proved_and_say_how_many_more() {
        let Proof::GoneNotProved { doubts, more: Some(more) } = prove(&run(&GOOD[..5]), &claim(1.0)) else {
            panic!("five fills prove nothing at ± 1 g")
        };
        assert!(doubts.iter().any(|d| matches!(d, Doubt::Spread { .. })));
        assert!((1..60).contains(&more), "{more}");
    }

    #[test]
    fn the_number_asked_for_is_enough() {
        let first = prove(&run(&GOOD[..6]), &claim(1.0));
        let Proof::GoneNotProved { more: Some(more), .. } = first else { panic!("{first:?}") };
        let repeated: Vec<f64> = GOOD[..6].iter().copied().cycle().take(6 + more + 6).collect();
        assert_eq!(prove(&run(&repeated), &claim(1.0)), Proof::Proved);
    }

    #[test]
    fn a_run_that_is_still_light_is_still_there() {
        let light: Vec<f64> = GOOD.iter().map(|v| v - 2.9).collect();
        assert!(matches!(prove(&run(&light), &claim(2.0)), Proof::StillThere { .. }));
        let wide: Vec<f64> = GOOD.iter().map(|v| 250.0 + (v - 250.0) * 20.0).collect();
        assert!(matches!(prove(&run(&wide), &claim(2.0)), Proof::StillThere { .. }));
    }

    #[test]
    fn another_scale_or_a_frozen_one_proves_nothing() {
        let other = Claim { instrument: Some("machine".to_owned()), ..claim(2.0) };
        assert!(matches!(prove(&run(&GOOD), &other), Proof::GoneNotProved { more: None, .. }));
        assert!(matches!(prove(&run(&[250.0; 30]), &claim(2.0)), Proof::GoneNotProved { more: None, .. }));
        assert!(matches!(prove(&run(&[250.0]), &claim(2.0)), Proof::GoneNotProved { more: Some(4), .. }));
    }

    #[test]
    fn strays_are_gone_when_enough_fills_stay_clean() {
        assert_eq!(clean_fills(0.1), Some(29));
        assert_eq!(clean_fills(0.05), Some(59));
        assert_eq!(clean_fills(0.5), Some(5));
        assert_eq!((clean_fills(0.0), clean_fills(1.0), clean_fills(f64::NAN)), (None, None, None));
        let one_in_ten = Claim { stray_rate: Some(0.1), ..claim(2.0) };
        let found = prove(&run(&GOOD), &one_in_ten);
        assert!(matches!(found, Proof::GoneNotProved { more: Some(9), .. }), "{found:?}");
        let again: Vec<f64> = GOOD.iter().chain(&GOOD).copied().chain([244.0]).collect();
        assert!(matches!(prove(&run(&again), &one_in_ten), Proof::StillThere { .. }));
    }
}
