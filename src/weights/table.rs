//! Weights in a table: which column holds them.

use crate::units::{Kind, Unit, parse_number};

use super::clock::{Stamp, counted_in};
use super::line::shorten;
use super::read::{Column, ReadError};

/// The first line of a table and what parts its cells.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Header {
    pub(super) mark: char,
    pub(super) names: Vec<String>,
}

/// Names that a column of weights usually has, best first.
const WEIGHTS: [&str; 7] = ["net", "value", "weight", "fill", "mass", "reading", "grams"];
const SHOWN: [&str; 4] = ["shown", "display", "displayed", "machine shows"];
/// Names of a column of lanes; each is also the word that the lanes are then called by.
const LANES: [&str; 8] = ["lane", "head", "filler", "nozzle", "tube", "bucket", "tray", "station"];
/// What may stand beside such a name and leaves it plain: `head no.`, `lane_id`.
const BESIDE_LANES: [&str; 5] = ["no", "nr", "number", "id", "name"];
const TIMES: [&str; 4] = ["timestamp", "datetime", "time", "clock"];
const DATES: [&str; 2] = ["date", "day"];

/// Where to find what in a table; places from zero.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Places {
    pub(super) weight: usize,
    pub(super) shown: Option<usize>,
    pub(super) lane: Option<usize>,
    pub(super) time: Option<usize>,
    pub(super) date: Option<usize>,
    /// A column that counts time, with the seconds of one step.
    pub(super) counted: Option<(usize, f64)>,
}

impl Places {
    /// When the fill of a row was weighed.
    pub(super) fn stamp<'a>(&self, cell: impl Fn(usize) -> &'a str) -> Stamp {
        if let Some((place, step)) = self.counted {
            let count = parse_number(cell(place)).ok();
            return Stamp { day: None, seconds: count.map(|count| count * step) };
        }
        let cells = self.date.into_iter().chain(self.time);
        Stamp::of(cells.flat_map(|place| cell(place).split_whitespace()))
    }
}

impl Header {
    /// Takes a line as a header: at least two cells, or one with letters, none of them a number.
    pub(super) fn of(line: &str) -> Option<Self> {
        let mark = ['\t', ';', ',', '|'].into_iter().find(|m| line.contains(*m)).unwrap_or(',');
        let names: Vec<String> = cells(line, mark).iter().map(|c| (*c).to_owned()).collect();
        let figure =
            |word: &str| word.starts_with(|c: char| c.is_ascii_digit() || matches!(c, '+' | '-' | '.'));
        let wordy = |name: &String| {
            name.is_empty() || (name.starts_with(char::is_alphabetic) && !name.split_whitespace().any(figure))
        };
        let named = names.iter().filter(|n| !n.is_empty()).count();
        let known = |n: &String| WEIGHTS.iter().any(|w| n.to_lowercase().contains(w));
        (names.iter().all(wordy) && (named >= 2 || names.iter().any(known))).then_some(Self { mark, names })
    }

    /// Finds the columns, by what was asked for or by their names.
    pub(super) fn places(
        &self,
        weight: Option<&Column>,
        shown: Option<&Column>,
        lane: Option<&Column>,
    ) -> Result<Places, ReadError> {
        let lane = match lane {
            Some(column) => Some(self.column(column)?),
            None => self.names.iter().position(|name| lane_noun(name).is_some()),
        };
        let time = self.named(&TIMES);
        let date = self.named(&DATES).filter(|date| Some(*date) != time);
        let counted = self.names.iter().enumerate().find_map(|(at, name)| Some((at, counted_in(name)?)));
        let shown = shown.map(|c| self.column(c)).transpose()?.or_else(|| self.named(&SHOWN));
        let taken = [lane, time, date, counted.map(|c| c.0), shown];
        let by_name = self.named(&WEIGHTS).filter(|at| !taken.contains(&Some(*at)));
        let only = || (self.names.len() == 1).then_some(0);
        let first = || (0..self.names.len()).find(|at| !taken.contains(&Some(*at)));
        let weight = match weight {
            Some(column) => self.column(column)?,
            None => by_name
                .or_else(only)
                .or_else(|| first().filter(|_| self.names.len() <= 2))
                .ok_or_else(|| ReadError::WhichColumn { names: self.shown_names() })?,
        };
        Ok(Places { weight, shown, lane, time, date, counted })
    }

    fn column(&self, column: &Column) -> Result<usize, ReadError> {
        let found = match column {
            Column::Number(n) => n.checked_sub(1).filter(|at| *at < self.names.len()),
            Column::Name(name) => {
                let wanted = name.to_lowercase();
                let exact = self.names.iter().position(|n| n.to_lowercase() == wanted);
                exact.or_else(|| self.names.iter().position(|n| n.to_lowercase().starts_with(&wanted)))
            }
        };
        found.ok_or_else(|| ReadError::NoColumn { wanted: column.to_string(), names: self.shown_names() })
    }

    fn named(&self, words: &[&str]) -> Option<usize> {
        words.iter().find_map(|word| {
            self.names.iter().position(|name| {
                let name = name.to_lowercase();
                name.split(|c: char| !c.is_alphanumeric()).any(|part| part == *word) || name == *word
            })
        })
    }

    fn shown_names(&self) -> String {
        let names: Vec<String> = self.names.iter().take(12).map(|n| shorten(n)).collect();
        names.join(", ")
    }

    /// The unit in a column's name: `weight (g)`, `weight_g`, `weight [kg]`.
    pub(super) fn unit(&self, at: usize) -> Option<&'static Unit> {
        let name = self.names.get(at)?;
        let last = name.split(|c: char| !c.is_alphanumeric()).rfind(|part| !part.is_empty())?;
        Unit::find(last).filter(|u| u.kind == Kind::Mass && last != name)
    }
}

/// What a lane is called by the name of its column: `head` for `Head no.`; `None` for anything not plain, as in
/// `head loss`.
pub(super) fn lane_noun(name: &str) -> Option<&'static str> {
    let name = name.to_lowercase();
    let mut parts = name.split(|c: char| !c.is_alphanumeric()).filter(|part| !part.is_empty());
    let first = parts.next()?;
    let noun = LANES.into_iter().find(|noun| first == *noun || first.strip_suffix('s') == Some(noun))?;
    parts.all(|part| BESIDE_LANES.contains(&part)).then_some(noun)
}

/// The cells of a line, without blanks and quotation marks around them.
pub(super) fn cells(line: &str, mark: char) -> Vec<&str> {
    line.split(mark).map(|cell| cell.trim().trim_matches('"').trim()).collect()
}
