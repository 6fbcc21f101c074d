//! Checks, remedies and the lockout around them, as asked in a walk.

use super::super::words::{self, sentence};
use super::super::{Block, Lockout, Page, Words};
use super::{reasons, title};
use crate::casebook::{Case, RemedyResult, What};
use crate::ids::{CheckId, CircumstanceId, RemedyId};
use crate::knowledge::{Asks, Knowledge, Machine, Setting, Work as Worked};
use crate::plan::Candidate;
use crate::safety::{Exposure, Isolation, MissingCaution};
use crate::units::{Kind, Quantity};
use crate::walk::{Change, Input, State, Work, stood};
use crate::weights::proof::Proof;

fn machine<'k>(knowledge: &'k Knowledge, state: &State) -> Option<&'k Machine> {
    knowledge.machines.get(&state.case.machine)
}

fn candidate<'s>(state: &'s State, id: &str) -> Option<&'s Candidate> {
    state.assessment.as_ref()?.plan.next.iter().find(|c| c.id == id)
}

/// Title, minutes, place, and the reason in one line.
fn head(page: &mut Page, knowledge: &Knowledge, state: &State, id: &str, work: Option<&Worked>) {
    page.heading(format!("Next: {}", title(knowledge, id)));
    let place = work.zip(machine(knowledge, state)).and_then(|(w, m)| m.places.get(&w.place.value));
    let minutes = candidate(state, id).map(|c| c.minutes).or(work.map(|w| w.minutes));
    let mut line = Words::new();
    if let Some(place) = place {
        line = line.plain(format!("At {}. ", place.title));
    }
    if let Some(minutes) = minutes {
        line = line.plain(format!("{} in all. ", words::sentence_start(&words::minutes(minutes))));
    }
    if let Some(found) = candidate(state, id) {
        line = line.plain(reasons::reason(knowledge, found));
    }
    page.text(line);
}

/// The steps with their cautions, or the plain refusal to show them.
fn steps(page: &mut Page, knowledge: &Knowledge, state: &State, id: &str, work: &Worked) {
    let Some(machine) = machine(knowledge, state) else { return };
    let hidden = !state.lockout.shows(id) && !work.steps.is_empty();
    if let Some(key) = state.lockout.key.as_ref().filter(|_| hidden) {
        page.text(Words::new().strong(format!("The lock of {key} is on. ")).plain(
            "Only what was done or seen already is asked here: nothing is run and nobody reaches in for it.",
        ));
        return;
    }
    let exposures = machine.exposures(work);
    let unlocked = exposures.needs_isolation() && state.lockout.key.is_none();
    let live = exposures.has(Exposure::Energised) && !crate::walk::hands(&state.case).electrical;
    if unlocked || live {
        page.text(
            Words::new().strong("Only what was done already, by somebody authorised, is asked here. ").plain(
                "No guard is opened for this question: how it is done is shown once it is locked and tried.",
            ),
        );
        return;
    }
    let lockout = if let Some(key) = state.lockout.key.as_ref().filter(|_| exposures.needs_isolation()) {
        page.text(
            Words::new().strong(format!("The lock is on: {key}'s key.")).plain(" If it is not, stop here."),
        );
        Lockout::Answered
    } else {
        Lockout::InFull
    };
    match knowledge.steps_on(machine, work) {
        Ok(step) if work.steps.is_empty() && step.cautions().is_empty() => {}
        Ok(step) => page.step(step, lockout),
        Err(missing) => page.text(not_shown(&missing)),
    }
}

/// The lock is on, and what comes next is done or tried from outside.
pub(super) fn hand_back(knowledge: &Knowledge, state: &State, work: &Work) -> Page {
    let mut page = Page::default();
    let key = state.lockout.key.as_deref().unwrap_or("nobody");
    page.heading(format!("The lock of {key} comes off"));
    let name = words::clause(title(knowledge, work.id()));
    page.text(match state.to_try() {
        Some(_) => format!("Next, from outside and with power: whether it helped to {name}."),
        None => format!("Next, from outside and with power: {name}."),
    });
    page.hand_back();
    page.hint("y once it is. n: the lock stays on, and something else is looked for.");
    page
}

