//! Figures as typed: a target, a reading, a pair, a run of fills, a setting.

use super::answers::stood;
use super::input::{Input, numbered, say};
use super::state::{Ask, State};
use crate::casebook::{Beside, Fills, Reading};
use crate::ids::RemedyId;
use crate::knowledge::{Against, AskedQuantity, Asks, Check, Knowledge};
use crate::units::{Kind, Quantity, Unit, parse_number};
use crate::weights::{ReadError, ReadOptions, read};

pub(super) fn target(text: &str) -> Input {
    match Quantity::parse_in(text, Kind::Mass.base()) {
        Ok(q) if q.number > 0.0 => Input::Target { figure: q.number, unit: q.unit.name.to_owned() },
        Ok(_) => say("A target is more than nothing. Type it like 250 g."),
        Err(error) => Input::Misunderstood(sentence(&error.to_string())),
    }
}

/// What stands in a setting before it is changed, or what stood and stands there after.
pub(super) fn setting(text: &str, remedy: &RemedyId, state: &State, knowledge: &Knowledge) -> Input {
    let unit = unit_of(remedy, state, knowledge);
    let given = |t: &str| (!t.trim().is_empty()).then(|| with_unit(t.trim(), unit));
    let pair = text.split_once("->").or_else(|| text.split_once('→')).or_else(|| text.split_once(" to "));
    let before = matches!(state.ask, Ask::Before(_));
    let (old, new) = match pair {
        Some((old, _)) if before => (given(old), None),
        Some((old, new)) => (given(old), given(new)),
        None if before => (given(text), None),
        None => (stood(knowledge, &state.case.events, remedy), given(text)),
    };
    match (old, new) {
        (None, None) if before => say("Type what stands there now, like 3.0 g, or ? to skip."),
        (_, None) if !before => say("Type what stands there now, like 1.5 g, or ? to skip."),
        (old, new) => Input::Setting { old, new },
    }
}

/// The unit of the setting that a remedy changes, on this machine.
fn unit_of(remedy: &RemedyId, state: &State, knowledge: &Knowledge) -> Option<&'static Unit> {
    let setting = knowledge.remedies.get(remedy)?.changes.as_ref()?;
    let machine = knowledge.machines.get(&state.case.machine)?;
    machine.setting(&setting.value)?.unit
}

/// A bare figure gets the unit of its setting.
fn with_unit(text: &str, unit: Option<&'static Unit>) -> String {
    match unit {
        Some(unit) if parse_number(text).is_ok() => format!("{text} {}", unit.name),
        _ => text.to_owned(),
    }
}

pub(super) fn check_answer(text: &str, check: &Check, state: &State) -> Input {
    match &check.asks {
        Asks::Run => run(text, state),
        Asks::Quantity(asked) => quantity(text, asked),
        Asks::Choice | Asks::Complaint => {
            let by_name = |o: &&crate::knowledge::Outcome| {
                o.id.value.as_str() == text || o.answer.eq_ignore_ascii_case(text)
            };
            let named = check.outcomes.iter().find(by_name);
            let chosen =
                named.or_else(|| numbered(text, check.outcomes.len()).map(|place| &check.outcomes[place]));
            let yes_or_no =
                format!("Type a number from 1 to {}, or ? if nobody can tell.", check.outcomes.len());
            chosen.map_or_else(|| say(&yes_or_no), |o| Input::Reading(Reading::Outcome(o.id.value.clone())))
        }
    }
}

/// `199.4`, `199.4 g`, or a pair: `199.4 200`, `199.4 g, 200 g`.
fn quantity(text: &str, asked: &AskedQuantity) -> Input {
    let parsed = |text: &str| Quantity::parse_in(text, asked.unit).map_err(|e| sentence(&e.to_string()));
    if asked.against == Against::Nothing {
        return match parsed(text) {
            Ok(value) => Input::Reading(Reading::Value { value, against: None }),
            Err(error) => Input::Misunderstood(error),
        };
    }
    let Some((first, second)) = two(text) else {
        let example =
            format!("Type both, the reading first, like 199.4 {unit}, 200 {unit}.", unit = asked.unit.name);
        return Input::Misunderstood(example);
    };
    match (parsed(&first), parsed(&second)) {
        (Ok(value), Ok(partner)) => {
            let beside = if asked.against == Against::Expected {
                Beside::Expected(partner)
            } else {
                Beside::Shown(partner)
            };
            Input::Reading(Reading::Value { value, against: Some(beside) })
        }
        (Err(error), _) | (_, Err(error)) => Input::Misunderstood(error),
    }
}

