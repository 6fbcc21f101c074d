//! Checklists on a page: all of them, one while it is carried out, on paper, and as a report.

mod card;
pub mod paper;
mod report;

pub use card::{help, overview, question, why};
pub use report::{Cover, report};

use super::words::{self, count};
use super::{Page, Words};
use crate::casebook::sheet::{Sheet, Standing};
use crate::checklist::{Checklist, Checklists, Item};
use crate::ids::ListId;
use crate::knowledge::Knowledge;
use crate::safety::{HandsOnStep, MissingCaution};
use crate::walk::checklist::coming_up;

/// The items that come up on a sheet, in the order of its list, each with its section's title.
pub fn items_of<'l>(knowledge: &Knowledge, list: &'l Checklist, sheet: &Sheet) -> Vec<(&'l str, &'l Item)> {
    let Some(machine) = knowledge.machines.get(&sheet.head.machine) else { return Vec::new() };
    coming_up(list, machine, sheet)
        .into_iter()
        .map(|(section, item)| (section.title.as_str(), item))
        .collect()
}

/// The steps of an item on one machine, ready to be shown. A hold that locks out brings the lockout of all that is done
/// behind it; where nothing is connected there is nothing to lock out.
pub(super) fn steps(
    knowledge: &Knowledge,
    list: &Checklist,
    item: &Item,
    machine: &crate::knowledge::Machine,
) -> Result<HandsOnStep, MissingCaution> {
    let exposures = machine.exposures(&item.work);
    let isolation = match (list.unconnected, item.locks_out) {
        (true, _) => None,
        (false, true) => machine.isolation(&list.under_lock(item, machine)),
        (false, false) => machine.isolation(&exposures),
    };
    let texts = item.work.steps.iter().map(|step| step.text.clone()).collect();
    HandsOnStep::new(texts, exposures, isolation, knowledge.cautions_of(&item.work))
}

/// How far a sheet is: settled items of those that come up.
pub fn progress(knowledge: &Knowledge, list: &Checklist, sheet: &Sheet) -> (usize, usize) {
    let items = items_of(knowledge, list, sheet);
    let done = items.iter().filter(|(_, item)| sheet.standing(&item.id.value).settled()).count();
    (done, items.len())
}

/// The lists in the order in which they are carried out: those that come after others behind them.
pub fn in_order(lists: &Checklists) -> Vec<&Checklist> {
    fn depth(lists: &Checklists, list: &Checklist, left: usize) -> usize {
        let before = list.after.iter().filter_map(|a| lists.lists.get(&a.value));
        // Rings are refused on loading; the bound is for lists that are shown in spite of it.
        before.map(|list| if left == 0 { 0 } else { 1 + depth(lists, list, left - 1) }).max().unwrap_or(0)
    }
    let mut all: Vec<_> = lists.lists.values().collect();
    all.sort_by_key(|list| (depth(lists, list, lists.lists.len()), list.id.clone()));
    all
}

/// All lists, and the sheets that were begun.
pub fn list(knowledge: &Knowledge, lists: &Checklists, sheets: &[Sheet]) -> Page {
    let mut page = Page::titled("Checklists");
    let line = |list: &&Checklist| {
        let about = format!(": {}, {}", list.title, words::minutes(list.minutes));
        Words::new().strong(list.id.as_str()).plain(about)
    };
    let all = in_order(lists);
    let first_start = |list: &&Checklist| leads_on(lists, list) || !list.after.is_empty();
    let routine = |list: &&Checklist| !leads_on(lists, list) && comes_after_all(lists, list);
    page.heading("From the crate to the first good fills, in this order");
    page.bullets(all.iter().filter(|l| first_start(l) && !routine(l)).map(line));
    let rest: Vec<_> = all.iter().filter(|l| routine(l) || !first_start(l)).map(line).collect();
    page.section("When it is wanted", rest);
    let begun: Vec<_> = sheets.iter().map(|sheet| sheet_line(knowledge, lists, sheet)).collect();
    page.section("Begun or signed here", begun);
    page.hint("handlamp checklist run NAME begins one; continue goes on; print is for paper.");
    page
}

/// Whether another list waits for this one.
fn leads_on(lists: &Checklists, list: &Checklist) -> bool {
    lists.lists.values().any(|other| other.after.iter().any(|a| a.value == list.id))
}

/// Whether all that this list waits for is the end of the first start.
fn comes_after_all(lists: &Checklists, list: &Checklist) -> bool {
    let waits = |id: &ListId| lists.lists.values().filter(|l| l.after.iter().any(|a| a.value == *id)).count();
    list.after.iter().all(|before| waits(&before.value) > 1)
}

fn sheet_line(knowledge: &Knowledge, lists: &Checklists, sheet: &Sheet) -> Words {
    let serial = sheet.head.serial.as_ref().map_or_else(String::new, |s| format!(", serial {s}"));
    let stands = match (sheet.ended(), lists.lists.get(&sheet.head.list)) {
        (Some((name, _)), _) => format!("signed by {name}"),
        (None, Some(list)) => {
            let (done, all) = progress(knowledge, list, sheet);
            format!("{done} of {}", count(all, "item", "items"))
        }
        (None, None) => "its list is not known here".to_owned(),
    };
    let damaged = if sheet.damage.is_empty() { "" } else { " RECORD DAMAGED" };
    Words::new()
        .strong(sheet.id.as_str())
        .plain(format!("  {}{serial}: {stands}{damaged}", sheet.head.list.as_str().replace('-', " ")))
}

/// How an item stands, in a word or two.
pub fn standing(standing: Standing) -> &'static str {
    match standing {
        Standing::Open => "open",
        Standing::Good => "good",
        Standing::Failed => "FAILED",
        Standing::Deviated => "goes on under a deviation",
        Standing::Skipped => "left out",
    }
}
