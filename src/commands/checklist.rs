//! `handlamp checklist`: lists from the crate to the first good fills and after, on screen and on paper.

use std::collections::BTreeSet;

use super::context::readable;
use super::logs::{self, Form};
use super::sheet::{Round, around, same_serial};
use super::talk::stored;
use super::{CommandError, Context, Outcome, Result, show};
use crate::casebook::CaseId;
use crate::casebook::sheet::{Head, Sheet, Sheets};
use crate::checklist::{Checklist, Checklists};
use crate::ids::{self, ListId, MachineId, OptionId};
use crate::knowledge::{Knowledge, Machine};
use crate::render::{html, json, markdown};
use crate::view::{checklist as view, words};
use crate::walk::checklist::ListWalker;

/// Checklists: list, run, continue, print, report
#[derive(Debug, clap::Args)]
#[command(before_help = "\
Examples:
  handlamp checklist list
  handlamp checklist run receiving-and-uncrating
  handlamp checklist continue
  handlamp checklist report 2026-11-25-001
")]
pub(super) struct Args {
    #[command(subcommand)]
    what: What,
}

#[derive(Debug, clap::Subcommand)]
enum What {
    /// All lists in order, and those begun here
    #[command(before_help = "Examples:\n  handlamp checklist list\n")]
    List,
    /// Carry a list out; every answer is kept at once
    #[command(
        before_help = "Examples:\n  handlamp checklist run daily-start\n  handlamp checklist run daily-start --machine two-tray-weigher --serial 4711\n"
    )]
    Run(Run),
    /// Go on with a list, the latest open one when none is named
    #[command(
        before_help = "Examples:\n  handlamp checklist continue\n  handlamp checklist continue 2026-11-25-001\n"
    )]
    Continue(Named),
    /// A list on paper: tick boxes, room for readings, cautions where they are needed
    #[command(
        before_help = "Examples:\n  handlamp checklist print daily-start --machine single-tray-weigher > daily.html\n  handlamp checklist print hand-over --machine two-tray-weigher --paper letter > hand-over.html\n"
    )]
    Print(Print),
    /// What was found, against what is wanted, with signatures
    #[command(
        before_help = "Examples:\n  handlamp checklist report 2026-11-25-001\n  handlamp checklist report --form markdown\n"
    )]
    Report(Report),
}

#[derive(Debug, clap::Args)]
struct Run {
    /// The list, like daily-start
    list: String,
    /// The machine
    #[arg(long, value_name = "ID")]
    machine: Option<String>,
    /// Its serial number
    #[arg(long, value_name = "NUMBER")]
    serial: Option<String>,
    /// Options fitted, parted by commas; 'none' for none. Left out: asked where it matters
    #[arg(long, value_name = "IDS")]
    fitted: Option<String>,
}

#[derive(Debug, clap::Args)]
struct Print {
    /// The list, like daily-start
    list: String,
    /// The machine that it is for
    #[arg(long, value_name = "ID")]
    machine: Option<String>,
    /// How it shall look
    #[arg(long, value_enum, default_value_t = Printed::Html)]
    form: Printed,
    /// The paper that it is printed on
    #[arg(long, value_enum, default_value_t = PaperSize::A4)]
    paper: PaperSize,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, clap::ValueEnum)]
enum Printed {
    /// A page for a browser, which prints it
    Html,
    /// For a document
    Markdown,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, clap::ValueEnum)]
enum PaperSize {
    /// 210 by 297 mm
    A4,
    /// 8½ by 11 inches
    Letter,
}

impl PaperSize {
    fn of(self, running: String) -> html::Paper {
        let size = if self == PaperSize::A4 { html::Size::A4 } else { html::Size::Letter };
        html::Paper { size, running }
    }
}

#[derive(Debug, clap::Args)]
struct Named {
    /// The sheet, like 2026-11-25-001
    id: Option<String>,
}

#[derive(Debug, clap::Args)]
struct Report {
    /// The sheet, like 2026-11-25-001
    id: Option<String>,
    /// How it shall look
    #[arg(long, value_enum, default_value_t = Form::Plain)]
    form: Form,
    /// The paper that a page is printed on
    #[arg(long, value_enum, default_value_t = PaperSize::A4)]
    paper: PaperSize,
}

