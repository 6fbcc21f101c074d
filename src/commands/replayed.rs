//! `handlamp rehearse` on recorded cases: gathering them from files, folders and stores, and judging them by one version of
//! the knowledge or by two.

use std::io::Write as _;
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};

use super::diagnose::{case_file, remark, unthinkable};
use super::progress::Counter;
use super::talk::stored;
use super::{CommandError, Context, Outcome, Result};
use crate::casebook::{Store, fit};
use crate::diag::harmless;
use crate::ids::MachineId;
use crate::knowledge::{Knowledge, Texts};
use crate::rehearse::{Comparison, Loss, Named, Scores, compare, invent, score};
use crate::render::json;
use crate::view::{rehearsal, words};

/// Largest knowledge taken out of a repository, in bytes.
const LARGEST: usize = 64 << 20;
/// Invented cases are the same whenever they are invented.
const INVENTED_UNTIL: &str = "2026-01-31T18:00:00Z";

/// The cases of files, folders and stores, each with its name.
pub(super) fn cases(paths: &[PathBuf], knowledge: &Knowledge, context: &Context) -> Result<Vec<Named>> {
    let mut all = Vec::new();
    for path in paths {
        if let Some(store) = store_of(path) {
            all.extend(of_store(&store, knowledge, context)?);
            continue;
        }
        for file in files(path)? {
            let read = case_file(knowledge, &file, context)?;
            remark(&read, context)?;
            let name = file.file_stem().map_or_else(String::new, |stem| harmless(&stem.to_string_lossy()));
            all.push(Named { name, case: read.case });
        }
    }
    Ok(all)
}

/// A folder that is a store.
fn store_of(path: &Path) -> Option<Store> {
    let cases = path.join("cases");
    let inside = std::fs::read_dir(cases).ok()?;
    let is_record = |entry: std::fs::DirEntry| entry.path().extension().is_some_and(|e| e == "jsonl");
    inside.filter_map(std::result::Result::ok).any(is_record).then(|| Store::at(path))
}

/// The closed cases of a store; what cannot be read is named, and the others count all the same.
pub(super) fn of_store(store: &Store, knowledge: &Knowledge, context: &Context) -> Result<Vec<Named>> {
    let (recorded, unreadable) = store.all(context.cores()).map_err(stored)?;
    for error in unreadable {
        context.remark(&words::sentence(&error.to_string()))?;
    }
    let closed = recorded.into_iter().filter(|recorded| recorded.case.closed.is_some());
    let fitting = closed.filter_map(|recorded| {
        Some(Named { name: recorded.id.to_string(), case: fit(&recorded.case, knowledge).ok()?.0 })
    });
    Ok(fitting.collect())
}

/// The file named, or the case files in the folder named, in order.
fn files(path: &Path) -> Result<Vec<PathBuf>> {
    if !path.is_dir() {
        return Ok(vec![path.to_path_buf()]);
    }
    let shown = harmless(&path.display().to_string());
    let unreadable =
        |error: std::io::Error| CommandError::input(format!("The folder {shown} cannot be read: {error}."));
    let entries = std::fs::read_dir(path).map_err(unreadable)?;
    let mut files =
        entries.map(|entry| Ok(entry?.path())).collect::<std::io::Result<Vec<_>>>().map_err(unreadable)?;
    files.retain(|path| path.extension().is_some_and(|ending| ending == "yaml" || ending == "yml"));
    files.sort();
    if files.is_empty() {
        return Err(CommandError::input(format!("The folder {shown} holds no .yaml file and is no store.")));
    }
    Ok(files)
}

/// Judges cases, with a bar for whoever waits.
pub(super) fn judged(knowledge: &Knowledge, cases: &[Named], context: &Context) -> Scores {
    let counter = Counter::new(context.tells_a_person);
    let scores = score(knowledge, cases, context.cores(), &|done| counter.show("cases", done, cases.len()));
    counter.clear();
    scores
}

pub(super) fn recorded(paths: &[PathBuf], knowledge: &Knowledge, context: &mut Context) -> Result {
    let cases = cases(paths, knowledge, context)?;
    let scores = judged(knowledge, &cases, context);
    if context.options.json {
        context.json(&json::recorded(knowledge, &scores))?;
    } else {
        context.page(&rehearsal::recorded(&scores))?;
    }
    let short = scores.cases.iter().any(crate::rehearse::CaseScore::fell_short);
    Ok(if short { Outcome::NotGood } else { Outcome::Done })
}

/// The same cases as another version of the knowledge takes them.
pub(super) fn taken_by(knowledge: &Knowledge, cases: &[Named]) -> Vec<Named> {
    let fitted =
        |named: &Named| Some(Named { name: named.name.clone(), case: fit(&named.case, knowledge).ok()?.0 });
    cases.iter().filter_map(fitted).collect()
}

pub(super) fn against(
    paths: &[PathBuf],
    after: &Knowledge,
    (other, loss): (&str, f64),
    context: &mut Context,
) -> Result {
    let before = version(other, context)?;
    let cases = cases(paths, after, context)?;
    let old = judged(&before, &taken_by(&before, &cases), context);
    let new = judged(after, &cases, context);
    told((&before, &old), (after, &new), loss, context)
}

