//! The report of a sheet: every reading against its limit, deviations, open points, signatures with time, and whether the
//! record is whole.

use super::super::words::{self, count, sentence_start};
use super::super::{Block, Page, Table, Words};
use super::{items_of, standing};
use crate::casebook::sheet::{Answer, Kept, Line, Sheet, Standing};
use crate::checklist::{Checklist, Item, Kind};
use crate::ids::ItemId;
use crate::knowledge::Knowledge;
use crate::walk::checklist::{judge, open_points};

/// How times are read, given by the caller.
pub struct Cover<'c> {
    /// A timestamp of the record as people read it.
    pub time: &'c dyn Fn(&str) -> String,
    /// The day of the report, for due dates.
    pub today: jiff::civil::Date,
}

/// The report.
pub fn report(knowledge: &Knowledge, list: &Checklist, sheet: &Sheet, cover: &Cover<'_>) -> Page {
    let mut page = Page::titled(format!("{}: report", list.title));
    page.bullets(facts(knowledge, list, sheet, cover));
    if !sheet.damage.is_empty() {
        page.text(Words::new().strong("This record is not as it was written. What it says proves nothing."));
        page.bullets(sheet.damage.iter().map(|what| words::sentence(what)));
    }
    readings(&mut page, knowledge, list, sheet, cover);
    page.section("Corrected", corrections(list, sheet, cover));
    points(&mut page, list, sheet);
    page.section("Lockouts and people", people(sheet, cover));
    page.section("Diagnoses", diagnoses(list, sheet, cover));
    for kept in &sheet.lines {
        if let Line::Note { item, text } = &kept.line {
            page.quote(format!("{}, {}", who(kept), name(list, item)), text);
        }
    }
    page.heading("Signed");
    match sheet.ended() {
        Some((by, at)) => page.text(format!("{by}, {}.", (cover.time)(at))),
        None => page.text(Words::new().strong("Not signed: the list is not finished.")),
    }
    page.text(format!(
        "Record {}, {}, closing sum {}. Each line carries a sum over itself and the line before: this shows accidental \
         change, not forgery.",
        sheet.id,
        count(sheet.lines.len() + 1, "line", "lines"),
        sheet.sum
    ));
    page.push(Block::Notice);
    page
}

fn facts(knowledge: &Knowledge, list: &Checklist, sheet: &Sheet, cover: &Cover<'_>) -> Vec<String> {
    let machine = knowledge.machines.get(&sheet.head.machine);
    let mut facts = vec![
        format!("Machine: {}", machine.map_or(sheet.head.machine.as_str(), |m| &m.head.title)),
        format!("Serial number: {}", sheet.head.serial.as_deref().unwrap_or("unknown")),
        format!("List: {}, revision {}", list.id, sheet.head.revision),
        format!("Begun {}, last entry {}", (cover.time)(&sheet.begun), (cover.time)(sheet.last())),
    ];
    if sheet.head.revision != list.revision {
        facts.push(format!(
            "The list is at revision {} by now; this sheet was begun with an older one",
            list.revision
        ));
    }
    facts
}

/// A table a section: item, found, wanted, how it stands, who and when.
fn readings(page: &mut Page, knowledge: &Knowledge, list: &Checklist, sheet: &Sheet, cover: &Cover<'_>) {
    let mut section = "";
    let mut table = Table::default();
    for (title, item) in items_of(knowledge, list, sheet) {
        if title != section {
            flush(page, &mut table);
            page.heading(title);
            table = Table::new(&["Item", "Found", "Wanted", "Stands", "By, when"]);
            section = title;
        }
        let id = &item.id.value;
        let last =
            sheet.of(id).rev().find(|kept| !matches!(kept.line, Line::Owner { .. } | Line::Note { .. }));
        let by = last.map_or_else(String::new, |kept| format!("{}, {}", who(kept), (cover.time)(&kept.at)));
        let found = sheet.answer(id).map_or_else(String::new, |(_, answer)| found(item, answer, cover.today));
        table.row([item.name(), found, wanted(item), standing(sheet.standing(id)).to_owned(), by]);
    }
    flush(page, &mut table);
}

fn flush(page: &mut Page, table: &mut Table) {
    if !table.rows.is_empty() {
        page.push(Block::Table(std::mem::take(table)));
    }
}

fn who(kept: &Kept) -> &str {
    kept.by.as_deref().unwrap_or("nobody named")
}

fn name(list: &Checklist, item: &ItemId) -> String {
    list.item(item).map_or_else(|| item.as_str().replace('-', " "), Item::name)
}

