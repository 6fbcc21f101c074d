//! `handlamp diagnose`: walks the fault graph with a person, or answers a case file.

use std::path::{Path, PathBuf};

use super::talk::{Talk, stored};
use super::{CommandError, Context, Outcome, Result, find, show};
use crate::casebook::{self, Case, Store};
use crate::ids::MachineId;
use crate::knowledge::Knowledge;
use crate::render::json::Proposed;
use crate::render::{diagnostics, json};
use crate::search::{Index, talk};
use crate::view::{diagnosis, words};
use crate::walk::{Assessment, Desk, assess, sounds_dangerous};

/// Stands for the machine until somebody says which it is.
pub(super) const NOT_KNOWN_YET: &str = "not-known-yet";

/// Walk a fault from complaint to proof of cure: ask, compute, propose
#[derive(Debug, clap::Args)]
#[command(before_help = "\
Examples:
  handlamp diagnose all our bags are light
  handlamp diagnose --answers call.yaml
  handlamp diagnose --answers call.yaml --json
")]
pub(super) struct Args {
    /// What the caller says is wrong
    words: Vec<String>,
    /// Answer this case file and ask nothing
    #[arg(long, value_name = "FILE", conflicts_with = "words")]
    answers: Option<PathBuf>,
    /// Keep the case of --answers in the store
    #[arg(long, requires = "answers")]
    keep: bool,
    /// The team whose case it is, for the manager's week; also HANDLAMP_TEAM
    #[arg(long, value_name = "NAME")]
    team: Option<String>,
    /// The machine, if it is known already
    #[arg(long, value_name = "ID", conflicts_with = "answers")]
    machine: Option<String>,
}

pub(super) fn run(args: &Args, context: &mut Context) -> Result {
    let knowledge = context.knowledge()?;
    if let Some(path) = &args.answers {
        return answers(&knowledge, path, args.keep, context);
    }
    let machine = args.machine.as_deref().map(|id| show::machine(&knowledge, id)).transpose()?;
    let id = machine.map_or_else(|| MachineId::new(NOT_KNOWN_YET), |m| m.id.clone());
    let complaint = (!args.words.is_empty()).then(|| args.words.join(" "));
    let index = find::index(context)?;
    let mut case = Case::of(id);
    case.team = team(args.team.clone().or_else(|| context.team()).as_deref())?;
    case.opening.danger = complaint.clone().filter(|words| dangerous(&knowledge, &index, words));
    let mut talk = Talk::new(&knowledge, index, Store::at(&context.store()?), complaint.clone());
    let first = talk.walker().begin(case, machine.is_some());
    let mut first = first.map_err(|e| CommandError::input(words::sentence(&e.to_string())))?;
    if let Some(complaint) = &complaint {
        first.state = talk.walker().listen(first.state, complaint);
    }
    let state = talk.run(first, context)?;
    if context.options.json
        && let Some(assessment) = &state.assessment
    {
        let proposed = proposals(&knowledge, &state.case, context)?;
        context.json(&json::diagnosis(&knowledge, assessment, &proposed))?;
    }
    Ok(Outcome::Done)
}

/// A team by its short name.
fn team(name: Option<&str>) -> Result<Option<String>> {
    let Some(name) = name.map(str::trim).filter(|name| !name.is_empty()) else { return Ok(None) };
    if crate::ids::well_formed(name) {
        return Ok(Some(name.to_owned()));
    }
    Err(CommandError::usage("A team's name is lower-case words joined by hyphens, like coast or north-2."))
}

/// Whether to make safe before anything is asked: the words say so, or what fits them best does.
fn dangerous(knowledge: &Knowledge, index: &Index, words: &str) -> bool {
    let best = index.propose_symptoms(words).ok().and_then(|found| found.into_iter().next());
    let stop = best.and_then(|best| knowledge.findings.get(&best.symptom)).is_some_and(|f| f.stop_first);
    stop || sounds_dangerous(words)
}

fn answers(knowledge: &Knowledge, path: &Path, keep: bool, context: &mut Context) -> Result {
    let read = case_file(knowledge, path, context)?;
    let assessment = think(knowledge, &read.case)?;
    if keep {
        let now = (context.clock)();
        let store = Store::at(&context.store()?);
        let id =
            store.fresh_id(now.to_zoned_datetime(jiff::tz::TimeZone::system()).date()).map_err(stored)?;
        store.create(&read.case, &id, now).map_err(stored)?;
        context.remark(&format!("Kept as case {id}."))?;
    }
    remark(&read, context)?;
    if context.options.json {
        let proposed = proposals(knowledge, &read.case, context)?;
        context.json(&json::diagnosis(knowledge, &assessment, &proposed))?;
    } else {
        context.page(&diagnosis::answer(knowledge, &read.case, &assessment))?;
    }
    Ok(Outcome::Done)
}

/// A case file, or all its problems drawn.
pub(super) fn case_file(knowledge: &Knowledge, path: &Path, context: &Context) -> Result<casebook::Read> {
    casebook::read_path(path, knowledge).map_err(|refused| {
        let drawn = diagnostics::draw(&refused.problems, &refused.sources, &context.error_look);
        CommandError::input("The case file cannot be used.").drawn(drawn)
    })
}

/// Says what of a case file does not count.
pub(super) fn remark(read: &casebook::Read, context: &Context) -> Result<()> {
    if read.remarks.is_empty() {
        return Ok(());
    }
    context.remark(&diagnostics::draw(&read.remarks, &read.sources, &context.error_look))
}

/// Thinks a case over.
pub(super) fn think(knowledge: &Knowledge, case: &Case) -> Result<Assessment> {
    let desk = Desk::for_case(knowledge, case).map_err(|e| unthinkable(&e))?;
    assess(&desk, case, None).map_err(|e| unthinkable(&e))
}

/// Why a case cannot be thought over, as a sentence.
pub(super) fn unthinkable(error: &dyn std::error::Error) -> CommandError {
    CommandError::input(words::sentence(&error.to_string()))
}

/// What the complaint's words may mean: symptoms that they fit, and what they tell of history and amounts.
fn proposals(knowledge: &Knowledge, case: &Case, context: &Context) -> Result<Proposed> {
    let Some(complaint) = &case.complaint else { return Ok(Proposed::default()) };
    let symptoms = find::index(context)?.propose_symptoms(complaint).map_err(|e| find::unusable(&e))?;
    Ok(Proposed { symptoms, told: talk::read(knowledge, complaint) })
}
