//! One thing at a time from a person: a line, a number of a list, who it is. Whoever breaks off has said nothing.

use super::lines::Lines;
use super::{CommandError, Context, Result};
use crate::diag::one_line;
use crate::view::Page;

/// The longest text that a person types for a lesson, in characters.
const LONGEST: usize = 1500;
/// The longest name.
const LONGEST_NAME: usize = 60;

/// What a person typed, harmless, on one line, and bounded; none when nothing is left.
pub(super) fn clean(text: &str) -> Option<String> {
    Some(one_line(text, LONGEST)).filter(|text| !text.is_empty())
}

/// The next line, which may be empty. Breaking off ends the command before anything is kept; where nobody sits at a terminal,
/// nobody is there to ask.
pub(super) fn line(lines: &mut Lines, context: &Context) -> Result<String> {
    lines.next().ok_or_else(|| {
        if context.asks_a_person {
            return CommandError::usage("Broken off; nothing was kept.");
        }
        CommandError::usage("The answers ended before the questions; nothing was kept.")
            .hint("What is asked can be given with options, too; --help names them.".to_owned())
    })
}

/// Asks until something is said.
pub(super) fn needed(lines: &mut Lines, context: &mut Context, question: &str) -> Result<String> {
    loop {
        context.say(question)?;
        if let Some(text) = clean(&line(lines, context)?) {
            return Ok(text);
        }
    }
}

/// Asks for one of so many numbers, until one is typed; Enter alone is `enter`.
pub(super) fn number<T: Copy>(
    lines: &mut Lines,
    context: &mut Context,
    (page, count): (&Page, usize),
    enter: Option<T>,
    of: impl Fn(usize) -> T,
) -> Result<T> {
    loop {
        context.aside_or_page(page)?;
        let typed = line(lines, context)?;
        if typed.trim().is_empty()
            && let Some(enter) = enter
        {
            return Ok(enter);
        }
        match typed.trim().parse::<usize>() {
            Ok(number) if (1..=count).contains(&number) => return Ok(of(number - 1)),
            _ => context.say(&format!("Type a number from 1 to {count}."))?,
        }
    }
}

/// Who it is: as given, else asked.
pub(super) fn who(given: Option<&str>, lines: &mut Lines, context: &mut Context) -> Result<String> {
    let name = match given.and_then(clean) {
        Some(name) => name,
        None => needed(lines, context, "Who are you? A name or initials.")?,
    };
    Ok(name.chars().take(LONGEST_NAME).collect())
}
