//! What leaves the house: the customer's report of a case, and the message of at most five lines.

use std::collections::BTreeMap;

use super::diagnosis::{MOST_REASONS, because, cured, event_line, setting_title, title};
use super::words::{self, likelihood};
use super::{Block, Page, Words};
use crate::casebook::{Case, Closing, Known, RemedyResult, What, Whereabouts};
use crate::ids::SettingId;
use crate::knowledge::{Knowledge, Machine};
use crate::plan::Kind;
use crate::walk::{Assessment, MADE_SAFE, UNLIKELY};
use crate::weights::proof::Proof;

/// Who is told, and when it began and ended; times are given by the caller as they shall be read.
#[derive(Debug, Clone, Default)]
pub struct Cover {
    /// The case's id.
    pub id: String,
    /// When it was begun.
    pub opened: String,
    /// When something was last added.
    pub last: String,
}

/// The report, in the order a stranger needs it: what happened, what was done, what is open, what next.
pub fn report(knowledge: &Knowledge, case: &Case, assessment: &Assessment, cover: &Cover) -> Page {
    let machine = knowledge.machines.get(&case.machine);
    let mut page = Page::titled(format!("Report on case {}", cover.id));
    page.bullets(facts(case, machine, cover));
    page.heading("What was reported");
    match &case.complaint {
        Some(complaint) => page.quote("The customer", complaint),
        None => page.text("No complaint was written down."),
    }
    let confirmed: Vec<&str> =
        assessment.gathered.complained.iter().map(|f| title(knowledge, f.as_str())).collect();
    page.text(match confirmed.as_slice() {
        [] => "Not confirmed so far.".to_owned(),
        names => format!("Confirmed: {}.", words::and(names)),
    });
    let readings =
        lines(knowledge, case, |what| matches!(what, What::Reading { .. } | What::Circumstance { .. }));
    page.section("What was asked and measured", readings);
    for (name, plot) in super::diagnosis::pictures(case) {
        page.heading(name);
        page.push(Block::Plot(plot));
    }
    page.section("Settings changed", settings(knowledge, case));
    page.section("What was done", done(knowledge, case, assessment));
    cause(&mut page, knowledge, case, assessment);
    page.heading("How it stands");
    page.text(standing(case, assessment));
    page.text(safety(knowledge, case, machine));
    next(&mut page, knowledge, case, assessment);
    for event in &case.events {
        if let What::Note(text) = &event.what {
            page.quote(event.by.as_ref().map_or("Remark", |by| by.as_str()), text);
        }
    }
    page.text(format!(
        "Knowledge {} ({}).",
        if knowledge.version.is_empty() { "without a version" } else { &knowledge.version },
        knowledge.hash
    ));
    page.push(Block::Notice);
    page
}

fn facts(case: &Case, machine: Option<&Machine>, cover: &Cover) -> Vec<Words> {
    let mut facts = vec![
        format!("Machine: {}", machine.map_or(case.machine.as_str(), |m| &m.head.title)),
        format!("Serial number: {}", case.opening.serial.as_deref().unwrap_or("unknown")),
        format!("Begun {}, last entry {}", cover.opened, cover.last),
    ];
    if let Some(product) = case.product.as_ref().and_then(|p| p.name.as_ref()) {
        facts.push(format!("Product: {product}"));
    }
    if let Some(allergen) = case.product.as_ref().and_then(|p| p.allergen.as_ref()) {
        facts.push(format!("Allergen: {allergen}"));
    }
    if let Some(danger) = case.opening.danger_said() {
        facts.push(format!("Danger said: {danger}"));
    }
    let people: Vec<String> = case
        .people
        .iter()
        .map(|p| {
            let at = match p.at {
                Whereabouts::Machine => "at the machine",
                Whereabouts::Phone => "on the phone",
                Whereabouts::Desk => "at a desk",
            };
            format!("{} {at}", p.id)
        })
        .collect();
    if !people.is_empty() {
        facts.push(format!("People: {}", words::and(&people)));
    }
    facts.push(format!(
        "Product since the last good check on hold: {}",
        case.opening.held_since_last_good.as_deref().unwrap_or("not said")
    ));
    facts.into_iter().map(Words::from).collect()
}

