//! A diagnosis as a person meets it: the next step in full with its reason in one line, then three likely causes in
//! words; bars and numbers on request.

mod answer;
mod opening;
mod reasons;
mod told;
mod works;

pub use answer::{answer, causes, cured, help, likely, pictures, why};
pub use reasons::{MOST_REASONS, because, outcome_words, reason, then_lines};
pub use told::meaning;

use super::weighing::Weighing;
use super::words::{self, sentence};
use super::{Page, Words};
use crate::casebook::Case;
use crate::ids::SettingId;
use crate::knowledge::Knowledge;
use crate::plan::{Candidate, Kind, SEND, STOP};
use crate::walk::{Answered, Ask, Assessment, Pick, State, latest_run, to_run, usual_for};

/// The title of a step, whatever kind it is.
pub fn title<'k>(knowledge: &'k Knowledge, id: &'k str) -> &'k str {
    match id {
        STOP => "Stop the machine and make it safe",
        SEND => "Send somebody, or call the maker",
        _ => knowledge.title(id).unwrap_or(id),
    }
}

/// What is asked now, in full; what was answered before, when it is asked again.
pub fn question(knowledge: &Knowledge, state: &State) -> Page {
    let mut page = Page::default();
    if let Some(index) = state.correcting {
        page.text(format!("Said before: {}", sentence(&event_line(knowledge, &state.case, index))));
    }
    page.0.extend(asked(knowledge, state).0);
    page
}

/// A question with what is believed. On a small screen only the end is seen, so what is asked stands last and is named
/// once more beside the prompt.
pub fn card(knowledge: &Knowledge, state: &State, assessment: &Assessment, question: Page) -> Page {
    let mut page = if state.ask == Ask::Close { Page::default() } else { likely(knowledge, assessment) };
    let steps = question.shows_steps();
    if steps && !question.0.contains(&super::Block::Notice) {
        page.push(super::Block::Notice);
    }
    page.0.extend(question.0);
    if let Some(id) = state.ask.id().filter(|_| steps) {
        let mut reminder = Page::default();
        reminder
            .text(Words::new().strong(title(knowledge, id)).plain(". Its cautions and steps stand above."));
        page.before_hint(reminder);
    }
    page
}

fn asked(knowledge: &Knowledge, state: &State) -> Page {
    match &state.ask {
        Ask::Opening(item) => opening::question(knowledge, state, *item),
        Ask::MakeSafe => opening::make_safe(),
        Ask::Symptoms(list) => opening::symptoms(knowledge, state, list),
        Ask::Told(list) => told::question(knowledge, list),
        Ask::Target(_) => works::target(),
        Ask::Check(id) => works::check(knowledge, state, id),
        Ask::Circumstance(id) => works::circumstance(knowledge, state, id),
        Ask::Authority(work) => works::authority(knowledge, state, work),
        Ask::Locked(work) => works::locked(knowledge, state, work),
        Ask::StillLocked(work) => works::still_locked(knowledge, state, work),
        Ask::HandBack(work) => works::hand_back(knowledge, state, work),
        Ask::Remedy(id) => works::remedy(knowledge, state, id),
        Ask::Before(id) => works::before(knowledge, state, id),
        Ask::Setting(id) => works::setting(knowledge, state, id),
        Ask::PutBack(change) => works::put_back(knowledge, state, change),
        Ask::Send => works::send(knowledge, state),
        Ask::Pick(pick) => pick_list(knowledge, state, pick),
        Ask::Note => short("Write the remark down. It is kept as yours and is never evidence."),
        Ask::Close => works::close(knowledge, state),
        Ask::Over(_) => Page::default(),
    }
}

fn short(text: &str) -> Page {
    let mut page = Page::default();
    page.text(text);
    page
}

