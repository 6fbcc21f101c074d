//! How an event is written, in case files and in records alike: flat keys, one of which says what happened.
//!
//! What a written event must hold together is judged here, once for both; each [`Fault`] names the key that it
//! is about, so that a reader with positions can point at it.

use std::fmt;

use serde::{Deserialize, Serialize};

use super::figures::exact;
use super::model::{Beside, Event, Fills, Happened, Moment, Reading, RemedyResult, What};
use crate::diag::Code;
use crate::ids::{CauseId, CheckId, CircumstanceId, OutcomeId, PersonId, RemedyId, SettingId};
use crate::units::{Kind, Quantity, Unit, UnitError};

/// The keys of which an event has exactly one, and the keys that may stand beside each.
pub(super) const KINDS: &[(&str, &[&str])] = &[
    ("reading", &["outcome", "value", "expected", "shown", "fills", "while"]),
    ("circumstance", &["outcome"]),
    ("setting", &["old", "new"]),
    ("remedy", &["result"]),
    ("suspicion", &[]),
    ("note", &[]),
];

/// The outcome that every check has.
pub(super) const CANNOT_TELL: &str = "cannot-tell";
/// Answers about a circumstance.
pub(super) const HAPPENED: &[(&str, Happened)] =
    &[("happened", Happened::Happened), ("did-not", Happened::DidNot), (CANNOT_TELL, Happened::CannotTell)];
/// What the machine was doing.
pub(super) const MOMENTS: &[(&str, Moment)] =
    &[("bad", Moment::Bad), ("good", Moment::Good), ("unknown", Moment::Unknown)];
/// How a remedy went.
pub(super) const RESULTS: &[(&str, RemedyResult)] = &[
    ("proved-gone", RemedyResult::ProvedGone),
    ("gone-not-proved", RemedyResult::GoneNotProved),
    ("still-there", RemedyResult::StillThere),
    ("changed", RemedyResult::Changed),
    ("not-tried", RemedyResult::NotTried),
];

/// Something in an event that does not hold together.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Fault {
    /// The key it is about, with a point between group and key; empty for the event itself.
    pub(super) key: &'static str,
    /// What kind of problem.
    pub(super) code: Code,
    /// In one sentence.
    pub(super) message: String,
    /// What to do about it.
    pub(super) help: Option<String>,
}

impl Fault {
    pub(super) fn new(key: &'static str, code: Code, message: impl Into<String>) -> Self {
        Self { key, code, message: message.into(), help: None }
    }

    pub(super) fn help(mut self, help: impl Into<Option<String>>) -> Self {
        self.help = help.into();
        self
    }

    /// A figure that could not be read.
    pub(super) fn unit(key: &'static str, error: &UnitError) -> Self {
        Self::new(key, unit_code(error), error.to_string())
    }
}

impl fmt::Display for Fault {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.message)?;
        self.help.as_ref().map_or(Ok(()), |help| write!(f, " ({help})"))
    }
}

/// Which kind of problem an unreadable figure is.
pub(super) fn unit_code(error: &UnitError) -> Code {
    match error {
        UnitError::Empty => Code::WrongType,
        UnitError::NotANumber(_) => Code::BadValue,
        UnitError::NotFinite(_) => Code::OutOfRange,
        UnitError::UnknownUnit(..) | UnitError::WrongKind { .. } | UnitError::NoUnit(..) => Code::BadUnit,
    }
}

/// An event as written.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
#[serde(default)]
pub(super) struct EventForm {
    #[serde(skip_serializing_if = "Option::is_none")]
    pub(super) reading: Option<CheckId>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub(super) circumstance: Option<CircumstanceId>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub(super) setting: Option<SettingId>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub(super) remedy: Option<RemedyId>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub(super) suspicion: Option<CauseId>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub(super) note: Option<String>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub(super) outcome: Option<String>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub(super) value: Option<String>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub(super) expected: Option<String>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub(super) shown: Option<String>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub(super) fills: Option<Fills>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub(super) old: Option<String>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub(super) new: Option<String>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub(super) result: Option<String>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub(super) by: Option<PersonId>,
    #[serde(rename = "while", skip_serializing_if = "Option::is_none")]
    pub(super) moment: Option<Moment>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub(super) at: Option<String>,
}

