//! The list of cases for programs.

use serde::Serialize;

use crate::casebook::Listing;
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