pub(super) fn target() -> Page {
    let mut page = Page::default();
    page.text(Words::new().strong("What should one fill weigh, net?"));
    page.hint("Like 250 g.");
    page
}

pub(super) fn check(knowledge: &Knowledge, state: &State, id: &CheckId) -> Page {
    let mut page = Page::default();
    let Some(check) = knowledge.checks.get(id) else { return page };
    head(&mut page, knowledge, state, id.as_str(), Some(&check.work));
    needs(&mut page, &check.work);
    steps(&mut page, knowledge, state, id.as_str(), &check.work);
    page.text(Words::new().strong(&check.ask));
    if !check.outcomes.is_empty() && check.outcomes.iter().all(|o| o.when.is_none()) {
        page.push(Block::Numbered(check.outcomes.iter().map(|o| sentence(&o.answer).into()).collect()));
    }
    if let Some(back) = &check.read_back {
        page.text(Words::new().plain(format!("Then read the answer back, like: “{back}”")));
    }
    if matches!(check.asks, Asks::Run) {
        proving(&mut page, state);
    }
    page.hint(reasons::how_to_type(check));
    page
}

/// What a run after a remedy is for, and how many fills it still lacks.
fn proving(page: &mut Page, state: &State) {
    let remedy = state.case.events.iter().rev().find(|e| matches!(e.what, What::Remedy { .. }));
    match (remedy, state.assessment.as_ref().and_then(|a| a.proof.as_ref())) {
        (Some(_), None) => page.text("This run is what proves the cure, or shows that it is still there."),
        (Some(_), Some(Proof::GoneNotProved { more: Some(more), .. })) => page.text(format!(
            "It looks gone and is not proved yet: about {} would do. They count with those before.",
            words::count(*more, "more fill", "more fills")
        )),
        _ => {}
    }
}

fn needs(page: &mut Page, work: &Worked) {
    let tools: Vec<String> = work.needs.iter().map(|t| t.value.as_str().replace('-', " ")).collect();
    if !tools.is_empty() {
        page.text(format!("Needs: {}.", words::and(&tools)));
    }
}

pub(super) fn circumstance(knowledge: &Knowledge, state: &State, id: &CircumstanceId) -> Page {
    let mut page = Page::default();
    let Some(entry) = knowledge.circumstances.get(id) else { return page };
    head(&mut page, knowledge, state, id.as_str(), None);
    page.text(Words::new().strong(&entry.asked));
    page.hint("y, n, or ? if nobody can tell.");
    page
}

pub(super) fn authority(knowledge: &Knowledge, state: &State, work: &Work) -> Page {
    let mut page = Page::default();
    if let Some(worked) = work.of(knowledge) {
        head(&mut page, knowledge, state, work.id(), Some(worked));
        needs(&mut page, worked);
    }
    page.heading("Before anybody opens a guard");
    page.text(Words::new().strong(
        "Has the person who will reach in this machine's written isolation procedure, and may they lock it out?",
    ));
    page.text(
        "This tool prompts; the site's procedure decides. Without one, only checks from outside are left.",
    );
    page.hint("y or n. Ask that person: nobody answers for another.");
    page
}

pub(super) fn locked(knowledge: &Knowledge, state: &State, work: &Work) -> Page {
    let mut page = Page::default();
    let worked = work.of(knowledge);
    if let Some((work, machine)) = worked.zip(machine(knowledge, state)) {
        page.lockout(machine, &machine.exposures(work));
    }
    page.text(Words::new().strong("Locked, tried, and nothing moves? Whose key?"));
    page.hint("Type whose key it is, or n if it is not locked.");
    page
}

pub(super) fn still_locked(knowledge: &Knowledge, state: &State, work: &Work) -> Page {
    let mut page = Page::default();
    page.text(format!("Next: {}.", words::clause(title(knowledge, work.id()))));
    page.text("The scale's own feed is locked too, unless this step reads the scale.");
    let key = state.lockout.key.as_deref().unwrap_or("nobody");
    page.text(Words::new().strong(Isolation::STILL_LOCKED).plain(format!(" Last said: {key}.")));
    page.hint("Type the same name, or n if the lock is off. Another name begins the lockout anew.");
    page
}

