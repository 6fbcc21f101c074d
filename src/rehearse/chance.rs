//! Luck from a seed: every draw has a name, so that the same check has the same luck whoever asks it and whenever.

use std::hash::Hasher as _;

use fnv::FnvHasher;

use crate::weights::generate::Dice;

/// A seed from a seed and a number, far from those of its neighbours.
pub(super) fn mixed(seed: u64, number: u64) -> u64 {
    Dice::new(seed ^ Dice::new(number.wrapping_add(0x5bd1_e995)).bits()).bits()
}

/// One of these by its share of the whole, as an index; the last where rounding leaves none.
pub(super) fn drawn(dice: &mut Dice, shares: &[f64]) -> usize {
    let mut left = dice.even() * shares.iter().sum::<f64>();
    let drawn = shares.iter().position(|share| {
        left -= share;
        left < 0.0
    });
    drawn.unwrap_or(shares.len().saturating_sub(1))
}

/// The dice of one named draw.
pub(super) fn dice(seed: u64, name: &str, time: u64) -> Dice {
    let mut hasher = FnvHasher::default();
    hasher.write(name.as_bytes());
    Dice::new(mixed(mixed(seed, hasher.finish()), time))
}
