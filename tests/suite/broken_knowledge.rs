//! Broken knowledge is refused in words, at the right place. Each folder under tests/kb but `minimal` holds one broken
//! thing and is laid over `minimal`, so that nothing else can be wrong.

use std::collections::BTreeSet;
use std::path::{Path, PathBuf};

use handlamp::diag::{Code, Diagnostic, Severity, in_order};
use handlamp::knowledge::{Knowledge, Texts, load};
use handlamp::vet;

pub(crate) fn kb(name: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/kb").join(name)
}

fn judged(over: Option<&str>, built_in: bool) -> (Knowledge, Vec<Diagnostic>) {
    let mut texts = Texts::built_in().overlaid_by(&kb("minimal"));
    if let Some(over) = over {
        texts = texts.overlaid_by(&kb(over));
    }
    let (knowledge, mut problems) = load(&texts);
    problems.extend(vet::judge(&knowledge, &texts, built_in));
    in_order(&mut problems);
    (knowledge, problems)
}

/// Folder, code, file, line, column.
const BROKEN: &[(&str, Code, &str, usize, usize)] = &[];

#[test]
fn print_all() {
    for entry in std::fs::read_dir(kb("")).unwrap() {
        let name = entry.unwrap().file_name().to_string_lossy().into_owned();
        let (k, problems) = judged(Some(&name), false);
        for p in problems {
            let at = p.span.map(|s| k.sources.position(s));
            let at = at.map(|p| {
                format!(
                    "{} {} {}",
                    p.file.rsplit_once("tests/kb/").map_or(p.file.as_str(), |x| x.1),
                    p.line,
                    p.column
                )
            });
            println!("{name} | {:?} {:?} | {at:?} | {} | {:?}", p.code, p.severity, p.message, p.help);
        }
    }
}
