//! A run of fills that can be trusted: finite masses in order, one unit, and what is known about how they came.

use std::collections::BTreeMap;

use crate::units::{Kind, Unit};

/// Most fills taken in one run.
pub const MOST_FILLS: usize = 1_000_000;

/// Larger masses than this (a thousand tonnes) are slips of the finger.
const HEAVIEST_G: f64 = 1e9;

/// A run as it was given: every mass is a number in `unit`. [`Run::new`] makes it trustworthy.
#[derive(Debug, Clone, Default)]
pub struct RunInput {
    /// Unit of every number here; gram when none was given.
    pub unit: Option<&'static Unit>,
    /// Net weights in the order they were filled.
    pub values: Vec<f64>,
    /// What each fill should weigh.
    pub target: Option<f64>,
    /// Smallest step of the display.
    pub division: Option<f64>,
    /// What the machine showed for the same fills; empty, or as many as `values`.
    pub shown: Vec<f64>,
    /// Weight of the empty bags.
    pub tare: Option<Tare>,
    /// Which scale the values were read on.
    pub instrument: Option<String>,
    /// Which lane, head or nozzle each fill came from; empty, or as many as `values`.
    pub lanes: Vec<String>,
    /// When each fill was weighed, seconds from any start; empty, or as many as `values`.
    pub times: Vec<f64>,
    /// Settings the run was made with, as written.
    pub settings: BTreeMap<String, String>,
}

/// How the weight of the bag was taken off.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum TareKind {
    /// Each bag was weighed empty.
    Each,
    /// One mean for all bags.
    Mean,
    /// Not taken off: the values are gross.
    None,
}

/// The empty bags.
#[derive(Debug, Clone, PartialEq)]
pub struct Tare {
    /// How it was taken off.
    pub kind: TareKind,
    /// Weights of empty bags (in grams within a [`Run`]).
    pub values: Vec<f64>,
}

/// The smallest step of the display.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Division {
    /// Its size in grams.
    pub grams: f64,
    /// Worked out from the values and not told by anybody.
    pub inferred: bool,
}

/// Why numbers are not a run.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum RunError {
    /// No value at all.
    #[error("there is no weight in this run; give at least one")]
    Empty,
    /// Too many values.
    #[error("{0} weights are more than the {MOST_FILLS} that fit one run; give a part of them")]
    TooMany(usize),
    /// NaN, infinity, or heavier than anything a filler fills.
    #[error("{what} {place} is not a weight that a scale can show")]
    NotFinite {
        /// Which list.
        what: &'static str,
        /// Place in it, from one.
        place: usize,
    },
    /// A target at or under zero.
    #[error("a target of {0} is not possible; it is more than zero")]
    Target(f64),
    /// A division at or under zero.
    #[error("a display step of {0} is not possible; it is more than zero")]
    Division(f64),
    /// A unit that is not of mass.
    #[error("{unit} measures a {kind}, and a run of fills is in a unit of mass, like g")]
    WrongKind {
        /// The unit given.
        unit: &'static str,
        /// What it measures.
        kind: &'static str,
    },
    /// A list that does not go with the values.
    #[error("{what} has {found} entries beside {wanted} weights; give one for each weight or none")]
    Length {
        /// Which list.
        what: &'static str,
        /// Its length.
        found: usize,
        /// The number of weights.
        wanted: usize,
    },
}

/// A run of fills: at least one, all finite, in grams.
#[derive(Debug, Clone, PartialEq)]
pub struct Run {
    unit: &'static Unit,
    values: Vec<f64>,
    target: Option<f64>,
    division: Option<Division>,
    shown: Option<Vec<f64>>,
    tare: Option<Tare>,
    instrument: Option<String>,
    lanes: Option<Vec<String>>,
    times: Option<Vec<f64>>,
    settings: BTreeMap<String, String>,
}