fn pick_list(knowledge: &Knowledge, state: &State, pick: &Pick) -> Page {
    let (heading, items): (&str, Vec<Words>) = match pick {
        Pick::Reading(ids) => ("Which reading?", ids.iter().map(|id| title(knowledge, id).into()).collect()),
        Pick::Other(candidates) => {
            ("What else could come next", candidates.iter().map(|c| candidate_line(knowledge, c)).collect())
        }
        Pick::Did(ids) => {
            ("What did you do?", ids.iter().map(|id| title(knowledge, id.as_str()).into()).collect())
        }
        Pick::Suspect(ids) => {
            ("What do you suspect?", ids.iter().map(|id| title(knowledge, id.as_str()).into()).collect())
        }
        Pick::Correct(events) => (
            "Which answer is wrong?",
            events.iter().map(|&answered| answered_line(knowledge, &state.case, answered).into()).collect(),
        ),
    };
    let mut page = Page::default();
    page.heading(heading);
    if items.is_empty() {
        page.text("There is nothing to choose from.");
    }
    page.push(super::Block::Numbered(items));
    page.hint("Type a number, a word of what you look for, or 'back'.");
    page
}

/// One candidate in a line: title, minutes, where.
pub fn candidate_line(knowledge: &Knowledge, candidate: &Candidate) -> Words {
    let minutes = words::minutes(candidate.minutes);
    let place = if candidate.exposures.hands_on() {
        format!(", {minutes}, hands-on: {}", candidate.exposures)
    } else {
        format!(", {minutes}")
    };
    let kind = match candidate.kind {
        Kind::Remedy => "Put right: ",
        _ => "",
    };
    Words::new().plain(kind).strong(title(knowledge, &candidate.id)).plain(place)
}

fn answered_line(knowledge: &Knowledge, case: &Case, answered: Answered) -> String {
    match answered {
        Answered::Event(index) => event_line(knowledge, case, index),
        Answered::Opening(item) => opening::answered(knowledge, case, item),
    }
}

/// One event of a case in a line.
pub fn event_line(knowledge: &Knowledge, case: &Case, index: usize) -> String {
    use crate::casebook::What;
    let Some(event) = case.events.get(index) else { return String::new() };
    match &event.what {
        What::Reading { check, reading, .. } => {
            format!(
                "{}: {}",
                title(knowledge, check.as_str()),
                reasons::reading_words(knowledge, check, reading)
            )
        }
        What::Circumstance { id, answer } => {
            format!("{} {}", circumstance_question(knowledge, id.as_str()), reasons::happened_words(*answer))
        }
        What::Setting { id, old: Some(old), new: None } => {
            format!("{}: {old} before any change", setting_title(knowledge, case, id))
        }
        What::Setting { id, old: Some(old), new: Some(new) } if old == new => {
            format!("{}: left at {new}", setting_title(knowledge, case, id))
        }
        What::Setting { id, old, new } => format!(
            "{}: {} → {}",
            setting_title(knowledge, case, id),
            old.as_deref().unwrap_or("not known"),
            new.as_deref().unwrap_or("not known")
        ),
        What::Remedy { id, result } => {
            format!("Done: {}, {}", title(knowledge, id.as_str()), reasons::result_words(*result))
        }
        What::Suspicion(cause) => format!("Suspected: {}", title(knowledge, cause.as_str())),
        What::Note(text) => format!("Remark: {text}"),
    }
}

/// A setting as this machine's panel names it.
pub(in crate::view) fn setting_title(knowledge: &Knowledge, case: &Case, id: &SettingId) -> String {
    let known = knowledge.machines.get(&case.machine).and_then(|machine| machine.setting(id));
    known.map_or_else(|| words::sentence_start(&id.as_str().replace('-', " ")), |s| s.title.clone())
}

/// The latest run of a case, judged by what its machine usually does.
fn weighing(knowledge: &Knowledge, case: &Case) -> Option<Weighing> {
    let machine = knowledge.machines.get(&case.machine)?;
    Some(Weighing::of_run(to_run(&latest_run(case)?).ok()?, usual_for(machine)))
}

/// What the run just given says: in words and as a picture, and in a line.
pub fn run_said(knowledge: &Knowledge, case: &Case) -> [Page; 2] {
    let Some(weighing) = weighing(knowledge, case) else { return Default::default() };
    let mut line = Page::default();
    line.text(Words::new().plain("The run: ").strong(weighing.sentence()));
    [super::weighing::in_short(&weighing), line]
}

fn circumstance_question(knowledge: &Knowledge, id: &str) -> String {
    knowledge.circumstances.get(id).map_or_else(|| sentence(id), |c| c.asked.clone())
}
