//! Luck from a seed: every draw has a name, so that the same check has the same luck whoever asks it and whenever.

use std::hash::Hasher as _;

use fnv::FnvHasher;

use crate::weights::generate::Dice;

/// A seed from a seed and a number, far from those of its neighbours.
pub(super) fn mixed(seed: u64, number: u64) -> u64 {
    Dice::new(seed ^ Dice::new(number.wrapping_add(0x5bd1_e995)).bits()).bits()
}

/// The dice of one named draw.
pub(super) fn dice(seed: u64, name: &str, time: u64) -> Dice {
    let mut hasher = FnvHasher::default();
    hasher.write(name.as_bytes());
    Dice::new(mixed(mixed(seed, hasher.finish()), time))
}