pub(super) fn run(args: &Args, context: &mut Context) -> Result {
    let knowledge = context.knowledge()?;
    let lists = context.checklists(&knowledge)?;
    let sheets = Sheets::at(&context.store()?);
    match &args.what {
        What::List => list(&knowledge, &lists, &sheets, context),
        What::Run(run) => begin(run, &knowledge, &lists, &sheets, context),
        What::Continue(named) => take_up(named, &knowledge, &lists, &sheets, context),
        What::Print(print) => self::print(print, &knowledge, &lists, context),
        What::Report(report) => self::report(report, &knowledge, &lists, &sheets, context),
    }
}

fn list(knowledge: &Knowledge, lists: &Checklists, sheets: &Sheets, context: &mut Context) -> Result {
    let sheets = logs::all(sheets, context)?;
    if context.options.json {
        context.json(&json::checklists(knowledge, lists, &sheets))?;
    } else {
        context.page(&view::list(knowledge, lists, &sheets))?;
    }
    Ok(Outcome::Done)
}

/// A list by its id, or an error with the nearest names.
pub(super) fn named<'l>(lists: &'l Checklists, id: &str) -> Result<&'l Checklist> {
    lists.lists.get(id).ok_or_else(|| {
        let near = ids::did_you_mean(id, lists.lists.keys().map(ListId::as_str));
        CommandError::input(format!("There is no checklist '{}'.", crate::diag::harmless(id)))
            .hint(near.unwrap_or_else(|| "`handlamp checklist list` names them all.".to_owned()))
    })
}

/// The machine named, if the list is for it; the only one that it is for, if none is named.
pub(super) fn machine_of<'k>(
    knowledge: &'k Knowledge,
    list: &Checklist,
    id: Option<&str>,
) -> Result<Option<&'k Machine>> {
    let Some(id) = id else {
        let mut fitting = knowledge.machines.values().filter(|m| list.is_for(&m.id));
        return Ok(fitting.next().filter(|_| fitting.next().is_none()));
    };
    let machine = show::machine(knowledge, id)?;
    if list.is_for(&machine.id) {
        return Ok(Some(machine));
    }
    Err(CommandError::input(format!(
        "The list '{}' is not for the {}.",
        list.id,
        words::clause(&machine.head.title)
    )))
}

fn fitted(text: Option<&str>, machine: Option<&Machine>) -> Result<Option<BTreeSet<OptionId>>> {
    let Some(text) = text else { return Ok(None) };
    if text.trim() == "none" {
        return Ok(Some(BTreeSet::new()));
    }
    let options = text.split(',').map(|word| {
        let word = word.trim();
        let known = machine.map(|m| &m.options);
        if known.is_some_and(|known| !known.contains_key(word)) {
            let names = known.into_iter().flatten().map(|(id, _)| id.as_str());
            let near = ids::did_you_mean(word, names);
            return Err(CommandError::input(format!(
                "This machine has no option '{}'.",
                crate::diag::harmless(word)
            ))
            .hint(near));
        }
        Ok(OptionId::new(word))
    });
    options.collect::<Result<_>>().map(Some)
}

fn begin(
    args: &Run,
    knowledge: &Knowledge,
    lists: &Checklists,
    sheets: &Sheets,
    context: &mut Context,
) -> Result {
    let list = named(lists, &args.list)?;
    let machine = machine_of(knowledge, list, args.machine.as_deref())?;
    if machine.is_none() && args.fitted.is_some() {
        return Err(CommandError::usage("Options are of a machine: say which with --machine."));
    }
    let head = Head {
        list: list.id.clone(),
        revision: list.revision,
        machine: machine.map_or_else(|| MachineId::new(""), |m| m.id.clone()),
        fitted: fitted(args.fitted.as_deref(), machine)?,
        serial: args
            .serial
            .as_deref()
            .map(|s| crate::diag::harmless(s).trim().to_owned())
            .filter(|s| !s.is_empty()),
    };
    let open = open_already(sheets, &head)?;
    let around = around(lists, sheets, &head, None, context)?;
    let walker = ListWalker { knowledge, list };
    let first = walker.begin(head, machine.is_some(), around);
    let mut page = crate::view::Page::titled(&list.title);
    page.text(&*list.about);
    page.text(format!(
        "{}. Revision {}.",
        words::sentence_start(&words::minutes(list.minutes)),
        list.revision
    ));
    if let Some(id) = open {
        page.text(format!(
            "Sheet {id} of this list is open for this machine: checklist continue {id} goes on with it."
        ));
    }
    page.push(crate::view::Block::Notice);
    context.aside_or_page(&page)?;
    Round::new(knowledge, lists, walker, sheets, None).run(first, context)
}

