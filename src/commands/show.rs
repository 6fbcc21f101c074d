//! `handlamp show`: one entry with what it is linked to. Never opens the search index.

use super::{CommandError, Context, Outcome, Result};
use crate::graph::FaultGraph;
use crate::ids;
use crate::knowledge::{Knowledge, Machine};
use crate::render::json;
use crate::view::entry::{self, Entry};

/// One entry of the knowledge, with its cautions before its steps and what it is linked to
#[derive(Debug, clap::Args)]
#[command(before_help = "\
Examples:
  handlamp show fills-steadily-light
  handlamp show test-weight-on-pan --machine single-tray-weigher
  handlamp show in-flight-allowance --machine single-tray-weigher --json
")]
pub(super) struct Args {
    /// Name of a machine, symptom, condition, cause, check, remedy, caution, circumstance, setting or sign
    id: String,
    /// As it is on this machine only
    #[arg(long, value_name = "ID")]
    machine: Option<String>,
    /// When two kinds share a name: which kind
    #[arg(long, value_name = "KIND")]
    kind: Option<String>,
}

pub(super) fn run(args: &Args, context: &mut Context) -> Result {
    let knowledge = context.knowledge()?;
    let machine = args.machine.as_deref().map(|id| machine(&knowledge, id)).transpose()?;
    let entries = entries(&knowledge, args, machine)?;
    if context.options.json {
        let [entry] = entries.as_slice() else {
            let kinds: Vec<_> = entries.iter().map(|e| e.kind()).collect();
            return Err(CommandError::usage(format!(
                "'{}' names {}.",
                args.id,
                crate::view::words::and(&kinds)
            ))
            .hint("Say which with --kind or --machine.".to_owned()));
        };
        context.json(&json::entry(&knowledge, *entry, machine))?;
        return Ok(Outcome::Done);
    }
    let (graph, _) = FaultGraph::build(&knowledge);
    for entry in entries {
        context.page(&entry::page(&knowledge, &graph, entry, machine))?;
    }
    Ok(Outcome::Done)
}

/// A machine by its id, or an error with the nearest names.
pub(super) fn machine<'k>(knowledge: &'k Knowledge, id: &str) -> Result<&'k Machine> {
    knowledge.machines.get(id).ok_or_else(|| {
        let known: Vec<_> = knowledge.machines.keys().map(ids::MachineId::as_str).collect();
        let hint = ids::did_you_mean(id, known.iter().copied());
        let hint = hint.unwrap_or_else(|| format!("Known are {}.", crate::view::words::and(&known)));
        CommandError::input(format!("There is no machine '{id}'.")).hint(hint)
    })
}

fn entries<'k>(
    knowledge: &'k Knowledge,
    args: &Args,
    machine: Option<&'k Machine>,
) -> Result<Vec<Entry<'k>>> {
    let found = Entry::named(knowledge, &args.id);
    if found.is_empty() {
        return Err(unknown(knowledge, &args.id));
    }
    let of_kind = |e: &Entry<'_>| args.kind.as_deref().is_none_or(|kind| kind == e.kind());
    let on_machine = |e: Entry<'k>| machine.map_or(Some(e), |machine| e.on(machine));
    let kinds: Vec<_> = found.iter().map(|e| e.kind()).collect();
    let left: Vec<_> = found.into_iter().filter(of_kind).filter_map(on_machine).collect();
    if left.is_empty() {
        let kinds = crate::view::words::and(&kinds);
        return Err(CommandError::input(format!("'{}' is a {kinds}, and not as asked for.", args.id)));
    }
    Ok(left)
}

fn unknown(knowledge: &Knowledge, id: &str) -> CommandError {
    let known: Vec<_> = Entry::all(knowledge).map(Entry::id).collect();
    let hint = ids::did_you_mean(id, known);
    let hint = hint.unwrap_or_else(|| format!("Look for it with `handlamp find {}`.", id.replace('-', " ")));
    CommandError::input(format!("Nothing in the knowledge is called '{id}'.")).hint(hint)
}
