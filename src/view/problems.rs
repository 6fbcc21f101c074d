//! `knowledge vet`, in short: how many problems there are, and what that means.

use std::collections::BTreeSet;

use super::{Page, Words, words};
use crate::diag::{Diagnostic, Severity};

/// The summary under the problems.
pub fn summary(of_entries: &[Diagnostic], of_lists: &[Diagnostic], entries: usize, lists: usize) -> Page {
    let problems = || of_entries.iter().chain(of_lists);
    let count = |severity| problems().filter(|p| p.severity == severity).count();
    let (errors, warnings) = (count(Severity::Error), count(Severity::Warning));
    let in_files = |problems: &[Diagnostic]| {
        problems.iter().filter_map(|p| p.span.map(|s| s.file)).collect::<BTreeSet<_>>().len()
    };
    let files = in_files(of_entries) + in_files(of_lists);
    let mut read = vec![words::count(entries, "entry", "entries")];
    if lists > 0 {
        read.push(words::count(lists, "checklist", "checklists"));
    }
    let read = words::and(&read);
    let mut page = Page::default();
    if problems().next().is_none() {
        page.text(format!("No problems. {} read.", words::sentence_start(&read)));
        return page;
    }
    let counted = [(errors, "error", "errors"), (warnings, "warning", "warnings")];
    let counted = counted.iter().filter(|(n, _, _)| *n > 0).map(|(n, one, many)| words::count(*n, one, many));
    let found = words::and(&counted.collect::<Vec<_>>());
    let in_files =
        if files == 0 { String::new() } else { format!(" in {}", words::count(files, "file", "files")) };
    page.text(
        Words::new().strong(found).plain(format!("{in_files}. {} read.", words::sentence_start(&read))),
    );
    if errors > 0 {
        page.text("The knowledge cannot be used until the errors are mended.");
    }
    page
}
