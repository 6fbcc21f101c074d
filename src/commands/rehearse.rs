//! `handlamp rehearse`: recorded and simulated cases against the knowledge.

use std::path::{Path, PathBuf};

use clap::builder::PossibleValuesParser;

use super::diagnose::{case_file, remark, unthinkable};
use super::progress::Counter;
use super::{CommandError, Context, Outcome, Result, show};
use crate::diag::harmless;
use crate::ids::MachineId;
use crate::knowledge::Knowledge;
use crate::rehearse::{Policy, Replay, Simulation, Verdict, replay, simulate};
use crate::render::json;
use crate::view::rehearsal;

/// The word for every policy.
const ALL: &str = "all";
/// Most calls simulated for a machine.
pub(super) const MOST_CASES: u64 = 1_000_000;

/// Recorded and simulated cases against the knowledge, to see how well it diagnoses and plans
///
/// Case files with `expect:` are thought over, and the cause that is expected must lead or stand within the places that the
/// file allows; exit 1 when one falls short. Simulated calls are drawn from the knowledge itself, so they judge the plan
/// and not the knowledge: a fault, what the caller names of it, every answer, every cure, who calls and what they may do.
/// A run of fills is simulated as the plan values it, not as weights. 'First' and 'first three' look at the belief at the
/// moment of the first remedy, or when somebody is sent if there was none: whether a cause behind the complaint led, or
/// stood among the first three.
#[derive(Debug, clap::Args)]
#[command(before_help = "\
Examples:
  handlamp rehearse call.yaml our-cases
  handlamp rehearse --simulate 200 --seed 1
  handlamp rehearse --simulate 200 --machine single-tray-weigher --policy all
  handlamp rehearse --simulate 200 --policy book-order --json
")]
pub(super) struct Args {
    /// Case files, or folders of them
    #[arg(value_name = "FILE", required_unless_present = "simulate", conflicts_with = "simulate")]
    files: Vec<PathBuf>,
    /// Simulate so many calls for each machine
    #[arg(long, value_name = "N", value_parser = clap::value_parser!(u64).range(1..=MOST_CASES))]
    simulate: Option<u64>,
    /// Where all luck comes from: the same seed gives the same calls (1 if not given)
    #[arg(long, value_name = "S", requires = "simulate")]
    seed: Option<u64>,
    /// On this machine only
    #[arg(long, value_name = "ID", requires = "simulate")]
    machine: Option<String>,
    /// How the next step is chosen (planner if not given)
    #[arg(long, value_name = "NAME", requires = "simulate")]
    #[arg(value_parser = PossibleValuesParser::new(Policy::ALL.map(Policy::name).into_iter().chain([ALL])))]
    policy: Option<String>,
}

pub(super) fn run(args: &Args, context: &mut Context) -> Result {
    // Beside files the parser lets these pass.
    if args.simulate.is_none() && (args.seed.is_some() || args.machine.is_some() || args.policy.is_some()) {
        return Err(CommandError::usage("--seed, --machine and --policy are for simulated calls.")
            .hint("Say how many with --simulate N, or leave them out.".to_owned()));
    }
    let knowledge = context.knowledge()?;
    match args.simulate {
        Some(cases) => simulated(args, cases as usize, &knowledge, context),
        None => recorded(&args.files, &knowledge, context),
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

fn recorded(paths: &[PathBuf], knowledge: &Knowledge, context: &mut Context) -> Result {
    let mut replays: Vec<(String, Replay)> = Vec::new();
    for path in files(paths)? {
        let read = case_file(knowledge, &path, context)?;
        remark(&read, context)?;
        let name = path.file_stem().map_or_else(String::new, |stem| harmless(&stem.to_string_lossy()));
        replays.push((name, replay(knowledge, &read.case).map_err(|error| unthinkable(&error))?));
    }
    if context.options.json {
        context.json(&json::recorded(knowledge, &replays))?;
    } else {
        context.page(&rehearsal::recorded(&replays))?;
    }
    let short = replays.iter().any(|(_, replay)| replay.verdict == Verdict::FellShort);
    Ok(if short { Outcome::NotGood } else { Outcome::Done })
}

/// The files named, and the case files in the folders named, in order.
fn files(paths: &[PathBuf]) -> Result<Vec<PathBuf>> {
    let mut all = Vec::new();
    for path in paths {
        if !path.is_dir() {
            all.push(path.clone());
            continue;
        }
        let inside = inside(path)?;
        if inside.is_empty() {
            let shown = harmless(&path.display().to_string());
            return Err(CommandError::input(format!("The folder {shown} holds no .yaml file.")));
        }
        all.extend(inside);
    }
    Ok(all)
}

fn inside(folder: &Path) -> Result<Vec<PathBuf>> {
    let unreadable = |error: std::io::Error| {
        let shown = harmless(&folder.display().to_string());
        CommandError::input(format!("The folder {shown} cannot be read: {error}."))
    };
    let entries = std::fs::read_dir(folder).map_err(unreadable)?;
    let mut files =
        entries.map(|entry| Ok(entry?.path())).collect::<std::io::Result<Vec<_>>>().map_err(unreadable)?;
    files.retain(|path| path.extension().is_some_and(|ending| ending == "yaml" || ending == "yml"));
    files.sort();
    Ok(files)
}