fn word_for<T: PartialEq>(known: &[(&'static str, T)], value: &T) -> Option<String> {
    known.iter().find(|(_, v)| v == value).map(|(word, _)| (*word).to_owned())
}

impl From<Event> for EventForm {
    fn from(event: Event) -> Self {
        let mut form = Self { at: event.at, by: event.by, ..Self::default() };
        match event.what {
            What::Reading { check, reading, moment } => {
                form.reading = Some(check);
                form.moment = (moment != Moment::Unknown).then_some(moment);
                form.answer(reading);
            }
            What::Circumstance { id, answer } => {
                form.circumstance = Some(id);
                form.outcome = word_for(HAPPENED, &answer);
            }
            What::Setting { id, old, new } => {
                (form.setting, form.old, form.new) = (Some(id), old, new);
            }
            What::Remedy { id, result } => {
                form.remedy = Some(id);
                form.result = word_for(RESULTS, &result);
            }
            What::Suspicion(cause) => form.suspicion = Some(cause),
            What::Note(note) => form.note = Some(note),
        }
        form
    }
}

impl TryFrom<EventForm> for Event {
    type Error = String;

    fn try_from(form: EventForm) -> Result<Self, String> {
        form.into_event(None)
            .map_err(|faults| faults.iter().map(ToString::to_string).collect::<Vec<_>>().join("; "))
    }
}

impl EventForm {
    fn answer(&mut self, reading: Reading) {
        match reading {
            Reading::Outcome(outcome) => self.outcome = Some(outcome.to_string()),
            Reading::CannotTell => self.outcome = Some(CANNOT_TELL.to_owned()),
            Reading::Fills(fills) => self.fills = Some(fills),
            Reading::Value { value, against } => {
                self.value = Some(exact(value));
                match against {
                    Some(Beside::Expected(quantity)) => self.expected = Some(exact(quantity)),
                    Some(Beside::Shown(quantity)) => self.shown = Some(exact(quantity)),
                    None => {}
                }
            }
        }
    }

    /// The event, or everything in it that does not hold together. A bare number is taken in `bare`.
    pub(super) fn into_event(self, bare: Option<&'static Unit>) -> Result<Event, Vec<Fault>> {
        let (at, by) = (self.at.clone(), self.by.clone());
        let what = self.what(bare)?;
        Ok(Event { at, by, what })
    }

    fn what(mut self, bare: Option<&'static Unit>) -> Result<What, Vec<Fault>> {
        let one = |fault: Fault| vec![fault];
        if let Some(check) = self.reading.take() {
            let moment = self.moment.unwrap_or_default();
            return Ok(What::Reading { check, reading: self.reading(bare)?, moment });
        }
        match self {
            Self { circumstance: Some(id), outcome, .. } => {
                let answer = word("outcome", outcome.as_deref(), HAPPENED).map_err(one)?;
                Ok(What::Circumstance { id, answer })
            }
            Self { setting: Some(id), old, new, .. } if old.is_some() || new.is_some() => {
                Ok(What::Setting { id, old, new })
            }
            Self { setting: Some(_), .. } => Err(one(Fault::new(
                "setting",
                Code::MissingKey,
                "what was the setting before, what is it now?",
            )
            .help("give `old`, `new` or both".to_owned()))),
            Self { remedy: Some(id), result, .. } => {
                let result = word("result", result.as_deref(), RESULTS).map_err(one)?;
                Ok(What::Remedy { id, result })
            }
            Self { suspicion: Some(cause), .. } => Ok(What::Suspicion(cause)),
            Self { note: Some(note), .. } => Ok(What::Note(note)),
            _ => Err(one(no_kind())),
        }
    }

    fn reading(self, bare: Option<&'static Unit>) -> Result<Reading, Vec<Fault>> {
        let pair = self.expected.is_some() || self.shown.is_some();
        match (self.outcome, self.value, self.fills) {
            (Some(outcome), None, None) if !pair => Ok(match outcome.as_str() {
                CANNOT_TELL => Reading::CannotTell,
                _ => Reading::Outcome(OutcomeId::new(outcome)),
            }),
            (None, None, Some(fills)) if !pair => {
                let faults = faults_of(&fills);
                if faults.is_empty() { Ok(Reading::Fills(fills)) } else { Err(faults) }
            }
            (None, Some(value), None) => {
                value_of(&value, self.expected.as_deref(), self.shown.as_deref(), bare)
            }
            _ => Err(vec![
                Fault::new("", Code::BadValue, "a reading has one answer: `outcome`, `value` or `fills`")
                    .help("`expected` or `shown` may stand beside `value` only".to_owned()),
            ]),
        }
    }
}

/// An event that does not say what happened.
pub(super) fn no_kind() -> Fault {
    let kinds: Vec<_> = KINDS.iter().map(|(kind, _)| *kind).collect();
    Fault::new("", Code::MissingKey, format!("an event is one of: {}", kinds.join(", ")))
}

/// One of a set of words, which must be there.
fn word<T: Copy>(key: &'static str, text: Option<&str>, known: &[(&'static str, T)]) -> Result<T, Fault> {
    let words = || known.iter().map(|(word, _)| *word);
    let one_of = || format!("one of: {}", words().collect::<Vec<_>>().join(", "));
    let Some(text) = text else {
        return Err(Fault::new("", Code::MissingKey, format!("'{key}' is missing")).help(one_of()));
    };
    known.iter().find(|(word, _)| *word == text).map(|(_, value)| *value).ok_or_else(|| {
        let near = crate::ids::did_you_mean(text, words()).unwrap_or_else(one_of);
        Fault::new(key, Code::BadValue, format!("'{text}' is not known here")).help(near)
    })
}

