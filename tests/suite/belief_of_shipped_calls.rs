//! No call that ships is too large to be thought over.

use std::path::{Path, PathBuf};

use handlamp::casebook::read_path;
use handlamp::knowledge::{Knowledge, Texts, load};
use handlamp::walk::{Desk, assess};

/// Why a call cannot be thought over, if it cannot.
fn refused(knowledge: &Knowledge, path: &Path) -> Option<String> {
    let case = match read_path(path, knowledge) {
        Ok(read) => read.case,
        Err(error) => return Some(format!("{}: {error:?}", path.display())),
    };
    let desk = Desk::for_case(knowledge, &case).unwrap();
    assess(&desk, &case, None).err().map(|error| format!("{}: {error}", path.display()))
}

#[test]
fn every_shipped_call_can_be_thought_over() {
    let knowledge = load(&Texts::built_in()).0;
    let files = |folder| std::fs::read_dir(folder).unwrap().map(|entry| entry.unwrap().path());
    let mut paths: Vec<PathBuf> = files("tests/faults").chain(files("tests/cases")).collect();
    paths.retain(|path| path.extension().is_some_and(|ending| ending == "yaml"));
    paths.sort();
    assert!(paths.len() > 60, "{}", paths.len());
    let (first, second) = paths.split_at(paths.len() / 2);
    let of =
        |paths: &[PathBuf]| paths.iter().filter_map(|path| refused(&knowledge, path)).collect::<Vec<_>>();
    let refused = std::thread::scope(|scope| {
        let second = scope.spawn(|| of(second));
        let mut all = of(first);
        all.extend(second.join().unwrap());
        all
    });
    assert!(refused.is_empty(), "{refused:#?}");
}
