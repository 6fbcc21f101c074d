//! Quantities as people type them: a number, a unit, and what it measures.
//!
//! One small table of units, because the general crates refuse `1.5kg`, `0,5 kg` and `2 mV/V`, which is how a
//! technician writes. A quantity is kept in the base unit of its kind (gram, second, millimetre, bar, volt …).

use std::fmt;

use serde::{Deserialize, Serialize};

/// What a quantity measures.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Kind {
    /// Mass; base unit gram.
    Mass,
    /// Time; base unit second.
    Time,
    /// Length; base unit millimetre.
    Length,
    /// Pressure; base unit bar.
    Pressure,
    /// Electric tension; base unit volt.
    Voltage,
    /// Load-cell signal; base unit millivolt per volt.
    Signal,
    /// Electric resistance; base unit ohm.
    Resistance,
    /// Frequency; base unit hertz.
    Frequency,
    /// Temperature; base unit degree Celsius.
    Temperature,
    /// Mass flow; base unit gram per second.
    Flow,
    /// Fills or strokes a minute.
    Rate,
    /// Share; base unit per cent.
    Share,
    /// Bare number of things.
    Count,
    /// Angle; base unit degree.
    Angle,
    /// Air speed; base unit metre per second.
    Speed,
}

/// One unit: how it is written, what it measures, and its size in the base unit.
#[derive(Debug, PartialEq)]
pub struct Unit {
    /// The spelling that we print.
    pub name: &'static str,
    /// Other spellings that we read.
    also: &'static [&'static str],
    /// What it measures.
    pub kind: Kind,
    /// How many base units one of these is.
    size: f64,
    /// Added after scaling (temperature only).
    offset: f64,
}

const fn unit(name: &'static str, also: &'static [&'static str], kind: Kind, size: f64) -> Unit {
    Unit { name, also, kind, size, offset: 0.0 }
}

/// The base unit of each kind stands first among its kind.
static UNITS: &[Unit] = &[
    unit("g", &["gr", "gram", "grams", "gramme", "grammes", "gm", "gms"], Kind::Mass, 1.0),
    unit("mg", &["milligram", "milligrams"], Kind::Mass, 1e-3),
    unit("kg", &["kilo", "kilos", "kilogram", "kilograms", "kgs"], Kind::Mass, 1e3),
    unit("t", &["tonne", "tonnes"], Kind::Mass, 1e6),
    unit("lb", &["lbs", "pound", "pounds"], Kind::Mass, 453.592_37),
    unit("oz", &["ounce", "ounces"], Kind::Mass, 28.349_523_125),
    unit("s", &["sec", "secs", "second", "seconds"], Kind::Time, 1.0),
    unit("ms", &["msec", "millisecond", "milliseconds"], Kind::Time, 1e-3),
    unit("min", &["mins", "minute", "minutes"], Kind::Time, 60.0),
    unit("h", &["hr", "hrs", "hour", "hours"], Kind::Time, 3600.0),
    unit("day", &["days", "d"], Kind::Time, 86_400.0),
    unit("mm", &["millimetre", "millimetres", "millimeter", "millimeters"], Kind::Length, 1.0),
    unit("um", &["µm", "μm", "micron", "microns"], Kind::Length, 1e-3),
    unit("cm", &["centimetre", "centimetres", "centimeter", "centimeters"], Kind::Length, 10.0),
    unit("m", &["metre", "metres", "meter", "meters"], Kind::Length, 1e3),
    unit("in", &["inch", "inches", "\""], Kind::Length, 25.4),
    unit("bar", &["bars"], Kind::Pressure, 1.0),
    unit("mbar", &["millibar"], Kind::Pressure, 1e-3),
    unit("kPa", &[], Kind::Pressure, 1e-2),
    unit("MPa", &[], Kind::Pressure, 10.0),
    unit("psi", &[], Kind::Pressure, 0.068_947_572_931_683_6),
    unit("V", &["volt", "volts"], Kind::Voltage, 1.0),
    unit("mV", &["millivolt", "millivolts"], Kind::Voltage, 1e-3),
    unit("uV", &["µV", "μV", "microvolt", "microvolts"], Kind::Voltage, 1e-6),
    unit("mV/V", &[], Kind::Signal, 1.0),
    unit("ohm", &["ohms", "Ω", "Ω"], Kind::Resistance, 1.0),
    unit("kohm", &["kΩ", "kΩ", "kohms"], Kind::Resistance, 1e3),
    unit("Mohm", &["MΩ", "MΩ", "Mohms"], Kind::Resistance, 1e6),
    unit("Hz", &["hertz"], Kind::Frequency, 1.0),
    unit("kHz", &[], Kind::Frequency, 1e3),
    unit("degC", &["°C", "C", "celsius"], Kind::Temperature, 1.0),
    Unit {
        name: "degF",
        also: &["°F", "F", "fahrenheit"],
        kind: Kind::Temperature,
        size: 5.0 / 9.0,
        offset: -160.0 / 9.0,
    },
    unit("g/s", &[], Kind::Flow, 1.0),
    unit("kg/min", &[], Kind::Flow, 1e3 / 60.0),
    unit("kg/h", &[], Kind::Flow, 1e3 / 3600.0),
    unit("/min", &["per minute", "a minute", "fills/min", "bags/min", "rpm"], Kind::Rate, 1.0),
    unit("/h", &["per hour", "an hour"], Kind::Rate, 1.0 / 60.0),
    unit("%", &["percent", "per cent"], Kind::Share, 1.0),
    unit("x", &["times", "fills", "bags", "pieces"], Kind::Count, 1.0),
    unit("deg", &["°", "degrees"], Kind::Angle, 1.0),
    unit("m/s", &[], Kind::Speed, 1.0),
];

impl Unit {
    /// Finds a unit by any of its spellings: first to the letter, then without regard to case.
    pub fn find(text: &str) -> Option<&'static Unit> {
        let spelled = |u: &&Unit, same: &dyn Fn(&str) -> bool| same(u.name) || u.also.iter().any(|a| same(a));
        UNITS
            .iter()
            .find(|u| spelled(u, &|name| name == text))
            .or_else(|| UNITS.iter().find(|u| spelled(u, &|name| name.eq_ignore_ascii_case(text))))
    }

    /// The names we print, for 'did you mean'.
    pub fn names() -> impl Iterator<Item = &'static str> {
        UNITS.iter().map(|u| u.name)
    }

    /// A number in this unit, in the base unit of its kind.
    pub fn to_base(&self, number: f64) -> f64 {
        number * self.size + self.offset
    }

    /// A number in the base unit, in this unit.
    pub fn from_base(&self, base: f64) -> f64 {
        (base - self.offset) / self.size
    }
}