fn lines(knowledge: &Knowledge, case: &Case, wanted: impl Fn(&What) -> bool) -> Vec<Words> {
    let line = |(index, event): (usize, &crate::casebook::Event)| {
        let by = event.by.as_ref().map_or_else(String::new, |by| format!(" ({by})"));
        Words::from(format!("{}{by}", event_line(knowledge, case, index)))
    };
    case.events.iter().enumerate().filter(|(_, e)| wanted(&e.what)).map(line).collect()
}

/// Each setting once: what stood there first, everything typed, and where it was left.
fn settings(knowledge: &Knowledge, case: &Case) -> Vec<String> {
    let mut changed: BTreeMap<&SettingId, (Option<&str>, Vec<&str>)> = BTreeMap::new();
    for event in &case.events {
        if let What::Setting { id, old, new } = &event.what {
            let (first, typed) = changed.entry(id).or_insert((old.as_deref(), Vec::new()));
            *first = first.or(old.as_deref());
            typed.extend(new.as_deref());
        }
    }
    let line = |(id, (old, typed)): (&SettingId, (Option<&str>, Vec<&str>))| {
        let name = setting_title(knowledge, case, id);
        let tried = if typed.len() > 1 { format!(", tried {}", words::and(&typed)) } else { String::new() };
        let left = typed.last().copied().unwrap_or("not written down");
        format!("{name}: was {}{tried}, left at {left}", old.unwrap_or("not written down"))
    };
    changed.into_iter().map(line).collect()
}

/// The remedies in order, each with how it went; the last one says that a run proves it.
fn done(knowledge: &Knowledge, case: &Case, assessment: &Assessment) -> Vec<Words> {
    let mut done = lines(knowledge, case, |what| matches!(what, What::Remedy { .. }));
    if let (Some((id, _)), Some(Proof::Proved)) = (case.last_remedy(), &assessment.proof) {
        done.pop();
        done.push(format!("Done: {}, proved gone by the run since", title(knowledge, id.as_str())).into());
    }
    done
}

fn cause(page: &mut Page, knowledge: &Knowledge, case: &Case, assessment: &Assessment) {
    page.heading("Cause, and how sure");
    if let Some(cause) = cured(knowledge, case, assessment) {
        page.text(
            Words::new()
                .strong(title(knowledge, cause.as_str()))
                .plain(": put right, and the run since proves it."),
        );
        let suspect = assessment.causes.iter().find(|c| c.id == *cause);
        page.bullets(
            suspect.map(|s| because(knowledge, assessment, s)).into_iter().flatten().take(MOST_REASONS),
        );
        return;
    }
    let Some(first) = assessment.causes.first() else {
        page.text("Nothing in the book explains it so far.");
        return;
    };
    page.text(
        Words::new()
            .strong(title(knowledge, first.id.as_str()))
            .plain(format!(": {}.", likelihood(first.probability))),
    );
    page.bullets(because(knowledge, assessment, first).into_iter().take(MOST_REASONS));
    let others =
        assessment.causes.iter().skip(1).take(2).filter(|c| {
            c.probability >= UNLIKELY && c.because.iter().any(|b| b.heard.is_some() && b.odds > 1.0)
        });
    page.section(
        "Not ruled out",
        others.map(|c| format!("{}: {}", title(knowledge, c.id.as_str()), likelihood(c.probability))),
    );
}

/// Where the case stands, in one sentence.
fn standing(case: &Case, assessment: &Assessment) -> String {
    let closed = match case.closed {
        Some(Closing::Cured) => "Closed: cured and proved.",
        Some(Closing::GoneNotProved) => {
            "Closed: gone, not proved. Watch it, and weigh a run at the next start."
        }
        Some(Closing::SentSomebody) => "Closed: somebody is sent.",
        Some(Closing::LeftOpen) => "Left open.",
        None => "Open.",
    };
    let proof = match &assessment.proof {
        Some(Proof::Proved) => " The run since the remedy proves the cure.",
        Some(Proof::GoneNotProved { .. }) => {
            " The run since the remedy looks right and is too short to prove it."
        }
        Some(Proof::StillThere { .. }) => " The run since the remedy still shows the fault.",
        None => "",
    };
    format!("{closed}{proof}")
}

