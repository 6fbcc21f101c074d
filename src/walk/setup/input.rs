//! What a person typed, understood for what a set-up asks now. An empty line is never an answer.

use super::course::unit_of;
use super::state::{Proposal, SetUpAsk, SetUpState};
use crate::casebook::Fills;
use crate::casebook::set_up::Correction;
use crate::diag::harmless;
use crate::ids::{MachineId, OutcomeId, SettingId};
use crate::knowledge::{Knowledge, Machine, Setting};
use crate::units::{Kind, Quantity, Unit, significant};
use crate::walk::checklist::input::is_name;
use crate::walk::input::{LONGEST_LINE, numbered, yes_no};
use crate::walk::read::{sentence, slip, two};
use crate::walk::sounds_dangerous;
use crate::weights::{ReadOptions, read};

/// Longest time of a part of a fill that is believed, seconds.
const LONGEST_TIME: f64 = 120.0;
/// Most fills a minute that are believed.
const MOST_A_MINUTE: f64 = 200.0;

/// So many times the upper end of what is usual is a slip.
const FAR_OFF: f64 = 10.0;

/// One thing a person did.
#[expect(clippy::large_enum_variant, reason = "one lives at a time")]
#[derive(Debug, Clone, PartialEq)]
pub enum SetUpInput {
    /// The machine.
    Machine(MachineId),
    /// Words that were asked for: a product, a name, a key's owner.
    Words(String),
    /// Target and tolerance.
    Target(Quantity, Quantity),
    /// Fills a minute; none when the speed does not matter.
    Speed(Option<f64>),
    /// Yes or no.
    Truth(bool),
    /// What the machine does by itself.
    Corrects(Correction),
    /// A figure; none when nobody knows.
    Figure(Option<Quantity>),
    /// What was seen.
    Seen(OutcomeId),
    /// Coarse seconds, fine seconds, fills a minute.
    Times(f64, f64, f64),
    /// Grams caught in ten seconds.
    Caught(f64),
    /// The change is made as proposed.
    Done,
    /// The fills, and fills a minute while they were made.
    Run(Fills, Option<f64>),
    /// There is none, or not now.
    Skip,
    /// Leave this setting where it is.
    Keep,
    /// Take the last change back.
    Back,
    /// A person's own change.
    Own(SettingId, Quantity),
    /// Over to a diagnosis.
    Diagnose,
    /// Go on as it is.
    GoOn,
    /// A remark.
    Note(String),
    /// Somebody else goes on.
    Person(String),
    /// Why this?
    Why,
    /// Everything so far.
    Overview,
    /// What can be typed?
    Help,
    /// Leave; everything is kept.
    Leave,
    /// Words of danger.
    Danger(String),
    /// Not understood; why, in a sentence.
    Misunderstood(String),
}

/// The words that work at every question, each with what it does.
pub const SET_UP_WORDS: &[(&str, &str)] = &[
    ("why", "why this is asked"),
    ("back", "take the last change back and leave that setting there"),
    ("keep", "leave the setting that is asked about where it is"),
    ("set", "a change of your own, like: set coarse-rate 70"),
    ("list", "everything found and changed so far"),
    ("diagnose", "look for a fault, with what was found so far"),
    ("note", "write a remark down"),
    ("person", "somebody else goes on, like: person Ann Reed"),
    ("leave", "leave; everything answered is kept"),
    ("help", "this list"),
];

fn say(text: impl Into<String>) -> SetUpInput {
    SetUpInput::Misunderstood(text.into())
}

/// Understands a line for what is asked now.
pub fn understand(line: &str, state: &SetUpState, knowledge: &Knowledge) -> SetUpInput {
    if line.len() > LONGEST_LINE {
        return say("That is too long for one answer.");
    }
    let text = harmless(line);
    let text = text.trim();
    let machine = state.draft.machine.as_ref().and_then(|id| knowledge.machines.get(id));
    let input = everywhere(text, machine, state).unwrap_or_else(|| here(text, state, knowledge));
    match input {
        SetUpInput::Misunderstood(_) | SetUpInput::Note(_) | SetUpInput::Words(_)
            if sounds_dangerous(text) =>
        {
            SetUpInput::Danger(text.to_owned())
        }
        input => input,
    }
}

