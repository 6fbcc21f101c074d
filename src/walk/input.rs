//! What a person typed, understood for what is being asked. Numbers choose; a few words work at every prompt.

use super::opening::sounds_dangerous;
use super::read::{check_answer, setting, target};
use super::state::{Answered, Ask, Item, Pick, State};
use crate::casebook::{Closing, Happened, Reading, RemedyResult};
use crate::diag::harmless;
use crate::ids::FindingId;
use crate::knowledge::{Check, Knowledge};

/// Longest line taken.
pub(super) const LONGEST_LINE: usize = 20_000;

/// One thing a person did.
#[derive(Debug, Clone, PartialEq)]
pub enum Input {
    /// An answer to an item of the opening, already in its word.
    Opening(String),
    /// Words of danger where something else was asked.
    Danger(String),
    /// It is stopped and safe.
    Safe,
    /// These symptoms are meant; none is possible.
    Symptoms(Vec<FindingId>),
    /// These of the things that the caller's words may mean are so, by place from zero.
    Told(Vec<usize>),
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
    /// Whether the machine is handed back: guards on, people clear, every lock off.
    HandedBack(bool),
    /// The remedy is done under the lock; now it is handed back and tried.
    ToTry,
    /// A setting's old and new figure.
    Setting {
        /// What stood there.
        old: Option<String>,
        /// What was typed.
        new: Option<String>,
    },
    /// Whether a setting was put back.
    PutBack(bool),
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
    ("give", "give any other reading; 'give flap' lists those of the flap"),
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
    let input = everywhere(text, state, knowledge).unwrap_or_else(|| here(text, state, knowledge));
    match input {
        Input::Misunderstood(_) | Input::Note(_) | Input::NoteText(_) if sounds_dangerous(text) => {
            Input::Danger(text.to_owned())
        }
        input => input,
    }
}

/// Whether a line is one of the words that work at every prompt, so that no more lines belong to it.
pub fn is_word(line: &str) -> bool {
    let lower = line.trim().to_lowercase();
    let word = lower.split(' ').next().unwrap_or("");
    matches!(word, "skip" | "h" | "b" | "quit" | "q" | "exit")
        || WORDS.iter().any(|(known, _)| *known == word)
}

fn everywhere(text: &str, state: &State, knowledge: &Knowledge) -> Option<Input> {
    let free = matches!(state.ask, Ask::Note | Ask::Opening(Item::Complaint));
    let lower = text.to_lowercase();
    let (word, rest) = lower.split_once(' ').map_or((lower.as_str(), ""), |(w, r)| (w, r.trim()));
    if word == "note" && !free {
        return Some(Input::Note(text.get(4..).unwrap_or("").trim().to_owned()));
    }
    if !rest.is_empty() {
        // A word of what to choose may stand beside the list's name; an answer in words may not be mistaken for it.
        let answers = free || matches!(state.ask, Ask::Opening(_) | Ask::Before(_) | Ask::Setting(_));
        let list = list_of(word, state, knowledge).filter(|_| !answers)?;
        return Some(narrowed(list, rest, knowledge));
    }
    Some(match word {
        "?" | "skip" => Input::Skip,
        "why" => Input::Why,
        "causes" => Input::Causes,
        "help" | "h" => Input::Help,
        "back" | "b" => Input::Back,
        "leave" | "quit" | "q" | "exit" => Input::Leave,
        "close" => Input::CloseCase,
        _ => Input::Menu(list_of(word, state, knowledge)?),
    })
}

/// The list that a word opens.
fn list_of(word: &str, state: &State, knowledge: &Knowledge) -> Option<Pick> {
    let remedies = || {
        let here = knowledge.remedies.values().filter(|r| !r.hands_over && here_too(r, state, knowledge));
        here.map(|r| r.id.clone()).collect()
    };
    Some(match word {
        "other" => Pick::Other(others(state)),
        "give" => Pick::Reading(readings(state, knowledge)),
        "did" => Pick::Did(remedies()),
        "suspect" => Pick::Suspect(suspects(state, knowledge)),
        "correct" => Pick::Correct(answered(state)),
        _ => return None,
    })
}

/// The part of a list whose titles hold all the words typed.
fn narrowed(mut list: Pick, words: &str, knowledge: &Knowledge) -> Input {
    let words: Vec<String> = words.to_lowercase().split_whitespace().map(str::to_owned).collect();
    let fits = |title: Option<&str>| {
        let title = title.unwrap_or("").to_lowercase();
        words.iter().all(|word| title.contains(word.as_str()))
    };
    let title = |id: &str| knowledge.title(id);
    match &mut list {
        Pick::Reading(ids) => ids.retain(|id| fits(title(id))),
        Pick::Other(steps) => steps.retain(|step| fits(title(&step.id))),
        Pick::Did(ids) => ids.retain(|id| fits(title(id.as_str()))),
        Pick::Suspect(ids) => ids.retain(|id| fits(title(id.as_str()))),
        Pick::Correct(_) => return say("Type the number of one of them."),
    }
    if list.is_empty() {
        return say("Nothing in the list is called that. Type a number, or another word.");
    }
    Input::Menu(list)
}

fn others(state: &State) -> Vec<crate::plan::Candidate> {
    let next = state.assessment.as_ref().map_or(&[][..], |a| &a.plan.next);
    next.iter().filter(|c| state.ask.id() != Some(c.id.as_str())).take(20).cloned().collect()
}

