//! `handlamp rehearse`: recorded and simulated cases against the knowledge, or against two versions of it.

use std::path::PathBuf;

use clap::builder::PossibleValuesParser;

use super::diagnose::unthinkable;
use super::progress::Counter;
use super::talk::stored;
use super::{CommandError, Context, Outcome, Result, replayed, show};
use crate::casebook::searches::Misses;
use crate::casebook::{Store, record};
use crate::ids::MachineId;
use crate::knowledge::Knowledge;
use crate::rehearse::{Loss, Policy, Simulation, invent, searches, simulate};
use crate::render::json;
use crate::view::{Page, rehearsal, words};

/// The word for every policy.
const ALL: &str = "all";
/// Most calls simulated for a machine.
pub(super) const MOST_CASES: u64 = 1_000_000;
/// Cases of a demo store when nobody says how many.
const DEMO: u64 = 2000;

/// Recorded and simulated cases against the knowledge, to see how well it diagnoses and plans
///
/// Cases are files, folders of them, or stores, of which the closed cases count. A case is held against the cause that its
/// file expects, else against the one whose remedy took the complaint away; the belief is that from before this remedy.
/// Cases in which it was gone and nothing proves it are counted apart. Exit 1 when a case with `expect:` falls short.
///
/// With --against the same cases are judged by another version of the knowledge, too: 'before' is that version, 'after'
/// the one in use. Exit 1 when a case with `expect:` stood high enough before and falls short after, when a case could be
/// judged before and cannot be after, when a case with `expect:` loses more than --case-loss, or when the log score falls
/// by more than --loss a case and by more than twice its standard error. So it is the test of a change.
///
/// Simulated calls are drawn from the knowledge itself, so they judge the plan and not the knowledge: a fault, what the
/// caller names of it, every answer, every cure, who calls and what they may do. A run of fills is simulated as the plan
/// values it, not as weights. 'First' and 'first three' look at the belief at the moment of the first remedy, or when
/// somebody is sent if there was none: whether a cause behind the complaint led, or stood among the first three. With
/// --against they are drawn from the version before and nothing is planned: the complaint and a seeded handful of answers
/// are judged by both. They say what a change costs where the version before is right, and never that it helps.
#[derive(Debug, clap::Args)]
#[command(before_help = "\
Examples:
  handlamp rehearse call.yaml our-cases
  handlamp rehearse our-cases --against old-knowledge
  handlamp rehearse our-cases --knowledge our-knowledge --against HEAD~1
  handlamp rehearse --simulate 200 --against old-knowledge
  handlamp rehearse --simulate 200 --seed 1
  handlamp rehearse --simulate 200 --machine single-tray-weigher --policy all
  handlamp rehearse --write-store demo --cases 2000
")]
pub(super) struct Args {
    /// Case files, folders of them, or stores
    #[arg(value_name = "FILE", required_unless_present_any = ["simulate", "write_store"], conflicts_with = "simulate")]
    files: Vec<PathBuf>,
    /// Simulate so many calls for each machine
    #[arg(long, value_name = "N", value_parser = clap::value_parser!(u64).range(1..=MOST_CASES))]
    simulate: Option<u64>,
    /// Where all luck comes from: the same seed gives the same calls (1 if not given)
    #[arg(long, value_name = "S")]
    seed: Option<u64>,
    /// On this machine only
    #[arg(long, value_name = "ID", requires = "simulate")]
    machine: Option<String>,
    /// How the next step is chosen (planner if not given)
    #[arg(long, value_name = "NAME", requires = "simulate", conflicts_with = "against")]
    #[arg(value_parser = PossibleValuesParser::new(Policy::ALL.map(Policy::name).into_iter().chain([ALL])))]
    policy: Option<String>,
    /// The same cases with another version too: a folder, or a git revision of the --knowledge folder
    #[arg(long, value_name = "DIR|REVISION")]
    against: Option<String>,
    /// With --against: nats of log score a case that the knowledge may get worse by; it counts when it is more than twice
    /// its standard error, too
    #[arg(long, value_name = "NATS", requires = "against", default_value_t = Loss::default().log)]
    loss: f64,
    /// With --against: nats of log score that any one case with `expect:` may lose; 0.7 halves the share of its cause
    #[arg(long, value_name = "NATS", requires = "against", default_value_t = Loss::default().case)]
    case_loss: f64,
    /// Write a store of invented cases into this folder, for trying things on
    #[arg(long, value_name = "DIR", conflicts_with_all = ["files", "simulate", "against"])]
    write_store: Option<PathBuf>,
    /// With --write-store: so many cases
    #[arg(long, value_name = "N", requires = "write_store", default_value_t = DEMO)]
    #[arg(value_parser = clap::value_parser!(u64).range(1..=MOST_CASES))]
    cases: u64,
    /// With --write-store: the day on which the last of them ends (today if not given)
    #[arg(long, value_name = "DAY", requires = "write_store")]
    until: Option<jiff::civil::Date>,
}

