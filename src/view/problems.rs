//! `knowledge vet`, in short: how many problems there are, and what that means.

use std::collections::BTreeSet;

use super::{Page, Words, words};
use crate::diag::{Diagnostic, Severity};

/// The summary under the problems.
pub fn summary(problems: &[Diagnostic], entries: usize) -> Page {
    let count = |severity| problems.iter().filter(|p| p.severity == severity).count();
    let (errors, warnings) = (count(Severity::Error), count(Severity::Warning));
    let files: BTreeSet<_> = problems.iter().filter_map(|p| p.span.map(|s| s.file)).collect();
    let read = words::count(entries, "entry", "entries");
    let mut page = Page::default();
    if problems.is_empty() {
        page.text(format!("No problems. {} read.", words::sentence_start(&read)));
        return page;
    }
    let counted = [(errors, "error", "errors"), (warnings, "warning", "warnings")];
    let counted = counted.iter().filter(|(n, _, _)| *n > 0).map(|(n, one, many)| words::count(*n, one, many));
    let found = words::and(&counted.collect::<Vec<_>>());
    let in_files = if files.is_empty() {
        String::new()
    } else {
        format!(" in {}", words::count(files.len(), "file", "files"))
    };
    page.text(
        Words::new().strong(found).plain(format!("{in_files}. {} read.", words::sentence_start(&read))),
    );
    if errors > 0 {
        page.text("The knowledge cannot be used until the errors are mended.");
    }
    page
}