/// What was found, in the words of the report.
fn found(item: &Item, answer: &Answer, today: jiff::civil::Date) -> String {
    match answer {
        Answer::AsExpected => "as expected".to_owned(),
        Answer::NotSo { found } => format!("not so: {found}"),
        Answer::Value { value, expected, instrument } => {
            let beside = expected.map_or_else(String::new, |known| format!(" against {known}"));
            let with = instrument.as_ref().map_or_else(String::new, |i| {
                let due = i.due.map_or_else(String::new, |due| format!(", due {due}"));
                format!(" ({}{due})", i.name)
            });
            format!("{value}{beside}{with}")
        }
        Answer::Run { .. } => {
            let says = judge(item, answer, today).says;
            says.split(" Wanted:").next().unwrap_or_default().to_owned()
        }
        Answer::Chosen { id } => match &item.kind {
            Kind::Choice(choices) => choices
                .iter()
                .find(|c| c.id.value == *id)
                .map_or_else(|| id.to_string(), |c| c.answer.clone()),
            _ => id.to_string(),
        },
        Answer::Signed { names, remark } => {
            let remark = remark.as_ref().map_or_else(String::new, |remark| format!(": {remark}"));
            format!("{}{remark}", words::and(names))
        }
        Answer::Reference { text } => text.clone(),
    }
}

/// The limit or the number of names that an item wants.
fn wanted(item: &Item) -> String {
    match &item.kind {
        Kind::Measure(measure) => measure.limits.words(measure.unit, measure.expected),
        Kind::Run(ask) => format!(
            "{} fills or more, mean within {} of what is allowed",
            ask.at_least,
            words::percent(ask.mean_within)
        ),
        Kind::Confirm(names) | Kind::Hold(names) => count((*names).max(1), "name", "names"),
        _ => String::new(),
    }
}

/// First answers that a later one replaced: both stay.
fn corrections(list: &Checklist, sheet: &Sheet, cover: &Cover<'_>) -> Vec<String> {
    let mut lines = Vec::new();
    for (_, item) in list.items() {
        let answers: Vec<_> = sheet
            .of(&item.id.value)
            .filter_map(|kept| match &kept.line {
                Line::Answered { answer, .. } => Some((kept, answer)),
                _ => None,
            })
            .collect();
        let Some((_, before)) = answers.split_last() else { continue };
        for (kept, answer) in before {
            let found = found(item, answer, cover.today);
            lines.push(format!("{}: first {found} ({}, {})", item.name(), who(kept), (cover.time)(&kept.at)));
        }
    }
    lines
}

fn points(page: &mut Page, list: &Checklist, sheet: &Sheet) {
    let failed = list.items().filter(|(_, item)| sheet.standing(&item.id.value) == Standing::Failed);
    let failed: Vec<_> =
        failed.map(|(_, item)| format!("{}: failed, and the work stands", item.name())).collect();
    page.section("Not as wanted", failed);
    let open = open_points(list, sheet);
    if open.is_empty() {
        page.heading("Open points");
        page.text("None.");
        return;
    }
    let mut table = Table::new(&["Open point", "Why", "Let go on by", "Looks after it", "By when"]);
    for point in open {
        let (owner, due) = point.owner.unwrap_or_default();
        let how = if point.standing == Standing::Skipped { "left out" } else { "deviation" };
        table.row([
            name(list, &point.item),
            format!("{how}: {}", point.reason),
            point.by.unwrap_or_default(),
            owner,
            due,
        ]);
    }
    page.heading("Open points");
    page.push(Block::Table(table));
}

fn people(sheet: &Sheet, cover: &Cover<'_>) -> Vec<String> {
    let line = |kept: &Kept| {
        let at = (cover.time)(&kept.at);
        let by = who(kept);
        Some(match &kept.line {
            Line::Person { name } => format!("{at}: {name} goes on"),
            Line::Locked { key } => format!("{at}: isolated, locked and tried, said {by}. Key: {key}"),
            Line::Restored => format!("{at}: locks off and restored, said {by}"),
            Line::Unconnected => format!("{at}: nothing connected, said {by}"),
            Line::Qualified { name } => format!("{at}: {name}, qualified electrical person"),
            Line::BeforeMissing { list, name, reason } => {
                format!(
                    "{at}: begun without a signed '{}' by {name}: {reason}",
                    list.as_str().replace('-', " ")
                )
            }
            _ => return None,
        })
    };
    sheet.lines.iter().filter_map(line).collect()
}

fn diagnoses(list: &Checklist, sheet: &Sheet, cover: &Cover<'_>) -> Vec<String> {
    let line = |kept: &Kept| {
        let at = (cover.time)(&kept.at);
        Some(match &kept.line {
            Line::Diagnosis { item, case } => format!("{at}: {}, case {case} begun", name(list, item)),
            Line::DiagnosisEnded { item, case, closing } => {
                let ending = super::super::cases::ending(*closing);
                sentence_start(&format!("{at}: {}, case {case} {ending}", name(list, item)))
            }
            _ => return None,
        })
    };
    sheet.lines.iter().filter_map(line).collect()
}