fn everywhere(text: &str, machine: Option<&Machine>, state: &SetUpState) -> Option<SetUpInput> {
    let (word, rest) = text.split_once(' ').unwrap_or((text, ""));
    let rest = rest.trim();
    let alone = rest.is_empty();
    Some(match word.to_lowercase().as_str() {
        "" => say("An answer is needed. 'help' lists what can be typed."),
        "why" if alone => SetUpInput::Why,
        "list" if alone => SetUpInput::Overview,
        "help" if alone => SetUpInput::Help,
        "leave" | "quit" | "exit" if alone => SetUpInput::Leave,
        "back" if alone => SetUpInput::Back,
        "keep" if alone => SetUpInput::Keep,
        "diagnose" if alone => SetUpInput::Diagnose,
        "note" if alone => say("Write the remark behind the word, like: note new lot from today."),
        "note" => SetUpInput::Note(rest.to_owned()),
        "person" if !alone => SetUpInput::Person(rest.to_owned()),
        "set" if machine.is_some() && !alone => own(rest, machine?, state),
        _ => return None,
    })
}

/// A person's own change: the setting's name and its figure.
fn own(text: &str, machine: &Machine, state: &SetUpState) -> SetUpInput {
    let (name, figure) = text.split_once(' ').unwrap_or((text, ""));
    let Some(setting) = machine.settings.iter().find(|s| s.id.as_str() == name && s.set_up.is_some()) else {
        let known = machine.settings.iter().filter(|s| s.set_up.is_some()).map(|s| s.id.as_str());
        let known: Vec<_> = known.collect();
        return say(format!("No setting to find here is called '{name}'. There are: {}.", known.join(", ")));
    };
    match figure_for(figure, Some(setting), state) {
        Ok(figure) => SetUpInput::Own(setting.id.clone(), figure),
        Err(why) => say(why),
    }
}

fn figure_in(text: &str, unit: &'static Unit) -> Result<Quantity, String> {
    let read = Quantity::parse_in(text, unit).map_err(|e| sentence(&e.to_string()))?;
    if read.number < 0.0 || !read.number.is_finite() {
        return Err("A setting is not below nought.".to_owned());
    }
    Ok(read)
}

/// Whether a figure lies well outside of where the change begins and ends: the number of an answer, a slip of a digit.
fn far_from(figure: &Quantity, proposal: &Proposal) -> bool {
    let (old, new) = (proposal.old.base(), proposal.new.base());
    let room = 0.5 * old.max(new);
    !(old.min(new) - room..=old.max(new) + room).contains(&figure.base())
}

/// A figure that can stand there: a slip of a digit or a unit is asked again.
fn figure_for(text: &str, setting: Option<&Setting>, state: &SetUpState) -> Result<Quantity, String> {
    let unit = setting.map_or(Kind::Count.base(), unit_of);
    let figure = figure_in(text, unit)?;
    let target = state.draft.target.map_or(f64::INFINITY, |(target, _)| target.base());
    let usual = setting.and_then(|s| s.set_up.as_ref()).and_then(|how| how.to);
    let most = match unit.kind {
        Kind::Mass => target,
        Kind::Share => 100.0,
        _ => usual.map_or(f64::INFINITY, |to| FAR_OFF * to),
    };
    if figure.base() <= most {
        return Ok(figure);
    }
    let usual =
        setting.and_then(|s| s.usual.as_ref()).map_or(String::new(), |usual| format!(" Usual is {usual}."));
    Err(format!(
        "{} {} is too much to be true.{usual} Which figure stands there?",
        figure.number, figure.unit.name
    ))
}

