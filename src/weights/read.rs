//! Weights as people have them: typed, pasted, from a file, a printer or a logger.
//!
//! What is not a weight is listed with its line and left out, never guessed. What would turn the whole run into
//! something else is refused with its line: two units, a unit that is not of mass, no weight at all.

use std::fmt;

use crate::units::{Kind, Quantity, Unit, UnitError};

use super::clock::{Stamp, times};
use super::line::{Line, Weight, read_line, shorten};
use super::run::{MOST_FILLS, Run, RunError, RunInput};
use super::table::{Header, Places, cells, lane_noun};

/// Longest line that is read, in characters.
pub const LONGEST_LINE: usize = 4_000;
/// Most skipped pieces that are kept for showing; the count goes on.
const MOST_LISTED: usize = 200;
/// So many lanes are believed of a column that nobody asked for, even with hardly a fill from each.
const MOST_UNSURE: usize = 12;

/// A column of a table.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Column {
    /// Counted from one.
    Number(usize),
    /// By its name in the first line.
    Name(String),
}

impl fmt::Display for Column {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Column::Number(n) => write!(f, "{n}"),
            Column::Name(name) => f.write_str(name),
        }
    }
}

/// A number is a place, anything else a name.
impl From<&str> for Column {
    fn from(text: &str) -> Self {
        text.trim().parse().map_or_else(|_| Column::Name(text.trim().to_owned()), Column::Number)
    }
}

/// What is known besides the text.
#[derive(Debug, Clone, Default)]
pub struct ReadOptions {
    /// Unit of bare numbers; a different one on a value is refused.
    pub unit: Option<&'static Unit>,
    /// Which column holds the weights.
    pub column: Option<Column>,
    /// Which column holds what the machine showed.
    pub shown: Option<Column>,
    /// Which column says the lane, head or tube of each fill; a plain name is recognised without.
    pub lane: Option<Column>,
    /// Every line is a pair: the weight, then what the machine showed.
    pub pairs: bool,
    /// What each fill should weigh.
    pub target: Option<Quantity>,
    /// Smallest step of the display.
    pub division: Option<Quantity>,
}

impl ReadOptions {
    /// Options with a target as typed, `250 g`.
    pub fn with_target(text: &str) -> Result<Self, UnitError> {
        Ok(Self { target: Some(Quantity::parse_in(text, Kind::Mass.base())?), ..Self::default() })
    }
}

/// A piece of the text that is not a weight.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Skipped {
    /// Its line, from one.
    pub line: usize,
    /// The piece, shortened and without control characters.
    pub text: String,
    /// Why it was left out.
    pub why: String,
}

/// The column that says which lane each fill came from.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct LaneColumn {
    /// Its name in the first line.
    pub name: String,
    /// What a lane is called: `head`, `tube`; `lane` when the name does not say.
    pub noun: &'static str,
    /// Nobody asked for it: its plain name was enough.
    pub recognised: bool,
}

/// A run that was read, and what was left out.
#[derive(Debug, Clone)]
pub struct Read {
    /// The run.
    pub run: Run,
    /// What was left out, at most two hundred pieces.
    pub skipped: Vec<Skipped>,
    /// How many pieces were left out in all.
    pub skipped_count: usize,
    /// No unit stood anywhere, so grams were taken.
    pub unit_assumed: bool,
    /// Where the lanes were read from, when they were.
    pub lane_column: Option<LaneColumn>,
    /// The dates cannot be read for certain, as when day and month may stand either way, so no times were taken.
    pub dates_unclear: bool,
}

/// Why a text is not a run.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum ReadError {
    /// Not one weight in the whole text.
    #[error("there is no weight in this input{}", first_reason(.0))]
    NoWeights(Vec<Skipped>),
    /// A line too long to be one of weights.
    #[error("line {line} is longer than {LONGEST_LINE} characters; give one weight a line")]
    LineTooLong {
        /// The line.
        line: usize,
    },
    /// More weights than fit one run.
    #[error("more than {MOST_FILLS} weights; give a part of them")]
    TooMany,
    /// Two units of mass in one run.
    #[error("line {line} is in {found}, the weights before are in {before}; give one run in one unit")]
    MixedUnits {
        /// The line.
        line: usize,
        /// The unit there.
        found: &'static str,
        /// The unit before.
        before: &'static str,
    },
    /// A unit that is not of mass.
    #[error("line {line}: {unit} measures a {kind}, and a weight is wanted here, in g for instance")]
    WrongKind {
        /// The line.
        line: usize,
        /// The unit there.
        unit: &'static str,
        /// What it measures.
        kind: &'static str,
    },
    /// A column that is not there.
    #[error("there is no column '{wanted}'; the columns are {names}")]
    NoColumn {
        /// What was asked for.
        wanted: String,
        /// What there is.
        names: String,
    },
    /// Several columns, and none is plainly the weight.
    #[error("several columns could be the weight; name one of {names}")]
    WhichColumn {
        /// What there is.
        names: String,
    },
    /// A line that is not a pair where pairs were promised.
    #[error("line {line} has {found} numbers; a pair is a weight and what the machine showed")]
    NotAPair {
        /// The line.
        line: usize,
        /// How many numbers it has.
        found: usize,
    },
    /// The target or the division is of the wrong kind.
    #[error("the {what} is given in {unit}, which is not a unit of mass")]
    NotAMass {
        /// Target or division.
        what: &'static str,
        /// Its unit.
        unit: &'static str,
    },
    /// The numbers do not make a run.
    #[error(transparent)]
    Run(#[from] RunError),
}

