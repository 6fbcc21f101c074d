//! What the words of steps must not tell people to do.

use super::{Job, Judge, jobs};
use crate::diag::{Code, Diagnostic};

pub(super) fn judge(judge: &mut Judge<'_>) {
    for job in jobs(judge.knowledge) {
        one(judge, &job);
    }
}

/// The steps of one piece of work.
pub(super) fn one(judge: &mut Judge<'_>, job: &Job<'_>) {
    for step in &job.work.steps {
        for phrase in step.text.unsafe_phrases() {
            let message = format!("this step of '{}' says '{phrase}'", job.id);
            judge.push(
                Diagnostic::error(Code::UnsafeText, step.span, message)
                    .label("never a way to work")
                    .help("do it locked off, or end in 'stop, keep locked, call the maker'".to_owned()),
            );
        }
    }
}
