//! What a person typed, understood for what a list asks now. Nothing counts as an answer that does not say so: an empty
//! line is never a tick.

use super::state::{ListAsk, ListState};
use crate::casebook::Fills;
use crate::casebook::sheet::{Answer, Instrument};
use crate::checklist::{Checklist, Item, Kind, Measure, RunAsk};
use crate::diag::harmless;
use crate::ids::{ItemId, MachineId, OptionId};
use crate::units::{Kind as Measured, Quantity, Unit, UnitError, significant};
use crate::walk::input::{LONGEST_LINE, numbered, yes_no};
use crate::walk::read::{sentence, slip, two};
use crate::walk::sounds_dangerous;
use crate::weights::{ReadOptions, read};

/// One thing a person did.
#[derive(Debug, Clone, PartialEq)]
pub enum ListInput {
    /// The machine.
    Machine(MachineId),
    /// Words that were asked for: a serial number, a name, a reason, what was found.
    Words(String),
    /// Options fitted; none means that nobody knows.
    Fitted(Option<Vec<OptionId>>),
    /// Yes or no.
    Truth(bool),
    /// A name and a reason.
    NameAndReason {
        /// Who.
        name: String,
        /// Why.
        reason: String,
    },
    /// The answer to an item.
    Answer(Answer),
    /// A figure, whose instrument is asked next.
    Figure {
        /// What was read.
        value: Quantity,
        /// The known value beside it.
        expected: Option<Quantity>,
    },
    /// An instrument.
    Instrument(Instrument),
    /// Names of those who sign, and what they write beside it.
    Names {
        /// Who.
        names: Vec<String>,
        /// What was seen.
        remark: Option<String>,
    },
    /// Target and tolerance with their unit.
    Target {
        /// Target.
        target: f64,
        /// Allowed to either side.
        tolerance: f64,
        /// Unit of both.
        unit: String,
    },
    /// Whose key; none when it is not locked.
    Key(Option<String>),
    /// One of the ways on from a failed item, or one of a list, from zero.
    Chosen(usize),
    /// An owner and a day.
    Owner {
        /// Who.
        name: String,
        /// By when.
        due: String,
    },
    /// The cautions in full once more.
    Cautions,
    /// Leave this item out.
    Skip,
    /// A remark; empty asks for it.
    Note(String),
    /// Why this item?
    Why,
    /// The whole list.
    Overview,
    /// Set the product up from here.
    SetUp,
    /// Put an earlier answer right.
    Correct,
    /// The answer before.
    Back,
    /// Somebody else goes on.
    Person,
    /// What can be typed?
    Help,
    /// Leave; everything is kept.
    Leave,
    /// Words of danger.
    Danger(String),
    /// Not understood; why, in a sentence.
    Misunderstood(String),
}

/// The words that work at every item, each with what it does.
pub const WORDS: &[(&str, &str)] = &[
    ("why", "why this is asked"),
    ("cautions", "the cautions of this item in full"),
    ("skip", "leave this item out, with a reason; a hold cannot be left out"),
    ("note", "write a remark down"),
    ("list", "the whole list with what is done"),
    ("correct", "put an earlier answer right; the first one stays beside it"),
    ("back", "answer the item before again"),
    ("person", "somebody else goes on from here"),
    ("leave", "leave; everything answered is kept"),
    ("help", "this list"),
];

fn say(sentence: impl Into<String>) -> ListInput {
    ListInput::Misunderstood(sentence.into())
}

/// Understands a line for what is asked now.
pub fn understand(line: &str, state: &ListState, list: &Checklist) -> ListInput {
    if line.len() > LONGEST_LINE {
        return say("That is too long for one answer.");
    }
    let text = harmless(line);
    let text = text.trim();
    let input = everywhere(text, &state.ask).unwrap_or_else(|| here(text, state, list));
    match input {
        ListInput::Misunderstood(_)
        | ListInput::Note(_)
        | ListInput::Words(_)
        | ListInput::NameAndReason { .. }
        | ListInput::Answer(Answer::NotSo { .. })
            if sounds_dangerous(text) =>
        {
            ListInput::Danger(text.to_owned())
        }
        input => input,
    }
}

