//! `handlamp case import`: cases of others, with those that are here already recognised.

use std::path::{Path, PathBuf};

use super::context::read_file;
use super::talk::stored;
use super::{CommandError, Context, Outcome, Result};
use crate::casebook::{self, CaseId, Foreign, Store};
use crate::diag::harmless;
use crate::knowledge::Knowledge;
use crate::render::json;
use crate::view::cases as view;

/// Largest record taken in, in bytes.
const LARGEST: u64 = 8 << 20;

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
    if !path.is_dir() {
        return Ok(vec![path.to_path_buf()]);
    }
    let inside = path.join("cases");
    let folder = if inside.is_dir() { inside } else { path.to_path_buf() };
    let shown = harmless(&folder.display().to_string());
    let unreadable =
        |error: std::io::Error| CommandError::input(format!("The folder {shown} cannot be read: {error}."));
    let entries = std::fs::read_dir(&folder).map_err(unreadable)?;
    let mut files =
        entries.map(|entry| Ok(entry?.path())).collect::<std::io::Result<Vec<_>>>().map_err(unreadable)?;
    let is_case = |path: &PathBuf| {
        let hidden = path.file_name().is_some_and(|name| name.to_string_lossy().starts_with('.'));
        !hidden && path.extension().is_some_and(|end| end == "jsonl" || end == "yaml" || end == "yml")
    };
    files.retain(is_case);
    files.sort();
    if files.is_empty() {
        return Err(CommandError::input(format!("The folder {shown} holds no records and no case files.")));
    }
    Ok(files)
}

fn read(file: &Path, knowledge: &Knowledge) -> std::result::Result<Foreign, String> {
    if file.extension().is_some_and(|end| end == "jsonl") {
        let stem = file.file_stem().map(|stem| stem.to_string_lossy().into_owned()).unwrap_or_default();
        let id = CaseId::parse(&stem).map_err(|error| error.to_string())?;
        if std::fs::metadata(file).is_ok_and(|meta| meta.len() > LARGEST) {
            return Err(format!("it is larger than {LARGEST} bytes"));
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
