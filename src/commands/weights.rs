//! `handlamp weights`: what a run of fills says, from a file, from standard input or typed.

use std::io::{Read as _, Write as _};
use std::path::Path;

use super::sums::{self, Sum};
use super::{CommandError, Context, Outcome, Result, context, show};
use crate::ids;
use crate::knowledge::{Judges, Knowledge, Rule};
use crate::render::json;
use crate::units::{Kind, Quantity, Unit};
use crate::view::weighing::{self, Weighing};
use crate::view::words;
use crate::weights::rules::{self, Held};
use crate::weights::{Column, Question, ReadOptions, Run, Start, read};

/// Larger inputs are no run of fills.
const LARGEST: u64 = 64 << 20;

/// What a run of fills says: error, spread, pattern, what lies outside, and what to do about the allowance
#[derive(Debug, clap::Args)]
#[command(
    before_help = "\
Examples:
  handlamp weights 247.2 247.0 246.9 247.4 --target 250g
  handlamp weights fills.csv --column net --target 250g
  handlamp weights fills.csv --target 250g --rule eu-average-quantity
  handlamp weights corners 500.0 500.2 500.0 499.6 500.4 --limit 0.75g
  handlamp weights fills.csv --lane head --target 250g
  handlamp weights after.csv --before before.csv --target 250g
  pbpaste | handlamp weights --target '1 lb' --unit lb
",
    allow_negative_numbers = true,
    args_conflicts_with_subcommands = true
)]
pub(super) struct Args {
    #[command(subcommand)]
    sum: Option<Sum>,
    /// A file, `-` for standard input, or the weights themselves
    #[arg(value_name = "FILE|WEIGHT")]
    from: Vec<String>,
    /// What each fill should weigh, with its unit
    #[arg(long, value_name = "WEIGHT")]
    target: Option<String>,
    /// Unit of numbers that have none
    #[arg(long, value_name = "UNIT")]
    unit: Option<String>,
    /// Column of the weights: its name or its place, from 1
    #[arg(long, value_name = "COLUMN")]
    column: Option<String>,
    /// Column of what the machine showed for the same bags
    #[arg(long, value_name = "COLUMN")]
    shown: Option<String>,
    /// Column that says the lane (head, tube, tray) of each fill
    #[arg(long, value_name = "COLUMN")]
    lane: Option<String>,
    /// A run from before a change, read the same way: says whether the change helped
    #[arg(long, value_name = "FILE")]
    before: Option<String>,
    /// Every line is a pair: the weight, then what the machine showed
    #[arg(long, conflicts_with = "shown")]
    pairs: bool,
    /// Smallest step of the display they were read from
    #[arg(long, value_name = "WEIGHT")]
    division: Option<String>,
    /// Allowed to either side of the target
    #[arg(long, value_name = "WEIGHT")]
    tolerance: Option<String>,
    /// Spread (standard deviation) when all is well
    #[arg(long, value_name = "WEIGHT")]
    usual_spread: Option<String>,
    /// Take tolerance and usual spread from this machine, where they are not given
    #[arg(long, value_name = "ID")]
    machine: Option<String>,
    /// In-flight allowance that stands now: says what to change it to
    #[arg(long, value_name = "WEIGHT")]
    allowance: Option<String>,
    /// Hold it against this rule; `handlamp find rule` lists them. EU and US are never mixed
    #[arg(long, value_name = "ID")]
    rule: Option<String>,
    /// What the label says, where it is not the target
    #[arg(long, value_name = "WEIGHT", requires = "rule")]
    label: Option<String>,
    /// Class of the filling machine, as on its plate: 0.5 for X(0.5)
    #[arg(long, value_name = "X", requires = "rule")]
    class: Option<f64>,
    /// Fills in a year, to say what is given away
    #[arg(long, value_name = "N", requires = "rule")]
    fills_a_year: Option<f64>,
    /// Price of a kilogram of product
    #[arg(long, value_name = "PRICE", requires = "fills_a_year")]
    price: Option<f64>,
    /// The run began right after a stop, so its first two fills are set apart
    #[arg(long)]
    after_stop: bool,
}

pub(super) fn run(args: &Args, context: &mut Context) -> Result {
    if let Some(sum) = &args.sum {
        return sums::run(sum, context);
    }
    let unit = args.unit.as_deref().map(unit).transpose()?;
    let mass = |what: &'static str, text: &Option<String>| mass(what, text.as_deref(), unit);
    let options = ReadOptions {
        unit,
        column: args.column.as_deref().map(Column::from),
        shown: args.shown.as_deref().map(Column::from),
        lane: args.lane.as_deref().map(Column::from),
        pairs: args.pairs,
        target: mass("target", &args.target)?,
        division: mass("division", &args.division)?,
    };
    let mut question = Question {
        tolerance: mass("tolerance", &args.tolerance)?.map(Quantity::base),
        usual_spread: mass("usual-spread", &args.usual_spread)?.map(Quantity::base),
        start: if args.after_stop { Start::AfterStop } else { Start::Unknown },
        mean_within: None,
    };
    let allowance = mass("allowance", &args.allowance)?.map(Quantity::base);
    let wanted = args.machine.is_some() || args.rule.is_some();
    let knowledge = wanted.then(|| context.knowledge()).transpose()?;
    if let Some((id, knowledge)) = args.machine.as_ref().zip(knowledge.as_ref()) {
        let machine = show::machine(knowledge, id)?;
        question.tolerance = question.tolerance.or(Some(machine.tolerance));
        question.usual_spread = question.usual_spread.or(Some(machine.usual_spread));
    }
    let read = read(&text(args, context)?, &options)
        .map_err(|e| CommandError::input(crate::view::words::sentence(&e.to_string())))?;
    let label = mass("label", &args.label)?.map(Quantity::base);
    let mut weighing = held(args, label, Weighing::of(read, question, allowance), knowledge.as_ref())?;
    if let Some(before) = &args.before {
        weighing = weighing.since(&run_before(before, &options)?);
    }
    if context.options.json {
        context.json(&json::weighing(&weighing))?;
    } else {
        context.page(&weighing::page(&weighing))?;
    }
    let judged = weighing.judged.as_ref().and_then(|judged| judged.said.as_ref().ok());
    let fails = judged.is_some_and(|judgement| judgement.outcome() == rules::Outcome::Fails);
    Ok(if fails { Outcome::NotGood } else { Outcome::Done })
}