fn everywhere(text: &str, ask: &ListAsk) -> Option<ListInput> {
    let (word, rest) = text.split_once(' ').unwrap_or((text, ""));
    let item_words = ask.item().is_some();
    if word.eq_ignore_ascii_case("note") && item_words && !matches!(ask, ListAsk::Note(_)) {
        return Some(ListInput::Note(rest.trim().to_owned()));
    }
    if !rest.is_empty() {
        return None;
    }
    let input = match text.to_lowercase().as_str() {
        "help" | "h" => ListInput::Help,
        "leave" | "quit" | "q" | "exit" => ListInput::Leave,
        "person" => ListInput::Person,
        "list" => ListInput::Overview,
        "correct" => ListInput::Correct,
        "back" | "b" => ListInput::Back,
        "why" if item_words => ListInput::Why,
        "cautions" if item_words => ListInput::Cautions,
        "skip" if item_words => ListInput::Skip,
        "?" if item_words => ListInput::Help,
        _ => return None,
    };
    Some(input)
}

fn here(text: &str, state: &ListState, list: &Checklist) -> ListInput {
    let item = |id: &ItemId| list.item(id);
    match &state.ask {
        ListAsk::Item(id) if text == "setup" && item(id).is_some_and(|item| item.sets_up) => ListInput::SetUp,
        ListAsk::Machine(machines) => {
            let named = machines.iter().position(|m| m.as_str() == text);
            let place = named.or_else(|| numbered(text, machines.len()));
            place.map_or_else(
                || say("Type the number of the machine."),
                |p| ListInput::Machine(machines[p].clone()),
            )
        }
        ListAsk::Fitted(options) => fitted(text, options),
        ListAsk::Serial if text == "?" => ListInput::Words(String::new()),
        ListAsk::Serial if says_nothing(text) => {
            say("Type the serial number, or ? if there is none to read.")
        }
        ListAsk::Serial => words(text, "Type the serial number, or ? if there is none to read."),
        ListAsk::Person | ListAsk::End | ListAsk::DeviationName(_) => name(text),
        ListAsk::Names { .. } => names(text),
        ListAsk::PutRight(_) => name_and_reason(
            text,
            "Type who put it right, a comma, and what was done, like Ann Reed, switch renewed by the maker.",
        ),
        ListAsk::Qualified(_) => match yes_no(text) {
            Some(false) => ListInput::Truth(false),
            _ => name(text),
        },
        ListAsk::Before(_) => name_and_reason(
            text,
            "Type the name of whoever decides it, a comma, and why. 'leave' goes back to those lists first.",
        ),
        ListAsk::Unconnected | ListAsk::Authority(_) => {
            yes_no(text).map_or_else(|| say("Type y or n."), ListInput::Truth)
        }
        ListAsk::Locked(_) | ListAsk::StillLocked(_) => match yes_no(text) {
            Some(false) => ListInput::Key(None),
            Some(true) => say("Whose key is it? Type the name, or n if it is not locked."),
            None if is_name(text) => ListInput::Key(Some(text.to_owned())),
            None => say("Type the name of whoever holds the key, or n if it is not locked."),
        },
        ListAsk::Target(_) => target(text, state.usual_tolerance),
        ListAsk::Item(id) => item(id).map_or(ListInput::Skip, |item| answer(text, item, state)),
        ListAsk::Instrument { item: id, .. } => {
            let due = item(id).is_some_and(|i| matches!(&i.kind, Kind::Measure(Measure { due: true, .. })));
            instrument(text, due)
        }
        ListAsk::Failed(_) => {
            numbered(text, 4).map_or_else(|| say("Type the number of one of these."), ListInput::Chosen)
        }
        ListAsk::Found(_) if says_nothing(text) => say("Say in a few words what was found."),
        ListAsk::Found(_) => words(text, "Say in a few words what was found."),
        ListAsk::DeviationReason { .. } | ListAsk::SkipReason(_) => words(text, "Say why in a few words."),
        ListAsk::Note(_) => words(text, "Type the remark."),
        ListAsk::Correct(items) => numbered(text, items.len())
            .map_or_else(|| say("Type the number of one of these."), ListInput::Chosen),
        ListAsk::Owner(_) => owner(text, state.today),
        ListAsk::Stopped(_) => say("Nothing goes on here until that is put right. Type 'leave'."),
        ListAsk::Diagnosing(_) | ListAsk::Over => ListInput::Leave,
    }
}

