//! A page as plain text for mail and reports: the same words as on a terminal, in characters that every mail
//! program shows.

use super::terminal::{Look, draw};
use super::theme::Paint;
use crate::view::Page;

/// Columns of a plain report that goes to a file or a mail.
pub const COLUMNS: usize = 72;

/// The page as plain text, so many columns wide.
pub fn report(page: &Page, columns: usize) -> String {
    draw(page, &Look { width: columns, paint: Paint::None, plain: true })
}
