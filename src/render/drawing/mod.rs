//! The surroundings of an entry as a drawing that fits a page and prints in black and white.
//!
//! Causes stand left, conditions in the middle, symptoms right; links only run between columns, and one that skips the
//! middle has a lane of its own there, so that no link crosses a box. What does not fit the page is counted.

mod cut;
mod layout;
mod run;
mod svg;

#[cfg(test)]
mod tests;

use crate::view::picture::Picture;

pub use run::run;
pub use svg::escaped;

/// The drawing as SVG 1.1, at most 190 mm × 255 mm: inside the margins of A4 and of US letter.
pub fn svg(picture: &Picture) -> String {
    let (cut, sheet) = fitted(picture);
    svg::written(&cut, &sheet)
}

/// The drawing with as much as the page holds.
fn fitted(picture: &Picture) -> (cut::Cut, layout::Sheet) {
    let most = picture.columns.iter().map(|c| c.boxes.len()).max().unwrap_or(0).clamp(1, cut::MOST);
    let mut cut = cut::cut(picture, most);
    let mut sheet = layout::lay_out(&cut);
    for fewer in (1..most).rev() {
        if sheet.height <= layout::HEIGHT {
            break;
        }
        cut = cut::cut(picture, fewer);
        sheet = layout::lay_out(&cut);
    }
    (cut, sheet)
}
