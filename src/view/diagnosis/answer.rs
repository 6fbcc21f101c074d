//! What is believed, in words first, bars and numbers on request, and the whole answer to a case file.

use super::super::words::{self, sentence};
use super::super::{Bar, Block, Page, Plot, Words};
use super::{candidate_line, reasons, title, works};
use crate::casebook::{Case, Event, What};
use crate::ids::CauseId;
use crate::knowledge::Knowledge;
use crate::plan::{Candidate, Kind};
use crate::walk::{Assessment, State, Suspect, UNLIKELY, WORDS};
use crate::weights::proof::Proof;

/// Causes said in words.
const MOST_SAID: usize = 3;

/// Three likely causes in words, and what is worth asking again.
pub fn likely(knowledge: &Knowledge, assessment: &Assessment) -> Page {
    let mut page = Page::default();
    if assessment.heard.is_empty() {
        return page;
    }
    let said = |suspect: &Suspect| {
        Words::new()
            .strong(title(knowledge, suspect.id.as_str()))
            .plain(format!(": {}", words::likelihood(suspect.probability)))
    };
    page.section("Likely causes", spoken_for(assessment).map(said));
    if let Some(sampled) = &assessment.posterior.sampled {
        page.text(format!(
            "These chances are estimates, give or take {} %: the case is too tangled to be worked out exactly.",
            (200.0 * sampled.standard_error()).ceil().max(1.0)
        ));
    }
    if assessment.nothing_known > 0.3 {
        page.text(format!(
            "Not in the book: {}. What was found is worth a lesson.",
            words::likelihood(assessment.nothing_known)
        ));
    }
    if let Some(conflict) = &assessment.conflict {
        let heard = &assessment.heard[conflict.heard];
        page.text(format!(
            "Worth asking again: {}. It does not go with the rest.",
            title(knowledge, &heard.id)
        ));
    }
    page
}

/// The cause that was put right, once a run of fills since its remedy proves the cure.
pub fn cured<'k>(knowledge: &'k Knowledge, case: &Case, assessment: &Assessment) -> Option<&'k CauseId> {
    if !matches!(assessment.proof, Some(Proof::Proved)) {
        return None;
    }
    let (last, _) = case.last_remedy()?;
    knowledge.remedies.get(last).map(|remedy| &remedy.cures.value)
}

/// The leading causes that something speaks for: what is no likelier than on any other call is no likely cause of
/// this one.
fn spoken_for(assessment: &Assessment) -> impl Iterator<Item = &Suspect> {
    let spoken_for = |s: &&Suspect| {
        s.probability >= UNLIKELY && s.because.iter().any(|b| b.heard.is_some() && b.odds > 1.0)
    };
    assessment.causes.iter().take(MOST_SAID).filter(spoken_for)
}

/// Why nothing is worked out during the opening.
fn nothing_yet(state: &State) -> &'static str {
    if state.machine_known {
        "Nothing is worked out until the opening is through. These questions keep people safe and save the visit."
    } else {
        "Nothing is worked out until the machine is known."
    }
}

/// Why this step, and why these causes.
pub fn why(knowledge: &Knowledge, state: &State) -> Page {
    let mut page = Page::default();
    let Some(assessment) = &state.assessment else {
        page.text(nothing_yet(state));
        return page;
    };
    let next = &assessment.plan.next;
    if let Some(step) = next.iter().find(|c| state.ask.id() == Some(c.id.as_str())).or_else(|| next.first()) {
        page.heading(format!("Why: {}", title(knowledge, &step.id)));
        page.text(reasons::reason(knowledge, step));
        page.bullets(reasons::then_lines(knowledge, step));
        page.0
            .extend(reasons::what_changes(knowledge, &assessment.plan, step).map(|t| Block::Text(t.into())));
    }
    let headed = |suspect: &Suspect| {
        format!("{}: {}", title(knowledge, suspect.id.as_str()), words::likely(suspect.probability))
    };
    weighed(&mut page, knowledge, &state.case, assessment, spoken_for(assessment).map(|s| (headed(s), s)));
    page
}

/// What speaks for these causes, how they show, and what is unlikely by now.
fn weighed<'a>(
    page: &mut Page,
    knowledge: &Knowledge,
    case: &Case,
    assessment: &Assessment,
    suspects: impl Iterator<Item = (String, &'a Suspect)>,
) {
    let graph = reasons::graph(knowledge, case);
    for (heading, suspect) in suspects {
        let because = reasons::because(knowledge, assessment, suspect);
        page.section(&heading, because.into_iter().take(reasons::MOST_REASONS));
        let chain =
            graph.as_ref().and_then(|graph| reasons::chain(knowledge, graph, assessment, &suspect.id));
        page.0.extend(chain.map(|chain| Block::Text(chain.into())));
    }
    let ruled_out = assessment.ruled_out.iter().map(|ruled| reasons::ruled_out(knowledge, assessment, ruled));
    page.section("Unlikely by now", ruled_out);
}

