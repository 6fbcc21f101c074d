//! Checklists and sheets for programs.

use serde::Serialize;

use crate::casebook::sheet::{Answer, Sheet, Standing};
use crate::checklist::{Checklist, Checklists, Kind};
use crate::knowledge::Knowledge;
use crate::view::checklist::{in_order, items_of, progress, standing};
use crate::walk::checklist::{judge, open_points};

/// All lists in order, and the sheets.
#[derive(Debug, Serialize)]
pub struct ListsOut {
    format: &'static str,
    checklists: Vec<ListOut>,
    sheets: Vec<SheetLine>,
}

#[derive(Debug, Serialize)]
struct ListOut {
    id: String,
    title: String,
    machines: Option<Vec<String>>,
    after: Vec<String>,
    revision: u32,
    minutes: f64,
    items: usize,
}

#[derive(Debug, Serialize)]
struct SheetLine {
    id: String,
    list: String,
    machine: String,
    serial: Option<String>,
    begun: String,
    done: usize,
    items: usize,
    signed_by: Option<String>,
    damage: Vec<String>,
}

/// All lists as an answer.
pub fn checklists(knowledge: &Knowledge, lists: &Checklists, sheets: &[Sheet]) -> ListsOut {
    let list = |list: &Checklist| ListOut {
        id: list.id.to_string(),
        title: list.title.clone(),
        machines: list.machines.as_ref().map(|all| all.iter().map(|m| m.value.to_string()).collect()),
        after: list.after.iter().map(|a| a.value.to_string()).collect(),
        revision: list.revision,
        minutes: list.minutes,
        items: list.items().count(),
    };
    let sheet = |sheet: &Sheet| {
        let (done, items) =
            lists.lists.get(&sheet.head.list).map_or((0, 0), |list| progress(knowledge, list, sheet));
        SheetLine {
            id: sheet.id.to_string(),
            list: sheet.head.list.to_string(),
            machine: sheet.head.machine.to_string(),
            serial: sheet.head.serial.clone(),
            begun: sheet.begun.clone(),
            done,
            items,
            signed_by: sheet.ended().map(|(name, _)| name.to_owned()),
            damage: sheet.damage.clone(),
        }
    };
    ListsOut {
        format: "handlamp-checklists/1",
        checklists: in_order(lists).into_iter().map(list).collect(),
        sheets: sheets.iter().map(sheet).collect(),
    }
}

/// One sheet: every item that comes up, with its answer.
#[derive(Debug, Serialize)]
pub struct SheetOut {
    format: &'static str,
    id: String,
    list: String,
    revision: u32,
    machine: String,
    serial: Option<String>,
    items: Vec<ItemOut>,
    open_points: Vec<PointOut>,
    signed_by: Option<String>,
    damage: Vec<String>,
    sum: String,
    limits: &'static str,
}

#[derive(Debug, Serialize)]
struct ItemOut {
    id: String,
    name: String,
    kind: &'static str,
    stands: &'static str,
    by: Option<String>,
    answer: Option<Answer>,
    says: Option<String>,
    wanted: Option<String>,
}

#[derive(Debug, Serialize)]
struct PointOut {
    item: String,
    reason: String,
    by: Option<String>,
    owner: Option<String>,
    due: Option<String>,
}

/// A sheet as an answer.
pub fn sheet(knowledge: &Knowledge, list: &Checklist, sheet: &Sheet, today: jiff::civil::Date) -> SheetOut {
    let items = items_of(knowledge, list, sheet).into_iter().map(|(_, item)| {
        let id = &item.id.value;
        let answered = sheet.answer(id);
        let stands = sheet.standing(id);
        let says =
            answered.map(|(_, answer)| judge(item, answer, today).says).filter(|says| !says.is_empty());
        ItemOut {
            id: id.to_string(),
            name: item.name(),
            kind: item.kind.word(),
            stands: if stands == Standing::Failed { "failed" } else { standing(stands) },
            by: answered.and_then(|(kept, _)| kept.by.clone()),
            answer: answered.map(|(_, answer)| answer.clone()),
            says,
            wanted: match &item.kind {
                Kind::Measure(measure) => Some(measure.limits.words(measure.unit, measure.expected)),
                _ => None,
            },
        }
    });
    let points = open_points(list, sheet).into_iter().map(|point| {
        let (owner, due) = point.owner.map_or((None, None), |(owner, due)| (Some(owner), Some(due)));
        PointOut { item: point.item.to_string(), reason: point.reason, by: point.by, owner, due }
    });
    SheetOut {
        format: "handlamp-sheet/1",
        id: sheet.id.to_string(),
        list: list.id.to_string(),
        revision: sheet.head.revision,
        machine: sheet.head.machine.to_string(),
        serial: sheet.head.serial.clone(),
        items: items.collect(),
        open_points: points.collect(),
        signed_by: sheet.ended().map(|(name, _)| name.to_owned()),
        damage: sheet.damage.clone(),
        sum: sheet.sum.clone(),
        limits: crate::safety::STANDING_NOTICE,
    }
}