fn here(text: &str, state: &SetUpState, knowledge: &Knowledge) -> SetUpInput {
    let machine = state.draft.machine.as_ref().and_then(|id| knowledge.machines.get(id));
    match &state.ask {
        SetUpAsk::Machine(machines) => match numbered(text, machines.len()) {
            Some(which) => SetUpInput::Machine(machines[which].clone()),
            None => say("Type the number of the machine."),
        },
        SetUpAsk::Lock(_) if yes_no(text) == Some(false) => SetUpInput::Keep,
        SetUpAsk::Lock(_) | SetUpAsk::Sign { .. } if !is_name(text) => say("A name is needed."),
        SetUpAsk::Product | SetUpAsk::Lock(_) | SetUpAsk::Sign { .. } => SetUpInput::Words(text.to_owned()),
        SetUpAsk::Target => target(text),
        SetUpAsk::Speed => speed(text),
        SetUpAsk::Gate(_) | SetUpAsk::HandBack => {
            yes_no(text).map_or_else(|| say("y once it is so, n if not."), SetUpInput::Truth)
        }
        SetUpAsk::Corrects => match text {
            "1" => SetUpInput::Corrects(Correction::Off),
            "2" => SetUpInput::Corrects(Correction::SwitchedOff),
            "3" => SetUpInput::Corrects(Correction::StaysOn),
            _ => say("Type 1, 2 or 3."),
        },
        SetUpAsk::Figure(_) if text == "?" => SetUpInput::Figure(None),
        SetUpAsk::Figure(id) => match figure_for(text, machine.and_then(|m| m.setting(id)), state) {
            Ok(figure) => SetUpInput::Figure(Some(figure)),
            Err(why) => say(why),
        },
        SetUpAsk::Look { check, .. } => {
            let outcomes = knowledge.checks.get(check).map(|c| c.outcomes.as_slice()).unwrap_or_default();
            match numbered(text, outcomes.len()) {
                Some(which) => SetUpInput::Seen(outcomes[which].id.value.clone()),
                None => say("Type the number of what is seen."),
            }
        }
        SetUpAsk::Times => times(text),
        SetUpAsk::Catch => match figure_in(text, Kind::Mass.base()) {
            Ok(figure) if figure.base() > 0.0 => SetUpInput::Caught(figure.base()),
            Ok(_) => say("Nothing came? Then look at the layer and the drive: type diagnose."),
            Err(why) => say(why),
        },
        SetUpAsk::Change(proposal) => match yes_no(text) {
            _ if text == "done" => SetUpInput::Done,
            Some(true) => SetUpInput::Done,
            Some(false) => SetUpInput::Keep,
            None => match figure_for(text, machine.and_then(|m| m.setting(&proposal.setting)), state) {
                Ok(figure) if far_from(&figure, proposal) => say(format!(
                    "{} {} is far from {} {}. Type done, the figure again if it was a slip, or: set {} {}",
                    figure.number,
                    figure.unit.name,
                    proposal.new.number,
                    proposal.new.unit.name,
                    proposal.setting,
                    figure.number
                )),
                Ok(figure) => SetUpInput::Figure(Some(figure)),
                Err(why) => say(format!("{why} Type done once it is set, or the figure that it was set to.")),
            },
        },
        SetUpAsk::AsFound | SetUpAsk::Run(_) if text == "skip" => SetUpInput::Skip,
        SetUpAsk::AsFound | SetUpAsk::Run(_) => run(text, state),
        SetUpAsk::Stuck(_) => match text {
            "1" => SetUpInput::Diagnose,
            "2" => SetUpInput::GoOn,
            _ => say("Type 1 or 2."),
        },
        SetUpAsk::Over => SetUpInput::Leave,
    }
}

/// '250 g, 2 g', '250 2' or '250 g ± 2 g'.
fn target(text: &str) -> SetUpInput {
    let text = text.replace("+/-", ";").replace("+-", ";").replace('±', ";");
    let hint = "Type the target and what is allowed either way, like: 250 g, 2 g.";
    let Some((first, second)) = two(&text) else { return say(hint) };
    let Ok(target) = Quantity::parse_in(&first, Kind::Mass.base()) else { return say(hint) };
    let unit = if target.unit.kind == Kind::Mass { target.unit } else { return say(hint) };
    let Ok(tolerance) = Quantity::parse_in(&second, unit) else { return say(hint) };
    if !is_goal(target, tolerance) {
        return say("The target is above nought, and what is allowed either way is less than the target.");
    }
    SetUpInput::Target(target, tolerance)
}

