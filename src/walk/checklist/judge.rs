//! Whether an answer is as wanted.

use super::super::evidence::to_run;
use crate::casebook::Fills;
use crate::casebook::sheet::{Answer, Instrument, Sheet};
use crate::checklist::{Failed, Item, Kind, Leads, Measure, On, RunAsk};
use crate::units::{Quantity, number, significant};
use crate::weights::{Question, Start, summarise};

/// The judgement of an answer.
#[derive(Debug, Clone, PartialEq)]
pub struct Judged {
    /// Whether it is as wanted.
    pub good: bool,
    /// In which way it is not.
    pub on: Option<On>,
    /// Whether the instrument was due for its check, so that the figure proves nothing.
    pub overdue: bool,
    /// What was found against what is wanted, in a sentence; empty where the answer says it all.
    pub says: String,
}

impl Judged {
    fn of(good: bool, on: Option<On>, says: String) -> Self {
        Self { good, on, overdue: false, says }
    }

    /// Whether nothing but the instrument's date is wrong: another instrument is the only way on.
    pub(super) fn only_overdue(&self) -> bool {
        self.overdue && self.on.is_none()
    }

    /// What this failure of an item leads to, if anything.
    pub fn leads<'i>(&self, item: &'i Item) -> Option<&'i Leads> {
        if self.only_overdue() { None } else { item.leads(self.on.as_ref()) }
    }
}

/// The judgement of the answer that stands on a sheet, on the day that it was given.
pub fn judged_then(item: &Item, sheet: &Sheet, today: jiff::civil::Date) -> Option<Judged> {
    let (kept, answer) = sheet.answer(&item.id.value)?;
    Some(judge(item, answer, kept.day().unwrap_or(today)))
}

/// Judges the answer to an item on a day.
pub fn judge(item: &Item, answer: &Answer, today: jiff::civil::Date) -> Judged {
    match (&item.kind, answer) {
        (Kind::Measure(measure), Answer::Value { value, expected, instrument }) => {
            let known = Known { value: *value, expected: *expected, instrument: instrument.as_ref() };
            figure(measure, &known, today)
        }
        (Kind::Run(ask), Answer::Run { fills, tolerance }) => run(*ask, fills, *tolerance),
        (Kind::Choice(_), Answer::Chosen { id }) => {
            let on = On::Chosen(id.clone());
            let fails = item.fails.iter().any(|failure| failure.on.iter().any(|o| o.value == on));
            Judged::of(!fails, fails.then_some(on), String::new())
        }
        (_, Answer::NotSo { found }) => Judged::of(false, None, found.clone()),
        _ => Judged::of(true, None, String::new()),
    }
}

struct Known<'a> {
    value: Quantity,
    expected: Option<Quantity>,
    instrument: Option<&'a Instrument>,
}

fn figure(measure: &Measure, read: &Known<'_>, today: jiff::civil::Date) -> Judged {
    let overdue = read.instrument.and_then(|i| i.due).filter(|due| *due < today);
    if let (Some(due), Some(instrument)) = (overdue, read.instrument) {
        let says = format!(
            "{} was due for its check on {due}. A figure from it proves nothing: use one that is in date.",
            instrument.name
        );
        return Judged { overdue: true, ..Judged::of(false, side(measure, read), says) };
    }
    let on = side(measure, read);
    let beside = read.expected.map_or_else(String::new, |known| {
        let off = measure.unit.from_base(read.value.base()) - measure.unit.from_base(known.base());
        let sign = if off > 0.0 { "+" } else { "" };
        format!(" against {known}, {sign}{} {}", number(significant(round(off))), measure.unit.name)
    });
    let wanted = measure.limits.words(measure.unit, measure.expected);
    let verdict = match on {
        None => "good",
        Some(On::Below) => "too low",
        Some(_) => "too high",
    };
    Judged::of(on.is_none(), on, format!("{}{beside}: {verdict}. Wanted: {wanted}.", read.value))
}

/// On which side of its limits a figure lies.
fn side(measure: &Measure, read: &Known<'_>) -> Option<On> {
    let failed = measure.limits.judge(read.value.base(), read.expected.map(Quantity::base))?;
    Some(if failed == Failed::Below { On::Below } else { On::Above })
}

/// A difference of two figures that people read off displays; the noise of binary digits goes.
fn round(off: f64) -> f64 {
    (off * 1e9).round() / 1e9
}

/// More fills outside than this are counted and not named.
const MOST_NAMED: usize = 5;

fn run(ask: RunAsk, fills: &Fills, tolerance: f64) -> Judged {
    let Ok(run) = to_run(fills) else {
        return Judged::of(false, None, "These fills cannot be summed up.".to_owned());
    };
    let in_grams = crate::units::Unit::find(&fills.unit).map_or(tolerance, |unit| unit.to_base(tolerance));
    let summary = summarise(
        &run,
        &Question { tolerance: Some(in_grams), start: Start::Running, ..Question::default() },
    );
    let show = |grams: f64| {
        let unit = run.unit();
        let decimals = if in_grams >= 100.0 { 0 } else { 2 };
        format!("{:.decimals$} {}", unit.from_base(grams), unit.name)
    };
    let error = summary.mean_error.unwrap_or(0.0);
    let limit = ask.mean_within * in_grams;
    let (light, heavy) = summary.outside.as_ref().map_or((0, 0), |o| (o.light, o.heavy));
    let on = if error < -limit {
        Some(On::Below)
    } else if error > limit {
        Some(On::Above)
    } else if light + heavy > 0 {
        Some(On::Scattered)
    } else {
        None
    };
    let outside = fills
        .values
        .iter()
        .enumerate()
        .filter(|(_, value)| (**value - fills.target).abs() > tolerance * (1.0 + 1e-9));
    let places: Vec<String> =
        outside.take(MOST_NAMED).map(|(i, value)| format!("number {} {}", i + 1, number(*value))).collect();
    let which = if places.is_empty() { String::new() } else { format!(" ({})", places.join(", ")) };
    let spread =
        summary.spread.as_ref().map_or_else(String::new, |s| format!(", spread {}", show(s.estimate)));
    let sign = if error > 0.0 { "+" } else { "" };
    let says = format!(
        "{} fills: mean {sign}{} off target{spread}, {light} too light, {heavy} too heavy{which}. Wanted: mean within {}, every fill within {}.",
        summary.n + summary.apart,
        show(error),
        show(limit),
        show(in_grams),
    );
    Judged::of(on.is_none(), on, says)
}