/// So many invented cases, by name.
pub(super) fn invented(knowledge: &Knowledge, cases: usize, seed: u64) -> Result<Vec<Named>> {
    let until = INVENTED_UNTIL.parse::<jiff::Timestamp>().unwrap_or_default();
    let all = invent(knowledge, cases, seed, until).map_err(|error| unthinkable(&error))?;
    Ok(all.iter().map(|invented| Named { name: invented.id.to_string(), case: invented.case() }).collect())
}

pub(super) fn simulated(
    after: &Knowledge,
    (cases, seed, machine): (usize, u64, Option<MachineId>),
    (other, loss): (&str, f64),
    context: &mut Context,
) -> Result {
    let before = version(other, context)?;
    let mut named = invented(&before, cases * before.machines.len(), seed)?;
    named.retain(|named| machine.as_ref().is_none_or(|machine| named.case.machine == *machine));
    let old = judged(&before, &named, context);
    let new = judged(after, &taken_by(after, &named), context);
    told((&before, &old), (after, &new), loss, context)
}

fn told(
    (before, old): (&Knowledge, &Scores),
    (after, new): (&Knowledge, &Scores),
    loss: f64,
    context: &mut Context,
) -> Result {
    let comparison: Comparison = compare(old, new);
    let fails = comparison.fails(Loss { log: loss });
    if context.options.json {
        context.json(&json::compared((before, old), (after, new), &comparison, fails.as_deref()))?;
    } else {
        context.page(&rehearsal::compared(old, new, &comparison, fails.as_deref()))?;
    }
    Ok(if fails.is_some() { Outcome::NotGood } else { Outcome::Done })
}

/// Another version of the knowledge: a folder, or a git revision of the folder in use.
fn version(other: &str, context: &Context) -> Result<Knowledge> {
    let folder = Path::new(other);
    if folder.is_dir() {
        return context.read(&Texts::built_in().overlaid_by(folder));
    }
    let shown = harmless(other);
    let Some(own) = &context.options.knowledge else {
        return Err(CommandError::input(format!("There is no folder {shown}."))
            .hint("A git revision needs --knowledge DIR: the folder that it is a revision of.".to_owned()));
    };
    let there = tempfile::tempdir().map_err(|error| {
        CommandError::store(format!("No folder can be made for the other version: {error}."))
    })?;
    from_git(own, other, there.path())?;
    context.read(&Texts::built_in().overlaid_by(there.path()))
}

/// Takes the files of a folder as they were at a revision out of its repository.
fn from_git(folder: &Path, revision: &str, into: &Path) -> Result<()> {
    let shown = harmless(revision);
    let unknown = || {
        CommandError::input(format!(
            "'{shown}' is neither a folder nor a git revision of the knowledge folder."
        ))
    };
    if revision.starts_with('-') || revision.contains([':', '\n']) {
        return Err(unknown());
    }
    let git = |args: &[&str]| {
        let mut command = Command::new("git");
        command
            .arg("-C")
            .arg(folder)
            .args(args)
            .stdin(Stdio::piped())
            .stdout(Stdio::piped())
            .stderr(Stdio::null());
        command
    };
    let no_git = |error: std::io::Error| CommandError::input(format!("git could not be run: {error}."));
    let listed =
        git(&["ls-tree", "-r", "-z", "--name-only", revision, "--", "."]).output().map_err(no_git)?;
    if !listed.status.success() {
        return Err(unknown());
    }
    let names = String::from_utf8_lossy(&listed.stdout).into_owned();
    let plain = |name: &&str| {
        let parts: Vec<&str> = name.split('/').collect();
        parts.len() <= 2
            && name.ends_with(".yaml")
            && !parts.iter().any(|part| part.is_empty() || part.starts_with('.'))
    };
    let names: Vec<&str> = names.split('\0').filter(plain).collect();
    if names.is_empty() {
        return Err(CommandError::input(format!("The folder holds no knowledge at the revision '{shown}'.")));
    }
    let mut child = git(&["cat-file", "--batch"]).spawn().map_err(no_git)?;
    let asked: String = names.iter().map(|name| format!("{revision}:./{name}\n")).collect();
    let mut stdin = child.stdin.take();
    let feeding = std::thread::spawn(move || stdin.as_mut().map(|stdin| stdin.write_all(asked.as_bytes())));
    let out = child.wait_with_output().map_err(no_git)?.stdout;
    let _ = feeding.join();
    if out.len() > LARGEST {
        return Err(CommandError::input(
            "The knowledge at that revision is larger than any knowledge should be.",
        ));
    }
    unpack(&out, &names, into).ok_or_else(unknown)
}

/// `SHA blob SIZE\nBYTES\n`, one after the other, as `git cat-file --batch` writes them.
fn unpack(mut out: &[u8], names: &[&str], into: &Path) -> Option<()> {
    for name in names {
        let end = out.iter().position(|byte| *byte == b'\n')?;
        let size: usize = std::str::from_utf8(&out[..end]).ok()?.rsplit(' ').next()?.parse().ok()?;
        let bytes = out.get(end + 1..end + 1 + size)?;
        let file = into.join(name);
        std::fs::create_dir_all(file.parent()?).ok()?;
        std::fs::write(file, bytes).ok()?;
        out = out.get(end + 2 + size..)?;
    }
    Some(())
}
