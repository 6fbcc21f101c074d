//! The ways on from an item that failed.

use super::judge::Judged;
use crate::casebook::sheet::{Line, Sheet};
use crate::checklist::{Item, Kind, Leads};
use crate::ids::ItemId;

/// A way on.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Way {
    /// Do the item again.
    Again,
    /// Write a remark down; the item stays as it is.
    Note,
    /// Find the cause.
    Diagnose,
    /// Go on all the same, if somebody who may says so.
    Deviation,
}

/// What can be done about a failed item. A hold has no deviation, and where a guard or a stop failed there is none either.
pub fn ways(item: &Item, judged: Option<&Judged>) -> Vec<Way> {
    let mut ways = vec![Way::Again, Way::Note];
    // Another instrument is the only way on.
    if judged.is_some_and(|j| j.overdue && j.on.is_none()) {
        return ways;
    }
    match item.leads(judged.and_then(|j| j.on.as_ref())) {
        Some(Leads::Stop) => return ways,
        Some(Leads::Opens { deviation, .. }) => {
            ways.push(Way::Diagnose);
            if !deviation {
                return ways;
            }
        }
        None => {}
    }
    if !matches!(item.kind, Kind::Hold(_)) {
        ways.push(Way::Deviation);
    }
    ways
}

/// Whether the failure stops the work until somebody has put it right.
pub(super) fn stops(item: &Item, judged: Option<&Judged>) -> bool {
    if judged.is_some_and(|j| j.overdue && j.on.is_none()) {
        return false;
    }
    matches!(item.leads(judged.and_then(|j| j.on.as_ref())), Some(Leads::Stop))
}

/// The case that was begun from an item and not brought to an end since.
pub fn open_case<'s>(sheet: &'s Sheet, item: &'s ItemId) -> Option<&'s str> {
    let mut open = None;
    for kept in sheet.of(item) {
        match &kept.line {
            Line::Diagnosis { case, .. } => open = Some(case.as_str()),
            Line::DiagnosisEnded { closing: Some(_), .. } | Line::Answered { good: true, .. } => open = None,
            _ => {}
        }
    }
    open
}
