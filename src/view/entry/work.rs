//! The page of a check and of a remedy: what for, what is needed, the answers, and the steps with their cautions.

use super::super::{Lockout, Page, Words, words};
use super::links::named;
use crate::ids::PlaceId;
use crate::knowledge::{Against, Asks, Band, Check, Gate, Knowledge, Machine, Outcome, Remedy, Work};
use crate::safety::{HandsOnStep, MissingCaution};
use crate::units::Kind;

/// Work on one machine, ready to be shown or refused.
pub type OnMachine<'k> = (Vec<&'k Machine>, Result<HandsOnStep, MissingCaution>);

/// The steps of a piece of work for each machine that can have it; machines with equal steps and lockout together.
pub fn steps_by_machine<'k>(
    knowledge: &'k Knowledge,
    work: &Work,
    machine: Option<&'k Machine>,
) -> Vec<OnMachine<'k>> {
    let mut all: Vec<OnMachine<'k>> = Vec::new();
    let wanted = |m: &&Machine| machine.is_none_or(|only| only.id == m.id);
    for machine in knowledge.machines.values().filter(wanted).filter(|m| m.can_do(work, None)) {
        let steps = knowledge.steps_on(machine, work);
        match all.iter_mut().find(|(_, known)| *known == steps) {
            Some((machines, _)) => machines.push(machine),
            None => all.push((vec![machine], steps)),
        }
    }
    all
}

/// A check.
pub(super) fn check(page: &mut Page, knowledge: &Knowledge, check: &Check, machine: Option<&Machine>) {
    page.text(circumstances(knowledge, &check.work, machine));
    page.text(Words::new().plain("Ask: ").strong(&check.ask));
    if let Some(read_back) = &check.read_back {
        page.text(format!("Say back: “{read_back}”"));
    }
    steps(page, knowledge, &check.work, machine);
    page.section("What the answer tells", check.outcomes.iter().map(|o| outcome(knowledge, check, o)));
}

/// A remedy.
pub(super) fn remedy(page: &mut Page, knowledge: &Knowledge, remedy: &Remedy, machine: Option<&Machine>) {
    page.text(circumstances(knowledge, &remedy.work, machine));
    page.section("First you must know", remedy.only_after.iter().map(|g| gate(knowledge, g)));
    page.section(
        "Parts",
        remedy.parts.iter().map(|(part, held)| {
            format!("{} (the line waits {} for it)", part.replace('-', " "), words::minutes(*held))
        }),
    );
    if remedy.calibrates {
        page.text(
            Words::new()
                .strong("Touches what the scale has learned. ")
                .plain("Pan free, level, warm and a known weight first. Never on a sealed scale."),
        );
    }
    if let Some(setting) = &remedy.changes {
        let id = &setting.value;
        let title = knowledge.machines.values().flat_map(|m| &m.settings).find(|s| s.id == *id);
        page.text(
            Words::from("Changes the setting ")
                .plain(title.map_or(id.as_str(), |s| &s.title))
                .plain(format!(" [{id}].")),
        );
    }
    steps(page, knowledge, &remedy.work, machine);
    page.text(if !remedy.reversible {
        "It cannot be undone.".to_owned()
    } else if remedy.undo_minutes > 0.0 {
        format!("It can be undone in {}.", words::minutes(remedy.undo_minutes))
    } else {
        "It can be undone.".to_owned()
    });
}

/// 'About 3 minutes, at the weigh pan. Needs a test weight.'
fn circumstances(knowledge: &Knowledge, work: &Work, machine: Option<&Machine>) -> String {
    let mut text = format!(
        "{}, at {}.",
        words::sentence_start(&words::minutes(work.minutes)),
        place(knowledge, &work.place.value, machine)
    );
    if !work.needs.is_empty() {
        let needs: Vec<String> = work.needs.iter().map(|n| n.value.as_str().replace('-', " ")).collect();
        text.push_str(&format!(" Needed: {}.", words::and(&needs)));
    }
    if !work.needs_option.is_empty() {
        let options: Vec<String> =
            work.needs_option.iter().map(|o| o.value.as_str().replace('-', " ")).collect();
        text.push_str(&format!(" Only where fitted: {}.", words::and(&options)));
    }
    text
}

