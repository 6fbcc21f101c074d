//! `handlamp case`: the cases on disk, one append-only record each.

use super::context::readable;
use super::talk::{Talk, stored};
use super::{CommandError, Context, Outcome, Result, diagnose, find, importing, week};
use crate::casebook::{CaseId, Closing, Entry, Recorded, Store, export, fit};
use crate::knowledge::Knowledge;
use crate::render::{json, markdown, plain};
use crate::view::report::{self, Cover};
use crate::view::{Page, cases, words};
use crate::walk::{Step, understand};
use crate::weights::proof::Proof;

/// Cases: list, show, continue, correct, report, close, export, import, week
#[derive(Debug, clap::Args)]
#[command(before_help = "\
Examples:
  handlamp case list
  handlamp case continue
  handlamp case report 2026-11-25-001 --form markdown
")]
pub(super) struct Args {
    #[command(subcommand)]
    what: What,
}

#[derive(Debug, clap::Subcommand)]
enum What {
    /// All cases, newest last
    List,
    /// One case: what was answered, what is believed
    #[command(before_help = "Examples:\n  handlamp case show 2026-11-25-001\n")]
    Show(Named),
    /// Take a case up again, the latest open one when none is named
    #[command(before_help = "Examples:\n  handlamp case continue\n  handlamp case continue 2026-11-25-001\n")]
    Continue(Named),
    /// Replace an answer; the old one stays in the record
    #[command(
        before_help = "Examples:\n  handlamp case correct 2026-11-25-001\n  handlamp case correct 2026-11-25-001 3 as recorded\n"
    )]
    Correct(Correct),
    /// The report for the customer
    #[command(
        before_help = "Examples:\n  handlamp case report 2026-11-25-001\n  handlamp case report 2026-11-25-001 --form message\n"
    )]
    Report(Report),
    /// Close a case
    #[command(before_help = "Examples:\n  handlamp case close 2026-11-25-001 --as gone-not-proved\n")]
    Close(Close),
    /// The manager's figures: what recurs, how cases ended, what cost minutes for nothing
    #[command(
        before_help = "Examples:\n  handlamp case week\n  handlamp case week --by team --form html > week.html\n  handlamp case week --price-per-kg 3.20 --currency EUR --fills-an-hour 420\n"
    )]
    Week(week::Args),
    /// Cases of others; those that are here already are recognised
    #[command(
        before_help = "Examples:\n  handlamp case import their-store\n  handlamp case import call.yaml\n"
    )]
    Import(importing::Args),
    /// The case as a file that replays
    #[command(before_help = "Examples:\n  handlamp case export 2026-11-25-001\n")]
    Export(Named),
}

#[derive(Debug, clap::Args)]
struct Named {
    /// The case, like 2026-11-25-001
    id: Option<String>,
}

#[derive(Debug, clap::Args)]
struct Correct {
    /// The case, like 2026-11-25-001
    id: String,
    /// The number of the answer, as `case show` counts
    number: Option<usize>,
    /// The right answer, as it would be typed
    answer: Vec<String>,
}

#[derive(Debug, clap::Args)]
struct Report {
    /// The case, like 2026-11-25-001
    id: Option<String>,
    /// How it shall look
    #[arg(long, value_enum, default_value_t = Form::Plain)]
    form: Form,
}

#[derive(Debug, Clone, Copy, clap::ValueEnum)]
enum Form {
    /// For a file or an e-mail
    Plain,
    /// For a document
    Markdown,
    /// At most five lines for a text message
    Message,
}

#[derive(Debug, clap::Args)]
struct Close {
    /// The case, like 2026-11-25-001
    id: Option<String>,
    /// How it ended
    #[arg(long = "as", value_enum)]
    ending: Ending,
}

#[derive(Debug, Clone, Copy, clap::ValueEnum)]
enum Ending {
    /// A run of fills proves it
    Cured,
    /// Gone, and nothing proves it
    GoneNotProved,
    /// Somebody is on the way
    SentSomebody,
    /// It stays as it is
    LeftOpen,
}

pub(super) fn run(args: &Args, context: &mut Context) -> Result {
    let store = Store::at(&context.store()?);
    match &args.what {
        What::List => list(&store, context),
        What::Show(named) => show(&store, named, context),
        What::Continue(named) => take_up(&store, named, context),
        What::Correct(correct) => self::correct(&store, correct, context),
        What::Report(report) => self::report(&store, report, context),
        What::Close(close) => self::close(&store, close, context),
        What::Import(args) => importing::run(args, &store, context),
        What::Week(args) => week::run(args, &store, context),
        What::Export(named) => {
            let id = named_or_last(&store, named.id.as_deref())?;
            let case = store.read(&id).map_err(stored)?.case;
            context.write(&export(&case))?;
            Ok(Outcome::Done)
        }
    }
}

