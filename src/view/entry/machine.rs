//! The page of a machine and of a setting.

use super::super::{Block, Page, Table, Words, words};
use crate::knowledge::{Knowledge, Machine, Setting};
use crate::safety::{Exposures, ScaleSupply};
use crate::units::Kind;

/// Places, energies, starts, options, settings and usual figures.
pub(super) fn machine(page: &mut Page, machine: &Machine) {
    page.section(
        "Where hands go, and what that means",
        machine.places.values().map(|place| {
            let exposures = Exposures::at(&place.traits, &[]);
            let where_one_is: Vec<&str> = exposures.iter().map(words::exposure).collect();
            format!("{}: {}", words::sentence_start(&place.title), words::and(&where_one_is))
        }),
    );
    page.section(
        "Energies, and what shuts each off",
        machine.energies.iter().map(|point| {
            format!(
                "{}: {}",
                words::sentence_start(&point.energy.as_str().replace('-', " ")),
                point.isolated_by
            )
        }),
    );
    page.section("Every way it can start", machine.start_paths.iter().map(|s| words::sentence_start(s)));
    page.text(match machine.scale_supply {
        ScaleSupply::Separate => {
            "The scale has its own supply, so it can stay powered while every drive is locked off."
        }
        ScaleSupply::Shared => "The scale shares its supply with a drive: no hands at a powered scale.",
        ScaleSupply::Unknown => "Whether the scale has its own supply is not known: treat it as shared.",
    });
    page.section("May be fitted", machine.options.values().map(|o| words::sentence_start(o)));
    settings(page, machine);
    figures(page, machine);
}

fn settings(page: &mut Page, machine: &Machine) {
    if machine.settings.is_empty() {
        return;
    }
    page.heading("Settings");
    let mut table = Table::new(&["setting", "for", "usual", "name to type"]);
    for setting in &machine.settings {
        let usual = setting.usual.as_deref().unwrap_or("");
        table.row([setting.title.as_str(), setting.group.as_str(), usual, setting.id.as_str()]);
    }
    page.push(Block::Table(table));
}

fn figures(page: &mut Page, machine: &Machine) {
    let grams = |value| words::size(value, Kind::Mass.base(), None);
    page.heading("Usual figures");
    page.bullets([
        format!("Spread of good fills: {}", grams(machine.usual_spread)),
        format!("Usually allowed: {} either way", grams(machine.tolerance)),
        format!("Smallest step of the display: {}", grams(machine.division)),
        format!("Most it can weigh: {}", grams(machine.capacity)),
        format!("Until somebody is there: {}", words::minutes(machine.send_somebody)),
        format!(
            "Lockout: {} to lock, {} to hand back",
            words::minutes(machine.lockout.0),
            words::minutes(machine.lockout.1)
        ),
    ]);
}

/// What a setting does, and what goes wrong on either side.
pub(super) fn setting(page: &mut Page, knowledge: &Knowledge, machine: &Machine, setting: &Setting) {
    page.text(format!("A setting of the {}, for {}.", words::clause(&machine.head.title), setting.group));
    page.text(setting.what_it_does.as_str());
    let side = |lead: &str, text: &Option<String>| text.as_ref().map(|t| Words::new().strong(lead).plain(t));
    page.bullets(
        [side("Too high: ", &setting.too.0), side("Too low: ", &setting.too.1)].into_iter().flatten(),
    );
    if let Some(usual) = &setting.usual {
        page.text(format!("Usual: {usual}."));
    }
    if knowledge.remedies.values().any(|r| r.changes.as_ref().is_some_and(|s| s.value == setting.id)) {
        page.text("Write down what stands there before you change it. Change one thing at a time.");
    }
}
