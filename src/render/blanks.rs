//! What is filled in by hand, in letters: for a terminal, a plain report and Markdown, printed as they stand.

use unicode_width::UnicodeWidthStr;

use crate::view::{Field, Table};

const SHORT: &str = "________";
const LONG: &str = "____________________";
const BETWEEN: &str = "   ";

/// '[ ] done   [ ] left out, why: ____', 'Reading: ________ g'.
pub(super) fn line(fields: &[Field]) -> String {
    let field = |field: &Field| match field {
        Field::Tick(says) => format!("[ ] {says}"),
        Field::TickWhy(says) => format!("[ ] {says}, why: {LONG}"),
        Field::Short(label, unit) => format!("{label}: {SHORT} {unit}").trim_end().to_owned(),
        Field::Long(label) => format!("{label}: {LONG}"),
    };
    fields.iter().map(field).collect::<Vec<_>>().join(BETWEEN)
}

/// '1: ________ g   2: ________ g'.
pub(super) fn cells(count: usize, unit: &str) -> String {
    let cells: Vec<_> = (1..=count).map(|n| Field::short(n.to_string(), unit)).collect();
    line(&cells)
}

/// A table with so many rows to write into.
pub(super) fn table(head: &[String], rows: usize) -> Table {
    let heads: Vec<&str> = head.iter().map(String::as_str).collect();
    let mut table = Table::new(&heads);
    for _ in 0..rows {
        table.row(head.iter().map(|h| "_".repeat(h.width().max(SHORT.len()))));
    }
    table
}
