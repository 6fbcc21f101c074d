//! Runs the program as a person would: a home of its own, nothing in the environment, a known width, no colours.
//! What it wrote on both outputs and how it ended come back as one block, which snapshots compare.

use std::fmt::Write as _;
use std::path::{Path, PathBuf};

use assert_cmd::Command;
use handlamp::knowledge::{Knowledge, Texts, load};

/// The program with a home of its own.
pub(crate) struct Tool {
    home: tempfile::TempDir,
    columns: usize,
    knowledge: Option<PathBuf>,
}

/// What it said.
pub(crate) struct Said {
    pub(crate) out: String,
    pub(crate) err: String,
    pub(crate) status: Option<i32>,
}

/// The tiny knowledge under tests/kb/minimal.
pub(crate) fn minimal() -> Knowledge {
    load(&Texts::built_in().overlaid_by("tests/kb/minimal".as_ref())).0
}

/// Holds that a command on the tiny knowledge says the same bytes for a seed, and others for another.
pub(crate) fn same_bytes_for_a_seed(args: &[&str]) {
    let said = |seed: &str| {
        let said = Tool::minimal(80).run(&[args, &["--seed", seed, "--json"]].concat());
        assert_eq!((said.status, said.err.as_str()), (Some(0), ""), "{}", said.block());
        said.out
    };
    assert_eq!(said("5"), said("5"));
    assert_ne!(said("5"), said("6"));
}

impl Said {
    /// Both outputs and the ending.
    pub(crate) fn block(&self) -> String {
        let mut block = self.out.clone();
        if !self.err.is_empty() {
            let _ = write!(block, "--- on standard error\n{}", self.err);
        }
        if self.status != Some(0) {
            let _ = writeln!(block, "--- exit {:?}", self.status);
        }
        block
    }

    /// Standard output as JSON.
    pub(crate) fn json(&self) -> serde_json::Value {
        serde_json::from_str(&self.out).unwrap_or_else(|e| panic!("{e}:\n{}", self.block()))
    }
}

impl Tool {
    /// With the tiny knowledge under tests/kb/minimal, at so many columns.
    pub(crate) fn minimal(columns: usize) -> Self {
        Self { knowledge: Some("tests/kb/minimal".into()), ..Self::built_in(columns) }
    }

    /// With the knowledge inside the program.
    pub(crate) fn built_in(columns: usize) -> Self {
        Self { home: tempfile::tempdir().unwrap(), columns, knowledge: None }
    }

    /// With the tiny knowledge and one broken folder laid over it.
    pub(crate) fn broken(columns: usize, name: &str) -> Self {
        let mut tool = Self::built_in(columns);
        let folder = tool.home.path().join("kb");
        for layer in ["minimal", name] {
            copy(&Path::new("tests/kb").join(layer), &folder);
        }
        tool.knowledge = Some(folder);
        tool
    }

    /// Its home, where it keeps everything.
    pub(crate) fn home(&self) -> &Path {
        self.home.path()
    }

    /// Runs with arguments and nothing typed.
    pub(crate) fn run(&self, args: &[&str]) -> Said {
        self.typed(args, b"")
    }

    /// Writes a store of so many invented cases into a folder of its home.
    pub(crate) fn demo(&self, folder: &str, cases: &str, seed: &str) -> PathBuf {
        let store = self.home().join(folder);
        let path = store.to_str().unwrap();
        let args =
            ["rehearse", "--write-store", path, "--cases", cases, "--seed", seed, "--until", "2026-11-30"];
        let said = self.run(&args);
        assert_eq!(said.status, Some(0), "{}", said.block());
        store
    }

    /// The id of the case that it keeps.
    pub(crate) fn only_case(&self) -> String {
        let list = self.run(&["case", "list"]).out;
        let id = list.split_whitespace().find(|w| w.len() > 10 && w.starts_with("20"));
        id.unwrap_or_else(|| panic!("no case in:\n{list}")).to_owned()
    }

    /// Runs with arguments and standard input.
    pub(crate) fn typed(&self, args: &[&str], input: &[u8]) -> Said {
        let mut command = self.command();
        let done = command.args(args).write_stdin(input).output().unwrap();
        let home = self.home.path().display().to_string();
        let text = |bytes: Vec<u8>| String::from_utf8(bytes).unwrap().replace(&home, "~");
        Said { out: text(done.stdout), err: text(done.stderr), status: done.status.code() }
    }

    /// The program with a cleared environment, for tests that need more.
    pub(crate) fn command(&self) -> Command {
        let mut command = Command::new(env!("CARGO_BIN_EXE_handlamp"));
        command
            .env_clear()
            .env("HOME", self.home.path())
            .env("HANDLAMP_STORE", self.home.path().join("store"))
            .env("COLUMNS", self.columns.to_string());
        if let Some(folder) = &self.knowledge {
            command.env("HANDLAMP_KNOWLEDGE", folder);
        }
        command
    }
}

/// Copies a folder whole.
pub(crate) fn copy(from: &Path, to: &Path) {
    std::fs::create_dir_all(to).unwrap();
    for entry in std::fs::read_dir(from).unwrap() {
        let entry = entry.unwrap();
        let target = to.join(entry.file_name());
        if entry.file_type().unwrap().is_dir() {
            copy(&entry.path(), &target);
        } else {
            std::fs::copy(entry.path(), target).unwrap();
        }
    }
}

/// Without the breaks of lines.
pub(crate) fn one_line(text: &str) -> String {
    text.split_whitespace().collect::<Vec<_>>().join(" ")
}
