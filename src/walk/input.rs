//! What a person typed, understood for what is being asked. Numbers choose; a few words work at every prompt.

use super::state::{Ask, Item, Pick, State};
use crate::casebook::{Beside, Closing, Happened, Reading, RemedyResult};
use crate::diag::harmless;
use crate::ids::FindingId;
use crate::knowledge::{Against, AskedQuantity, Asks, Check, Knowledge};
use crate::units::{Kind, Quantity, Unit, parse_number};
use crate::weights::{ReadOptions, read};

/// Longest line taken.
pub(super) const LONGEST_LINE: usize = 20_000;

/// One thing a person did.
#[derive(Debug, Clone, PartialEq)]
pub enum Input {
    /// An answer to an item of the opening, already in its word.
    Opening(String),
    /// It is stopped and safe.
    Safe,
    /// These symptoms are meant; none is possible.
    Symptoms(Vec<FindingId>),
    /// What a fill should weigh.
    Target {
        /// In `unit`.
        figure: f64,
        /// Its unit.
        unit: String,
    },
    /// The answer to a check.
    Reading(Reading),
    /// The answer about a circumstance.
    Happened(Happened),
    /// Whether the site's written procedure is there and agrees.
    Procedure(bool),
    /// Whose key, once locked and tried; none when it is not.
    Locked(Option<String>),
    /// A setting's old and new figure.
    Setting {
        /// What stood there.
        old: Option<String>,
        /// What was typed.
        new: Option<String>,
    },
    /// How a remedy went.
    Result(RemedyResult),
    /// One of the list, from zero.
    Chosen(usize),
    /// Close the case.
    Close(Closing),
    /// A remark typed at its own prompt.
    NoteText(String),
    /// Skip this question.
    Skip,
    /// Why this step?
    Why,
    /// All causes with figures.
    Causes,
    /// What can be typed?
    Help,
    /// A remark; empty asks for it.
    Note(String),
    /// Back to the question before.
    Back,
    /// A list to choose from.
    Menu(Pick),
    /// Go to the closing.
    CloseCase,
    /// Leave; the case stays open.
    Leave,
    /// Not understood; why, in a sentence.
    Misunderstood(String),
}

/// The words that work at every prompt, each with what it does.
pub const WORDS: &[(&str, &str)] = &[
    ("?", "cannot tell, or skip"),
    ("why", "why this step, and why these causes"),
    ("causes", "all causes with their figures"),
    ("other", "other steps to choose from"),
    ("give", "give any other reading"),
    ("did", "I did this: a remedy done on one's own"),
    ("suspect", "name a suspicion; it is kept as a remark"),
    ("correct", "correct an earlier answer"),
    ("back", "back to the question before"),
    ("note", "write a remark down"),
    ("close", "close the case"),
    ("leave", "leave; everything answered is kept"),
    ("help", "this list"),
];

/// Understands a line for what is asked now.
pub fn understand(line: &str, state: &State, knowledge: &Knowledge) -> Input {
    if line.len() > LONGEST_LINE {
        return Input::Misunderstood("That is too long for one answer.".to_owned());
    }
    let text = harmless(line);
    let text = text.trim();
    everywhere(text, state, knowledge).unwrap_or_else(|| here(text, state, knowledge))
}

fn everywhere(text: &str, state: &State, knowledge: &Knowledge) -> Option<Input> {
    let free = matches!(state.ask, Ask::Note | Ask::Opening(Item::Complaint));
    let lower = text.to_lowercase();
    let (word, rest) = lower.split_once(' ').map_or((lower.as_str(), ""), |(w, r)| (w, r.trim()));
    if word == "note" && !free {
        return Some(Input::Note(text.get(4..).unwrap_or("").trim().to_owned()));
    }
    if !rest.is_empty() {
        return None;
    }
    Some(match word {
        "?" | "skip" => Input::Skip,
        "why" => Input::Why,
        "causes" => Input::Causes,
        "help" | "h" => Input::Help,
        "back" | "b" => Input::Back,
        "leave" | "quit" | "q" | "exit" => Input::Leave,
        "close" => Input::CloseCase,
        "other" => Input::Menu(Pick::Other(others(state))),
        "give" => Input::Menu(Pick::Reading(readings(state, knowledge))),
        "did" => Input::Menu(Pick::Did(
            knowledge
                .remedies
                .values()
                .filter(|r| here_too(r, state, knowledge))
                .map(|r| r.id.clone())
                .collect(),
        )),
        "suspect" => Input::Menu(Pick::Suspect(suspects(state, knowledge))),
        "correct" => Input::Menu(Pick::Correct((0..state.case.events.len()).collect())),
        _ => return None,
    })
}

fn others(state: &State) -> Vec<crate::plan::Candidate> {
    let next = state.assessment.as_ref().map_or(&[][..], |a| &a.plan.next);
    next.iter().skip(1).take(12).cloned().collect()
}

