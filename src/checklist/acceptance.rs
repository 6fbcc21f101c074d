//! What a figure may be.

use crate::units::{Quantity, Unit, significant};

/// Least and most that a figure may be; at least one of them is given.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Limits {
    /// Lower limit, in base units or as a share.
    pub least: Option<f64>,
    /// Upper limit, in base units or as a share.
    pub most: Option<f64>,
    /// Whether both are shares of the expected value, 0.1 for 10 %.
    pub shares: bool,
}

/// On which side a figure lies outside.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Failed {
    /// Under the least.
    Below,
    /// Over the most.
    Above,
}

/// Room for the rounding of figures that lie on a limit.
const HAIR: f64 = 1e-9;

impl Limits {
    /// Judges a figure; with an expected value the difference is judged. All in base units.
    pub fn judge(&self, value: f64, expected: Option<f64>) -> Option<Failed> {
        let figure = value - expected.unwrap_or(0.0);
        let (least, most) = self.in_units(expected);
        let hair = HAIR * (value.abs() + expected.unwrap_or(0.0).abs()).max(1.0);
        if least.is_some_and(|least| figure < least - hair) {
            Some(Failed::Below)
        } else if most.is_some_and(|most| figure > most + hair) {
            Some(Failed::Above)
        } else {
            None
        }
    }

    /// Both limits in base units.
    fn in_units(&self, expected: Option<f64>) -> (Option<f64>, Option<f64>) {
        let whole = if self.shares { expected.unwrap_or(0.0).abs() } else { 1.0 };
        (self.least.map(|l| l * whole), self.most.map(|m| m * whole))
    }

    /// In words: '4.5 to 6.5 bar', 'at most 0.2 g', 'within 0.3 g of the known value'.
    pub fn words(&self, unit: &'static Unit, of_difference: bool) -> String {
        let shown = |base: f64| {
            if self.shares {
                format!("{} %", crate::units::number(significant(base * 100.0)))
            } else {
                Quantity { number: significant(unit.from_base(base)), unit }.to_string()
            }
        };
        let what = if of_difference { " of the known value" } else { "" };
        match (self.least, self.most) {
            (Some(least), Some(most)) if of_difference && same(-least, most) => {
                format!("within {}{what}", shown(most))
            }
            (Some(least), Some(most)) if of_difference => {
                format!("{} to {} off the known value", shown(least), shown(most))
            }
            (Some(least), Some(most)) => format!("{} to {}", shown(least), shown(most)),
            (Some(least), None) if of_difference && same(least, 0.0) => "at least the known value".to_owned(),
            (Some(least), None) if of_difference => format!("at least {} off the known value", shown(least)),
            (Some(least), None) => format!("at least {}", shown(least)),
            (None, Some(most)) if of_difference => format!("at most {} over the known value", shown(most)),
            (None, Some(most)) => format!("at most {}", shown(most)),
            (None, None) => "no limit".to_owned(),
        }
    }
}

fn same(a: f64, b: f64) -> bool {
    (a - b).abs() <= HAIR * a.abs().max(b.abs()).max(1.0)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::units::Kind;
    use proptest::prelude::*;

    fn limits(least: Option<f64>, most: Option<f64>) -> Limits {
        Limits { least, most, shares: false }
    }

    #[test]
    fn a_figure_on_its_limit_is_good() {
        let corner = limits(Some(-0.3), Some(0.3));
        assert_eq!(corner.judge(200.3, Some(200.0)), None, "in binary 200.3 - 200 is a hair over 0.3");
        assert_eq!(corner.judge(200.4, Some(200.0)), Some(Failed::Above));
        assert_eq!(corner.judge(199.6, Some(200.0)), Some(Failed::Below));
        assert_eq!(limits(Some(1800.0), None).judge(1e9, None), None);
    }

    #[test]
    fn shares_are_of_the_expected_value() {
        let volts = Limits { least: Some(-0.1), most: Some(0.1), shares: true };
        assert_eq!(volts.judge(253.0, Some(230.0)), None);
        assert_eq!(volts.judge(254.0, Some(230.0)), Some(Failed::Above));
        assert_eq!(volts.judge(206.0, Some(230.0)), Some(Failed::Below));
    }

    #[test]
    fn limits_are_said_in_the_unit_that_people_read() {
        let minutes = Unit::find("min").unwrap();
        assert_eq!(limits(Some(1800.0), None).words(minutes, false), "at least 30 min");
        let gram = Kind::Mass.base();
        assert_eq!(limits(Some(-0.3), Some(0.3)).words(gram, true), "within 0.3 g of the known value");
        assert_eq!(limits(Some(0.0), Some(0.2)).words(gram, false), "0 g to 0.2 g");
        let volts = Limits { least: Some(-0.1), most: Some(0.1), shares: true };
        assert_eq!(volts.words(Kind::Voltage.base(), true), "within 10 % of the known value");
    }

    proptest! {
        #[test]
        fn a_figure_is_good_just_when_it_lies_between(least in -100f64..100.0, width in 0f64..50.0, value in -200f64..200.0) {
            let judged = limits(Some(least), Some(least + width)).judge(value, None);
            prop_assume!((value - least).abs() > 1e-6 && (value - least - width).abs() > 1e-6);
            let expected = if value < least { Some(Failed::Below) } else if value > least + width { Some(Failed::Above) } else { None };
            prop_assert_eq!(judged, expected);
        }
    }
}
