//! The report of a sheet: every reading against its limit, deviations, open points, signatures with time, and whether the
//! record is whole.

use super::super::words::{self, count, sentence_start};
use super::super::{Block, Page, Plot, Table, Words};
use super::{items_of, standing};
use crate::casebook::sheet::{Answer, Kept, Line, Sheet, Standing};
use crate::checklist::{Checklist, Item, Kind};
use crate::ids::ItemId;
use crate::knowledge::Knowledge;
use crate::units::number;
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
    runs(&mut page, knowledge, list, sheet);
    page.section("Failed first, then done again", replaced(list, sheet, cover, true));
    page.section("Corrected in the record", replaced(list, sheet, cover, false));
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
        let stands = match (&item.kind, sheet.standing(id)) {
            (Kind::Choice(_), Standing::Good) => "answered",
            (_, stands) => standing(stands),
        };
        table.row([item.name(), found, wanted(item, sheet), stands.to_owned(), by]);
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
        Answer::AsExpected { remark } => remark
            .as_ref()
            .map_or_else(|| "as expected".to_owned(), |remark| format!("as expected: {remark}")),
        Answer::NotSo { found } => format!("not so: {found}"),
        Answer::Value { value, expected, instrument } => {
            let beside = expected.map_or_else(String::new, |known| format!(" against {known}"));
            let with = instrument.as_ref().map_or_else(String::new, |i| {
                let due = i.due.map_or_else(String::new, |due| format!(", due {due}"));
                format!(" ({}{due})", i.name)
            });
            format!("{value}{beside}{with}")
        }
        Answer::Run { fills, .. } => {
            let says = judge(item, answer, today).says;
            let says = says.split(" Wanted:").next().unwrap_or_default();
            format!("target {} {}, {says}", number(fills.target), fills.unit)
        }
        Answer::Chosen { id } => item.answer(id).to_owned(),
        Answer::Signed { names, remark } => {
            let remark = remark.as_ref().map_or_else(String::new, |remark| format!(": {remark}"));
            format!("{}{remark}", words::and(names))
        }
        Answer::Reference { text } => text.clone(),
    }
}

/// The limit or the number of names that an item wants.
fn wanted(item: &Item, sheet: &Sheet) -> String {
    match &item.kind {
        Kind::Measure(measure) => measure.limits.words(measure.unit, measure.expected),
        Kind::Run(ask) => {
            let allowed = match sheet.answer(&item.id.value) {
                Some((_, Answer::Run { fills, tolerance })) => format!(
                    "every fill within {} {unit}, mean within {} {unit}",
                    number(*tolerance),
                    number(tolerance * ask.mean_within),
                    unit = fills.unit
                ),
                _ => format!("mean within {} of what is allowed", words::percent(ask.mean_within)),
            };
            format!("{} fills or more, {allowed}", ask.at_least)
        }
        Kind::Confirm(names) | Kind::Hold(names) => count((*names).max(1), "name", "names"),
        _ => String::new(),
    }
}

/// Answers that a later one replaced; both stay. `failed` picks what failed and was done again, else what was put right
/// in the record.
fn replaced(list: &Checklist, sheet: &Sheet, cover: &Cover<'_>, failed: bool) -> Vec<String> {
    let at = |kept: &Kept| format!("{}, {}", who(kept), (cover.time)(&kept.at));
    let mut lines = Vec::new();
    for (_, item) in list.items() {
        let mut before: Option<(&Kept, &Answer, bool)> = None;
        for kept in sheet.of(&item.id.value) {
            match &kept.line {
                Line::Answered { answer, good, corrects, .. } => {
                    if let Some((first, answer, was_good)) = before
                        && (!was_good && !corrects) == failed
                    {
                        let found = found(item, answer, cover.today);
                        lines.push(format!("{}: first {found} ({})", item.name(), at(first)));
                    }
                    before = Some((kept, answer, *good));
                }
                Line::PutRight { name, done, .. } if failed => {
                    lines.push(format!("{}: put right by {name}: {done} ({})", item.name(), at(kept)));
                }
                _ => {}
            }
        }
    }
    lines
}

/// Each run of fills as a picture, with its weights.
fn runs(page: &mut Page, knowledge: &Knowledge, list: &Checklist, sheet: &Sheet) {
    for (_, item) in items_of(knowledge, list, sheet) {
        let Some((_, Answer::Run { fills, tolerance })) = sheet.answer(&item.id.value) else { continue };
        page.heading(format!("{}: the fills", item.name()));
        page.push(Block::Plot(Plot {
            values: fills.values.clone(),
            target: Some(fills.target),
            limits: Some((fills.target - tolerance, fills.target + tolerance)),
            strays: Vec::new(),
            unit: fills.unit.clone(),
        }));
        let weights: Vec<String> = fills.values.iter().map(|value| number(*value)).collect();
        page.text(format!("In order, in {}: {}.", fills.unit, weights.join(" ")));
    }
}

fn points(page: &mut Page, list: &Checklist, sheet: &Sheet) {
    let failed = list.items().filter(|(_, item)| sheet.standing(&item.id.value) == Standing::Failed);
    let failed: Vec<_> =
        failed.map(|(_, item)| format!("{}: failed, and the work stands", item.name())).collect();
    page.section("Not as wanted", failed);
    let cases = list.items().filter_map(|(_, item)| {
        let case = not_closed(sheet, &item.id.value)?;
        Some(format!("{}: case {case} was left and not closed from here", item.name()))
    });
    page.section("Diagnoses left open", cases);
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

/// The last case of an item, if it was left and not closed.
fn not_closed<'s>(sheet: &'s Sheet, item: &'s ItemId) -> Option<&'s str> {
    let last = sheet.of(item).rev().find_map(|kept| match &kept.line {
        Line::Diagnosis { case, .. } => Some((case.as_str(), None)),
        Line::DiagnosisEnded { case, closing, .. } => Some((case.as_str(), *closing)),
        _ => None,
    })?;
    last.1.is_none().then_some(last.0)
}

fn people(sheet: &Sheet, cover: &Cover<'_>) -> Vec<String> {
    let line = |kept: &Kept| {
        let at = (cover.time)(&kept.at);
        let by = who(kept);
        Some(match &kept.line {
            Line::Person { name } => format!("{at}: {name} goes on"),
            Line::Locked { key } => format!("{at}: isolated, locked and tried, said {by}. Key: {key}"),
            Line::Restored => format!("{at}: restored, no lock from before counts, said {by}"),
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