fn readings(state: &State, knowledge: &Knowledge) -> Vec<String> {
    let machine = knowledge.machines.get(&state.case.machine);
    let applies = |c: &&Check| machine.is_some_and(|m| m.can_do(&c.work, state.case.fitted.as_ref()));
    let mut checks: Vec<&Check> = knowledge.checks.values().filter(applies).collect();
    checks.sort_by(|a, b| (&a.work.place.value, &a.id).cmp(&(&b.work.place.value, &b.id)));
    let circumstances = knowledge.circumstances.keys().map(|id| id.as_str().to_owned());
    checks.iter().map(|c| c.id.as_str().to_owned()).chain(circumstances).collect()
}

/// Every answer that can be put right: what was found, then the opening.
fn answered(state: &State) -> Vec<Answered> {
    let events = (0..state.case.events.len()).map(Answered::Event);
    // Another machine would make nothing of the answers given for this one.
    let settled = |item: &Item| *item == Item::Machine && !state.case.events.is_empty();
    let items = state.opened.iter().filter(|item| !settled(item)).copied().map(Answered::Opening);
    events.chain(items).collect()
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
            || say("Not stopped? Mains off at the disconnector, from outside, and people away. Type y once it is stopped and safe."),
            |yes| {
                if yes {
                    Input::Safe
                } else {
                    say("Stop the machine and make it safe first. Type y once it is.")
                }
            },
        ),
        Ask::Symptoms(list) => symptoms(text, list, knowledge),
        Ask::Told(list) => told(text, list.len()),
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
            pick(text, results(state)).unwrap_or_else(|| say("Type the number once it is done."))
        }
        Ask::HandBack(_) => yes_no(text).map_or_else(
            || say("Type y once all of it is done, n if the lock stays on."),
            Input::HandedBack,
        ),
        Ask::Before(id) | Ask::Setting(id) => setting(text, id, state, knowledge),
        Ask::PutBack(_) => {
            yes_no(text).map_or_else(|| say("Type y once it is put back, n if it stays."), Input::PutBack)
        }
        Ask::Send => pick(text, &SENDS).unwrap_or_else(|| say("Type 1, or 'other' for other steps.")),
        Ask::Pick(list) => match numbered(text, list.len()) {
            Some(place) => Input::Chosen(place),
            None => narrowed(list.clone(), text, knowledge),
        },
        Ask::Note => Input::NoteText(text.to_owned()),
        Ask::Close => pick(text, &CLOSINGS).map_or_else(|| say("Type 1, 2, 3 or 4."), Input::Close),
        Ask::Over(_) => Input::Leave,
    }
}

/// How a remedy went, as numbered.
const RESULTS: [Input; 3] = [
    Input::Result(RemedyResult::GoneNotProved),
    Input::Result(RemedyResult::StillThere),
    Input::Result(RemedyResult::Changed),
];
/// What can be said while a lock is on: nobody knows yet how it went.
const UNDER_A_LOCK: [Input; 2] = [Input::ToTry, Input::Result(RemedyResult::NotTried)];

/// What can be said of a remedy now, as numbered. Under a lock it is handed back before it is tried.
pub fn results(state: &State) -> &'static [Input] {
    // What is corrected was tried before, whatever lock is on now.
    let corrects = state.correcting.is_some() && state.to_try().is_none();
    if state.lockout.key.is_some() && !corrects { &UNDER_A_LOCK } else { &RESULTS }
}
/// How a case can be closed, as numbered.
pub const CLOSINGS: [Closing; 4] =
    [Closing::Cured, Closing::GoneNotProved, Closing::SentSomebody, Closing::LeftOpen];
const SENDS: [Input; 1] = [Input::Close(Closing::SentSomebody)];

pub(super) fn say(sentence: &str) -> Input {
    Input::Misunderstood(sentence.to_owned())
}

fn pick<T: Clone>(text: &str, list: &[T]) -> Option<T> {
    numbered(text, list.len()).map(|place| list[place].clone())
}

pub(super) fn numbered(text: &str, length: usize) -> Option<usize> {
    text.trim_end_matches(['.', ')'])
        .parse::<usize>()
        .ok()
        .filter(|n| (1..=length).contains(n))
        .map(|n| n - 1)
}

pub(super) fn yes_no(text: &str) -> Option<bool> {
    match text.to_lowercase().as_str() {
        "y" | "yes" => Some(true),
        "n" | "no" => Some(false),
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
    let is = |pattern: &str| {
        let of = |id: &FindingId| knowledge.findings.get(id).and_then(|f| f.pattern.as_ref());
        chosen.iter().any(|id| of(id).is_some_and(|p| p.value == pattern))
    };
    if chosen.is_empty() {
        say("Type the numbers that fit, or 0 if none does.")
    } else if is("light") && is("heavy") {
        say("Every fill light and every fill heavy cannot both be. Some light and some heavy is scatter.")
    } else {
        Input::Symptoms(chosen)
    }
}

fn told(text: &str, length: usize) -> Input {
    match yes_no(text) {
        Some(true) if text != "1" => return Input::Told((0..length).collect()),
        Some(false) if text != "2" => return Input::Told(Vec::new()),
        _ => {}
    }
    let words: Vec<&str> = text.split([',', ' ']).filter(|w| !w.is_empty()).collect();
    let chosen: Option<Vec<usize>> = words.iter().map(|word| numbered(word, length)).collect();
    match chosen {
        Some(chosen) if !chosen.is_empty() => Input::Told(chosen),
        _ if words == ["0"] => Input::Told(Vec::new()),
        _ => say("Type y for all, the numbers of those that are so, or 0 for none."),
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
