//! A page as plain text for mail and reports: the same words as on a terminal, in characters that every mail
//! program shows.

use super::terminal::{Look, draw};
use super::theme::Paint;
use crate::view::Page;

/// Columns of a plain report.
const COLUMNS: usize = 72;

/// The page as plain text.
pub fn report(page: &Page) -> String {
    draw(page, &Look { width: COLUMNS, paint: Paint::None, plain: true })
}