impl Kind {
    /// The unit that a quantity of this kind is kept in.
    pub fn base(self) -> &'static Unit {
        UNITS.iter().find(|u| u.kind == self).unwrap_or(&UNITS[0])
    }

    /// What it is called in a sentence: 'a mass', 'a pressure'.
    pub fn noun(self) -> &'static str {
        match self {
            Kind::Mass => "mass",
            Kind::Time => "time",
            Kind::Length => "length",
            Kind::Pressure => "pressure",
            Kind::Voltage => "voltage",
            Kind::Signal => "load-cell signal",
            Kind::Resistance => "resistance",
            Kind::Frequency => "frequency",
            Kind::Temperature => "temperature",
            Kind::Flow => "flow",
            Kind::Rate => "rate a minute",
            Kind::Share => "share in per cent",
            Kind::Count => "count",
            Kind::Angle => "angle",
            Kind::Speed => "speed",
        }
    }
}

/// Why a text is not a quantity. Each says what was found and what to type.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum UnitError {
    /// Nothing there.
    #[error("nothing was typed; type a number with its unit, like 199.4 g")]
    Empty,
    /// No number at the start.
    #[error("'{0}' is not a number; type one like 199.4 g")]
    NotANumber(String),
    /// Infinity, NaN, or beyond what any instrument shows.
    #[error("'{0}' is not a number that an instrument can show")]
    NotFinite(String),
    /// A unit that is not in the table.
    #[error("'{0}' is not a unit known here{1}")]
    UnknownUnit(String, String),
    /// A unit of another kind.
    #[error("'{found}' is a {found_kind}, and a {wanted_kind} is wanted here, in {wanted} for instance")]
    WrongKind {
        /// What was typed.
        found: String,
        /// What that measures.
        found_kind: &'static str,
        /// What is wanted.
        wanted_kind: &'static str,
        /// A unit that would do.
        wanted: &'static str,
    },
    /// A number without a unit where none can be assumed.
    #[error("'{0}' has no unit; say which, like {0} {1}")]
    NoUnit(String, &'static str),
}

/// A number with the unit it was given in.
#[derive(Clone, Copy, PartialEq)]
pub struct Quantity {
    /// The number, in `unit`.
    pub number: f64,
    /// The unit it was given in.
    pub unit: &'static Unit,
}