fn words(text: &str, wanted: &str) -> ListInput {
    if text.is_empty() { say(wanted) } else { ListInput::Words(text.to_owned()) }
}

/// Words that people type to get on, and that name nobody.
const NOBODY: &[&str] = &[
    "ok", "okay", "done", "none", "nobody", "yes", "no", "y", "n", "good", "fine", "sure", "x", "me", "i",
    "na", "n/a",
];

/// Whether a line says nothing of what was asked: a word to get on with, or one that opens something.
fn says_nothing(text: &str) -> bool {
    let lower = text.trim().to_lowercase();
    NOBODY.contains(&lower.as_str()) || WORDS.iter().any(|(word, _)| *word == lower)
}

/// A name has letters, no figures, and is no word to get on with.
pub(in crate::walk) fn is_name(text: &str) -> bool {
    let text = text.trim();
    text.chars().filter(|c| c.is_alphabetic()).count() > 1
        && !text.chars().any(|c| c.is_ascii_digit() || c == ',' || c == ':')
        && !says_nothing(text)
        && text.chars().count() <= 80
}

fn name(text: &str) -> ListInput {
    if is_name(text) {
        ListInput::Words(text.to_owned())
    } else {
        say("Type the name of one person, and nothing else.")
    }
}

fn name_and_reason(text: &str, wanted: &str) -> ListInput {
    match text.split_once([',', ':']) {
        Some((name, reason)) if is_name(name) && !says_nothing(reason) && !reason.trim().is_empty() => {
            ListInput::NameAndReason { name: name.trim().to_owned(), reason: reason.trim().to_owned() }
        }
        _ => say(wanted),
    }
}

fn fitted(text: &str, options: &[OptionId]) -> ListInput {
    if text == "?" {
        return ListInput::Fitted(None);
    }
    if matches!(text, "0" | "none" | "no") {
        return ListInput::Fitted(Some(Vec::new()));
    }
    let numbers: Vec<&str> = text.split([',', ' ']).filter(|w| !w.is_empty()).collect();
    let chosen: Option<Vec<_>> = numbers.iter().map(|word| numbered(word, options.len())).collect();
    match chosen {
        Some(places) if !places.is_empty() => {
            ListInput::Fitted(Some(places.into_iter().map(|p| options[p].clone()).collect()))
        }
        _ => say("Type the numbers of those fitted, like 1,3. Type 0 for none, ? if nobody knows."),
    }
}

/// `250 g 2 g`, `250 g`, `250 2`: what a fill should weigh, and what is allowed to either side.
fn target(text: &str, usual: Option<f64>) -> ListInput {
    let gram = Measured::Mass.base();
    let wanted = "Type what a fill should weigh and what is allowed either way, like 250 g 2 g.";
    let alone = || Quantity::parse_in(text, gram).ok().zip(usual).map(|_| (text.to_owned(), usual));
    let (target, tolerance) = match (two(text), alone()) {
        (Some((target, tolerance)), _) => (target, tolerance),
        (None, Some((target, Some(usual)))) => (target, format!("{usual} g")),
        (None, _) => return say(wanted),
    };
    let parsed = Quantity::parse_in(&target, gram)
        .and_then(|target| Quantity::parse_in(&tolerance, target.unit).map(|tolerance| (target, tolerance)));
    match parsed {
        Ok((target, tolerance))
            if target.number > 0.0 && tolerance.base() > 0.0 && tolerance.base() < target.base() =>
        {
            let tolerance = significant(target.unit.from_base(tolerance.base()));
            ListInput::Target { target: target.number, tolerance, unit: target.unit.name.to_owned() }
        }
        Ok(_) => say(wanted),
        Err(error) => say(sentence(&error.to_string())),
    }
}

