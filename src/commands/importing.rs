//! `handlamp case import`: cases of others, with those that are here already recognised.

use std::path::{Path, PathBuf};

use super::context::read_file;
use super::recorded_cases::{files_in, is_case_file};
use super::talk::stored;
use super::{CommandError, Context, Outcome, Result};
use crate::casebook::{self, CaseId, Foreign, LARGEST_RECORD, Store};
use crate::diag::harmless;
use crate::knowledge::Knowledge;
use crate::render::json;
use crate::view::cases as view;

/// Cases of others: stores, folders of case files, single files
#[derive(Debug, clap::Args)]
pub(super) struct Args {
    /// Stores, folders of records or case files, or such files
    #[arg(required = true, value_name = "PATH")]
    paths: Vec<PathBuf>,
}

pub(super) fn run(args: &Args, store: &Store, context: &mut Context) -> Result {
    let knowledge = context.knowledge()?;
    let mut paths = Vec::new();
    for path in &args.paths {
        paths.extend(files(path)?);
    }
    // One at a time: a store of others may be larger than what this computer holds at once.
    let foreign = paths.iter().map(|file| (harmless(&file.display().to_string()), read(file, &knowledge)));
    let mut done = store.import(foreign, (context.clock)(), context.cores()).map_err(stored)?;
    done.refused.sort();
    if context.options.json {
        context.json(&json::imported(&done))?;
    } else {
        context.page(&view::imported(&done))?;
    }
    Ok(if done.refused.is_empty() { Outcome::Done } else { Outcome::NotGood })
}

/// The records and case files that a path names, in order.
fn files(path: &Path) -> Result<Vec<PathBuf>> {
    if !path.exists() {
        let shown = harmless(&path.display().to_string());
        return Err(CommandError::input(format!("There is no file or folder {shown}.")));
    }
    if !path.is_dir() {
        return Ok(vec![path.to_path_buf()]);
    }
    let inside = path.join("cases");
    let folder = if inside.is_dir() { inside } else { path.to_path_buf() };
    // What somebody is just writing there is hidden, and no case yet.
    let shown = |path: &Path| path.file_name().is_none_or(|name| !name.to_string_lossy().starts_with('.'));
    let wanted = |path: &Path| shown(path) && (is_record(path) || is_case_file(path));
    files_in(&folder, &wanted, "no records and no case files")
}

fn is_record(path: &Path) -> bool {
    path.extension().is_some_and(|ending| ending == "jsonl")
}

fn read(file: &Path, knowledge: &Knowledge) -> std::result::Result<Foreign, String> {
    if is_record(file) {
        let stem = file.file_stem().map(|stem| stem.to_string_lossy().into_owned()).unwrap_or_default();
        let id = CaseId::parse(&stem).map_err(|error| error.to_string())?;
        if std::fs::metadata(file).is_ok_and(|meta| meta.len() > LARGEST_RECORD) {
            return Err(format!("it is larger than {LARGEST_RECORD} bytes"));
        }
        let bytes = read_file(file).map_err(|error| error.message)?;
        return Ok(Foreign::Record(id, bytes));
    }
    match casebook::read_path(file, knowledge) {
        Ok(read) => Ok(Foreign::Case(Box::new(read.case))),
        Err(refused) => {
            let said = refused.problems.iter().map(|problem| problem.sentence(&refused.sources));
            Err(said.collect::<Vec<_>>().join(" "))
        }
    }
}