fn safety(knowledge: &Knowledge, case: &Case, machine: Option<&Machine>) -> String {
    let hands_on = case.events.iter().any(|event| {
        let work = match &event.what {
            What::Reading { check, .. } => knowledge.checks.get(check).map(|c| &c.work),
            What::Remedy { id, .. } => knowledge.remedies.get(id).map(|r| &r.work),
            _ => None,
        };
        work.zip(machine).is_some_and(|(w, m)| m.exposures(w).hands_on())
    });
    let sealed = match case.scale.sealed {
        Known::Yes => " The scale is sealed and was left to the authorised body.",
        Known::No | Known::Unknown => "",
    };
    if hands_on {
        format!(
            "Somebody worked behind the guards. Before running: tools and parts counted out, guards on, people clear, \
             own locks off, those affected told.{sealed}"
        )
    } else {
        format!("Nothing was opened: all checks were made from outside.{sealed}")
    }
}

fn next(page: &mut Page, knowledge: &Knowledge, case: &Case, assessment: &Assessment) {
    if matches!(case.closed, Some(Closing::Cured)) || matches!(assessment.proof, Some(Proof::Proved)) {
        page.section("What next", ["Weigh a run of ten at the next start. Call again if it is off."]);
        return;
    }
    let visit = assessment.plan.visit.as_ref();
    if matches!(case.closed, Some(Closing::SentSomebody)) {
        let until_then = visit.and_then(|v| v.until_then.as_ref()).map(|id| title(knowledge, id.as_str()));
        page.section("What next", ["Somebody comes.", until_then.unwrap_or(LEAVE_AS_IT_IS)]);
    } else {
        let made_safe = case.events.iter().any(|e| matches!(&e.what, What::Note(text) if text == MADE_SAFE));
        let open = assessment.plan.next.iter().filter(|c| !(made_safe && c.kind == Kind::Stop));
        page.section("What next", open.take(3).map(|c| title(knowledge, &c.id)));
    }
    if let Some(visit) = visit {
        page.section("Parts to bring", visit.parts.iter().map(|p| p.replace('-', " ")));
    }
}

/// Said of a machine that waits for somebody.
const LEAVE_AS_IT_IS: &str = "Until then leave it stopped, locked and tagged, and the product on hold.";

/// At most five lines for a text message.
pub fn message(knowledge: &Knowledge, case: &Case, assessment: &Assessment, cover: &Cover) -> Vec<String> {
    let machine = knowledge.machines.get(&case.machine).map_or(case.machine.as_str(), |m| &m.head.title);
    let mut lines = vec![format!("Case {}: {machine}.", cover.id)];
    if let Some(cause) = cured(knowledge, case, assessment) {
        lines.push(format!("It was: {}.", title(knowledge, cause.as_str())));
    } else if let Some(first) = assessment.causes.first() {
        lines.push(format!(
            "Likely: {} ({}).",
            title(knowledge, first.id.as_str()),
            words::likely(first.probability)
        ));
    }
    if let Some((id, result)) = case.last_remedy() {
        let proved = matches!(assessment.proof, Some(Proof::Proved));
        let how = match result {
            _ if proved => "proved gone",
            RemedyResult::ProvedGone => "proved gone",
            RemedyResult::GoneNotProved => "gone, not proved",
            RemedyResult::StillThere => "still there",
            RemedyResult::Changed => "something else changed",
            RemedyResult::NotTried => "done, not tried yet",
        };
        lines.push(format!("Done: {}; {how}.", title(knowledge, id.as_str())));
    }
    lines.push(standing(case, assessment));
    if !matches!(case.closed, Some(Closing::Cured)) {
        let step = assessment.plan.next.first().map_or("Watch it", |c| title(knowledge, &c.id));
        lines.push(format!("Next: {step}. Keep product on hold until a run is judged."));
    }
    lines
}