fn named_or_latest(store: &Store, id: Option<&str>) -> Result<CaseId> {
    if let Some(text) = id {
        return CaseId::parse(text).map_err(stored);
    }
    let latest = store.latest_open().map_err(stored)?;
    latest.map(|summary| summary.id).ok_or_else(|| {
        CommandError::input("There is no open case.")
            .hint("`handlamp case list` shows all of them.".to_owned())
    })
}

/// The case named, else the one that something was last added to, open or closed.
fn named_or_last(store: &Store, id: Option<&str>) -> Result<CaseId> {
    if id.is_none()
        && let Some(last) = store.latest().map_err(stored)?
    {
        return Ok(last.id);
    }
    named_or_latest(store, id)
}

fn list(store: &Store, context: &mut Context) -> Result {
    let listing = store.list().map_err(stored)?;
    for error in &listing.unreadable {
        context.remark(&words::sentence(&error.to_string()))?;
    }
    if context.options.json {
        context.json(&json::case_list(&listing))?;
    } else {
        context.page(&cases::list(&listing))?;
    }
    Ok(Outcome::Done)
}

/// A case as the present knowledge understands it.
fn recorded(store: &Store, id: &CaseId, knowledge: &Knowledge, context: &Context) -> Result<Recorded> {
    let mut recorded = store.read(id).map_err(stored)?;
    for remark in &recorded.remarks {
        context.remark(&words::sentence(&remark.to_string()))?;
    }
    recorded.case = fitted(&recorded.case, knowledge, context)?;
    Ok(recorded)
}

fn fitted(
    case: &crate::casebook::Case,
    knowledge: &Knowledge,
    context: &Context,
) -> Result<crate::casebook::Case> {
    if case.machine.as_str() == diagnose::NOT_KNOWN_YET {
        return Ok(case.clone());
    }
    let (case, remarks) = fit(case, knowledge)
        .map_err(|problem| CommandError::input(words::sentence(&problem.message)).hint(problem.help))?;
    for remark in remarks {
        context.remark(&words::sentence(&remark.message))?;
    }
    Ok(case)
}

/// Nothing can be worked out for a case of which nobody said the machine.
fn machine_known(case: &crate::casebook::Case, id: &CaseId) -> Result<()> {
    if case.machine.as_str() != diagnose::NOT_KNOWN_YET {
        return Ok(());
    }
    Err(CommandError::input(format!("Nobody said yet which machine case {id} is about."))
        .hint(format!("`handlamp case continue {id}` asks for it.")))
}

fn show(store: &Store, named: &Named, context: &mut Context) -> Result {
    let knowledge = context.knowledge()?;
    let id = named_or_last(store, named.id.as_deref())?;
    let recorded = recorded(store, &id, &knowledge, context)?;
    if recorded.case.machine.as_str() == diagnose::NOT_KNOWN_YET {
        context.page(&cases::show(&knowledge, &recorded, None))?;
        return Ok(Outcome::Done);
    }
    let assessment = diagnose::think(&knowledge, &recorded.case)?;
    if context.options.json {
        context.json(&json::diagnosis(&knowledge, &assessment, &json::Proposed::default()))?;
    } else {
        context.page(&cases::show(&knowledge, &recorded, Some(&assessment)))?;
    }
    Ok(Outcome::Done)
}

fn take_up(store: &Store, named: &Named, context: &mut Context) -> Result {
    let knowledge = context.knowledge()?;
    let id = named_or_latest(store, named.id.as_deref())?;
    let record = store.open(&id).map_err(stored)?;
    let case = fitted(record.case(), &knowledge, context)?;
    let known = case.machine.as_str() != diagnose::NOT_KNOWN_YET;
    let index = find::index(context)?;
    let machine = knowledge.machines.get(&case.machine).map_or("machine not known yet", |m| &m.head.title);
    let mut page = Page::default();
    page.text(format!(
        "Case {id}, {machine}. Who is there, and may they lock it out, is asked anew each time."
    ));
    if let Some(complaint) = &case.complaint {
        page.quote("Complaint", complaint);
    }
    context.aside_or_page(&page)?;
    let mut talk = Talk::new(&knowledge, index, store.clone(), None).with(record);
    let first = talk.walker().resume(case, known);
    let first = first.map_err(|e| CommandError::input(words::sentence(&e.to_string())))?;
    talk.run(first, context)?;
    Ok(Outcome::Done)
}