fn first_reason(skipped: &[Skipped]) -> String {
    skipped.first().map_or_else(String::new, |s| format!("; line {}: '{}' is {}", s.line, s.text, s.why))
}

/// Reads a text into a run.
pub fn read(text: &str, options: &ReadOptions) -> Result<Read, ReadError> {
    let mut reader = Reader::new(options);
    let commas_part = commas_part(text);
    for (at, line) in text.trim_start_matches('\u{feff}').lines().enumerate() {
        if line.len() > LONGEST_LINE && line.chars().count() > LONGEST_LINE {
            return Err(ReadError::LineTooLong { line: at + 1 });
        }
        let line = line.trim();
        if !line.is_empty() && !line.starts_with('#') {
            reader.line(at + 1, line, commas_part)?;
        }
    }
    reader.finish()
}

/// Whether commas stand between values: a comma before a blank, or in one line with a decimal point on both sides, or
/// two commas in one piece of a line without points.
fn commas_part(text: &str) -> bool {
    let number = |piece: &str| {
        let plain = piece.trim_start_matches(['+', '-']);
        plain.contains('.') && plain.chars().all(|c| c.is_ascii_digit() || c == '.')
    };
    text.lines().take(200).filter(|line| line.len() <= LONGEST_LINE).any(|line| {
        let trailing = line.contains(", ") || line.trim_end().ends_with(',');
        let points = line.split(',').filter(|p| number(p.trim())).count() >= 2;
        let thrice = line.split(|c: char| c.is_whitespace() || c == ';').any(|piece| {
            let commas = piece.matches(',').count();
            commas >= 2 && !piece.contains('.')
        });
        trailing || points || thrice
    })
}

struct Reader<'a> {
    options: &'a ReadOptions,
    unit: Option<&'static Unit>,
    table: Option<(Header, Places)>,
    input: RunInput,
    stamps: Vec<Stamp>,
    skipped: Vec<Skipped>,
    skipped_count: usize,
    begun: bool,
}

impl<'a> Reader<'a> {
    fn new(options: &'a ReadOptions) -> Self {
        Self {
            options,
            unit: options.unit,
            table: None,
            input: RunInput::default(),
            stamps: Vec::new(),
            skipped: Vec::new(),
            skipped_count: 0,
            begun: false,
        }
    }

    fn line(&mut self, at: usize, text: &str, commas_part: bool) -> Result<(), ReadError> {
        if !self.begun {
            self.begun = true;
            if let Some(header) = Header::of(text) {
                let places = self.places(&header, self.options.column.as_ref())?;
                self.unit = self.unit.or(header.unit(places.weight));
                self.table = Some((header, places));
                return Ok(());
            }
            self.nameless_table(text)?;
        }
        match self.table.take() {
            Some((header, places)) => {
                let done = self.row(at, &cells(text, header.mark), &places);
                self.table = Some((header, places));
                done
            }
            None => self.free(at, &read_line(text, commas_part)),
        }
    }

    fn places(&self, header: &Header, weight: Option<&Column>) -> Result<Places, ReadError> {
        header.places(weight, self.options.shown.as_ref(), self.options.lane.as_ref())
    }

    /// A column asked for by number needs no names.
    fn nameless_table(&mut self, text: &str) -> Result<(), ReadError> {
        let Some(column) = &self.options.column else { return Ok(()) };
        let mark = ['\t', ';', ',', '|', ' '].into_iter().find(|m| text.contains(*m)).unwrap_or(';');
        let names = (1..=cells(text, mark).len()).map(|n| n.to_string()).collect();
        let header = Header { mark, names };
        let places = self.places(&header, Some(column))?;
        self.table = Some((header, places));
        Ok(())
    }

    fn row(&mut self, at: usize, cells: &[&str], places: &Places) -> Result<(), ReadError> {
        let cell = |place: usize| cells.get(place).copied().unwrap_or_default();
        let Some(weight) = self.cell(at, cell(places.weight))? else { return Ok(()) };
        if let Some(place) = places.shown {
            let Some(shown) = self.cell(at, cell(place))? else { return Ok(()) };
            self.input.shown.push(shown);
        }
        if let Some(place) = places.lane {
            self.input.lanes.push(shorten(cell(place)));
        }
        self.push(weight, places.stamp(cell))
    }

