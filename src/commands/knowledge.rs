//! `handlamp knowledge`: judging, drawing and counting the knowledge itself.

use super::{CommandError, Context, Outcome, Result, show};
use crate::graph::{FaultGraph, Node, machine_view};
use crate::ids;

/// The knowledge itself: judge it, draw it, count it
#[derive(Debug, clap::Args)]
#[command(before_help = "\
Examples:
  handlamp knowledge graph | dot -Tsvg > faults.svg
")]
pub(super) struct Args {
    #[command(subcommand)]
    what: What,
}

#[derive(Debug, clap::Subcommand)]
enum What {
    Graph(GraphArgs),
}

pub(super) fn run(args: &Args, context: &mut Context) -> Result {
    match &args.what {
        What::Graph(args) => graph(args, context),
    }
}

/// The fault graph as a drawing in the DOT language
#[derive(Debug, clap::Args)]
#[command(before_help = "\
Examples:
  handlamp knowledge graph | dot -Tsvg > faults.svg
  handlamp knowledge graph --around fills-steadily-light
")]
struct GraphArgs {
    /// Only what this machine has
    #[arg(long, value_name = "ID")]
    machine: Option<String>,
    /// Only this entry and what it is linked to
    #[arg(long, value_name = "ID")]
    around: Option<String>,
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
    let around = args.around.as_ref().map(|id| {
        graph.nodes().find(|node| node.id() == id).cloned().ok_or_else(|| {
            let known: Vec<&str> = graph.nodes().map(Node::id).collect();
            CommandError::input(format!("Nothing in this graph is called '{id}'."))
                .hint(ids::did_you_mean(id, known))
        })
    });
    context.write(&graph.dot(&knowledge, around.transpose()?.as_ref()))?;
    Ok(Outcome::Done)
}
