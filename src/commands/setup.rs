//! `handlamp setup`: brings a product to run on weight and on speed, one change at a time, and prints its settings sheet.

use std::path::{Path, PathBuf};

use super::context::readable;
use super::lines::Lines;
use super::talk::{Talk, stored};
use super::{CommandError, Context, Outcome, Result, find, show};
use crate::casebook::set_up::{SetUpLine, SetUpLog, SetUpRecord, SetUps};
use crate::casebook::{CaseId, Store};
use crate::knowledge::Knowledge;
use crate::render::{html, json, markdown, plain};
use crate::units::{Kind, Quantity};
use crate::view::{Block, Page, setup as view, words};
use crate::walk::setup::{
    Draft, SetUpAsk, SetUpInput, SetUpShow, SetUpState, SetUpStep, SetUpWalker, case_of, fills_of, understand,
};

/// More than this in one run is no run of fills.
const LONGEST_RUN: usize = 20_000;

/// Set up a product: one change at a time, every run kept, always a way back
#[derive(Debug, clap::Args)]
#[command(before_help = "\
Examples:
  handlamp setup run
  handlamp setup continue
  handlamp setup list
  handlamp setup sheet 2026-11-25-001
")]
pub(super) struct Args {
    #[command(subcommand)]
    what: What,
}

#[derive(Debug, clap::Subcommand)]
enum What {
    /// Begin with a product on a machine
    #[command(
        before_help = "Examples:\n  handlamp setup run\n  handlamp setup run --machine single-tray-weigher --product 'sunflower kernels' --target 250g --tolerance 2g --speed 8\n  handlamp setup run --answers answers.txt\n"
    )]
    Run(Run),
    /// Go on with a set-up, the latest open one when none is named
    #[command(
        before_help = "Examples:\n  handlamp setup continue\n  handlamp setup continue 2026-11-25-001\n"
    )]
    Continue(Named),
    /// Set-ups kept here
    #[command(before_help = "Examples:\n  handlamp setup list\n")]
    List,
    /// The settings sheet of a product, to print and to keep at the machine
    #[command(
        before_help = "Examples:\n  handlamp setup sheet 2026-11-25-001\n  handlamp setup sheet --form html > sheet.html\n"
    )]
    Sheet(Sheet),
}

#[derive(Debug, clap::Args)]
struct Run {
    /// The machine
    #[arg(long, value_name = "ID")]
    machine: Option<String>,
    /// Its serial number
    #[arg(long, value_name = "NUMBER")]
    serial: Option<String>,
    /// The product
    #[arg(long, value_name = "WORDS")]
    product: Option<String>,
    /// What a fill should weigh, net
    #[arg(long, value_name = "WEIGHT", requires = "tolerance")]
    target: Option<String>,
    /// What is allowed to either side
    #[arg(long, value_name = "WEIGHT", requires = "target")]
    tolerance: Option<String>,
    /// Fills a minute that are wanted; 'any' when it does not matter
    #[arg(long, value_name = "FILLS")]
    speed: Option<String>,
    /// Answers from a file, one a line, as they would be typed
    #[arg(long, value_name = "FILE")]
    answers: Option<PathBuf>,
}

#[derive(Debug, clap::Args)]
struct Named {
    /// The set-up, like 2026-11-25-001
    id: Option<String>,
}

#[derive(Debug, clap::Args)]
struct Sheet {
    /// The set-up, like 2026-11-25-001; the latest when none is named
    id: Option<String>,
    /// How it shall look
    #[arg(long, value_enum, default_value_t = Form::Plain)]
    form: Form,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, clap::ValueEnum)]
enum Form {
    /// For a file or an e-mail
    Plain,
    /// For a document
    Markdown,
    /// A page for a browser, which prints it
    Html,
}

pub(super) fn run(args: &Args, context: &mut Context) -> Result {
    let knowledge = context.knowledge()?;
    let set_ups = SetUps::at(&context.store()?);
    match &args.what {
        What::Run(run) => begin(run, &knowledge, &set_ups, context),
        What::Continue(named) => take_up(named, &knowledge, &set_ups, context),
        What::List => list(&knowledge, &set_ups, context),
        What::Sheet(sheet) => self::sheet(sheet, &knowledge, &set_ups, context),
    }
}

