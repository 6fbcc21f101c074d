//! A set-up as it is asked, and its settings sheet.

mod found;
mod sheet;

use super::words::{self, sentence};
use super::{Block, Lockout, Page, Words};
use crate::casebook::set_up::Gate;
use crate::ids::{CheckId, SettingId};
use crate::knowledge::{Knowledge, Machine, Setting, ToldBy, Work};
use crate::units::Quantity;
use crate::walk::setup::{Proposal, SET_UP_WORDS, SetUpAsk, SetUpState, Stuck, check_of, remedy_of};

pub use found::{overview, why};
pub use sheet::{list, sheet};

/// The caution of everybody who stands beside a running machine.
const RUNNING: &str = "hands-out-while-it-runs";

/// What is asked now.
pub fn question(knowledge: &Knowledge, state: &SetUpState) -> Page {
    let mut page = Page::default();
    page.push(Block::NoticeAround);
    if let SetUpAsk::Machine(machines) = &state.ask {
        page.which_machine(knowledge, machines);
    } else if let Some(machine) = state.draft.machine.as_ref().and_then(|id| knowledge.machines.get(id)) {
        found::last_change(&mut page, machine, state);
        at_machine(&mut page, knowledge, machine, state);
    }
    page
}

fn asks(page: &mut Page, question: impl AsRef<str>, hint: impl AsRef<str>) {
    page.text(Words::new().strong(question));
    page.hint(hint.as_ref());
}

fn at_machine(page: &mut Page, knowledge: &Knowledge, machine: &Machine, state: &SetUpState) {
    match &state.ask {
        SetUpAsk::Machine(_) | SetUpAsk::Over => {}
        SetUpAsk::Product => asks(page, "Which product?", "Like sunflower kernels."),
        SetUpAsk::Target => {
            asks(
                page,
                "What should one fill weigh, net, and what is allowed either way?",
                "Like 250 g, 2 g.",
            );
        }
        SetUpAsk::Speed => asks(
            page,
            "How many fills a minute are wanted?",
            "Like 8. ? if the speed does not matter: then fine feed gets the time it likes.",
        ),
        SetUpAsk::Gate(gate) => self::gate(page, *gate),
        SetUpAsk::Corrects => corrects(page),
        SetUpAsk::Figure(setting) => figure(page, machine, setting, state),
        SetUpAsk::AsFound => as_found(page, knowledge, machine),
        SetUpAsk::Look { setting, check } => look(page, knowledge, machine, setting, check),
        SetUpAsk::Times => times(page, knowledge, machine),
        SetUpAsk::Catch => catch(page, knowledge, machine),
        SetUpAsk::Lock(proposal) => lock(page, knowledge, machine, proposal),
        SetUpAsk::Change(proposal) => change(page, knowledge, machine, proposal),
        SetUpAsk::HandBack => hand_back(page, state),
        SetUpAsk::Run(fills) => run(page, knowledge, machine, *fills, state),
        SetUpAsk::Stuck(stuck) => self::stuck(page, *stuck, state),
        SetUpAsk::Sign { fast_enough } => found::good(page, state.course.as_ref(), *fast_enough),
    }
}

fn gate(page: &mut Page, gate: Gate) {
    match gate {
        Gate::ScaleProved => {
            page.heading("Before anything is set");
            page.bullets([
                "Guards and stops are proved.",
                "The scale is empty, at nought, and reads a known weight right.",
                "The second scale reads a known weight right.",
            ]);
            asks(page, "Is all of it so today?", "y or n.");
        }
        Gate::ProductAsItRuns => {
            page.bullets([
                "It is the lot that will run, as damp and as warm as it will run.",
                "The infeed holds the hopper at its mark.",
                "The bags are the right ones.",
                "What is filled from here on goes back or to waste, not to a customer.",
            ]);
            asks(page, "Is the product as it will run?", "y or n.");
        }
    }
}

fn corrects(page: &mut Page) {
    page.text("A machine that moves its own allowance while you set it hides what you did.");
    page.text(Words::new().strong("Does the machine correct its allowance by itself?"));
    page.push(Block::Numbered(
        [
            "No, or it is off.",
            "It did. I have switched it off for setting up.",
            "It does, and it cannot be switched off.",
        ]
        .map(Words::from)
        .into(),
    ));
    page.hint("Type 1, 2 or 3. With 3 the allowance is left to the machine.");
}

