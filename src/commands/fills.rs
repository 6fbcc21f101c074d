//! A run of fills as it is typed: over several lines, up to an empty one.

use super::lines::Lines;
use super::{Context, Result};
use crate::view::words;

/// More than this in one run is no run of fills; a walk takes no longer answer.
const LONGEST_RUN: usize = 20_000;

/// How a run that is being typed is understood.
pub(super) struct RunAsked<'a, I> {
    /// How many fills a text holds, or why it cannot be used.
    pub(super) so_far: &'a dyn Fn(&str) -> std::result::Result<usize, String>,
    /// Whether a line ends the run; an empty one always does.
    pub(super) ends: fn(&str) -> bool,
    /// What a text means.
    pub(super) understand: &'a dyn Fn(&str) -> I,
    /// Why it was not understood, where it was not.
    pub(super) misunderstood: fn(&I) -> Option<&str>,
}

/// What came of it.
pub(super) enum Typed<I> {
    /// The run, or a word in place of it.
    Input(I),
    /// A word that broke in; the lines typed so far go on after it.
    Word(I, String),
    /// Nobody types any more; these lines were not given to their end.
    BrokenOff(String),
}

impl<I> RunAsked<'_, I> {
    /// Takes lines until the run is given; `begun` was typed before a word broke in.
    pub(super) fn typed(&self, begun: String, lines: &mut Lines, context: &mut Context) -> Result<Typed<I>> {
        let mut text = begun;
        loop {
            let Some(line) = lines.next() else {
                // A sitting broken off inside a run has not given it; a file that ends there has.
                if text.is_empty() || matches!(lines, Lines::Terminal(_)) {
                    return Ok(Typed::BrokenOff(text));
                }
                return Ok(Typed::Input((self.understand)(&text)));
            };
            let line = line.trim();
            if line.is_empty() || (self.ends)(line) {
                let input = (self.understand)(&format!("{text}{line}"));
                match (self.misunderstood)(&input) {
                    Some(sentence) => context.say(sentence)?,
                    None => return Ok(Typed::Input(input)),
                }
            } else if line.starts_with(|c: char| c.is_ascii_digit()) {
                let longer = format!("{text}{line}\n");
                match (self.so_far)(&longer) {
                    Ok(_) if longer.len() > LONGEST_RUN => context.say("That is too long for one run.")?,
                    Ok(fills) => {
                        let count = words::count(fills, "fill", "fills");
                        context.say(&format!("{} so far.", words::sentence_start(&count)))?;
                        text = longer;
                    }
                    // One bad line costs that line only.
                    Err(sentence) => context.say(&sentence)?,
                }
            } else {
                let input = (self.understand)(line);
                if (self.misunderstood)(&input).is_none() {
                    return Ok(Typed::Word(input, text));
                }
                context.say("A line of weights begins with a figure. That line is left out.")?;
            }
        }
    }
}

/// What was typed before a word broke in, for the question asked again; nothing when nothing was.
pub(super) fn kept_so_far(begun: &str) -> crate::view::Page {
    let mut page = crate::view::Page::default();
    if !begun.is_empty() {
        let kept = begun.trim().replace('\n', " ");
        page.text(format!("Kept so far: {kept}. Go on; an empty line ends the run."));
    }
    page
}

/// How many fills a run that was broken off held, as a sentence.
pub(super) fn not_kept(begun: &str) -> String {
    let count = words::count(begun.split_whitespace().count(), "fill", "fills");
    format!("The run was not given to its end: {count} typed are not kept.")
}
