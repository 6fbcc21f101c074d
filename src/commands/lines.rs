//! Lines as they are typed: at a terminal with line editing, or through a pipe.

use std::io::BufRead;

use super::{Context, Result};
use crate::view::Page;

/// Longest line taken from a pipe, in bytes; what is longer is refused in words.
pub(super) const LONGEST_LINE: usize = 1 << 20;

/// Where answers come from.
pub(super) enum Lines {
    Terminal(Box<rustyline::DefaultEditor>),
    Pipe(std::io::StdinLock<'static>),
    /// Lines given beforehand.
    Given(std::vec::IntoIter<String>),
}

impl Lines {
    pub(super) fn open(context: &Context) -> Self {
        if context.asks_a_person
            && context.shows_a_person
            && let Ok(editor) = rustyline::DefaultEditor::new()
        {
            return Lines::Terminal(Box::new(editor));
        }
        Lines::Pipe(std::io::stdin().lock())
    }

    /// Lines of a text, as they would be typed.
    pub(super) fn of_text(text: &str) -> Self {
        Lines::Given(text.lines().map(str::to_owned).collect::<Vec<_>>().into_iter())
    }

    /// Waits at a terminal until the person has read a part of a page. What is typed there is no answer to anything, and
    /// that is said. False when they break off.
    fn read_on(&mut self) -> bool {
        let Lines::Terminal(editor) = self else { return true };
        let mut prompt = "more: Enter ";
        loop {
            match editor.readline(prompt) {
                Ok(line) if line.trim().is_empty() => return true,
                Ok(_) => prompt = "Not taken. First read on: Enter ",
                Err(_) => return false,
            }
        }
    }

    /// Shows a page of a walk screen by screen; false when the person broke off in between.
    pub(super) fn show(&mut self, page: &Page, context: &mut Context) -> Result<bool> {
        if context.options.json {
            context.aside(page)?;
            return Ok(true);
        }
        for (i, part) in context.screens(page).iter().enumerate() {
            if i > 0 && !self.read_on() {
                return Ok(false);
            }
            context.write(part)?;
        }
        Ok(true)
    }

    /// The next line; none at the end, or when the person breaks off.
    pub(super) fn next(&mut self) -> Option<String> {
        match self {
            Lines::Terminal(editor) => editor.readline("> ").ok(),
            Lines::Given(lines) => lines.next(),
            Lines::Pipe(stdin) => {
                let mut bytes = Vec::new();
                let mut limited = std::io::Read::take(&mut *stdin, LONGEST_LINE as u64);
                match limited.read_until(b'\n', &mut bytes) {
                    Ok(0) | Err(_) => None,
                    Ok(_) => {
                        if bytes.last() != Some(&b'\n') && bytes.len() >= LONGEST_LINE {
                            skip_line(stdin);
                        }
                        Some(String::from_utf8_lossy(&bytes).trim_end_matches(['\n', '\r']).to_owned())
                    }
                }
            }
        }
    }
}

/// Reads on to the end of a line that is too long to keep.
fn skip_line(stdin: &mut std::io::StdinLock<'static>) {
    loop {
        let Ok(chunk) = stdin.fill_buf() else { return };
        if chunk.is_empty() {
            return;
        }
        let (length, end) = match chunk.iter().position(|b| *b == b'\n') {
            Some(place) => (place + 1, true),
            None => (chunk.len(), false),
        };
        stdin.consume(length);
        if end {
            return;
        }
    }
}