pub(super) fn remedy(knowledge: &Knowledge, state: &State, id: &RemedyId) -> Page {
    let mut page = Page::default();
    let Some(remedy) = knowledge.remedies.get(id) else { return page };
    if state.lockout.key.is_none() && state.to_try() == Some(id) {
        page.heading(format!("Done: {}", words::clause(&remedy.head.title)));
        page.text("Try it from outside. No guard is opened for this question.");
        let proof = knowledge.checks.get(&remedy.proved_by.value);
        let running = proof.map(|check| knowledge.cautions_of(&check.work)).unwrap_or_default();
        running.into_iter().for_each(|caution| page.push(Block::Caution(caution)));
        how_it_went(&mut page, state);
        return page;
    }
    head(&mut page, knowledge, state, id.as_str(), Some(&remedy.work));
    needs(&mut page, &remedy.work);
    let parts: Vec<String> = remedy.parts.iter().map(|(part, _)| part.replace('-', " ")).collect();
    if !parts.is_empty() {
        page.text(format!("Parts: {}.", words::and(&parts)));
    }
    if remedy.calibrates {
        page.text("Never on a scale with a legal-for-trade seal: that is for the authorised body.");
    }
    if let Some(setting) = &remedy.changes {
        let name = words::clause(&super::setting_title(knowledge, &state.case, &setting.value));
        page.text(format!(
            "The old {name} is written down first{}. One change at a time; put it back if it is no better.",
            stood(knowledge, &state.case.events, id).map_or_else(String::new, |old| format!(": {old}"))
        ));
    }
    if let Some(advised) = new_figure(knowledge, state, id) {
        page.text(advised);
    }
    together(&mut page, knowledge, state, id);
    steps(&mut page, knowledge, state, id.as_str(), &remedy.work);
    how_it_went(&mut page, state);
    page
}

/// What can be said of a remedy: under a lock that it is done, else how it went.
fn how_it_went(page: &mut Page, state: &State) {
    let locked = state.lockout.key.is_some();
    page.text(Words::new().strong(if locked { "Is it done?" } else { "Once it is done: how is it now?" }));
    let said = |result: &Input| match result {
        Input::ToTry => "Done. Hand the machine back, then try it.",
        Input::Result(RemedyResult::NotTried) => "Done. The lock stays on, for more under it.",
        Input::Result(RemedyResult::GoneNotProved) => "Gone, as far as can be seen; its proof is asked next.",
        Input::Result(RemedyResult::StillThere) => "Still there.",
        _ => "Something else changed.",
    };
    page.push(Block::Numbered(crate::walk::results(state).iter().map(|r| said(r).into()).collect()));
    page.hint("Type the number once it is done. ? if it cannot be done now.");
}

/// What is worth doing in the same lockout, before one proof.
fn together(page: &mut Page, knowledge: &Knowledge, state: &State, id: &RemedyId) {
    let with = candidate(state, id.as_str()).map_or(&[][..], |found| found.with.as_slice());
    if with.is_empty() {
        return;
    }
    let titles: Vec<String> = with.iter().map(|id| words::clause(title(knowledge, id))).collect();
    page.text(format!(
        "Worth doing in the same lockout, before one proof: {}. After this one answer that the lock stays on, and each is asked with its own cautions.",
        words::and(&titles)
    ));
}

/// The new figure of the allowance, from the latest run and what stands there.
fn new_figure(knowledge: &Knowledge, state: &State, id: &RemedyId) -> Option<Words> {
    knowledge.remedies.get(id).filter(|remedy| remedy.by_mean_error)?;
    let weighing = super::weighing(knowledge, &state.case)?;
    let stands = stood(knowledge, &state.case.events, id)
        .and_then(|old| Quantity::parse_in(&old, Kind::Mass.base()).ok());
    let Some(stands) = stands else {
        let sentence = format!("The run says by how much: {}", weighing.sentence());
        return Some(sentence.into());
    };
    crate::view::weighing::advised(&weighing.with_allowance(stands.base()))
}

/// Asked before anything is changed: the way back.
pub(super) fn before(knowledge: &Knowledge, state: &State, id: &RemedyId) -> Page {
    let mut page = Page::default();
    page.heading(format!("Next: {}", title(knowledge, id.as_str())));
    if let Some(found) = candidate(state, id.as_str()) {
        page.text(reasons::reason(knowledge, found));
    }
    page.text("Change nothing yet. Write down what stands there, so that it can be put back.");
    page.text(Words::new().strong(format!("{}: what stands there now?", setting_name(knowledge, state, id))));
    page.hint(format!("Like {}. ? skips.", example(knowledge, state, id, "3.0")));
    page
}