fn value_of(
    value: &str,
    expected: Option<&str>,
    shown: Option<&str>,
    bare: Option<&'static Unit>,
) -> Result<Reading, Vec<Fault>> {
    let mut faults = Vec::new();
    let mut read = |key: &'static str, text: &str| {
        let read = match (Quantity::parse(text), bare) {
            (Err(UnitError::NoUnit(..)), Some(unit)) => Quantity::parse_in(text, unit),
            (read, _) => read,
        };
        read.map_err(|error| faults.push(Fault::unit(key, &error))).ok()
    };
    let value = read("value", value);
    let known = expected.map(|text| read("expected", text));
    let seen = shown.map(|text| read("shown", text));
    if known.is_some() && seen.is_some() {
        let message = "a pair is a value with `expected` or with `shown`, not both";
        faults.push(Fault::new("shown", Code::BadValue, message));
    }
    let against = known.flatten().map(Beside::Expected).or_else(|| seen.flatten().map(Beside::Shown));
    match value {
        Some(value) if faults.is_empty() => Ok(Reading::Value { value, against }),
        _ => Err(faults),
    }
}

/// Everything in a run of fills that does not hold together.
fn faults_of(fills: &Fills) -> Vec<Fault> {
    let above_zero = |figure: f64| figure.is_finite() && figure > 0.0;
    let figures = fills.values.iter().chain(&fills.shown).chain(fills.tare.iter().flat_map(|tare| &tare.1));
    let finite = figures.into_iter().all(|figure| figure.is_finite());
    let mut faults = Vec::new();
    let mut hold = |holds: bool, key, code, message: String| {
        if !holds {
            faults.push(Fault::new(key, code, message));
        }
    };
    let target = format!("a target is above zero, and this is {}", fills.target);
    hold(above_zero(fills.target), "fills.target", Code::OutOfRange, target);
    let empty = "a run without fills; give the net weights in order".to_owned();
    hold(!fills.values.is_empty(), "fills.values", Code::BadValue, empty);
    let infinite = "a weight must be a finite number".to_owned();
    hold(finite, "fills.values", Code::OutOfRange, infinite);
    let division = "a division is above zero".to_owned();
    hold(fills.division.is_none_or(above_zero), "fills.division", Code::OutOfRange, division);
    let named = fills.lanes.iter().chain(&fills.times).all(|name| !name.is_empty());
    hold(named, "fills.lanes", Code::WrongType, "a lane or a time is empty".to_owned());
    let tare = "tare is `each` with one value a fill, `mean` with at least one, or `none` without".to_owned();
    hold(tare_fits(fills), "fills.tare", Code::BadValue, tare);
    faults.extend(unit_of_mass(&fills.unit).err());
    faults.extend(wrong_lengths(fills));
    faults
}

fn unit_of_mass(name: &str) -> Result<(), Fault> {
    let refused = |message| Err(Fault::new("fills.unit", Code::BadUnit, message));
    match Unit::find(name) {
        Some(unit) if unit.kind == Kind::Mass => Ok(()),
        Some(unit) => refused(format!("fills have a mass, and '{name}' is a unit of {}", unit.kind.noun())),
        None => refused(format!("'{name}' is not a unit known here")),
    }
}

fn tare_fits(fills: &Fills) -> bool {
    fills.tare.as_ref().is_none_or(|(kind, values)| match kind.as_str() {
        "each" => values.len() == fills.values.len(),
        "mean" => !values.is_empty(),
        "none" => values.is_empty(),
        _ => false,
    })
}

/// What stands beside the fills has one entry a fill, or none.
fn wrong_lengths(fills: &Fills) -> impl Iterator<Item = Fault> {
    let count = fills.values.len();
    let beside = [
        ("shown", "fills.shown", fills.shown.len()),
        ("lanes", "fills.lanes", fills.lanes.len()),
        ("times", "fills.times", fills.times.len()),
    ];
    let wrong = beside.into_iter().filter(move |(_, _, length)| *length != 0 && *length != count);
    wrong.map(move |(name, key, length)| {
        let message = format!("'{name}' has one entry a fill, or none: here {length} for a run of {count}");
        Fault::new(key, Code::BadValue, message)
    })
}