/// What the command line says already.
fn draft(args: &Run, knowledge: &Knowledge) -> Result<Draft> {
    let mass = |text: &str, what: &str| {
        Quantity::parse_in(text, Kind::Mass.base())
            .map_err(|e| CommandError::usage(format!("{what}: {}", words::sentence(&e.to_string()))))
    };
    let machine = args.machine.as_deref().map(|id| show::machine(knowledge, id)).transpose()?;
    let clean = |text: &String| Some(crate::diag::harmless(text).trim().to_owned()).filter(|t| !t.is_empty());
    let target = match (&args.target, &args.tolerance) {
        (Some(target), Some(tolerance)) => {
            let (target, tolerance) = (mass(target, "--target")?, mass(tolerance, "--tolerance")?);
            if !(target.base() > 0.0 && tolerance.base() > 0.0 && tolerance.base() < target.base()) {
                return Err(CommandError::usage(
                    "The target is above nought, and the tolerance is less than the target.",
                ));
            }
            Some((target, tolerance))
        }
        _ => None,
    };
    let speed = match args.speed.as_deref() {
        None => None,
        Some("any") => Some(None),
        Some(text) => match crate::units::parse_number(text) {
            Ok(speed) if speed > 0.0 && speed <= 200.0 => Some(Some(speed)),
            _ => return Err(CommandError::usage("--speed is fills a minute, like 8, or 'any'.")),
        },
    };
    Ok(Draft {
        machine: machine.map(|m| m.id.clone()),
        serial: args.serial.as_ref().and_then(clean),
        product: args.product.as_ref().and_then(clean),
        target,
        speed,
    })
}

fn begin(args: &Run, knowledge: &Knowledge, set_ups: &SetUps, context: &mut Context) -> Result {
    let mut lines = match &args.answers {
        Some(path) => Lines::of_text(&answers(path)?),
        None => Lines::open(context),
    };
    let first = SetUpWalker { knowledge }.begin(draft(args, knowledge)?, context.today());
    let mut page = Page::titled("Setting a product up");
    page.text("Layer first, then rates, then the cut-off, then times, then the allowance. One change at a time. 'back' takes the last one back.");
    page.push(Block::Notice);
    context.aside_or_page(&page)?;
    let mut setting_up = SettingUp::new(knowledge, set_ups, None);
    setting_up.run(first, &mut lines, context)?;
    setting_up.in_full(context)
}

/// Leads through a set-up from a list: the open one of this machine, or a new one. What to enter in the list, once it
/// is signed.
pub(super) fn lead(
    knowledge: &Knowledge,
    set_ups: &SetUps,
    draft: Draft,
    lines: &mut Lines,
    context: &mut Context,
) -> Result<Option<String>> {
    let (all, _) = set_ups.list().map_err(stored)?;
    let same =
        |log: &SetUpLog| Some(&log.head.machine) == draft.machine.as_ref() && log.head.serial == draft.serial;
    let open = all.into_iter().rev().find(|log| same(log) && log.ended().is_none());
    let walker = SetUpWalker { knowledge };
    let (record, first) = match open {
        Some(log) => {
            let record = set_ups.open(&log.id).map_err(stored)?;
            let log = record.log().clone();
            (Some(record), walker.resume(log, context.today()))
        }
        None => (None, walker.begin(draft, context.today())),
    };
    let mut setting_up = SettingUp::new(knowledge, set_ups, record);
    setting_up.run(first, lines, context)?;
    let log = setting_up.record.as_ref().map(SetUpRecord::log);
    Ok(log.and_then(|log| log.ended().map(|(name, _)| format!("set-up {}, signed by {name}", log.id))))
}

/// A file of answers.
fn answers(path: &Path) -> Result<String> {
    let refused =
        |why: String| CommandError::input(format!("The answers in {} cannot be read: {why}", path.display()));
    let length = std::fs::metadata(path).map_err(|e| refused(e.to_string()))?.len();
    if length > 1 << 20 {
        return Err(refused("it is larger than 1 MB".to_owned()));
    }
    let bytes = std::fs::read(path).map_err(|e| refused(e.to_string()))?;
    Ok(String::from_utf8_lossy(&bytes).into_owned())
}

