//! Another version of the knowledge: a folder, or the folder in use as it stood at a revision of its git repository.

use std::io::Write as _;
use std::path::Path;
use std::process::{Command, Stdio};

use super::{CommandError, Context, Result};
use crate::diag::harmless;
use crate::knowledge::{Knowledge, Texts};

/// Largest knowledge taken out of a repository, in bytes.
const LARGEST: u64 = 64 << 20;
/// The most files taken out of one.
const MOST_FILES: usize = 50_000;

/// A version of the knowledge, and where it comes from in words.
pub(super) struct Version {
    pub(super) knowledge: Knowledge,
    pub(super) from: String,
}

/// The knowledge in use.
pub(super) fn in_use(knowledge: Knowledge, context: &Context) -> Version {
    let from = context.options.knowledge.as_ref().map_or_else(
        || "the built-in knowledge".to_owned(),
        |folder| harmless(&folder.display().to_string()),
    );
    Version { knowledge, from }
}

/// A folder laid over the built-in knowledge; where there is no such folder, a git revision of the folder in use.
pub(super) fn other(named: &str, context: &Context) -> Result<Version> {
    let folder = Path::new(named);
    let shown = harmless(named);
    if folder.is_dir() {
        let knowledge = context.read(&Texts::built_in().overlaid_by(folder))?;
        return Ok(Version { knowledge, from: shown });
    }
    let Some(own) = &context.options.knowledge else {
        return Err(CommandError::input(format!("There is no folder {shown}."))
            .hint("A git revision needs --knowledge DIR: the folder that it is a revision of.".to_owned()));
    };
    let there = tempfile::tempdir().map_err(|error| {
        CommandError::store(format!("No folder can be made for the other version: {error}."))
    })?;
    unpack(own, named, there.path())?;
    let knowledge = context.read(&Texts::built_in().overlaid_by(there.path()))?;
    let from = format!("{} at revision {shown}", harmless(&own.display().to_string()));
    Ok(Version { knowledge, from })
}

/// One file of a revision.
struct File<'l> {
    blob: &'l str,
    size: u64,
    name: &'l str,
}

/// Writes the files that a folder had at a revision into another folder.
fn unpack(folder: &Path, revision: &str, into: &Path) -> Result<()> {
    let shown = harmless(revision);
    let unknown = || {
        CommandError::input(format!(
            "'{shown}' is no folder, and git knows no such revision of the folder {}.",
            harmless(&folder.display().to_string())
        ))
        .hint("Is the folder in a git repository? `git log` in it lists its revisions.".to_owned())
    };
    // What would be an option, or name a file, is no revision.
    if revision.is_empty() || revision.starts_with('-') || revision.contains([':', '\n', '\0']) {
        return Err(unknown());
    }
    let listed = git(folder, &["ls-tree", "-r", "-z", "-l", revision, "--", "."])
        .stdin(Stdio::null())
        .output()
        .map_err(|error| no_git(&error))?;
    if !listed.status.success() {
        return Err(unknown());
    }
    let listed = String::from_utf8_lossy(&listed.stdout);
    let files: Vec<File<'_>> = listed.split('\0').filter_map(listed_file).collect();
    if files.is_empty() {
        return Err(CommandError::input(format!("The folder holds no knowledge at the revision '{shown}'.")));
    }
    if files.len() > MOST_FILES || files.iter().map(|file| file.size).sum::<u64>() > LARGEST {
        return Err(CommandError::input(format!(
            "At the revision '{shown}' there is more in the folder than any knowledge holds: {MOST_FILES} files and \
             {LARGEST} bytes are read."
        )));
    }
    let contents = contents(folder, &files)?;
    write(&contents, &files, into).ok_or_else(|| {
        CommandError::input(format!("git did not hand out the files of the revision '{shown}'."))
    })
}

/// Asks nothing of anybody, and fetches nothing.
fn git(folder: &Path, args: &[&str]) -> Command {
    let mut command = Command::new("git");
    command
        .arg("-C")
        .arg(folder)
        .args(args)
        .env("GIT_TERMINAL_PROMPT", "0")
        .env("GIT_NO_LAZY_FETCH", "1")
        .stderr(Stdio::null());
    command
}

fn no_git(error: &std::io::Error) -> CommandError {
    CommandError::input(format!("A revision is read through git, which could not be run: {error}."))
        .hint("Install git, or name a folder that holds the other version.".to_owned())
}

/// `MODE blob ID SIZE<tab>NAME`. Links and whatever knowledge has no place for are passed over.
fn listed_file(line: &str) -> Option<File<'_>> {
    let (about, name) = line.split_once('\t')?;
    let mut about = about.split_whitespace();
    let (mode, kind, blob, size) = (about.next()?, about.next()?, about.next()?, about.next()?);
    let parts: Vec<&str> = name.split('/').collect();
    let in_place = parts.len() <= 2 && parts.iter().all(|part| !part.is_empty() && !part.starts_with('.'));
    let text = Path::new(name).extension().is_some_and(|ending| ending == "yaml" || ending == "yml");
    let plain = !name.contains(['\\', '\u{fffd}']);
    (mode.starts_with("100") && kind == "blob" && in_place && text && plain)
        .then(|| Some(File { blob, size: size.parse().ok()?, name }))?
}

/// What stands in the files, as `git cat-file --batch` writes it.
fn contents(folder: &Path, files: &[File<'_>]) -> Result<Vec<u8>> {
    let mut child = git(folder, &["cat-file", "--batch"])
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .spawn()
        .map_err(|error| no_git(&error))?;
    let asked = files.iter().flat_map(|file| [file.blob, "\n"]).collect::<String>();
    let stdin = child.stdin.take();
    // Asking and listening at a time, so that neither waits for the other.
    let asking = std::thread::spawn(move || stdin.map(|mut stdin| stdin.write_all(asked.as_bytes())));
    let answered = child.wait_with_output().map_err(|error| no_git(&error))?;
    let _ = asking.join();
    Ok(answered.stdout)
}

/// `ID blob SIZE\nBYTES\n`, one file after the other.
fn write(mut answered: &[u8], files: &[File<'_>], into: &Path) -> Option<()> {
    for file in files {
        let end = answered.iter().position(|byte| *byte == b'\n')?;
        let size: usize = std::str::from_utf8(&answered[..end]).ok()?.rsplit(' ').next()?.parse().ok()?;
        let from = end + 1;
        let bytes = answered.get(from..from.checked_add(size)?)?;
        let path = into.join(file.name);
        std::fs::create_dir_all(path.parent()?).ok()?;
        std::fs::write(path, bytes).ok()?;
        answered = answered.get(from + size + 1..)?;
    }
    Some(())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn only_plain_files_in_their_place_are_taken_out_of_a_revision() {
        let name = |line: &str| listed_file(line).map(|file| file.name.to_owned());
        assert_eq!(name("100644 blob 0a1b 12\tcauses/a.yaml").as_deref(), Some("causes/a.yaml"));
        assert_eq!(name("100644 blob 0a1b 12\tknowledge.yaml").as_deref(), Some("knowledge.yaml"));
        for passed_over in [
            "120000 blob 0a1b 12\tcauses/link.yaml",
            "160000 commit 0a1b -\tmodule",
            "100644 blob 0a1b 12\tREADME.md",
            "100644 blob 0a1b 12\ta/b/c.yaml",
            "100644 blob 0a1b 12\t../out.yaml",
            "100644 blob 0a1b 12\t.hidden/x.yaml",
            "100644 blob 0a1b 12\t/x.yaml",
            "",
        ] {
            assert_eq!(name(passed_over), None, "{passed_over}");
        }
    }
}
