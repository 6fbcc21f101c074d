//! What a person should know before trusting the numbers: each remark is data with one plain sentence.

use std::fmt;

use serde::Serialize;

use crate::units::number;

/// One thing worth saying about a run. Masses are grams.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[serde(rename_all = "kebab-case", tag = "remark")]
pub enum Remark {
    /// Too few fills to advise a setting.
    TooFew {
        /// How many more make five.
        missing: usize,
    },
    /// All values equal: there is no scatter to judge.
    AllEqual {
        /// The value.
        value: f64,
    },
    /// Nothing to compare with.
    NoTarget,
    /// The display step was worked out from the values.
    DivisionInferred {
        /// Its size.
        division: f64,
    },
    /// Rounding makes up a good part of the scatter.
    CoarseDivision {
        /// Its size.
        division: f64,
        /// Share of the variance, 0 to 1.
        share: f64,
    },
    /// Neighbours are alike, so the fills say less than their number.
    Correlated {
        /// Correlation of each fill with the next.
        lag_one: f64,
        /// How many independent fills they are worth.
        worth: f64,
    },
    /// The first fills are not counted.
    StartUpApart {
        /// How many.
        fills: usize,
        /// Somebody said that the run began after a stop.
        told: bool,
    },
    /// The mean is nowhere near the target.
    FarFromTarget {
        /// Mean over target.
        ratio: f64,
        /// The unit that would explain it.
        perhaps: Option<&'static str>,
    },
    /// Values at or under zero: an empty bag, a zero that moved.
    NotPositive {
        /// How many.
        fills: usize,
    },
    /// The values are gross: bag tare is in their error and in their spread.
    Gross,
    /// No usual spread is known for the machine; the run was compared with itself.
    UsualSpreadUnknown,
    /// The tolerance was taken from the usual spread.
    ToleranceAssumed {
        /// Half width used.
        tolerance: f64,
    },
    /// A long run was thinned for the pattern.
    Thinned {
        /// Every so-many-th fill was used.
        every: usize,
    },
}

/// Half the width of an interval: two significant digits, and no unit, since it stands behind a figure with one.
pub(crate) fn give_or_take(half: f64) -> String {
    if half <= 0.0 || !half.is_finite() {
        return "0".to_owned();
    }
    let scale = 10f64.powi((1 - half.log10().floor() as i32).clamp(0, 9));
    number((half * scale).round() / scale)
}

/// Grams with the decimals a scale would show.
pub(crate) fn grams(value: f64) -> String {
    format!("{} g", number(to_places(value)))
}

/// Three significant digits for small figures, none after the point for large ones.
pub(crate) fn to_places(value: f64) -> f64 {
    if value == 0.0 || !value.is_finite() {
        return 0.0;
    }
    let places = (2 - value.abs().log10().floor() as i32).clamp(0, 9);
    let scale = 10f64.powi(places);
    (value * scale).round() / scale
}

impl fmt::Display for Remark {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Remark::TooFew { missing } => {
                write!(f, "Too few fills for advice on a setting: weigh {missing} more.")
            }
            Remark::AllEqual { value } => write!(
                f,
                "Every value is {} g: no scatter to judge. Ask whether the display is frozen, rounded or copied.",
                number(*value)
            ),
            Remark::NoTarget => f.write_str("No target was given, so light or heavy cannot be said."),
            Remark::DivisionInferred { division } => {
                write!(f, "The display step was read from the values as {}.", grams(*division))
            }
            Remark::CoarseDivision { division, share } => write!(
                f,
                "A display step of {} makes up about {} % of the scatter: read finer if you can.",
                grams(*division),
                (share * 100.0).round()
            ),
            Remark::Correlated { lag_one, worth } => write!(
                f,
                "Each fill is much like the one before ({}), so these are worth about {} independent fills; the \
                 range of the mean is widened for it.",
                number(to_places(*lag_one)),
                worth.floor().max(1.0)
            ),
            Remark::StartUpApart { fills, told } => write!(
                f,
                "The first {} set apart{}.",
                if *fills == 1 { "fill is".to_owned() } else { format!("{fills} fills are") },
                if *told { ", as the run began after a stop" } else { ": plainly a start-up" }
            ),
            Remark::FarFromTarget { ratio, perhaps } => match perhaps {
                Some(unit) => {
                    write!(f, "The values fit the target if they are in {unit}: ask for the unit again.")
                }
                None => write!(
                    f,
                    "The mean is {} times the target: ask for the unit, the target and the tare again.",
                    number(to_places(*ratio))
                ),
            },
            Remark::NotPositive { fills } => {
                write!(f, "Values at or under zero: {fills}. Empty bags, or the zero has moved.")
            }
            Remark::Gross => {
                f.write_str("These are gross weights: the bag is in the error and in the spread.")
            }
            Remark::UsualSpreadUnknown => {
                f.write_str("The usual spread of this machine is not known, so 'wide' cannot be judged.")
            }
            Remark::ToleranceAssumed { tolerance } => {
                write!(f, "No tolerance was given; ± {} (four usual spreads) was taken.", grams(*tolerance))
            }
            Remark::Thinned { every } => {
                write!(f, "A long run: every {every}th fill was used for the pattern.")
            }
        }
    }
}
