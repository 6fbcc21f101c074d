//! The list of cases for programs.

use serde::Serialize;

use crate::casebook::{Imported, Listing};
use crate::view::cases::ending;

/// All cases.
#[derive(Debug, Serialize)]
pub struct CaseList {
    format: &'static str,
    cases: Vec<CaseOut>,
}

#[derive(Debug, Serialize)]
struct CaseOut {
    id: String,
    opened: String,
    last: String,
    machine: String,
    complaint: Option<String>,
    events: usize,
    stands: &'static str,
    damaged: bool,
}

/// A listing as an answer.
pub fn case_list(listing: &Listing) -> CaseList {
    let case = |c: &crate::casebook::Summary| CaseOut {
        id: c.id.to_string(),
        opened: c.opened.clone(),
        last: c.last.clone(),
        machine: c.machine.to_string(),
        complaint: c.complaint.clone(),
        events: c.events,
        stands: ending(c.closed),
        damaged: c.damaged,
    };
    CaseList { format: "handlamp-cases/1", cases: listing.cases.iter().map(case).collect() }
}

/// What an import came to, as `handlamp-import/1`.
#[derive(Debug, Serialize)]
pub struct ImportOut<'a> {
    format: &'static str,
    taken: Vec<TakenOut<'a>>,
    extended: Vec<&'a str>,
    known: Vec<TakenOut<'a>>,
    refused: Vec<RefusedOut<'a>>,
}

#[derive(Debug, Serialize)]
struct TakenOut<'a> {
    from: &'a str,
    id: &'a str,
}

#[derive(Debug, Serialize)]
struct RefusedOut<'a> {
    from: &'a str,
    why: &'a str,
}

/// What an import came to, for a program.
pub fn imported(done: &Imported) -> ImportOut<'_> {
    fn named((from, id): &(String, crate::casebook::CaseId)) -> TakenOut<'_> {
        TakenOut { from, id: id.as_str() }
    }
    ImportOut {
        format: "handlamp-import/1",
        taken: done.taken.iter().map(named).collect(),
        extended: done.extended.iter().map(crate::casebook::CaseId::as_str).collect(),
        known: done.known.iter().map(named).collect(),
        refused: done.refused.iter().map(|(from, why)| RefusedOut { from, why }).collect(),
    }
}
