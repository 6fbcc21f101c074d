//! One line of a record: what was added to a case, and when. Fields that this program does not know are left
//! alone, so that an old program reads what a new one wrote.

use std::collections::BTreeSet;

use serde::{Deserialize, Serialize};
use serde_json::Value;

use super::error::StoreError;
use super::id::CaseId;
use crate::casebook::model::{Case, Closing, Event, Opening, Person, Product, ScaleFacts, Visit};
use crate::diag;
use crate::ids::{MachineId, OptionId, well_formed};

/// The longest line, in bytes.
pub(super) const LONGEST: usize = 1 << 20;

/// Something that is added to a case.
#[derive(Debug, Clone, PartialEq)]
pub enum Entry {
    /// Something happened.
    Event(Event),
    /// An earlier event was wrong; it is replaced where it stands, and stays in the record.
    Correct {
        /// Its position among the case's events, from nought.
        index: usize,
        /// What it should have been; without a time it keeps the old one's.
        event: Event,
    },
    /// The machine, once somebody has said which.
    Machine(MachineId),
    /// The remarks from the opening, all of them.
    Opening(Opening),
    /// Somebody new, or new facts about somebody of the same id.
    Person(Person),
    /// The complaint.
    Complaint(String),
    /// The product.
    Product(Product),
    /// What is known of the scale.
    Scale(ScaleFacts),
    /// eu, us, other or unknown.
    Market(String),
    /// Travel and waiting.
    Visit(Visit),
    /// Exactly these options are fitted; none given means any may be.
    Fitted(Option<BTreeSet<OptionId>>),
    /// Closed.
    Close(Closing),
    /// Taken up again after it was closed.
    Continue,
}

/// The first line.
#[derive(Debug, Clone, Serialize, Deserialize)]
pub(super) struct Header {
    pub(super) format: String,
    pub(super) id: String,
    pub(super) at: String,
    pub(super) case: Case,
}

/// Any other line.
#[derive(Debug, Clone, Default, Serialize, Deserialize)]
#[serde(default)]
pub(super) struct Line {
    #[serde(skip_serializing_if = "Option::is_none")]
    pub(super) at: Option<String>,
    /// The number of an event, which corrections name; it never changes.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub(super) n: Option<usize>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub(super) corrects: Option<usize>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub(super) event: Option<Event>,
    #[serde(skip_serializing_if = "Option::is_none")]
    machine: Option<MachineId>,
    #[serde(skip_serializing_if = "Option::is_none")]
    opening: Option<Opening>,
    #[serde(skip_serializing_if = "Option::is_none")]
    person: Option<Person>,
    #[serde(skip_serializing_if = "Option::is_none")]
    complaint: Option<String>,
    #[serde(skip_serializing_if = "Option::is_none")]
    product: Option<Product>,
    #[serde(skip_serializing_if = "Option::is_none")]
    scale: Option<ScaleFacts>,
    #[serde(skip_serializing_if = "Option::is_none")]
    market: Option<String>,
    #[serde(skip_serializing_if = "Option::is_none")]
    visit: Option<Visit>,
    #[serde(skip_serializing_if = "Option::is_none")]
    fitted: Option<Fitted>,
    #[serde(skip_serializing_if = "Option::is_none")]
    close: Option<Closing>,
    #[serde(skip_serializing_if = "Option::is_none")]
    r#continue: Option<bool>,
}

#[derive(Debug, Clone, Default, Serialize, Deserialize)]
#[serde(default)]
struct Fitted {
    options: Option<BTreeSet<OptionId>>,
}

impl Line {
    /// An entry as a line. `numbers` are those of the case's events, `next` is the next free one.
    pub(super) fn of(entry: Entry, at: String, numbers: &[usize], next: usize) -> Result<Self, StoreError> {
        let mut line = Self { at: Some(at), ..Self::default() };
        match entry {
            Entry::Event(event) => (line.n, line.event) = (Some(next), Some(event)),
            Entry::Correct { index, event } => {
                let missing = StoreError::NoSuchEvent { index, count: numbers.len() };
                line.corrects = Some(*numbers.get(index).ok_or(missing)?);
                line.event = Some(event);
            }
            Entry::Machine(machine) => line.machine = Some(machine),
            Entry::Opening(opening) => line.opening = Some(opening),
            Entry::Person(person) => line.person = Some(person),
            Entry::Complaint(text) => line.complaint = Some(text),
            Entry::Product(product) => line.product = Some(product),
            Entry::Scale(scale) => line.scale = Some(scale),
            Entry::Market(market) => line.market = Some(market),
            Entry::Visit(visit) => line.visit = Some(visit),
            Entry::Fitted(options) => line.fitted = Some(Fitted { options }),
            Entry::Close(closing) => line.close = Some(closing),
            Entry::Continue => line.r#continue = Some(true),
        }
        Ok(line)
    }

