//! What is filled in by hand, in letters: for a terminal, a plain report and Markdown, printed as they stand.

use unicode_width::UnicodeWidthStr;

use crate::view::Field;

const SHORT: &str = "________";
const LONG: &str = "____________________";
const BETWEEN: &str = "   ";

/// '[ ] done', 'Reading: ________ g'.
fn field(field: &Field) -> String {
    match field {
        Field::Tick(says) => format!("[ ] {says}"),
        Field::TickWhy(says) => format!("[ ] {says}, why: {LONG}"),
        Field::Short(label, unit) => format!("{label}: {SHORT} {unit}").trim_end().to_owned(),
        Field::Long(label) => format!("{label}: {LONG}"),
    }
}

/// Fields on lines of this width, broken between fields; one that is wider stands alone.
pub(super) fn lines(fields: &[Field], width: usize) -> Vec<String> {
    let mut lines: Vec<String> = Vec::new();
    for text in fields.iter().map(field) {
        match lines.last_mut().filter(|l| l.width() + BETWEEN.len() + text.width() <= width) {
            Some(line) => line.extend([BETWEEN, &text]),
            None => lines.push(text),
        }
    }
    lines
}

/// All fields on one line.
pub(super) fn line(fields: &[Field]) -> String {
    lines(fields, usize::MAX).concat()
}

/// A blank for each of so many figures: '1: ________ g'.
pub(super) fn cells(count: usize, unit: &str) -> Vec<Field> {
    (1..=count).map(|n| Field::short(n.to_string(), unit)).collect()
}

/// A blank for each column of a table.
pub(super) fn row(head: &[String]) -> Vec<Field> {
    head.iter().map(|head| Field::short(head, "")).collect()
}