/// All causes with bars and figures.
pub fn causes(knowledge: &Knowledge, state: &State) -> Page {
    let mut page = Page::default();
    let Some(assessment) = &state.assessment else {
        page.text(nothing_yet(state));
        return page;
    };
    page.heading("All causes");
    let bar = |suspect: &Suspect| Bar {
        label: title(knowledge, suspect.id.as_str()).to_owned(),
        share: suspect.probability,
        words: words::percent(suspect.probability),
    };
    let mut bars: Vec<Bar> = assessment.causes.iter().map(bar).collect();
    bars.push(Bar {
        label: "Nothing of the book".to_owned(),
        share: assessment.nothing_known,
        words: words::percent(assessment.nothing_known),
    });
    page.push(Block::Bars(bars));
    let together = |(causes, chance): &(Vec<crate::ids::CauseId>, f64)| {
        let names: Vec<&str> = causes.iter().map(|c| title(knowledge, c.as_str())).collect();
        let what = if names.is_empty() { "none of them".to_owned() } else { words::and(&names) };
        format!("{what}: {}", words::percent(*chance))
    };
    page.text("Several can be true at once, so these need not add up to 100 %.");
    page.section("There now, taken together", assessment.together.iter().map(together));
    page.text("What else may be there and explains nothing is left out of these.");
    page
}

/// What can be typed at every prompt.
pub fn help() -> Page {
    let mut page = Page::default();
    page.heading("At every prompt");
    page.bullets(WORDS.iter().map(|(word, what)| Words::new().strong(word).plain(format!("  {what}"))));
    page.text("Everything answered is on disk already. 'handlamp case continue' takes it up again.");
    page
}

/// The runs as pictures: the last before the last remedy and the last since, or just the latest.
pub fn pictures(case: &Case) -> Vec<(&'static str, Plot)> {
    let last_run = |events: &[Event]| {
        let fills = events.iter().rev().find_map(Event::fills)?;
        Some(Plot {
            values: fills.values.clone(),
            target: Some(fills.target),
            unit: fills.unit.clone(),
            ..Plot::default()
        })
    };
    let remedy = case.events.iter().rposition(|e| matches!(e.what, What::Remedy { .. })).unwrap_or(0);
    let (before, since) = case.events.split_at(remedy);
    match (last_run(before), last_run(since)) {
        (Some(before), Some(since)) => vec![("The run before", before), ("The run since", since)],
        (before, since) => before.or(since).map(|plot| ("The latest run", plot)).into_iter().collect(),
    }
}

/// The whole answer to a case: next step in full, likely causes, what follows, what else.
pub fn answer(knowledge: &Knowledge, case: &Case, assessment: &Assessment) -> Page {
    let machine = knowledge.machines.get(&case.machine);
    let mut page = Page::titled(machine.map_or(case.machine.as_str(), |m| m.head.title.as_str()));
    if let Some(complaint) = &case.complaint {
        page.quote("Complaint", complaint);
    }
    if case.closed.is_some() {
        page.text(Words::new().strong(format!("Closed: {}.", super::super::cases::ending(case.closed))));
    }
    let cured = cured(knowledge, case, assessment);
    if let Some(cause) = cured {
        page.heading("Proved gone");
        page.text(Words::new().strong(title(knowledge, cause.as_str())).plain(
            ": put right, and the run since proves it. Release the line, and weigh ten at the next start.",
        ));
    } else if let Some(step) = assessment.plan.next.first() {
        next_step(&mut page, knowledge, case, step);
        page.bullets(reasons::then_lines(knowledge, step));
    }
    if let Some(visit) = assessment.plan.visit.as_ref().filter(|_| cured.is_none()) {
        works::visit_kit(&mut page, knowledge, visit);
        works::until_then(&mut page, knowledge, case, visit);
    }
    if cured.is_none() {
        page.0.extend(likely(knowledge, assessment).0);
        let headed =
            |suspect: &Suspect| format!("Why {}", words::clause(title(knowledge, suspect.id.as_str())));
        weighed(
            &mut page,
            knowledge,
            case,
            assessment,
            assessment.causes.first().map(|s| (headed(s), s)).into_iter(),
        );
    }
    let others = assessment
        .plan
        .next
        .iter()
        .skip(1)
        .take(if cured.is_none() { 3 } else { 0 })
        .map(|c| candidate_line(knowledge, c));
    page.section("Otherwise", others);
    let said = (0..case.events.len()).map(|index| super::event_line(knowledge, case, index));
    page.section("What was said and measured", said);
    for (name, plot) in pictures(case) {
        page.heading(name);
        page.push(Block::Plot(plot));
    }
    page.push(Block::Notice);
    // On a small screen the end is what is seen.
    if let Some(step) = assessment.plan.next.first().filter(|_| cured.is_none()) {
        page.hint(Words::new().plain("Next, in full above: ").strong(title(knowledge, &step.id)));
    }
    page
}

fn next_step(page: &mut Page, knowledge: &Knowledge, case: &Case, step: &Candidate) {
    page.heading(format!("Next: {}", title(knowledge, &step.id)));
    page.text(format!("{} {}", sentence(&words::minutes(step.minutes)), reasons::reason(knowledge, step)));
    let work = match step.kind {
        Kind::Check => knowledge.checks.get(step.id.as_str()).map(|c| &c.work),
        Kind::Remedy => knowledge.remedies.get(step.id.as_str()).map(|r| &r.work),
        Kind::Stop => {
            page.0
                .extend(super::opening::make_safe().0.into_iter().filter(|b| matches!(b, Block::Bullets(_))));
            None
        }
        Kind::Send => None,
    };
    if let Some((work, machine)) = work.zip(knowledge.machines.get(&case.machine)) {
        works::in_full(page, knowledge, machine, work);
    }
    if let Some(check) = knowledge.checks.get(step.id.as_str()) {
        page.text(Words::new().strong(&check.ask));
    } else if let Some(circumstance) = knowledge.circumstances.get(step.id.as_str()) {
        page.text(Words::new().strong(&circumstance.asked));
    }
}
