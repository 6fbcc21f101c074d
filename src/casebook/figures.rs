//! How figures are spelled in case files and records: with their unit, exact to the last digit.

use serde::{Deserialize, Deserializer, Serialize, Serializer, de};

use crate::units::{Kind, Quantity, Unit};

/// A figure with its unit, exact to the last digit.
pub(super) fn exact(quantity: Quantity) -> String {
    let number = quantity.number;
    let plain = number == 0.0 || (1e-6..=1e15).contains(&number.abs());
    let digits = if plain { format!("{number}") } else { format!("{number:e}") };
    format!("{digits} {}", quantity.unit.name)
}

/// A mass kept in grams and written with its unit.
pub(super) mod grams {
    use super::{Deserialize, Deserializer, Kind, Quantity, Serialize, Serializer, de, exact};

    #[expect(clippy::ref_option, reason = "the shape that serde asks for")]
    pub(in super::super) fn serialize<S: Serializer>(grams: &Option<f64>, out: S) -> Result<S::Ok, S::Error> {
        grams.map(|number| exact(Quantity { number, unit: Kind::Mass.base() })).serialize(out)
    }

    pub(in super::super) fn deserialize<'de, D: Deserializer<'de>>(from: D) -> Result<Option<f64>, D::Error> {
        let text: Option<String> = Deserialize::deserialize(from)?;
        let Some(text) = text else { return Ok(None) };
        let read = Quantity::parse_in(&text, Kind::Mass.base()).map_err(de::Error::custom)?;
        if read.base() > 0.0 {
            Ok(Some(read.base()))
        } else {
            Err(de::Error::custom("a division is above zero"))
        }
    }
}

/// The unit that visits are counted in.
pub(super) fn minute() -> &'static Unit {
    Unit::find("min").unwrap_or(Kind::Time.base())
}

/// A time kept in minutes and written with its unit.
pub(super) mod minutes {
    use super::{Deserialize, Deserializer, Quantity, Serialize, Serializer, de, exact, in_unit, minute};

    #[expect(clippy::trivially_copy_pass_by_ref, reason = "the shape that serde asks for")]
    pub(in super::super) fn serialize<S: Serializer>(minutes: &f64, out: S) -> Result<S::Ok, S::Error> {
        exact(Quantity { number: *minutes, unit: minute() }).serialize(out)
    }

    pub(in super::super) fn deserialize<'de, D: Deserializer<'de>>(from: D) -> Result<f64, D::Error> {
        let text = String::deserialize(from)?;
        let read = Quantity::parse_in(&text, minute()).map_err(de::Error::custom)?;
        let minutes = in_unit(read, minute());
        if minutes >= 0.0 { Ok(minutes) } else { Err(de::Error::custom("a time is not below zero")) }
    }
}

/// A quantity as a bare number of some unit; the same unit gives the same digits.
pub(super) fn in_unit(quantity: Quantity, unit: &'static Unit) -> f64 {
    if quantity.unit == unit { quantity.number } else { unit.from_base(quantity.base()) }
}

/// A tare, written as a group of kind and values.
pub(super) mod tare {
    use super::{Deserialize, Deserializer, Serialize, Serializer};

    #[derive(Serialize, Deserialize)]
    struct Tare {
        kind: String,
        #[serde(default)]
        values: Vec<f64>,
    }

    #[expect(clippy::ref_option, reason = "the shape that serde asks for")]
    pub(in super::super) fn serialize<S: Serializer>(
        tare: &Option<(String, Vec<f64>)>,
        out: S,
    ) -> Result<S::Ok, S::Error> {
        let tare = tare.clone().map(|(kind, values)| Tare { kind, values });
        tare.serialize(out)
    }

    pub(in super::super) fn deserialize<'de, D: Deserializer<'de>>(
        from: D,
    ) -> Result<Option<(String, Vec<f64>)>, D::Error> {
        let tare: Option<Tare> = Deserialize::deserialize(from)?;
        Ok(tare.map(|tare| (tare.kind, tare.values)))
    }
}

/// Names with their values, written as a group of keys.
pub(super) mod pairs {
    use super::{Deserialize, Deserializer, Serializer};
    use std::collections::BTreeMap;

    pub(in super::super) fn serialize<S: Serializer>(
        pairs: &[(String, String)],
        out: S,
    ) -> Result<S::Ok, S::Error> {
        out.collect_map(pairs.iter().map(|(name, value)| (name, value)))
    }

    pub(in super::super) fn deserialize<'de, D: Deserializer<'de>>(
        from: D,
    ) -> Result<Vec<(String, String)>, D::Error> {
        BTreeMap::<String, String>::deserialize(from).map(|map| map.into_iter().collect())
    }
}

/// A quantity, written with its unit.
pub(super) mod quantity {
    use super::{Deserialize, Deserializer, Quantity, Serialize, Serializer, de, exact};

    pub(in super::super) fn serialize<S: Serializer>(quantity: &Quantity, out: S) -> Result<S::Ok, S::Error> {
        exact(*quantity).serialize(out)
    }

    pub(in super::super) fn deserialize<'de, D: Deserializer<'de>>(from: D) -> Result<Quantity, D::Error> {
        Quantity::parse(&String::deserialize(from)?).map_err(de::Error::custom)
    }
}

/// A quantity that may be missing.
pub(super) mod maybe_quantity {
    use super::{Deserialize, Deserializer, Quantity, Serialize, Serializer, de, exact};

    #[expect(clippy::ref_option, reason = "the shape that serde asks for")]
    pub(in super::super) fn serialize<S: Serializer>(
        given: &Option<Quantity>,
        out: S,
    ) -> Result<S::Ok, S::Error> {
        given.map(exact).serialize(out)
    }

    pub(in super::super) fn deserialize<'de, D: Deserializer<'de>>(
        from: D,
    ) -> Result<Option<Quantity>, D::Error> {
        let text: Option<String> = Deserialize::deserialize(from)?;
        text.map(|text| Quantity::parse(&text).map_err(de::Error::custom)).transpose()
    }
}
