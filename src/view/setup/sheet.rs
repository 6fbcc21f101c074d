//! The settings sheet of a product, and the list of set-ups.

use super::super::words;
use super::super::{Block, Page, Table, Words};
use super::{found, quantity};
use crate::casebook::set_up::{Correction, SetUpLine, SetUpLog};
use crate::knowledge::Knowledge;
use crate::walk::setup::Course;

/// The sheet: every setting with its figure, what was reached with it, and each change.
pub fn sheet(knowledge: &Knowledge, log: &SetUpLog, time: &dyn Fn(&str) -> String) -> Page {
    let head = &log.head;
    let mut page = Page::titled(format!("Settings for {}", head.product));
    let Some(machine) = knowledge.machines.get(&head.machine) else {
        page.text(format!("The machine '{}' is not known here.", head.machine));
        return page;
    };
    let course = Course::of(machine, head, log.lines.iter().map(|kept| &kept.line));
    let serial = head.serial.as_ref().map_or(String::new(), |serial| format!(", serial number {serial}"));
    page.text(format!("{}{serial}.", machine.head.title));
    page.text(format!(
        "Target {}, {} either way, {}.",
        quantity(head.target),
        quantity(head.tolerance),
        head.fills_a_minute.map_or_else(
            || "at any speed".to_owned(),
            |speed| format!("{} fills a minute wanted", words::rounded(speed, Some(0.1)))
        )
    ));
    match log.ended() {
        Some((name, at)) => page.text(format!("Found good and signed by {name}, {}.", time(at))),
        None => page.text(Words::new().strong("Not finished: these figures are not proved.")),
    }
    page.heading("Settings");
    found::settings(&mut page, machine, &course);
    match course.corrects {
        Some(Correction::StaysOn) => page.text("The machine goes on correcting its allowance by itself."),
        Some(Correction::SwitchedOff) => page.text("Its own correction was off while it was set."),
        _ => {}
    }
    page.heading("What was reached");
    found::reached(&mut page, &course);
    found::changes(&mut page, machine, &course);
    let notes: Vec<&str> = log
        .lines
        .iter()
        .filter_map(|kept| match &kept.line {
            SetUpLine::Note { text } => Some(text.as_str()),
            _ => None,
        })
        .collect();
    page.section("Remarks", notes);
    for damage in &log.damage {
        page.push(Block::Banner(words::sentence(damage)));
    }
    page.text(format!("Set-up {}, sum {}.", log.id, log.sum));
    page.push(Block::Notice);
    page
}

/// All set-ups kept here.
pub fn list(knowledge: &Knowledge, logs: &[SetUpLog], time: &dyn Fn(&str) -> String) -> Page {
    let mut page = Page::titled("Set-ups");
    if logs.is_empty() {
        page.text("None was begun here.");
        page.hint("handlamp setup run begins one.");
        return page;
    }
    let mut table = Table::new(&["set-up", "product", "machine", "target", "state"]);
    for log in logs {
        let machine = knowledge.machines.get(&log.head.machine).map_or("not known here", |m| &m.head.title);
        let state = match log.ended() {
            Some((name, at)) => format!("signed by {name}, {}", time(at)),
            None => "open".to_owned(),
        };
        table.row([log.id.as_str(), &log.head.product, machine, &quantity(log.head.target), &state]);
    }
    page.push(Block::Table(table));
    page.hint("handlamp setup continue ID goes on; handlamp setup sheet ID prints the settings.");
    page
}