/// A sheet of the same list and machine that nobody has signed yet.
fn open_already(sheets: &Sheets, head: &Head) -> Result<Option<CaseId>> {
    let (all, _) = sheets.list().map_err(stored)?;
    let same = |sheet: &Sheet| {
        let (known, asked) = (&sheet.head, head);
        known.list == asked.list && known.machine == asked.machine && same_serial(known, asked)
    };
    Ok(all.into_iter().find(|sheet| same(sheet) && sheet.ended().is_none()).map(|sheet| sheet.id))
}

/// The sheet named, else the latest of those wanted.
fn sheet_of(sheets: &Sheets, id: Option<&str>, wanted: impl Fn(&Sheet) -> bool) -> Result<CaseId> {
    logs::named(sheets, id, wanted, || {
        CommandError::input("No such list was begun here.")
            .hint("`handlamp checklist list` shows what there is; `run` begins one.".to_owned())
    })
}

fn take_up(
    args: &Named,
    knowledge: &Knowledge,
    lists: &Checklists,
    sheets: &Sheets,
    context: &mut Context,
) -> Result {
    let id = sheet_of(sheets, args.id.as_deref(), |sheet| sheet.ended().is_none())?;
    let record = sheets.open(&id).map_err(stored)?;
    let sheet = record.log().clone();
    logs::damage(&sheet, context)?;
    if sheet.ended().is_some() {
        return Err(CommandError::input(format!("Sheet {id} is signed.")).hint(format!(
            "`handlamp checklist report {id}` shows it; `run {}` begins a new one.",
            sheet.head.list
        )));
    }
    let list = named(lists, sheet.head.list.as_str())?;
    if !knowledge.machines.contains_key(&sheet.head.machine) {
        return Err(CommandError::input(format!(
            "The machine '{}' of sheet {id} is not known here.",
            sheet.head.machine
        )));
    }
    let around = around(lists, sheets, &sheet.head, Some(&id), context)?;
    let (done, all) = view::progress(knowledge, list, &sheet);
    let mut page = crate::view::Page::titled(&list.title);
    page.text(format!("Sheet {id}: {done} of {} done.", words::count(all, "item", "items")));
    if sheet.head.revision != list.revision {
        page.text(format!(
            "It was begun with revision {}; the list is at {} by now.",
            sheet.head.revision, list.revision
        ));
    }
    page.push(crate::view::Block::Notice);
    context.aside_or_page(&page)?;
    let walker = ListWalker { knowledge, list };
    let first = walker.resume(sheet, around);
    Round::new(knowledge, lists, walker, sheets, Some(record)).run(first, context)
}

fn print(args: &Print, knowledge: &Knowledge, lists: &Checklists, context: &mut Context) -> Result {
    if context.options.json {
        return Err(CommandError::usage("A printed list has no JSON form; leave --json out."));
    }
    let list = named(lists, &args.list)?;
    let Some(machine) = machine_of(knowledge, list, args.machine.as_deref())? else {
        let known: Vec<_> =
            knowledge.machines.keys().filter(|id| list.is_for(id)).map(MachineId::as_str).collect();
        return Err(CommandError::usage("A sheet is printed for one machine: say which with --machine.")
            .hint(format!("It is for {}.", words::and(&known))));
    };
    let page = view::paper::sheet(lists, list, knowledge, machine);
    let text = match args.form {
        Printed::Html => html::page(&page, &args.paper.of(view::paper::running(list, machine))),
        Printed::Markdown => markdown::report(&page),
    };
    context.write(&text)?;
    Ok(Outcome::Done)
}

fn report(
    args: &Report,
    knowledge: &Knowledge,
    lists: &Checklists,
    sheets: &Sheets,
    context: &mut Context,
) -> Result {
    let id = sheet_of(sheets, args.id.as_deref(), |_| true)?;
    let sheet = sheets.read(&id).map_err(stored)?;
    let list = named(lists, sheet.head.list.as_str())?;
    let outcome = logs::damage(&sheet, context)?;
    let cover = view::Cover { time: &readable, today: context.today() };
    if context.options.json {
        context.json(&json::sheet(knowledge, list, &sheet, cover.today))?;
    } else {
        let page = view::report(knowledge, list, &sheet, &cover);
        let running = format!("{} · sheet {id} · sum {}", list.title, sheet.sum);
        let text = args.form.written(&page, &args.paper.of(running), context);
        context.write(&text)?;
    }
    Ok(outcome)
}
