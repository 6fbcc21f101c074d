//! `handlamp knowledge`: judging, drawing and counting the knowledge itself, its form for an editor, its numbers for other programs.

use std::path::PathBuf;

use super::diagnose::unthinkable;
use super::progress::Counter;
use super::rehearse::MOST_CASES;
use super::{CommandError, Context, Outcome, Result, export, show};
use crate::diag::{has_errors, in_order};
use crate::graph::{FaultGraph, Node, machine_view};
use crate::ids::{self, MachineId};
use crate::knowledge::{self, Knowledge, load};
use crate::rehearse::{Calls, Decisions, Stage, decisions};
use crate::render::{diagnostics, drawing, json};
use crate::vet;
use crate::view::entry::Entry;
use crate::view::{counts, picture, problems};

/// The knowledge itself: judge it, draw it, count it, give its form to an editor and its numbers to other programs
#[derive(Debug, clap::Args)]
#[command(before_help = "\
Examples:
  handlamp knowledge vet our-knowledge
  handlamp knowledge stats
  handlamp knowledge schema > handlamp.schema.json
  handlamp knowledge graph --svg fills-steadily-light > light.svg
  handlamp knowledge export --machine single-tray-weigher > weigher.xml
")]
pub(super) struct Args {
    #[command(subcommand)]
    what: What,
}

#[derive(Debug, clap::Subcommand)]
enum What {
    Vet(VetArgs),
    Graph(GraphArgs),
    Stats(StatsArgs),
    Schema(SchemaArgs),
    Export(export::Args),
}

pub(super) fn run(args: &Args, context: &mut Context) -> Result {
    match &args.what {
        What::Vet(args) => judge(args, context),
        What::Graph(args) => graph(args, context),
        What::Stats(args) => stats(args, context),
        What::Schema(args) => schema(args, context),
        What::Export(args) => export::run(args, context),
    }
}

/// Judge the knowledge: every problem of every file, with its place; exit 1 when there are errors
#[derive(Debug, clap::Args)]
#[command(before_help = "\
Examples:
  handlamp knowledge vet
  handlamp knowledge vet our-knowledge
  handlamp knowledge vet our-knowledge --json
")]
struct VetArgs {
    /// Folder laid over the built-in knowledge, like --knowledge
    #[arg(value_name = "DIR")]
    folder: Option<PathBuf>,
}

fn judge(args: &VetArgs, context: &mut Context) -> Result {
    if let Some(folder) = &args.folder {
        context.options.knowledge = Some(folder.clone());
    }
    let texts = context.texts();
    let (knowledge, mut found) = load(&texts);
    let judged = vet::judge(&knowledge, &texts, context.options.knowledge.is_none());
    let fresh: Vec<_> = judged.into_iter().filter(|p| !found.contains(p)).collect();
    found.extend(fresh);
    in_order(&mut found);
    let (lists, mut of_lists) = context.loaded_checklists(&knowledge);
    of_lists.extend(vet::judge_checklists(&lists, &knowledge));
    in_order(&mut of_lists);
    if context.options.json {
        let both = [(found.as_slice(), &knowledge.sources), (of_lists.as_slice(), &lists.sources)];
        context.json(&diagnostics::json(&both))?;
    } else {
        for (problems, sources) in [(&found, &knowledge.sources), (&of_lists, &lists.sources)] {
            if !problems.is_empty() {
                let drawn = diagnostics::draw(problems, sources, &context.look);
                context.write(&format!("{drawn}\n"))?;
            }
        }
        let entries = Entry::all(&knowledge).filter(|e| e.head().is_some()).count();
        context.page(&problems::summary(&found, &of_lists, entries, lists.lists.len()))?;
    }
    Ok(if has_errors(&found) || has_errors(&of_lists) { Outcome::NotGood } else { Outcome::Done })
}

/// How much the knowledge holds, and what is still incomplete
#[derive(Debug, clap::Args)]
#[command(before_help = "\
Examples:
  handlamp knowledge stats
  handlamp knowledge stats --decisions 50 --machine single-tray-weigher
  handlamp knowledge stats --decisions 200 --seed 2 --json
")]
struct StatsArgs {
    /// Simulate so many calls for each machine, and say what the plan asks in them and which numbers its next step hangs on
    #[arg(long, value_name = "N", value_parser = clap::value_parser!(u64).range(1..=MOST_CASES))]
    decisions: Option<u64>,
    /// Where all luck comes from: the same seed gives the same calls (1 if not given)
    #[arg(long, value_name = "S", requires = "decisions")]
    seed: Option<u64>,
    /// On this machine only
    #[arg(long, value_name = "ID", requires = "decisions")]
    machine: Option<String>,
}

