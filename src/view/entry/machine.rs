//! The page of a machine and of a setting.

use super::super::{Block, Page, Table, Words, words};
use super::Entry;
use crate::knowledge::{Knowledge, Machine, Setting, Sign, SignKind};
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
    signs(page, machine);
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

fn signs(page: &mut Page, machine: &Machine) {
    if machine.signs.is_empty() {
        return;
    }
    page.heading("Lamps and readings");
    let mut table = Table::new(&["name", "what it is", "name to type"]);
    for sign in &machine.signs {
        table.row([sign.title.as_str(), sign.kind.as_str(), sign.id.as_str()]);
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
    let entry = Entry::Setting(machine, setting);
    page.text(format!("A setting of {}, for {}.", owners(knowledge, entry), setting.group));
    called_here(page, machine, setting.called_here.as_deref());
    page.text(setting.what_it_does.as_str());
    let side = |lead: &str, text: &Option<String>| text.as_ref().map(|t| Words::new().strong(lead).plain(t));
    page.bullets(
        [side("Too high: ", &setting.too.0), side("Too low: ", &setting.too.1)].into_iter().flatten(),
    );
    if let Some(usual) = &setting.usual {
        page.text(format!("Usual: {usual}."));
    }
    elsewhere(page, knowledge, entry, |here| match here {
        Entry::Setting(_, other) => {
            let words = |s: &Setting| (s.what_it_does.clone(), s.too.clone(), s.usual.clone());
            (words(other) != words(setting)).then(|| {
                let too = [("Too high: ", &other.too.0), ("Too low: ", &other.too.1)];
                let too =
                    too.into_iter().filter_map(|(lead, text)| text.as_ref().map(|t| format!(" {lead}{t}")));
                let usual = other.usual.as_ref().map(|usual| format!(" Usual: {usual}."));
                format!("{}{}{}", other.what_it_does, too.collect::<String>(), usual.unwrap_or_default())
            })
        }
        _ => None,
    });
    if knowledge.remedies.values().any(|r| r.changes.as_ref().is_some_and(|s| s.value == setting.id)) {
        page.text("Write down what stands there before you change it. Change one thing at a time.");
    }
}

/// What a lamp or a reading says, and what it looks like when something is wrong.
pub(super) fn sign(page: &mut Page, knowledge: &Knowledge, machine: &Machine, sign: &Sign) {
    let entry = Entry::Sign(machine, sign);
    let what = match sign.kind {
        SignKind::Lamp => "A lamp",
        SignKind::Reading => "A reading on the display",
    };
    page.text(format!("{what} of {}.", owners(knowledge, entry)));
    called_here(page, machine, sign.called_here.as_deref());
    page.text(sign.what_it_says.as_str());
    page.text(Words::new().strong("When something is wrong: ").plain(&sign.when_wrong));
    elsewhere(page, knowledge, entry, |here| match here {
        Entry::Sign(_, other) => {
            let differs = (&other.what_it_says, &other.when_wrong) != (&sign.what_it_says, &sign.when_wrong);
            differs.then(|| format!("{} {}", other.what_it_says, other.when_wrong))
        }
        _ => None,
    });
}

/// Every machine that has it, named.
fn owners(knowledge: &Knowledge, entry: Entry<'_>) -> String {
    let machines = entry.machines(knowledge);
    let named: Vec<String> =
        machines.iter().map(|m| format!("the {}", words::clause(&m.head.title))).collect();
    words::and(&named)
}

fn called_here(page: &mut Page, machine: &Machine, name: Option<&str>) {
    if let Some(name) = name {
        let machine = words::clause(&machine.head.title);
        page.text(
            Words::new()
                .plain(format!("On the panel of the {machine} it is called "))
                .strong(name)
                .plain("."),
        );
    }
}

/// What another machine says otherwise about the same setting or sign.
fn elsewhere(
    page: &mut Page,
    knowledge: &Knowledge,
    entry: Entry<'_>,
    otherwise: impl Fn(Entry<'_>) -> Option<String>,
) {
    for machine in entry.machines(knowledge) {
        let Some(here) = entry.on(machine) else { continue };
        if let Some(text) = otherwise(here) {
            page.text(
                Words::new().strong(format!("On the {}: ", words::clause(&machine.head.title))).plain(text),
            );
        }
        let name = match (here, entry) {
            (Entry::Setting(_, other), Entry::Setting(first, _)) if first.id != machine.id => {
                &other.called_here
            }
            (Entry::Sign(_, other), Entry::Sign(first, _)) if first.id != machine.id => &other.called_here,
            _ => continue,
        };
        called_here(page, machine, name.as_deref());
    }
}
