//! `handlamp knowledge export`: the network of a machine for general-purpose Bayesian-network programs.

use std::path::PathBuf;

use super::diagnose::{case_file, remark, unthinkable};
use super::{CommandError, Context, Kind, Outcome, Result, show};
use crate::belief::plain;
use crate::casebook::Case;
use crate::render::{json, xmlbif};
use crate::view::network::{Names, describe};
use crate::walk::{Desk, gather};

/// The network of a machine, exactly as it is reckoned with, for other programs
#[derive(Debug, clap::Args)]
#[command(before_help = "\
Examples:
  handlamp knowledge export --machine single-tray-weigher > weigher.xml
  handlamp knowledge export --answers call.yaml --format json
")]
pub(super) struct Args {
    /// Which machine
    #[arg(long, value_name = "ID", required_unless_present = "answers", conflicts_with = "answers")]
    machine: Option<String>,
    /// With what this case file holds as evidence, on its machine
    #[arg(long, value_name = "FILE")]
    answers: Option<PathBuf>,
    /// XMLBIF holds the network alone; JSON also what is believed of it here
    #[arg(long, value_enum, default_value_t = Format::Xmlbif)]
    format: Format,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, clap::ValueEnum)]
enum Format {
    Xmlbif,
    Json,
}

pub(super) fn run(args: &Args, context: &mut Context) -> Result {
    let knowledge = context.knowledge()?;
    let case = match (&args.answers, &args.machine) {
        (Some(path), _) => {
            let read = case_file(&knowledge, path, context)?;
            remark(&read, context)?;
            read.case
        }
        (None, Some(id)) => Case::of(show::machine(&knowledge, id)?.id.clone()),
        (None, None) => return Err(CommandError::usage("Say which machine.")),
    };
    let desk = Desk::for_case(&knowledge, &case).map_err(|e| unthinkable(&e))?;
    let (network, evidence) = (&desk.model.network, gather(&desk, &case).evidence);
    let plain = plain(network, &evidence).map_err(|e| unthinkable(&e))?;
    let described = describe(&plain, &Names::of(&desk.model));
    let title = case.machine.as_str();
    if args.format == Format::Xmlbif && !context.options.json {
        context.write(&xmlbif::xmlbif(title, &plain, &described))?;
        return Ok(Outcome::Done);
    }
    let believed =
        plain.believed(network, &evidence, Some(desk.model.outside())).map_err(|e| unthinkable(&e))?;
    let text = json::exact_text(&json::network(title, &plain, &described, &believed, (network, &evidence)));
    let text = text.map_err(|e| {
        CommandError::new(Kind::Fault, format!("The network cannot be written as JSON: {e}."))
    })?;
    context.write(&text)?;
    Ok(Outcome::Done)
}