/// The run held against the rule named.
fn held(
    args: &Args,
    label: Option<f64>,
    weighing: Weighing,
    knowledge: Option<&Knowledge>,
) -> Result<Weighing> {
    let Some((id, knowledge)) = args.rule.as_ref().zip(knowledge) else { return Ok(weighing) };
    let rule = rule_named(knowledge, id)?;
    let Some(label) = label.or(weighing.read.run.target()) else {
        return Err(CommandError::usage("A rule needs what the label says: give --label or --target."));
    };
    for (name, figure) in [("class", args.class), ("fills-a-year", args.fills_a_year), ("price", args.price)]
    {
        if figure.is_some_and(|figure| !(figure > 0.0 && figure < 1e12)) {
            return Err(CommandError::input(format!("--{name}: it is more than nought.")));
        }
    }
    if args.class.is_some() && rule.judges != Judges::EachFill {
        return Err(CommandError::usage(
            "--class is for the class of a filling machine; this rule has none.",
        ));
    }
    let held = Held {
        label,
        class: args.class,
        usual_spread: weighing.question.usual_spread,
        fills_a_year: args.fills_a_year,
        price: args.price,
    };
    Ok(weighing.held_against(rule, &held))
}

/// A rule by its id, or an error with the nearest names.
pub(super) fn rule_named<'k>(knowledge: &'k Knowledge, id: &str) -> Result<&'k Rule> {
    knowledge.rules.get(id).ok_or_else(|| {
        let known = || knowledge.rules.keys().map(ids::RuleId::as_str);
        let all = words::and(&known().collect::<Vec<_>>());
        CommandError::input(format!("There is no rule '{}'.", crate::diag::harmless(id)))
            .hint(ids::did_you_mean(id, known()).unwrap_or_else(|| format!("There are {all}.")))
    })
}

/// The run from before a change.
fn run_before(name: &str, options: &ReadOptions) -> Result<Run> {
    let read = read(&file(Path::new(name))?, options)
        .map_err(|e| CommandError::input(format!("--before {}: {e}.", crate::diag::harmless(name))))?;
    Ok(read.run)
}

fn unit(text: &str) -> Result<&'static Unit> {
    Unit::find(text).ok_or_else(|| {
        let text = crate::diag::harmless(text);
        CommandError::input(format!("--unit: '{text}' is not a unit known here."))
            .hint(ids::did_you_mean(&text, Unit::names()))
    })
}

/// A mass above zero that an option gives; a bare number is in the unit of the run.
fn mass(what: &str, text: Option<&str>, unit: Option<&'static Unit>) -> Result<Option<Quantity>> {
    let Some(text) = text else { return Ok(None) };
    let assumed = unit.filter(|u| u.kind == Kind::Mass).unwrap_or(Kind::Mass.base());
    let quantity =
        Quantity::parse_in(text, assumed).map_err(|e| CommandError::input(format!("--{what}: {e}.")))?;
    if quantity.base() <= 0.0 && what != "allowance" || quantity.base() < 0.0 {
        return Err(CommandError::input(format!(
            "--{what}: {quantity} is not possible; it is more than zero."
        )));
    }
    Ok(Some(quantity))
}

/// The text of the run: numbers as typed, a file, or standard input.
fn text(args: &Args, context: &Context) -> Result<String> {
    let first = args.from.first().map_or("-", String::as_str);
    let number = |text: &str| text.starts_with(|c: char| c.is_ascii_digit() || "+-.,\u{2212}".contains(c));
    let typed = number(first) && first != "-" && !(args.from.len() == 1 && Path::new(first).is_file());
    let bytes = if typed {
        return Ok(args.from.join("\n"));
    } else if args.from.len() > 1 {
        return Err(CommandError::usage("Give one file, or the weights themselves."));
    } else if first == "-" {
        standard_input(context)?
    } else {
        return file(Path::new(first));
    };
    Ok(String::from_utf8_lossy(&bytes).into_owned())
}

fn file(path: &Path) -> Result<String> {
    context::read_text(path, LARGEST, too_large)
}

fn standard_input(context: &Context) -> Result<Vec<u8>> {
    if context.asks_a_person {
        let ask = "Type one weight a line; Ctrl-D ends.\n";
        let _ = anstream::stderr().write_all(ask.as_bytes());
    }
    let mut bytes = Vec::new();
    std::io::stdin()
        .take(LARGEST + 1)
        .read_to_end(&mut bytes)
        .map_err(|e| CommandError::input(format!("Standard input cannot be read: {e}.")))?;
    if bytes.len() as u64 > LARGEST { Err(too_large("Standard input")) } else { Ok(bytes) }
}

fn too_large(name: &str) -> CommandError {
    CommandError::input(format!("{} is larger than a run of fills can be.", crate::diag::harmless(name)))
}