/// The set-up named, else the latest of those wanted.
fn named(set_ups: &SetUps, id: Option<&str>, wanted: impl Fn(&SetUpLog) -> bool) -> Result<CaseId> {
    if let Some(id) = id {
        return CaseId::parse(id).map_err(stored);
    }
    let (all, _) = set_ups.list().map_err(stored)?;
    let when = |log: &SetUpLog| log.last().parse::<jiff::Timestamp>().ok();
    let latest = all.into_iter().filter(wanted).max_by(|a, b| (when(a), &a.id).cmp(&(when(b), &b.id)));
    latest.map(|log| log.id).ok_or_else(|| {
        CommandError::input("No such set-up was begun here.")
            .hint("`handlamp setup list` shows what there is; `setup run` begins one.".to_owned())
    })
}

fn damaged(log: &SetUpLog, context: &Context) -> Result<()> {
    for damage in &log.damage {
        context.remark(&words::sentence(&format!("record {}: {damage}", log.id)))?;
    }
    Ok(())
}

fn take_up(args: &Named, knowledge: &Knowledge, set_ups: &SetUps, context: &mut Context) -> Result {
    let id = named(set_ups, args.id.as_deref(), |log| log.ended().is_none())?;
    let record = set_ups.open(&id).map_err(stored)?;
    let log = record.log().clone();
    damaged(&log, context)?;
    if log.ended().is_some() {
        return Err(CommandError::input(format!("Set-up {id} is signed."))
            .hint(format!("`handlamp setup sheet {id}` shows it; `setup run` begins a new one.")));
    }
    if !knowledge.machines.contains_key(&log.head.machine) {
        return Err(CommandError::input(format!(
            "The machine '{}' of set-up {id} is not known here.",
            log.head.machine
        )));
    }
    let mut page = Page::titled(format!("Setting up {}", log.head.product));
    page.push(Block::Notice);
    context.aside_or_page(&page)?;
    let first = SetUpWalker { knowledge }.resume(log, context.today());
    let mut lines = Lines::open(context);
    let mut setting_up = SettingUp::new(knowledge, set_ups, Some(record));
    setting_up.run(first, &mut lines, context)?;
    setting_up.in_full(context)
}

fn list(knowledge: &Knowledge, set_ups: &SetUps, context: &mut Context) -> Result {
    let (logs, unreadable) = set_ups.list().map_err(stored)?;
    for error in unreadable {
        context.remark(&words::sentence(&error.to_string()))?;
    }
    if context.options.json {
        context.json(&json::set_ups(&logs))?;
    } else {
        context.page(&view::list(knowledge, &logs, &readable))?;
    }
    Ok(Outcome::Done)
}

fn sheet(args: &Sheet, knowledge: &Knowledge, set_ups: &SetUps, context: &mut Context) -> Result {
    let id = named(set_ups, args.id.as_deref(), |_| true)?;
    let log = set_ups.read(&id).map_err(stored)?;
    damaged(&log, context)?;
    if context.options.json {
        context.json(&json::set_up(knowledge, &log))?;
    } else {
        let cover = view::Cover { time: &readable, today: context.today() };
        let page = view::sheet(knowledge, &log, &cover);
        let text = match args.form {
            Form::Plain => plain::report(&page, context.report_columns()),
            Form::Markdown => markdown::report(&page),
            Form::Html => {
                let running = format!("Settings for {} · set-up {id} · sum {}", log.head.product, log.sum);
                html::page(&page, &html::Paper { size: html::Size::A4, running })
            }
        };
        context.write(&text)?;
    }
    Ok(if log.damage.is_empty() { Outcome::Done } else { Outcome::NotGood })
}

/// A set-up with its record on disk.
pub(super) struct SettingUp<'k> {
    knowledge: &'k Knowledge,
    walker: SetUpWalker<'k>,
    set_ups: &'k SetUps,
    record: Option<SetUpRecord>,
    /// Lines of a run that a word broke into.
    begun: String,
}

