//! Recorded cases from files, folders and stores, as one version of the knowledge takes them or another.

use std::collections::BTreeSet;
use std::path::{Path, PathBuf};

use super::diagnose::{case_file, remark};
use super::talk::stored;
use super::{CommandError, Context, Result};
use crate::casebook::{Case, Store, fit, read_path};
use crate::diag::harmless;
use crate::knowledge::Knowledge;
use crate::rehearse::Named;
use crate::view::words;

/// A case as it lies there, not yet held against any knowledge.
enum Raw {
    File(PathBuf),
    Kept(Box<Case>),
}

/// Cases as they lie there, each with a name that no other has.
pub(super) struct Gathered(Vec<(String, Raw)>);

impl Gathered {
    /// Every case of these files, folders of files, and stores. Of a store the closed cases count; what cannot be read of
    /// one is named and the others count all the same, since one torn record among thousands says nothing of the knowledge.
    pub(super) fn from(paths: &[PathBuf], context: &Context) -> Result<Self> {
        let mut gathered = Self(Vec::new());
        let mut taken = BTreeSet::new();
        for path in paths {
            let shown = harmless(&path.display().to_string());
            if let Some(store) = store_of(path) {
                for (name, case) in of_store(&store, context)? {
                    gathered.add(&mut taken, &name, &shown, Raw::Kept(Box::new(case)));
                }
                continue;
            }
            for file in files(path)? {
                let name =
                    file.file_stem().map_or_else(String::new, |stem| harmless(&stem.to_string_lossy()));
                let shown = harmless(&file.display().to_string());
                gathered.add(&mut taken, &name, &shown, Raw::File(file));
            }
        }
        Ok(gathered)
    }

    /// The closed cases of a store.
    pub(super) fn of(store: &Store, context: &Context) -> Result<Self> {
        let closed = of_store(store, context)?.into_iter();
        Ok(Self(closed.map(|(name, case)| (name, Raw::Kept(Box::new(case)))).collect()))
    }

    /// The last so many of those that tell what was done.
    pub(super) fn latest(mut self, most: usize) -> Self {
        self.0.retain(|(_, raw)| matches!(raw, Raw::Kept(case) if case.last_remedy().is_some()));
        self.0.drain(..self.0.len().saturating_sub(most));
        self
    }

    /// How many there are.
    pub(super) fn count(&self) -> usize {
        self.0.len()
    }

    /// Where two have the same name, the second says where it lies.
    fn add(&mut self, taken: &mut BTreeSet<String>, name: &str, place: &str, raw: Raw) {
        let longer = || format!("{name} ({place})");
        let again = || (2..).map(|number| format!("{name} ({place}, {number})"));
        let mut names = [name.to_owned(), longer()].into_iter().chain(again());
        if let Some(free) = names.find(|name| taken.insert(name.clone())) {
            self.0.push((free, raw));
        }
    }

    /// As the knowledge in use takes them. A file that it cannot read ends the command, with every problem drawn: somebody
    /// wrote it by hand and can put it right.
    pub(super) fn read(&self, knowledge: &Knowledge, context: &Context) -> Result<Vec<Named>> {
        let each = self.0.iter().map(|(name, raw)| {
            let case = match raw {
                Raw::Kept(case) => fitted(case, knowledge),
                Raw::File(path) => {
                    let read = case_file(knowledge, path, context)?;
                    remark(&read, context)?;
                    read.case
                }
            };
            Ok(Named { name: name.clone(), case })
        });
        each.collect()
    }

    /// The same cases as another version takes them; what it does not know stays a remark. `read` is what the knowledge in
    /// use made of them.
    pub(super) fn as_taken_by(&self, knowledge: &Knowledge, read: &[Named]) -> Vec<Named> {
        let each = self.0.iter().zip(read).map(|((_, raw), Named { name, case })| {
            let case = match raw {
                Raw::Kept(case) => fitted(case, knowledge),
                Raw::File(path) => {
                    read_path(path, knowledge).map_or_else(|_| fitted(case, knowledge), |own| own.case)
                }
            };
            Named { name: name.clone(), case }
        });
        each.collect()
    }
}

/// A case under the names of this knowledge. One of an unknown machine stays as it is: it is left out by name later.
fn fitted(case: &Case, knowledge: &Knowledge) -> Case {
    fit(case, knowledge).map_or_else(|_| case.clone(), |(case, _)| case)
}

/// Cases as another version of the knowledge takes them.
pub(super) fn as_taken_by(knowledge: &Knowledge, cases: &[Named]) -> Vec<Named> {
    let taken = |named: &Named| Named { name: named.name.clone(), case: fitted(&named.case, knowledge) };
    cases.iter().map(taken).collect()
}

/// A folder that is a store.
fn store_of(path: &Path) -> Option<Store> {
    let inside = std::fs::read_dir(path.join("cases")).ok()?;
    let is_record = |entry: std::fs::DirEntry| entry.path().extension().is_some_and(|e| e == "jsonl");
    inside.filter_map(std::result::Result::ok).any(is_record).then(|| Store::at(path))
}

/// The closed cases of a store; what cannot be read is named.
fn of_store(store: &Store, context: &Context) -> Result<Vec<(String, Case)>> {
    let (recorded, unreadable) = store.all(context.cores()).map_err(stored)?;
    for error in unreadable {
        context.remark(&format!("Left out: {}", words::sentence(&error.to_string())))?;
    }
    let mut closed = Vec::new();
    for recorded in recorded {
        for torn in &recorded.remarks {
            context.remark(&words::sentence(&format!("{}, {torn}", recorded.id)))?;
        }
        if recorded.case.closed.is_some() {
            closed.push((recorded.id.to_string(), recorded.case));
        }
    }
    Ok(closed)
}

/// The file named, or the case files in the folder named, in order.
fn files(path: &Path) -> Result<Vec<PathBuf>> {
    if !path.is_dir() {
        return Ok(vec![path.to_path_buf()]);
    }
    files_in(path, &is_case_file, "no .yaml file and is no store")
}

/// Whether a file is a case file by its name.
pub(super) fn is_case_file(path: &Path) -> bool {
    path.extension().is_some_and(|ending| ending == "yaml" || ending == "yml")
}

/// The files in a folder that are wanted, in order; `none` is what it holds where it holds none of them.
pub(super) fn files_in(folder: &Path, wanted: &dyn Fn(&Path) -> bool, none: &str) -> Result<Vec<PathBuf>> {
    let shown = harmless(&folder.display().to_string());
    let unreadable =
        |error: std::io::Error| CommandError::input(format!("The folder {shown} cannot be read: {error}."));
    let entries = std::fs::read_dir(folder).map_err(unreadable)?;
    let mut files =
        entries.map(|entry| Ok(entry?.path())).collect::<std::io::Result<Vec<_>>>().map_err(unreadable)?;
    files.retain(|path| wanted(path));
    files.sort();
    if files.is_empty() {
        return Err(CommandError::input(format!("The folder {shown} holds {none}.")));
    }
    Ok(files)
}