fn correct(store: &Store, correct: &Correct, context: &mut Context) -> Result {
    let knowledge = context.knowledge()?;
    let id = CaseId::parse(&correct.id).map_err(stored)?;
    let Some(number) = correct.number else {
        let recorded = recorded(store, &id, &knowledge, context)?;
        context.page(&cases::answers(&knowledge, &recorded))?;
        return Ok(Outcome::Done);
    };
    let record = store.open(&id).map_err(stored)?;
    if record.case().closed.is_some() {
        return Err(CommandError::input(format!("Case {id} is closed."))
            .hint(format!("`handlamp case continue {id}` opens it again.")));
    }
    let case = fitted(record.case(), &knowledge, context)?;
    machine_known(&case, &id)?;
    let index = find::index(context)?;
    let mut talk = Talk::new(&knowledge, index, store.clone(), None).with(record);
    let unusable = |e: crate::walk::AssessError| CommandError::input(words::sentence(&e.to_string()));
    let state = talk.walker().correcting(case, number).map_err(unusable)?.ok_or_else(|| {
        CommandError::input(format!("The case has no answer {number} that could be replaced."))
            .hint(format!("`handlamp case correct {id}` lists the answers; remarks stay as they are."))
    })?;
    if correct.answer.is_empty() {
        talk.run(Step { state, entries: Vec::new(), show: None }, context)?;
        return Ok(Outcome::Done);
    }
    let input = understand(&correct.answer.join(" "), &state, &knowledge);
    if let crate::walk::Input::Misunderstood(sentence) = input {
        return Err(CommandError::input(sentence));
    }
    let step = talk.walker().step(state, input).map_err(unusable)?;
    talk.keep(&step, context)?;
    let mut page = Page::default();
    page.text(format!("Answer {number} of case {id} is corrected. The old one stays in the record."));
    context.page(&page)?;
    Ok(Outcome::Done)
}

fn report(store: &Store, args: &Report, context: &mut Context) -> Result {
    let knowledge = context.knowledge()?;
    let id = named_or_last(store, args.id.as_deref())?;
    let recorded = recorded(store, &id, &knowledge, context)?;
    machine_known(&recorded.case, &id)?;
    let assessment = diagnose::think(&knowledge, &recorded.case)?;
    let cover = Cover {
        id: recorded.id.to_string(),
        opened: readable(&recorded.opened),
        last: readable(&recorded.last),
    };
    let case = &recorded.case;
    let page = report::report(&knowledge, case, &assessment, &cover);
    let text = match args.form {
        Form::Plain => plain::report(&page, context.report_columns()),
        Form::Markdown => markdown::report(&page),
        Form::Message => {
            let lines = report::message(&knowledge, case, &assessment, &cover);
            let wrapped = lines.iter().map(|line| textwrap::fill(line, context.message_columns()));
            wrapped.collect::<Vec<_>>().join("\n") + "\n"
        }
    };
    context.write(&text)?;
    Ok(Outcome::Done)
}

fn close(store: &Store, args: &Close, context: &mut Context) -> Result {
    let knowledge = context.knowledge()?;
    let id = named_or_latest(store, args.id.as_deref())?;
    let mut record = store.open(&id).map_err(stored)?;
    let closing = match args.ending {
        Ending::Cured => Closing::Cured,
        Ending::GoneNotProved => Closing::GoneNotProved,
        Ending::SentSomebody => Closing::SentSomebody,
        Ending::LeftOpen => Closing::LeftOpen,
    };
    if closing == Closing::Cured {
        let case = fitted(record.case(), &knowledge, context)?;
        machine_known(&case, &id)?;
        let proof = diagnose::think(&knowledge, &case)?.proof;
        if !matches!(proof, Some(Proof::Proved)) {
            return Err(CommandError::input("Cured needs a run of fills since the remedy that proves it.")
                .hint(format!(
                    "Close it --as gone-not-proved, or make the run with `handlamp case continue {id}`."
                )));
        }
    }
    record.append(Entry::Close(closing), (context.clock)()).map_err(stored)?;
    let mut page = Page::default();
    page.text(format!("Case {id} is closed."));
    context.page(&page)?;
    Ok(Outcome::Done)
}