/// A setting with the name that this site's panel has for it.
fn name_of(setting: &Setting) -> String {
    match &setting.called_here {
        Some(here) => format!("{}, here {here}", setting.title),
        None => setting.title.clone(),
    }
}

fn quantity(quantity: Quantity) -> String {
    words::number_with_unit(crate::units::significant(quantity.number), quantity.unit.name)
}

fn figure(page: &mut Page, machine: &Machine, id: &SettingId, state: &SetUpState) {
    let Some(setting) = machine.setting(id) else { return };
    if state.course.as_ref().is_some_and(|course| course.asked.is_empty()) {
        page.heading("As it stands");
        page.text("Write every figure down before anything is changed. That is the way back.");
    }
    page.text(
        Words::new().strong(format!("{}?", name_of(setting))).plain(format!(" {}", setting.what_it_does)),
    );
    if let Some(usual) = &setting.usual {
        page.text(format!("Usual: {usual}."));
    }
    let unit = setting.unit.map_or("", |unit| unit.name);
    page.hint(format!("The figure in {unit}. ? if nobody knows: then it is left alone."));
}

/// The cautions of standing beside a running machine.
fn beside(page: &mut Page, knowledge: &Knowledge) {
    if let Some(caution) = knowledge.cautions.get(RUNNING) {
        page.push(Block::Caution(caution.caution.clone()));
    }
}

/// The steps of a piece of work with their cautions, or why they are not shown.
fn steps(page: &mut Page, knowledge: &Knowledge, machine: &Machine, work: &Work, lockout: Lockout) {
    match knowledge.steps_on(machine, work) {
        Ok(step) if work.steps.is_empty() && step.cautions().is_empty() => {}
        Ok(step) => page.step(step, lockout),
        Err(missing) => page.text(words::sentence(&missing.to_string())),
    }
}

/// The steps of the check that tells of such a setting; the caution of standing beside it where there is none.
fn check_steps(page: &mut Page, knowledge: &Knowledge, machine: &Machine, told_by: ToldBy) {
    match check_of(machine, told_by).and_then(|check| knowledge.checks.get(check)) {
        Some(check) => steps(page, knowledge, machine, &check.work, Lockout::InFull),
        None => beside(page, knowledge),
    }
}

fn as_found(page: &mut Page, knowledge: &Knowledge, machine: &Machine) {
    page.heading("A run as it stands");
    page.text("It shows later what the work has brought. If it is good already, nothing need be changed.");
    check_steps(page, knowledge, machine, ToldBy::Mean);
    asks(
        page,
        "What do ten bags weigh, net, in their order?",
        "One or several a line; then 'at 8.5' with the fills a minute; an empty line ends it. 'skip' if the machine has not run.",
    );
}

fn look(page: &mut Page, knowledge: &Knowledge, machine: &Machine, setting: &SettingId, check: &CheckId) {
    let Some(check) = knowledge.checks.get(check) else { return };
    let name = machine.setting(setting).map_or_else(String::new, |s| words::clause(&s.title));
    page.heading(format!("Look: {}", words::clause(&check.head.title)));
    page.text(format!("It tells how the {name} should stand."));
    steps(page, knowledge, machine, &check.work, Lockout::InFull);
    page.text(Words::new().strong(&check.ask));
    page.push(Block::Numbered(check.outcomes.iter().map(|o| sentence(&o.answer).into()).collect()));
    page.hint(format!("Type a number. 'keep' leaves the {name} where it is."));
}

fn times(page: &mut Page, knowledge: &Knowledge, machine: &Machine) {
    page.heading("Time the fills");
    check_steps(page, knowledge, machine, ToldBy::CoarseFlow);
    page.text("From the same film read the seconds of coarse feed, from its start to that change.");
    asks(
        page,
        "Seconds of coarse feed, seconds of fine feed, fills a minute?",
        "Three figures, like: 2.4 1.9 8.5",
    );
}

fn catch(page: &mut Page, knowledge: &Knowledge, machine: &Machine) {
    page.heading("Fine feed by itself");
    check_steps(page, knowledge, machine, ToldBy::FineFlow);
    asks(page, "By how many grams did the display rise in ten seconds?", "A figure in g, like 62.");
}