/// Two figures in a line: parted by a semicolon, a comma with a blank, a slash, a word, or by blanks alone.
pub(super) fn two(text: &str) -> Option<(String, String)> {
    for mark in [";", ", ", " / ", " and ", " of "] {
        if let Some((a, b)) = text.split_once(mark) {
            return Some((a.trim().to_owned(), b.trim().to_owned()));
        }
    }
    let words: Vec<&str> = text.split_whitespace().collect();
    match words.as_slice() {
        [a, b] if parse_number(b).is_ok() || b.starts_with(|c: char| c.is_ascii_digit()) => {
            Some(((*a).to_owned(), (*b).to_owned()))
        }
        [a, unit, b] => Some((format!("{a} {unit}"), format!("{b} {unit}"))),
        [a, u, b, v] => Some((format!("{a} {u}"), format!("{b} {v}"))),
        _ => None,
    }
}

fn run(text: &str, state: &State) -> Input {
    let Some((target, unit)) = &state.target else { return say("Type first what a fill should weigh.") };
    if text.is_empty() {
        return say("Type the weights of some fills, like 247.2 247.0 246.9, or ? if nobody can weigh them.");
    }
    let pairs = text.contains('/');
    let text = if pairs { one_pair_a_line(text) } else { text.to_owned() };
    let options = ReadOptions { unit: Unit::find(unit), pairs, ..ReadOptions::default() };
    match read(&text, &options) {
        Ok(read) if read.skipped.is_empty() => {
            let unit_of = Unit::find(unit).unwrap_or_else(|| Kind::Mass.base());
            let in_unit = |grams: &[f64]| -> Vec<f64> {
                grams.iter().map(|g| crate::units::significant(unit_of.from_base(*g))).collect()
            };
            let values = in_unit(read.run.values());
            if let Some(sentence) = slip(&values, *target, unit) {
                return Input::Misunderstood(sentence);
            }
            Input::Reading(Reading::Fills(Fills {
                unit: unit.clone(),
                target: *target,
                values,
                shown: in_unit(read.run.shown().unwrap_or_default()),
                ..Fills::default()
            }))
        }
        Ok(read) => {
            let what: Vec<String> = read.skipped.iter().take(3).map(|s| format!("'{}'", s.text)).collect();
            Input::Misunderstood(format!("Not a weight: {}. Type that line again.", what.join(", ")))
        }
        Err(ReadError::NotAPair { .. }) => say(
            "Either every weight has what was shown beside it, like 247.2/250.0, or none has. Type the whole run again.",
        ),
        Err(error) => Input::Misunderstood(sentence(&error.to_string())),
    }
}

/// `247.2/250.0 247.0/249.9`: the weight, then what the machine showed.
fn one_pair_a_line(text: &str) -> String {
    let tight = text.replace(" /", "/").replace("/ ", "/");
    tight.split_whitespace().map(|pair| pair.replace('/', " ")).collect::<Vec<_>>().join("\n")
}

/// A fill is never this many times its target: a digit or a unit slipped.
const NO_FILL: f64 = 5.0;

/// What looks like a slip of the finger, or like another unit, in a sentence.
pub(super) fn slip(values: &[f64], target: f64, unit: &str) -> Option<String> {
    if let Some(place) = values.iter().position(|v| *v > NO_FILL * target) {
        let far = format!(
            "Weight {}, {} {unit}, is far over the target of {target} {unit}.",
            place + 1,
            values[place]
        );
        return Some(format!("{far} Look at it again, then type that line anew."));
    }
    let all_far_under = values.iter().all(|v| *v < target / (4.0 * NO_FILL));
    all_far_under.then(|| {
        format!("All of these are far under the target of {target} {unit}. Are they in another unit? Type them with it, like 0.247 kg.")
    })
}

pub(super) fn sentence(text: &str) -> String {
    let mut chars = text.chars();
    let first = chars.next().map_or_else(String::new, |c| c.to_uppercase().collect());
    format!("{first}{}.", chars.as_str())
}