/// The way back of what did not help.
pub(super) fn put_back(knowledge: &Knowledge, state: &State, change: &Change) -> Page {
    let mut page = Page::default();
    let name = super::setting_title(knowledge, &state.case, &change.setting);
    page.text(format!(
        "No better. One change at a time: {} goes back before anything else is changed.",
        words::clause(&name)
    ));
    page.text(Words::new().strong(format!("Put it back from {} to {}. Is it back?", change.from, change.to)));
    page.hint("Type y once it is put back, n if it stays as it is.");
    page
}

pub(super) fn setting(knowledge: &Knowledge, state: &State, id: &RemedyId) -> Page {
    let mut page = Page::default();
    let name = setting_name(knowledge, state, id);
    if let Some(old) = stood(knowledge, &state.case.events, id) {
        if let Some(advised) = new_figure(knowledge, state, id) {
            page.text(advised);
        }
        page.text(Words::new().strong(format!("{name}: it was {old}. What stands there now?")));
        page.hint(format!("Like {}. ? skips.", example(knowledge, state, id, "1.5")));
    } else {
        page.text(
            Words::new().strong(format!("{name}: what stood there before, and what stands there now?")),
        );
        let [old, new] = ["3.0", "1.5"].map(|figure| example(knowledge, state, id, figure));
        page.hint(format!("Like {old} to {new}, or {new} if nobody knows the old one. ? skips."));
    }
    page
}

fn setting_name(knowledge: &Knowledge, state: &State, id: &RemedyId) -> String {
    let setting = knowledge.remedies.get(id).and_then(|r| r.changes.as_ref());
    setting
        .map_or_else(|| "The setting".to_owned(), |s| super::setting_title(knowledge, &state.case, &s.value))
}

/// The setting that a remedy changes, on this machine.
fn setting_of<'k>(knowledge: &'k Knowledge, state: &State, id: &RemedyId) -> Option<&'k Setting> {
    let changed = knowledge.remedies.get(id)?.changes.as_ref()?;
    machine(knowledge, state)?.setting(&changed.value)
}

/// An example of a figure to type, in the setting's own unit. A weight that is no correction is about a fill's.
fn example(knowledge: &Knowledge, state: &State, id: &RemedyId, figure: &str) -> String {
    let corrects = knowledge.remedies.get(id).is_some_and(|r| r.by_mean_error || r.changes.is_none());
    let weight = setting_of(knowledge, state, id).and_then(|s| s.unit).is_some_and(|u| u.kind == Kind::Mass);
    if let Some((target, unit)) = state.target.as_ref().filter(|_| weight && !corrects) {
        return format!("{target} {unit}");
    }
    match setting_of(knowledge, state, id).and_then(|s| s.unit) {
        Some(unit) => format!("{figure} {}", unit.name),
        None => figure.to_owned(),
    }
}

/// What a proved cure leaves to do.
const RELEASE: &str = "Put back what was switched off for the trial. Bags held since the last good check stay held until they \
are weighed again.";
/// How a machine is left that is not proved cured.
const LEAVE_IT_SAFE: &str = "If it is left: stopped, and by somebody authorised locked, vented and tagged with name, \
date and reason. Product stays held.";

pub(super) fn send(knowledge: &Knowledge, state: &State) -> Page {
    let mut page = Page::default();
    page.heading("Next: send somebody, or call the maker");
    if let Some(found) = candidate(state, crate::plan::SEND) {
        page.text(reasons::reason(knowledge, found));
        page.text(format!("Until somebody is there: {}.", words::minutes(found.minutes)));
    }
    if let Some(visit) = state.assessment.as_ref().and_then(|a| a.plan.visit.as_ref()) {
        visit_kit(&mut page, knowledge, visit);
        until_then(&mut page, knowledge, &state.case, visit);
    }
    page.text(Words::new().strong(LEAVE_IT_SAFE));
    page.push(Block::Numbered(vec!["Close the case: somebody is sent.".into()]));
    page.hint("Type 1, ? or 'other' for other steps.");
    page
}