impl<'k> SettingUp<'k> {
    pub(super) fn new(knowledge: &'k Knowledge, set_ups: &'k SetUps, record: Option<SetUpRecord>) -> Self {
        Self { knowledge, walker: SetUpWalker { knowledge }, set_ups, record, begun: String::new() }
    }

    /// Asks until the person leaves or the sheet is signed.
    pub(super) fn run(&mut self, first: SetUpStep, lines: &mut Lines, context: &mut Context) -> Result<()> {
        let mut step = first;
        loop {
            self.keep(&mut step, context)?;
            let state = step.state;
            if state.ask == SetUpAsk::Over {
                return self.bye(context);
            }
            let read = self.show(&state, step.show.as_ref(), lines, context)?;
            let input = if read { self.line(lines, &state, context)? } else { None };
            step = match input.unwrap_or(SetUpInput::Leave) {
                SetUpInput::Diagnose => self.diagnose(state, lines, context)?,
                input => self.walker.step(state, input),
            };
        }
    }

    /// Puts lines on disk before anything else is shown; the record begins with the first of them.
    fn keep(&mut self, step: &mut SetUpStep, context: &mut Context) -> Result<()> {
        for line in std::mem::take(&mut step.lines) {
            let now = (context.clock)();
            if self.record.is_none()
                && let Some(head) = step.state.draft.head()
            {
                let id = self.set_ups.fresh_id(context.today()).map_err(stored)?;
                self.record = Some(self.set_ups.create(&head, &id, now).map_err(stored)?);
                let mut page = Page::default();
                page.text(format!("This is set-up {id}. Every answer is kept at once."));
                context.aside_or_page(&page)?;
            }
            if let Some(record) = &mut self.record {
                record.append(line, None, now).map_err(stored)?;
            }
        }
        step.state.log = self.record.as_ref().map(|record| record.log().clone());
        Ok(())
    }

    /// Shows what is asked, screen by screen; false when the person broke off in between.
    fn show(
        &self,
        state: &SetUpState,
        show: Option<&SetUpShow>,
        lines: &mut Lines,
        context: &mut Context,
    ) -> Result<bool> {
        let machine = state.draft.machine.as_ref().and_then(|id| self.knowledge.machines.get(id));
        let mut page = Page::default();
        match show {
            Some(SetUpShow::NotUnderstood(sentence)) => {
                page.text(sentence.as_str());
                context.aside_or_page(&page)?;
                return Ok(true);
            }
            Some(SetUpShow::Said(sentence)) => page.text(sentence.as_str()),
            Some(SetUpShow::Overview) => page = view::overview(machine, state),
            Some(SetUpShow::Help) => page = view::help(),
            Some(SetUpShow::Why) => page = view::why(machine, state),
            None => {}
        }
        if !page.0.is_empty() && !lines.show(&page, context)? {
            return Ok(false);
        }
        let mut question = view::question(self.knowledge, state);
        if show.is_some() {
            question = question.asked_again();
        }
        if !self.begun.is_empty() && matches!(state.ask, SetUpAsk::Run(_) | SetUpAsk::AsFound) {
            let mut reminder = Page::default();
            let kept = self.begun.trim().replace('\n', " ");
            reminder.text(format!("Kept so far: {kept}. Go on; an empty line ends the run."));
            question.before_hint(reminder);
        }
        lines.show(&question, context)
    }

