//! Cases in a list, and one case with its answers and what replaced what.

use super::diagnosis::{cured, event_line, likely, title};
use super::words::{self, count};
use super::{Block, Page, Words};
use crate::casebook::{Closing, Entry, Event, Listing, Recorded, Summary};
use crate::knowledge::Knowledge;
use crate::walk::Assessment;

/// How a case was closed, in words.
pub fn ending(closed: Option<Closing>) -> &'static str {
    match closed {
        None => "open",
        Some(Closing::Cured) => "cured",
        Some(Closing::GoneNotProved) => "gone, not proved",
        Some(Closing::SentSomebody) => "somebody sent",
        Some(Closing::LeftOpen) => "left open",
    }
}

/// All cases, newest last.
pub fn list(listing: &Listing) -> Page {
    let mut page = Page::titled("Cases");
    if listing.cases.is_empty() {
        page.text("No case is kept here yet.");
        page.hint("handlamp diagnose begins one.");
        return page;
    }
    let line = |case: &Summary| {
        let damaged = if case.damaged { " (damaged)" } else { "" };
        let machine = case.machine.as_str().replace('-', " ");
        let complaint = case.complaint.as_deref().unwrap_or("no complaint written down");
        Words::new().strong(case.id.as_str()).plain(format!(
            "  {}{damaged}. {}: {complaint}",
            ending(case.closed),
            words::sentence_start(&machine)
        ))
    };
    page.bullets(listing.cases.iter().map(line));
    page.hint("handlamp case show, continue or report, with the case's number.");
    page
}

/// One case: complaint, answers, what is believed.
pub fn show(knowledge: &Knowledge, recorded: &Recorded, assessment: Option<&Assessment>) -> Page {
    let case = &recorded.case;
    let mut page = Page::titled(format!("Case {}", recorded.id));
    let machine = knowledge.machines.get(&case.machine).map_or("not known yet", |m| m.head.title.as_str());
    page.text(format!("{machine}, {}.", ending(case.closed)));
    if let Some(complaint) = &case.complaint {
        page.quote("Complaint", complaint);
    }
    page.0.extend(answers(knowledge, recorded).0);
    if let Some(assessment) = assessment {
        match cured(knowledge, case, assessment) {
            Some(cause) => page.text(
                Words::new().strong(title(knowledge, cause.as_str())).plain(": put right, and proved."),
            ),
            None => page.0.extend(likely(knowledge, assessment).0),
        }
        if case.closed.is_some() {
            page.hint(format!("handlamp case report {} writes the customer's report.", recorded.id));
        } else {
            if let Some(step) = assessment.plan.next.first() {
                page.text(Words::new().plain("Next: ").strong(title(knowledge, &step.id)));
            }
            page.hint(format!("handlamp case continue {} goes on.", recorded.id));
        }
    }
    page.push(Block::Notice);
    page
}

/// The answers by number, each with what it replaced.
pub fn answers(knowledge: &Knowledge, recorded: &Recorded) -> Page {
    let mut page = Page::default();
    page.heading(words::sentence_start(&count(recorded.case.events.len(), "answer", "answers")));
    let line = |index: usize| Words::from(event_line(knowledge, &recorded.case, index));
    page.push(Block::Numbered((0..recorded.case.events.len()).map(line).collect()));
    let replaced = recorded.history.iter().filter_map(|h| match (&h.entry, &h.replaced) {
        (Entry::Correct { index, .. }, Some(old)) => {
            Some(format!("Answer {} was: {}", index + 1, old_line(knowledge, recorded, old)))
        }
        _ => None,
    });
    page.section("Corrected", replaced);
    page
}

fn old_line(knowledge: &Knowledge, recorded: &Recorded, old: &Event) -> String {
    let mut case = recorded.case.clone();
    case.events = vec![old.clone()];
    event_line(knowledge, &case, 0)
}
