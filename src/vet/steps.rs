//! The words of steps: what they must not tell people to do, and whether they can be followed.

use super::{Judge, jobs};
use crate::diag::{Code, Diagnostic};

/// More words than this are hard to follow with tools in hand.
const MOST_WORDS: usize = 20;

pub(super) fn judge(judge: &mut Judge<'_>) {
    for job in jobs(judge.knowledge) {
        for step in &job.work.steps {
            for phrase in step.text.unsafe_phrases() {
                let message = format!("this step of '{}' says '{phrase}'", job.id);
                judge.push(
                    Diagnostic::error(Code::UnsafeText, step.span, message)
                        .label("never a way to work")
                        .help("do it locked off, or end in 'stop, keep locked, call the maker'".to_owned()),
                );
            }
            let (words, sentences) = step.text.length();
            let why = match (words > MOST_WORDS, sentences > 1) {
                (true, _) => format!("has {words} words; {MOST_WORDS} can be followed with tools in hand"),
                (_, true) => format!("has {sentences} sentences; a step is one action"),
                _ => continue,
            };
            judge.push(
                Diagnostic::warning(Code::HardToRead, step.span, format!("this step of '{}' {why}", job.id))
                    .label("hard to follow")
                    .help("split it into steps, each with what to expect".to_owned()),
            );
        }
    }
}