    /// One answer. A run of fills may take several lines, up to an empty one.
    fn line(
        &mut self,
        lines: &mut Lines,
        state: &SetUpState,
        context: &mut Context,
    ) -> Result<Option<SetUpInput>> {
        if !matches!(state.ask, SetUpAsk::Run(_) | SetUpAsk::AsFound) {
            return Ok(lines.next().map(|line| understand(&line, state, self.knowledge)));
        }
        let mut text = std::mem::take(&mut self.begun);
        loop {
            let Some(line) = lines.next() else {
                // A sitting broken off inside a run has not given it; a file that ends there has.
                let given = !text.is_empty() && !matches!(lines, Lines::Terminal(_));
                return Ok(given.then(|| understand(&text, state, self.knowledge)));
            };
            let line = line.trim();
            let ends = line.is_empty() || line.starts_with("at ");
            if ends {
                match understand(&format!("{text}{line}"), state, self.knowledge) {
                    SetUpInput::Misunderstood(sentence) => aside(&sentence, context)?,
                    input => return Ok(Some(input)),
                }
            } else if line.starts_with(|c: char| c.is_ascii_digit()) {
                let longer = format!("{text}{line}\n");
                let weights = longer.split("at ").next().unwrap_or_default();
                match fills_of(weights, state) {
                    Ok(_) if longer.len() > LONGEST_RUN => aside("That is too long for one run.", context)?,
                    Ok(_) if line.contains("at ") => {
                        return Ok(Some(understand(&longer, state, self.knowledge)));
                    }
                    Ok(fills) => {
                        let count = words::count(fills.values.len(), "fill", "fills");
                        aside(&format!("{} so far.", words::sentence_start(&count)), context)?;
                        text = longer;
                    }
                    // One bad line costs that line only.
                    Err(sentence) => aside(&sentence, context)?,
                }
            } else {
                match understand(line, state, self.knowledge) {
                    SetUpInput::Misunderstood(_) => {
                        aside("A line of weights begins with a figure. That line is left out.", context)?;
                    }
                    input => {
                        self.begun = text;
                        return Ok(Some(input));
                    }
                }
            }
        }
    }

    /// Over into a diagnosis with what was found, and back.
    fn diagnose(&mut self, state: SetUpState, lines: &mut Lines, context: &mut Context) -> Result<SetUpStep> {
        let Some(case) = case_of(self.knowledge, &state) else {
            let mut page = Page::default();
            page.text("First the questions before: there is nothing to go by yet.");
            context.aside_or_page(&page)?;
            return Ok(SetUpStep { state, lines: Vec::new(), show: None });
        };
        let store = Store::at(&context.store()?);
        let id = store.fresh_id(state.today).map_err(stored)?;
        let record = store.create(&case, &id, (context.clock)()).map_err(stored)?;
        let line = SetUpLine::HandedOver { case: id.to_string() };
        let mut step = SetUpStep { state, lines: vec![line], show: None };
        self.keep(&mut step, context)?;
        let mut page = Page::default();
        page.heading(format!("Diagnosis, case {id}"));
        page.text(
            "It begins with what was found here. 'leave' or the end of the case comes back to setting up.",
        );
        context.aside_or_page(&page)?;
        let failed = |error: String| CommandError::input(words::sentence(&error));
        let case = record.case().clone();
        let mut talk = Talk::new(self.knowledge, find::index(context)?, store, None).with(record);
        let first = talk.walker().resume(case, true).map_err(|e| failed(e.to_string()))?;
        talk.run_on(first, lines, context)?;
        let log = step.state.log.clone().ok_or_else(|| failed("the set-up was lost".to_owned()))?;
        let mut back = self.walker.resume(log, step.state.today);
        back.show =
            Some(SetUpShow::Said(format!("Back from case {id}. What hangs on the feed is found anew.")));
        Ok(back)
    }

    fn bye(&self, context: &mut Context) -> Result<()> {
        let mut page = Page::default();
        match self.record.as_ref().map(SetUpRecord::log) {
            None => page.text("Nothing was answered that is kept."),
            Some(log) if log.ended().is_some() => {
                page.text(format!("Set-up {} is signed.", log.id));
                page.hint(format!("handlamp setup sheet {} prints the settings.", log.id));
            }
            Some(log) => {
                page.text(format!("Set-up {} stays open. Everything answered is kept.", log.id));
                page.hint(format!("handlamp setup continue {} goes on.", log.id));
            }
        }
        if !self.begun.is_empty() {
            page.text("The run was not given to its end, and what was typed of it is not kept.");
        }
        page.push(Block::Notice);
        context.aside_or_page(&page)
    }

    /// The record as JSON, where that is asked for.
    fn in_full(&self, context: &mut Context) -> Result {
        if let Some(record) = self.record.as_ref().filter(|_| context.options.json) {
            context.json(&json::set_up(self.knowledge, record.log()))?;
        }
        Ok(Outcome::Done)
    }
}

fn aside(sentence: &str, context: &mut Context) -> Result<()> {
    let mut page = Page::default();
    page.text(sentence);
    context.aside_or_page(&page)
}
