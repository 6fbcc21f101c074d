//! The ways on from an item that failed.

use super::judge::{Judged, judged_then};
use crate::casebook::sheet::{Line, Sheet, Standing};
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
pub fn ways(item: &Item, judged: &Judged) -> Vec<Way> {
    let mut ways = vec![Way::Again, Way::Note];
    let leads = judged.leads(item);
    if matches!(leads, Some(Leads::Opens { .. })) {
        ways.push(Way::Diagnose);
    }
    let closed = matches!(leads, Some(Leads::Stop | Leads::Opens { deviation: false, .. }));
    if !closed && !judged.only_overdue() && !matches!(item.kind, Kind::Hold(_)) {
        ways.push(Way::Deviation);
    }
    ways
}

/// Whether the failure stops the work until somebody has put it right.
pub fn stops(item: &Item, judged: &Judged) -> bool {
    judged.leads(item) == Some(&Leads::Stop)
}

/// Whether an item stopped the work and stands so on its sheet.
pub(super) fn stands_stopped(item: &Item, sheet: &Sheet, today: jiff::civil::Date) -> bool {
    sheet.standing(&item.id.value) == Standing::Failed
        && judged_then(item, sheet, today).is_some_and(|judged| stops(item, &judged))
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
