//! `handlamp setup`: brings a product to run on weight and on speed, one change at a time, and prints its settings sheet.

use std::path::PathBuf;

use super::context::{self, readable};
use super::lines::Lines;
use super::logs::{self, Form};
use super::setting_up::SettingUp;
use super::talk::stored;
use super::{CommandError, Context, Outcome, Result, show};
use crate::casebook::CaseId;
use crate::casebook::set_up::{SetUpLog, SetUps};
use crate::knowledge::Knowledge;
use crate::render::{html, json};
use crate::units::{Kind, Quantity};
use crate::view::{Block, Page, setup as view, words};
use crate::walk::setup::{Draft, SetUpWalker, is_goal, speed_of};

/// Largest file of answers, in bytes.
const LARGEST: u64 = 1 << 20;

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
            if !is_goal(target, tolerance) {
                return Err(CommandError::usage(
                    "The target is above nought, and the tolerance is less than the target.",
                ));
            }
            Some((target, tolerance))
        }
        _ => None,
    };
    let speed = args.speed.as_deref().map(|text| {
        let wrong = || CommandError::usage("--speed is fills a minute, like 8, or 'any'.");
        speed_of(text).ok_or_else(wrong)
    });
    let speed = speed.transpose()?;
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
        Some(path) => Lines::of_text(&context::read_text(path, LARGEST, |name| {
            CommandError::input(format!("{name} is larger than a file of answers can be."))
        })?),
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

/// The set-up named, else the latest of those wanted.
fn named(set_ups: &SetUps, id: Option<&str>, wanted: impl Fn(&SetUpLog) -> bool) -> Result<CaseId> {
    logs::named(set_ups, id, wanted, || {
        CommandError::input("No such set-up was begun here.")
            .hint("`handlamp setup list` shows what there is; `setup run` begins one.".to_owned())
    })
}

fn take_up(args: &Named, knowledge: &Knowledge, set_ups: &SetUps, context: &mut Context) -> Result {
    let id = named(set_ups, args.id.as_deref(), |log| log.ended().is_none())?;
    let record = set_ups.open(&id).map_err(stored)?;
    let log = record.log().clone();
    logs::damage(&log, context)?;
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
    let all = logs::all(set_ups, context)?;
    if context.options.json {
        context.json(&json::set_ups(&all))?;
    } else {
        context.page(&view::list(knowledge, &all, &readable))?;
    }
    Ok(Outcome::Done)
}

fn sheet(args: &Sheet, knowledge: &Knowledge, set_ups: &SetUps, context: &mut Context) -> Result {
    let id = named(set_ups, args.id.as_deref(), |_| true)?;
    let log = set_ups.read(&id).map_err(stored)?;
    let outcome = logs::damage(&log, context)?;
    if context.options.json {
        context.json(&json::set_up(knowledge, &log))?;
    } else {
        let page = view::sheet(knowledge, &log, &readable);
        let running = format!("Settings for {} · set-up {id} · sum {}", log.head.product, log.sum);
        let text = args.form.written(&page, &html::Paper { size: html::Size::A4, running }, context);
        context.write(&text)?;
    }
    Ok(outcome)
}