impl Run {
    /// Checks a run and turns it into grams.
    pub fn new(input: RunInput) -> Result<Self, RunError> {
        let unit = input.unit.unwrap_or_else(|| Kind::Mass.base());
        if unit.kind != Kind::Mass {
            return Err(RunError::WrongKind { unit: unit.name, kind: unit.kind.noun() });
        }
        let count = input.values.len();
        match count {
            0 => return Err(RunError::Empty),
            n if n > MOST_FILLS => return Err(RunError::TooMany(n)),
            _ => {}
        }
        let target = positive(input.target, unit, RunError::Target)?;
        let division = positive(input.division, unit, RunError::Division)?
            .map(|grams| Division { grams, inferred: false })
            .or_else(|| infer_division(&input.values, unit));
        let tare = match input.tare {
            Some(tare) if tare.kind == TareKind::Each => {
                same_length("tare", tare.values.len(), count)?;
                Some(Tare { kind: tare.kind, values: in_grams("tare", &tare.values, unit)? })
            }
            Some(tare) => Some(Tare { kind: tare.kind, values: in_grams("tare", &tare.values, unit)? }),
            None => None,
        };
        same_length("shown", input.shown.len(), count)?;
        same_length("lanes", input.lanes.len(), count)?;
        same_length("times", input.times.len(), count)?;
        if let Some(at) = input.times.iter().position(|t| !t.is_finite()) {
            return Err(RunError::NotFinite { what: "time", place: at + 1 });
        }
        Ok(Self {
            unit,
            values: in_grams("weight", &input.values, unit)?,
            target,
            division,
            shown: some_if_any(in_grams("shown weight", &input.shown, unit)?),
            tare,
            instrument: input.instrument,
            lanes: some_if_any(input.lanes),
            times: some_if_any(input.times),
            settings: input.settings,
        })
    }

    /// The unit it was given in, for showing.
    pub fn unit(&self) -> &'static Unit {
        self.unit
    }

    /// Net weights in order, grams.
    pub fn values(&self) -> &[f64] {
        &self.values
    }

    /// What each fill should weigh, grams.
    pub fn target(&self) -> Option<f64> {
        self.target
    }

    /// Smallest step of the display, given or worked out from the values.
    pub fn division(&self) -> Option<Division> {
        self.division
    }

    /// What the machine showed for the same fills, grams.
    pub fn shown(&self) -> Option<&[f64]> {
        self.shown.as_deref()
    }

    /// The empty bags.
    pub fn tare(&self) -> Option<&Tare> {
        self.tare.as_ref()
    }

    /// Which scale the values were read on.
    pub fn instrument(&self) -> Option<&str> {
        self.instrument.as_deref()
    }

    /// Which lane each fill came from.
    pub fn lanes(&self) -> Option<&[String]> {
        self.lanes.as_deref()
    }

    /// When each fill was weighed, seconds from any start.
    pub fn times(&self) -> Option<&[f64]> {
        self.times.as_deref()
    }

    /// Settings the run was made with.
    pub fn settings(&self) -> &BTreeMap<String, String> {
        &self.settings
    }

    /// The same run judged against a target in grams.
    pub fn with_target(mut self, grams: f64) -> Result<Self, RunError> {
        self.target = positive(Some(grams), Kind::Mass.base(), RunError::Target)?;
        Ok(self)
    }

    /// The runs of the single lanes, by name; empty when the lanes are not known.
    pub fn by_lane(&self) -> BTreeMap<String, Run> {
        let names = self.lanes.as_deref().unwrap_or_default();
        let mut places: BTreeMap<&String, Vec<usize>> = BTreeMap::new();
        for (at, name) in names.iter().enumerate() {
            places.entry(name).or_default().push(at);
        }
        places.into_iter().map(|(name, at)| (name.clone(), self.only(&at))).collect()
    }

    /// The fills at these places, in this order.
    fn only(&self, places: &[usize]) -> Run {
        let pick = |from: &[f64]| places.iter().map(|&at| from[at]).collect::<Vec<_>>();
        Run {
            values: pick(&self.values),
            shown: self.shown.as_deref().map(pick),
            times: self.times.as_deref().map(pick),
            lanes: self.lanes.as_ref().map(|all| places.iter().map(|&at| all[at].clone()).collect()),
            tare: self.tare.as_ref().map(|tare| match tare.kind {
                TareKind::Each => Tare { kind: tare.kind, values: pick(&tare.values) },
                _ => tare.clone(),
            }),
            ..self.clone()
        }
    }
}

fn positive(
    number: Option<f64>,
    unit: &Unit,
    error: impl FnOnce(f64) -> RunError,
) -> Result<Option<f64>, RunError> {
    match number {
        Some(n) if n > 0.0 && unit.to_base(n) <= HEAVIEST_G => Ok(Some(unit.to_base(n))),
        Some(n) => Err(error(n)),
        None => Ok(None),
    }
}

fn in_grams(what: &'static str, numbers: &[f64], unit: &Unit) -> Result<Vec<f64>, RunError> {
    let place = |(at, &number): (usize, &f64)| {
        let grams = unit.to_base(number);
        let sound = grams.is_finite() && grams.abs() <= HEAVIEST_G;
        sound.then_some(grams).ok_or(RunError::NotFinite { what, place: at + 1 })
    };
    numbers.iter().enumerate().map(place).collect()
}