/// What keeps things safe until somebody is there, with its steps and cautions.
pub(super) fn until_then(page: &mut Page, knowledge: &Knowledge, case: &Case, visit: &crate::plan::Visit) {
    let remedy = visit.until_then.as_ref().and_then(|id| knowledge.remedies.get(id));
    let Some((remedy, machine)) = remedy.zip(knowledge.machines.get(&case.machine)) else { return };
    page.heading(format!("Until then: {}", words::clause(&remedy.head.title)));
    in_full(page, knowledge, machine, &remedy.work);
}

/// The steps with their lockout and cautions in full, or the plain refusal to show them.
pub(super) fn in_full(page: &mut Page, knowledge: &Knowledge, machine: &Machine, work: &Worked) {
    match knowledge.steps_on(machine, work) {
        Ok(shown) => page.step(shown, Lockout::InFull),
        Err(missing) => page.text(not_shown(&missing)),
    }
}

fn not_shown(missing: &MissingCaution) -> String {
    sentence(&format!("The steps are not shown: {missing}"))
}

/// What to bring, and what to check first.
pub(super) fn visit_kit(page: &mut Page, knowledge: &Knowledge, visit: &crate::plan::Visit) {
    let tools: Vec<String> = visit.tools.iter().map(|t| t.as_str().replace('-', " ")).collect();
    let parts: Vec<String> = visit.parts.iter().map(|p| p.replace('-', " ")).collect();
    if !parts.is_empty() {
        page.text(Words::new().strong("Parts to bring: ").plain(format!("{}.", words::and(&parts))));
    }
    if !tools.is_empty() {
        page.text(Words::new().strong("Tools to bring: ").plain(format!("{}.", words::and(&tools))));
    }
    page.text(format!("How often that is enough: {}.", words::likely(visit.cover)));
    let first: Vec<String> =
        visit.first_checks.iter().map(|id| words::clause(title(knowledge, id.as_str()))).collect();
    if !first.is_empty() {
        let lead = Words::new().strong("Check first on arrival, isolated where hands go in: ");
        page.text(lead.plain(format!("{}.", words::and(&first))));
    }
}

pub(super) fn close(knowledge: &Knowledge, state: &State) -> Page {
    let mut page = Page::default();
    page.heading("Close the case");
    let proved = matches!(state.assessment.as_ref().and_then(|a| a.proof.as_ref()), Some(Proof::Proved));
    match state.assessment.as_ref().and_then(|a| a.proof.as_ref()) {
        Some(Proof::Proved) => page.text(Words::new().strong("The cure is proved.")),
        Some(Proof::GoneNotProved { more: Some(more), .. }) => page.text(format!(
            "Gone, not proved. About {} more would prove it.",
            words::count(*more, "fill", "fills")
        )),
        Some(Proof::GoneNotProved { more: None, .. }) => {
            page.text("Gone, not proved: more fills alone will not prove it.");
        }
        Some(Proof::StillThere { .. }) => page.text("The last run still shows the fault."),
        None => page.text("No run of fills since a remedy: nothing is proved."),
    }
    let handed = state.case.events.iter().any(|e| hands_on_event(knowledge, state, &e.what));
    if handed {
        page.text(
            "Tools and parts counted out, guards on, people clear, own locks off, those affected told, line released?",
        );
    }
    page.text(if proved { RELEASE } else { LEAVE_IT_SAFE });
    page.push(Block::Numbered(
        ["Cured and proved.", "Gone, not proved.", "Somebody is sent.", "Left open."]
            .map(Words::from)
            .to_vec(),
    ));
    page.hint("Type 1 to 4, or 'back' to go on.");
    page
}

fn hands_on_event(knowledge: &Knowledge, state: &State, what: &What) -> bool {
    let work = match what {
        What::Reading { check, .. } => knowledge.checks.get(check).map(|c| &c.work),
        What::Remedy { id, .. } => knowledge.remedies.get(id).map(|r| &r.work),
        _ => None,
    };
    let exposures = work.zip(machine(knowledge, state)).map(|(w, m)| m.exposures(w));
    exposures.is_some_and(|e| e.hands_on())
}