fn place(knowledge: &Knowledge, id: &PlaceId, machine: Option<&Machine>) -> String {
    let mut machines = knowledge.machines.values().filter(|m| machine.is_none_or(|only| only.id == m.id));
    machines.find_map(|m| m.places.get(id)).map_or_else(|| id.as_str().replace('-', " "), |p| p.title.clone())
}

/// The steps; machines whose steps, exposures or lockout differ have theirs apart.
fn steps(page: &mut Page, knowledge: &Knowledge, work: &Work, machine: Option<&Machine>) {
    if work.steps.is_empty() {
        return;
    }
    let all = steps_by_machine(knowledge, work, machine);
    let apart = all.len() > 1;
    for (machines, steps) in all {
        if apart {
            let names: Vec<&str> = machines.iter().map(|m| m.head.title.as_str()).collect();
            page.heading(format!("On: {}", words::and(&names)));
        } else {
            page.heading("Steps");
        }
        match steps {
            Ok(step) => page.step(step, Lockout::InFull),
            Err(missing) => page.text(format!("These steps are kept back: {missing}.")),
        }
    }
}

fn outcome(knowledge: &Knowledge, check: &Check, outcome: &Outcome) -> Words {
    let mut words = Words::new().strong(&outcome.answer);
    if let (Some(when), Asks::Quantity(asked)) = (&outcome.when, &check.asks) {
        words = words.plain(format!(" ({})", band(when, asked.against, asked.unit.kind)));
    }
    if let Some(tells) = &outcome.tells {
        words = words.plain(format!(": {}", words::clause_stop(tells)));
    }
    let findings: Vec<String> = outcome
        .means
        .iter()
        .map(|m| knowledge.findings.get(&m.finding.value).map_or(m.finding.value.as_str(), |f| &f.head.title))
        .map(words::clause)
        .collect();
    if findings.is_empty() { words } else { words.plain(format!(" Speaks for: {}.", words::and(&findings))) }
}

/// A band in words: 'more than 2 divisions under the known one'.
fn band(band: &Band, against: Against, kind: Kind) -> String {
    let edge = |value: f64| {
        if band.in_divisions {
            words::count(value.abs() as usize, "display step", "display steps")
        } else {
            words::size(value, kind.base(), None)
        }
    };
    let compared = match against {
        Against::Nothing => "",
        Against::Expected => " the known value",
        Against::Shown => " what was shown",
    };
    let differs = against != Against::Nothing;
    match (band.low.is_finite(), band.high.is_finite()) {
        (true, true) if differs && band.low == -band.high => {
            format!("within {} of{compared}", edge(band.high))
        }
        (true, true) => format!("between {} and {}", edge(band.low), edge(band.high)),
        (false, true) if differs => format!("more than {} under{compared}", edge(band.high.abs())),
        (true, false) if differs => format!("more than {} over{compared}", edge(band.low)),
        (false, true) => format!("under {}", edge(band.high)),
        (true, false) => format!("over {}", edge(band.low)),
        (false, false) => "any".to_owned(),
    }
}

/// 'A run of fills, at least 5 [weigh-a-run]'.
fn gate(knowledge: &Knowledge, gate: &Gate) -> Words {
    let check = knowledge.checks.get(&gate.check.value);
    let answer = gate.outcome.as_ref().map(|wanted| {
        let known = check.and_then(|c| c.outcomes.iter().find(|o| o.id.value == wanted.value));
        format!("with the answer “{}”", known.map_or(wanted.value.as_str(), |o| &o.answer))
    });
    let fills = (gate.fills > 0).then(|| format!("at least {}", words::count(gate.fills, "fill", "fills")));
    let how: Vec<String> = answer.into_iter().chain(fills).collect();
    named(check.map_or("", |c| &c.head.title), &how.join(", "), gate.check.value.as_str())
}
