//! `handlamp find`: what in the knowledge fits some words. Reads no entry while the index of this knowledge is there.

use std::collections::{BTreeMap, BTreeSet};
use std::path::{Path, PathBuf};

use super::{CommandError, Context, Kind as ErrorKind, Outcome, Result, memory, show};
use crate::casebook::searches::Misses;
use crate::diag::{Sources, harmless};
use crate::graph::{Node, machine_view};
use crate::ids;
use crate::knowledge::{Asks, Knowledge, yaml};
use crate::render::{diagnostics, json};
use crate::search::{Hit, Index, Kind, SearchError, book, trial};
use crate::view::entry::Entry;
use crate::view::{cases, hits};

/// What in the knowledge fits these words; slips of the finger are forgiven
#[derive(Debug, clap::Args)]
#[command(before_help = "\
Examples:
  handlamp find bags too light
  handlamp find scale drifts --kind check
  handlamp find air low --json
  handlamp find --try phrases.yaml
")]
pub(super) struct Args {
    /// What the caller said, what is seen, or what a thing is called
    #[arg(required_unless_present = "trial")]
    words: Vec<String>,
    /// Only of this kind; may be given more than once
    #[arg(long, value_name = "KIND", value_parser = kinds())]
    kind: Vec<String>,
    /// Only what applies to this machine
    #[arg(long, value_name = "ID")]
    machine: Option<String>,
    /// At most so many
    #[arg(long, value_name = "N", default_value_t = 8, value_parser = clap::value_parser!(u16).range(1..=200))]
    most: u16,
    /// Try each phrasing of this file instead: a list of {said: text, means: [ids], machine: id}
    #[arg(long = "try", value_name = "FILE", id = "trial", conflicts_with_all = ["words", "kind", "machine", "most"])]
    trial: Option<PathBuf>,
    /// With --try: least share with the right entry first, in per cent; below it the exit code is 1
    #[arg(long, value_name = "PERCENT", default_value_t = 75, requires = "trial", value_parser = clap::value_parser!(u8).range(0..=100))]
    first: u8,
    /// With --try: least share with the right entry in the first five, in per cent
    #[arg(long, value_name = "PERCENT", default_value_t = 95, requires = "trial", value_parser = clap::value_parser!(u8).range(0..=100))]
    five: u8,
}

fn kinds() -> clap::builder::PossibleValuesParser {
    Kind::ALL.iter().map(|k| k.as_str()).collect::<Vec<_>>().into()
}

/// Closed cases shown besides.
const MOST_CASES: usize = 3;
/// Looked through before kinds and machines are sifted out.
const LOOKED_THROUGH: usize = 200;

pub(super) fn run(args: &Args, context: &mut Context) -> Result {
    if let Some(path) = &args.trial {
        return try_out(path, (f64::from(args.first) / 100.0, f64::from(args.five) / 100.0), context);
    }
    let query = args.words.join(" ");
    let of_machine = args.machine.as_deref().map(|id| here(&context.knowledge()?, id)).transpose()?;
    let found = index(context)?.find(&query, LOOKED_THROUGH).map_err(|e| unusable(&e))?;
    let wanted = |hit: &Hit| {
        let kind = args.kind.is_empty() || args.kind.iter().any(|k| k == hit.kind.as_str());
        kind && of_machine.as_ref().is_none_or(|here| here.contains(&(hit.kind.as_str(), hit.id.clone())))
    };
    let mut left: Vec<Hit> = found.into_iter().filter(wanted).collect();
    if left.is_empty()
        && let Ok(store) = context.store()
    {
        // Somebody may write what was looked for; a store that cannot be written hinders nobody.
        let _ = Misses::at(&store).add(&query, (context.clock)());
    }
    // Closed cases are not of a kind of entry.
    let memory = if args.kind.is_empty() { memory::memory(context)? } else { None };
    let past = memory.map(|memory| memory.find(&query, MOST_CASES)).transpose().map_err(|e| unusable(&e))?;
    let mut past = past.unwrap_or_default();
    past.retain(|past| args.machine.as_ref().is_none_or(|machine| past.machine == *machine));
    let more = left.len() > usize::from(args.most);
    left.truncate(usize::from(args.most));
    if context.options.json {
        context.json(&json::hits(&query, &left, &past))?;
    } else {
        let mut page = hits::page(&query, &left, more);
        cases::found(&mut page, &past);
        context.page(&page)?;
    }
    Ok(Outcome::Done)
}