    /// What the line adds, if this program knows it; events and corrections are for the caller.
    pub(super) fn into_entry(self) -> Option<Entry> {
        match self {
            Self { machine: Some(machine), .. } => Some(Entry::Machine(machine)),
            Self { opening: Some(opening), .. } => Some(Entry::Opening(opening)),
            Self { person: Some(person), .. } => Some(Entry::Person(person)),
            Self { complaint: Some(text), .. } => Some(Entry::Complaint(text)),
            Self { product: Some(product), .. } => Some(Entry::Product(product)),
            Self { scale: Some(scale), .. } => Some(Entry::Scale(scale)),
            Self { market: Some(market), .. } => Some(Entry::Market(market)),
            Self { visit: Some(visit), .. } => Some(Entry::Visit(visit)),
            Self { fitted: Some(fitted), .. } => Some(Entry::Fitted(fitted.options)),
            Self { close: Some(closing), .. } => Some(Entry::Close(closing)),
            Self { r#continue: Some(_), .. } => Some(Entry::Continue),
            _ => None,
        }
    }

    /// The line as it will be read back: people's words harmless and trimmed, every name and figure sound.
    pub(super) fn sound(self) -> Result<Self, StoreError> {
        let line: Self = sound(&self)?;
        if line.event.is_none() && line.clone().into_entry().is_none() {
            return Err(StoreError::Unfit("there is nothing in it".to_owned()));
        }
        Ok(line)
    }
}

impl Header {
    /// The first line of a case, sound as lines are; its events and its closing have lines of their own.
    pub(super) fn of(id: &CaseId, at: String, case: &Case) -> Result<Self, StoreError> {
        let case = Case { events: Vec::new(), closed: None, ..case.clone() };
        sound(&Self { format: super::FORMAT.to_owned(), id: id.to_string(), at, case })
    }
}

/// A line's bytes with its end.
pub(super) fn bytes<T: Serialize>(line: &T) -> Result<Vec<u8>, StoreError> {
    let mut bytes = serde_json::to_vec(line).map_err(|e| StoreError::Unfit(e.to_string()))?;
    bytes.push(b'\n');
    if bytes.len() > LONGEST {
        return Err(StoreError::Unfit(format!(
            "it has {} bytes; at most {LONGEST} are kept at once",
            bytes.len()
        )));
    }
    Ok(bytes)
}

/// Through JSON and back: a figure that is no number, an empty run or a bad name does not come back.
fn sound<T: Serialize + for<'de> Deserialize<'de>>(written: &T) -> Result<T, StoreError> {
    let unfit = |error: serde_json::Error| StoreError::Unfit(error.to_string());
    let mut value = serde_json::to_value(written).map_err(unfit)?;
    tame(&mut value);
    judge(&value)?;
    serde_json::from_value(value).map_err(unfit)
}

/// People's words harmless and trimmed; what is empty then was not said.
fn tame(value: &mut Value) {
    let clean = |text: &str| diag::harmless(text).trim().to_owned();
    match value {
        Value::String(text) => *text = clean(text),
        Value::Array(items) => items.iter_mut().for_each(tame),
        Value::Object(fields) => {
            let tamed = std::mem::take(fields).into_iter().map(|(key, mut value)| {
                tame(&mut value);
                (clean(&key), value)
            });
            fields.extend(tamed.filter(|(key, value)| !key.is_empty() && value.as_str() != Some("")));
        }
        _ => {}
    }
}

/// Keys whose values are names, alone or in a list.
const NAMES: &[&str] = &[
    "machine",
    "fitted",
    "options",
    "reading",
    "outcome",
    "circumstance",
    "setting",
    "remedy",
    "suspicion",
    "by",
    "has",
    "cause",
    "cautions",
    "team",
];
const MARKETS: &[&str] = &["eu", "us", "other", "unknown"];

fn judge(value: &Value) -> Result<(), StoreError> {
    match value {
        Value::Array(items) => items.iter().try_for_each(judge),
        Value::Object(fields) => fields.iter().try_for_each(|(key, value)| match (key.as_str(), value) {
            // The settings of a run have names of people's own.
            ("settings", _) => Ok(()),
            ("at", Value::String(text)) => time(text),
            ("market", Value::String(text)) if !MARKETS.contains(&text.as_str()) => {
                Err(StoreError::Unfit(format!("'{text}' is not a market; one of: {}", MARKETS.join(", "))))
            }
            // The id beside a format is the case's own.
            ("id", Value::String(name)) if !fields.contains_key("format") => name_is_sound(name),
            (key, Value::String(name)) if NAMES.contains(&key) => name_is_sound(name),
            (key, Value::Array(names)) if NAMES.contains(&key) => {
                names.iter().filter_map(Value::as_str).try_for_each(name_is_sound)
            }
            _ => judge(value),
        }),
        _ => Ok(()),
    }
}

fn name_is_sound(name: &str) -> Result<(), StoreError> {
    if well_formed(name) { Ok(()) } else { Err(StoreError::Unfit(format!("'{name}' is not an id"))) }
}

/// The one key `at` is a time in lines and events, and a place for people.
fn time(text: &str) -> Result<(), StoreError> {
    let place = ["machine", "phone", "desk"].contains(&text);
    if place || text.parse::<jiff::Timestamp>().is_ok() {
        return Ok(());
    }
    Err(StoreError::Unfit(format!("'{text}' is not a time")))
}