    /// The one weight in a cell; `None` when there is none, which is listed.
    fn cell(&mut self, at: usize, text: &str) -> Result<Option<f64>, ReadError> {
        let line = read_line(text, false);
        match (line.wrong_kind, line.weights.as_slice()) {
            (Some(unit), _) => {
                Err(ReadError::WrongKind { line: at, unit: unit.name, kind: unit.kind.noun() })
            }
            (None, [weight]) => {
                self.same_unit(at, *weight)?;
                Ok(Some(weight.number))
            }
            _ => {
                let why = line.skipped.first().map_or("no weight in this cell", |s| s.1.as_str());
                self.skip(at, text, why);
                Ok(None)
            }
        }
    }

    fn free(&mut self, at: usize, line: &Line) -> Result<(), ReadError> {
        if let Some(unit) = line.wrong_kind {
            return Err(ReadError::WrongKind { line: at, unit: unit.name, kind: unit.kind.noun() });
        }
        if let Some(unit) = line.unit {
            self.same_unit(at, Weight { number: 0.0, unit: Some(unit) })?;
        }
        for (text, why) in &line.skipped {
            self.skip(at, text, why);
        }
        for weight in &line.weights {
            self.same_unit(at, *weight)?;
        }
        if self.options.pairs && !line.weights.is_empty() {
            let [value, shown] = line.weights[..] else {
                return Err(ReadError::NotAPair { line: at, found: line.weights.len() });
            };
            self.input.shown.push(shown.number);
            return self.push(value.number, line.stamp);
        }
        line.weights.iter().try_for_each(|weight| self.push(weight.number, line.stamp))
    }

    fn push(&mut self, number: f64, stamp: Stamp) -> Result<(), ReadError> {
        if self.input.values.len() == MOST_FILLS {
            return Err(ReadError::TooMany);
        }
        self.input.values.push(number);
        self.stamps.push(stamp);
        Ok(())
    }

    fn same_unit(&mut self, at: usize, weight: Weight) -> Result<(), ReadError> {
        match (weight.unit, self.unit) {
            (Some(found), Some(before)) if found != before => {
                Err(ReadError::MixedUnits { line: at, found: found.name, before: before.name })
            }
            (Some(found), None) => {
                self.unit = Some(found);
                Ok(())
            }
            _ => Ok(()),
        }
    }

    fn skip(&mut self, line: usize, text: &str, why: &str) {
        self.skipped_count += 1;
        if self.skipped.len() < MOST_LISTED {
            self.skipped.push(Skipped { line, text: shorten(text), why: why.to_owned() });
        }
    }

    fn finish(mut self) -> Result<Read, ReadError> {
        if self.input.values.is_empty() {
            return Err(ReadError::NoWeights(self.skipped));
        }
        let unit = self.unit.unwrap_or_else(|| Kind::Mass.base());
        let in_unit = |what: &'static str, quantity: Option<Quantity>| match quantity {
            Some(q) if q.kind() != Kind::Mass => Err(ReadError::NotAMass { what, unit: q.unit.name }),
            Some(q) if q.unit == unit => Ok(Some(q.number)),
            Some(q) => Ok(Some(unit.from_base(q.base()))),
            None => Ok(None),
        };
        self.input.target = in_unit("target", self.options.target)?;
        self.input.division = in_unit("display step", self.options.division)?;
        self.input.unit = Some(unit);
        let times = times(&self.stamps);
        self.input.times = times.seconds;
        let lane_column = self.lane_column()?;
        Ok(Read {
            run: Run::new(self.input)?,
            skipped: self.skipped,
            skipped_count: self.skipped_count,
            unit_assumed: self.unit.is_none(),
            lane_column,
            dates_unclear: times.unclear,
        })
    }

    /// The column of the lanes. One that nobody asked for is let go when its cells do not name lanes: mostly blank, or
    /// another name for almost every fill.
    fn lane_column(&mut self) -> Result<Option<LaneColumn>, ReadError> {
        let place = self.table.as_ref().and_then(|(header, places)| Some((header, places.lane?)));
        let Some((header, place)) = place else {
            return match &self.options.lane {
                Some(column) => Err(ReadError::NoColumn {
                    wanted: column.to_string(),
                    names: "not named here".to_owned(),
                }),
                None => Ok(None),
            };
        };
        let name = shorten(&header.names[place]);
        let recognised = self.options.lane.is_none();
        let mut names: Vec<&String> = self.input.lanes.iter().filter(|lane| !lane.is_empty()).collect();
        let named = names.len();
        names.sort();
        names.dedup();
        if recognised && (named * 2 < self.input.lanes.len() || names.len() > MOST_UNSURE.max(named / 2)) {
            self.input.lanes.clear();
            return Ok(None);
        }
        Ok(Some(LaneColumn { noun: lane_noun(&name).unwrap_or("lane"), name, recognised }))
    }
}

#[cfg(test)]
#[path = "read_tests.rs"]
mod tests;
