//! Answers for programs: own structs, each with a `format` that names its shape and version. Changing a field means
//! a new version. Numbers have twelve significant digits; what is unknown is null.

mod entry;
mod steps;

use serde::{Serialize, Serializer};

pub use entry::{Entry, entry};
pub use steps::{CautionOut, StepsOut, steps};

use crate::units::significant;

/// A number as it is written: twelve significant digits, null where it is not finite.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Number(pub f64);

impl Serialize for Number {
    fn serialize<S: Serializer>(&self, out: S) -> Result<S::Ok, S::Error> {
        if self.0.is_finite() { out.serialize_f64(significant(self.0)) } else { out.serialize_none() }
    }
}

impl From<f64> for Number {
    fn from(value: f64) -> Self {
        Self(value)
    }
}

/// A number that may be unknown.
pub(crate) fn maybe(value: Option<f64>) -> Option<Number> {
    value.map(Number)
}