/// Larger figures than this are slips of the finger, in any unit we know.
const LARGEST: f64 = 1e12;

/// Reads a number with a decimal point or comma: `199.4`, `199,4`, `-3`, `1 234,5`, `1,234.5`.
///
/// A single comma or point is the decimal mark. With both, the last one is. Blanks between digits are dropped.
pub fn parse_number(text: &str) -> Result<f64, UnitError> {
    let trimmed = text.trim();
    if trimmed.is_empty() {
        return Err(UnitError::Empty);
    }
    let shown = || shorten(trimmed);
    if !groups_thousands(trimmed) {
        return Err(UnitError::NotANumber(shown()));
    }
    let mut plain: String = trimmed
        .chars()
        .filter(|c| !matches!(c, ' ' | '\u{a0}' | '\u{202f}' | '\''))
        .map(|c| if c == '\u{2212}' { '-' } else { c })
        .collect();
    match (plain.rfind(','), plain.rfind('.')) {
        (Some(comma), Some(point)) if comma > point => plain = plain.replace('.', "").replace(',', "."),
        (Some(_), Some(_)) => plain = plain.replace(',', ""),
        (Some(_), None) => plain = plain.replace(',', "."),
        _ => {}
    }
    let word = plain.trim_start_matches(['+', '-']).to_ascii_lowercase();
    if ["nan", "inf", "infinity"].contains(&word.as_str()) {
        return Err(UnitError::NotFinite(shown()));
    }
    let number: f64 = plain.parse().map_err(|_| UnitError::NotANumber(shown()))?;
    if !number.is_finite() || number.abs() > LARGEST {
        return Err(UnitError::NotFinite(shown()));
    }
    Ok(number)
}

/// Whether blanks stand only between groups of three digits: `1 234,5` is one number, `250.2 250` is two.
fn groups_thousands(text: &str) -> bool {
    let blank = |c: char| matches!(c, ' ' | '\u{a0}' | '\u{202f}');
    let unsigned = text.trim_start_matches(['+', '-', '\u{2212}']).trim_start_matches(blank);
    let mut groups = unsigned.split(blank);
    let digits = |group: &str| !group.is_empty() && group.chars().all(|c| c.is_ascii_digit());
    let Some(first) = groups.next() else { return true };
    let rest: Vec<&str> = groups.collect();
    let Some((last, middle)) = rest.split_last() else { return true };
    let whole = last.split(['.', ',']).next().unwrap_or("");
    digits(first)
        && first.len() <= 3
        && middle.iter().all(|group| digits(group) && group.len() == 3)
        && digits(whole)
        && whole.len() == 3
}

fn shorten(text: &str) -> String {
    let clean: String = text.chars().filter(|c| !c.is_control()).collect();
    if clean.chars().count() <= 30 { clean } else { clean.chars().take(30).chain(['…']).collect() }
}

/// Where the number ends and the unit begins.
fn split(text: &str) -> (&str, &str) {
    let is_number = |(i, c): (usize, char)| {
        c.is_ascii_digit()
            || matches!(c, '.' | ',' | '+' | '-' | '\u{2212}' | ' ' | '\u{a0}' | '\u{202f}' | '\'')
            || (matches!(c, 'e' | 'E') && exponent_follows(&text[i + 1..]))
    };
    let end = text.char_indices().find(|&at| !is_number(at)).map_or(text.len(), |(i, _)| i);
    (text[..end].trim(), text[end..].trim())
}

fn exponent_follows(rest: &str) -> bool {
    rest.trim_start_matches(['+', '-']).starts_with(|c: char| c.is_ascii_digit())
}

impl Quantity {
    /// Reads a quantity of any kind; a unit is required.
    pub fn parse(text: &str) -> Result<Self, UnitError> {
        Self::read(text, None)
    }

    /// Reads a quantity of one kind; a bare number is taken in `assumed`.
    pub fn parse_in(text: &str, assumed: &'static Unit) -> Result<Self, UnitError> {
        let quantity = Self::read(text, Some(assumed))?;
        if quantity.unit.kind == assumed.kind {
            return Ok(quantity);
        }
        Err(UnitError::WrongKind {
            found: shorten(text.trim()),
            found_kind: quantity.unit.kind.noun(),
            wanted_kind: assumed.kind.noun(),
            wanted: assumed.name,
        })
    }