fn answer(text: &str, item: &Item, state: &ListState) -> ListInput {
    match &item.kind {
        Kind::Do | Kind::Look => done(
            text,
            "Type y if it is as expected, n and what was found if not. A figure to keep goes behind the y, like y: 13:58.",
        ),
        Kind::Photo => match done(text, "") {
            ListInput::Answer(Answer::AsExpected { .. }) => {
                say("Type its number or where it is filed, or n if there is none.")
            }
            ListInput::Answer(not_so) => ListInput::Answer(not_so),
            _ => match words(text, "Type its number or where it is filed, or n if there is none.") {
                ListInput::Words(text) => ListInput::Answer(Answer::Reference { text }),
                other => other,
            },
        },
        Kind::Measure(measure) => figure(text, measure),
        Kind::Run(ask) => fills(text, *ask, state),
        Kind::Confirm(_) | Kind::Hold(_) => names(text),
        Kind::Choice(choices) => {
            let by_name = choices
                .iter()
                .position(|c| c.answer.eq_ignore_ascii_case(text) || c.id.value.as_str() == text);
            by_name.or_else(|| numbered(text, choices.len())).map_or_else(
                || say(format!("Type a number from 1 to {}.", choices.len())),
                |place| ListInput::Answer(Answer::Chosen { id: choices[place].id.value.clone() }),
            )
        }
    }
}

/// y, n, or either with what was found or written behind it.
fn done(text: &str, wanted: &str) -> ListInput {
    let (word, rest) = text.split_once([' ', ',', ':']).unwrap_or((text, ""));
    let rest = rest.trim().trim_start_matches(':').trim().to_owned();
    match yes_no(word) {
        Some(true) => ListInput::Answer(Answer::AsExpected { remark: Some(rest).filter(|r| !r.is_empty()) }),
        Some(false) => ListInput::Answer(Answer::NotSo { found: rest }),
        None => say(wanted),
    }
}

fn figure(text: &str, measure: &Measure) -> ListInput {
    let unit = measure.unit.name;
    // A guard that did not stop it at all is told in words.
    if let (word, Some(found)) = text.split_once([' ', ',', ':']).map_or((text, None), |(w, f)| (w, Some(f)))
        && yes_no(word) == Some(false)
    {
        return ListInput::Answer(Answer::NotSo { found: found.trim().to_owned() });
    }
    let parsed = |text: &str| match Quantity::parse_in(text, measure.unit) {
        Ok(value) if value.base() < 0.0 && never_negative(measure.kind) => {
            Err(format!("A {} is not below zero.", measure.kind.noun()))
        }
        Ok(value) => Ok(value),
        Err(UnitError::NotANumber(_) | UnitError::Empty) => Err(format!("Type a figure in {unit}.")),
        Err(error) => Err(sentence(&error.to_string())),
    };
    if !measure.expected {
        return match parsed(text) {
            Ok(value) => ListInput::Figure { value, expected: None },
            Err(_) if two(text).is_some() => say(format!("One figure in {unit} is wanted here.")),
            Err(error) => say(error),
        };
    }
    let Some((first, second)) = two(text) else {
        return say(format!("Type both in {unit}: the reading, then the known value."));
    };
    match (parsed(&first), parsed(&second)) {
        (Ok(value), Ok(known)) => ListInput::Figure { value, expected: Some(known) },
        (Err(error), _) | (_, Err(error)) => say(error),
    }
}

/// Kinds of which nobody reads less than nothing.
fn never_negative(kind: Measured) -> bool {
    matches!(kind, Measured::Time | Measured::Rate | Measured::Count | Measured::Resistance)
}

