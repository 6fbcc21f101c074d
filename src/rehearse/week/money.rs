//! What fills over their target give away.

use crate::casebook::{Event, Recorded};
use crate::units::{Quantity, Unit};

/// What a gram too much costs, and how often it is given.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Money {
    /// Price of a kilogram of product; none: grams only.
    pub per_kg: Option<f64>,
    /// What the price is in.
    pub currency: String,
    /// Fills a week: fills an hour times hours a week.
    pub fills_a_week: f64,
}

/// What was given away, in the cases in which a run was weighed.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Giveaway {
    /// Cases whose first run was over its target on the mean.
    pub cases: usize,
    /// Grams a fill over the target in the first run, summed over these cases.
    pub found: f64,
    /// The same in the last run of each.
    pub left: f64,
    /// What that comes to in a week of fills, as found and as left; none without a price.
    pub a_week: Option<(f64, f64)>,
    /// Its currency.
    pub currency: String,
}

/// The mean over the target, in grams, of a run; nought when it is under.
fn over(event: &Event) -> Option<f64> {
    let fills = event.fills()?;
    let unit = Unit::find(&fills.unit)?;
    let mean = fills.values.iter().sum::<f64>() / fills.values.len().max(1) as f64;
    let over = Quantity { number: mean - fills.target, unit }.base().max(0.0);
    over.is_finite().then_some(over)
}

pub(super) fn giveaway(cases: &[(&Recorded, bool)], money: &Money) -> Giveaway {
    let mut sum = Giveaway { currency: money.currency.clone(), ..Giveaway::default() };
    for (recorded, _) in cases {
        let runs: Vec<f64> = recorded.case.events.iter().filter_map(over).collect();
        if let (Some(first), Some(last)) = (runs.first().filter(|first| **first > 0.0), runs.last()) {
            sum.cases += 1;
            sum.found += first;
            sum.left += last;
        }
    }
    let price = |grams: f64| money.per_kg.map(|per_kg| grams / 1000.0 * per_kg * money.fills_a_week);
    sum.a_week = price(sum.found).zip(price(sum.left));
    sum
}