/// Tries phrasings of callers and says which do not lead where they should.
fn try_out(path: &Path, floors: (f64, f64), context: &mut Context) -> Result {
    let knowledge = context.knowledge()?;
    let mut sources = Sources::default();
    let shown = harmless(&path.display().to_string());
    let text = yaml::read_text(path)
        .map_err(|e| CommandError::input(format!("The file {shown} cannot be read: {e}.")))?;
    let file = sources.add(shown, text);
    let known: Vec<&str> = Entry::all(&knowledge).map(Entry::id).collect();
    let (phrasings, problems) = trial::read(&sources, file, &known);
    if !problems.is_empty() {
        let drawn = diagnostics::draw(&problems, &sources, &context.error_look);
        return Err(CommandError::input("The file of phrasings cannot be used.").drawn(drawn));
    }
    let machines = phrasings.iter().filter_map(|p| p.machine.as_deref());
    let machines: BTreeMap<&str, _> = machines
        .map(|id| Ok((id, here(&knowledge, id)?)))
        .collect::<std::result::Result<_, CommandError>>()?;
    let applies = |phrasing: &trial::Phrasing, hit: &Hit| {
        let here = phrasing.machine.as_deref().and_then(|id| machines.get(id));
        here.is_none_or(|here| here.contains(&(hit.kind.as_str(), hit.id.clone())))
    };
    let measured = trial::measure(&index(context)?, &phrasings, applies).map_err(|e| unusable(&e))?;
    if context.options.json {
        context.json(&json::trial(&measured, floors))?;
    } else {
        context.page(&crate::view::trial::page(&measured, floors))?;
    }
    let good = measured.shares().is_some_and(|(first, five)| first >= floors.0 && five >= floors.1);
    Ok(if good { Outcome::Done } else { Outcome::NotGood })
}

/// The index of the knowledge in use, built first where it is not there.
pub(super) fn index(context: &Context) -> Result<Index> {
    let texts = context.texts();
    let hash = texts.hash();
    // Without a place for it the index is built in memory.
    let cache = context.store().ok().map(|store| store.join("cache"));
    let there = cache.as_deref().filter(|_| texts.readable()).and_then(|dir| Index::there(dir, &hash));
    if let Some(index) = there {
        return Ok(index);
    }
    let knowledge = context.read(&texts)?;
    Index::open_or_build(cache.as_deref(), &hash, || book(&knowledge)).map_err(|e| unusable(&e))
}

pub(super) fn unusable(error: &SearchError) -> CommandError {
    CommandError::new(ErrorKind::Store, crate::view::words::sentence(&error.to_string()))
        .hint("Delete the folder `cache` in the store; it is built again.".to_owned())
}

/// What applies to one machine, by kind and id. Cautions apply where work that names them does.
fn here(knowledge: &Knowledge, id: &str) -> Result<BTreeSet<(&'static str, String)>> {
    let machine = show::machine(knowledge, id)?;
    let view = machine_view(knowledge, machine, None);
    let works = view.checks.iter().map(|c| &c.work).chain(view.remedies.iter().map(|r| &r.work));
    let cautions = works.flat_map(|w| &w.cautions).map(|c| ("caution", c.value.to_string()));
    let settings = machine.settings.iter().map(|s| ("setting", s.id.to_string()));
    let signs = machine.signs.iter().map(|s| ("sign", s.id.to_string()));
    // Runs and complaints bear on all symptoms and belong to every machine that has their place.
    let open = knowledge.checks.values().filter(|c| matches!(c.asks, Asks::Run | Asks::Complaint));
    let open = open.filter(|c| machine.can_do(&c.work, None)).map(|c| ("check", c.id.to_string()));
    let nodes = view.nodes().map(|node: Node| (node.kind(knowledge), node.id().to_owned()));
    let this = std::iter::once(("machine", ids::MachineId::as_str(&machine.id).to_owned()));
    Ok(nodes.chain(this).chain(settings).chain(signs).chain(open).chain(cautions).collect())
}