pub(super) fn run(args: &Args, context: &mut Context) -> Result {
    // Beside files the parser lets these pass.
    let seeded = args.simulate.is_some() || args.write_store.is_some();
    let simulated_only = args.machine.is_some() || args.policy.is_some();
    if (!seeded && args.seed.is_some()) || (args.simulate.is_none() && simulated_only) {
        return Err(CommandError::usage("--seed, --machine and --policy are for simulated calls.")
            .hint("Say how many with --simulate N, or leave them out.".to_owned()));
    }
    let loss = Loss { log: args.loss, case: args.case_loss };
    if [loss.log, loss.case].iter().any(|nats| !nats.is_finite() || *nats < 0.0) {
        return Err(CommandError::usage("--loss and --case-loss are numbers from nought up, like 0.02."));
    }
    let knowledge = context.knowledge()?;
    let seed = args.seed.unwrap_or(1);
    if let Some(folder) = &args.write_store {
        let day = args.until.unwrap_or_else(|| context.today());
        return write_store(&knowledge, folder, (args.cases as usize, seed, day), context);
    }
    match (args.simulate, &args.against) {
        (Some(cases), Some(against)) => {
            let machine = args.machine.as_deref().map(|id| show::machine(&knowledge, id)).transpose()?;
            let machine = machine.map(|machine| machine.id.clone());
            replayed::simulated(knowledge, (cases as usize, seed, machine), (against, loss), context)
        }
        (Some(cases), None) => simulated(args, cases as usize, &knowledge, context),
        (None, Some(against)) => replayed::against(&args.files, knowledge, (against, loss), context),
        (None, None) => replayed::recorded(&args.files, &knowledge, context),
    }
}

fn simulated(args: &Args, cases: usize, knowledge: &Knowledge, context: &mut Context) -> Result {
    let machines: Vec<MachineId> = match &args.machine {
        Some(id) => vec![show::machine(knowledge, id)?.id.clone()],
        None => knowledge.machines.keys().cloned().collect(),
    };
    let (seed, chosen) = (args.seed.unwrap_or(1), args.policy.as_deref().unwrap_or(Policy::Planner.name()));
    let policies = Policy::ALL.into_iter().filter(|p| chosen == ALL || chosen == p.name()).collect();
    let simulation = Simulation { cases, seed, machines, policies, threads: context.cores() };
    let counter = Counter::new(context.tells_a_person);
    let total = cases * simulation.machines.len() * simulation.policies.len();
    let rows = simulate(knowledge, &simulation, &|done| counter.show("calls", done, total));
    counter.clear();
    let rows = rows.map_err(|error| unthinkable(&error))?;
    if context.options.json {
        context.json(&json::simulated(knowledge, seed, &rows))?;
    } else {
        context.page(&rehearsal::simulated(knowledge, seed, &rows))?;
    }
    Ok(Outcome::Done)
}

/// A store of invented cases; a folder that holds cases already is left alone.
fn write_store(
    knowledge: &Knowledge,
    folder: &std::path::Path,
    (cases, seed, day): (usize, u64, jiff::civil::Date),
    context: &mut Context,
) -> Result {
    let store = Store::at(folder);
    let shown = crate::diag::harmless(&folder.display().to_string());
    if !store.list().map_err(stored)?.cases.is_empty() {
        return Err(CommandError::input(format!(
            "{shown} holds cases already; invented ones would mix with them."
        ))
        .hint("Name a new folder.".to_owned()));
    }
    let evening = jiff::tz::TimeZone::UTC.to_timestamp(day.at(18, 0, 0, 0));
    let until = evening.map_err(|_| CommandError::usage("--until is a day, like 2026-11-25."))?;
    let invented = invent(knowledge, cases, seed, until).map_err(|error| unthinkable(&error))?;
    let bytes = |case: &crate::rehearse::Invented| {
        let entries = case.entries.iter().map(|(at, entry)| (at.to_string(), entry.clone()));
        Ok((
            case.id.clone(),
            record(&case.head, &case.id, &case.opened.to_string(), entries).map_err(stored)?,
        ))
    };
    let records = invented.iter().map(bytes).collect::<Result<Vec<_>>>()?;
    store.create_all(&records).map_err(stored)?;
    let misses = Misses::at(folder);
    for (at, words) in searches(cases / 50, seed, until) {
        let written = misses.add(words, at);
        written.map_err(|error| CommandError::store(format!("{shown} could not be written: {error}.")))?;
    }
    let mut page = Page::default();
    page.text(format!(
        "{} in {shown}, seed {seed}, up to {day}.",
        words::sentence_start(&words::count(records.len(), "invented case", "invented cases"))
    ));
    page.hint(format!("handlamp case week --store {shown} --until {day}"));
    context.page(&page)?;
    Ok(Outcome::Done)
}
