//! How far a long piece of work has come, on one line of standard error that a person looks at; else nothing.

use std::io::Write as _;
use std::sync::{Mutex, PoisonError};

/// Cells of the bar.
const CELLS: usize = 12;
/// The whole line fits a screen of 40 columns.
const WIDTH: usize = 39;

pub(super) struct Counter {
    /// Total and hundredth last drawn; none when nobody looks.
    shown: Option<Mutex<(usize, usize)>>,
}

impl Counter {
    pub(super) fn new(watched: bool) -> Self {
        Self { shown: watched.then(|| Mutex::new((0, usize::MAX))) }
    }

    /// Draws the bar anew when another hundredth is done, or something else is counted.
    pub(super) fn show(&self, what: &str, done: usize, total: usize) {
        let Some(shown) = &self.shown else { return };
        let hundredth = done * 100 / total.max(1);
        let mut last = shown.lock().unwrap_or_else(PoisonError::into_inner);
        if last.0 == total && last.1 != usize::MAX && hundredth <= last.1 {
            return;
        }
        *last = (total, hundredth);
        let full = CELLS * hundredth / 100;
        let bar = format!("{}{}", "#".repeat(full), ".".repeat(CELLS - full));
        let line = format!("{bar} {done} of {total} {what}");
        // Whether it can be written does not matter to the answer.
        let _ = write!(anstream::stderr(), "\r{line:<WIDTH$}");
        let _ = anstream::stderr().flush();
    }

    pub(super) fn clear(&self) {
        if self.shown.is_some() {
            let _ = write!(anstream::stderr(), "\r{:WIDTH$}\r", "");
            let _ = anstream::stderr().flush();
        }
    }
}