fn readings(state: &State, knowledge: &Knowledge) -> Vec<String> {
    let machine = knowledge.machines.get(&state.case.machine);
    let applies = |c: &&Check| machine.is_some_and(|m| m.can_do(&c.work, state.case.fitted.as_ref()));
    let mut checks: Vec<&Check> = knowledge.checks.values().filter(applies).collect();
    checks.sort_by(|a, b| (&a.work.place.value, &a.id).cmp(&(&b.work.place.value, &b.id)));
    let circumstances = knowledge.circumstances.keys().map(|id| id.as_str().to_owned());
    checks.iter().map(|c| c.id.as_str().to_owned()).chain(circumstances).collect()
}

fn here_too(remedy: &crate::knowledge::Remedy, state: &State, knowledge: &Knowledge) -> bool {
    let machine = knowledge.machines.get(&state.case.machine);
    machine.is_some_and(|m| m.can_do(&remedy.work, state.case.fitted.as_ref()))
}

fn suspects(state: &State, knowledge: &Knowledge) -> Vec<crate::ids::CauseId> {
    let mut causes: Vec<_> =
        knowledge.causes.values().filter(|c| c.machines.contains_key(&state.case.machine)).collect();
    causes.sort_by(|a, b| a.head.title.cmp(&b.head.title));
    causes.into_iter().map(|c| c.id.clone()).collect()
}

fn here(text: &str, state: &State, knowledge: &Knowledge) -> Input {
    match &state.ask {
        Ask::Opening(item) => opening(*item, text, state),
        Ask::MakeSafe => yes_no(text).map_or_else(
            || say("Type y once it is stopped and safe."),
            |yes| {
                if yes {
                    Input::Safe
                } else {
                    say("Stop the machine and make it safe first. Type y once it is.")
                }
            },
        ),
        Ask::Symptoms(list) => symptoms(text, list, knowledge),
        Ask::Target(_) => target(text),
        Ask::Check(id) => {
            knowledge.checks.get(id).map_or(Input::Skip, |check| check_answer(text, check, state))
        }
        Ask::Circumstance(_) => match yes_no(text) {
            Some(true) => Input::Happened(Happened::Happened),
            Some(false) => Input::Happened(Happened::DidNot),
            None => say("Type y if it happened, n if it did not, ? if nobody can tell."),
        },
        Ask::Authority(_) => yes_no(text).map_or_else(|| say("Type y or n."), Input::Procedure),
        Ask::Locked(_) | Ask::StillLocked(_) => key(text),
        Ask::Remedy(_) => {
            pick(text, &RESULTS).map_or_else(|| say("Type 1, 2 or 3 once it is done."), Input::Result)
        }
        Ask::Setting(_) => setting(text),
        Ask::Send => pick(text, &SENDS).unwrap_or_else(|| say("Type 1, or 'other' for other steps.")),
        Ask::Pick(list) => {
            numbered(text, length(list)).map_or_else(|| say("Type the number of one of them."), Input::Chosen)
        }
        Ask::Note => Input::NoteText(text.to_owned()),
        Ask::Close => pick(text, &CLOSINGS).map_or_else(|| say("Type 1, 2, 3 or 4."), Input::Close),
        Ask::Over(_) => Input::Leave,
    }
}

/// How a remedy went, as numbered.
pub const RESULTS: [RemedyResult; 3] =
    [RemedyResult::GoneNotProved, RemedyResult::StillThere, RemedyResult::Changed];
/// How a case can be closed, as numbered.
pub const CLOSINGS: [Closing; 4] =
    [Closing::Cured, Closing::GoneNotProved, Closing::SentSomebody, Closing::LeftOpen];
const SENDS: [Input; 1] = [Input::Close(Closing::SentSomebody)];

fn say(sentence: &str) -> Input {
    Input::Misunderstood(sentence.to_owned())
}

fn pick<T: Clone>(text: &str, list: &[T]) -> Option<T> {
    numbered(text, list.len()).map(|place| list[place].clone())
}

fn numbered(text: &str, length: usize) -> Option<usize> {
    text.trim_end_matches(['.', ')'])
        .parse::<usize>()
        .ok()
        .filter(|n| (1..=length).contains(n))
        .map(|n| n - 1)
}

fn length(pick: &Pick) -> usize {
    match pick {
        Pick::Reading(list) => list.len(),
        Pick::Other(list) => list.len(),
        Pick::Did(list) => list.len(),
        Pick::Suspect(list) => list.len(),
        Pick::Correct(list) => list.len(),
    }
}

fn yes_no(text: &str) -> Option<bool> {
    match text.to_lowercase().as_str() {
        "y" | "yes" | "1" => Some(true),
        "n" | "no" | "2" => Some(false),
        _ => None,
    }
}

