//! How to show it: a page for a terminal, for a plain or Markdown report, for a browser and paper, or for a program; problems with the place
//! in the file drawn under them.

mod blanks;
pub mod diagnostics;
pub mod drawing;
pub mod html;
pub mod json;
mod layout;
pub mod markdown;
pub mod plain;
pub mod plot;
mod steps;
pub mod terminal;
mod theme;
pub mod xmlbif;

pub use terminal::Look;
pub use theme::{Paint, Role};

/// The picture of a run as the plot takes it.
fn strip(plot: &crate::view::Plot) -> plot::Strip {
    plot::Strip {
        values: plot.values.clone(),
        target: plot.target,
        limits: plot.limits,
        strays: plot.strays.clone(),
        unit: plot.unit.clone(),
    }
}

/// Narrower than this is not drawn for.
pub const NARROWEST: usize = 30;
/// Longer lines tire the eye.
pub const WIDEST: usize = 100;

#[cfg(test)]
mod tests;
