//! Cases in a list, and one case with its answers and what replaced what.

use super::diagnosis::{cured, event_line, likely, title};
use super::words::{self, count};
use super::{Block, Page, Words};
use crate::casebook::{Closing, Entry, Event, Imported, Listing, Recorded, Summary};
use crate::knowledge::Knowledge;
use crate::search::past::Past;
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

/// What an import came to.
pub fn imported(done: &Imported) -> Page {
    let mut page = Page::titled("Cases taken in");
    page.text(format!(
        "{} new, {} gone on with, {} here already, {} refused.",
        done.taken.len(),
        done.extended.len(),
        done.known.len(),
        done.refused.len()
    ));
    let line = |(name, why): &(String, String)| Words::new().strong(name).plain(format!(": {why}"));
    page.section("Refused", done.refused.iter().map(line));
    page
}

/// What the store remembers of cases like this one: of the very machine, and of others with the same symptom. A remark, and
/// no evidence. None when there is nothing.
pub fn remembered(knowledge: &Knowledge, before: &[Past], like: &[Past]) -> Option<Page> {
    let mut page = Page::default();
    let remedy =
        |id: &str| knowledge.remedies.get(id).map_or(id.to_owned(), |remedy| remedy.head.title.clone());
    for past in before {
        let cured = past
            .cured_by
            .as_deref()
            .map_or_else(|| "not cured".to_owned(), |id| format!("cured by: {}", remedy(id)));
        page.text(
            Words::new()
                .strong("This machine was here before")
                .plain(format!(": {}, {cured}. Case {}.", past.day, past.id)),
        );
    }
    if !like.is_empty() {
        let mut by: std::collections::BTreeMap<String, usize> = std::collections::BTreeMap::new();
        for past in like {
            *by.entry(past.cured_by.as_deref().map(&remedy).unwrap_or_default()).or_default() += 1;
        }
        let mut by: Vec<(String, usize)> = by.into_iter().collect();
        by.sort_by(|a, b| b.1.cmp(&a.1).then_with(|| a.0.cmp(&b.0)));
        let by: Vec<String> = by.into_iter().map(|(title, n)| format!("{title} ({n})")).collect();
        let number = ["No", "One", "Two", "Three"]
            .get(like.len())
            .map_or_else(|| like.len().to_string(), ToString::to_string);
        page.text(
            Words::new()
                .strong(format!("{number} like this one"))
                .plain(format!(", cured by: {}.", by.join("; "))),
        );
    }
    if page.0.is_empty() {
        return None;
    }
    page.text("From the cases here; it is no evidence on this one.");
    Some(page)
}

/// Closed cases that fit some words, people's own words in quotes.
pub fn found(page: &mut Page, cases: &[Past]) {
    if cases.is_empty() {
        return;
    }
    page.heading("Closed cases that fit");
    for past in cases {
        let cured = if past.cured_by.is_some() { "cured" } else { "not cured" };
        page.text(
            Words::new().strong(&past.id).plain(format!(", {}, {cured}", past.machine.replace('-', " "))),
        );
        page.quote("The customer", &past.complaint);
    }
    page.hint(format!("handlamp case show {}", cases[0].id));
}