/// Whether a fill can be brought to this: both above nought, and the tolerance less than the target.
pub fn is_goal(target: Quantity, tolerance: Quantity) -> bool {
    target.base() > 0.0 && tolerance.base() > 0.0 && tolerance.base() < target.base()
}

fn speed(text: &str) -> SetUpInput {
    match speed_of(text) {
        Some(speed) => SetUpInput::Speed(speed),
        None => say("Type how many fills a minute, like 8, or ? if the speed does not matter."),
    }
}

/// Fills a minute in a text: none inside when any will do, none at all when the text says no speed.
pub fn speed_of(text: &str) -> Option<Option<f64>> {
    if matches!(text, "?" | "any" | "none") {
        return Some(None);
    }
    a_minute(text).map(Some)
}

/// Fills a minute that can be believed.
fn a_minute(text: &str) -> Option<f64> {
    crate::units::parse_number(text).ok().filter(|speed| *speed > 0.0 && *speed <= MOST_A_MINUTE)
}

/// Coarse seconds, fine seconds, fills a minute.
fn times(text: &str) -> SetUpInput {
    let hint =
        "Type three figures: seconds of coarse feed, seconds of fine feed, fills a minute. Like: 2.4 1.9 8.5";
    let numbers: Result<Vec<f64>, _> = text
        .split([' ', ';', '\t'])
        .filter(|part| !part.is_empty())
        .map(crate::units::parse_number)
        .collect();
    match numbers.as_deref() {
        Ok([coarse, fine, speed])
            if (0.0..=LONGEST_TIME).contains(coarse)
                && (0.0..=LONGEST_TIME).contains(fine)
                && *speed > 0.0
                && *speed <= MOST_A_MINUTE =>
        {
            if 60.0 / speed + 0.05 < coarse + fine {
                return say(
                    "Coarse and fine feed together take longer than one fill at that speed. Which figure is wrong?",
                );
            }
            SetUpInput::Times(*coarse, *fine, *speed)
        }
        _ => say(hint),
    }
}

/// Fills, and 'at 8.5' for fills a minute at the end.
fn run(text: &str, state: &SetUpState) -> SetUpInput {
    let (weights, speed) = match text.rsplit_once("at ") {
        Some((weights, speed)) => match a_minute(speed.trim()) {
            Some(speed) => (weights, Some(speed)),
            None => return say("Behind 'at' stand the fills a minute, like: at 8.5"),
        },
        None => (text, None),
    };
    match fills_of(weights, state) {
        Ok(fills) => SetUpInput::Run(fills, speed),
        Err(why) => say(why),
    }
}

/// The fills in a text, or why it cannot be used.
pub fn fills_of(text: &str, state: &SetUpState) -> Result<Fills, String> {
    let Some((target, _)) = state.draft.target else { return Err("The target is not known yet.".to_owned()) };
    let unit = target.unit;
    let options = ReadOptions { unit: Some(unit), ..ReadOptions::default() };
    let read = read(text, &options).map_err(|e| sentence(&e.to_string()))?;
    if let Some(skipped) = read.skipped.first() {
        return Err(format!("Not a weight: '{}'. That line is left out; type it again.", skipped.text));
    }
    let values: Vec<f64> = read.run.values().iter().map(|g| significant(unit.from_base(*g))).collect();
    if let Some(why) = slip(&values, target.number, unit.name) {
        return Err(why);
    }
    Ok(Fills {
        unit: unit.name.to_owned(),
        target: target.number,
        values,
        shown: Vec::new(),
        division: None,
        tare: None,
        instrument: None,
        lanes: Vec::new(),
        times: Vec::new(),
        settings: Vec::new(),
    })
}