    fn read(text: &str, assumed: Option<&'static Unit>) -> Result<Self, UnitError> {
        let text = text.trim();
        if text.is_empty() {
            return Err(UnitError::Empty);
        }
        let (digits, name) = split(text);
        if digits.is_empty() {
            // 'nan' and 'inf' begin with a letter and deserve their own sentence.
            let word = text.split_whitespace().next().unwrap_or(text);
            return parse_number(word).and(Err(UnitError::NotANumber(shorten(text))));
        }
        let number = parse_number(digits)?;
        let unit = match (name, assumed) {
            ("", Some(unit)) => unit,
            ("", None) => return Err(UnitError::NoUnit(shorten(digits), "g")),
            (name, _) => Unit::find(name).ok_or_else(|| unknown(name))?,
        };
        Ok(Self { number, unit })
    }

    /// The size in the base unit of its kind.
    pub fn base(self) -> f64 {
        self.unit.to_base(self.number)
    }

    /// What it measures.
    pub fn kind(self) -> Kind {
        self.unit.kind
    }
}

fn unknown(name: &str) -> UnitError {
    let typed = name.to_lowercase();
    let near = UNITS
        .iter()
        .flat_map(|unit| unit.also.iter().chain([&unit.name]).map(move |spelling| (spelling, unit.name)))
        .map(|(spelling, known)| (strsim::damerau_levenshtein(&spelling.to_lowercase(), &typed), known))
        .min()
        .filter(|(distance, _)| *distance < 2.max(name.len() / 2).min(3))
        .map_or_else(String::new, |(_, known)| format!("; did you mean {known}?"));
    UnitError::UnknownUnit(shorten(name), near)
}

impl fmt::Display for Quantity {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{} {}", number(self.number), self.unit.name)
    }
}

impl fmt::Debug for Quantity {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        fmt::Display::fmt(self, f)
    }
}

/// Prints a number with up to twelve significant digits and no trailing zeros.
pub fn number(value: f64) -> String {
    let rounded = significant(value);
    if rounded == 0.0 { "0".to_owned() } else { format!("{rounded}") }
}

/// Rounds to twelve significant digits, so that equal answers print equally.
pub fn significant(value: f64) -> f64 {
    if value == 0.0 || !value.is_finite() {
        return 0.0;
    }
    format!("{value:.11e}").parse().unwrap_or(value)
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn reads_what_people_type() {
        for (text, base) in [
            ("199.4 g", 199.4),
            ("1,5kg", 1500.0),
            ("2 oz", 56.699_046_25),
            ("90 min", 5400.0),
            ("5 bar", 5.0),
            ("2 mV/V", 2.0),
            ("-3 g", -3.0),
            ("\u{2212}3 g", -3.0),
            ("1 234,5 g", 1234.5),
            ("12 /min", 12.0),
            ("68 °F", 20.0),
            ("3e2 mg", 0.3),
        ] {
            let read = Quantity::parse(text).unwrap_or_else(|e| panic!("{text}: {e}"));
            assert!((read.base() - base).abs() < 1e-9, "{text} gave {}", read.base());
        }
    }

    #[test]
    fn refuses_in_a_sentence() {
        let grams = Kind::Mass.base();
        for (text, says) in [
            ("5 V", "voltage"),
            ("abc", "not a number"),
            ("NaN", "instrument"),
            ("inf g", "instrument"),
            ("1e300 g", "instrument"),
            ("", "nothing was typed"),
            ("5 grms", "did you mean"),
            ("5.5.5 g", "not a number"),
            ("250.2 250", "not a number"),
            ("0.0 5", "not a number"),
        ] {
            let error = Quantity::parse_in(text, grams).expect_err(text).to_string();
            assert!(error.contains(says), "{text}: {error}");
        }
    }

    proptest! {
        #[test]
        fn every_unit_reads_back_what_it_prints(index in 0..UNITS.len(), n in -1e6f64..1e6) {
            let printed = Quantity { number: significant(n), unit: &UNITS[index] }.to_string();
            let read = Quantity::parse(&printed).unwrap();
            prop_assert_eq!(read.unit.name, UNITS[index].name);
            prop_assert!((read.number - n).abs() <= 1e-9 * n.abs().max(1.0));
            prop_assert!((read.unit.from_base(read.base()) - read.number).abs() <= 1e-9 * n.abs().max(1.0));
        }

        #[test]
        fn no_text_makes_it_panic(text in "\\PC{0,40}") {
            let _ = Quantity::parse(&text);
        }
    }
}
