//! How loading and vetting grow with the knowledge: the shipped one, and ten and a hundred of it side by side. Each copy
//! has causes, findings, checks and remedies of its own, on the same machines, circumstances and cautions.

use std::collections::BTreeSet;
use std::fs;
use std::path::Path;

use divan::Bencher;
use handlamp::knowledge::{Texts, load};

fn main() {
    divan::main();
}

/// The kinds that a copy has of its own.
const COPIED: [&str; 5] = ["causes", "conditions", "symptoms", "checks", "remedies"];

fn files(kind: &str) -> Vec<(String, String)> {
    let folder = Path::new("knowledge").join(kind);
    let entries = fs::read_dir(folder).expect("the knowledge is there").map(|entry| entry.unwrap().path());
    let read = |path: std::path::PathBuf| {
        let id = path.file_stem().unwrap().to_string_lossy().into_owned();
        (id, fs::read_to_string(&path).expect("an entry reads"))
    };
    entries.filter(|path| path.extension().is_some_and(|e| e == "yaml")).map(read).collect()
}

/// The text with every id of `own` that stands in it as a whole word marked with the copy's number. Each machine has one
/// complaint and one run of fills, and a run pattern is one symptom: those stay the first copy's.
fn renamed(text: &str, own: &BTreeSet<String>, copy: usize) -> String {
    let part = |c: char| c.is_ascii_lowercase() || c.is_ascii_digit() || c == '-';
    let mut out = String::with_capacity(text.len() + 64);
    for line in text.lines().filter(|line| !line.starts_with("pattern:") && !line.starts_with("was:")) {
        let mut rest = line;
        while let Some(start) = rest.find(part) {
            let length = rest[start..].find(|c| !part(c)).unwrap_or(rest.len() - start);
            let (before, word) = (&rest[..start], &rest[start..start + length]);
            out.push_str(before);
            out.push_str(word);
            if word.contains('-') && own.contains(word) {
                out.push_str(&format!("-{copy}"));
            }
            rest = &rest[start + length..];
        }
        out.push_str(rest);
        out.push('\n');
    }
    out
}

/// So many of the shipped knowledge side by side.
fn grown(times: usize) -> Texts {
    let folder = tempfile::tempdir().expect("a folder");
    let shared = ["what-the-caller-says", "weigh-a-run"];
    let all: Vec<_> =
        COPIED.iter().flat_map(|kind| files(kind).into_iter().map(move |f| (*kind, f))).collect();
    let named = all.iter().map(|(_, (id, _))| id.clone());
    let own: BTreeSet<String> =
        named.filter(|id| id.contains('-') && !shared.contains(&id.as_str())).collect();
    for (kind, (id, text)) in all.iter().filter(|(_, (id, _))| own.contains(id)) {
        let folder = folder.path().join(kind);
        fs::create_dir_all(&folder).expect("a folder");
        for copy in 1..times {
            fs::write(folder.join(format!("{id}-{copy}.yaml")), renamed(text, &own, copy)).expect("a file");
        }
    }
    Texts::built_in().overlaid_by(folder.path())
}

#[divan::bench(args = [1, 10, 100], sample_count = 3, sample_size = 1)]
fn load_only(bencher: Bencher<'_, '_>, times: usize) {
    let texts = grown(times);
    bencher.bench_local(|| load(&texts).1.len());
}

#[divan::bench(args = [1, 10, 100], sample_count = 3, sample_size = 1)]
fn load_and_vet(bencher: Bencher<'_, '_>, times: usize) {
    let texts = grown(times);
    bencher.bench_local(|| {
        let (knowledge, problems) = load(&texts);
        let entries = knowledge.causes.len() + knowledge.checks.len() + knowledge.findings.len();
        (entries, problems.len(), handlamp::vet::judge(&knowledge, &texts, true).len())
    });
}