/// The change in words: 'coarse rate from 60 to 72 %'.
fn in_words(machine: &Machine, proposal: &Proposal) -> String {
    let name = machine.setting(&proposal.setting).map_or_else(String::new, name_of);
    format!("{name}: from {} to {}", quantity(proposal.old), quantity(proposal.new))
}

fn lock(page: &mut Page, knowledge: &Knowledge, machine: &Machine, proposal: &Proposal) {
    page.heading(in_words(machine, proposal));
    found::reason(page, proposal);
    page.text(Words::new().strong(
        "This is done by hand inside the machine. Only somebody who may lock it out does it, by this machine's written isolation procedure.",
    ));
    if let Some(remedy) = remedy_of(machine, proposal).and_then(|id| knowledge.remedies.get(id)) {
        page.lockout(machine, &machine.exposures(&remedy.work));
    }
    asks(
        page,
        "Locked, tried, and nothing moves? Whose key?",
        "Type whose key it is. n, or 'keep', leaves the setting where it is.",
    );
}

fn change(page: &mut Page, knowledge: &Knowledge, machine: &Machine, proposal: &Proposal) {
    page.heading(in_words(machine, proposal));
    if proposal.back {
        page.text("Back to what stood there before. It is then left alone.");
    }
    found::reason(page, proposal);
    match remedy_of(machine, proposal).and_then(|id| knowledge.remedies.get(id)) {
        Some(remedy) => {
            steps(page, knowledge, machine, &remedy.work, Lockout::Answered);
            page.text("The figure above counts, not a share that the steps name.");
        }
        None => page.text("At the panel, with every guard shut. Change this and nothing else."),
    }
    asks(page, "Is it set?", "'done', or the figure that it was set to. 'keep' leaves it where it is.");
}

fn hand_back(page: &mut Page, state: &SetUpState) {
    let key = state.course.as_ref().and_then(|course| course.lock.as_deref()).unwrap_or("nobody");
    page.heading(format!("The lock of {key} comes off"));
    page.hand_back();
    page.hint("y once it is.");
}

fn run(page: &mut Page, knowledge: &Knowledge, machine: &Machine, fills: usize, state: &SetUpState) {
    let count = words::count(fills, "fill", "fills");
    let known = state.course.as_ref().map_or(0, |course| course.bench.fills.len());
    page.heading(format!("Weigh {}{count}", if known > 0 { "another " } else { "" }));
    if known > 0 {
        page.text("They count with those before: nothing but the allowance was changed since.");
    }
    check_steps(page, knowledge, machine, ToldBy::Mean);
    asks(
        page,
        format!("What do {} weigh, net, in their order?", words::count(fills, "bag", "bags")),
        "One or several a line; then 'at 8.5' with the fills a minute; an empty line ends it.",
    );
}

fn stuck(page: &mut Page, stuck: Stuck, state: &SetUpState) {
    page.heading("No setting cures this");
    page.text(match stuck {
        Stuck::LayerDeep => "The layer rolls, however low the gate was set.",
        Stuck::LayerThin => "The tray is bare in places, however high the gate was set.",
        Stuck::NeverStill => "The reading does not come to rest, however long it is given.",
        Stuck::Light => {
            "Fills are light with no allowance at all: it is not the cut-off that makes them light."
        }
        Stuck::Scatter => "The fills scatter more than the tolerance has room for.",
        Stuck::NoAnswer => "A rate was turned far and the flow hardly changed.",
    });
    if stuck == Stuck::Scatter {
        found::too_wide(page, state);
    }
    page.text(Words::new().strong("What now?"));
    page.push(Block::Numbered(
        [
            "Look for the fault, with all that was found here.",
            "It was put right, or I look again: find everything anew.",
        ]
        .map(Words::from)
        .into(),
    ));
    page.hint("Type 1 or 2. 'back' takes the last change back; 'set …' changes something yourself.");
}

/// The words that can be typed.
pub fn help() -> Page {
    let mut page = Page::default();
    page.heading("At every question you can type");
    page.bullets(
        SET_UP_WORDS.iter().map(|(word, what)| Words::new().strong(*word).plain(format!(": {what}"))),
    );
    page
}
