//! The house rules that a reader of the source may count on.

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};

/// Rows of the folders: a folder imports only from rows with a smaller number, and from itself.
const ROWS: &[(usize, &[&str])] = &[
    (0, &["ids", "units", "diag"]),
    (1, &["safety"]),
    (2, &["knowledge"]),
    (3, &["graph", "weights", "search", "checklist"]),
    (4, &["belief"]),
    (5, &["plan", "casebook"]),
    (6, &["walk"]),
    (7, &["vet", "rehearse", "practice"]),
    (8, &["learn"]),
    (9, &["view"]),
    (10, &["render"]),
    (11, &["commands", "page"]),
];
/// Rust files of the library, the program, the tests and the benches.
const FOLDERS: &[&str] = &["src", "tests", "benches"];
const LONGEST_FILE: usize = 500;
const LONGEST_FUNCTION: usize = 80;

fn files(folder: &Path, ending: &str, all: &mut Vec<PathBuf>) {
    let Ok(entries) = std::fs::read_dir(folder) else { return };
    for entry in entries {
        let path = entry.unwrap().path();
        if path.is_dir() {
            files(&path, ending, all);
        } else if path.extension().is_some_and(|e| e == ending) {
            all.push(path);
        }
    }
}

fn sources(ending: &str) -> BTreeMap<PathBuf, String> {
    let mut all = Vec::new();
    for folder in FOLDERS {
        files(Path::new(folder), ending, &mut all);
    }
    all.into_iter().map(|path| (path.clone(), std::fs::read_to_string(&path).unwrap())).collect()
}

fn nothing(complaints: &[String]) {
    assert!(complaints.is_empty(), "\n{}", complaints.join("\n"));
}

fn row(idea: &str) -> Option<usize> {
    ROWS.iter().find(|(_, ideas)| ideas.contains(&idea)).map(|(row, _)| *row)
}

/// `src/view/words.rs` is of `view`.
fn idea(path: &Path) -> String {
    let first = path.components().nth(1).unwrap().as_os_str().to_string_lossy().into_owned();
    first.trim_end_matches(".rs").to_owned()
}

#[test]
fn folders_import_only_from_rows_below_their_own() {
    let mut wrong = Vec::new();
    for (path, text) in sources("rs").iter().filter(|(path, _)| path.starts_with("src")) {
        let idea = idea(path);
        if ["lib", "main"].contains(&idea.as_str()) {
            continue;
        }
        let Some(own) = row(&idea) else {
            wrong.push(format!("{}: '{idea}' has no row", path.display()));
            continue;
        };
        for (number, line) in text.lines().enumerate() {
            for used in line.split("crate::").skip(1).filter(|_| !line.trim_start().starts_with("//")) {
                let used: String = used.chars().take_while(|c| c.is_ascii_lowercase() || *c == '_').collect();
                let fine = used == idea || row(&used).is_some_and(|row| row < own);
                if !fine && !used.is_empty() {
                    wrong.push(format!("{}:{}: {idea} imports {used}", path.display(), number + 1));
                }
            }
        }
    }
    nothing(&wrong);
}

#[test]
fn every_file_opens_with_what_it_is_for_and_is_short() {
    let mut wrong = Vec::new();
    for (path, text) in sources("rs") {
        if !text.starts_with("//! ") {
            wrong.push(format!("{}: has no module comment at its top", path.display()));
        }
        let lines = text.lines().count();
        if lines > LONGEST_FILE {
            wrong.push(format!("{}: {lines} lines", path.display()));
        }
    }
    nothing(&wrong);
}

/// Name, first line and number of lines of every function, by the indentation that rustfmt keeps. Expected output
/// inside a function is not counted.
fn functions(text: &str) -> Vec<(String, usize, usize)> {
    let mut all = Vec::new();
    let mut open: Option<(String, usize, usize)> = None;
    let (mut expected, mut in_expected) = (0, false);
    for (number, line) in text.lines().enumerate() {
        in_expected = if in_expected { !line.starts_with("\"#") } else { line.ends_with("@r#\"") };
        if in_expected {
            expected += 1;
            continue;
        }
        let indent = line.len() - line.trim_start().len();
        match &open {
            Some((name, first, depth)) if indent == *depth && line.trim() == "}" => {
                all.push((name.clone(), first + 1, number - first + 1 - expected));
                open = None;
            }
            Some(_) => {}
            None => {
                let after = line.split("fn ").nth(1).filter(|_| !line.trim_start().starts_with("//"));
                let name = after.map(|rest| rest.split(['(', '<']).next().unwrap_or("").to_owned());
                let inner = line.contains("fn ") && !line.trim_end().ends_with([';', '}']);
                expected = 0;
                open = name.filter(|_| inner).map(|name| (name, number, indent));
            }
        }
    }
    all
}

#[test]
fn functions_are_short_enough_to_be_read_at_once() {
    let mut wrong = Vec::new();
    let mut lengths = Vec::new();
    for (path, text) in sources("rs") {
        for (name, line, length) in functions(&text) {
            lengths.push(length);
            if length > LONGEST_FUNCTION {
                wrong.push(format!("{}:{line}: {name} has {length} lines", path.display()));
            }
        }
    }
    lengths.sort_unstable();
    assert!(lengths.len() > 500, "only {} functions were seen", lengths.len());
    nothing(&wrong);
}

#[test]
fn no_marks_are_left_over_and_the_project_stands_alone() {
    // Written apart so that this file does not complain of itself.
    let marks: Vec<String> = [
        ["TO", "DO"],
        ["FIX", "ME"],
        ["XX", "X"],
        ["db", "g!("],
        ["/wo", "rk/"],
        ["/ro", "ot/"],
        ["/tm", "p/"],
    ]
    .iter()
    .chain(&[["seed docu", "ment"], ["trans", "cript"]])
    .map(|halves| halves.concat())
    .collect();
    let mut all = sources("rs");
    for (folder, ending) in
        [("knowledge", "yaml"), ("checklists", "yaml"), ("tests", "yaml"), (".", "md"), (".", "toml")]
    {
        let mut found = Vec::new();
        if folder == "." {
            found.extend(
                std::fs::read_dir(".")
                    .unwrap()
                    .map(|e| e.unwrap().path())
                    .filter(|p| p.extension().is_some_and(|e| e == ending)),
            );
        } else {
            files(Path::new(folder), ending, &mut found);
        }
        all.extend(
            found.into_iter().filter_map(|path| Some((path.clone(), std::fs::read_to_string(&path).ok()?))),
        );
    }
    let mut wrong = Vec::new();
    for (path, text) in &all {
        for (number, line) in text.lines().enumerate() {
            for mark in marks.iter().filter(|mark| line.contains(mark.as_str())) {
                wrong.push(format!("{}:{}: {mark}", path.display(), number + 1));
            }
        }
    }
    nothing(&wrong);
}

#[test]
fn every_test_module_is_declared() {
    let declared = std::fs::read_to_string("tests/suite/main.rs").unwrap();
    let mut wrong = Vec::new();
    for entry in std::fs::read_dir("tests/suite").unwrap() {
        let name = entry.unwrap().file_name().into_string().unwrap();
        let module = name.strip_suffix(".rs").unwrap_or(&name);
        if module != name && module != "main" && !declared.contains(&format!("mod {module};")) {
            wrong.push(format!("tests/suite/{name} is not declared in main.rs"));
        }
    }
    nothing(&wrong);
}