fn same_length(what: &'static str, found: usize, wanted: usize) -> Result<(), RunError> {
    if found == 0 || found == wanted { Ok(()) } else { Err(RunError::Length { what, found, wanted }) }
}

fn some_if_any<T>(list: Vec<T>) -> Option<Vec<T>> {
    (!list.is_empty()).then_some(list)
}

/// The largest usual display step (1, 2 or 5 times a power of ten of the unit) of which all values are multiples.
///
/// A step coarser than the decimals ask for is believed only when chance would show it less than once in a hundred.
fn infer_division(values: &[f64], unit: &Unit) -> Option<Division> {
    let fits = |step: f64| {
        values.iter().all(|v| {
            let steps = v / step;
            (steps - steps.round()).abs() <= 1e-6 + steps.abs() * 1e-12
        })
    };
    let power = (-6..=3).find(|&power| !fits(10f64.powi(power + 1)))?;
    let finest = 10f64.powi(power);
    if !fits(finest) {
        return None;
    }
    let mut distinct: Vec<f64> = values.to_vec();
    distinct.sort_by(f64::total_cmp);
    distinct.dedup();
    let surprising = |times: f64| times.powi(-i32::try_from(distinct.len()).unwrap_or(i32::MAX)) < 0.01;
    let step = [5.0, 2.0].into_iter().find(|&times| fits(finest * times) && surprising(times)).unwrap_or(1.0)
        * finest;
    Some(Division { grams: unit.to_base(step), inferred: true })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn run(values: &[f64]) -> RunInput {
        RunInput { values: values.to_vec(), ..RunInput::default() }
    }

    #[test]
    fn a_run_is_kept_in_grams_whatever_it_was_typed_in() {
        let given = RunInput { unit: Unit::find("kg"), target: Some(0.25), ..run(&[0.2472, 0.247]) };
        let run = Run::new(given).unwrap();
        assert!((run.values()[0] - 247.2).abs() < 1e-9);
        assert_eq!(run.target(), Some(250.0));
        assert_eq!(run.unit().name, "kg");
    }

    #[test]
    fn what_cannot_be_a_run_is_refused_in_a_sentence() {
        let sentence = |input: RunInput| Run::new(input).unwrap_err().to_string();
        assert!(sentence(run(&[])).contains("no weight"));
        assert!(sentence(run(&[1.0, f64::NAN])).contains("weight 2"));
        assert!(sentence(run(&[f64::INFINITY])).contains("not a weight"));
        assert!(sentence(RunInput { target: Some(-250.0), ..run(&[1.0]) }).contains("-250"));
        assert!(sentence(RunInput { target: Some(f64::NAN), ..run(&[1.0]) }).contains("target"));
        assert!(sentence(RunInput { shown: vec![1.0], ..run(&[1.0, 2.0]) }).contains("1 entries beside 2"));
        assert!(sentence(RunInput { unit: Unit::find("V"), ..run(&[1.0]) }).contains("voltage"));
    }

    #[test]
    fn the_display_step_is_read_from_the_values() {
        let step = |values: &[f64]| Run::new(run(values)).unwrap().division().map(|d| d.grams);
        assert_eq!(step(&[247.2, 247.0, 246.9, 247.4]), Some(0.1));
        assert_eq!(step(&[250.0, 251.0, 249.0]), Some(1.0));
        assert_eq!(step(&[2.5, 0.5, 2.0, 1.0, -1.5, 3.0, 0.0, 1.5]), Some(0.5));
        // Three even numbers may well be chance.
        assert_eq!(step(&[250.0, 252.0, 248.0]), Some(1.0));
        assert_eq!(step(&[1.0 / 3.0]), None);
        let given = Run::new(RunInput { division: Some(0.5), ..run(&[247.2]) }).unwrap().division().unwrap();
        assert!(!given.inferred && given.grams == 0.5);
    }

    #[test]
    fn lanes_come_apart_by_name() {
        let given = RunInput { lanes: ["b", "a", "b"].map(String::from).to_vec(), ..run(&[1.0, 2.0, 3.0]) };
        let lanes = Run::new(given).unwrap().by_lane();
        assert_eq!(lanes["b"].values(), [1.0, 3.0]);
        assert_eq!(lanes["a"].values(), [2.0]);
    }
}