/// `TW-7 2027-03-01`: a number or name, then the day its check is due.
fn instrument(text: &str, due: bool) -> ListInput {
    let (name, date) = match text.rsplit_once([' ', ',']) {
        Some((name, last)) => match last.trim().parse::<jiff::civil::Date>() {
            Ok(date) => (name.trim().trim_end_matches(','), Some(date)),
            Err(_) => (text, None),
        },
        None => (text, None),
    };
    let named = name.chars().any(char::is_alphanumeric) && name.parse::<jiff::civil::Date>().is_err();
    if !named || (due && date.is_none()) {
        return say("Type its number and the day its check is due, like TW-7 2027-03-01.");
    }
    ListInput::Instrument(Instrument { name: name.to_owned(), due: date })
}

fn fills(text: &str, ask: RunAsk, state: &ListState) -> ListInput {
    let Some((target, tolerance, unit)) = &state.target else {
        return say("Type first what a fill should weigh.");
    };
    match fills_so_far(text, state) {
        Ok(values) if values.is_empty() => {
            say("Type the weights, like 250.2 249.8 250.1; an empty line ends the run.")
        }
        Ok(values) if values.len() < ask.at_least => {
            say(format!("{} of {} fills so far. Type the rest of them.", values.len(), ask.at_least))
        }
        Ok(values) => {
            let fills = Fills { unit: unit.clone(), target: *target, values, ..Fills::default() };
            ListInput::Answer(Answer::Run { fills, tolerance: *tolerance })
        }
        Err(sentence) => say(sentence),
    }
}

/// The weights in the lines of a run typed so far, or what is wrong with them in a sentence.
pub fn fills_so_far(text: &str, state: &ListState) -> Result<Vec<f64>, String> {
    let Some((target, _, unit)) = &state.target else { return Ok(Vec::new()) };
    if text.trim().is_empty() {
        return Ok(Vec::new());
    }
    let options = ReadOptions { unit: Unit::find(unit), ..ReadOptions::default() };
    let read = read(text, &options).map_err(|error| sentence(&error.to_string()))?;
    if !read.skipped.is_empty() {
        let what: Vec<String> = read.skipped.iter().take(3).map(|s| format!("'{}'", s.text)).collect();
        return Err(format!("Not a weight: {}. That line is left out; type it again.", what.join(", ")));
    }
    let in_unit = Unit::find(unit).unwrap_or_else(|| Measured::Mass.base());
    let values: Vec<f64> = read.run.values().iter().map(|g| significant(in_unit.from_base(*g))).collect();
    slip(&values, *target, unit).map_or(Ok(values), Err)
}

/// One or more names, parted by commas, and after a colon what was seen; n when nobody can confirm it.
fn names(text: &str) -> ListInput {
    let (word, rest) = text.split_once([' ', ',', ':']).unwrap_or((text, ""));
    if yes_no(word) == Some(false) {
        return ListInput::Answer(Answer::NotSo { found: rest.trim().to_owned() });
    }
    let (text, remark) = text.split_once(':').map_or((text, ""), |(names, remark)| (names, remark.trim()));
    let text = text.replace(" and ", ",");
    let names = text.split([',', '+', '&']).map(|n| n.trim().to_owned()).filter(|n| !n.is_empty());
    let names: Vec<String> = names.collect();
    if names.is_empty() || !names.iter().all(|n| is_name(n)) {
        return say(
            "It is confirmed by name: type the name, a colon and what was seen, or n if it is not so.",
        );
    }
    ListInput::Names { names, remark: Some(remark.to_owned()).filter(|r| !r.is_empty()) }
}

/// `Ann, 2026-12-05`: who, and a day that is still to come.
fn owner(text: &str, today: jiff::civil::Date) -> ListInput {
    let wanted = "Type who looks after it, a comma, and the day: year, month, day, like Ann, 2026-12-05.";
    let Some((name, due)) = text.split_once(',').filter(|(name, _)| is_name(name)) else {
        return say(wanted);
    };
    match due.trim().parse::<jiff::civil::Date>() {
        Ok(day) if day < today => say(format!("{day} has gone by. Type a day that is still to come.")),
        Ok(day) => ListInput::Owner { name: name.trim().to_owned(), due: day.to_string() },
        Err(_) => say(wanted),
    }
}