/// Who can be at the machine, as numbered in the opening.
pub const WHO: [&str; 5] = ["nobody", "operator", "authorised", "here", "here-electrical"];

fn opening(item: Item, text: &str, state: &State) -> Input {
    let word = |answer: Option<&str>, wanted: &str| {
        answer.map_or_else(|| say(wanted), |answer| Input::Opening(answer.to_owned()))
    };
    match item {
        Item::Danger => match yes_no(text) {
            Some(false) => Input::Opening("none".to_owned()),
            Some(true) => Input::Opening("said".to_owned()),
            None if text.is_empty() => {
                say("Type n if nobody is hurt and nothing odd moves; else say what it is.")
            }
            None => Input::Opening(text.to_owned()),
        },
        Item::Sealed | Item::EverRight | Item::DoingItNow | Item::Held => {
            word(yes_no(text).map(|yes| if yes { "yes" } else { "no" }), "Type y, n, or ? if nobody knows.")
        }
        Item::Who => word(pick(text, &WHO), "Type 1 to 5."),
        Item::Machine => {
            let named = state.machines.iter().position(|m| m.as_str() == text);
            let place = named.or_else(|| numbered(text, state.machines.len()));
            word(place.map(|p| state.machines[p].as_str()), "Type the number of the machine.")
        }
        Item::Serial | Item::Since | Item::Complaint if text.is_empty() => {
            say("Type it in a few words, or ? to skip.")
        }
        Item::Serial | Item::Since | Item::Complaint => Input::Opening(text.to_owned()),
    }
}

fn symptoms(text: &str, list: &[FindingId], knowledge: &Knowledge) -> Input {
    let mut chosen = Vec::new();
    for word in text.split([',', ' ']).filter(|w| !w.is_empty()) {
        if let Some(place) = numbered(word, list.len()) {
            chosen.push(list[place].clone());
        } else if knowledge.findings.contains_key(word) {
            chosen.push(FindingId::new(word));
        } else if matches!(word, "0" | "none" | "no") {
            return Input::Symptoms(Vec::new());
        } else {
            return say("Type the numbers that fit, like 1 or 1,3. Type 0 if none does.");
        }
    }
    if chosen.is_empty() {
        say("Type the numbers that fit, or 0 if none does.")
    } else {
        Input::Symptoms(chosen)
    }
}

fn target(text: &str) -> Input {
    match Quantity::parse_in(text, Kind::Mass.base()) {
        Ok(q) if q.number > 0.0 => Input::Target { figure: q.number, unit: q.unit.name.to_owned() },
        Ok(_) => say("A target is more than nothing. Type it like 250 g."),
        Err(error) => Input::Misunderstood(sentence(&error.to_string())),
    }
}

fn key(text: &str) -> Input {
    match yes_no(text) {
        Some(false) => Input::Locked(None),
        Some(true) => say("Whose key is it? Type the name, or n if it is not locked."),
        None if text.is_empty() => say("Type whose key it is, or n if it is not locked."),
        None => Input::Locked(Some(text.to_owned())),
    }
}

fn setting(text: &str) -> Input {
    let (old, new) = text
        .split_once("->")
        .or_else(|| text.split_once(" to "))
        .map_or((text, ""), |(o, n)| (o.trim(), n.trim()));
    let given = |t: &str| (!t.is_empty()).then(|| t.to_owned());
    match (given(old), given(new)) {
        (None, None) => say("Type old and new, like 3.0 g to 1.5 g, or ? to skip."),
        (old, new) => Input::Setting { old, new },
    }
}

fn check_answer(text: &str, check: &Check, state: &State) -> Input {
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
fn two(text: &str) -> Option<(String, String)> {
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
    let options = ReadOptions { unit: Unit::find(unit), ..ReadOptions::default() };
    match read(text, &options) {
        Ok(read) if read.skipped.is_empty() => {
            let unit_of = Unit::find(unit).unwrap_or_else(|| Kind::Mass.base());
            let values = read
                .run
                .values()
                .iter()
                .map(|grams| crate::units::significant(unit_of.from_base(*grams)))
                .collect();
            Input::Reading(Reading::Fills(super::step::fills(*target, unit, values)))
        }
        Ok(read) => {
            let what: Vec<String> = read.skipped.iter().take(3).map(|s| format!("'{}'", s.text)).collect();
            Input::Misunderstood(format!("Not a weight: {}. Type the whole run again.", what.join(", ")))
        }
        Err(error) => Input::Misunderstood(sentence(&error.to_string())),
    }
}

fn sentence(text: &str) -> String {
    let mut chars = text.chars();
    let first = chars.next().map_or_else(String::new, |c| c.to_uppercase().collect());
    format!("{first}{}.", chars.as_str())
}