fn stats(args: &StatsArgs, context: &mut Context) -> Result {
    let knowledge = context.knowledge()?;
    let decisions = args.decisions.map(|cases| decided(args, cases as usize, &knowledge, context));
    let decisions = decisions.transpose()?;
    let stats = vet::stats(&knowledge);
    if context.options.json {
        context.json(&json::counts(&stats, decisions.as_ref()))?;
    } else {
        context.page(&counts::page(&knowledge, &stats, decisions.as_ref()))?;
    }
    Ok(Outcome::Done)
}

/// What decides in simulated calls.
fn decided(args: &StatsArgs, cases: usize, knowledge: &Knowledge, context: &Context) -> Result<Decisions> {
    let machines: Vec<MachineId> = match &args.machine {
        Some(id) => vec![show::machine(knowledge, id)?.id.clone()],
        None => knowledge.machines.keys().cloned().collect(),
    };
    let calls = Calls { cases, seed: args.seed.unwrap_or(1), machines, threads: context.cores() };
    let counter = Counter::new(context.tells_a_person);
    let found = decisions(knowledge, &calls, &|stage| match stage {
        Stage::Calls(done, of) => counter.show("calls", done, of),
        Stage::Numbers(done, of) => counter.show("numbers", done, of),
    });
    counter.clear();
    found.map_err(|error| unthinkable(&error))
}

/// The fault graph as a drawing: the whole in the DOT language, or around one entry as SVG
#[derive(Debug, clap::Args)]
#[command(before_help = "\
Examples:
  handlamp knowledge graph | dot -Tsvg > faults.svg
  handlamp knowledge graph --around fills-steadily-light
  handlamp knowledge graph --svg fills-steadily-light > light.svg
")]
struct GraphArgs {
    /// Only what this machine has
    #[arg(long, value_name = "ID")]
    machine: Option<String>,
    /// Only this entry and what it is linked to
    #[arg(long, value_name = "ID")]
    around: Option<String>,
    /// This entry and what stands around it as an SVG picture that fits a page
    #[arg(long, value_name = "ID", conflicts_with = "around")]
    svg: Option<String>,
}

fn graph(args: &GraphArgs, context: &mut Context) -> Result {
    if context.options.json {
        return Err(CommandError::usage("A drawing has no JSON form; leave --json out."));
    }
    let knowledge = context.knowledge()?;
    let graph = match &args.machine {
        Some(id) => {
            let machine = show::machine(&knowledge, id)?;
            FaultGraph::of_machine(&knowledge, &machine_view(&knowledge, machine, None))
        }
        None => FaultGraph::build(&knowledge).0,
    };
    if let Some(id) = &args.svg {
        let centre = node(&graph, id)?;
        let machine = args.machine.as_deref().map(MachineId::from);
        let picture = picture::picture(&knowledge, &graph, &centre, machine.as_ref());
        context.write(&drawing::svg(&picture))?;
        return Ok(Outcome::Done);
    }
    let around = args.around.as_ref().map(|id| node(&graph, id)).transpose()?;
    context.write(&graph.dot(&knowledge, around.as_ref()))?;
    Ok(Outcome::Done)
}

/// The entry of a graph that has this id, or an error with the nearest names.
fn node(graph: &FaultGraph, id: &str) -> Result<Node> {
    graph.nodes().find(|node| node.id() == id).cloned().ok_or_else(|| {
        let known: Vec<&str> = graph.nodes().map(Node::id).collect();
        CommandError::input(format!("Nothing in this graph is called '{id}'."))
            .hint(ids::did_you_mean(id, known))
    })
}

/// The form of an entry as a JSON Schema, so that an editor completes and checks while you type
#[derive(Debug, clap::Args)]
#[command(before_help = "\
Examples:
  handlamp knowledge schema > handlamp.schema.json
  handlamp knowledge schema cause > cause.schema.json
")]
struct SchemaArgs {
    /// One kind of entry alone
    #[arg(value_name = "KIND", value_parser = clap::builder::PossibleValuesParser::new(knowledge::ENTRY_KINDS))]
    kind: Option<String>,
}

fn schema(args: &SchemaArgs, context: &mut Context) -> Result {
    let known = context.knowledge()?;
    context.json(&knowledge::schema(&known, args.kind.as_deref()))?;
    Ok(Outcome::Done)
}
